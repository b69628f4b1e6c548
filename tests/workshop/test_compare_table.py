"""Reading measured points: is every mistake told with its line and column, and is what is read in SI?"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from workshop_cases import shipped

from swirlwright.postproc.measured.file import read_measured
from swirlwright.postproc.measured.models import extent_of_case
from swirlwright.postproc.measured.points import QUANTITIES, Extent, check_places
from swirlwright.solver.errors import InputError

DEMO = Path(__file__).parents[2] / "cases" / "measured" / "table-top.csv"
HEADING = "quantity, height [mm], radius [mm], tube, value, uncertainty, note\n"
BOX = Extent(height=0.6, radius=0.2, tubes=(0, 0))


def table(tmp_path: Path, text: str, heading: str = HEADING) -> Path:
    """A file of measured points."""
    path = tmp_path / "points.csv"
    path.write_text(heading + text, encoding="utf-8")
    return path


def refusal(path: Path, extent: Extent = BOX) -> str:
    """What is said of a wrong table."""
    with pytest.raises(InputError) as caught:
        check_places(read_measured(path), extent)
    return str(caught.value)


def test_units_of_heading_and_cell_give_si(tmp_path):
    """A bare number has the heading's unit, a cell with a unit its own, a percentage is of the value."""
    text = "Core-Diameter, 300,,,1 in,5 %,\ntangential velocity,12 in,25.4,,2 ft/s,0.1 m/s,probe\n"
    one, two = read_measured(table(tmp_path, text)).points
    assert (one.quantity, one.height, one.radius, one.line) == ("core_diameter", pytest.approx(0.3), None, 2)
    assert (one.value, one.uncertainty) == (pytest.approx(0.0254), pytest.approx(0.00127))
    assert (two.height, two.radius, two.value) == pytest.approx((0.3048, 0.0254, 0.6096))
    assert (two.uncertainty, two.note, two.where()) == (0.1, "probe", "z 304.8 mm, r 25.4 mm")


def test_value_and_uncertainty_take_their_units_from_the_heading(tmp_path):
    """With units in all headings the body is bare numbers."""
    heading = "quantity,height (cm),radius (cm),value [cm/s],uncertainty [%]\n"
    (point,) = read_measured(table(tmp_path, "axial_velocity,30,0,120,10\n", heading)).points
    assert (point.height, point.radius, point.value, point.uncertainty) == pytest.approx((0.3, 0.0, 1.2, 0.12))


def test_remarks_and_empty_lines_keep_the_count_of_lines(tmp_path):
    """Lines are counted as an editor counts them, with remarks, empty lines and a byte order mark."""
    path = tmp_path / "points.csv"
    text = "\ufeff# remark\n\n" + HEADING + "# another, with commas\n,,,,,,\nexhaust flow,,,,1 m3/h,1 m3/h,\n"
    path.write_text(text, encoding="utf-8")
    assert [point.line for point in read_measured(path).points] == [6]


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("tangentil velocity,300,20,,1 m/s,5 %,", ':2: quantity: must be one of .* did you mean tangential_velocity?'),
        ("pressure,300,,,1 Pa,5 %,", r":2: radius \[mm\]: is required for pressure but missing"),
        ("core_diameter,300,20,,1 m,5 %,", r":2: radius \[mm\]: must be empty for core_diameter, got \"20\""),
        ("core_diameter,300,,,24,3 mm,", r':2: value: must be a text with a unit \("24 m"\), or have one in the'),
        ("core_diameter,300,,,24 mm,,", ":2: uncertainty: is required but missing"),
        ("core_diameter,300,,,24 mm,0 mm,", r":2: uncertainty: must be > 0 and <= 100 m, got \"0 mm\""),
        ("core_diameter,300,,,24 Pa,3 mm,", ':2: value: must be a quantity convertible to m; "Pa" is not'),
        ("core_diameter,300,,,-24 mm,3 mm,", r":2: value: must be > 0 and <= 100 m, got \"-24 mm\""),
        ("axial velocity,300,0,,0 m/s,5 %,", ":2: uncertainty: must be a quantity in m/s where the value is 0"),
        ('exhaust flow,,,,"1,5 m3/h",1 m3/h,', ':2: value: .*write the decimal sign as a point, "1.5 m3/h"'),
        ("exhaust flow,,,,1 m3/h,1 m3/h", ":2: must have 7 cells as the heading has, got 6"),
        ('exhaust flow,,,,"1 m3/h,1 m3/h,', ":2: is no comma-separated text here"),
        ("core_diameter,601,,,24 mm,3 mm,", r":2: height \[mm\]: must be at most 0.6 m, the chamber's height, got"),
        ("pressure,300,201,,1 Pa,1 Pa,", r":2: radius \[mm\]: must be at most 0.2 m, the radius of the round domain"),
        ("tube_pressure,,,3,1 Pa,1 Pa,", ":2: tube: must be at most 2, the number of tubes, got 3"),
        ("tube_pressure,,,first,1 Pa,1 Pa,", ":2: tube: must be a whole number >= 1 and <= 10000"),
        ("", ":1: must have at least one measured point"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_line_column_and_what_is_allowed(tmp_path, row, told):
    """Each wrong row is refused in one line that begins with file, line and column."""
    said = refusal(table(tmp_path, row + "\n"))
    assert re.search(told, said), said
    assert len(said.splitlines()) == 1


@pytest.mark.parametrize(
    ("heading", "told"),
    [
        ("quantity,hight [mm],value,uncertainty\n", r":1: hight \[mm\]: unknown column; did you mean height\?"),
        ("quantity,height [Pa],value,uncertainty\n", r":1: height \[Pa\]: must be a quantity convertible to m"),
        ("quantity,value,value,uncertainty\n", ":1: value: must stand once, also stands in column 2"),
        ("quantity,value\n", ":1: must have the columns quantity, value, uncertainty; missing: uncertainty"),
        ("quantity;value;uncertainty\n", ":1: must have its columns separated by commas"),
    ],
)
def test_a_wrong_heading_is_refused(tmp_path, heading, told):
    """Without a right heading no row is read, and the heading alone is spoken of."""
    said = refusal(table(tmp_path, "nonsense,1,2,3\n", heading))
    assert re.search(told, said), said


def test_all_mistakes_are_told_at_once(tmp_path):
    """Two rows that say the same, and one without a unit: both are named, in the order of the file."""
    rows = "exhaust flow,,,,1 m3/h,1 m3/h,\ncore diameter,1,,,1,1 mm,\nexhaust flow,,,,2 m3/h,1 m3/h,\n"
    first, second = refusal(table(tmp_path, rows)).splitlines()
    assert ":3: value: " in first
    assert ":4: quantity: must stand once at each place, stands in line 2 too" in second


def test_tubes_that_differ_must_be_named(tmp_path):
    """A tube pressure without its tube is refused where the tubes are not alike, and anywhere without tubes."""
    path = table(tmp_path, "tube_pressure,,,,1 Pa,1 Pa,\n")
    check_places(read_measured(path), BOX)
    assert "must say which of the 2 tubes" in refusal(path, Extent(0.6, 0.2, (0, 1)))
    assert "this chamber has no tubes" in refusal(path, Extent(0.6, 0.2, ()))


def test_the_shipped_table_is_marked_as_invented_and_fits_its_case():
    """The demonstration says that nobody measured it; its points lie inside the table-top chamber."""
    assert "INVENTED" in DEMO.read_text(encoding="utf-8").splitlines()[0]
    data = read_measured(DEMO)
    check_places(data, extent_of_case(shipped("table-top")))
    assert {point.quantity for point in data.points} <= set(QUANTITIES)
    assert len(data.points) >= 12
