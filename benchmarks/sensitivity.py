"""Which assumption decides the table-top verdict? One run for each change, as a Markdown table.

python benchmarks/sensitivity.py [--folder FOLDER] [--quick]

Runs go two at a time, one thread each; a result already in the folder is used again if its case is the same.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from swirlwright import __version__
from swirlwright.postproc.measures import measure
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.results import load_result

CASE = Path(__file__).parent.parent / "cases" / "table-top.toml"
CELLS_R, CELLS_Z, CORE = 48, 72, 1.8e-3


def grid(factor: float) -> dict[str, Any]:
    """The grid with `factor` times the cells along both directions."""
    return {
        "grid.cells_r": round(CELLS_R * factor),
        "grid.cells_z": round(CELLS_Z * factor),
        "grid.core_spacing": CORE / factor,
    }


CHANGES: dict[str, dict[str, Any]] = {
    "as shipped": {},
    "mixing-length constant x 1/2": {"model.length_constant": 0.045},
    "mixing-length constant x 2": {"model.length_constant": 0.18},
    "K_in x 1/2": {"chamber.inflow_loss": 0.25},
    "K_in x 2": {"chamber.inflow_loss": 1.0},
    "phi - 0.1": {"chamber.side_opening": 0.8},
    "phi + 0.1": {"chamber.open_sides": ["front", "left", "right"], "chamber.side_opening": 0.8},
    "R - 10 %": {"model.radius_factor": 0.9},
    "R + 10 %": {"model.radius_factor": 1.1},
    "grid x 3/4": grid(0.75),
    "grid x 4/3": grid(4 / 3),
    "20 nu everywhere": {"model.closure": "constant", "model.viscosity_ratio": 20},
}


def run(name: str, changes: dict[str, Any], folder: Path) -> Path:
    """Solve one variant in a process of its own, unless its result is there."""
    case = vary(read_case(CASE), changes) if changes else read_case(CASE)
    stem = f"{list(CHANGES).index(name):02d}-" + "".join(c if c.isalnum() else "-" for c in name)
    result = folder / f"{stem}.h5"
    if result.exists():
        old = load_result(result).attributes
        if old["case_text"] == case.text and old["outcome"] not in ("interrupted", "blew-up"):
            return result
    path = folder / f"{stem}.toml"
    path.write_text(case.text)
    command = [sys.executable, "-m", "swirlwright.cli", "solve", str(path), "--output", str(result), "--quiet"]
    subprocess.run(command, env=os.environ | {"OMP_NUM_THREADS": "1"}, check=False, capture_output=True)
    return result


def row(name: str, result: Path) -> tuple[str, float]:
    """One line of the table, and the share of time the column stands."""
    m = measure(result)
    data = m.as_json()
    attributes = load_result(result).attributes
    field = m.field
    share = float(data["touchdown_share"])
    cells = [
        name,
        str(data["outcome"]),
        f"{data['touchdown']} ({100 * share:.0f} %)",
        str(data["structure"]),
        _number(field.core_foot_height, 1e3),
        _number(field.core_radius, 1e3),
        _number(field.core_velocity, 1.0),
        f"{attributes['solve_seconds']:.0f}",
    ]
    return "| " + " | ".join(cells) + " |", share


def _number(value: float | None, scale: float) -> str:
    return "-" if value is None else f"{scale * value:.3g}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path("sensitivity-results"))
    parser.add_argument("--quick", action="store_true", help="half the cells, a fifth of the time: a look, no answer")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    # Fan files are found relative to the case file, so they go along.
    shutil.copytree(CASE.parent / "fans", options.folder / "fans", dirs_exist_ok=True)
    quick = {**grid(0.5), "run.spin_up": 4.0, "run.average": 8.0} if options.quick else {}
    variants = {name: {**quick, **changes} for name, changes in CHANGES.items()}
    with ThreadPoolExecutor(2) as pool:
        results = dict(zip(variants, pool.map(lambda item: run(*item, options.folder), variants.items()), strict=True))
    rows = {name: row(name, result) for name, result in results.items()}
    base = rows["as shipped"][1]
    moves = {name: abs(share - base) for name, (_, share) in rows.items() if name != "20 nu everywhere"}
    most = max(moves, key=lambda name: moves[name])
    print(f"The share of time the column stands moves most with: {most} ({100 * moves[most]:.0f} points).\n")
    print(f"swirlwright {__version__}, Python {platform.python_version()}, {platform.machine()}, one thread a run\n")
    print("| change | outcome | column on the floor | structure | foot, mm | core radius, mm | v, m/s | solve, s |")
    print("|---|---|---|---|---|---|---|---|")
    for line, _ in rows.values():
        print(line)


if __name__ == "__main__":
    main()
