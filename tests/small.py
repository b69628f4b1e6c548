"""A small chamber for tests of runs: coarse, quick, unsteady, with everything a case can have."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import h5py
import numpy as np

from swirlwright.solver.casefile import parse_case, vary
from swirlwright.solver.schema import Case

TEXT = """
title = "A small chamber"
[chamber]
footprint = "square"
width = 0.36
height = 0.6
open_sides = ["front", "left"]
[exhaust]
diameter = 0.12
guard_loss = 0.3
pressure = 1.5
[supply]
pressure = 30
[[tubes]]
count = 4
place_radius = 0.233
first_angle = 45
inner_diameter = 0.019
wall_thickness = 0.001
[[tubes.rows]]
hole_diameter = 0.005
lowest = 0.03
pitch = 0.1
count = 6
aim = 50
discharge_coefficient = 0.62
discharge_source = "sharp-edged hole, common practice"
[fog]
radius = 0.03
flow = 2e-5
[grid]
cells_r = 16
cells_z = 24
[run]
mode = "transient"
end_time = 2.6
frame_interval = 0.25
probes = [{ name = "foot", r = 0.02, z = 0.05 }]
lines = [{ name = "axis", r = 0.0 }, { z = 0.3 }]
[[events]]
at = 1.5
exhaust = 0.5
"""


def small(changes: dict[str, Any] | None = None) -> Case:
    """The small chamber with some keys changed."""
    case = parse_case(TEXT, Path("small.toml"))
    return vary(case, changes) if changes else case


# What two runs of one flow need not share: the name of the run, and how long it took.
OF_THE_RUN = {"run_id", "compile_seconds", "solve_seconds"}


def contents(path: Path) -> dict[str, np.ndarray]:
    """Every data set of a result file by its path, and the root attributes as `@name`."""
    found: dict[str, np.ndarray] = {}

    def take(name: str, item: object) -> None:
        if isinstance(item, h5py.Dataset):
            found[name] = item[()]

    with h5py.File(path) as file:
        file.visititems(take)
        attributes = {f"@{name}": np.asarray(value) for name, value in file.attrs.items() if name not in OF_THE_RUN}
    return found | attributes


def differences(one: Path, other: Path) -> list[str]:
    """Names of data sets and attributes that are not the same to the last bit."""
    a, b = contents(one), contents(other)
    missing = sorted(set(a) ^ set(b))
    return missing + [name for name in sorted(set(a) & set(b)) if not _is_same(a[name], b[name])]


def _is_same(one: np.ndarray, other: np.ndarray) -> bool:
    return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")
