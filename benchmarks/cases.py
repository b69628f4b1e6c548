"""How long does each shipped case take at its default grid? Compiling apart, one thread, as a Markdown table.

python benchmarks/cases.py [--folder FOLDER]
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
from pathlib import Path

from swirlwright import __version__
from swirlwright.postproc.measures import measure
from swirlwright.solver.results import load_result

CASES = Path(__file__).parent.parent / "cases"
LIMIT_STEADY, LIMIT_UNSTEADY = 60.0, 180.0  # s


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path("case-results"))
    folder: Path = parser.parse_args().folder
    folder.mkdir(parents=True, exist_ok=True)
    rows, is_within = [], True
    for path in sorted(CASES.glob("*.toml")):
        result = folder / f"{path.stem}.h5"
        command = [sys.executable, "-m", "swirlwright.cli", "solve", str(path), "--output", str(result), "--quiet"]
        status = subprocess.run(command, env=os.environ | {"OMP_NUM_THREADS": "1"}, capture_output=True).returncode
        data = load_result(result)
        seconds, outcome = data.attributes["solve_seconds"], data.attributes["outcome"]
        limit = LIMIT_STEADY if outcome == "steady" else LIMIT_UNSTEADY
        is_within = is_within and seconds < limit
        inside = measure(result).field.cells_in_core
        rows.append(
            f"| {path.stem} | {data.r.size} x {data.z.size} | {outcome} | {status} "
            f"| {'-' if inside is None else f'{inside:.1f}'} | {data.attributes['compile_seconds']:.1f} "
            f"| {seconds:.1f} | {limit:.0f} |"
        )
    verdict = "Every shipped case is" if is_within else "Not every shipped case is"
    print(f"{verdict} within its limit ({LIMIT_STEADY:.0f} s steady, {LIMIT_UNSTEADY:.0f} s unsteady).\n")
    print(f"swirlwright {__version__}, Python {platform.python_version()}, {platform.machine()}, one thread\n")
    print("| case | cells r x z | outcome | exit status | cells in the core | compile, s | solve, s | limit, s |")
    print("|---|---|---|---|---|---|---|---|")
    print("\n".join(rows))


if __name__ == "__main__":
    main()
