"""The pages of text and tables of the workshop's PDF: what to do, holes, parts and power, cautions."""

from __future__ import annotations

from swirlwright.postproc.cautions import LAST_WORD, Caution
from swirlwright.postproc.workshop.paper import Book, Flow
from swirlwright.postproc.workshop.parts import Part
from swirlwright.postproc.workshop.power import Power
from swirlwright.postproc.workshop.template import TubeTemplate
from swirlwright.postproc.workshop.template_pages import runs_text, tubes_text
from swirlwright.postproc.workshop.units import Unit, fraction_drill
from swirlwright.postproc.workshop.words import fan_rows, load_lines, room_line, sound_line
from swirlwright.solver.schema import Case

MOUNTING = {
    "below": "floor, fed from below",
    "above": "ceiling, fed from above",
    "room": "floor, open to the room",
}


def add_first_page(book: Book, case: Case, kinds: tuple[TubeTemplate, ...]) -> None:
    """Add the page that says what the sheets are and how to use them."""
    flow, unit = Flow(book, case.title), book.unit
    chamber, units = case.chamber, "millimetres"
    if not unit.is_metric:
        units = f"inches, flows in {unit.flow_name}, pressures in {unit.pressure_name}"
    flow.paragraph(
        f"Workshop sheets: {chamber.footprint} chamber, {unit.text(chamber.width)} wide, {unit.text(chamber.height)}"
        f" high, {sum(len(kind.tubes) for kind in kinds)} drilled tubes. Case file: {case.path.name}. All lengths in"
        f" {units}."
    )
    flow.heading("Before you drill")
    for number, words in enumerate(_steps(unit), start=1):
        flow.paragraph(words, lead=f"{number}.", indent=6.0)
    flow.heading("Templates")
    name = unit.name
    rows = [
        [kind.name, runs_text([tube.number for tube in kind.tubes]), unit.number(kind.outer_diameter),
         unit.number(kind.circumference), str(len(kind.holes)), MOUNTING[kind.feed]]
        for kind in kinds
    ]  # fmt: skip
    heads = ["template", "tubes", f"outer ⌀, {name}", f"circumference, {name}", "holes a tube", "mounting end"]
    flow.table(heads, rows, (1, 2, 1.3, 1.8, 1.3, 2.6))
    flow.note(
        "Tubes are counted as in the case file. Holes are counted from the lower end of a tube. Heights are those of"
        " the holes’ centres above the chamber’s floor."
    )


def _steps(unit: Unit) -> tuple[str, ...]:
    """What to do, in order."""
    return (
        f"Print all sheets at 100 %, no scaling. Check the ruler at the foot, and up the paper the ticks along the"
        f" left edge of a template: they are {'10 mm' if unit.is_metric else 'a quarter of an inch'} apart.",
        "Cut out the template’s pieces and join them mark on mark (R1 on R1, and so on): the upper or right one is"
        " cut along the dashes and laid on the strip of the other. Tape them from behind.",
        "Wrap the template around its tube, print outside, the thick line on the mounting end, the arrow up. The"
        " other edge must meet the solid line beside the tongue; the tongue goes under it. Share a gap of up to"
        f" {'half a millimetre' if unit.is_metric else '1/64 in'} out evenly; with more the tube is not of this"
        " diameter.",
        "Punch every centre through the paper, take it off or drill through it, square to the tube and towards its"
        " middle. Start small, finish with the drill of the table, deburr inside and outside.",
        "Mark the line that faces the chamber’s axis on the tube, at both ends: by it the tube is turned when it is"
        " mounted. Then cap the far end.",
    )


def add_holes(book: Book, kinds: tuple[TubeTemplate, ...]) -> None:
    """Add the table of holes of each template."""
    flow, unit = Flow(book, "Holes"), book.unit
    name = unit.name
    for kind in kinds:
        flow.heading(f"Template {kind.name}: {tubes_text(kind)}")
        heads = ["hole", "row", f"height, {name}", f"diameter, {name}", "aim, °", "off the axis line, °",
                 f"around, {name}"]  # fmt: skip
        rows = [
            [str(h.number), str(h.row), unit.number(h.height), unit.number(h.diameter), f"{h.aim:.4g}", f"{h.turn:.4g}",
             unit.number(h.around)]
            for h in kind.holes
        ]  # fmt: skip
        widths = [1, 1, 1.5, 1.5, 1.2, 2, 1.5]
        if not unit.is_metric:
            heads.insert(4, "nearest drill")
            rows = [[*row[:4], fraction_drill(h.diameter), *row[4:]] for row, h in zip(rows, kind.holes, strict=True)]
            widths.insert(4, 2.2)
        if kind.feed == "above":
            heads.append(f"below the ceiling, {name}")
            rows = [[*row, unit.number(kind.from_mounting(h))] for row, h in zip(rows, kind.holes, strict=True)]
            widths.append(2)
        flow.table(heads, rows, widths)
    flow.note(
        "Aim: angle of the jet to the tangent at the tube’s axis, inward positive. Off the axis line and around: from"
        " the line that faces the chamber’s axis, to the right (counterclockwise from above) positive, around along the"
        " tube’s outside."
    )


def add_parts(book: Book, parts: tuple[Part, ...], power: Power, network_cautions: tuple[str, ...]) -> None:
    """Add parts, fans at work, supplies, sound and room, and what the air network warns of."""
    flow, unit = Flow(book, "Parts and power"), book.unit
    flow.heading("Parts")
    rows = []
    for part in parts:
        sizes = ", ".join(f"{what} {unit.number(length)}" for what, length in part.sizes)
        area = "" if part.area is None else unit.area(part.area)
        rows.append([str(part.quantity), part.name, sizes, area, part.note])
    flow.table(["quantity", "part", f"sizes ({unit.name})", "area", "note"], rows, (1.1, 2.6, 3.2, 1.1, 4.4))
    flow.note("From the case alone. Plenum, frame, fasteners, hoses, lamps and the fogger are not in a case.")
    if power.fans:
        flow.heading("Fans at work (each one)")
        flow.table(
            [
                "fan",
                "count",
                "speed, rpm",
                f"flow, {unit.flow_name}",
                f"pressure, {unit.pressure_name}",
                "power, W",
                "at full speed, W",
                "supply, V",
            ],
            fan_rows(power, unit),
            (3.6, 1, 1.2, 1.3, 1.4, 1.2, 1.5, 1.2),
        )
    flow.heading("Supply, sound, room")
    for line in (*load_lines(power), sound_line(power, unit), room_line(power, unit)):
        flow.paragraph(line)
    if network_cautions:
        flow.heading("Cautions of the air network" + ("" if unit.is_metric else ", metric"))
        for line in network_cautions:
            flow.paragraph(line)


def add_cautions(book: Book, found: tuple[Caution, ...]) -> None:
    """Add the cautions."""
    flow = Flow(book, "Before anything is built or switched on")
    for caution in found:
        flow.paragraph(caution.text, lead=caution.subject, indent=30.0)
        flow.down(0.8)
    flow.paragraph(LAST_WORD, lead="Last word", indent=30.0)
