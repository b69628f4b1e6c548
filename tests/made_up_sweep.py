"""Data sets of sweeps made by formula: no flow is run, but study, variants and data set are those of a sweep."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import xarray as xr
from small_study import write_study

from swirlwright.postproc.sweeps.data import data_set, write_data_set
from swirlwright.postproc.sweeps.store import Record, Run
from swirlwright.solver.study_file import read_study
from swirlwright.solver.variants import Variant, variants_of

PRODUCT = """
title = "Made-up product"
base = "case.toml"
[[parameters]]
name = "lowest_jet"
keys = ["tubes.1.rows.1.lowest", "tubes.1.rows.1.pitch"]
values = [["30 mm", "100 mm"], [0.05, 0.095], [0.08, 0.09], [0.13, 0.08], [0.18, 0.07], [0.23, 0.06]]
[[parameters]]
name = "suction"
key = "exhaust.pressure"
values = [1.5, "3 Pa", 4, 6]
"""

SAMPLE = """
title = "Made-up sample"
base = "case.toml"
[[parameters]]
name = "lowest_jet"
key = "tubes.1.rows.1.lowest"
range = ["20 mm", "80 mm"]
[[parameters]]
name = "suction"
key = "exhaust.pressure"
range = [0.5, 8]
spacing = "log"
[[parameters]]
name = "closure"
key = "model.closure"
values = ["mixing-length", "spalart-allmaras"]
[sample]
method = "latin-hypercube"
count = 60
seed = 3
"""

Answer = Callable[[Variant], Record]


def made_up(variant: Variant) -> Record:
    """A column that stands where the jets are low and the suction is middling; a core that grows with both."""
    height, suction = variant.values["lowest_jet"], variant.values["suction"]
    share = 1 / (1 + np.exp(80 * (height - 0.06) + 3 * (np.log(suction) - 1) ** 2 - 3))
    share += 0.1 * (variant.values.get("closure") == "mixing-length")
    share = float(min(share, 1.0))
    numbers: dict[str, float | None] = {
        "touchdown_share": share,
        "touchdown_share_chance": 0.05,
        "core_radius": 0.01 + 0.05 * height + 0.001 * suction,
        "core_radius_time_mean": 0.0105 + 0.05 * height + 0.001 * suction,
        "core_radius_time_std": 0.001,
        "core_radius_time_chance": 0.0003,
        "swirl_ratio_at_exhaust_radius": 1.2 - 2 * height - 0.05 * suction,
        "radial_reynolds_number": 100 * suction**0.5 + 300 * height,
        "max_tangential_velocity": 1.0 + 0.3 * suction**0.5,
        "core_foot_height": 0.01 + 0.2 * (1 - share),
        "breakdown_height": 0.2 if share > 0.6 else None,
        "cells_in_core": 7.0 if height > 0.2 else 12.0,
    }
    touchdown = "yes" if share > 0.9 else "no" if share < 0.1 else "marginal"
    words = {"touchdown": touchdown, "regime": "single-celled column" if share > 0.5 else "hanging column"}
    words["cautions"] = "under-resolved: 7 cells" if height > 0.2 else ""
    return Record("done", "", "time-averaged", numbers, words)


def some_lost(variant: Variant) -> Record:
    """As `made_up`, but one has failed, one is refused and one has not converged."""
    if variant.index == 5:
        return Record("failed", "still running at its time limit of 60 s")
    if variant.index == 11:
        return Record("refused", "tubes.1.rows.1.lowest: must lie inside the chamber")
    record = made_up(variant)
    if variant.index == 14:
        return Record("not-converged", "", "not-converged", record.numbers, record.words)
    return record


def write_sweep(folder: Path, text: str = PRODUCT, answer: Answer = made_up, cold: Answer | None = None) -> Path:
    """Write the folder of a sweep of this study, and return it."""
    place = folder / "small.sweep"
    place.mkdir()
    write_data_set(made_up_data(folder, text, answer, cold), place / "sweep.h5")
    return place


def made_up_data(folder: Path, text: str = PRODUCT, answer: Answer = made_up, cold: Answer | None = None) -> xr.Dataset:
    """The data set of a sweep of this study, which is written to a folder; every fourth variant is rerun `cold`."""
    study = read_study(write_study(folder, text))
    variants = variants_of(study)
    runs = [Run(answer(variant), None, f"key{variant.index}") for variant in variants]
    reruns = {} if cold is None else {v.index: cold(v) for v in variants[::4]}
    return data_set(study, variants, runs, reruns)
