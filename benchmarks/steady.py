"""How long until a chamber's steady state, from rest and from a neighbour, and how does that grow with the grid?

python benchmarks/steady.py [--grids 64x128 128x256 256x512]
"""

from __future__ import annotations

import argparse
import json
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from printing import CASES, ONE_THREAD, machine, table

CASE = CASES / "laboratory.toml"
GRIDS = ("64x128", "128x256", "256x512")  # cells along r and z
# The neighbour differs in the angle of the inflow, which is 14 degrees in the case.
ANGLE = 17.0
LIMIT_COLD, LIMIT_WARM, LIMIT_POWER, LIMIT_MEMORY = 5.0, 1.0, 1.25, 3.0  # s, s, -, GB


def solve_here(folder: Path, cells: str | None, start: str | None) -> dict[str, float]:
    """Seconds without compiling, and GB, of one run in this process, the kernels loaded by a coarser one before."""
    from swirlwright.solver.casefile import read_case, vary
    from swirlwright.solver.outcome import Outcome
    from swirlwright.solver.results import load_result
    from swirlwright.solver.solve import solve

    case = read_case(folder / CASE.name)
    # Loads what `warm_up` does not, scipy's sparse solvers above all.
    solve(vary(case, {"grid.cells_r": 16, "grid.cells_z": 16}), folder / "small.h5")
    changes: dict[str, object] = {"inlet.angle": ANGLE}
    if cells is not None:
        nr, nz = map(int, cells.split("x"))
        changes |= {"grid.cells_r": nr, "grid.cells_z": nz}
    if start is not None:
        changes["run.start_from"] = start
    begin = time.perf_counter()
    result = solve(vary(case, changes), folder / "run.h5")
    seconds = time.perf_counter() - begin
    if result.outcome is not Outcome.STEADY:
        raise RuntimeError(f"{CASE.name} on {cells} cells: {result.text}")
    steps = len(load_result(folder / "run.h5").history["iteration"])
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e9
    return {"seconds": seconds, "steps": float(steps), "memory": memory}


def apart(folder: Path, cells: str | None, start: str | None) -> dict[str, float]:
    """`solve_here` in a process of its own, whose memory is its own too."""
    command = [sys.executable, __file__, "--here", str(folder), cells or "", start or ""]
    done = subprocess.run(command, env=os.environ | ONE_THREAD, capture_output=True, text=True, check=True)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--grids", nargs="*", default=GRIDS, metavar="NRxNZ", help="grids for the growth")
    parser.add_argument("--here", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.here:
        folder, cells, start = options.here
        print(json.dumps(solve_here(Path(folder), cells or None, start or None)))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / CASE.name).write_text(CASE.read_text())
        cold = apart(folder, None, None)
        # The field of the shipped angle, for the neighbour.
        subprocess.run(
            [sys.executable, "-m", "swirlwright.cli", "solve", CASE.name, "--output", "neighbour.h5", "--quiet"],
            cwd=folder, env=os.environ | ONE_THREAD, check=True,
        )  # fmt: skip
        warm = apart(folder, None, "neighbour.h5")
        grids = {cells: apart(folder, cells, None) for cells in options.grids}
    first, last = options.grids[0], options.grids[-1]
    power = math.log(grids[last]["seconds"] / grids[first]["seconds"]) / math.log(_cells(last) / _cells(first))
    largest = max(run["memory"] for run in grids.values())
    is_within = cold["seconds"] < LIMIT_COLD and warm["seconds"] < LIMIT_WARM
    is_within = is_within and power < LIMIT_POWER and largest < LIMIT_MEMORY
    print(
        f"The laboratory chamber takes {cold['seconds']:.2f} s from rest on its default grid (limit {LIMIT_COLD:g}) "
        f"and {warm['seconds']:.2f} s from a neighbour (limit {LIMIT_WARM:g}); from {first} to {last} cells the time "
        f"grows as N^{power:.2f} (limit {LIMIT_POWER:g}) and the memory to {largest:.2f} GB (limit {LIMIT_MEMORY:g}): "
        f"{'within' if is_within else 'not within'} limits."
    )
    print(f"\n{machine()} The test of stability is part of each time; loading kernels and libraries is not.\n")
    rows = {"default grid, from rest": cold, "default grid, from a neighbour": warm}
    rows |= {f"{cells}, from rest": run for cells, run in grids.items()}
    print(
        table(
            ["run", "seconds", "Newton steps", "memory, GB"],
            [[name, f"{r['seconds']:.2f}", f"{r['steps']:.0f}", f"{r['memory']:.2f}"] for name, r in rows.items()],
        )
    )


def _cells(text: str) -> int:
    nr, nz = map(int, text.split("x"))
    return nr * nz


if __name__ == "__main__":
    main()
