"""Supply and tubes: all tubes of a case as one load on the fans or the pressure that feeds them."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from swirlwright.solver.casefile import fan_file, read_fan_file
from swirlwright.solver.errors import InputError
from swirlwright.solver.fans import FanCurve, fan_curve, in_parallel, in_series
from swirlwright.solver.manifold import DrilledTube, TubeBackflowError, TubeState, march, solve_tube
from swirlwright.solver.operating_points import OperatingPoint, chosen_point, operating_points
from swirlwright.solver.schema import Case
from swirlwright.solver.tomlfile import parse_document

# Sampled drives of a tube [Pa]: from a breath to beyond any fan, six to a decade.
DRIVES = tuple(10.0 ** (-4.0 + k / 6.0) for k in range(52))


def refusal(case: Case, location: tuple[str | int, ...], allowed: str, value: object = None) -> InputError:
    """Return the error that names a place of the case's file."""
    return InputError([parse_document(case.text, case.path).problem(location, allowed, value)])


@dataclass(frozen=True)
class TubeGroup:
    """Equal tubes: one [[tubes]] entry of the case, counted from 0.

    outside: pressure of the chamber at each hole [Pa].
    """

    entry: int
    count: int
    tube: DrilledTube
    outside: tuple[float, ...]


@dataclass(frozen=True)
class TubeBank:
    """Tubes fed from one place.

    density [kg/m3]; viscosity: kinematic [m2/s].
    """

    groups: tuple[TubeGroup, ...]
    density: float
    viscosity: float

    @property
    def area(self) -> float:
        """Cross-section of all tubes [m2]."""
        return sum(group.count * group.tube.area for group in self.groups)

    @property
    def highest_outside(self) -> float:
        """Highest chamber pressure at any hole [Pa]."""
        return max(max(group.outside) for group in self.groups)

    def states(self, pressure: float) -> tuple[TubeState, ...]:
        """Return each group's tube fed with a total pressure [Pa].

        Raises
        ------
        TubeBackflowError
            If chamber air would run into a tube; its `entry` is the [[tubes]] entry.
        """
        states = []
        for group in self.groups:
            try:
                states.append(
                    solve_tube(group.tube, pressure, group.outside, density=self.density, viscosity=self.viscosity)
                )
            except TubeBackflowError as error:
                error.entry = group.entry
                raise
        return tuple(states)

    def flow(self, pressure: float) -> float:
        """Return the flow through all tubes [m3/s] at a total pressure before them [Pa]."""
        return sum(g.count * s.flow for g, s in zip(self.groups, self.states(pressure), strict=True))

    @cached_property
    def _load(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Logarithms of drive (pressure over the highest outside) and flow, rising."""
        at = {"density": self.density, "viscosity": self.viscosity}
        top = self.highest_outside
        columns = []
        for group in self.groups:
            passes = [march(group.tube, top + drive, group.outside, **at) for drive in DRIVES]
            drives = [math.log(passed.inlet - top) for passed in passes]
            columns.append((drives, [math.log(group.count * sum(passed.flows)) for passed in passes]))
        flows = [math.log(sum(math.exp(_line(x, y, drive)) for x, y in columns)) for drive in columns[0][0]]
        return tuple(columns[0][0]), tuple(flows)

    def nearly_flow(self, drive: float) -> float:
        """Return the flow [m3/s] within a per cent or so at a pressure `drive` above the chamber's [Pa]."""
        return math.exp(_line(*self._load, math.log(drive))) if drive > 0.0 else 0.0

    def nearly_drive(self, flow: float) -> float:
        """Return the pressure above the chamber's [Pa] within a per cent or so at a flow [m3/s]."""
        drives, flows = self._load
        return math.exp(_line(flows, drives, math.log(flow))) if flow > 0.0 else 0.0


def _line(x: Sequence[float], y: Sequence[float], at: float) -> float:
    """Interpolate linearly between points of rising x, and beyond them along the outermost pieces."""
    i = min(max(bisect_left(x, at) - 1, 0), len(x) - 2)
    return y[i] + (y[i + 1] - y[i]) * (at - x[i]) / (x[i + 1] - x[i])


@dataclass(frozen=True)
class Source:
    """What feeds the plenum: fans as one curve, a pressure [Pa] or a flow [m3/s].

    plenum_loss: on the mean dynamic head in the tubes [1].
    """

    fans: FanCurve | None
    pressure: float | None
    flow: float | None
    plenum_loss: float

    def lost(self, flow: float, bank: TubeBank) -> float:
        """Return the pressure lost in the plenum [Pa]."""
        return self.plenum_loss * 0.5 * bank.density * (flow / bank.area) ** 2

    def plenum_pressure(self, flow: float) -> float:
        """Return the pressure before the plenum's loss [Pa], where fans or a pressure give one."""
        if self.fans is not None:
            return self.fans.pressure_at(flow)
        if self.pressure is None:
            raise ValueError("a supply of given flow has no pressure of its own")
        return self.pressure


def supply_source(case: Case) -> Source | None:
    """Return what feeds the case's plenum; None without a supply.

    Raises
    ------
    InputError
        If a fan file cannot be read, or the fans cannot work together.
    """
    supply = case.supply
    if supply is None:
        return None
    fans = None
    if supply.fans:
        curves = []
        for entry in supply.fans:
            one = fan_curve(read_fan_file(fan_file(case, entry.file)))
            curves += [one.scaled(speed_ratio=entry.speed_ratio, density=case.density)] * entry.count
        try:
            fans = (in_parallel if supply.arrangement == "parallel" else in_series)(curves)
        except ValueError as error:
            raise refusal(case, ("supply", "fans"), f"must work together: {error}") from error
    return Source(fans, supply.pressure, supply.flow, supply.plenum_loss)


@dataclass(frozen=True)
class Feeding:
    """A supply in balance with its tubes: pressures against the room [Pa], flow [m3/s].

    inlet_pressure: total pressure before the tubes.   points: all operating points of the fans.
    """

    plenum_pressure: float
    inlet_pressure: float
    flow: float
    states: tuple[TubeState, ...]
    points: tuple[OperatingPoint, ...] = ()


def nearly_fed(source: Source, bank: TubeBank, level: float) -> float:
    """Return the supply's flow [m3/s] within a per cent or so at a uniform chamber pressure `level` [Pa]."""
    if source.flow is not None:
        return source.flow
    points = _points(source, bank, level)
    if points is not None:
        point = chosen_point(points)
        return 0.0 if point is None else point.flow
    assert source.pressure is not None
    return _falling_root(
        lambda q: source.plenum_pressure(q) - source.lost(q, bank) - level - bank.nearly_drive(q),
        bank.nearly_flow(source.pressure - level),
    )


def _points(source: Source, bank: TubeBank, level: float) -> tuple[OperatingPoint, ...] | None:
    """Operating points of the fans against the sampled load; None without fans."""
    if source.fans is None:
        return None
    return operating_points(source.fans, lambda q: level + bank.nearly_drive(q) + source.lost(q, bank))


def _falling_root(function: Callable[[float], float], end: float) -> float:
    """Root between 0 and `end` of a falling function; the nearer end where there is none."""
    from fluids.numerics import brenth

    if function(0.0) <= 0.0:
        return 0.0
    if end <= 0.0 or function(end) >= 0.0:
        return end
    root: float = brenth(function, 0.0, end)
    return root


def feed(source: Source, bank: TubeBank) -> Feeding:
    """Return the balance of supply and tubes, exact to round-off.

    Raises
    ------
    TubeBackflowError
        If the supply cannot hold the chamber's pressure.
    """
    from fluids.numerics import brenth

    level = bank.highest_outside
    points = _points(source, bank, level) or ()
    guess = nearly_fed(source, bank, level)
    if guess <= 0.0:
        raise TubeBackflowError("cannot blow: the supply's pressure does not exceed the chamber's")

    def excess(pressure: float) -> float:
        flow = bank.flow(pressure)
        if source.flow is not None:
            return source.flow - flow
        return source.plenum_pressure(flow) - source.lost(flow, bank) - pressure

    # Walk outward from the sampled answer until it lies between: nearest, so on the branch that was chosen.
    drive, step = bank.nearly_drive(guess), 0.02
    while step < 1e3:
        low, high = level + drive / (1 + step), level + drive * (1 + step)
        if excess(low) * excess(high) <= 0.0:
            break
        step *= 2.0
    else:
        raise TubeBackflowError("cannot be balanced with the supply")
    pressure = brenth(excess, low, high)
    states = bank.states(pressure)
    flow = sum(group.count * state.flow for group, state in zip(bank.groups, states, strict=True))
    return Feeding(pressure + source.lost(flow, bank), pressure, flow, states, points)
