"""Which assumption decides the table-top verdict? One run for each change, as a Markdown table.

python benchmarks/sensitivity.py [--folder FOLDER] [--coarse] [--rows NAME ...]

Runs go two at a time, one thread each; a result already in the folder is used again if its case is the same.
"""

from __future__ import annotations

import argparse
import math
import shutil
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from printing import CASES, machine, number, solve_apart, table

from swirlwright.postproc.grid_and_spread import holds_ended_run
from swirlwright.postproc.measures import Measures, measure_data
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.results import load_result
from swirlwright.solver.schema import Case

BASE = "as shipped"
# Not a doubt about a constant but another kind of flow: what it costs to deny that the core is nearly laminar.
TWENTY_NU = "20 nu everywhere"


def changes(case: Case, coarse: bool = False) -> dict[str, dict[str, Any]]:
    """What each row changes in the case; with `coarse`, all at half the cells and a quarter of the averaging."""
    c, k = case.model.length_constant, case.chamber.inflow_loss
    rows: dict[str, dict[str, Any]] = {
        BASE: {},
        "mixing-length constant x 1/2": {"model.length_constant": c / 2},
        "mixing-length constant x 2": {"model.length_constant": c * 2},
        "K_in x 1/2": {"chamber.inflow_loss": k / 2},
        "K_in x 2": {"chamber.inflow_loss": k * 2},
        # Two of four sides open are 0.5. The model knows the share only, so a third side may stand in for it.
        "phi - 0.1": {"chamber.side_opening": 0.8},
        "phi + 0.1": {"chamber.open_sides": ["front", "left", "right"], "chamber.side_opening": 0.8},
        "R - 10 %": {"model.radius_factor": 0.9},
        "R + 10 %": {"model.radius_factor": 1.1},
        "grid x 3/4": grid(case, 0.75),
        "grid x 4/3": grid(case, 4 / 3),
        TWENTY_NU: {"model.closure": "constant", "model.viscosity_ratio": 20},
    }
    if not coarse:
        return rows
    factors = {"grid x 3/4": 0.75, "grid x 4/3": 4 / 3}
    return {
        name: {"run.average": case.run.average / 4} | row | grid(case, 0.5 * factors.get(name, 1.0))
        for name, row in rows.items()
    }


def grid(case: Case, factor: float) -> dict[str, Any]:
    """The case's grid with `factor` times the cells along both directions; the first cell to six digits."""
    spacing = case.grid.core_spacing
    return {
        "grid.cells_r": round(case.grid.cells_r * factor),
        "grid.cells_z": round(case.grid.cells_z * factor),
        "grid.core_spacing": None if spacing is None else float(f"{spacing / factor:.6g}"),
    }


def run(case: Case, stem: Path) -> Path:
    """Solve a case in a process of its own, unless its result is there."""
    result = stem.with_suffix(".h5")
    if not holds_ended_run(result, case):
        path = stem.with_suffix(".toml")
        path.write_text(case.text)
        solve_apart(path, result)
    return result


@dataclass(frozen=True)
class Row:
    """What one run tells. chance: standard error of the share of time, from blocks of the window; 0 if steady."""

    measures: Measures
    chance: float
    cells: str
    compile_seconds: float
    solve_seconds: float

    @property
    def share(self) -> float:
        """Share of time in which the column stands on the floor."""
        return self.measures.verdict.share_standing

    def texts(self) -> list[str]:
        """Its cells in the table."""
        m, field = self.measures, self.measures.field
        return [
            m.outcome,
            m.verdict.touchdown,
            f"{100 * self.share:.0f} ± {100 * self.chance:.0f}",
            number(field.core_foot_height, 1e3),
            number(field.core_radius, 1e3),
            number(field.core_velocity),
            number(field.core_pressure_deficit),
            number(field.swirl_ratio_at_exhaust_radius),
            self.cells,
            number(self.compile_seconds, form=".1f"),
            number(self.solve_seconds, form=".0f"),
        ]


HEADS = (
    "change", "outcome", "column on the floor", "share of time, %", "foot, mm", "core radius, mm", "v, m/s",
    "deficit, Pa", "S", "cells r x z", "compile, s", "solve, s",
)  # fmt: skip


def row(result: Path) -> Row:
    """Measure one result."""
    data = load_result(result)
    measures = measure_data(data)
    seconds = (float(data.attributes[f"{name}_seconds"]) for name in ("compile", "solve"))
    return Row(measures, measures.verdict.chance_standing, f"{data.r.size} x {data.z.size}", *seconds)


def verdicts(rows: Mapping[str, Row]) -> str:
    """Whether the verdict holds, in a sentence."""
    word = rows[BASE].measures.verdict.touchdown
    others = {name: row.measures.verdict.touchdown for name, row in rows.items() if name not in (BASE, TWENTY_NU)}
    moved = [f"{name} ({new})" for name, new in others.items() if new != word]
    held = f"the same in {len(others) - len(moved)} of {len(others)} changes"
    moved_text = f", other with {', '.join(moved)}" if moved else ""
    return f"Column on the floor: {word} as shipped and {held} of constants, sides, radius and grid{moved_text}."


def decisive(rows: Mapping[str, Row]) -> str:
    """Which change moves the share of time most, and how many move it by more than chance, in a sentence."""
    base = rows[BASE]
    moves = {name: abs(row.share - base.share) for name, row in rows.items() if name != BASE}
    if not any(moves.values()):
        return "Nothing that was changed moves the share of time."
    most = max(moves, key=lambda name: moves[name])
    text = f"The share of time moves most with {most} ({_from_to(base, rows[most])})"
    plain = {name: move for name, move in moves.items() if name != TWENTY_NU}
    if most == TWENTY_NU and plain:
        second = max(plain, key=lambda name: plain[name])
        text += f", after that with {second} ({_from_to(base, rows[second])})"
    clear = [name for name, move in moves.items() if move > 2.0 * math.hypot(base.chance, rows[name].chance)]
    return f"{text}; more than twice its chance error it moves with {', '.join(clear) or 'none of the changes'}."


def _from_to(base: Row, other: Row) -> str:
    return f"{100 * base.share:.0f} to {100 * other.share:.0f} per cent"


def file_stem(name: str, place: int, coarse: bool) -> str:
    """Name of a row's files: its place keeps `- 0.1` and `+ 0.1` apart; a quick look replaces no full run."""
    return f"{place:02d}-" + "".join(c if c.isalnum() else "-" for c in name) + ("-coarse" if coarse else "")


def main() -> None:
    shipped = read_case(CASES / "table-top.toml")
    names = list(changes(shipped))
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", type=Path, default=Path("sensitivity-results"), help="for the results")
    parser.add_argument("--coarse", action="store_true", help="half the cells, a quarter of the averaging: no answer")
    parser.add_argument("--rows", nargs="+", choices=names, default=names, metavar="NAME", help="these only")
    options = parser.parse_args()
    folder: Path = options.folder
    folder.mkdir(parents=True, exist_ok=True)
    # Fan files are found relative to the case file, so they go along.
    shutil.copytree(CASES / "fans", folder / "fans", dirs_exist_ok=True)
    wanted = {name: row for name, row in changes(shipped, options.coarse).items() if name in {BASE, *options.rows}}
    cases = {name: vary(shipped, row) if row else shipped for name, row in wanted.items()}
    stems = [folder / file_stem(name, names.index(name), options.coarse) for name in cases]
    with ThreadPoolExecutor(2) as pool:
        results = list(pool.map(run, cases.values(), stems))
    rows = dict(zip(cases, map(row, results), strict=True))
    print(verdicts(rows), machine(), sep="\n\n", end="\n\n")
    print(table(HEADS, [[name, *one.texts()] for name, one in rows.items()]), decisive(rows), sep="\n\n")


if __name__ == "__main__":
    main()
