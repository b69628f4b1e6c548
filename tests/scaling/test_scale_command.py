"""`swirlwright scale` as a user meets it: files, messages, statuses."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import swirlwright
from swirlwright.cli import main
from swirlwright.solver.casefile import fan_texts, parse_case, read_case
from swirlwright.solver.moved_case import write_moved

CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the table-top case and its fans, and the working folder."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    shutil.copy(CASES / "table-top.toml", tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_scaled_case_passes_check(workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The file is written here, tells where it came from, and `check` accepts it."""
    assert main(["scale", "table-top.toml", "--height", "2500 mm"]) == 0
    streams = capsys.readouterr()
    assert "becomes 1.5 m wide and 2.5 m high" in streams.out
    assert "scaled case: table-top-2.5m.toml" in streams.err
    text = (workshop / "table-top-2.5m.toml").read_text()
    assert text.startswith("# Scaled by swirlwright from table-top.toml, 0.6 m high: 4.16667 times as large")
    assert main(["check", "table-top-2.5m.toml"]) == 0
    assert sorted(p.name for p in workshop.iterdir()) == ["fans", "table-top-2.5m.toml", "table-top.toml"]


def test_json_is_one_object_with_duties_and_fans(workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--json prints one object in SI: the duties are the networks', the factors those asked for."""
    assert main(["scale", "table-top.toml", "--factor", "2", "--hold", "reynolds", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["length_factor"], found["velocity_factor"], found["reynolds_factor"]) == (2.0, 0.5, 1.0)
    assert found["exhaust"]["flow_m3_per_s"] == pytest.approx(2 * 54.37 / 3600, rel=1e-3)
    assert found["numbers"]["radial_reynolds_number"]["held"] is True
    assert found["holes"][0]["diameter_m"] == 0.007


def test_fan_files_outside_are_copied(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys) -> None:
    """Where the fans lie outside the output's folder tree they are copied beside it; a stranger there is not lost."""
    monkeypatch.chdir(tmp_path)
    assert main(["scale", str(CASES / "table-top.toml"), "--height", "2.5", "--output", "big.toml"]) == 0
    copied = sorted(p.name for p in (tmp_path / "fans").iterdir())
    assert copied == ["hall-base-160.toml", "hall-roof-250.toml"]
    assert read_case("big.toml").exhaust.fan == "fans/hall-roof-250.toml"
    (tmp_path / "fans" / copied[0]).write_text("mine")
    (tmp_path / "big.toml").unlink()
    assert main(["scale", str(CASES / "table-top.toml"), "--height", "2.5", "--output", "big.toml"]) == 2
    assert "is another file" in capsys.readouterr().err
    assert (tmp_path / "fans" / copied[0]).read_text() == "mine" and not (tmp_path / "big.toml").exists()


def test_fan_files_of_one_name_stay_two(workshop: Path) -> None:
    """Two fans whose files bear the same name in different folders are two files beside a moved case, also again."""
    for place, name in (("a", "roof-120"), ("b", "base-60")):
        (workshop / place).mkdir()
        (workshop / "fans" / f"{name}.toml").rename(workshop / place / "fan.toml")
    text = (workshop / "table-top.toml").read_text()
    text = text.replace("fans/roof-120.toml", "a/fan.toml").replace("fans/base-60.toml", "b/fan.toml")
    case = parse_case(text, workshop / "table-top.toml")
    (workshop / "there").mkdir()
    for copies in (2, 0):
        moved, copied = write_moved(case, workshop / "there" / "best.toml", ["# moved"])
        assert len(copied) == copies
        assert fan_texts(moved) == {
            "fans/fan.toml": (workshop / "a" / "fan.toml").read_text(),
            "fans/fan-2.toml": (workshop / "b" / "fan.toml").read_text(),
        }


def test_only_a_scaled_case_is_replaced(workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A second run replaces what the first wrote, never another case, nor the original."""
    arguments = ["scale", "table-top.toml", "--factor", "2", "--output"]
    assert main([*arguments, "twice.toml"]) == main([*arguments, "twice.toml"]) == 0
    (workshop / "mine.toml").write_text("mine")
    capsys.readouterr()
    assert main([*arguments, "mine.toml"]) == 2
    assert "mine.toml: exists, was not written by scale and is not replaced" in capsys.readouterr().err
    assert main([*arguments, "table-top.toml"]) == 2
    assert "must not be the input itself" in capsys.readouterr().err


@pytest.mark.parametrize(
    "options, told",
    [
        (["--height", "-1"], "must be > 0 and <= 100 m"),
        (["--height", "tall"], "must be a number in m"),
        (["--height", "2 s"], "convertible to m"),
        ([], "required"),
        (["--height", "2", "--factor", "2"], "not allowed with"),
        (["--factor", "2", "--hold", "mach"], "invalid choice"),
        (["--factor", "0"], "factor: must be between 0.01 and 100, got 0"),
        (["--factor", "nan"], "factor: must be between 0.01 and 100, got nan"),
        (["--factor", "2", "--fans", "nowhere"], "nowhere: must be a folder of fan files"),
        (["--factor", "2", "--output", "no/where.toml"], "must lie in a folder that exists"),
    ],
)
def test_wrong_options_end_in_2_and_write_nothing(
    options: list[str], told: str, workshop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each mistake on the command line ends in status 2 with a message that says what is allowed."""
    before = sorted(workshop.rglob("*"))
    try:
        status = main(["scale", "table-top.toml", *options])
    except SystemExit as end:
        status = end.code
    streams = capsys.readouterr()
    assert (status, streams.out) == (2, "")
    assert told in streams.err and "Traceback" not in streams.err
    assert sorted(workshop.rglob("*")) == before


def test_both_solved_are_printed_side_by_side(workshop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--solve prints both verdicts and a line for each measure, and its status tells whether both converged."""
    text = (CASES / "laboratory.toml").read_text().replace("cells_r = 40", "cells_r = 12")
    (workshop / "lab.toml").write_text(text.replace("cells_z = 60", "cells_z = 16"))
    assert main(["scale", "lab.toml", "--factor", "2", "--hold", "reynolds", "--solve", "--quiet"]) == 0
    out = capsys.readouterr().out
    assert out.count("touchdown") >= 2 and "lab-4m.original.h5" in out and "lab-4m.scaled.h5" in out
    line = next(line for line in out.splitlines() if "largest upward speed" in line)
    assert line.endswith(("+0 %", "-0 %"))


def test_scale_loads_no_solver() -> None:
    """`scale` without --solve imports none of numba, matplotlib, xarray, h5py, rich and jinja2."""
    code = (
        "import sys, swirlwright\n"
        f"case = swirlwright.read_case({str(CASES / 'laboratory.toml')!r})\n"
        "swirlwright.scale(case, factor=2.0).text()\n"
        "print(*{name.split('.')[0] for name in sys.modules})\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert set(run.stdout.split()) & {"numba", "matplotlib", "xarray", "h5py", "rich", "jinja2", "scipy"} == set()


def test_the_front_door_scales(workshop: Path) -> None:
    """`swirlwright.scale` and `write_scaled` do what the command does."""
    scaled = swirlwright.scale(swirlwright.read_case("table-top.toml"), height=1.2, fans="fans")
    case, copied = swirlwright.write_scaled(scaled, "twice.toml")
    assert case.chamber.height == 1.2 and copied == []
    again = read_case("twice.toml")
    assert again.text == case.text and again.chamber == case.chamber == scaled.case.chamber
