"""Case files: what is read, what is refused, and where."""

from __future__ import annotations

from pathlib import Path

import pytest

from swirlwright.solver.casefile import parse_case, read_case, to_toml, vary
from swirlwright.solver.errors import InputError, Problem

CASES = Path(__file__).parents[2] / "cases"
SHIPPED = sorted(CASES.glob("*.toml"))
ROUND = """title = "Round"
[chamber]
footprint = "round"
width = 1.0
height = 2.0
open_fraction = 0.5
"""


def problems(text: str, folder: Path = CASES) -> list[Problem]:
    """The mistakes of a case text, as if it stood in `folder`."""
    with pytest.raises(InputError) as caught:
        parse_case(text, folder / "case.toml")
    return caught.value.problems


def places(text: str, folder: Path = CASES) -> list[tuple[int, str]]:
    """Line and key of every mistake of a case text."""
    return [(problem.line, problem.key) for problem in problems(text, folder)]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_case_is_right(path: Path) -> None:
    """Every file in cases/ reads without a complaint and keeps its own text."""
    case = read_case(path)
    assert case.text == path.read_text()
    assert case.path == path


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_case_survives_being_written_anew(path: Path) -> None:
    """Writing a case out and reading it back gives the same case."""
    case = read_case(path)
    values = case.model_dump()
    assert vary(case, {}).model_dump() == values
    assert parse_case(to_toml(case.model_dump(mode="json", exclude_unset=True)), path).model_dump() == values


def test_units_do_not_change_a_case() -> None:
    """The same chamber in inches is the same chamber."""
    inches = parse_case(ROUND.replace("width = 1.0", 'width = "39.37007874015748 in"'), CASES / "case.toml")
    assert inches.chamber.width == pytest.approx(1.0, rel=1e-15)


def test_a_square_is_solved_on_its_own_floor_area() -> None:
    """A square of side a has the model radius a over root pi, times the factor asked for."""
    case = vary(read_case(CASES / "table-top.toml"), {"model.radius_factor": 1.1})
    assert 3.141592653589793 * (case.model_radius / 1.1) ** 2 == pytest.approx(0.36**2, rel=1e-14)


def test_air_is_that_of_the_standard_atmosphere() -> None:
    """At 15 degC and sea level the air has the density and viscosity of the 1976 standard atmosphere."""
    # U.S. Standard Atmosphere, 1976, table of sea-level values: 1.2250 kg/m3 and 1.4607e-5 m2/s, five digits.
    case = parse_case(ROUND + '[air]\ntemperature = "15 degC"\n', CASES / "case.toml")
    assert case.density == pytest.approx(1.2250, abs=5e-5)
    assert case.kinematic_viscosity == pytest.approx(1.4607e-5, abs=5e-10)


def test_all_mistakes_are_reported_at_once() -> None:
    """Misspelt and missing keys, wrong units and choices, bad geometry and paths come in one message."""
    text = """title = "x"
[chamber]
footprint = "sqare"
width = "3 kg"
height = 0.6
heigth = 2
open_sides = ["front", "lft"]
[exhaust]
diameter = 0.1
fan = "/etc/fan.toml"
flow = 3
[grid]
cells_r = 2.5
[[tubes]]
count = 4
place_radius = 0.3
inner_diameter = 0.019
wall_thickness = 0.001
feed = "room"
[[tubes.rows]]
hole_diameter = 0.005
lowest = 0.03
pitch = 0.1
count = 9
aim = 190
discharge_coefficient = 0.62
"""
    assert places(text) == [
        (3, "chamber.footprint"),
        (4, "chamber.width"),
        (6, "chamber.heigth"),
        (7, "chamber.open_sides.2"),
        (10, "exhaust.fan"),
        (11, "exhaust.flow"),
        (13, "grid.cells_r"),
        (20, "tubes.1.rows.1.discharge_source"),
        (24, "tubes.1.rows.1.count"),
        (25, "tubes.1.rows.1.aim"),
    ]


@pytest.mark.parametrize(
    ("wrong", "hint"),
    [
        ("heigth = 2", "did you mean chamber.height?"),
        ("open_fractoin = 0.5", "did you mean chamber.open_fraction?"),
        ("cells_z = 40", "it belongs in [grid]"),
        ("xyzzy = 1", "known here: footprint, width"),
    ],
)
def test_a_misspelt_key_gets_a_suggestion(wrong: str, hint: str) -> None:
    """An unknown key is answered with the nearest one, or the table it belongs in, or what is known there."""
    (problem,) = problems(ROUND + wrong)
    assert (problem.line, problem.allowed) == (7, "unknown key")
    assert problem.hint.startswith(hint)


def test_a_message_names_place_value_and_remedy() -> None:
    """A mistake reads: file, line, key, what is allowed, what stands there, what was probably meant."""
    text = ROUND.replace('"round"', '"rond"')
    assert str(problems(text)[0]) == (
        f'{CASES}/case.toml:3: chamber.footprint: must be one of "square", "round", got "rond"; did you mean "round"?'
    )


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("title = ", 1),
        ("title = 'a'\n[chamber\n", 2),
        ("a = 1\na = 2", 2),
        ("\n\nx = 1e\n", 3),
        ('a = """\n\n', 3),
        ("a = " + "9" * 5000, 1),
        ("a = " + "[" * 5000, 1),
        ("title = 'a'\n= 3\n", 2),
        ("a = 2026-13-45\n", 1),
    ],
)
def test_broken_toml_is_refused_with_its_line(text: str, line: int) -> None:
    """Text that is no TOML is refused at the line where it stops being TOML."""
    assert [problem.line for problem in problems(text)] == [line]


def test_a_file_that_is_no_text_is_refused_with_its_line(tmp_path: Path) -> None:
    """Bytes that are no UTF-8 are refused at their line."""
    path = tmp_path / "case.toml"
    path.write_bytes(b"title = 'a'\n\xff\xfe\n")
    with pytest.raises(InputError, match=r"case\.toml:2: must be text in UTF-8"):
        read_case(path)


@pytest.mark.parametrize("name", ["missing.toml", ".", "a\0b"])
def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path, name: str) -> None:
    """A missing file, a folder and an impossible name are refused with one problem."""
    with pytest.raises(InputError) as caught:
        read_case(tmp_path / name)
    assert len(caught.value.problems) == 1
    assert str(caught.value).startswith(f"{tmp_path / name}: cannot be read")


@pytest.mark.parametrize(
    ("name", "words"),
    [("studies/jet-height.toml", "is a study, not a case; swirlwright sweep"), ("fans/roof-120.toml", "is a fan file")],
)
def test_another_kind_of_file_is_told_once(name: str, words: str) -> None:
    """A study or a fan file in the place of a case is named as such, instead of each of its keys."""
    with pytest.raises(InputError) as caught:
        read_case(CASES / name)
    assert str(caught.value).startswith(f"{CASES / name}: {words}") and len(caught.value.problems) == 1


def test_a_result_in_the_place_of_a_case_is_told(tmp_path: Path) -> None:
    """HDF5, however large, is told from a text that is too long."""
    path = tmp_path / "a.h5"
    path.write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(500_000))
    with pytest.raises(InputError, match=r"a\.h5: is a result or a data set"):
        read_case(path)


def test_a_width_given_in_millimetres_is_shown_how() -> None:
    """A number too large in metres that would do in millimetres comes with the text to write."""
    (problem,) = problems(ROUND.replace("width = ", "width = 360 # "))
    assert problem.hint == 'millimetres are written "360 mm"'


@pytest.mark.parametrize(
    ("more", "place"),
    [
        ("[[events]]\nat = 1\nsides = 'open'\n", (7, "events.1")),
        ("[run]\nmode = 'transient'\n[[events]]\nat = 30\nsides = 'closed'\n", (10, "events.1.at")),
        ("[run]\nmode = 'transient'\n[[events]]\nat = 3\n", (9, "events.1")),
        ("[run]\nmode = 'transient'\n[[events]]\nat = 3\nfog = 0\n", (11, "events.1.fog")),
        ("[run]\nstart_from = 'gone.h5'\n", (8, "run.start_from")),
        ("[run]\nstart_from = '../gone.h5'\n", (8, "run.start_from")),
        ("[run]\nmax_step = 1e-9\n", (8, "run.max_step")),
        ("[run]\nframe_interval = 1e-6\n", (8, "run.frame_interval")),
        ("[run]\naverage = 1000\n[grid]\ncells_r = 200\ncells_z = 500\n", (7, "run.frame_interval")),
        ("[run]\nlines = [{ name = 'a' }]\n", (8, "run.lines.1")),
        ("[run]\nprobes = [{ name = 'a', r = 0.6, z = 1 }]\n", (8, "run.probes.1.r")),
        (
            "[run]\nprobes = [{ name = 'a', r = 0, z = 1 }, { name = 'a', r = 0, z = 1 }]\n",
            (8, "run.probes.2.name"),
        ),
        ('[run]\nprobes = [{ name = "a\\u0000", r = 0, z = 1 }]\n', (8, "run.probes.1.name")),
        ("[supply]\npressure = 40\n", (7, "supply")),
        ("[exhaust]\ndiameter = 0.2\n", (7, "exhaust")),
        ("[exhaust]\ndiameter = 0.2\nflow = 1\nfan_count = 2\n", (10, "exhaust.fan_count")),
        ("[inlet]\nto_height = 1\nflow = 1\nangle = 3\nswirl_velocity = 1\n", (11, "inlet.swirl_velocity")),
        ("[inlet]\nfrom_height = 1\nto_height = 1\nflow = 1\n", (8, "inlet.from_height")),
        ("[inlet]\nto_height = 3\nflow = 1\n", (8, "inlet.to_height")),
        ("[walls]\nfloor = 'free-slip'\nfloor_rotation = 1\n", (9, "walls.floor_rotation")),
        ("[grid]\ncells_r = 1000\ncells_z = 1000\n", (9, "grid.cells_z")),
        ("[grid]\ncore_spacing = 0.3\n", (8, "grid.core_spacing")),
        ("[grid]\ncore_spacing = 1e-6\n", (8, "grid.core_spacing")),
    ],
)
def test_keys_that_do_not_go_together_are_refused(more: str, place: tuple[int, str]) -> None:
    """Each rule between keys is broken once; the mistake is reported at the key that breaks it, and alone."""
    assert places(ROUND + more) == [place]


CLOSED = ROUND.replace("open_fraction = 0.5\n", "")
INLET = "[inlet]\nto_height = 1\nflow = 0.5\n"


@pytest.mark.parametrize(
    ("more", "place"),
    [
        (INLET, (2, "chamber")),
        ("[exhaust]\ndiameter = 0.2\nflow = 1\n", (6, "exhaust")),
        (INLET + "[exhaust]\ndiameter = 0.2\nflow = 0.6\n", (11, "exhaust.flow")),
    ],
)
def test_a_closed_chamber_must_let_out_what_comes_in(more: str, place: tuple[int, str]) -> None:
    """Without open sides, inflow needs an exhaust, an exhaust inflow, and two given flows agreement."""
    assert places(CLOSED + more) == [place]


@pytest.mark.parametrize(
    "more",
    [
        INLET + "[exhaust]\ndiameter = 0.2\nflow = 0.5\n",
        INLET + "[exhaust]\ndiameter = 0.2\npressure = 10\n",
        "",
    ],
)
def test_a_closed_chamber_in_balance_is_accepted(more: str) -> None:
    """Flows that agree, a flow and a pressure, and a chamber with no through-flow at all are accepted."""
    assert parse_case(CLOSED + more, CASES / "case.toml").chamber.open_share == 0.0


FAN = '[exhaust]\ndiameter = 0.1\nfan = "{}"\n'
CURVE = 'title = "f"\nspeed_rpm = 3000\ndiameter = 0.1\nflow = [0, 0.01, 0.02]\npressure = [30, 20, 0]\n'


def test_fan_files_are_found_inside_the_case_folder_only(tmp_path: Path) -> None:
    """A fan file in the case's folder tree is read; by absolute path, .. or a link out of it it is not."""
    inside, outside = tmp_path / "cases", tmp_path / "elsewhere"
    (inside / "fans").mkdir(parents=True)
    outside.mkdir()
    for path in (inside / "fans" / "a.toml", outside / "a.toml"):
        path.write_text(CURVE)
    (inside / "link").symlink_to(outside)
    (inside / "round").symlink_to(inside / "fans")
    for name in ("fans/a.toml", "fans/../fans/a.toml", "round/a.toml"):
        parse_case(ROUND + FAN.format(name), inside / "case.toml")
    absolute = str(inside / "fans" / "a.toml")
    for name in ("../elsewhere/a.toml", "link/a.toml", absolute, "fans/b.toml", "fans", "a\\u0000b"):
        assert places(ROUND + FAN.format(name), inside) == [(9, "exhaust.fan")], name


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("0.01, 0.02", "0.03, 0.02", (4, "flow.3")),
        ("30, 20, 0", "30, 20", (5, "pressure")),
        ("diameter", "diametre", (1, "diameter")),
        ("[30", "['x'", (5, "pressure.1")),
    ],
)
def test_a_mistake_in_a_fan_file_is_reported_in_that_file(
    tmp_path: Path, old: str, new: str, place: tuple[int, str]
) -> None:
    """Reading a case reports what is wrong in its fan file, with the fan file's own line."""
    (tmp_path / "a.toml").write_text(CURVE.replace(old, new))
    found = problems(ROUND + FAN.format("a.toml"), tmp_path)
    assert {problem.file for problem in found} == {str(tmp_path / "a.toml")}
    assert place in [(problem.line, problem.key) for problem in found]


def test_varying_a_case_checks_it_again() -> None:
    """A changed case is judged like one read from a file, and a key that leads nowhere is refused."""
    case = read_case(CASES / "table-top.toml")
    assert vary(case, {"tubes.1.rows.1.aim": 60}).tubes[0].rows[0].aim == 60
    assert vary(case, {"fog": None}).fog is None
    for changes in (
        {"tubes.1.rows.1.aim": 200},
        {"tubes.3.feed": "room"},
        {"tubes.0.feed": "room"},
        {"chamber.widht": 3},
        {"title.x": 1},
    ):
        with pytest.raises(InputError):
            vary(case, changes)
