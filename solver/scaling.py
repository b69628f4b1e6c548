"""`scale`: from a chamber that works to one of another size; what is held, what cannot be, duties, holes, fans."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from swirlwright.solver.casefile import parse_case, to_toml
from swirlwright.solver.drilling import HoleChange, TubeChange, drill_cautions, drilled_row, even_bore
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.fan_choice import Duty, FanChoice, choose_fans, fans_in
from swirlwright.solver.manifold import TubeState
from swirlwright.solver.network import AirNetwork, solve_network
from swirlwright.solver.scale_duties import (
    exhaust_duty_of,
    is_pressure_free,
    own_fans,
    plenum_duty_of,
    put_fans,
    with_transition,
)
from swirlwright.solver.scale_numbers import Compared, compared, notes
from swirlwright.solver.schema import Case, Tubes
from swirlwright.solver.similarity import HOLDS, Factors, Hold, rounded, similar_case
from swirlwright.solver.tomlfile import parse_document

# Largest factor either way; beyond, the schema's ranges and common sense end anyway.
MOST = 100.0
# Keys that say where the holes of a row are.
ALONG = ("lowest", "pitch", "count", "heights")
# Walls of tubes, in steps of [m].
WALL = 1e-4
# Rounding holes moves the plenum's pressure by some per cent; beyond this factor it is left similar.
MOST_ADJUSTED = 3.0
# Highest plenum pressure that a case may have [Pa].
HIGHEST = 2e4


@dataclass(frozen=True)
class Scaled:
    """A chamber of another size with what it takes.

    Attributes
    ----------
    original, case : Case
        `case` passes every check; its path need not exist, its fans are named relative to that.
    factors : Factors
    hold : "velocity", "spin-up" or "reynolds"
    original_network, network : AirNetwork
    numbers : tuple of Compared
        What is held, and what is not.
    holes : tuple of HoleChange
    tubes : tuple of TubeChange
    exhaust_duty, plenum_duty : Duty or None
        The exhaust's without the way to a fan of another size.
    exhaust_fans, plenum_fans : tuple of FanChoice
        Of the folder, those that serve first, by electrical power; the first is in `case`.
    fans_folder : Path or None
    notes : tuple of str
        What else a builder should know.
    """

    original: Case
    case: Case
    factors: Factors
    hold: Hold
    original_network: AirNetwork
    network: AirNetwork
    numbers: tuple[Compared, ...]
    holes: tuple[HoleChange, ...]
    tubes: tuple[TubeChange, ...]
    exhaust_duty: Duty | None
    plenum_duty: Duty | None
    exhaust_fans: tuple[FanChoice, ...]
    plenum_fans: tuple[FanChoice, ...]
    fans_folder: Path | None
    notes: tuple[str, ...]

    def text(self) -> str:
        """The sheet a builder reads."""
        from swirlwright.solver.scale_sheet import scale_text

        return scale_text(self)

    def as_json(self) -> dict[str, Any]:
        """Plain data, SI, keys as `name_unit`."""
        from swirlwright.solver.scale_sheet import scale_json

        return scale_json(self)


def scale(
    case: Case,
    *,
    height: float | None = None,
    factor: float | None = None,
    hold: Hold = "velocity",
    fans: str | Path | None = None,
) -> Scaled:
    """Return a case scaled to another size.

    Everything is similar but what a workshop cannot make: holes are drilled with whole drills and the tubes take the
    bore that feeds them as evenly; the plenum's pressure then holds the momentum of the jets.

    Parameters
    ----------
    case : Case
    height : float, optional
        Of the scaled chamber [m]. Exactly one of height and factor.
    factor : float, optional
        Scaled length over original [1].
    hold : "velocity", "spin-up" or "reynolds"
        What stays: the velocities; the spin-up time, velocities growing with length; the Reynolds number, velocities
        falling with length.
    fans : path, optional
        Folder of fan files to choose from; by default that of the case's own fans. Without one, duties only.

    Raises
    ------
    InputError
        If the factor is out of range, the scaled chamber cannot be built, or a fan file is wrong.
    """
    if hold not in HOLDS:
        raise InputError([Problem("scale", 0, "hold", hold, f"must be one of {', '.join(HOLDS)}")])
    factors = Factors.holding(_length_factor(case, height, factor), hold)
    before = solve_network(case)
    data = similar_case(case, factors)
    data["title"] = f"{case.title[:250]}, scaled to {case.chamber.height * factors.length:.4g} m"
    _give_duties(case, before, factors, data)
    folder = own_fans(case) if fans is None else Path(fans)
    path = _path(case, factors, folder)
    holes, tubes = _make_drillable(case, before, factors, data)
    tubes = _fitted(case, data, path, factors, tubes)
    _hold_momentum(case, before, factors, data, path)
    plain = _checked(case, data, path, factors)
    network = solve_network(plain)
    curves = [] if folder is None else fans_in(folder)
    exhaust, plenum = exhaust_duty_of(network), plenum_duty_of(network)
    transition = with_transition(case, plain, exhaust) if exhaust is not None else None
    exhaust_fans = choose_fans(curves, transition, case.density) if transition is not None else ()
    plenum_fans = choose_fans(curves, lambda *_: (plenum, 0.0), case.density) if plenum is not None else ()
    put_fans(case, data, exhaust_fans, plenum_fans, folder)
    final = _checked(case, data, path, factors)
    return Scaled(
        original=case,
        case=final,
        factors=factors,
        hold=hold,
        original_network=before,
        network=(after := solve_network(final)),
        numbers=compared(case, before, final, after, factors),
        holes=holes,
        tubes=tubes,
        exhaust_duty=exhaust,
        plenum_duty=plenum,
        exhaust_fans=exhaust_fans,
        plenum_fans=plenum_fans,
        fans_folder=folder,
        notes=(*notes(case, final, factors), *drill_cautions(final)),
    )


def _length_factor(case: Case, height: float | None, factor: float | None) -> float:
    if (height is None) == (factor is None):
        raise InputError([Problem("scale", 0, "", None, "needs exactly one of height and factor")])
    name, given = ("height", height) if factor is None else ("factor", factor)
    assert given is not None
    found = given / case.chamber.height if factor is None else given
    if not 1.0 / MOST <= found <= MOST:
        unit = case.chamber.height if factor is None else 1.0
        allowed = f"must be between {unit / MOST:.4g} and {unit * MOST:.4g}{' m' if factor is None else ''}"
        raise InputError([Problem("scale", 0, name, given, allowed)])
    return found


def _path(case: Case, factors: Factors, folder: Path | None) -> Path:
    """Where the scaled case would stand, so that the fans lie in its folder tree."""
    size = case.chamber.height * factors.length
    name = f"{case.path.stem}-{size:.4g}m.toml"
    return case.path.with_name(name) if folder is None else folder.resolve().parent / name


def _give_duties(case: Case, before: AirNetwork, factors: Factors, data: dict[str, Any]) -> None:
    """Put a given flow and pressure in the place of the original's fans."""
    if case.exhaust is not None and case.exhaust.fan is not None:
        for key in ("fan", "fan_count", "fan_speed_ratio"):
            data["exhaust"].pop(key, None)
        data["exhaust"]["flow"] = rounded(before.exhaust_flow * factors.flow)
    if case.supply is not None and case.supply.fans:
        for key in ("fans", "arrangement"):
            data["supply"].pop(key, None)
        data["supply"]["pressure"] = rounded(before.plenum_pressure * factors.pressure)


def _make_drillable(
    case: Case, before: AirNetwork, factors: Factors, data: dict[str, Any]
) -> tuple[tuple[HoleChange, ...], tuple[TubeChange, ...]]:
    """Put whole drills and an even bore into every [[tubes]] entry."""
    holes: list[HoleChange] = []
    bores = []
    first = 0
    for number, (entry, table) in enumerate(zip(case.tubes, data.get("tubes", ()), strict=True), start=1):
        own = _drill_rows(number, entry, table, factors)
        bores.append(_bore(number, entry, table, case, before.tubes[first], factors))
        # In hole diameters, since that sets the discharge; rounded down, so that what just fits still does.
        drilled = entry.wall_thickness * min(hole.diameter / hole.original_diameter for hole in own)
        wall = min(drilled, table["wall_thickness"])
        table["wall_thickness"] = rounded(math.floor(wall / WALL) * WALL or wall)
        holes += own
        first += entry.number
    return tuple(holes), tuple(bores)


def _drill_rows(number: int, entry: Tubes, table: dict[str, Any], factors: Factors) -> list[HoleChange]:
    """Put whole drills into the rows of a [[tubes]] entry, counted from 1."""
    holes = []
    for k, row in enumerate(entry.rows):
        changed, similar = drilled_row(row, factors.length)
        kept = {n: v for n, v in table["rows"][k].items() if n not in ALONG and n != "hole_diameter"}
        table["rows"][k] = {**changed, **kept}
        now = len(changed.get("heights", ())) or changed["count"]
        count = len(row.hole_heights())
        holes.append(HoleChange(number, k + 1, row.hole_diameter, similar, changed["hole_diameter"], count, now))
    return holes


def _bore(
    number: int, entry: Tubes, table: dict[str, Any], case: Case, original: TubeState, factors: Factors
) -> TubeChange:
    """Put the bore that feeds as evenly into a [[tubes]] entry, counted from 1."""
    similar = table["inner_diameter"]
    bore, state, is_as_even = even_bore(
        table,
        case.chamber.height * factors.length,
        original=original,
        pressure_factor=factors.pressure,
        density=case.density,
        viscosity=case.kinematic_viscosity,
    )
    table["inner_diameter"] = bore
    now = None if state is None else state.unevenness
    return TubeChange(number, entry.inner_diameter, similar, bore, original.unevenness, now, is_as_even)


def _fitted(
    case: Case, data: dict[str, Any], path: Path, factors: Factors, tubes: tuple[TubeChange, ...]
) -> tuple[TubeChange, ...]:
    """The tubes, kept similar where the wider ones that feed evenly find no room."""
    try:
        _checked(case, data, path, factors)
    except InputError:
        for table, tube in zip(data.get("tubes", ()), tubes, strict=True):
            table["inner_diameter"] = tube.similar_bore
        _checked(case, data, path, factors)
        return tuple(replace(t, bore=t.similar_bore, unevenness=None, is_as_even=False) for t in tubes)
    return tubes


def _hold_momentum(case: Case, before: AirNetwork, factors: Factors, data: dict[str, Any], path: Path) -> None:
    """Set the plenum's pressure, or the supply's flow where the case gives that, so that drills cost no momentum."""
    if not is_pressure_free(case):
        return
    from fluids.numerics import brenth

    target = before.momentum * factors.powers(2, 2)
    guess = before.plenum_pressure * factors.pressure
    given = data["supply"].pop("flow", None)

    def network(pressure: float) -> AirNetwork:
        data["supply"]["pressure"] = pressure
        return solve_network(_checked(case, data, path, factors))

    def excess(pressure: float) -> float:
        try:
            return network(pressure).momentum / target - 1.0
        except InputError:  # too little pressure to blow at all
            return -1.0

    low, high = guess / MOST_ADJUSTED, min(guess * MOST_ADJUSTED, HIGHEST)
    found = guess
    if excess(low) < 0.0 < excess(high):
        found = brenth(excess, low, high, xtol=1e-10 * guess)
    data["supply"]["pressure"] = rounded(found)
    if given is not None:
        flow = network(found).supply_flow
        del data["supply"]["pressure"]
        data["supply"]["flow"] = rounded(flow)


def _checked(case: Case, data: Mapping[str, Any], path: Path, factors: Factors) -> Case:
    """The scaled case, checked; what is wrong with it is told at the original's lines."""
    try:
        return parse_case(to_toml(data), path)
    except InputError as error:
        document = parse_document(case.text, case.path)
        told = []
        for problem in error.problems:
            place = tuple(int(part) - 1 if part.isdigit() else part for part in problem.key.split(".") if part)
            hint = f"that is after scaling by {factors.length:.4g}"
            told.append(document.problem(place, problem.allowed, problem.value, hint))
        raise InputError(told) from error
