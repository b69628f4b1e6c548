"""What a sample's measures hang on: main effects and Sobol indices of given data, with their errors.

The variants of most samples are ordinary random points, no design made for Sobol indices, so these are estimated from
what is there, in two ways that share no assumption:

- by bins, no model: the first-order index is the correlation ratio, the share of the variance that lies between the
  bins of one parameter, freed of the bias that chance gives it (epsilon squared: Kelley, An unbiased correlation ratio
  measure, 1935). With K bins of a linear effect it misses 1/K^2 of it.
- by a surrogate: a polynomial fitted to the variants by least squares in orthonormal functions of the parameters, whose
  squared coefficients are the indices (Sudret, Global sensitivity analysis using polynomial chaos expansions, 2008).
  Its degree is the one that predicts left-out variants best.

Both with standard errors by the jackknife, leaving out one variant at a time (Efron and Stein, The jackknife estimate
of variance, 1981). Sources from memory.

A study that asks for it has Saltelli's design: report_design.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

DEGREES = (1, 2, 3)
# Variants for each coefficient of the surrogate; common practice (Hosder et al. 2007, from memory).
VARIANTS_A_TERM = 2
MOST_TERMS = 300
# Variants in a bin, and bins of a range; common practice, no source.
VARIANTS_A_BIN, MOST_BINS, FEWEST_BINS = 8, 10, 3
# A surrogate that predicts less of the variance than this has nothing to say of indices; our own limit.
EXPLAINS_ENOUGH = 0.5


@dataclass(frozen=True)
class Input:
    """A parameter of a sample.

    Attributes
    ----------
    name : str
    place : ndarray
        Of each variant in the parameter's range, 0 to 1, (n,); of listed values the number of the value.
    levels : int
        How many values are listed, each equally likely; 0 for a range.
    is_ordered : bool
        Whether the values have an order: texts have none.
    """

    name: str
    place: np.ndarray
    levels: int = 0
    is_ordered: bool = True

    def kept(self, variants: np.ndarray) -> Input:
        """The same for some of the variants."""
        return Input(self.name, self.place[variants], self.levels, self.is_ordered)


@dataclass(frozen=True)
class Estimate:
    """A number and its standard error."""

    value: float
    error: float


@dataclass(frozen=True)
class Surrogate:
    """Indices of a polynomial fitted to the variants.

    Attributes
    ----------
    first, total : tuple of Estimate
        For each parameter: alone, and with all it does together with others; shares of the whole variance, so that
        what the polynomial does not follow is no parameter's.
    degree : int
        Of the polynomial.
    explained : float
        Share of the variance it predicts of variants left out; 1 is perfect.
    """

    first: tuple[Estimate, ...]
    total: tuple[Estimate, ...]
    degree: int
    explained: float

    @property
    def is_telling(self) -> bool:
        """Whether it predicts enough for its indices to mean something."""
        return self.explained >= EXPLAINS_ENOUGH

    @property
    def text(self) -> str:
        """What it is worth."""
        if not self.is_telling:
            return f"no surrogate: the best predicts {100 * max(self.explained, 0):.0f} %"
        return f"surrogate of degree {self.degree} predicts {100 * self.explained:.0f} %"


@dataclass(frozen=True)
class Effect:
    """Mean of a measure in the bins of one parameter, each (k,).

    Attributes
    ----------
    place : ndarray
        Mean place of the bin's variants on the parameter's axis.
    mean : ndarray
    reach : ndarray
        Half of its 95 per cent interval, by Student's t for the few variants of a bin; NaN for one variant.
    """

    place: np.ndarray
    mean: np.ndarray
    reach: np.ndarray


def bins(given: Input) -> tuple[np.ndarray, int]:
    """The bin of each variant, and how many there are: listed values, or equal parts of the range."""
    if given.levels:
        return given.place.astype(int), given.levels
    number = max(FEWEST_BINS, min(MOST_BINS, given.place.size // VARIANTS_A_BIN))
    return np.minimum((given.place * number).astype(int), number - 1), number


def main_effect(given: Input, x: np.ndarray, y: np.ndarray) -> Effect:
    """Mean of y in each bin of a parameter, the others as they come; x: where the variants stand on its axis, (n,)."""
    from scipy.stats import t

    which, number = bins(given)
    filled = [k for k in range(number) if np.any(which == k)]
    parts = [y[which == k] for k in filled]
    reach = [
        t.ppf(0.975, part.size - 1) * part.std(ddof=1) / np.sqrt(part.size) if part.size > 1 else np.nan
        for part in parts
    ]
    return Effect(
        np.array([x[which == k].mean() for k in filled]), np.array([part.mean() for part in parts]), np.array(reach)
    )


def first_by_bins(given: Input, y: np.ndarray) -> Estimate | None:
    """First-order index by bins; None where y or the parameter does not vary, or the variants are too few."""
    which, number = bins(given)
    count = np.bincount(which, minlength=number).astype(float)
    n, filled = y.size, int((count > 0).sum())
    if filled < 2 or n < 2 * filled or np.ptp(y) == 0:
        return None
    y = (y - y.mean()) / y.std()
    sums, squares = np.bincount(which, y, number), np.bincount(which, y * y, number)

    def share(n: float, bins: np.ndarray, within: np.ndarray, total: np.ndarray) -> np.ndarray:
        return 1.0 - (n - 1) / (n - bins) * within / total

    within = squares - np.divide(sums**2, count, out=np.zeros(number), where=count > 0)
    value = share(n, np.array(filled), np.array(within.sum()), np.array(float(n)))
    # Each variant left out in turn, from the sums.
    left = count[which] - 1
    of_bin = np.divide((sums[which] - y) ** 2, left, out=np.zeros(n), where=left > 0)
    without = within.sum() - within[which] + squares[which] - y * y - of_bin
    leaving = share(n - 1.0, filled - (left == 0), without, n - y * y - y * y / (n - 1))
    # Without any effect the variance between the bins over all has a beta distribution, whose deviation this is. Near
    # there the jackknife sees too little, since the estimate is flat in its parts.
    by_chance = np.sqrt(2.0 * (filled - 1) * (n - filled) / ((n - 1.0) ** 2 * (n + 1.0))) * (n - 1) / (n - filled)
    return Estimate(float(value), max(_jackknife(leaving), float(by_chance)))


def surrogate(inputs: Sequence[Input], y: np.ndarray) -> Surrogate | None:
    """Fit polynomials of rising degree and take the indices of the best; None where there are too few variants."""
    if y.size < 2 or np.ptp(y) == 0:
        return None
    y = (y - y.mean()) / y.std()
    fits = [fit for degree in DEGREES if (fit := _fit(inputs, y, degree)) is not None]
    return max(fits, key=lambda fit: fit.explained, default=None)


def _fit(inputs: Sequence[Input], y: np.ndarray, degree: int) -> Surrogate | None:
    terms = list(_terms(inputs, degree, 0))
    n, size = y.size, len(terms) + 1
    if n < VARIANTS_A_TERM * size or size > MOST_TERMS:
        return None
    functions = [_functions(given, degree) for given in inputs]
    x = np.ones((n, size))
    for column, term in enumerate(terms, start=1):
        for parameter, which in term:
            x[:, column] *= functions[parameter][which]
    if np.linalg.matrix_rank(x) < size:
        return None
    inverse = np.linalg.inv(x.T @ x)
    weights = inverse @ x.T
    coefficients = weights @ y
    rest, lever = y - x @ coefficients, np.einsum("ij,ji->i", x, weights)
    if lever.max() > 1 - 1e-9:
        return None
    press = rest / (1.0 - lever)
    total = np.sum((y - y.mean()) ** 2)

    # Squares freed of the share that noise adds: the mean of a squared estimate is the square and its variance.
    variance = rest @ rest / (n - size)
    squared = coefficients**2 - variance * np.diag(inverse)
    # Each variant left out in turn, by the formula of a rank-one change.
    leaving = coefficients[:, None] - weights * press
    noise = (rest @ rest - rest * press) / (n - 1 - size)
    leaving = leaving**2 - noise * (np.diag(inverse)[:, None] + weights**2 / (1.0 - lever))

    of_term = [{parameter for parameter, _ in term} for term in terms]
    first = [[k for k, of in enumerate(of_term, start=1) if of == {p}] for p in range(len(inputs))]
    all_of = [[k for k, of in enumerate(of_term, start=1) if p in of] for p in range(len(inputs))]

    # What the polynomial does not follow, and chance, belong to the whole as well.
    whole, wholes = squared[1:].sum() + variance, leaving[1:].sum(axis=0) + noise

    def estimates(groups: list[list[int]]) -> tuple[Estimate, ...]:
        return tuple(
            Estimate(float(squared[g].sum() / whole), _jackknife(leaving[g].sum(axis=0) / wholes)) for g in groups
        )

    if squared[1:].sum() <= 0:
        return None
    return Surrogate(estimates(first), estimates(all_of), degree, float(1.0 - press @ press / total))


def _terms(inputs: Sequence[Input], degree: int, start: int) -> Iterator[tuple[tuple[int, int], ...]]:
    """Products of functions of different parameters, (parameter, function) each, up to a degree in all."""
    for parameter in range(start, len(inputs)):
        given = inputs[parameter]
        number = _number(given, degree)
        for which in range(number):
            cost = which + 1 if given.is_ordered else 1
            if cost <= degree:
                yield ((parameter, which),)
                for more in _terms(inputs, degree - cost, parameter + 1):
                    yield ((parameter, which), *more)


def _number(given: Input, degree: int) -> int:
    """How many functions of a parameter there are up to a degree, the constant left out."""
    if not given.levels:
        return degree
    return min(degree, given.levels - 1) if given.is_ordered else given.levels - 1


def _functions(given: Input, degree: int) -> list[np.ndarray]:
    """Functions of a parameter at the variants, orthonormal over its range or its listed values, each (n,)."""
    from scipy.special import eval_legendre

    number = _number(given, degree)
    if not given.levels:
        return [np.sqrt(2 * k + 1) * eval_legendre(k, 2 * given.place - 1) for k in range(1, number + 1)]
    powers = np.vander(np.linspace(-1.0, 1.0, given.levels), number + 1, increasing=True)
    orthonormal = np.sqrt(given.levels) * np.linalg.qr(powers)[0]
    return list(orthonormal[given.place.astype(int), 1:].T)


def _jackknife(leaving: np.ndarray) -> float:
    """Standard error from the estimates that leave out one variant each."""
    n = leaving.size
    return float(np.sqrt((n - 1) / n * np.sum((leaving - leaving.mean()) ** 2)))
