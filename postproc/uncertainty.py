"""How far the numbers may be off: three grids, and the model's constants over their sourced ranges."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq

# The scheme's formal order: a higher one seen on three grids is chance and would flatter. Below the least there is no
# trend to rely on (Eca and Hoekstra 2014, from memory).
FORMAL_ORDER, LEAST_ORDER = 2.0, 0.5
# Safety factors: on a regular trend (Celik et al. 2008, J. Fluids Eng. 130:078001), and on none (Eca and Hoekstra
# 2014, J. Comput. Phys. 262:104, from memory).
SAFETY, SAFETY_WITHOUT_TREND = 1.25, 3.0
# Parts of an averaging window whose means are compared.
BLOCKS = 6
TREND, CHANCE, NO_TREND = "regular", "within chance", "no regular trend"


@dataclass(frozen=True)
class GridError:
    """One measure on three grids.

    Attributes
    ----------
    values : list of float
        Fine to coarse.
    order : float or None
        Observed order; None where the three values have no regular trend.
    uncertainty : float
        Half width of the band about the finest value, about 95 per cent.
    kind : str
        "regular": grid convergence index. "within chance": the grids differ by no more than the chance errors of the
        time averages. "no regular trend": three times the range over the change of the spacing.
    """

    values: list[float]
    order: float | None
    uncertainty: float
    kind: str


@dataclass(frozen=True)
class GridStudy:
    """The grids (cells along r and z, fine to coarse), the touchdown on each, the error by measure, and the grids whose
    run did not converge.
    """

    cells: list[list[int]]
    touchdown: list[str]
    errors: dict[str, GridError]
    not_converged: list[str]


@dataclass(frozen=True)
class Spread:
    """Touchdown by variant, by measure the smallest and largest value over all, and variants that did not converge."""

    touchdown: dict[str, str]
    bands: dict[str, tuple[float, float]]
    not_converged: list[str]


def chance_error(values: np.ndarray, looks: float | None) -> float | None:
    """Standard error by chance of a mean over time.

    Parameters
    ----------
    values : ndarray, (n,)
        At equal intervals over the window; NaN where the measure does not exist, and the mean is over the others.
    looks : float or None
        Instants of the window that count as independent, by the air that the exhaust changes (`Chamber.looks`). None
        without an exhaust.

    Returns
    -------
    float or None
        None if the series is too short, or fewer than half of its parts hold a value.

    Notes
    -----
    The larger of what the means of `BLOCKS` equal parts give and of the deviation over the square root of the looks.
    Twelve runs of the shipped table-top chamber that differ by 0.02 degrees in the aim of their jets, and twelve with
    higher jets, scatter by up to twice the first (postproc/README.md, *How sure the numbers are*). A mean over part of
    the time is a ratio of two sums, whose error is that of its linear form (ratio estimator: Cochran 1977, Sampling
    Techniques, chapter 6, from memory).
    """
    exists = np.isfinite(values)
    parts = np.array_split(exists, BLOCKS)
    if values.size < 2 * BLOCKS or 2 * sum(bool(part.any()) for part in parts) < BLOCKS:
        return None
    off = np.where(exists, values - values[exists].mean(), 0.0) / exists.mean()
    means = [float(np.mean(part)) for part in np.array_split(off, BLOCKS)]
    by_parts = float(np.std(means, ddof=1)) / math.sqrt(BLOCKS)
    if looks is None:
        return by_parts
    return max(by_parts, float(np.std(values[exists])) / math.sqrt(max(1.0, looks * float(exists.mean()))))


def share_error(is_there: np.ndarray, looks: float | None) -> float | None:
    """Standard error by chance of a share of time, (n,) bool; with looks never 0. As `chance_error`.

    The looks leave the standard deviation of Jeffreys' prior after them (Brown, Cai and DasGupta 2001, Statist. Sci.
    16:101), so that a column that was never or always seen is not exactly so.
    """
    by_parts = chance_error(is_there.astype(float), None)
    if looks is None:
        return by_parts
    share = (looks * float(np.mean(is_there)) + 0.5) / (looks + 1.0)
    return max(by_parts or 0.0, math.sqrt(share * (1.0 - share) / (looks + 2.0)))


def grid_error(values: Sequence[float], sizes: Sequence[float], chance: Sequence[float]) -> GridError:
    """Observed order and uncertainty of a value on three grids, fine to coarse.

    Parameters
    ----------
    values : sequence of float
        The value on each grid.
    sizes : sequence of float
        Representative cell sizes, rising.
    chance : sequence of float
        Standard error of each value; 0 where it is no average over a chaotic flow.

    Notes
    -----
    Celik, Ghia, Roache, Freitas, Coleman and Raad 2008, J. Fluids Eng. 130:078001, equations 3 to 7; the same
    procedure is that of ASME V&V 20.
    """
    fine, middle, coarse = values
    span = max(values) - min(values)
    noise = 2.0 * max(math.hypot(one, other) for one, other in ((chance[0], chance[1]), (chance[1], chance[2])))
    if span <= noise:
        return GridError(list(values), None, max(span, noise), CHANCE)
    e21, e32 = middle - fine, coarse - middle
    r21, r32 = sizes[1] / sizes[0], sizes[2] / sizes[1]
    order = None
    if e21 * e32 > 0.0:
        order = _observed_order(e32 / e21, r21, r32)
    if order is not None and order >= LEAST_ORDER:
        used = min(order, FORMAL_ORDER)
        return GridError(list(values), order, SAFETY * abs(e21) / (r21**used - 1.0), TREND)
    return GridError(list(values), order, SAFETY_WITHOUT_TREND * span / (sizes[2] / sizes[0] - 1.0), NO_TREND)


def _observed_order(ratio: float, r21: float, r32: float) -> float | None:
    """p with (coarse - middle)/(middle - fine) = r21^p (r32^p - 1)/(r21^p - 1); None outside 0.01 to 20."""

    def excess(p: float) -> float:
        return math.log(r21**p * (r32**p - 1.0) / (r21**p - 1.0)) - math.log(ratio)

    low, high = 0.01, 20.0
    if excess(low) * excess(high) > 0.0:
        return None
    return float(brentq(excess, low, high))


def studies_in(attributes: Mapping[str, Any]) -> tuple[GridStudy | None, Spread | None]:
    """The studies that a result file carries."""
    grid, spread = (attributes.get(name) for name in ("grid_study_json", "spread_json"))
    study = None
    if isinstance(grid, str):
        kept = json.loads(grid)
        errors = {name: GridError(**error) for name, error in kept["errors"].items()}
        study = GridStudy(kept["cells"], kept["touchdown"], errors, kept["not_converged"])
    if not isinstance(spread, str):
        return study, None
    kept = json.loads(spread)
    bands = {name: (low, high) for name, (low, high) in kept["bands"].items()}
    return study, Spread(kept["touchdown"], bands, kept["not_converged"])
