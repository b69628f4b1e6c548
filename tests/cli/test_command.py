"""The command: exit statuses, streams, and what it costs to start."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import swirlwright
from swirlwright.cli import main

CASES = Path(__file__).parents[2] / "cases"
HEAVY = ("numba", "matplotlib", "xarray", "scipy", "h5py", "rich", "jinja2")


def loaded_after(arguments: list[str]) -> set[str]:
    """Top-level modules loaded once the command has run in a process of its own."""
    code = (
        "import sys\n"
        "from swirlwright.cli import main\n"
        "try:\n"
        f"    main({arguments!r})\n"
        "except SystemExit:\n"
        "    pass\n"
        "print('MODULES', *{name.split('.')[0] for name in sys.modules})\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(run.stdout.split("MODULES")[-1].split())


def test_help_loads_nothing_heavy() -> None:
    """--help imports neither a numerical library nor the schema's."""
    assert loaded_after(["--help"]) & {*HEAVY, "numpy", "pydantic", "pint", "fluids"} == set()


def test_check_loads_no_solver() -> None:
    """`check` imports none of numba, matplotlib, xarray, scipy, h5py, rich and jinja2."""
    assert loaded_after(["check", str(CASES / "laboratory.toml")]) & set(HEAVY) == set()
    # The unit library, loaded for the units of this case, looks for scipy by itself, and for dask, which wants jinja2.
    assert loaded_after(["check", str(CASES / "table-top.toml")]) & set(HEAVY) <= {"scipy", "jinja2"}


def test_check_without_unit_strings_loads_no_unit_library() -> None:
    """The unit library is imported only where a file has a quantity with a unit."""
    assert "pint" not in loaded_after(["check", str(CASES / "laboratory.toml")])
    assert "pint" in loaded_after(["check", str(CASES / "table-top.toml")])


def test_the_front_door_offers_the_verbs() -> None:
    """Each verb of the command is a function of the package, and nothing else is made up."""
    assert {"read_case", "check", "solve", "measure", "report", "open_result"} <= set(dir(swirlwright))
    case = swirlwright.read_case(CASES / "table-top.toml")
    assert len(swirlwright.check(case).network.jets) == 44
    with pytest.raises(AttributeError):
        swirlwright.sweeep  # noqa: B018


@pytest.mark.parametrize("path", sorted(CASES.glob("*.toml")), ids=lambda path: path.stem)
def test_check_prints_a_table_or_one_json_object(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`check` ends in 0 with a table, or with --json in one object of the same title and nothing else."""
    assert main(["check", str(path)]) == 0
    text = capsys.readouterr()
    assert main(["check", "--json", str(path)]) == 0
    data = json.loads(capsys.readouterr().out)
    assert text.out.splitlines()[0] == data["title"]
    assert text.err == ""


def test_check_gives_every_hole_and_the_torque_of_the_plan(capsys: pytest.CaptureFixture[str]) -> None:
    """The jets' torque is the sum of the printed hole momenta times the printed moment arms."""
    assert main(["check", "--json", str(CASES / "table-top.toml")]) == 0
    data = json.loads(capsys.readouterr().out)
    arms = {row["tube"]: row["moment_arm_m"] for row in data["hole_rows"]}
    torque = sum(
        hole["momentum_n"] * arms[number]
        for number, tube in enumerate(data["network"]["tubes"], start=1)
        for hole in tube["holes"]
    )
    assert len(data["network"]["tubes"]) == data["tube_count"] == 4
    assert data["network"]["jet_torque_nm"] == pytest.approx(torque, rel=1e-12)


def test_wrong_input_ends_in_2_and_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A wrong case ends every verb that reads one in status 2, with a message, no output and no file."""
    monkeypatch.chdir(tmp_path)
    case = tmp_path / "wrong.toml"
    case.write_text("title = 'x'\n[chamber]\nwidth = -1\n")
    for verb in ("check", "solve"):
        assert main([verb, str(case)]) == 2
        streams = capsys.readouterr()
        assert streams.out == ""
        assert f"{case}:3: chamber.width: must be > 0 and <= 100 m, got -1\n" in streams.err
    assert list(tmp_path.iterdir()) == [case]


@pytest.mark.parametrize("verb", ["check", "solve", "measure", "report"])
def test_a_missing_file_ends_in_one_message(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that does not exist ends every verb in status 2, with one line that names it."""
    monkeypatch.chdir(tmp_path)
    assert main([verb, "gone.file"]) == 2
    streams = capsys.readouterr()
    assert streams.out == ""
    assert len(streams.err.splitlines()) == 1
    assert "gone.file" in streams.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("verb", ["measure", "report"])
def test_an_unreadable_result_ends_in_one_message(
    verb: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that is no result ends in status 2, with one line that names it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "no.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(64))
    assert main([verb, "no.h5"]) == 2
    streams = capsys.readouterr()
    assert len(streams.err.splitlines()) == 1
    assert "no.h5" in streams.err


@pytest.mark.parametrize("name", ["nowhere/a.h5", ".", "table-top.toml"])
def test_a_result_that_cannot_be_written_is_refused_before_solving(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An output in a folder that does not exist, a folder, or the case itself is refused at once."""
    monkeypatch.chdir(tmp_path)
    text = (CASES / "laboratory.toml").read_text()
    (tmp_path / "table-top.toml").write_text(text)
    assert main(["solve", "table-top.toml", "--output", name]) == 2
    assert capsys.readouterr().err.startswith(f"{name}: must ")
    assert (tmp_path / "table-top.toml").read_text() == text


def test_an_interrupt_and_a_full_disk_end_in_1(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C, a failing disk and a mistake of ours end in status 1 and one line without a stack trace."""
    from swirlwright.solver import checksheet

    for error, message in (
        (KeyboardInterrupt(), "interrupted"),
        (OSError(28, "No space left on device", "a.h5"), "a.h5: the disk is full; make room there"),
        (MemoryError(), "check: not enough memory"),
        (ZeroDivisionError("float division by zero"), "internal error, ZeroDivisionError"),
    ):

        def fail(case: object, error: BaseException = error) -> None:
            raise error

        monkeypatch.setattr(checksheet, "check_sheet", fail)
        assert main(["check", str(CASES / "table-top.toml")]) == 1
        told = capsys.readouterr().err
        assert told.startswith(message)
        assert len(told.splitlines()) == 1


def test_an_unknown_verb_ends_in_2() -> None:
    """What the command line does not know is wrong input."""
    with pytest.raises(SystemExit) as caught:
        main(["levitate"])
    assert caught.value.code == 2


def test_a_closed_pipe_ends_quietly() -> None:
    """When the reader goes away, the command does not complain with a stack trace."""
    command = [sys.executable, "-m", "swirlwright.cli", "check", "--json", str(CASES / "hall.toml")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert b"Traceback" not in process.stderr.read()
    assert process.returncode == 1
