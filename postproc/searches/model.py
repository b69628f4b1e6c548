"""What a search believes about variants it has not run: a smooth surface through, or near, those it has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from scipy.interpolate import RBFInterpolator

# How far the surface may leave the computed values, 0 through them; the one of least leave-one-out error is taken.
SMOOTHINGS = (0.0, 1e-4, 1e-3, 1e-2, 1e-1, 1.0)


@dataclass(frozen=True)
class Surface:
    """Cubic radial basis functions with a linear tail (Powell 1992; Regis and Shoemaker 2005, J. Glob. Optim. 31:153).

    Attributes
    ----------
    predict : callable
        From places, (n, parameters), to values, (n,).
    error : float
        Root mean square of the errors where one value at a time is left out.
    smoothing : float
        Of `SMOOTHINGS`.
    """

    predict: Callable[[np.ndarray], np.ndarray]
    error: float
    smoothing: float


def surface(places: np.ndarray, values: np.ndarray) -> Surface:
    """Fit a surface.

    Parameters
    ----------
    places : ndarray
        (n, parameters), no two alike, n at least 1.
    values : ndarray
        (n,)
    """
    if len(values) < 3 or np.ptp(values) == 0.0:
        mean = float(np.mean(values))
        return Surface(lambda points: np.full(len(points), mean), float(np.std(values)), 0.0)
    errors = {smoothing: _left_out(places, values, smoothing) for smoothing in SMOOTHINGS}
    best = min(errors, key=lambda smoothing: (errors[smoothing], smoothing))
    return Surface(_fit(places, values, best), errors[best], best)


def _left_out(places: np.ndarray, values: np.ndarray, smoothing: float) -> float:
    """Root mean square of the errors where one value at a time is left out."""
    others = ~np.eye(len(values), dtype=bool)
    missed = [
        _fit(places[rest], values[rest], smoothing)(places[n : n + 1])[0] - values[n] for n, rest in enumerate(others)
    ]
    return float(np.sqrt(np.mean(np.square(missed))))


def _fit(places: np.ndarray, values: np.ndarray, smoothing: float) -> RBFInterpolator:
    """A linear tail needs places that span the box; with fewer, cones without one."""
    from scipy.interpolate import RBFInterpolator

    spans = np.linalg.matrix_rank(places - places.mean(axis=0), tol=1e-6) == places.shape[1]
    if spans and len(values) > places.shape[1]:
        return RBFInterpolator(places, values, kernel="cubic", degree=1, smoothing=smoothing)
    return RBFInterpolator(places, values, kernel="linear", degree=0, smoothing=smoothing)
