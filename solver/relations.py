"""Checks of a case that need more than one key: what goes together, and what excludes what.

Every function yields `Finding`s; none raises.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from pydantic import BaseModel

from swirlwright.solver.errors import Finding
from swirlwright.solver.schema import Case, Tubes

Needs = tuple[tuple[str | int, ...], ...]

# Two flows given for the same air agree if they differ by less than a printed digit more than anybody writes.
FLOWS_AGREE = 1e-6
MOST_CELLS = 400_000
MOST_FRAMES = 100_000
# Cells times frames of a result: `measure` and `report` hold all of them in memory, some 50 bytes each.
MOST_VALUES = 100_000_000
MOST_STEPS = 10_000_000


def relations(case: Case) -> Iterator[Finding]:
    """Every mistake in how the keys of a case go together."""
    yield from _chamber(case)
    yield from _exhaust_and_supply(case)
    for index, tubes in enumerate(case.tubes):
        yield from _tubes(index, tubes)
    yield from _inlet(case)
    yield from _walls(case)
    yield from _grid(case)
    yield from _run(case)
    yield from _events(case)
    yield from _air_balance(case)


def _given(table: BaseModel, names: Sequence[str]) -> list[str]:
    return [name for name in names if getattr(table, name) not in (None, ())]


def _one_of(table: BaseModel, location: tuple[str | int, ...], names: Sequence[str]) -> Iterator[Finding]:
    """Exactly one of the keys must be there."""
    given = _given(table, names)
    if len(given) == 1:
        return
    got = f"got {', '.join(given)}" if given else "got none of them"
    place = (*location, given[1]) if given else location
    needs = tuple((*location, name) for name in names)
    yield Finding(place, f"must have exactly one of {', '.join(names)}, {got}", needs=needs)


def _chamber(case: Case) -> Iterator[Finding]:
    chamber = case.chamber
    shape: Needs = (("chamber", "footprint"),)
    if chamber.footprint == "square" and "open_fraction" in chamber.model_fields_set:
        yield Finding(
            ("chamber", "open_fraction"),
            "is for a round chamber",
            chamber.open_fraction,
            "use open_sides",
            shape,
        )
    if chamber.footprint == "round" and chamber.open_sides:
        yield Finding(
            ("chamber", "open_sides"),
            "is for a square box",
            list(chamber.open_sides),
            "use open_fraction",
            shape,
        )
    if len(set(chamber.open_sides)) < len(chamber.open_sides):
        yield Finding(("chamber", "open_sides"), "must name each side once", list(chamber.open_sides))
    if case.walls.side_rotation != 0.0 and (chamber.open_share > 0.0 or chamber.leak_area > 0.0):
        # One turning wall with gaps would need two velocities at the side, the wall's and that of the air let in.
        yield Finding(
            ("walls", "side_rotation"),
            "needs closed sides without leaks",
            case.walls.side_rotation,
            "air from a turning screen is an [inlet] with an angle",
            (("chamber", "leak_area"), ("chamber", "open_sides"), ("chamber", "open_fraction")),
        )
    sides = "open_sides" if chamber.footprint == "square" else "open_fraction"
    if "side_opening" in chamber.model_fields_set and chamber.open_share == 0.0:
        yield Finding(
            ("chamber", "side_opening"),
            "narrows open sides, and no side is open",
            chamber.side_opening,
            f"name them in {sides}" if sides == "open_sides" else f"give {sides}",
            (*shape, ("chamber", sides)),
        )
    needs: Needs = (("chamber", "height"), ("chamber", "open_from"))
    if chamber.open_top > chamber.height:
        allowed = f"must be at most the chamber's height, {chamber.height:g} m"
        yield Finding(("chamber", "open_to"), allowed, chamber.open_to, needs=needs)
    if chamber.open_from >= chamber.open_top:
        allowed = f"must be below the band's upper end, {chamber.open_top:g} m"
        needs = (*needs, ("chamber", "open_to"))
        yield Finding(("chamber", "open_from"), allowed, chamber.open_from, needs=needs)


def _exhaust_and_supply(case: Case) -> Iterator[Finding]:
    if case.exhaust is not None:
        yield from _one_of(case.exhaust, ("exhaust",), ("fan", "flow", "pressure"))
        for key in ("fan_count", "fan_speed_ratio"):
            if case.exhaust.fan is None and key in case.exhaust.model_fields_set:
                yield Finding(("exhaust", key), "needs exhaust.fan", needs=(("exhaust", "fan"),))
    fed = [tubes for tubes in case.tubes if tubes.feed != "room"]
    if case.supply is not None:
        yield from _one_of(case.supply, ("supply",), ("fans", "pressure", "flow"))
        if not fed:
            allowed = "feeds nothing: no tube has feed below or above"
            yield Finding(("supply",), allowed, needs=(("tubes",),))
    elif fed:
        index = case.tubes.index(fed[0])
        yield Finding(
            ("tubes", index),
            f"is fed from {fed[0].feed}, and there is no [supply]",
            hint='add [supply], or feed = "room"',
            needs=(("supply",), ("tubes", index, "feed")),
        )


def _tubes(index: int, tubes: Tubes) -> Iterator[Finding]:
    at = ("tubes", index)
    if tubes.positions:
        for key in ("count", "place_radius", "first_angle"):
            if key in tubes.model_fields_set:
                yield Finding((*at, key), "must not stand beside positions", getattr(tubes, key))
    else:
        for key in ("count", "place_radius"):
            if getattr(tubes, key) is None:
                needs = ((*at, key), (*at, "positions"))
                yield Finding(at, f"needs {key} (or positions)", needs=needs)
    if tubes.entrance_loss is not None and "entrance" in tubes.model_fields_set:
        yield Finding((*at, "entrance_loss"), "must not stand beside entrance", tubes.entrance_loss)
    for number, row in enumerate(tubes.rows):
        place = (*at, "rows", number)
        if row.heights:
            for key in ("lowest", "pitch", "count"):
                if key in row.model_fields_set:
                    yield Finding((*place, key), "must not stand beside heights", getattr(row, key))
            continue
        for key in ("lowest", "count") if row.count == 1 else ("lowest", "count", "pitch"):
            if getattr(row, key) is None:
                wanted: Needs = tuple((*place, name) for name in ("lowest", "count", "pitch", "heights"))
                yield Finding(place, f"needs {key} (or heights)", needs=wanted)


def _inlet(case: Case) -> Iterator[Finding]:
    inlet = case.inlet
    if inlet is None:
        return
    yield from _one_of(inlet, ("inlet",), ("flow", "radial_velocity"))
    if len(_given(inlet, ("angle", "swirl_velocity"))) == 2:
        yield Finding(("inlet", "swirl_velocity"), "must not stand beside angle", inlet.swirl_velocity)
    height = case.chamber.height
    if inlet.to_height > height:
        allowed = f"must be at most the chamber's height, {height:g} m"
        yield Finding(("inlet", "to_height"), allowed, inlet.to_height, needs=(("chamber", "height"),))
    if inlet.from_height >= inlet.to_height:
        allowed = f"must be below to_height, {inlet.to_height:g} m"
        needs = (("inlet", "to_height"),)
        yield Finding(("inlet", "from_height"), allowed, inlet.from_height, needs=needs)


def _walls(case: Case) -> Iterator[Finding]:
    for name in ("floor", "ceiling", "side"):
        rotation = getattr(case.walls, f"{name}_rotation")
        if rotation and getattr(case.walls, name) == "free-slip":
            allowed = f"must be 0 on a surface with free slip (walls.{name})"
            yield Finding(("walls", f"{name}_rotation"), allowed, rotation, needs=(("walls", name),))


def _grid(case: Case) -> Iterator[Finding]:
    grid = case.grid
    if grid.cells_r * grid.cells_z > MOST_CELLS:
        most = MOST_CELLS // grid.cells_r
        allowed = f"must be at most {most} with {grid.cells_r} cells_r ({MOST_CELLS} cells)"
        yield Finding(("grid", "cells_z"), allowed, grid.cells_z, needs=(("grid", "cells_r"),))
    for key, length, cells, needs in (
        ("core_spacing", case.model_radius, grid.cells_r, (("chamber", "width"), ("grid", "cells_r"))),
        ("floor_spacing", case.chamber.height, grid.cells_z, (("chamber", "height"), ("grid", "cells_z"))),
    ):
        spacing = getattr(grid, key)
        uniform = length / cells
        # Past twenty times finer than uniform the map stretches too fast for second order to show.
        if spacing is not None and not uniform / 20 <= spacing <= uniform * (1 + 1e-9):
            allowed = f"must be between {uniform / 20:.4g} and {uniform:.4g} m (equal cells)"
            yield Finding(("grid", key), allowed, spacing, needs=needs)


def _run(case: Case) -> Iterator[Finding]:
    run = case.run
    names = [probe.name for probe in run.probes]
    for index, probe in enumerate(run.probes):
        at = ("run", "probes", index)
        if names.index(probe.name) < index:
            yield Finding((*at, "name"), "must be a name of its own", probe.name)
        yield from _inside(case, at, r=probe.r, z=probe.z)
    for index, line in enumerate(run.lines):
        at = ("run", "lines", index)
        yield from _one_of(line, at, ("r", "z"))
        yield from _inside(case, at, r=line.r, z=line.z)
    if run.max_step is not None and run.max_step > run.end_time:
        allowed = f"must be at most run.end_time, {run.end_time:g} s"
        yield Finding(("run", "max_step"), allowed, run.max_step, needs=(("run", "end_time"),))
    yield from _length(case)


def _length(case: Case) -> Iterator[Finding]:
    """Runs whose steps nobody could wait for, or whose frames no memory holds."""
    # A grid of too many cells is told by _grid.
    run, cells = case.run, min(MOST_CELLS, case.grid.cells_r * case.grid.cells_z)
    length = ("end_time",) if run.mode == "transient" else ("spin_up", "average")
    span = sum(getattr(run, name) for name in length)
    needs = tuple(("run", name) for name in ("mode", *length))
    if run.max_step is not None and span > MOST_STEPS * run.max_step:
        allowed = f"must be at least {span / MOST_STEPS:g} s ({MOST_STEPS} steps)"
        yield Finding(("run", "max_step"), allowed, run.max_step, needs=needs)
    most = min(MOST_FRAMES, MOST_VALUES // cells)
    if span > most * run.frame_interval:
        of_grid = f" of {cells} cells" if most < MOST_FRAMES else ""
        allowed = f"must be at least {span / most:g} s ({most} frames{of_grid})"
        yield Finding(("run", "frame_interval"), allowed, run.frame_interval, needs=(*needs, ("grid",)))


def _inside(case: Case, at: tuple[str | int, ...], *, r: float | None, z: float | None) -> Iterator[Finding]:
    for key, value, limit, whose in (
        ("r", r, case.model_radius, ("chamber", "width")),
        ("z", z, case.chamber.height, ("chamber", "height")),
    ):
        if value is not None and value > limit:
            yield Finding((*at, key), f"must be inside the chamber, <= {limit:.4g} m", value, needs=(whose,))


def _events(case: Case) -> Iterator[Finding]:
    for index, event in enumerate(case.events):
        at = ("events", index)
        if case.run.mode != "transient":
            yield Finding(at, 'needs run.mode = "transient"', needs=(("run", "mode"),))
        if event.at >= case.run.end_time:
            allowed = f"must be before run.end_time, {case.run.end_time:g} s"
            yield Finding((*at, "at"), allowed, event.at, needs=(("run", "end_time"),))
        given = _given(event, ("exhaust", "supply", "fog", "sides"))
        if not given:
            needs = tuple((*at, name) for name in ("exhaust", "supply", "fog", "sides"))
            yield Finding(at, "must change exhaust, supply, fog or sides", needs=needs)
        for key in given:
            if key == "sides" and case.chamber.open_share == 0:
                sides: Needs = (("chamber", "open_sides"), ("chamber", "open_fraction"))
                yield Finding((*at, key), "needs a chamber with open sides", event.sides, needs=sides)
            lacking = not case.tubes if key == "supply" else key != "sides" and getattr(case, key) is None
            if lacking:
                what = "[[tubes]]" if key == "supply" else f"[{key}]"
                whose = ("tubes",) if key == "supply" else (key,)
                yield Finding((*at, key), f"needs {what}", getattr(event, key), needs=(whose,))


def _air_balance(case: Case) -> Iterator[Finding]:
    """A chamber with no opening in its side must be able to let out what comes in."""
    chamber, exhaust = case.chamber, case.exhaust
    if chamber.open_share > 0 or chamber.leak_area > 0:
        return
    needs: Needs = (
        ("chamber", "open_sides"), ("chamber", "open_fraction"), ("chamber", "leak_area"),
        ("chamber", "footprint"), ("exhaust",), ("supply",), ("tubes",), ("inlet",), ("fog",),
    )  # fmt: skip
    comes_in = [name for name in ("tubes", "inlet", "fog") if getattr(case, name)]
    if exhaust is None:
        if comes_in:
            yield Finding(("chamber",), f"is closed: the air of [{comes_in[0]}] has no way out", needs=needs)
        return
    if not comes_in:
        yield Finding(("exhaust",), "draws from a closed chamber with nothing let in", needs=needs)
        return
    given = _given_inflow(case)
    if exhaust.flow is not None and given is not None and abs(exhaust.flow - given) > FLOWS_AGREE * given:
        allowed = (
            f"must agree with the flow let in, {given:.7g} m3/s: in a closed chamber exhaust and supply "
            "cannot both be given flows"
        )
        hint = "give one of them as a pressure or a fan"
        yield Finding(("exhaust", "flow"), allowed, exhaust.flow, hint, needs)


def _given_inflow(case: Case) -> float | None:
    """All that is let in [m3/s], if every part of it is given as a flow."""
    total = case.fog.flow if case.fog is not None else 0.0
    if case.inlet is not None:
        total += inlet_flow(case)
    if case.tubes:
        # Tubes fed from the room take what the chamber's pressure draws: they can balance any exhaust.
        if case.supply is None or case.supply.flow is None or any(t.feed == "room" for t in case.tubes):
            return None
        total += case.supply.flow
    return total


def inlet_flow(case: Case) -> float:
    """Flow through the inlet of prescribed direction [m3/s]; 0 without one."""
    inlet = case.inlet
    if inlet is None:
        return 0.0
    if inlet.flow is not None:
        return inlet.flow
    band = inlet.to_height - inlet.from_height
    return 2 * math.pi * case.model_radius * band * (inlet.radial_velocity or 0.0)
