"""Studies of one case: coarser grids, and the model's constants over their ranges; two runs at a time.

Each variant has a result file of its own beside the main one, into which the findings are written.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from swirlwright.postproc.measures import Measures, measure
from swirlwright.postproc.uncertainty import GridStudy, Spread, grid_error
from swirlwright.postproc.verdict import by_share
from swirlwright.solver.casefile import parse_case, vary
from swirlwright.solver.errors import ResultError
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.processes import in_processes
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.result_notes import annotate
from swirlwright.solver.result_reading import read_attributes
from swirlwright.solver.schema import Case
from swirlwright.solver.solve import solve

# Cells along each direction over those of the case; the ratio is the least that Celik et al. (2008) advise, 1.3.
GRIDS = (1.0, 3 / 4, 9 / 16)
# What is studied, besides the share of time: values of the main field.
STUDIED = (
    "core_radius", "core_velocity", "max_tangential_velocity", "curtain_tangential_velocity", "peak_axial_velocity",
    "core_pressure_deficit", "core_pressure_deficit_floor", "low_level_circulation", "core_foot_height",
    "breakdown_height", "swirl_ratio_at_exhaust_radius", "swirl_ratio_at_curtain", "swirl_number",
    "radial_reynolds_number", "vortex_reynolds_number", "touchdown_share",
)  # fmt: skip
ENDED = {outcome.label for outcome in (Outcome.STEADY, Outcome.TIME_AVERAGED, Outcome.TRANSIENT, Outcome.NOT_CONVERGED)}


def beside(result: Path, name: str) -> Path:
    """The file of a variant: `table-top.h5` has `table-top.grid-36x54.h5`."""
    return result.with_name(f"{result.stem}.{name}{result.suffix}")


def solve_variants(cases: Mapping[str, Case], result: Path, watch: Watch) -> dict[str, Measures]:
    """Solve each case into `beside(result, name)` and measure it.

    A file that holds the ended run of the very same case is used again, so that a stopped study goes on.

    Raises
    ------
    ResultError
        If a variant blew up, was stopped or left nothing to measure.
    """
    files = {name: beside(result, name) for name in cases}
    todo = [name for name, case in cases.items() if not holds_ended_run(files[name], case)]
    cost = {name: case.grid.cells_r * case.grid.cells_z for name, case in cases.items()}
    watch.start(f"{len(todo)} of {len(cases)} variants to solve", float(sum(cost[name] for name in todo)))
    done = 0.0
    order = sorted(todo, key=lambda name: -cost[name])
    for name, outcome, text in in_processes(_solve, [(n, cases[n].text, cases[n].path, files[n]) for n in order]):
        if outcome not in ENDED:
            raise ResultError(f"{files[name]}: {text}; the study needs it (the others are kept)")
        done += cost[name]
        watch.update(done, f"{name}: {outcome}")
    watch.finish()
    return {name: measure(path) for name, path in files.items()}


def holds_ended_run(path: Path, case: Case) -> bool:
    """Whether the file is the ended run of this very case."""
    try:
        attributes = read_attributes(path)
    except ResultError:
        return False
    return attributes.get("case_text") == case.text and attributes.get("outcome") in ENDED


def _solve(task: tuple[str, str, Path, Path]) -> tuple[str, str, str]:
    name, text, path, output = task
    result = solve(parse_case(text, path), output)
    return name, result.outcome.label, result.text


def grids_of(case: Case) -> dict[str, Case]:
    """The coarser grids of a study by the names of their files; the finest is the case itself."""
    found = {}
    for factor in GRIDS[1:]:
        cells_r, cells_z = (max(8, round(factor * n)) for n in (case.grid.cells_r, case.grid.cells_z))
        spacings = {
            f"grid.{name}": None if (value := getattr(case.grid, name)) is None else float(f"{value / factor:.6g}")
            for name in ("core_spacing", "floor_spacing")
        }
        changes = {"grid.cells_r": cells_r, "grid.cells_z": cells_z, **spacings}
        found[f"grid-{cells_r}x{cells_z}"] = vary(case, {k: v for k, v in changes.items() if v is not None})
    return found


def spread_of(case: Case) -> dict[str, Case]:
    """Variants over the sourced ranges of the model's constants; only those that this case has.

    Mixing length over the width of a layer: 0.07 plane mixing layer, 0.16 far wake (Launder and Spalding 1972,
    Mathematical Models of Turbulence, from memory). Rotation damping: 4.5 and 7 (Bradshaw 1969, from memory). Inflow
    loss of the sides: 0.04 well rounded, 1 re-entrant; outflow: 0 to 1 (Idelchik, from memory). Radius of the round
    model: +-10 per cent, our own doubt about a square box.
    """
    model: dict[str, dict[str, Any]] = {}
    if case.model.closure == "mixing-length":
        model |= {
            "spalart-allmaras": {"model.closure": "spalart-allmaras"},
            "length-0.07": {"model.length_constant": 0.07},
            "length-0.16": {"model.length_constant": 0.16},
            "damping-4.5": {"model.damping_beta": 4.5},
        }
    elif case.model.closure == "spalart-allmaras":
        model["mixing-length"] = {"model.closure": "mixing-length"}
    if case.chamber.open_share > 0.0:
        model |= {
            "inflow-loss-0.04": {"chamber.inflow_loss": 0.04},
            "inflow-loss-1": {"chamber.inflow_loss": 1.0},
            "outflow-loss-1": {"chamber.outflow_loss": 1.0},
        }
    if case.chamber.footprint == "square":
        model |= {
            "radius-0.9": {"model.radius_factor": 0.9 * case.model.radius_factor},
            "radius-1.1": {"model.radius_factor": 1.1 * case.model.radius_factor},
        }
    return {name: vary(case, changes) for name, changes in model.items()}


def studied(m: Measures) -> dict[str, float | None]:
    """The values a study follows."""
    scalars = m.field.scalars() | {"touchdown_share": m.verdict.share_standing}
    return {name: scalars[name] for name in STUDIED}


def _word(m: Measures) -> str:
    """Touchdown of a run by itself: another study in its file may have made its verdict marginal."""
    return by_share(m.verdict.share_standing)


def _chance(m: Measures, name: str) -> float:
    if name == "touchdown_share":
        return m.verdict.chance_standing or 0.0
    found = m.over_time.get(name)
    if found is None:
        return 0.0
    # Where too little is there to tell the error of the mean, it is no less than the deviation in time.
    return (found.spread or 0.0) if found.chance is None else found.chance


def study_grids(case: Case, result: Path, watch: Watch = SILENT) -> GridStudy:
    """Solve a case, whose result is there, on two coarser grids and write the grid errors into that result.

    Parameters
    ----------
    case : Case
        The case.
    result : Path
        Its result file, solved; the coarser grids' files are written beside it.
    watch : Watch
        Told of progress.

    Raises
    ------
    InputError
        If a coarser grid is no valid case.
    ResultError
        If a run ends without an answer.
    """
    coarser = grids_of(case)
    found = [measure(result), *solve_variants(coarser, result, watch).values()]
    cells = [[c.grid.cells_r, c.grid.cells_z] for c in (case, *coarser.values())]
    sizes = [1.0 / math.sqrt(nr * nz) for nr, nz in cells]
    errors = {}
    for name in STUDIED:
        values = [studied(m)[name] for m in found]
        if None not in values:
            chance = [_chance(m, name) for m in found]
            errors[name] = grid_error([float(v) for v in values if v is not None], sizes, chance)
    touchdown = [_word(m) for m in found]
    loose = [f"{nr} x {nz}" for (nr, nz), m in zip(cells, found, strict=True) if not m.is_converged]
    study = GridStudy(cells, touchdown, errors, loose)
    annotate(result, grid_study_json=json.dumps(asdict(study)))
    return study


def study_spread(case: Case, result: Path, watch: Watch = SILENT) -> Spread:
    """Solve a case, whose result is there, with other constants and write the bands into that result.

    Parameters and errors as for `study_grids`.
    """
    found = {"as given": measure(result), **solve_variants(spread_of(case), result, watch)}
    bands = {}
    for name in STUDIED:
        values = [v for m in found.values() if (v := studied(m)[name]) is not None]
        if values:
            bands[name] = (min(values), max(values))
    loose = [name for name, m in found.items() if not m.is_converged]
    spread = Spread({name: _word(m) for name, m in found.items()}, bands, loose)
    annotate(result, spread_json=json.dumps(asdict(spread)))
    return spread
