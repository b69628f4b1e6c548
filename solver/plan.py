"""The true plan: where tubes and holes stand, and where their jets go.

The plan is seen from above, the chamber's axis at the origin, x to the right, y to the back: the sides of a
square chamber are front y = -width/2, right x = +width/2, back and left.

A case gives the aim at the tube's axis. The hole lies on the tube's outer surface, where the jet leaves it:
half an outer diameter further along the jet. Moving along the jet keeps its moment arm d = r cos(beta) about
the chamber's axis, so d is that of the tube's axis, and the angle to the tangent at the hole follows from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from swirlwright.solver.schema import Case, Tubes

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class TubePlan:
    """All tubes of a case, one entry per tube, arrays of shape (n_tubes,).

    group: index of the [[tubes]] entry.   x, y: place of the axis [m].
    inner_diameter, outer_diameter: [m].
    """

    group: Ints
    x: Array
    y: Array
    inner_diameter: Array
    outer_diameter: Array


@dataclass(frozen=True)
class HolePlan:
    """All holes of a case, ordered by tube, row and height; arrays of shape (n_holes,).

    tube: index into TubePlan.   row: index of the row in its [[tubes]] entry.
    x, y, height: place of the hole [m].   radius: distance from the chamber's axis [m].   diameter: [m].
    heading: direction of the jet on the plan, from +x counterclockwise [rad].
    aim: angle of the jet to the tangent at the hole, inward positive [rad].
    moment_arm: d = radius cos(aim) [m], positive for counterclockwise swirl.
    chord: length of the jet's straight path on the plan up to the side [m].
    ends_open: whether that path ends at an open part of the side (round chamber: never counted as open here,
    since the place of its opening is not given).
    """

    tube: Ints
    row: Ints
    x: Array
    y: Array
    height: Array
    radius: Array
    diameter: Array
    heading: Array
    aim: Array
    moment_arm: Array
    chord: Array
    ends_open: NDArray[np.bool_]

    def __len__(self) -> int:
        return self.tube.size


def tube_places(tubes: Tubes) -> list[tuple[float, float]]:
    """Places of the axes of one [[tubes]] entry on the plan [m]."""
    if tubes.positions or tubes.count is None or tubes.place_radius is None:
        return list(tubes.positions)
    angles = (math.radians(tubes.first_angle) + 2 * math.pi * i / tubes.count for i in range(tubes.count))
    return [(tubes.place_radius * math.cos(angle), tubes.place_radius * math.sin(angle)) for angle in angles]


def tube_plan(case: Case) -> TubePlan:
    """Every tube of the case on the plan."""
    rows = [
        (group, x, y, tubes.inner_diameter, tubes.outer_diameter)
        for group, tubes in enumerate(case.tubes)
        for x, y in tube_places(tubes)
    ]
    columns = np.array(rows, dtype=float).reshape(-1, 5).T
    return TubePlan(columns[0].astype(np.int64), *columns[1:])


def hole_plan(case: Case) -> HolePlan:
    """Every hole of the case on the plan, with its jet's moment arm and path."""
    plan = tube_plan(case)
    rows: list[tuple[float, ...]] = []
    for index, group in enumerate(plan.group):
        tubes = case.tubes[group]
        for number, row in enumerate(tubes.rows):
            path = jet_path(plan.x[index], plan.y[index], tubes.outer_diameter / 2, row.aim)
            for height in row.hole_heights():
                place = (path.x, path.y, height, path.radius, row.hole_diameter)
                end = chord_to_side(case, path, height)
                rows.append((index, number, *place, path.heading, path.aim, path.moment_arm, *end))
    columns = np.array(rows, dtype=float).reshape(-1, 12).T
    tube, row = columns[:2].astype(np.int64)
    *floats, ends_open = columns[2:]
    return HolePlan(tube, row, *floats, ends_open > 0)  # type: ignore[call-arg]  # a starred array has no length


class JetPath(NamedTuple):
    """Where a jet leaves its hole on the plan and which way it goes; units as in HolePlan."""

    x: float
    y: float
    radius: float
    heading: float
    aim: float
    moment_arm: float


def jet_path(x: float, y: float, offset: float, aim: float) -> JetPath:
    """The path of a jet from the tube's axis [m], the hole's distance from it [m] and the aim there [deg]."""
    around = math.atan2(y, x)
    # cos(90 degrees) is made exactly 0, so that a jet aimed at the axis gives no torque at all.
    arm = 0.0 if aim == 90 else math.hypot(x, y) * math.cos(math.radians(aim))
    heading = around + math.pi / 2 + math.radians(aim)
    hole_x, hole_y = x + offset * math.cos(heading), y + offset * math.sin(heading)
    radius = math.hypot(hole_x, hole_y)
    aim_at_hole = math.acos(max(-1.0, min(1.0, arm / radius))) if radius > 0 else math.pi / 2
    return JetPath(hole_x, hole_y, radius, heading, aim_at_hole, arm)


def chord_to_side(case: Case, path: JetPath, height: float) -> tuple[float, bool]:
    """Length of a jet's path to the side [m], and whether it leaves there."""
    chamber = case.chamber
    x, y, heading = path.x, path.y, path.heading
    half = chamber.width / 2
    step_x, step_y = math.cos(heading), math.sin(heading)
    if chamber.footprint == "round":
        along = x * step_x + y * step_y
        inside = along**2 + half**2 - x**2 - y**2
        return max(0.0, math.sqrt(max(inside, 0.0)) - along), False
    to_x = (math.copysign(half, step_x) - x) / step_x if step_x else math.inf
    to_y = (math.copysign(half, step_y) - y) / step_y if step_y else math.inf
    length, side = min((to_x, "right" if step_x > 0 else "left"), (to_y, "back" if step_y > 0 else "front"))
    in_band = chamber.open_from <= height <= chamber.open_top
    return max(0.0, length), in_band and side in chamber.open_sides
