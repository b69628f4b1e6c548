"""What a builder should know about an air network that can be solved: sentences, no refusals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from swirlwright.solver.buildable import cautions as plan_cautions
from swirlwright.solver.casefile import fan_file, read_fan_file
from swirlwright.solver.exhaust import ExhaustDuty
from swirlwright.solver.fans import fan_cautions, fan_curve
from swirlwright.solver.manifold import TubeState
from swirlwright.solver.operating_points import OperatingPoint, chosen_point
from swirlwright.solver.schema import Case

# Below, a round jet spreads faster and unlike the constants used here: Abdel-Rahman, Chakroun and Al-Fahed
# 1996, Mech. Res. Comm. 23:313.
LOWEST_JET_REYNOLDS = 4000.0
# Largest difference of the jets' speeds along a tube over their mean: the handbook's five per cent (Perry).
EVEN = 0.05
# Discharge coefficients: thin holes 0.60 to 0.65, short thick ones about 0.8 (Bailey 1975); the step between.
THIN_OR_THICK = 0.72
# Above this share of the speed of sound the density of a jet changes by 4 per cent.
FASTEST = 100.0


def network_cautions(
    case: Case,
    *,
    states: Sequence[tuple[int, TubeState]],
    supply_points: Sequence[OperatingPoint],
    duty: ExhaustDuty | None,
    plane_pressure: float,
    exhaust_flow: float,
    side_flow: float,
) -> tuple[str, ...]:
    """Return the cautions of a solved network.

    Parameters
    ----------
    case : Case
    states : sequence of (entry, TubeState)
        The [[tubes]] entry, counted from 0, and its tube.
    supply_points : sequence of OperatingPoint
    duty : ExhaustDuty or None
    plane_pressure : float
        In the exhaust opening [Pa].
    exhaust_flow, side_flow : float
        [m3/s]; the side's is negative outward.
    """
    found = list(plan_cautions(case))
    for entry, state in states:
        found += _tube(case, entry, state)
    found += _points("the supply's fans", supply_points)
    if duty is not None:
        points = duty.points(plane_pressure)
        if duty.fans is not None and chosen_point(points) is None:
            found.append("exhaust: the fans cannot hold the chamber's pressure; no operating point")
        found += _points("the exhaust's fans", points)
    names = [entry.file for entry in case.supply.fans] if case.supply is not None else []
    if case.exhaust is not None and case.exhaust.fan is not None:
        names.append(case.exhaust.fan)
    for name in dict.fromkeys(names):
        found += fan_cautions(fan_curve(read_fan_file(fan_file(case, name))))
    if case.exhaust is not None and side_flow < -1e-6 * exhaust_flow:
        found.append(
            f"more air is blown in than the exhaust draws: {-side_flow * 3600:.3g} m3/h leave through the sides"
        )
    return tuple(dict.fromkeys(found))


def _tube(case: Case, entry: int, state: TubeState) -> Iterator[str]:
    name = f"tubes.{entry + 1}"
    slowest = min(state.hole_reynolds)
    if slowest < LOWEST_JET_REYNOLDS:
        yield (
            f"{name}: Reynolds number of a hole {slowest:.0f}, below {LOWEST_JET_REYNOLDS:.0f}: such jets"
            " spread faster than the constants used here say"
        )
    mean = sum(state.hole_speed) / len(state.hole_speed)
    uneven = (max(state.hole_speed) - min(state.hole_speed)) / mean
    if uneven > EVEN:
        yield (
            f"{name}: jet speeds along the tube differ by {100 * uneven:.0f} per cent of their mean (first"
            f" hole over last {state.first_over_last:.3f}); a wider tube or less hole area evens them out"
        )
    if max(state.hole_speed) > FASTEST:
        yield f"{name}: jets of {max(state.hole_speed):.0f} m/s; the network takes air as incompressible"
    tubes = case.tubes[entry]
    for number, row in enumerate(tubes.rows):
        thickness = tubes.wall_thickness / row.hole_diameter
        if (thickness >= 1.0) != (row.discharge_coefficient > THIN_OR_THICK):
            usual = "0.8" if thickness >= 1.0 else "0.60 to 0.65"
            yield (
                f"{name}.rows.{number + 1}: a wall {thickness:.2g} hole diameters thick usually has a"
                f" discharge coefficient of {usual}, the case says {row.discharge_coefficient:g}"
            )


def _points(whose: str, points: Sequence[OperatingPoint]) -> Iterator[str]:
    chosen = chosen_point(points)
    if chosen is None:
        return
    if chosen.is_beyond:
        yield (
            f"{whose} work at {chosen.flow * 3600:.3g} m3/h, outside the points of their curve, which is"
            " continued by its end slope"
        )
    others = [f"{p.flow * 3600:.3g} m3/h ({'stable' if p.is_stable else 'unstable'})" for p in points if p != chosen]
    if others:
        yield (
            f"{whose} have more than one operating point: {chosen.flow * 3600:.3g} m3/h is used, also"
            f" possible: {', '.join(others)}"
        )
