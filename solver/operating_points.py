"""Where a fan curve meets a system: all intersections, and the one that is used."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from swirlwright.solver.fans import SAMPLES, FanCurve, refined

# How far beyond the last point of a curve an operating point is looked for, in flows of that point.
FARTHEST = 4.0


@dataclass(frozen=True)
class OperatingPoint:
    """Where a fan curve meets a system.

    flow [m3/s]; pressure [Pa]; is_stable: a small rise in flow meets a lack of pressure; is_beyond: outside
    the points of the curve.
    """

    flow: float
    pressure: float
    is_stable: bool
    is_beyond: bool


def operating_points(curve: FanCurve, system: Callable[[float], float]) -> tuple[OperatingPoint, ...]:
    """Return every point where the fan gives what the system takes, by rising flow.

    Parameters
    ----------
    curve : FanCurve
    system : callable
        Static pressure the system takes [Pa] at a flow >= 0 [m3/s], continuous.
    """
    from fluids.numerics import brenth

    def excess(flow: float) -> float:
        return curve.pressure_at(flow) - system(flow)

    end = curve.flow[-1]
    beyond = (end * (1 + k * (FARTHEST - 1) / SAMPLES) for k in range(1, SAMPLES + 1))
    knots = sorted({0.0, *curve.flow, *beyond})
    samples = refined(knots)
    values = [excess(q) for q in samples]
    points = []
    for (q0, q1), (e0, e1) in zip(pairwise(samples), pairwise(values), strict=True):
        if e0 == 0.0 and q0 == 0.0:
            points.append(_point(curve, 0.0, is_stable=e1 < 0.0))
        elif e0 != 0.0 and e0 * e1 <= 0.0:
            points.append(_point(curve, q1 if e1 == 0.0 else brenth(excess, q0, q1), is_stable=e0 > 0.0))
    return tuple(points)


def _point(curve: FanCurve, flow: float, *, is_stable: bool) -> OperatingPoint:
    inside = curve.flow[0] <= flow <= curve.flow[-1]
    return OperatingPoint(flow, curve.pressure_at(flow), is_stable, not inside)


def chosen_point(points: Sequence[OperatingPoint]) -> OperatingPoint | None:
    """Return the stable operating point of largest flow, or None where there is none."""
    stable = [point for point in points if point.is_stable]
    return stable[-1] if stable else None
