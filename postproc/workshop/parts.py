"""The parts list of a chamber, from its case."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from swirlwright.postproc.workshop.power import Power
from swirlwright.postproc.workshop.template import TubeTemplate
from swirlwright.postproc.workshop.units import Unit, fraction_drill
from swirlwright.solver.schema import Case

# Up to so many times the diameter of its impeller an opening is that of the fan's own housing; our own choice.
FITS = 1.1


@dataclass(frozen=True)
class Part:
    """A line of the list.

    Attributes
    ----------
    name : str
    quantity : int
    sizes : tuple of (str, float)
        What is measured, and the length [m].
    area : float or None
        Of all of them together, openings not taken off [m2].
    note : str
    """

    name: str
    quantity: int
    sizes: tuple[tuple[str, float], ...] = ()
    area: float | None = None
    note: str = ""

    def as_json(self) -> dict[str, Any]:
        """Plain values, SI."""
        sizes = {f"{what.replace(' ', '_')}_m": length for what, length in self.sizes}
        return {"name": self.name, "quantity": self.quantity, **sizes, "area_m2": self.area, "note": self.note}


def parts_of(case: Case, kinds: tuple[TubeTemplate, ...], power: Power, unit: Unit) -> tuple[Part, ...]:
    """Return the parts that follow from the case, their notes in `unit`; plenum, frame, lamps, fogger are in none."""
    return (*_tubes(kinds, unit), *_panels(case, unit), *_fans(case, power, unit), *_fog(case, unit))


def _tubes(kinds: tuple[TubeTemplate, ...], unit: Unit) -> Iterator[Part]:
    for kind in kinds:
        through = {"below": "floor", "above": "roof", "room": "floor"}[kind.feed]
        yield Part(
            f"tube, template {kind.name}",
            len(kind.tubes),
            (("outer diameter", kind.outer_diameter), ("inner diameter", kind.inner_diameter), ("length", kind.length)),
            note=f"length inside the chamber; add what passes through the {through}",
        )
        yield Part(
            f"cap, tube end at the {'floor' if kind.feed == 'above' else 'ceiling'}",
            len(kind.tubes),
            (("inner diameter", kind.outer_diameter),),
            note="airtight",
        )
        for diameter in sorted({hole.diameter for hole in kind.holes}):
            each = sum(hole.diameter == diameter for hole in kind.holes)
            drill = "" if unit.is_metric else f"; nearest drill {fraction_drill(diameter)}"
            note = f"{each} a tube, deburred inside{drill}"
            yield Part("drilled hole", each * len(kind.tubes), (("diameter", diameter),), note=note)


def _panels(case: Case, unit: Unit) -> Iterator[Part]:
    chamber = case.chamber
    is_square = chamber.footprint == "square"
    size = (("width", chamber.width), ("depth", chamber.width)) if is_square else (("diameter", chamber.width),)
    yield Part("floor panel", 1, size, chamber.floor_area, "inside measure; openings on the cut-out sheet")
    yield Part("roof panel", 1, size, chamber.floor_area, "inside measure; openings on the cut-out sheet")
    whole = chamber.width * chamber.height
    if is_square:
        closed = 4 - len(set(chamber.open_sides))
        if closed:
            side = (("width", chamber.width), ("height", chamber.height))
            yield Part("side panel, closed", closed, side, closed * whole, "transparent where people look in")
        rest = len(set(chamber.open_sides)) * whole - chamber.open_area
        if chamber.open_sides and rest > 1e-9 * whole:
            yield Part(
                "panels beside, below or above the opening of the open sides",
                len(set(chamber.open_sides)),
                area=rest,
                note=f"open from {unit.long(chamber.open_from)} to {unit.long(chamber.open_top)}, over "
                f"{100 * chamber.side_opening:g} % of the width",
            )
        return
    closed_area = chamber.perimeter * chamber.height - chamber.open_area
    if closed_area > 1e-9 * whole:
        along = closed_area / chamber.height
        yield Part("curved side panel", 1, (("length around", along), ("height", chamber.height)), closed_area)


def _hood(case: Case, power: Power) -> Iterator[Part]:
    """What leads from the exhaust opening to a narrower fan; its loss is the case's `exhaust.duct_loss`."""
    fan = next((fan for fan in power.fans if fan.place == "exhaust"), None)
    if case.exhaust is not None and fan is not None and case.exhaust.diameter > FITS * fan.diameter:
        note = "from the exhaust opening to the fan" + ("s, one outlet for each" if fan.count > 1 else "")
        yield Part("hood or reducer", 1, (("wide end", case.exhaust.diameter), ("narrow end", fan.diameter)), note=note)


def _fans(case: Case, power: Power, unit: Unit) -> Iterator[Part]:
    yield from _hood(case, power)
    for fan in power.fans:
        yield Part(f"{fan.place} fan", fan.count, (("diameter", fan.diameter),), note=fan.title)
        note = "one on each side that can be reached"
        yield Part("finger guard", 2 * fan.count, (("diameter", fan.diameter),), note=note)
        if fan.speed_ratio != 1.0:
            note = f"for the {fan.place} fan, set to {100 * fan.speed_ratio:.3g} % of its speed"
            yield Part("speed controller", 1, note=note)
    if case.exhaust is not None and case.exhaust.fan is None:
        flow = unit.flow(power.exhaust_flow)
        yield Part("exhaust fan", 1, note=f"not chosen in the case; must draw {flow} (`scale` looks for fans)")
    if case.supply is not None and not case.supply.fans:
        yield Part("supply fan", 1, note="not chosen in the case (`scale` looks for fans)")
    for supply in power.supplies:
        if supply.voltage is not None and not is_mains(supply.voltage):
            note = f"{supply.rating:.3g} W or more, the stated margin included"
            yield Part(f"power supply, {supply.voltage:g} V", 1, note=note)


def is_mains(voltage: float) -> bool:
    """Whether a voltage is beyond extra-low voltage: above 50 V alternating (IEC 61140, from memory)."""
    return voltage > 50.0


def _fog(case: Case, unit: Unit) -> Iterator[Part]:
    if case.fog is not None:
        note = f"{unit.flow(case.fog.flow)} of fog-laden air; fogger and hose are not in the case"
        yield Part("fog inlet", 1, (("diameter", 2 * case.fog.radius),), note=note)
        if case.fog.diffuser_radius is not None:
            yield Part("disc over the fog inlet", 1, (("diameter", 2 * case.fog.diffuser_radius),))
