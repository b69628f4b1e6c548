"""What the workshop gets: one PDF at true size, the hole table as CSV, parts, power and cautions."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from typing import Any, Literal

from matplotlib import rc_context

from swirlwright.postproc.cautions import LAST_WORD, Caution, cautions
from swirlwright.postproc.drawing import STYLE
from swirlwright.postproc.workshop.drill_pages import MOUNTING, add_cautions, add_first_page, add_holes, add_parts
from swirlwright.postproc.workshop.paper import Book
from swirlwright.postproc.workshop.parts import Part, parts_of
from swirlwright.postproc.workshop.plan_pages import add_cutouts, add_plan, sense
from swirlwright.postproc.workshop.power import Power, fan_files_of, power_json, power_of
from swirlwright.postproc.workshop.template import Cutout, TubeTemplate, cutouts, templates
from swirlwright.postproc.workshop.template_pages import add_template, tubes_text
from swirlwright.postproc.workshop.units import INCHES, MILLIMETRES, Unit
from swirlwright.postproc.workshop.words import power_lines
from swirlwright.solver.network import solve_network
from swirlwright.solver.schema import Case
from swirlwright.solver.supply import refusal


@dataclass(frozen=True)
class Workshop:
    """What `drill` found and wrote.

    Attributes
    ----------
    case : Case
    pdf, csv : Path
        As written.
    templates : tuple of TubeTemplate
    cutouts : tuple of Cutout
    parts : tuple of Part
    power : Power
    network_cautions : tuple of str
        Of the solved air network, as `check` has them.
    cautions : tuple of Caution
    pages : int
        Of the PDF.
    unit : Unit
        Of lengths on paper and in the CSV; other units go with it.
    """

    case: Case
    pdf: Path
    csv: Path
    templates: tuple[TubeTemplate, ...]
    cutouts: tuple[Cutout, ...]
    parts: tuple[Part, ...]
    power: Power
    network_cautions: tuple[str, ...]
    cautions: tuple[Caution, ...]
    pages: int
    unit: Unit

    def text(self) -> str:
        """What was written, and the parts, power and cautions as a sheet."""
        lines = [self.case.title, "", "Templates"]
        lines += [_template_line(kind, self.unit) for kind in self.templates]
        lines += ["", f"Seen from above the air turns {sense(self.templates)}.", "", "Parts"]
        lines += [f"  {part.quantity:>4} x {_part_text(part, self.unit)}" for part in self.parts]
        lines += ["", "Power", *_items(power_lines(self.power, self.unit))]
        if self.network_cautions:
            lines += ["", "Cautions of the air network", *_items(self.network_cautions)]
        lines += ["", "Cautions"]
        lines += _items([f"{caution.subject}: {caution.text}" for caution in self.cautions] + [LAST_WORD])
        return "\n".join(lines)

    def as_json(self) -> dict[str, Any]:
        """Plain values, SI, keys as `name_unit`; sentences are those of the paper."""
        return {
            "title": self.case.title,
            "pdf": str(self.pdf),
            "csv": str(self.csv),
            "pages": self.pages,
            "rotation": sense(self.templates),
            "templates": [_template_json(kind) for kind in self.templates],
            "cutouts": [
                {"panel": c.panel, "name": c.name, "x_m": c.x, "y_m": c.y, "diameter_m": c.diameter, "is_cut": c.is_cut}
                for c in self.cutouts
            ],
            "parts": [part.as_json() for part in self.parts],
            "power": power_json(self.power),
            "network_cautions": list(self.network_cautions),
            "cautions": {caution.subject: caution.text for caution in self.cautions} | {"Last word": LAST_WORD},
        }


def drill(case: Case, path: Path | str, *, paper: Literal["a4", "letter"] = "a4", inches: bool = False) -> Workshop:
    """Write the workshop's sheets of a case: one PDF at true size, and the table of holes beside it.

    Parameters
    ----------
    case : Case
    path : path
        The PDF. The holes go to a CSV file of the same name with `-holes.csv` for the ending.
    paper : {"a4", "letter"}
    inches : bool
        Lengths in inches instead of millimetres, and flows, pressures and volumes in the units that go with them.

    Returns
    -------
    Workshop

    Raises
    ------
    InputError
        If the case has no tube to drill, or its air network has no balance.
    """
    if not case.tubes:
        raise refusal(case, ("tubes",), "must have an entry: without tubes there is nothing to drill")
    pdf, unit = Path(path), INCHES if inches else MILLIMETRES
    kinds, network = templates(case), solve_network(case)
    power = power_of(case, network)
    cuts, parts = cutouts(case), parts_of(case, kinds, power, unit)
    warnings = cautions(case, fan_files_of(case), unit)
    book = Book(case.title, paper, unit)
    with rc_context(STYLE):
        add_first_page(book, case, kinds)
        add_plan(book, case, kinds)
        add_cutouts(book, case, cuts)
        add_holes(book, kinds)
        add_parts(book, parts, power, network.warnings)
        add_cautions(book, warnings)
        for kind in kinds:
            add_template(book, kind)
    _write({pdf: book.as_pdf(), table_path(pdf): hole_table(kinds, unit).encode()})
    return Workshop(
        case, pdf, table_path(pdf), kinds, cuts, parts, power, network.warnings, warnings, len(book.pages), unit
    )  # fmt: skip


def table_path(pdf: Path) -> Path:
    """Where the table of holes stands beside a PDF."""
    return pdf.with_name(f"{pdf.stem}-holes.csv")


TABLE_START = b"tube,hole,template,row,"  # by which a table of holes is known, whatever its unit


def hole_heads(unit: Unit) -> list[str]:
    """Heads of the table of holes."""
    name = unit.name
    return ["tube", "hole", "template", "row", f"height_{name}", f"diameter_{name}", "aim_deg", f"around_{name}",
            "turn_deg", "heading_deg"]  # fmt: skip


def hole_table(kinds: tuple[TubeTemplate, ...], unit: Unit) -> str:
    """Every hole of every tube as CSV; postproc/README.md says what the columns are."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(hole_heads(unit))
    tubes = sorted(((tube, kind) for kind in kinds for tube in kind.tubes), key=lambda pair: pair[0].number)
    for tube, kind in tubes:
        for hole in kind.holes:
            lengths = [f"{unit.factor * x:.6g}" for x in (hole.height, hole.diameter)]
            heading = tube.headings[hole.row - 1]
            writer.writerow([
                tube.number, hole.number, kind.name, hole.row, *lengths, f"{hole.aim:.5g}",
                f"{unit.factor * hole.around:.5g}", f"{hole.turn:.5g}", f"{heading:.5g}",
            ])  # fmt: skip
    return text.getvalue()


def _write(files: dict[Path, bytes]) -> None:
    """Write files under other names first, so that none is left half-written."""
    parts = {path: path.with_name(f".{path.name}.{os.getpid()}.part") for path in files}
    try:
        for path, content in files.items():
            with open(parts[path], "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
        for path, part in parts.items():
            os.replace(part, path)
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)


def _items(texts: Sequence[str]) -> Iterator[str]:
    for text in texts:
        yield from wrap(text, 110, initial_indent="  - ", subsequent_indent="    ")


def _template_line(kind: TubeTemplate, unit: Unit) -> str:
    holes = f"{len(kind.holes)} hole" + ("s" if len(kind.holes) != 1 else "")
    outside = unit.text(kind.outer_diameter)
    return f"  {kind.name}: {tubes_text(kind)}; outside {outside}, {holes} each; mounting end: {MOUNTING[kind.feed]}"


def _part_text(part: Part, unit: Unit) -> str:
    sizes = ", ".join(f"{what} {unit.text(length)}" for what, length in part.sizes)
    area = "" if part.area is None else f"{unit.area(part.area)} in all"
    return "; ".join(text for text in (part.name, sizes, area, part.note) if text)


def _template_json(kind: TubeTemplate) -> dict[str, Any]:
    return {
        "name": kind.name,
        "outer_diameter_m": kind.outer_diameter,
        "circumference_m": kind.circumference,
        "length_m": kind.length,
        "feed": kind.feed,
        "tubes": [
            {"number": tube.number, "x_m": tube.x, "y_m": tube.y, "facing_deg": tube.facing,
             "headings_deg": list(tube.headings), "moment_arms_m": list(tube.moment_arms)}
            for tube in kind.tubes
        ],
        "holes": [
            {"number": h.number, "row": h.row, "height_m": h.height, "around_m": h.around, "turn_deg": h.turn,
             "diameter_m": h.diameter, "aim_deg": h.aim}
            for h in kind.holes
        ],
    }  # fmt: skip
