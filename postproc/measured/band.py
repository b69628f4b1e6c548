"""How far computed values at measured points may be off: grid and model, from the studies that a result carries."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from swirlwright.postproc.grid_and_spread import beside
from swirlwright.postproc.measured.points import Point
from swirlwright.postproc.measured.values import Computed, computed_at
from swirlwright.postproc.uncertainty import GridStudy, Spread, grid_error, studies_in
from swirlwright.solver.errors import ResultError
from swirlwright.solver.result_reading import ResultData, load_result

# The grid's band is meant to hold 95 of 100 (Celik et al. 2008), two standard deviations.
GRID_COVERAGE = 2.0
# A value that may lie anywhere between two limits has half their distance over this as standard deviation
# (JCGM 100:2008, GUM, 4.3.7).
RECTANGLE = math.sqrt(3.0)
# Where the studies' files are gone: the measure whose band, as it stands in the result, is taken instead.
RELATED = {
    "tangential_velocity": ("max_tangential_velocity", 1.0),
    "axial_velocity": ("peak_axial_velocity", 1.0),
    "pressure": ("core_pressure_deficit", 1.0),
    "pressure_deficit": ("core_pressure_deficit", 1.0),
    "core_diameter": ("core_radius", 2.0),
}
NONE = "the result carries none"


@dataclass(frozen=True)
class Band:
    """Standard deviations of the computed values by the grid and by the model, (n,), SI; and where each is from."""

    grid: np.ndarray
    model: np.ndarray
    grid_text: str
    model_text: str


def band_of(data: ResultData, points: Sequence[Point], computed: Sequence[Computed]) -> Band:
    """The band of a result at measured points.

    Each variant of a study whose file stands beside the result is asked at the very same points. Where a file is gone,
    the band of the related measure (`RELATED`) is taken from the result itself; a kind of point without one has none.
    """
    study, spread = studies_in(data.attributes)
    grid, grid_text = np.zeros(len(points)), NONE
    if study is not None:
        names = [f"grid-{nr}x{nz}" for nr, nz in study.cells[1:]]
        grid, grid_text = _taken(
            data.path, names, points, computed, _of_three(study), lambda name: _grid_of_measure(study, name)
        )
    model, model_text = np.zeros(len(points)), NONE
    if spread is not None:
        names = [name for name in spread.touchdown if name != "as given"]
        model, model_text = _taken(
            data.path, names, points, computed, _of_range, lambda name: _range_of_measure(spread, name)
        )
    return Band(grid, model, grid_text, model_text)


def _taken(
    result: Path,
    names: Sequence[str],
    points: Sequence[Point],
    computed: Sequence[Computed],
    of_values: Callable[[list[Computed]], float],
    of_measure: Callable[[str], float | None],
) -> tuple[np.ndarray, str]:
    """A standard deviation for each point from the variants' files, else from the measures; and which."""
    try:
        variants = [computed_at(load_result(beside(result, name)), points) for name in names]
    except ResultError as error:
        found = [_related(point.quantity, of_measure) for point in points]
        text = f"of the related measures, since a file of the study cannot be read ({error})"
        return np.array(found), text
    columns = [[own, *others] for own, *others in zip(computed, *variants, strict=True)]
    # A point that some variant has no value for has no band: what is missing is said in the row, not guessed.
    found = [0.0 if any(c.value is None for c in column) else of_values(column) for column in columns]
    return np.array(found), f"at each point, from {len(names) + 1} runs"


def _related(quantity: str, of_measure: Callable[[str], float | None]) -> float:
    if quantity not in RELATED:
        return 0.0
    name, factor = RELATED[quantity]
    found = of_measure(name)
    return 0.0 if found is None else factor * found


def _of_three(study: GridStudy) -> Callable[[list[Computed]], float]:
    sizes = [1.0 / math.sqrt(nr * nz) for nr, nz in study.cells]

    def standard(column: list[Computed]) -> float:
        values = [c.value for c in column if c.value is not None]
        return grid_error(values, sizes, [c.chance for c in column]).uncertainty / GRID_COVERAGE

    return standard


def _of_range(column: list[Computed]) -> float:
    values = [c.value for c in column if c.value is not None]
    return 0.5 * (max(values) - min(values)) / RECTANGLE


def _grid_of_measure(study: GridStudy, name: str) -> float | None:
    return study.errors[name].uncertainty / GRID_COVERAGE if name in study.errors else None


def _range_of_measure(spread: Spread, name: str) -> float | None:
    if name not in spread.bands:
        return None
    low, high = spread.bands[name]
    return 0.5 * (high - low) / RECTANGLE
