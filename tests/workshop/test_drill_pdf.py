"""What comes out of the printer: the PDF read back, at the precision of a workshop."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import matplotlib
import pdfplumber
import pytest
from paper_reading import POINT, PaperSheet, joined, read_sheets
from workshop_cases import mixed, shipped

from swirlwright.postproc.workshop.drill_sheets import Workshop, drill
from swirlwright.postproc.workshop.paper import MARGIN
from swirlwright.solver.schema import Case

NEAR = 0.1  # mm; what the workshop is promised
SIZES = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
KINDS = [
    pytest.param((shipped("table-top"), "a4", False), id="table-top"),
    pytest.param((shipped("hall"), "letter", True), id="hall"),
    pytest.param((mixed(), "a4", True), id="mixed"),
]


@pytest.fixture(scope="module", params=KINDS)
def drilled(request, tmp_path_factory) -> tuple[Case, Workshop, str, bool]:
    """A case, what was written for it, the paper and whether in inches."""
    case, paper, inches = request.param
    return case, drill(case, tmp_path_factory.mktemp("drill") / "a.pdf", paper=paper, inches=inches), paper, inches


@pytest.fixture(scope="module")
def sheets(drilled) -> dict[str, list[PaperSheet]]:
    """The template sheets read back."""
    return read_sheets(drilled[1].pdf)


def test_holes_on_paper_are_those_of_the_case(drilled, sheets):
    """Joined by their marks, the sheets have every hole once, with heights, places and drills within 0.1 mm."""
    case = drilled[0]
    assert len(sheets) == len(case.tubes)
    for entry, pages in zip(case.tubes, sheets.values(), strict=True):
        template = joined(pages)
        assert template.worst < NEAR
        (axis,) = {round(x, 3) for x in template.axis}
        (end,) = {round(y, 3) for y in template.mounting}
        up = 1000 * case.chamber.height - end if entry.feed == "above" else -end
        found = sorted((h.y + up, h.x - axis, h.diameter) for h in template.holes)
        radius = 500 * entry.outer_diameter
        wanted = sorted(
            (1000 * height, radius * math.radians(row.aim - 90.0), 1000 * row.hole_diameter)
            for row in entry.rows
            for height in row.hole_heights()
        )
        assert len(found) == len(wanted)
        for one, other in zip(found, wanted, strict=True):
            assert one == pytest.approx(other, abs=NEAR)
        assert sorted(hole.number for hole in template.holes) == list(range(1, len(wanted) + 1))


def test_the_edges_meet_around_the_tube(drilled, sheets):
    """From edge to edge a template is the circumference of its tube's outside, the axis line in its middle."""
    for entry, pages in zip(drilled[0].tubes, sheets.values(), strict=True):
        template = joined(pages)
        left, right = min(template.edges), max(template.edges)
        assert right - left == pytest.approx(1000 * math.pi * entry.outer_diameter, abs=NEAR)
        assert next(iter(template.axis)) == pytest.approx((left + right) / 2, abs=NEAR)


def test_nothing_of_a_template_lies_on_the_margin(sheets):
    """Holes and marks keep off the edge that printers leave white, and off the foot with the ruler."""
    for pages in sheets.values():
        for sheet in pages:
            places = [(h.x, h.y, h.diameter / 2) for h in sheet.holes] + [(x, y, 4.0) for x, y in sheet.marks.values()]
            for x, y, reach in places:
                assert x - reach >= MARGIN - 4.0 and x + reach <= sheet.width - MARGIN + 4.0
                assert y - reach >= MARGIN + 8.0 and y + reach <= sheet.height - MARGIN


def test_every_page_has_its_paper_its_ruler_and_its_note(drilled):
    """Each page is of the size asked for, has a ruler of 100 mm or 4 in, and says to print at 100 per cent."""
    _, workshop, paper, inches = drilled
    length = 101.6 if inches else 100.0
    with pdfplumber.open(workshop.pdf) as pdf:
        assert len(pdf.pages) == workshop.pages
        for page in pdf.pages:
            size = sorted((page.width * POINT, page.height * POINT))
            assert size == pytest.approx(SIZES[paper], abs=0.01)
            low = [line for line in page.lines if page.height - line["bottom"] < 20 / POINT]
            assert any(abs(line["width"] * POINT - length) < NEAR / 10 for line in low)
            text = page.extract_text()
            assert "Print at 100 %, no scaling" in text
            assert ("must measure 4 in" if inches else "must measure 100 mm") in text


def test_words_that_must_be_there(drilled):
    """Mounting end, line to the axis, sense of rotation, cut-outs, power and cautions are in the document."""
    case, workshop, _, _ = drilled
    with pdfplumber.open(workshop.pdf) as pdf:
        text = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
    for words in (
        "MOUNTING END",
        "counterclockwise",
        "exhaust opening",
        "fog inlet",
        "licensed electrician",
        case.title,
    ):
        assert words in text


def test_the_table_has_every_hole_of_every_tube(drilled):
    """The CSV has a line for each hole of each tube, heights and diameters as in the case, in the unit asked for."""
    case, workshop, _, inches = drilled
    unit, factor = ("in", 1 / 0.0254) if inches else ("mm", 1000.0)
    with open(workshop.csv, newline="") as file:
        rows = list(csv.DictReader(file))
    found = sorted((float(r[f"height_{unit}"]), float(r[f"diameter_{unit}"]), float(r["aim_deg"])) for r in rows)
    wanted = sorted(
        (factor * height, factor * row.hole_diameter, row.aim)
        for entry in case.tubes
        for _ in range(entry.number)
        for row in entry.rows
        for height in row.hole_heights()
    )
    assert len(found) == len(wanted)
    for one, other in zip(found, wanted, strict=True):
        assert one == pytest.approx(other, rel=5e-6)
    assert len({(r["tube"], r["hole"]) for r in rows}) == len(rows)


def test_the_same_case_gives_the_same_bytes(tmp_path):
    """Nothing of the time or the run is in the document, so that two of one case can be compared."""
    case = mixed()
    one, other = (drill(case, tmp_path / name).pdf.read_bytes() for name in ("a.pdf", "b.pdf"))
    assert one == other


def test_drawing_leaves_matplotlib_as_it_was(tmp_path):
    """A notebook's own settings survive."""
    before = dict(matplotlib.rcParams)
    drill(mixed(), tmp_path / "a.pdf")
    assert dict(matplotlib.rcParams) == before


def test_a_failed_write_leaves_what_was_there(tmp_path, monkeypatch):
    """When the disk is full the earlier sheets stand untouched, and nothing else is left behind."""
    output: Path = tmp_path / "a.pdf"
    output.write_bytes(b"%PDF- of before")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        drill(mixed(), output)
    assert output.read_bytes() == b"%PDF- of before"
    assert [path.name for path in tmp_path.iterdir()] == ["a.pdf"]
