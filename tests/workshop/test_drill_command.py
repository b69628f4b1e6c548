"""The command `drill`: streams, exit statuses, and what it refuses to write over."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pdfplumber
import pytest
from workshop_cases import CASES, MIXED

from swirlwright.cli import main
from swirlwright.solver.casefile import read_case
from swirlwright.solver.network import solve_network


@pytest.fixture
def case_file(tmp_path, monkeypatch) -> Path:
    """The made-up chamber in a folder where the command runs."""
    path = tmp_path / "mixed.toml"
    path.write_text(MIXED)
    monkeypatch.chdir(tmp_path)
    return path


def test_drill_writes_both_files_where_it_runs(case_file, capsys):
    """`drill CASE` ends in 0 with the PDF and the table under the case's name, and names them on standard error."""
    assert main(["drill", str(case_file)]) == 0
    streams = capsys.readouterr()
    assert Path("mixed.pdf").read_bytes().startswith(b"%PDF-")
    assert Path("mixed-holes.csv").read_text().startswith("tube,hole,")
    assert "mixed.pdf" in streams.err and "mixed-holes.csv" in streams.err
    for words in ("Templates", "Parts", "Power", "Cautions", "tubes 1 to 3"):
        assert words in streams.out


def test_json_is_one_object_in_metres(case_file, capsys):
    """With --json there is one object on standard output, in SI units also where the paper is in inches."""
    assert main(["drill", str(case_file), "--json", "--inches", "--output", "out.pdf"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["pdf"] == "out.pdf"
    assert [kind["feed"] for kind in data["templates"]] == ["above", "below"]
    assert data["templates"][1]["holes"][0]["height_m"] == 0.3
    assert data["rotation"] == "counterclockwise"
    assert data["power"]["margin"] == 1.25
    assert {"Electricity", "Dry ice", "Last word"} <= data["cautions"].keys()


def test_with_inches_no_length_is_metric(tmp_path, capsys):
    """Sheets in inches have no length, flow, pressure or volume in SI but in fans' names, and name a drill by 64ths."""
    assert main(["drill", str(CASES / "hall.toml"), "--inches", "--output", str(tmp_path / "a.pdf")]) == 0
    with pdfplumber.open(tmp_path / "a.pdf") as pdf:
        paper = "\n".join(page.extract_text() for page in pdf.pages)
    for text in (capsys.readouterr().out, paper):
        rest = re.sub(r"\d+ mm axial", "", text)
        assert not re.search(r"\d (mm|m|m³|m³/h|Pa)\b|millimet", rest)
        assert "35/64 in, -0.004" in text


def test_what_the_air_network_warns_of_is_on_the_sheets(tmp_path, capsys):
    """Every caution that `check` has of a case's network stands in what `drill` prints and in the PDF."""
    assert main(["drill", str(CASES / "table-top.toml"), "--json", "--output", str(tmp_path / "a.pdf")]) == 0
    found = json.loads(capsys.readouterr().out)["network_cautions"]
    assert found == list(solve_network(read_case(CASES / "table-top.toml")).warnings) != []
    with pdfplumber.open(tmp_path / "a.pdf") as pdf:
        text = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
    assert all(words in text for words in found)


@pytest.mark.parametrize("name", ["a.png", "a"])
def test_sheets_are_written_as_pdf_alone(case_file, capsys, name):
    """An output of another ending than .pdf ends in 2, is named, and nothing is written."""
    assert main(["drill", str(case_file), "--output", name]) == 2
    assert f"{name}: must end in .pdf" in capsys.readouterr().err
    assert [path.name for path in Path().iterdir()] == ["mixed.toml"]


def test_the_same_sheets_may_be_written_again(case_file):
    """A second run replaces the sheets of the first, in another unit too."""
    assert main(["drill", str(case_file)]) == 0
    assert main(["drill", str(case_file), "--inches", "--paper", "letter"]) == 0
    assert "height_in" in Path("mixed-holes.csv").read_text()


@pytest.mark.parametrize("name", ["mixed.pdf", "mixed-holes.csv"])
def test_files_of_another_kind_are_not_replaced(case_file, capsys, name):
    """A file under one of the names that is no such sheet or table ends in 2, and neither is written."""
    Path(name).write_text("height,speed\n1,2\n")
    assert main(["drill", str(case_file)]) == 2
    assert name in capsys.readouterr().err
    assert Path(name).read_text() == "height,speed\n1,2\n"
    assert sorted(path.name for path in Path().iterdir()) == sorted(["mixed.toml", name])


def test_a_case_without_tubes_is_refused(tmp_path, monkeypatch, capsys):
    """Where there is nothing to drill the command ends in 2, says so with file and key, and writes nothing."""
    monkeypatch.chdir(tmp_path)
    assert main(["drill", str(CASES / "burgers.toml")]) == 2
    message = capsys.readouterr().err
    assert "burgers.toml" in message and "tubes" in message and "nothing to drill" in message
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_not_there_is_named(case_file, capsys):
    """An output in a missing folder ends in 2 before anything is drawn."""
    assert main(["drill", str(case_file), "--output", "nowhere/a.pdf"]) == 2
    assert "nowhere" in capsys.readouterr().err
