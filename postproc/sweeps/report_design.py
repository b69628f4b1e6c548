"""Sobol indices of Saltelli's design, from which scipy takes them and their intervals without a model."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swirlwright.postproc.sweeps.report_indices import Estimate

# Where more of the variance than this is chance, what is left of a total says nothing; our own limit.
MOST_CHANCE = 0.5
# Of the bootstrap, for a standard error; common practice (Efron and Tibshirani 1993, from memory, have 200 as ample).
RESAMPLES = 200


@dataclass(frozen=True)
class Designed:
    """Indices of Saltelli's design.

    Attributes
    ----------
    first, total : tuple of Estimate
        For each parameter, as shares of the variance; what chance alone adds to a total is taken off.
    pairs : int
        Points of each of the two samples.
    chance : float or None
        Share of the variance that is chance; None where the measure has no standard error.
    """

    first: tuple[Estimate, ...]
    total: tuple[Estimate, ...]
    pairs: int
    chance: float | None = None

    @property
    def is_telling(self) -> bool:
        """Whether enough of the variance is more than chance for the indices to mean something."""
        return self.chance is None or self.chance <= MOST_CHANCE

    @property
    def text(self) -> str:
        """What they come from."""
        chance = "" if self.chance is None else f", chance {100 * min(self.chance, 1.0):.0f} %"
        return f"design of {self.pairs} pairs{chance}" if self.is_telling else f"no indices{chance} of the variance"


def by_design(y: np.ndarray, pairs: int, chance: np.ndarray | None = None) -> Designed | None:
    """Indices of Saltelli's design by `scipy.stats.sobol_indices`, with bootstrapped errors.

    Parameters
    ----------
    y : ndarray
        Of all variants, in the order of `variants.unit_sample`, (pairs (d + 2),); NaN where one has no answer.
    pairs : int
        Points of each of the two samples.
    chance : ndarray, optional
        Standard error of each by chance; NaN where it is not known. A total is the mean of (y_A - y_AB)^2 over 2 V, to
        which independent chance of variance s^2 adds s^2/V for every parameter; that is taken off. The first order is
        free of it.

    Returns
    -------
    Designed or None
        None where y does not vary, or a variant has no answer: its whole pair would have to go, and what is left is no
        longer balanced.
    """
    from scipy.stats import bootstrap, sobol_indices

    if not np.isfinite(y).all() or np.ptp(y[: 2 * pairs]) == 0:
        return None
    blocks = ((y - y.mean()) / y.std()).reshape(-1, 1, pairs)

    def orders(kept: np.ndarray) -> np.ndarray:
        a, b, mixed = blocks[0][:, kept], blocks[1][:, kept], blocks[2:][..., kept]
        found = sobol_indices(func={"f_A": a, "f_B": b, "f_AB": mixed}, n=pairs)
        return np.array([np.ravel(found.first_order), np.ravel(found.total_order)])

    noise = None
    if chance is not None and np.isfinite(chance).any():
        noise = float(np.nanmean(chance**2) / y[: 2 * pairs].var())
    whole = orders(np.arange(pairs)) - np.array([[0.0], [noise or 0.0]])
    # A fixed seed, so that the same data make the same page.
    error = bootstrap(
        (np.arange(pairs),), orders, n_resamples=RESAMPLES, vectorized=False, method="basic",
        random_state=np.random.default_rng(0),
    ).standard_error  # fmt: skip
    first, total = (
        tuple(Estimate(float(v), float(e)) for v, e in zip(*order, strict=True))
        for order in zip(whole, error, strict=True)
    )
    return Designed(first, total, pairs, noise)
