"""Fan curves: read from a file, scaled by the fan laws, put in parallel and in series.

Static pressure against flow, as makers print it (ISO 5801, AMCA 210): at the outlet, less the total at the
inlet.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from swirlwright.solver.schema import FanFile

# Points taken between two points of a curve where curves are added: a cubic bends at most once there.
SAMPLES = 8
# Free flow [m3/h] and shut-off pressure [Pa] of ordinary axial fans by diameter [mm]: low, high, flow,
# pressure. From memory (makers' catalogues); they serve a caution on input, nothing else.
COMMON_AXIAL_FANS = (
    (36, 44, (8, 20), (15, 60)),
    (55, 65, (20, 45), (25, 70)),
    (75, 85, (40, 80), (20, 60)),
    (110, 130, (80, 200), (15, 90)),
    (145, 175, (300, 400), (90, 160)),
    (195, 255, (700, 1800), (60, 180)),
)


@dataclass(frozen=True)
class FanCurve:
    """Static pressure against flow at one speed and density.

    Between its points the curve is a shape-preserving cubic (no overshoot: a stall dip stays as deep as
    printed). Beyond the last point it goes on with its end slope, short of the first it is level; an
    operating point there is reported as beyond the curve.

    Attributes
    ----------
    title : str
    speed : float
        [rpm]
    density : float
        [kg/m3]
    diameter : float
        Of the impeller [m].
    flow : tuple of float
        Rising [m3/s].
    pressure : tuple of float
        Static pressure rise at those flows [Pa].
    power : float or None
        Electrical power taken at this speed and density [W].
    """

    title: str
    speed: float
    density: float
    diameter: float
    flow: tuple[float, ...]
    pressure: tuple[float, ...]
    power: float | None = None

    def __post_init__(self) -> None:
        if len(self.flow) != len(self.pressure) or len(self.flow) < 2:
            raise ValueError("a fan curve needs as many pressures as flows, two at least")
        if any(b <= a for a, b in pairwise(self.flow)):
            raise ValueError("the flows of a fan curve must rise")

    @property
    def free_flow(self) -> float:
        """Flow of the last point, the free delivery where the curve goes down to no pressure [m3/s]."""
        return self.flow[-1]

    @property
    def shut_off(self) -> float:
        """Pressure of the first point [Pa]."""
        return self.pressure[0]

    @cached_property
    def _slopes(self) -> tuple[float, ...]:
        return shape_preserving_slopes(self.flow, self.pressure)

    @property
    def _end_slope(self) -> float:
        """Never rising: a curve whose last points rise is held level beyond them."""
        return min(self._slopes[-1], 0.0)

    def pressure_at(self, flow: float) -> float:
        """Return the static pressure [Pa] at a flow [m3/s]."""
        if flow <= self.flow[0]:
            return self.pressure[0]
        if flow >= self.flow[-1]:
            return self.pressure[-1] + self._end_slope * (flow - self.flow[-1])
        i = bisect_right(self.flow, flow) - 1
        h = self.flow[i + 1] - self.flow[i]
        t = (flow - self.flow[i]) / h
        p0, p1, m0, m1 = self.pressure[i], self.pressure[i + 1], self._slopes[i] * h, self._slopes[i + 1] * h
        return p0 + t * (m0 + t * (3 * (p1 - p0) - 2 * m0 - m1 + t * (2 * (p0 - p1) + m0 + m1)))

    def scaled(
        self, *, speed_ratio: float = 1.0, density: float | None = None, diameter_ratio: float = 1.0
    ) -> FanCurve:
        """Return the curve by the fan laws: Q ~ N D^3, p ~ rho N^2 D^2, P ~ rho N^3 D^5 (ISO 5801, AMCA 210).

        Parameters
        ----------
        speed_ratio : float
            New speed over that of the curve [1].
        density : float, optional
            New density [kg/m3].
        diameter_ratio : float
            New diameter over that of the curve, for a geometrically similar fan [1].
        """
        density_ratio = 1.0 if density is None else density / self.density
        on_flow = speed_ratio * diameter_ratio**3
        on_pressure = density_ratio * speed_ratio**2 * diameter_ratio**2
        return replace(
            self,
            speed=self.speed * speed_ratio,
            density=self.density * density_ratio,
            diameter=self.diameter * diameter_ratio,
            flow=tuple(q * on_flow for q in self.flow),
            pressure=tuple(p * on_pressure for p in self.pressure),
            power=None if self.power is None else self.power * on_pressure * on_flow,
        )


def fan_curve(file: FanFile) -> FanCurve:
    """Return the curve that stands in a fan file, read by `casefile.read_fan_file`."""
    return FanCurve(
        title=file.title,
        speed=file.speed_rpm,
        density=file.density,
        diameter=file.diameter,
        flow=file.flow,
        pressure=file.pressure,
        power=file.electrical_power,
    )


def shape_preserving_slopes(x: Sequence[float], y: Sequence[float]) -> tuple[float, ...]:
    """Slopes at the points of a piecewise cubic that has no extremum its points do not have.

    Fritsch and Butland 1984, SIAM J. Sci. Stat. Comput. 5:300, with one-sided three-point ends. Written out
    here because loading a library's interpolant takes longer than the whole air network.
    """
    h = [b - a for a, b in pairwise(x)]
    d = [(b - a) / step for (a, b), step in zip(pairwise(y), h, strict=True)]
    if len(d) == 1:
        return (d[0], d[0])
    inner = []
    for (h0, h1), (d0, d1) in zip(pairwise(h), pairwise(d), strict=True):
        w0, w1 = 2 * h1 + h0, h1 + 2 * h0
        inner.append(0.0 if d0 * d1 <= 0 else (w0 + w1) / (w0 / d0 + w1 / d1))
    return (_end_slope(h[0], h[1], d[0], d[1]), *inner, _end_slope(h[-1], h[-2], d[-1], d[-2]))


def _end_slope(h0: float, h1: float, d0: float, d1: float) -> float:
    """One-sided three-point slope, cut back where it would leave the shape."""
    slope = ((2 * h0 + h1) * d0 - h0 * d1) / (h0 + h1)
    if slope * d0 <= 0:
        return 0.0
    if d0 * d1 <= 0 and abs(slope) > 3 * abs(d0):
        return 3 * d0
    return slope


def in_parallel(curves: Sequence[FanCurve], title: str | None = None) -> FanCurve:
    """Return fans side by side as one curve: their flows add at equal pressure.

    Equal fans share the flow evenly. Unlike fans are added along the falling branch of each, from its last
    peak to its last point, and only over pressures that every one of them reaches: above the weakest fan's
    peak, air would run backwards through it.
    """
    name = title or _joint_title(curves)
    power = _sum_of_powers(curves)
    first = curves[0]
    if all((c.flow, c.pressure) == (first.flow, first.pressure) for c in curves):
        flow = tuple(q * len(curves) for q in first.flow)
        return replace(first, title=name, flow=flow, power=power)
    branches = [_falling_branch(curve) for curve in curves]
    top = min(branch[0][1] for branch in branches)
    bottom = max(branch[-1][1] for branch in branches)
    if bottom >= top:
        raise ValueError(f"the fans {name} have no pressure in common")
    knots = sorted({p for branch in branches for _, p in branch if bottom <= p <= top}, reverse=True)
    fine = refined(knots)
    flow = tuple(sum(_flow_at(c, b, p) for c, b in zip(curves, branches, strict=True)) for p in fine)
    return replace(first, title=name, flow=flow, pressure=tuple(fine), power=power)


def in_series(curves: Sequence[FanCurve], title: str | None = None) -> FanCurve:
    """Return fans one behind the other as one curve: their pressures add at equal flow.

    The curve ends where the weakest fan's does: beyond, that fan would be a brake nobody has measured.
    """
    start = max(curve.flow[0] for curve in curves)
    end = min(curve.flow[-1] for curve in curves)
    if start >= end:
        raise ValueError("the fans have no flow in common")
    knots = sorted({q for curve in curves for q in curve.flow if start <= q <= end})
    equal = all(c.flow == curves[0].flow for c in curves)
    fine = knots if equal else refined(knots)
    pressure = tuple(sum(curve.pressure_at(q) for curve in curves) for q in fine)
    name = title or _joint_title(curves)
    return replace(curves[0], title=name, flow=tuple(fine), pressure=pressure, power=_sum_of_powers(curves))


def _joint_title(curves: Sequence[FanCurve]) -> str:
    """Titles joined, equal ones counted: "2 x small + large"."""
    counts = Counter(curve.title for curve in curves)
    return " + ".join(title if count == 1 else f"{count} x {title}" for title, count in counts.items())


def _sum_of_powers(curves: Sequence[FanCurve]) -> float | None:
    powers = [curve.power for curve in curves if curve.power is not None]
    return sum(powers) if len(powers) == len(curves) else None


def refined(knots: Sequence[float]) -> list[float]:
    """Return the knots with SAMPLES steps between each two."""
    return [a + (b - a) * k / SAMPLES for a, b in pairwise(knots) for k in range(SAMPLES)] + [knots[-1]]


def _falling_branch(curve: FanCurve) -> list[tuple[float, float]]:
    """Points (flow, pressure) from the last peak on; pressures strictly fall."""
    points = list(zip(curve.flow, curve.pressure, strict=True))
    branch = [points[-1]]
    for point in reversed(points[:-1]):
        if point[1] <= branch[0][1]:
            break
        branch.insert(0, point)
    return branch


def _flow_at(curve: FanCurve, branch: Sequence[tuple[float, float]], pressure: float) -> float:
    """Flow on the falling branch at a pressure within it [m3/s]."""
    from fluids.numerics import brenth

    for (q0, p0), (q1, p1) in pairwise(branch):
        if pressure == p0:
            return q0
        if p1 < pressure < p0:
            root: float = brenth(lambda q: curve.pressure_at(q) - pressure, q0, q1)
            return root
    return branch[-1][0]


def fan_cautions(curve: FanCurve) -> list[str]:
    """Sentences on a maker's curve that lies outside the band of ordinary axial fans of its size."""
    cautions = []
    diameter = curve.diameter * 1000.0
    for low, high, flows, pressures in COMMON_AXIAL_FANS:
        if not low <= diameter <= high:
            continue
        for what, value, (least, most), unit in (
            ("free flow", curve.free_flow * 3600.0, flows, "m3/h"),
            ("shut-off pressure", curve.shut_off, pressures, "Pa"),
        ):
            if not least <= value <= most:
                cautions.append(
                    f"fan {curve.title}: {what} {value:.3g} {unit} lies outside the usual {least} to {most}"
                    f" {unit} of axial fans of {diameter:.0f} mm; check the file's units"
                )
    return cautions
