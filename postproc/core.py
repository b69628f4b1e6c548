"""The core of the vortex: followed downward from under the ceiling, with its radius, strength and foot.

Definitions and sources are in postproc/README.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

# The definition's own numbers, postproc/README.md, "The core".
OUTER_SHARE = 0.85  # of the curtain's inner edge: a core lies inside
PROMINENCE = 1.05  # over the lowest v between core and curtain
MIN_CELLS = 3  # between axis and core
MIN_STRENGTH = 0.25  # of the core's v at mid-height
MAX_SLOPE = 1.0  # |dr_c/dz|

# Share of the time of an air change after which the flow counts as another: a swirl that is lost comes back with new
# air. Measured on the shipped table-top chamber, by benchmarks/scatter.py.
LOOK = 0.5

TOO_NARROW = f"the maximum of v is less than {MIN_CELLS} cells from the axis"


@dataclass(frozen=True)
class Chamber:
    """What the measures need to know of the chamber.

    Attributes
    ----------
    height, radius : float
        Of the flow domain [m].
    exhaust_radius : float or None
        None without an exhaust [m].
    curtain_edge : float
        Inner edge r_i of the jets' curtain; 0.95 of the radius where there are no jets [m].
    has_jets, has_inlet : bool
        What drives the swirl.
    density, viscosity : float
        Of the air [kg/m3], and molecular kinematic [m2/s].
    air_change : float or None
        Time in which the exhaust draws the chamber's volume [s]; None without an exhaust.
    """

    height: float
    radius: float
    exhaust_radius: float | None
    curtain_edge: float
    has_jets: bool
    has_inlet: bool
    density: float
    viscosity: float
    air_change: float | None = None

    def looks(self, span: float) -> float | None:
        """Instants of `span` seconds that count as independent; None without an exhaust."""
        return None if self.air_change is None else span / (LOOK * self.air_change)

    @property
    def start_height(self) -> float:
        """Where the search for the core begins [m]: an exhaust radius below the ceiling, at most H/4."""
        depth = self.exhaust_radius if self.exhaust_radius is not None else 0.2 * self.radius
        return self.height - min(depth, 0.25 * self.height)


@dataclass(frozen=True)
class Field:
    """One flow field at cell centres, arrays of shape (nz, nr), SI; u, v, w along r, theta, z."""

    r: np.ndarray
    z: np.ndarray
    r_face: np.ndarray
    z_face: np.ndarray
    u: np.ndarray
    v: np.ndarray
    w: np.ndarray
    p: np.ndarray
    nu: np.ndarray

    def on_axis(self, values: np.ndarray) -> np.ndarray:
        """Values on the axis, shape (nz,): the even parabola through the two innermost centres."""
        r0, r1 = self.r[:2] ** 2
        return values[:, 0] + (values[:, 0] - values[:, 1]) * r0 / (r1 - r0)

    def at_radius(self, values: np.ndarray, radius: float) -> np.ndarray:
        """Values at a radius [m], shape (nz,), linear between centres."""
        i = int(np.clip(np.searchsorted(self.r, radius), 1, self.r.size - 1))
        share = np.clip((radius - self.r[i - 1]) / (self.r[i] - self.r[i - 1]), 0.0, 1.0)
        return (1.0 - share) * values[:, i - 1] + share * values[:, i]

    def at_height(self, values: np.ndarray, height: float) -> np.ndarray:
        """Values at a height [m], of shape (nz, ...) to (...), linear between centres."""
        j = int(np.clip(np.searchsorted(self.z, height), 1, self.z.size - 1))
        share = np.clip((height - self.z[j - 1]) / (self.z[j] - self.z[j - 1]), 0.0, 1.0)
        return (1.0 - share) * values[j - 1] + share * values[j]

    @property
    def ring_area(self) -> np.ndarray:
        """Area of each ring on the plan [m2], shape (nr,)."""
        return math.pi * np.diff(self.r_face**2)

    def cells_inside(self, radius: float) -> float:
        """How many cells, with fractions, lie between the axis and a radius [m]."""
        return float(np.interp(radius, self.r_face, np.arange(self.r_face.size)))

    def swirl_sense(self, radius: float) -> float:
        """+1 if the air inside a radius [m] turns counterclockwise seen from above, else -1."""
        inside = self.r < radius
        moment = self.v[:, inside] * (self.r * self.ring_area)[inside]
        return -1.0 if float(np.sum(moment * np.diff(self.z_face)[:, None])) < 0.0 else 1.0

    def turned(self, sense: float) -> Field:
        """The same field with v times `sense`."""
        return self if sense > 0 else replace(self, v=-self.v)


@dataclass(frozen=True)
class Core:
    """The followed core, a value for each row of the grid, NaN where there is none.

    Attributes
    ----------
    height : ndarray
        Cell centres [m], shape (nz,).
    radius, velocity : ndarray
        Radius of the largest v [m] and that v, positive in the sense of the swirl [m/s], shape (nz,).
    foot : float or None
        Lowest height it reaches [m]: the lower face of its lowest cell.
    end : str
        Why it was not followed further.
    """

    height: np.ndarray
    radius: np.ndarray
    velocity: np.ndarray
    foot: float | None
    end: str

    @property
    def exists(self) -> np.ndarray:
        """True in the rows that have a core."""
        return np.isfinite(self.radius)

    def at(self, height: float) -> tuple[float, float] | None:
        """Radius [m] and v [m/s] at a height [m]; None unless the rows on both sides have a core."""
        j = int(np.clip(np.searchsorted(self.height, height), 1, self.height.size - 1))
        if not self.exists[j - 1 : j + 1].all():
            return None
        return (
            float(np.interp(height, self.height, self.radius)),
            float(np.interp(height, self.height, self.velocity)),
        )

    def typical(self, height: float) -> tuple[float, float] | None:
        """As `at`, and where the core does not reach that height the median over the core."""
        if not self.exists.any():
            return None
        found = self.at(height)
        return found or (float(np.nanmedian(self.radius)), float(np.nanmedian(self.velocity)))


def follow_core(field: Field, chamber: Chamber) -> Core:
    """Follow the core downward; definition in postproc/README.md, "The core".

    Parameters
    ----------
    field : Field
        With v positive in the sense of the swirl.
    chamber : Chamber
        Sets where the search begins and the curtain's inner edge.
    """
    # The strength test needs the core's v at mid-height, which a first pass without the test provides.
    first = _follow(field, chamber, 0.0)
    at_mid = first.at(0.5 * chamber.height)
    if at_mid is None and not first.exists.any():
        return first
    reference = at_mid[1] if at_mid is not None else float(np.nanmax(first.velocity))
    return _follow(field, chamber, MIN_STRENGTH * reference)


def _follow(field: Field, chamber: Chamber, least_v: float) -> Core:
    radius = np.full(field.z.size, np.nan)
    velocity = np.full(field.z.size, np.nan)
    start = min(int(np.searchsorted(field.z, chamber.start_height)), field.z.size - 1)
    above: int | None = None
    end = ""
    for j in range(start, -1, -1):
        if above is None and field.z[j] < 0.5 * chamber.height:
            break
        found, why_not = _maxima(field, j, chamber.curtain_edge, least_v)
        if above is not None:
            drop = field.z[above] - field.z[j]
            # A place is known to a cell at best, so rows closer than that may differ by one.
            i = min(int(np.searchsorted(field.r, radius[above])), field.r.size - 1)
            reach = max(MAX_SLOPE * drop, field.r_face[i + 1] - field.r_face[i])
            near = [m for m in found if abs(m[0] - radius[above]) < reach]
            why_not = why_not if near or not found else "its radius changes faster than its height"
            found = sorted(near, key=lambda m: abs(m[0] - radius[above]))
        if found:
            # Below, the maximum nearest the one above; at the start, the strongest.
            radius[j], velocity[j] = found[0] if above is not None else max(found, key=lambda m: m[1])
            above, end = j, "it reaches the lowest cell"
        else:
            end = why_not
            # Gaps shorter than a core radius are bridged: one noisy row does not cut a column in two.
            if above is not None and field.z[above] - field.z[j] > radius[above]:
                break
    foot = None if above is None else float(field.z_face[above])
    return Core(field.z, radius, velocity, foot, end)


def _maxima(field: Field, j: int, edge: float, least_v: float) -> tuple[list[tuple[float, float]], str]:
    """Radius and value of the maxima of v in row j that may be a core, inside out; and why others may not."""
    v = field.v[j]
    inside = int(np.searchsorted(field.r, edge, side="right"))
    found = []
    why_not = f"v has no maximum inside {OUTER_SHARE:g} of the curtain's inner edge"
    for i in range(1, min(inside, v.size - 1)):
        if not (v[i] > v[i - 1] and v[i] >= v[i + 1] and v[i] > 0.0):
            continue
        place, value = peak(field.r[i - 1 : i + 2], v[i - 1 : i + 2])
        if place >= OUTER_SHARE * edge:
            continue
        if field.cells_inside(place) < MIN_CELLS:
            why_not = TOO_NARROW
        elif value < PROMINENCE * np.min(v[i : max(inside, i + 2)]):
            why_not = "the maximum of v hardly stands out from the air around it"
        elif value < least_v:
            why_not = "v has fallen below a quarter of its value at mid-height"
        else:
            found.append((place, value))
    return found, why_not


def peak(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Place and value of the top of the parabola through three points, the middle one the largest."""
    a = (y[1] - y[0]) / (x[1] - x[0])
    b = (y[2] - y[1]) / (x[2] - x[1])
    curvature = (b - a) / (x[2] - x[0])
    if curvature >= 0.0:
        return float(x[1]), float(y[1])
    place = 0.5 * (x[0] + x[1]) - 0.5 * a / curvature
    return float(place), float(y[0] + (place - x[0]) * (a + curvature * (place - x[1])))


def floor_layer(field: Field, chamber: Chamber, core: Core) -> float:
    """Thickness delta = 5 sqrt(nu_eff r_c / v_c) of the floor layer [m], at least three cells."""
    least = float(field.z_face[min(3, field.z.size)])
    typical = core.typical(0.5 * chamber.height)
    if typical is None:
        return least
    radius, velocity = typical
    nu = core_viscosity(field, chamber, radius)
    # The formula knows no ceiling: where the core hardly turns there is no layer, and the whole height is said.
    return min(max(least, 5.0 * math.sqrt(nu * radius / velocity)), chamber.height)


def core_viscosity(field: Field, chamber: Chamber, core_radius: float) -> float:
    """Effective viscosity averaged over the area r < 2 r_c at mid-height [m2/s]."""
    inside = field.r < max(2.0 * core_radius, field.r_face[1])
    nu = field.at_height(field.nu, 0.5 * chamber.height)
    return float(np.average(nu[inside], weights=field.ring_area[inside]))


def breakdown(field: Field, chamber: Chamber, core: Core, delta: float) -> tuple[float | None, bool]:
    """Lowest height of reversed flow on the axis above the floor layer, and whether it lasts up to H/2.

    Reversed: inside a core, w on the axis below -2 per cent of its largest magnitude, over at least 3 cells.
    The height is where w crosses that value, linear between cells. Without an exhaust, whose pull makes upward the
    forward direction, forward is that of the largest w on the axis.
    """
    w = field.on_axis(field.w)
    if chamber.exhaust_radius is None and w[np.argmax(np.abs(w))] < 0.0:
        w = -w
    limit = -0.02 * float(np.max(np.abs(w)))
    is_reversed = (w < limit) & core.exists & (field.z > delta)
    rows = np.flatnonzero(is_reversed)
    for run in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1):
        if run.size < 3:
            continue
        j = int(run[0])
        place = float(field.z[j])
        if j > 0 and w[j - 1] >= limit:
            place -= float((field.z[j] - field.z[j - 1]) * (limit - w[j]) / (w[j - 1] - w[j]))
        elif j > 0 and field.z[j - 1] <= delta:
            place = delta  # reversed inside the floor layer already
        up_to_mid = place < 0.5 * chamber.height < float(field.z_face[run[-1] + 1])
        return max(place, delta), up_to_mid
    return None, False
