"""`compare`: measured points beside what a result says at them. Definitions: postproc/README.md, Measured chambers."""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from swirlwright.postproc.measured.band import NONE, Band, band_of
from swirlwright.postproc.measured.file import read_measured
from swirlwright.postproc.measured.points import QUANTITIES, MeasuredData, Point, check_places
from swirlwright.postproc.measured.values import Computed, computed_at, extent_of
from swirlwright.solver.outcome import ending
from swirlwright.solver.result_reading import ResultData, load_result

# A point this many combined standard deviations off lies outside the band.
OUTSIDE = 2.0


@dataclass(frozen=True)
class Row:
    """A measured point and its computed value, SI.

    Attributes
    ----------
    point : Point
    computed : Computed
    grid, model : float
        Standard deviations of the computed value by the grid and by the model.
    """

    point: Point
    computed: Computed
    grid: float
    model: float

    @property
    def deviation(self) -> float:
        """Combined standard deviation: measurement, swing in time, grid and model, as independent."""
        return math.hypot(self.point.uncertainty, self.computed.spread, self.grid, self.model)

    @property
    def difference(self) -> float | None:
        """Computed less measured; None where nothing is computed."""
        return None if self.computed.value is None else self.computed.value - self.point.value

    @property
    def score(self) -> float | None:
        """The difference in combined standard deviations."""
        return None if self.difference is None else self.difference / self.deviation

    @property
    def is_outside(self) -> bool:
        """Whether it lies outside the band of `OUTSIDE` combined standard deviations."""
        return self.score is not None and abs(self.score) > OUTSIDE


@dataclass(frozen=True)
class Agreement:
    """How well one kind of point, or all of them, agree.

    Attributes
    ----------
    quantity : str
        "all" for all of them.
    number, outside : int
        Points compared, and how many of them lie outside the band.
    bias, scatter : float or None
        Mean and standard deviation of computed less measured, SI; of all kinds together in combined standard
        deviations. None for too few points.
    bias_error : float or None
        Standard error of the mean: scatter over the root of the number.
    chi_square : float
        Sum of the squared scores.
    p_value : float
        Chance of a larger sum if the deviations were all there is (scipy.stats.chi2); as many degrees of freedom as
        points, since nothing was fitted.
    """

    quantity: str
    number: int
    outside: int
    bias: float | None
    scatter: float | None
    bias_error: float | None
    chi_square: float
    p_value: float

    @property
    def per_degree(self) -> float:
        """chi-square per degree of freedom."""
        return self.chi_square / self.number


@dataclass(frozen=True)
class Comparison:
    """Everything `compare` tells.

    Attributes
    ----------
    data : ResultData
        The result.
    measured : MeasuredData
    rows : tuple of Row
        All points, in the order of the file.
    agreements : tuple of Agreement
        By quantity, then of all; empty where nothing could be compared.
    band : Band
    cautions : tuple of str
    """

    data: ResultData
    measured: MeasuredData
    rows: tuple[Row, ...]
    agreements: tuple[Agreement, ...]
    band: Band
    cautions: tuple[str, ...]

    @property
    def title(self) -> str:
        """The case's title."""
        return str(self.data.attributes.get("title") or self.data.path.name)

    @property
    def outcome(self) -> str:
        """How the run ended."""
        return str(self.data.attributes.get("outcome", "unknown"))

    @property
    def ending(self) -> str:
        """What that means, without the outcome's name in front."""
        return ending(self.outcome, str(self.data.attributes.get("outcome_text", "")))

    @property
    def is_converged(self) -> bool:
        """Whether the run counts as done."""
        return bool(self.data.attributes.get("converged", 0))

    def text(self) -> str:
        """A table to read."""
        from swirlwright.postproc.measured.compare_words import as_text

        return as_text(self)

    def as_json(self) -> dict[str, Any]:
        """Plain values in SI for one JSON object."""
        from swirlwright.postproc.measured.compare_words import as_json

        return as_json(self)


def compare(result: str | os.PathLike[str], measured: str | os.PathLike[str]) -> Comparison:
    """Compare a result with measured points.

    Parameters
    ----------
    result : path
        Result file.
    measured : path
        Table of measured points (CSV).

    Raises
    ------
    InputError
        If the table is wrong, or a point lies outside the chamber.
    ResultError
        If the result cannot be read or holds nothing to compare with.
    """
    table = read_measured(Path(measured))
    data = load_result(result)
    check_places(table, extent_of(data))
    computed = computed_at(data, table.points)
    band = band_of(data, table.points, computed)
    rows = tuple(
        Row(point, value, float(grid), float(model))
        for point, value, grid, model in zip(table.points, computed, band.grid, band.model, strict=True)
    )
    return Comparison(data, table, rows, tuple(_agreements(rows)), band, tuple(_cautions(data, table, rows, band)))


def _agreements(rows: Sequence[Row]) -> list[Agreement]:
    kinds = [name for name in QUANTITIES if any(row.point.quantity == name for row in rows)]
    found = [agreement(name, [row for row in rows if row.point.quantity == name]) for name in kinds]
    found.append(agreement("all", rows))
    return [each for each in found if each is not None]


def agreement(name: str, rows: Sequence[Row]) -> Agreement | None:
    """How well some points agree; None where none of them has a computed value."""
    from scipy.stats import chi2

    compared = [row for row in rows if row.score is not None]
    if not compared:
        return None
    scores = np.array([row.score for row in compared], dtype=float)
    # Values of several kinds have no common unit but their standard deviations.
    differences = scores if name == "all" else np.array([row.difference for row in compared], dtype=float)
    number = len(compared)
    scatter = float(np.std(differences, ddof=1)) if number > 1 else None
    chi_square = float(scores @ scores)
    return Agreement(
        quantity=name,
        number=number,
        outside=sum(row.is_outside for row in compared),
        bias=float(np.mean(differences)),
        scatter=scatter,
        bias_error=None if scatter is None else scatter / math.sqrt(number),
        chi_square=chi_square,
        p_value=float(chi2.sf(chi_square, number)),
    )


def _cautions(data: ResultData, table: MeasuredData, rows: Sequence[Row], band: Band) -> list[str]:
    found = []
    if table.sha256 in str(data.attributes.get("case_text", "")):
        found.append("the case was calibrated to these very data: that they agree is no test of it")
    if NONE in (band.grid_text, band.model_text):
        found.append("grid error or model spread is not in the band (solve --grid-study, --spread): it is too narrow")
    if any(row.computed.spread > 0.0 for row in rows):
        found.append("the flow is unsteady: its swing in time is in the band, as if each reading were taken at once")
    if any(row.grid > 0.0 or row.model > 0.0 for row in rows):
        found.append("errors of grid and model are common to many points, so chi-square and p are only a guide")
    return found
