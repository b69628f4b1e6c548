"""Damaged case files: the command answers every one in words."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from swirlwright.cli import main
from swirlwright.solver.casefile import parse_case, vary
from swirlwright.solver.errors import InputError

CASES = Path(__file__).parents[2] / "cases"
SHIPPED = sorted(CASES.glob("*.toml"))
MUTATIONS = 60
STRANGE = [
    "0", "-1", "1e-9", "1e9", "1e400", "nan", "inf", "-inf", "true", '""', '"3 parsecs"', '"5 kg"', "[]",
    "[1, 2]", "{}", "{ a = 1 }", "99999999999999999999999", '"\\u0000"', '"../../etc/passwd"', "1979-05-27",
    "0x10", "''", '"above"', '"free-slip"', '"transient"', "0.5", "3", "90", "179.9", "2.5e-3", "1000",
    "[[0.1, 0.1]]",
]  # fmt: skip


def other_value(lines: list[str], rng: random.Random) -> None:
    """Put a strange value behind a key."""
    places = [i for i, line in enumerate(lines) if re.match(r"\s*\w+ = ", line)]
    i = rng.choice(places)
    lines[i] = lines[i].split("=")[0] + "= " + rng.choice(STRANGE)


def scaled_value(lines: list[str], rng: random.Random) -> None:
    """Scale a number."""
    places = [i for i, line in enumerate(lines) if re.match(r"\s*\w+ = \"?\d", line)]
    i = rng.choice(places)
    number = re.search(r"\d+\.?\d*(e-?\d+)?", lines[i].split("=")[1])
    if number is not None:
        factor = rng.choice([-1, 0.1, 0.5, 0.9, 1.1, 2, 10, 1000])
        lines[i] = lines[i].replace(number.group(), repr(float(number.group()) * factor), 1)


def lost_line(lines: list[str], rng: random.Random) -> None:
    """Lose a line."""
    del lines[rng.randrange(len(lines))]


def doubled_line(lines: list[str], rng: random.Random) -> None:
    """Write a line twice, the second time anywhere."""
    lines.insert(rng.randrange(len(lines)), rng.choice(lines))


def moved_block(lines: list[str], rng: random.Random) -> None:
    """Move the first lines to the end."""
    cut = rng.randrange(len(lines))
    lines[:] = lines[cut:] + lines[:cut]


def slip_of_a_key(lines: list[str], rng: random.Random) -> None:
    """Lose, double or change one character."""
    text = "\n".join(lines)
    at = rng.randrange(len(text))
    new = rng.choice(["", text[at] * 2, rng.choice('="[]{}#,.\\x9\n\t\x07é')])
    lines[:] = (text[:at] + new + text[at + 1 :]).split("\n")


KINDS: list[Callable[[list[str], random.Random], None]] = [
    other_value, other_value, scaled_value, scaled_value, lost_line, doubled_line, moved_block, slip_of_a_key,
]  # fmt: skip


def mutated(text: str, seed: int) -> str:
    """The text with one to three mutations."""
    rng = random.Random(seed)
    lines = text.split("\n")
    for _ in range(rng.randint(1, 3)):
        rng.choice(KINDS)(lines, rng)
    return "\n".join(lines)


@pytest.mark.parametrize("shipped", SHIPPED, ids=lambda path: path.stem)
def test_check_answers_every_mutation(shipped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Sixty mutations of a case each pass or are refused line by line with file and line, never otherwise."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    path = tmp_path / "case.toml"
    refused = 0
    for seed in range(MUTATIONS):
        path.write_text(mutated(shipped.read_text(), seed), encoding="utf-8")
        status = main(["check", str(path)])
        streams = capsys.readouterr()
        assert status in (0, 2), (seed, streams.err)
        if status == 2:
            refused += 1
            assert streams.out == "", seed
            for line in streams.err.splitlines():
                assert re.match(rf"{re.escape(str(tmp_path))}/[\w/-]+\.toml:[1-9]\d*: \S", line), (seed, line)
        else:
            assert streams.out.strip(), seed
    # Should nearly every mutation be harmless or fatal, the test would not test much.
    assert MUTATIONS * 0.2 < refused < MUTATIONS


@pytest.mark.parametrize("name", sorted(path.name for path in (CASES / "fans").glob("*.toml")))
def test_check_answers_every_mutation_of_a_fan_file(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twenty mutations of a fan file each pass or are refused with the fan file's own line."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    case = "hall.toml" if name.startswith("hall") else "table-top.toml"
    shutil.copy(CASES / case, tmp_path)
    for seed in range(20):
        (tmp_path / "fans" / name).write_text(mutated((CASES / "fans" / name).read_text(), seed), encoding="utf-8")
        status = main(["check", str(tmp_path / case)])
        message = capsys.readouterr().err
        assert status in (0, 2), (seed, message)
        if status == 2:
            assert re.match(rf"{re.escape(str(tmp_path))}/[\w/-]+\.toml:[1-9]\d*: \S", message), (
                seed,
                message,
            )


# Of each case, on a coarse grid, with a limit on the time each may take.
SOLVED = 6
COARSE = {
    "grid.cells_r": 16,
    "grid.cells_z": 24,
    "grid.core_spacing": None,
    "grid.floor_spacing": None,
    "run.time_limit": 2.0,
}


@pytest.mark.slow
@pytest.mark.parametrize("shipped", SHIPPED, ids=lambda path: path.stem)
def test_solve_answers_mutations_that_pass_the_check(
    shipped: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Six mutations that pass the check end in 0, 2 or 3; what is written can be measured, a refusal writes nothing."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    path, output = tmp_path / "case.toml", tmp_path / "result.h5"
    solved = 0
    for seed in range(MUTATIONS):
        try:
            case = vary(parse_case(mutated(shipped.read_text(), seed), path), COARSE)
        except InputError:
            continue
        path.write_text(case.text)
        status = main(["solve", str(path), "--output", str(output), "--quiet"])
        assert status in (0, 2, 3), (seed, capsys.readouterr().err)
        said = capsys.readouterr().err
        assert "internal error" not in said, (seed, said)
        assert output.exists() == (status != 2), seed
        if status != 2:
            assert main(["measure", str(output)]) == 0, (seed, capsys.readouterr().err)
            output.unlink()
        solved += 1
        if solved == SOLVED:
            return
    pytest.fail("hardly any mutation passes the check")
