"""Are the standard errors of time averages right? Runs that differ by next to nothing, as a Markdown table.

python benchmarks/scatter.py [--runs RUNS] [--folder FOLDER]
"""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path

import numpy as np
from printing import CASES, machine, number, table

import swirlwright

# The aim of the jets moves by this from run to run: nothing to a builder, and another flow to a chaotic one.
STEP = 0.02  # degrees
LOWEST_JETS = {"30 mm": "50 mm", "80 mm": "45 mm"}  # with the pitch that keeps the highest of eleven holes
# Column of the value, of its standard error, words, factor to the printed unit.
COLUMNS = (
    ("touchdown_share", "touchdown_share_chance", "share of time a column stands, %", 100.0),
    ("core_radius_time_mean", "core_radius_time_chance", "core radius at mid-height, mm", 1e3),
    ("max_tangential_velocity_time_mean", "max_tangential_velocity_time_chance", "largest v of the core, m/s", 1.0),
    ("core_pressure_deficit_time_mean", "core_pressure_deficit_time_chance", "deficit at mid-height, Pa", 1.0),
)


def study(runs: int) -> str:
    """Two chambers, each `runs` times."""
    jets = ", ".join(f'["{lowest}", "{pitch}"]' for lowest, pitch in LOWEST_JETS.items())
    return f"""
title = "Runs that differ by chance"
base = "table-top.toml"

[[parameters]]
name = "lowest_jet"
keys = ["tubes.1.rows.1.lowest", "tubes.1.rows.1.pitch"]
values = [{jets}]

[[parameters]]
name = "aim"
key = "tubes.1.rows.1.aim"
values = {[round(50.0 + STEP * k, 4) for k in range(runs)]}

[fixed]
grid.cells_r = 36
grid.cells_z = 54
grid.core_spacing = "2.4 mm"
run.average = 60
run.max_iterations = 5
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=12, help="of each chamber")
    parser.add_argument("--folder", type=Path, default=Path("scatter-results"), help="for the results")
    options = parser.parse_args()
    # A study and its base stand in one folder.
    shutil.copytree(CASES / "fans", options.folder / "fans", dirs_exist_ok=True)
    shutil.copy(CASES / "table-top.toml", options.folder)
    path = options.folder / "scatter.toml"
    path.write_text(study(options.runs))
    data = swirlwright.sweep(path, options.folder / "scatter.sweep")
    rows, ratios = [], []
    for n, lowest in enumerate(LOWEST_JETS):
        for name, error_name, words, factor in COLUMNS:
            values, errors = (data[key].isel(lowest_jet=n).values for key in (name, error_name))
            known = np.isfinite(values) & np.isfinite(errors)
            values, errors = factor * values[known], factor * errors[known]
            off = (values - values.mean()) / errors
            ratios.append(float(np.sqrt((off**2).sum() / (values.size - 1))))
            cells = (values.mean(), values.std(ddof=1), np.sqrt((errors**2).mean()), ratios[-1])
            rows.append([lowest, words, str(values.size), *(number(cell) for cell in cells)])
    print(
        f"Runs that differ by {STEP} degrees in the aim of the jets scatter by {min(ratios):.2f} to {max(ratios):.2f} "
        f"times their standard errors.\n\n{machine()}\n"
    )
    heads = ["lowest jet", "mean over 60 s", "runs", "mean", "scatter", "standard error", "scatter in standard errors"]
    print(table(heads, rows))


if __name__ == "__main__":
    main()
