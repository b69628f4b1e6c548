"""The drilled tubes unrolled: where every hole lies on a sheet wrapped around its tube.

A template is seen from outside the tube, up being up on the standing tube, so that to the right on paper is
counterclockwise from above. `around` is the way along the circumference of the outer diameter from the line that faces
the chamber's axis. A hole whose jet is aimed at the tangent plus `aim` lies at aim - 90 degrees from that line, so
holes lie on the half of the tube that faces the axis, and the template's edges meet on the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from swirlwright.solver.plan import hole_plan, tube_plan
from swirlwright.solver.schema import Case, Tubes

# Paper beyond the farthest hole's edge [m].
BEYOND = 0.015


@dataclass(frozen=True)
class TemplateHole:
    """A hole of an unrolled tube.

    Attributes
    ----------
    number : int
        Along the tube from its lower end, from 1.
    row : int
        Of the case file, from 1.
    height : float
        Of its centre above the chamber's floor [m].
    around : float
        Of its centre from the line that faces the chamber's axis, to the right from outside [m].
    turn : float
        The same as an angle, counterclockwise from above [deg].
    diameter : float
        [m]
    aim : float
        Of its jet to the tangent at the tube's axis, inward positive, as in the case [deg].
    """

    number: int
    row: int
    height: float
    around: float
    turn: float
    diameter: float
    aim: float


@dataclass(frozen=True)
class TubePlace:
    """Where a tube stands: number on the plan from 1, place of its axis [m], direction to the chamber's axis [deg].

    headings: direction of each row's jets on the plan, from +x counterclockwise [deg].
    moment_arms: distance at which each row's jets pass the chamber's axis, positive counterclockwise [m].
    """

    number: int
    x: float
    y: float
    facing: float
    headings: tuple[float, ...]
    moment_arms: tuple[float, ...]


@dataclass(frozen=True)
class TubeTemplate:
    """All that is drilled into tubes of one kind. Lengths in m.

    Attributes
    ----------
    name : str
        A letter.
    tubes : tuple of TubePlace
        The tubes that are drilled so.
    inner_diameter, outer_diameter : float
    length : float
        Floor to ceiling of the chamber.
    feed : str
        "below", "above" or "room".
    holes : tuple of TemplateHole
        By rising height.
    """

    name: str
    tubes: tuple[TubePlace, ...]
    inner_diameter: float
    outer_diameter: float
    length: float
    feed: str
    holes: tuple[TemplateHole, ...]

    @property
    def circumference(self) -> float:
        """Of the outside [m]."""
        return math.pi * self.outer_diameter

    @property
    def mounting_height(self) -> float:
        """Height of the end that is fed: floor or ceiling [m]. A tube fed from the room is open below."""
        return self.length if self.feed == "above" else 0.0

    @property
    def bottom(self) -> float:
        """Height of the template's lower end [m]."""
        if self.feed != "above":
            return 0.0
        return max(0.0, min(hole.height - hole.diameter / 2 for hole in self.holes) - BEYOND)

    @property
    def top(self) -> float:
        """Height of the template's upper end [m]."""
        if self.feed == "above":
            return self.length
        return min(self.length, max(hole.height + hole.diameter / 2 for hole in self.holes) + BEYOND)

    @property
    def left(self) -> float:
        """Left edge, opposite the line that faces the axis [m]."""
        return -self.circumference / 2

    @property
    def right(self) -> float:
        """Right edge without the tongue [m]."""
        return self.circumference / 2

    def from_mounting(self, hole: TemplateHole) -> float:
        """Distance of a hole from the mounting end [m]."""
        return abs(hole.height - self.mounting_height)


def templates(case: Case) -> tuple[TubeTemplate, ...]:
    """Return one template for each kind of tube: [[tubes]] entries that are drilled alike share one."""
    plan = tube_plan(case)
    kinds: dict[tuple[object, ...], list[int]] = {}
    for index, group in enumerate(plan.group):
        kinds.setdefault(_kind(case.tubes[group]), []).append(index)
    return tuple(
        _template(case, _letter(number), case.tubes[plan.group[members[0]]], members)
        for number, members in enumerate(kinds.values())
    )


def _letter(number: int) -> str:
    return chr(ord("A") + number)  # a case has at most 20 entries


def _kind(tubes: Tubes) -> tuple[object, ...]:
    rows = tuple((row.hole_heights(), row.hole_diameter, row.aim) for row in tubes.rows)
    return tubes.inner_diameter, tubes.outer_diameter, tubes.feed, rows


def _template(case: Case, name: str, tubes: Tubes, members: Sequence[int]) -> TubeTemplate:
    first = members[0]
    holes = hole_plan(case)
    facing = _facing(case, first)
    found = []
    for hole in np.flatnonzero(holes.tube == first):
        turn = _half_turn(math.degrees(holes.heading[hole]) - facing)
        row = int(holes.row[hole])
        around = tubes.outer_diameter / 2 * math.radians(turn)
        height, diameter = float(holes.height[hole]), float(holes.diameter[hole])
        found.append((height, around, row + 1, turn, diameter, tubes.rows[row].aim))
    found.sort()
    return TubeTemplate(
        name=name,
        tubes=tuple(_place(case, index) for index in members),
        inner_diameter=tubes.inner_diameter,
        outer_diameter=tubes.outer_diameter,
        length=case.chamber.height,
        feed=tubes.feed,
        holes=tuple(
            TemplateHole(number, row, height, around, turn, diameter, aim)
            for number, (height, around, row, turn, diameter, aim) in enumerate(found, start=1)
        ),
    )


def _facing(case: Case, index: int) -> float:
    """Direction from a tube to the chamber's axis [deg]."""
    plan = tube_plan(case)
    return math.degrees(math.atan2(-plan.y[index], -plan.x[index]))


def _half_turn(angle: float) -> float:
    """An angle between -180 and 180 degrees; rounded so that 40 degrees is 40 for every tube."""
    return round((angle + 180.0) % 360.0 - 180.0, 9)


def _place(case: Case, index: int) -> TubePlace:
    plan, holes = tube_plan(case), hole_plan(case)
    mine = np.flatnonzero(holes.tube == index)
    firsts = [int(mine[holes.row[mine] == row][0]) for row in np.unique(holes.row[mine])]
    return TubePlace(
        number=index + 1,
        x=float(plan.x[index]),
        y=float(plan.y[index]),
        facing=_facing(case, index) % 360.0,
        headings=tuple(math.degrees(float(holes.heading[hole])) % 360.0 for hole in firsts),
        moment_arms=tuple(float(holes.moment_arm[hole]) for hole in firsts),
    )


@dataclass(frozen=True)
class Cutout:
    """A round opening in roof or floor, or a round part there that is no opening. Lengths in m.

    panel: "roof" or "floor".   x, y: place of its centre on the plan.   is_cut: whether the panel is cut.
    """

    panel: str
    name: str
    x: float
    y: float
    diameter: float
    is_cut: bool = True


def cutouts(case: Case) -> tuple[Cutout, ...]:
    """Return every opening of roof and floor: exhaust and hub, fog inlet and its disc, feed holes of the tubes."""
    found = []
    if case.exhaust is not None:
        found.append(Cutout("roof", "exhaust opening", 0.0, 0.0, case.exhaust.diameter))
        if case.exhaust.hub_diameter:
            found.append(Cutout("roof", "hub of the fan, in the opening", 0.0, 0.0, case.exhaust.hub_diameter, False))
    if case.fog is not None:
        found.append(Cutout("floor", "fog inlet", 0.0, 0.0, 2 * case.fog.radius))
        if case.fog.diffuser_radius is not None:
            found.append(Cutout("floor", "disc over the fog inlet", 0.0, 0.0, 2 * case.fog.diffuser_radius, False))
    plan = tube_plan(case)
    for index, group in enumerate(plan.group):
        panel = "roof" if case.tubes[group].feed == "above" else "floor"
        name = f"feed of tube {index + 1}"
        x, y, diameter = (float(of[index]) for of in (plan.x, plan.y, plan.outer_diameter))
        found.append(Cutout(panel, name, x, y, diameter))
    return tuple(found)
