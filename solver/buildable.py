"""What of a case cannot be built, found on the true plan before anything is solved.

Every function but `cautions` yields `Finding`s; none raises.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from swirlwright.solver.errors import Finding
from swirlwright.solver.plan import chord_to_side, jet_path, tube_places
from swirlwright.solver.schema import Case, Tubes

MOST_HOLES = 5_000
# A jet hands over its momentum from about 3 hole diameters on; one that ends before has nothing to drive.
SHORTEST_CHORD = 3.0  # hole diameters
# A jet that ends within this share of the chamber's width has hardly met the air it should turn; our own limit.
SHORT_CHORD = 0.25
# Drawings are rounded: a tube may touch the wall or its neighbour to this depth [m].
TOUCH = 1e-6


def impossible(case: Case) -> Iterator[Finding]:
    """Everything about the geometry that cannot be built or leaves nothing to solve."""
    yield from _roof(case)
    yield from _floor(case)
    places = [tube_places(tubes) for tubes in case.tubes]
    for index, tubes in enumerate(case.tubes):
        yield from _places(case, index, tubes, places[index])
        yield from _holes(case, index, tubes)
        yield from _rows_overlap(index, tubes)
    yield from _overlaps(case, places)
    yield from _paths(case, places)


def _roof(case: Case) -> Iterator[Finding]:
    exhaust = case.exhaust
    if exhaust is None:
        return
    widest = min(case.chamber.width, 2 * case.model_radius)
    if exhaust.diameter > widest * (1 + 1e-9):
        allowed = f"must not be wider than the roof, {widest:.4g} m"
        needs = (("chamber", "width"), ("model", "radius_factor"))
        yield Finding(("exhaust", "diameter"), allowed, exhaust.diameter, needs=needs)
    if exhaust.hub_diameter >= exhaust.diameter:
        allowed = f"must be smaller than the opening, {exhaust.diameter:g} m"
        yield Finding(("exhaust", "hub_diameter"), allowed, exhaust.hub_diameter, needs=(("exhaust", "diameter"),))


def _floor(case: Case) -> Iterator[Finding]:
    fog = case.fog
    if fog is None:
        return
    needs = (("chamber", "width"), ("model", "radius_factor"), ("fog", "radius"))
    widest = min(case.chamber.width / 2, case.model_radius)
    for key in ("radius", "diffuser_radius"):
        radius = getattr(fog, key)
        if radius is not None and radius >= widest:
            allowed = f"must be smaller than the floor, radius {widest:.4g} m"
            yield Finding(("fog", key), allowed, radius, needs=needs)
    if fog.diffuser_radius is not None and fog.diffuser_radius <= fog.radius:
        allowed = f"must be larger than fog.radius, {fog.radius:g} m"
        yield Finding(("fog", "diffuser_radius"), allowed, fog.diffuser_radius, needs=(("fog", "radius"),))
    if fog.diffuser_gap is not None and fog.diffuser_radius is None:
        disc = (("fog", "diffuser_radius"),)
        yield Finding(("fog", "diffuser_gap"), "needs fog.diffuser_radius", fog.diffuser_gap, needs=disc)
    if fog.diffuser_gap is not None and fog.diffuser_gap > case.chamber.height:
        allowed = f"must be at most the chamber's height, {case.chamber.height:g} m"
        yield Finding(("fog", "diffuser_gap"), allowed, fog.diffuser_gap, needs=(("chamber", "height"),))


def _places(case: Case, index: int, tubes: Tubes, places: list[tuple[float, float]]) -> Iterator[Finding]:
    outer, half = tubes.outer_diameter / 2, case.chamber.width / 2
    at = ("tubes", index)
    needs = (
        ("chamber", "width"), ("chamber", "footprint"), (*at, "inner_diameter"), (*at, "wall_thickness"),
        (*at, "place_radius"), (*at, "first_angle"), (*at, "count"), (*at, "positions"),
    )  # fmt: skip
    for number, (x, y) in enumerate(places):
        reach = math.hypot(x, y) if case.chamber.footprint == "round" else max(abs(x), abs(y))
        where = (*at, "positions", number) if tubes.positions else (*at, "place_radius")
        value: object = [x, y] if tubes.positions else tubes.place_radius
        if reach + outer > half + TOUCH:
            allowed = (
                f"must keep the tube inside the chamber: its outside may reach {half:g} m out, and "
                f"tube {number + 1} at ({x:.4g}, {y:.4g}) m reaches {reach + outer:.4g} m"
            )
            yield Finding(where, allowed, value, needs=needs)
            return
        if math.hypot(x, y) <= outer:
            yield Finding(where, "must keep the tube off the chamber's axis", value, needs=needs)
            return


def _holes(case: Case, index: int, tubes: Tubes) -> Iterator[Finding]:
    height = case.chamber.height
    bore = ("tubes", index, "inner_diameter")
    for number, row in enumerate(tubes.rows):
        at = ("tubes", index, "rows", number)
        size = (*at, "hole_diameter")
        radius = row.hole_diameter / 2
        if row.hole_diameter > tubes.inner_diameter:
            allowed = f"must be at most the tube's inner diameter, {tubes.inner_diameter:g} m"
            yield Finding(size, allowed, row.hole_diameter, needs=(bore,))
        heights = row.hole_heights()
        if not heights:
            continue
        spans = [(*at, key) for key in ("heights", "lowest", "pitch", "count")]
        needs = (size, ("chamber", "height"), *spans)
        top = (*at, "heights", heights.index(max(heights))) if row.heights else (*at, "count")
        low = (*at, "heights", heights.index(min(heights))) if row.heights else (*at, "lowest")
        if max(heights) + radius > height:
            allowed = f"puts a hole at {max(heights):.4g} m; its edge must be below the ceiling at {height:g} m"
            yield Finding(top, allowed, None if row.heights else row.count, needs=needs)
        if min(heights) < radius:
            allowed = f"must be at least half a hole diameter, {radius:g} m"
            yield Finding(low, allowed, min(heights), needs=needs)
        gaps = np.diff(np.sort(heights))
        if gaps.size and gaps.min() < row.hole_diameter:
            allowed = f"must keep the holes apart: at least their diameter, {row.hole_diameter:g} m"
            place = (*at, "heights") if row.heights else (*at, "pitch")
            yield Finding(place, allowed, None if row.heights else row.pitch, needs=needs)


def _rows_overlap(index: int, tubes: Tubes) -> Iterator[Finding]:
    """Holes of two rows of a tube that cut into each other on its unrolled wall."""
    for later, row in enumerate(tubes.rows):
        for earlier, other in enumerate(tubes.rows[:later]):
            around = tubes.outer_diameter / 2 * math.radians(abs(row.aim - other.aim))
            room = (row.hole_diameter + other.hole_diameter) / 2
            one, two = np.sort(row.hole_heights()), np.sort(other.hole_heights())
            if around >= room or not one.size or not two.size:
                continue
            after = np.searchsorted(two, one)
            gaps = [np.abs(one - two[np.clip(after + k, 0, two.size - 1)]) for k in (-1, 0)]
            nearest = np.minimum(*gaps)
            if math.hypot(around, float(nearest.min())) < room:
                at = ("tubes", index, "rows", later)
                allowed = (
                    f"puts a hole at {one[int(nearest.argmin())]:.4g} m into one of row {earlier + 1}; their centres "
                    f"must be {room:.4g} m apart on the tube's wall"
                )
                yield Finding((*at, "hole_diameter"), allowed, row.hole_diameter, needs=(at, (*at[:3], earlier)))


def _overlaps(case: Case, places: list[list[tuple[float, float]]]) -> Iterator[Finding]:
    tubes = [(index, number, x, y) for index, group in enumerate(places) for number, (x, y) in enumerate(group)]
    holes = sum(
        len(group) * len(row.hole_heights())
        for group, entry in zip(places, case.tubes, strict=True)
        for row in entry.rows
    )
    if holes > MOST_HOLES:
        needs = tuple(("tubes", index) for index in range(len(case.tubes)))
        yield Finding(("tubes",), f"must have at most {MOST_HOLES} holes in all, got {holes}", needs=needs)
    for later, (index, number, x, y) in enumerate(tubes):
        for other, other_number, other_x, other_y in tubes[:later]:
            room = (case.tubes[index].outer_diameter + case.tubes[other].outer_diameter) / 2
            if math.hypot(x - other_x, y - other_y) < room - TOUCH:
                has_list = bool(case.tubes[index].positions)
                where = ("tubes", index, "positions", number) if has_list else ("tubes", index)
                allowed = (
                    f"puts tube {number + 1} at ({x:.4g}, {y:.4g}) m into tube {other_number + 1} of entry "
                    f"{other + 1}; their axes must be {room:.4g} m apart"
                )
                yield Finding(where, allowed, needs=(("tubes", index), ("tubes", other)))
                return


def _paths(case: Case, places: list[list[tuple[float, float]]]) -> Iterator[Finding]:
    """Jets that point outward, measured on the true plan: they meet the side before they are a jet."""
    for index, (tubes, group) in enumerate(zip(case.tubes, places, strict=True)):
        for number, row in enumerate(tubes.rows):
            at = ("tubes", index, "rows", number)
            needs = (("chamber", "width"), ("chamber", "footprint"), ("tubes", index), at)
            for x, y in group:
                path = jet_path(x, y, tubes.outer_diameter / 2, row.aim)
                chord, _ = chord_to_side(case, path, 0.0)
                if chord < SHORTEST_CHORD * row.hole_diameter:
                    allowed = (
                        f"points the jet outward: from ({path.x:.4g}, {path.y:.4g}) m it meets a side after "
                        f"{chord:.2g} m and must run at least {SHORTEST_CHORD:g} hole diameters"
                    )
                    yield Finding((*at, "aim"), allowed, row.aim, "90 aims at the axis", needs)
                    break


def cautions(case: Case) -> tuple[str, ...]:
    """What can be built but rarely works, as sentences."""
    found = []
    for index, tubes in enumerate(case.tubes):
        holes = sum(len(row.hole_heights()) * row.hole_diameter**2 for row in tubes.rows)
        share = holes / tubes.inner_diameter**2
        if share > 1:
            found.append(
                f"tubes.{index + 1}: the holes of a tube have {share:.2f} times the tube's own area; they "
                "cannot all blow alike (keep the share below about one half)"
            )
        found += [f"tubes.{index + 1}.rows.{number + 1}: {text}" for number, text in _along_a_wall(case, tubes)]
        if case.exhaust is not None:
            inner = min(math.hypot(x, y) for x, y in tube_places(tubes)) - tubes.outer_diameter / 2
            if inner < case.exhaust.diameter / 2:
                found.append(f"tubes.{index + 1}: the tubes stand within the exhaust opening's radius")
    return tuple(found)


def _along_a_wall(case: Case, tubes: Tubes) -> Iterator[tuple[int, str]]:
    """Rows whose jets give much of their torque to a wall: soon stopped by it, or running along it."""
    for number, row in enumerate(tubes.rows):
        x, y = tube_places(tubes)[0]
        path = jet_path(x, y, tubes.outer_diameter / 2, row.aim)
        chord, leaves = chord_to_side(case, path, row.hole_heights()[0])
        if chord < SHORT_CHORD * case.chamber.width:
            end = "leaves through an open side" if leaves else "meets a side"
            yield number, f"the jet {end} after {1e3 * chord:.0f} mm: most of its torque is lost; aim more inward"
            continue
        middle = path.x + 0.5 * chord * math.cos(path.heading), path.y + 0.5 * chord * math.sin(path.heading)
        half_width = case.model.jet_spread * 0.5 * chord + 0.5 * row.hole_diameter
        if _clearance(case, *middle) < half_width:
            yield number, "the jet runs along a side, nearer than its own half width: friction there takes its torque"


def _clearance(case: Case, x: float, y: float) -> float:
    """Distance from a place on the plan to the nearest side [m]."""
    half = case.chamber.width / 2
    return half - (math.hypot(x, y) if case.chamber.footprint == "round" else max(abs(x), abs(y)))
