"""How long does each shipped case take at its default grid? Compiling apart, one thread, as a Markdown table.

python benchmarks/cases.py [--folder FOLDER] [--cases NAME ...]
"""

from __future__ import annotations

import argparse
from pathlib import Path

from printing import CASES, machine, number, solve_apart, table

from swirlwright.postproc.measures import measure_data
from swirlwright.solver.results import load_result

LIMIT_STEADY, LIMIT_UNSTEADY = 60.0, 180.0  # s, on two cores


def row(case: Path, folder: Path) -> tuple[list[str], bool]:
    """Solve one case: its line of the table, and whether it kept its limit."""
    result = folder / f"{case.stem}.h5"
    status = solve_apart(case, result)
    data = load_result(result)
    attributes = data.attributes
    seconds, outcome = attributes["solve_seconds"], attributes["outcome"]
    limit = LIMIT_STEADY if outcome == "steady" else LIMIT_UNSTEADY
    cells = [
        case.stem,
        f"{data.r.size} x {data.z.size}",
        outcome,
        str(status),
        number(measure_data(data).field.cells_in_core, form=".1f"),
        number(attributes["compile_seconds"], form=".1f"),
        number(seconds, form=".1f"),
        number(limit, form=".0f"),
    ]
    return cells, seconds < limit


def conclusion(is_within: dict[str, bool]) -> str:
    """Which cases keep their limits, in a sentence."""
    limits = f"{LIMIT_STEADY:.0f} s steady, {LIMIT_UNSTEADY:.0f} s unsteady"
    late = [name for name, kept in is_within.items() if not kept]
    if late:
        return f"{len(late)} of {len(is_within)} cases take longer than they may ({limits}): {', '.join(late)}."
    return f"Each of {len(is_within)} cases solves within its limit ({limits})."


def main() -> None:
    shipped = {path.stem: path for path in sorted(CASES.glob("*.toml"))}
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path("case-results"), help="for the results")
    parser.add_argument("--cases", nargs="+", choices=shipped, default=list(shipped), help="these only")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    rows = {name: row(shipped[name], options.folder) for name in options.cases}
    print(conclusion({name: kept for name, (_, kept) in rows.items()}), machine(), sep="\n\n", end="\n\n")
    heads = ["case", "cells r x z", "outcome", "exit status", "cells in the core", "compile, s", "solve, s", "limit, s"]
    print(table(heads, [cells for cells, _ in rows.values()]))


if __name__ == "__main__":
    main()
