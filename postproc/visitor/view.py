"""Where the visitor stands and what of the chamber is seen from there: panels, tubes, lamp, to scale.

The view is level and from afar (parallel lines of sight), so that heights and widths can be measured on the picture.
A visitor in front of an open corner stands a little to that side, so that rear tubes show beside the front ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

from swirlwright.solver.plan import hole_plan, tube_plan
from swirlwright.solver.schema import Case, Side

AROUND: tuple[Side, ...] = ("front", "right", "back", "left")
OUTWARD = {"front": (0.0, -1.0), "right": (1.0, 0.0), "back": (0.0, 1.0), "left": (-1.0, 0.0)}
TURN = math.radians(16)  # towards the neighbouring open side
FORWARD = math.radians(25)  # of the lamp of a round chamber, from straight at the side towards the visitor


@dataclass(frozen=True)
class View:
    """A level view onto the axis.

    Attributes
    ----------
    side : str
        The side in front of the visitor.
    towards : (2,)
        From the axis to the visitor on the plan, length 1.
    rightward : (2,)
        To the right of the picture on the plan, length 1.
    half_width : float
        Half the chamber's breadth as seen [m].
    lamp : (2,)
        Place of the upright lamp strip: to the right of the axis as seen, and nearer to the visitor than it [m].
    words : str
        From where, in words.
    """

    side: Side
    towards: tuple[float, float]
    rightward: tuple[float, float]
    half_width: float
    lamp: tuple[float, float]
    words: str

    def across(self, x: float, y: float) -> float:
        """Place on the picture of a point of the plan, to the right of the axis [m]."""
        return x * self.rightward[0] + y * self.rightward[1]

    def depth(self, x: float, y: float) -> float:
        """How much nearer to the visitor than the axis a point of the plan is [m]."""
        return x * self.towards[0] + y * self.towards[1]


class Panel(NamedTuple):
    """A rear side as seen: from left to right on the picture [m], and whether it is open to the room."""

    left: float
    right: float
    is_open: bool


class SeenTube(NamedTuple):
    """A tube on the picture: middle, outer diameter, nearness to the visitor, and its holes that face the visitor.

    holes: place across, height, diameter and breadth as seen, each [m].
    """

    across: float
    diameter: float
    depth: float
    holes: tuple[tuple[float, float, float, float], ...]


def view_of(case: Case) -> View:
    """Where the visitor stands: before the first open side, from the front round to the right; else at the front."""
    chamber = case.chamber
    half = chamber.width / 2
    if chamber.footprint == "round":
        towards, rightward = _turned("front", 0.0)
        words = "seen from the front" + (" through the open side" if chamber.open_share else " through the clear side")
        words += "; lamp strip at the right in front"
        # At the rim, near enough to it that the strip does not stand before the column.
        lamp = (half * math.cos(FORWARD), half * math.sin(FORWARD))
        return View("front", towards, rightward, half, lamp, words)
    opened = [side for side in AROUND if side in chamber.open_sides]
    side = opened[0] if opened else "front"
    # Neighbours as the visitor has them: the next side round is at the right hand.
    at_right, at_left = (AROUND[(AROUND.index(side) + step) % 4] for step in (1, -1))
    turn = TURN if at_left in opened else -TURN if at_right in opened else 0.0
    towards, rightward = _turned(side, turn)
    half_width = half * (abs(math.cos(turn)) + abs(math.sin(turn)))
    # In the corner between the visitor's side and a closed one, where a strip has something to hang on.
    other = at_left if at_right in opened and at_left not in opened else at_right
    corner = half * (OUTWARD[side][0] + OUTWARD[other][0]), half * (OUTWARD[side][1] + OUTWARD[other][1])
    words = f"seen from the {side} through the {'open' if opened else 'clear'} side"
    if turn:
        words += f", {abs(math.degrees(turn)):.0f}° round to the {at_left if turn > 0 else at_right}"
    words += f"; lamp strip in the corner at the {'right' if other == at_right else 'left'}"
    seen = View(side, towards, rightward, half_width, (0.0, 0.0), words)
    return replace(seen, lamp=(seen.across(*corner), seen.depth(*corner)))


def rear_panels(case: Case, view: View) -> list[Panel]:
    """The sides behind the axis, left to right; one for a round chamber."""
    chamber = case.chamber
    half = chamber.width / 2
    if chamber.footprint == "round":
        return [Panel(-half, half, chamber.open_share >= 1.0)]
    panels = []
    for side in AROUND:
        x, y = OUTWARD[side]
        if view.depth(x, y) < -1e-9:
            ends = sorted(view.across(half * (x + along * y), half * (y - along * x)) for along in (-1, 1))
            panels.append(Panel(ends[0], ends[1], side in chamber.open_sides))
    return sorted(panels)


def seen_tubes(case: Case, view: View) -> list[SeenTube]:
    """All tubes, the farthest first."""
    tubes, holes = tube_plan(case), hole_plan(case)
    seen = []
    for index, (x, y, diameter) in enumerate(zip(tubes.x, tubes.y, tubes.outer_diameter, strict=True)):
        facing = []
        for hole in range(len(holes)):
            if holes.tube[hole] != index:
                continue
            heading = holes.heading[hole]
            facing_share = view.depth(math.cos(heading), math.sin(heading))
            if facing_share > 0.05:
                place = view.across(holes.x[hole], holes.y[hole])
                size = holes.diameter[hole]
                facing.append((float(place), float(holes.height[hole]), float(size), float(size * facing_share)))
        seen.append(SeenTube(view.across(x, y), float(diameter), view.depth(x, y), tuple(facing)))
    return sorted(seen, key=lambda tube: tube.depth)


def _turned(side: Side, turn: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Directions to the visitor and to the right of the picture, turned clockwise as seen from above [rad]."""
    x, y = OUTWARD[side]
    c, s = math.cos(turn), math.sin(turn)
    towards = (x * c + y * s, y * c - x * s)
    return towards, (-towards[1], towards[0])
