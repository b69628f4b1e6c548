"""What a fit is made of: constants with bounds, the model's interface, and what was found. `measured/fitting.py` fits.

Constants are handled as shares of the way between their bounds, so that all of them are of one size.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class Constant:
    """A constant that may be fitted, and the bounds it is looked for in.

    Attributes
    ----------
    name : str
    start, low, high : float
    is_ratio : bool
        Whether equal ratios, not equal steps, count as equal on the way between the bounds.
    """

    name: str
    start: float
    low: float
    high: float
    is_ratio: bool = False

    def value_at(self, share: float) -> float:
        """Value at a share of the way from the lower bound to the upper; beyond 0 and 1 too."""
        if self.is_ratio:
            return self.low * (self.high / self.low) ** share
        return self.low + share * (self.high - self.low)

    def share_of(self, value: float) -> float:
        """The inverse of `value_at`."""
        if self.is_ratio:
            return math.log(value / self.low) / math.log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class Prediction:
    """What a model says at the measured points.

    values: (n,), SI, NaN where it has none.   noise: (n,), standard error by chance where they are time averages.
    """

    values: Array
    noise: Array


class ForwardModel(Protocol):
    """From values of the constants by name to what they make of the measured points."""

    def __call__(self, values: Mapping[str, float]) -> Prediction: ...


@dataclass(frozen=True)
class Steps:
    """How a fit moves, in shares of the way between the bounds.

    Attributes
    ----------
    difference : float
        Half width of the central differences: well above the noise of the model.
    tolerance : float
        Changes of the constants, and relative changes of chi-square, that end the fit.
    most : int
        Trial values of the constants, without those of the differences.
    """

    difference: float
    tolerance: float
    most: int


@dataclass(frozen=True)
class Known:
    """Constants determined before, with their covariance in shares, (k, k): their doubt is carried on."""

    constants: tuple[Constant, ...] = ()
    values: tuple[float, ...] = ()
    covariance: Array = field(default_factory=lambda: np.zeros((0, 0)))


@dataclass(frozen=True)
class Estimate:
    """A fitted constant: value and 95 per cent interval; whether it stands at a bound."""

    constant: Constant
    value: float
    low: float
    high: float
    is_at_bound: bool


@dataclass(frozen=True)
class Held:
    """A constant left at its value, and why."""

    constant: Constant
    reason: str


@dataclass(frozen=True)
class Fit:
    """What a fit found.

    Attributes
    ----------
    estimates, held : tuple
    known : Known
        As it was given.
    covariance : ndarray
        Of the known constants and then the estimates, in shares, (k + m, k + m): 1.96 standard errors are an interval.
    before, after : Prediction
        With the constants as they were, and as fitted.
    used : ndarray of bool
        Points with a value before; only they were fitted to.
    chi_square : float
        Sum of squared residuals over their standard deviations.
    degrees : int
        Points less constants fitted.
    p_value : float
        Chance of a larger sum; NaN without a degree of freedom.
    scale : float
        Factor on the standard errors that the stated uncertainties alone give.
    is_converged : bool
    evaluations : int
        Of the model.
    """

    estimates: tuple[Estimate, ...]
    held: tuple[Held, ...]
    known: Known
    covariance: Array
    before: Prediction
    after: Prediction
    used: Array
    chi_square: float
    degrees: int
    p_value: float
    scale: float
    is_converged: bool
    evaluations: int

    @property
    def values(self) -> dict[str, float]:
        """Every constant's value by name: known, estimated and held."""
        found = {c.name: v for c, v in zip(self.known.constants, self.known.values, strict=True)}
        found |= {held.constant.name: held.constant.start for held in self.held}
        return found | {e.constant.name: e.value for e in self.estimates}

    @property
    def as_known(self) -> Known:
        """Known constants and estimates together, for a fit that comes after this one."""
        constants = (*self.known.constants, *(e.constant for e in self.estimates))
        return Known(constants, (*self.known.values, *(e.value for e in self.estimates)), self.covariance)

    @property
    def correlation(self) -> Array:
        """Correlations of the constants of `as_known`."""
        deviation = np.sqrt(np.diag(self.covariance))
        return np.asarray(self.covariance / np.outer(deviation, deviation))
