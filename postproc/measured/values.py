"""What a result file says at measured points: the mean, how far it swings in time, and how well the mean is known."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from swirlwright.postproc.core import Chamber, Field, follow_core
from swirlwright.postproc.flow_numbers import pressure_deficit
from swirlwright.postproc.measured.points import FIELDS, Extent, Point
from swirlwright.postproc.measures import (
    chamber_of,
    deficit_series,
    finite_frames,
    frame_field,
    spin_up_time,
    time_weights,
    window_frames,
)
from swirlwright.postproc.uncertainty import chance_error
from swirlwright.solver.result_reading import ResultData

# Frames of a run on which the core is followed, at most: neighbours say nearly the same.
FRAMES_FOLLOWED = 200
# Least share of the frames in which a core must reach a height to have a diameter there.
LEAST_SHARE = 0.5


@dataclass(frozen=True)
class Computed:
    """A computed value, SI.

    Attributes
    ----------
    value : float or None
        The mean over the averaging window, or of the one field; None with its reason.
    spread : float
        Standard deviation in time; 0 for a steady flow.
    chance : float
        Standard error of the mean; the spread itself where the window is too short to tell.
    reason : str
    """

    value: float | None
    spread: float = 0.0
    chance: float = 0.0
    reason: str = ""


def extent_of(data: ResultData) -> Extent:
    """Where points of a result may lie."""
    chamber = chamber_of(data)
    return Extent(chamber.height, chamber.radius, tuple(json.dumps(tube) for tube in _network(data).get("tubes", ())))


def computed_at(data: ResultData, points: Sequence[Point]) -> list[Computed]:
    """Values of a result at measured points, in their order.

    Speeds v are positive in the sense of the swirl, as in the measures. Between cell centres fields are linear
    (`scipy.interpolate.RegularGridInterpolator`); on the axis u and v are 0, w and p the even parabola through the two
    innermost centres; within half a cell of a wall the value is that of the cell.

    Raises
    ------
    ResultError
        If the result has no finite frame.
    """
    flow = _Flow(data)
    return [flow.at(point) for point in points]


def profile(data: ResultData, quantity: str, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean of a field and its standard deviation in time along a line, SI; interpolated as in `computed_at`.

    Parameters
    ----------
    data : ResultData
    quantity : str
        One of `measured.FIELDS`.
    places : ndarray
        Height and radius [m], shape (n, 2).
    """
    flow = _Flow(data)
    sign = flow.sense if quantity == "tangential_velocity" else 1.0
    mean = sign * flow.interpolated(quantity, flow.mean[quantity], places)
    if quantity not in data.std:
        return mean, np.zeros_like(mean)
    return mean, flow.interpolated(quantity, data.std[quantity], places)


def network_value(network: Mapping[str, Any], point: Point) -> float:
    """What the air network, as a result holds it, says at a point of `measured.NETWORK`, SI; NaN if it has no such."""
    if point.quantity == "tube_pressure":
        return tube_pressure(network, point.tube or 1, point.height)
    if point.quantity == "exhaust_flow" and network["exhaust_kind"] is None:
        return math.nan
    return float(network[f"{point.quantity}_m3_per_s"])


def tube_pressure(network: Mapping[str, Any], tube: int, height: float | None) -> float:
    """Pressure in a tube against the room [Pa], from the network as a result holds it.

    Parameters
    ----------
    network : mapping
        As `network_json` makes it.
    tube : int
        From 1.
    height : float or None
        Of the tap [m]: static pressure there, linear between the holes, beyond them that at the nearest hole. None:
        before the tube's entrance, where the air is slow.
    """
    state = network["tubes"][tube - 1]
    budget = state["pressure_budget_pa"]
    if height is None:
        return float(budget["inlet"])
    holes = sorted(state["holes"], key=lambda hole: hole["height_m"])
    # The chamber's pressure at the last hole stands for all: it varies by far less than the tube's.
    inside = [hole["pressure_drop_pa"] + budget["chamber"] for hole in holes]
    return float(np.interp(height, [hole["height_m"] for hole in holes], inside))


def _network(data: ResultData) -> dict[str, Any]:
    found = json.loads(data.attributes.get("network_json") or "{}")
    return found if isinstance(found, dict) else {}


class _Flow:
    """A result, and what of it is wanted more than once."""

    def __init__(self, data: ResultData):
        self.data = data
        self.chamber: Chamber = chamber_of(data)
        self.finite = finite_frames(data)
        self.window = window_frames(data, self.finite)
        self.weights = time_weights(data.time[self.window])

    def at(self, point: Point) -> Computed:
        if point.quantity in FIELDS:
            return self._field(point)
        by_name = {
            "pressure_deficit": self._deficit,
            "core_diameter": self._core_diameter,
            "spin_up_time": self._spin_up,
            "exhaust_flow": self._exhaust_flow,
            "supply_flow": self._of_network,
            "tube_pressure": self._of_network,
        }
        return by_name[point.quantity](point)

    @cached_property
    def mean(self) -> Mapping[str, np.ndarray]:
        """The mean field, (nz, nr): the run's own where it has one, else that over the frames of the window."""
        if self.data.mean and all(np.isfinite(values).all() for values in self.data.mean.values()):
            return self.data.mean
        return {k: np.tensordot(self.weights, v[self.window], 1) for k, v in self.data.frames.items()}

    @cached_property
    def sense(self) -> float:
        fields = {short: self.mean[name] for short, name in _SHORT.items()}
        return Field(*self._grid, **fields).swirl_sense(self.chamber.curtain_edge)

    @property
    def _grid(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        return self.data.r, self.data.z, self.data.r_face, self.data.z_face

    def _field(self, point: Point) -> Computed:
        assert point.height is not None and point.radius is not None
        name, place = point.quantity, np.array([[point.height, point.radius]])
        sign = self.sense if name == "tangential_velocity" else 1.0
        value = sign * float(self.interpolated(name, self.mean[name], place)[0])
        series = self.interpolated(name, np.moveaxis(self.data.frames[name][self.window], 0, -1), place)[0]
        spread = float(self.interpolated(name, self.data.std[name], place)[0]) if name in self.data.std else None
        return self._over_time(value, series, spread)

    def interpolated(self, name: str, values: np.ndarray, places: np.ndarray) -> np.ndarray:
        """Values of shape (nz, nr) or (nz, nr, n) at places (m, 2), height and radius: shape (m,) or (m, n)."""
        from scipy.interpolate import RegularGridInterpolator

        r, z = self.data.r, self.data.z
        axis = np.zeros_like(values[:, :1])
        if name in ("axial_velocity", "pressure"):
            inner, outer = r[0] ** 2, r[1] ** 2
            axis = values[:, :1] + (values[:, :1] - values[:, 1:2]) * inner / (outer - inner)
        table = RegularGridInterpolator((z, np.append(0.0, r)), np.concatenate([axis, values], axis=1))
        return np.asarray(table(np.clip(places, (z[0], 0.0), (z[-1], r[-1]))))

    def _over_time(
        self, mean: float | None, series: np.ndarray, spread: float | None = None, weights: np.ndarray | None = None
    ) -> Computed:
        """A value with what its series over the window says, NaN where it does not exist; the mean is the series' own
        where none is given.
        """
        if weights is None:
            weights = self.weights if series.size == self.weights.size else np.full(series.size, 1.0 / series.size)
        exists = np.isfinite(series)
        weights, there = weights[exists] / weights[exists].sum(), series[exists]
        own = float(weights @ there)
        if spread is None:
            spread = math.sqrt(float(weights @ (there - own) ** 2))
        chance = chance_error(series, self.chamber.looks(float(np.ptp(self.data.time[self.window]))))
        return Computed(own if mean is None else mean, spread, spread if chance is None else chance)

    @cached_property
    def _followed(self) -> list[Field]:
        """Fields on which cores and deficits are taken: frames of the window, all turning counterclockwise."""
        if self.window.size == 1:
            fields = {short: self.mean[name] for short, name in _SHORT.items()}
            return [Field(*self._grid, **fields).turned(self.sense)]
        step = math.ceil(self.window.size / FRAMES_FOLLOWED)
        return [frame_field(self.data, int(n)).turned(self.sense) for n in self.window[::step]]

    @cached_property
    def _cores(self) -> list[Any]:
        return [follow_core(field, self.chamber) for field in self._followed]

    def _deficit(self, point: Point) -> Computed:
        assert point.height is not None
        height = point.height
        series = [float(f.at_height(pressure_deficit(f, self.chamber), height)) for f in self._followed]
        return self._over_time(None, np.array(series))

    def _core_diameter(self, point: Point) -> Computed:
        assert point.height is not None
        # A row of the grid is the least that the place of a core is known to.
        height = float(np.clip(point.height, self.data.z[0], self.data.z[-1]))
        found = [core.at(height) for core in self._cores]
        series = np.array([math.nan if at is None else 2.0 * at[0] for at in found])
        is_there = np.isfinite(series)
        if is_there.mean() < LEAST_SHARE or not is_there.any():
            share = "" if len(found) == 1 else f" in {100 * (1 - is_there.mean()):.0f} % of the frames"
            return Computed(None, reason=f"there is no core at this height{share}")
        return self._over_time(None, series)

    def _spin_up(self, point: Point) -> Computed:
        time, reason = spin_up_time(*deficit_series(self.data, self.finite, self.chamber))
        return Computed(time, reason=reason)

    def _exhaust_flow(self, point: Point) -> Computed:
        flow = self.data.attributes.get("exhaust_flow")
        if self.chamber.exhaust_radius is None or not isinstance(flow, float) or not math.isfinite(flow):
            return Computed(None, reason="the chamber has no exhaust")
        begin, end = (self.data.time[self.window[k]] for k in (0, -1))
        time, flows = (self.data.history.get(name, np.zeros(0)) for name in ("time", "exhaust_flow"))
        inside = (time >= begin) & (time <= end) & (time.size == flows.size)
        if np.count_nonzero(inside) < 2:
            return Computed(flow)
        return self._over_time(None, flows[inside], weights=time_weights(time[inside]))

    def _of_network(self, point: Point) -> Computed:
        return Computed(network_value(_network(self.data), point))


_SHORT = {
    "u": "radial_velocity", "v": "tangential_velocity", "w": "axial_velocity", "p": "pressure",
    "nu": "effective_viscosity",
}  # fmt: skip
