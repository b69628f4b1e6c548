"""How long until the command answers? Whole processes, medians of nine, as a Markdown table.

python benchmarks/start_up.py
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from printing import CASES, ONE_THREAD, machine, table

from swirlwright.solver.casefile import read_case, read_fan_file, to_toml, vary

REPEATS = 9
HELP_LIMIT, CHECK_LIMIT = 0.06, 0.5  # s: --help beyond a bare Python; check without unit strings


def plain_case(shipped: Path, folder: Path) -> Path:
    """Write a case and its fans anew in plain SI numbers, without any text with a unit."""
    case = read_case(shipped)
    plain = folder / "plain.toml"
    plain.write_text(vary(case, {}).text)
    fans = folder / "fans"
    fans.mkdir()
    for fan in (shipped.parent / "fans").glob("*.toml"):
        (fans / fan.name).write_text(to_toml(read_fan_file(fan).model_dump(mode="json", exclude_unset=True)))
    return plain


def commands(folder: Path) -> dict[str, list[str]]:
    """What is timed, by name."""
    program = shutil.which("swirlwright", path=str(Path(sys.executable).parent)) or shutil.which("swirlwright")
    if program is None:
        raise RuntimeError("swirlwright is not installed here")
    shipped = CASES / "table-top.toml"
    plain = plain_case(shipped, folder)
    return {
        "python -c pass": [sys.executable, "-c", "pass"],
        "swirlwright --help": [program, "--help"],
        "swirlwright check, plain numbers": [program, "check", str(plain)],
        "swirlwright check, texts with units": [program, "check", str(shipped)],
    }


def seconds(command: list[str]) -> float:
    """Wall-clock seconds of one process."""
    begin = time.perf_counter()
    subprocess.run(command, env=os.environ | ONE_THREAD, check=True, capture_output=True)
    return time.perf_counter() - begin


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        timed = commands(Path(folder))
        for command in timed.values():
            seconds(command)  # fills the disk's cache and writes byte code
        # Turn by turn, so that a busy moment of the machine falls on all alike.
        rounds = [[seconds(command) for command in timed.values()] for _ in range(REPEATS)]
    median = dict(zip(timed, map(statistics.median, zip(*rounds, strict=True)), strict=True))
    least = dict(zip(timed, map(min, zip(*rounds, strict=True)), strict=True))
    bare, help_, check = list(median.values())[:3]
    is_within = help_ - bare < HELP_LIMIT and check < CHECK_LIMIT
    print(
        f"--help takes {1e3 * (help_ - bare):.0f} ms more than a bare Python (limit {1e3 * HELP_LIMIT:.0f}) and check "
        f"without unit strings {check:.2f} s (limit {CHECK_LIMIT}): {'within' if is_within else 'not within'} limits."
    )
    print(f"\n{machine()} Medians of {REPEATS} after one run unmeasured.\n")
    rows = [
        [f"`{name}`", *(f"{1e3 * t:.0f}" for t in (median[name], least[name], median[name] - bare))] for name in timed
    ]
    print(table(["command", "median, ms", "least, ms", "beyond a bare Python, ms"], rows))


if __name__ == "__main__":
    main()
