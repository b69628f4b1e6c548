"""Constants fitted to measured points: bounded least squares, intervals, and what the data cannot tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from swirlwright.postproc.measured.fit import (
    Array,
    Constant,
    Estimate,
    Fit,
    ForwardModel,
    Held,
    Known,
    Prediction,
    Steps,
)
from swirlwright.solver.errors import SwirlwrightError

CONFIDENCE = 0.95
NORMAL = 1.959964  # standard deviations of a normal distribution that hold 95 per cent on both sides
# Below this p-value of chi-square the stated uncertainties cannot be right.
CONTRADICTED = 0.05
# A constant is left as it is where its interval would be as wide as its bounds: then the data say nothing new.
WIDEST = 1.0
# A singular value below this share of the largest is a direction the data do not see at all.
NO_SIGHT = 1e-9
# The change of the computed values over a difference must stand this far above the chance errors of both ends.
LEAST_SIGNAL = 3.0
# A constant this close to a bound, as a share of the way, stands at it.
AT_BOUND = 1e-4


class FitError(SwirlwrightError):
    """The model has no values where the fit needs them."""


def fit(
    constants: Sequence[Constant],
    model: ForwardModel,
    measured: Array,
    uncertainty: Array,
    steps: Steps,
    known: Known | None = None,
) -> Fit:
    """Fit constants to measured values within their bounds.

    Residuals are scaled by their standard deviations: the measurement's and, where the model's values are time
    averages, their chance error, as independent. `scipy.optimize.least_squares` (trust region reflective) with central
    differences of a stated width minimises their squares. The covariance of the problem linearised at the end is
    (J'J)^-1. Where the points scatter as their uncertainties say (chi-square's p-value is at least `CONTRADICTED`), an
    interval is 1.96 standard errors to both sides. Where they scatter more, the uncertainties are known to be too small
    by the scatter alone: the covariance is multiplied by chi-square per degree of freedom, and the quantile is that of
    the t-distribution for those degrees (Draper and Smith, Applied Regression Analysis, from memory). Doubt about
    constants known before is carried on to first order.

    Constants are left out, the one the data depend on least first, until the interval of each that is left is narrower
    than its bounds (`WIDEST`); the test is made again at the end.

    Parameters
    ----------
    constants : sequence of Constant
    model : ForwardModel
        Called with values of all constants, the known ones included.
    measured, uncertainty : ndarray
        Shape (n,), SI; one standard deviation.
    steps : Steps
    known : Known, optional

    Raises
    ------
    FitError
        If the model has values at none of the points, or loses some where a difference is taken.
    """
    problem = _Problem(constants, model, measured, uncertainty, steps, known or Known())
    free = list(range(len(problem.known.constants), len(problem.constants)))
    held: list[Held] = []
    shares, is_solved, is_converged = problem.start, False, True
    while free:
        seen = problem.differences(shares, free)
        width = NORMAL * (problem.scale(shares, len(free)) if is_solved else 1.0)
        lost = _undetermined(seen, width)
        if lost is None and is_solved:
            break
        if lost is None:
            shares, is_converged = problem.minimised(free)
            is_solved = True
            continue
        index = free.pop(lost)
        others = [problem.constants[k] for k in free]
        reason = _why(problem.constants[index], lost, seen, others, width)
        if width > NORMAL:
            reason += (
                f"; points that fit the model badly make it {width / NORMAL:.2g} times as wide as their uncertainties"
            )
        held.append(Held(problem.constants[index], reason))
        shares, is_solved, is_converged = problem.start, False, True
    return _found(problem, shares, free, held, is_converged)


@dataclass(frozen=True)
class _Seen:
    """How scaled residuals change with constants: slopes (n, k) a share; change and noise over a difference, (k,)."""

    slopes: Array
    signal: Array
    noise: Array

    @property
    def covariance(self) -> Array:
        """(J'J)^-1, with infinite variance of constants along directions that the data do not see, (k, k)."""
        _, sizes, directions = np.linalg.svd(self.slopes, full_matrices=True)
        k = self.slopes.shape[1]
        sizes = np.concatenate([sizes, np.zeros(k - sizes.size)])
        is_seen = sizes > NO_SIGHT * max(float(sizes[0]), 1e-300)
        kept = directions[is_seen] / sizes[is_seen, None]
        covariance = kept.T @ kept
        unseen = np.any(np.abs(directions[~is_seen]) > math.sqrt(NO_SIGHT), axis=0)
        covariance[unseen, unseen] = np.inf
        return np.asarray(covariance)


def _undetermined(seen: _Seen, width: float) -> int | None:
    """Which constant to leave out; None where the data determine all."""
    half = width * np.sqrt(np.diag(seen.covariance))
    bad = (2.0 * half >= WIDEST) | (seen.signal < LEAST_SIGNAL * seen.noise)
    if not bad.any():
        return None
    size = np.linalg.norm(seen.slopes, axis=0)
    return int(np.argmin(np.where(bad, size, np.inf)))


def _why(constant: Constant, lost: int, seen: _Seen, others: Sequence[Constant], width: float) -> str:
    """Why a constant is left as it is, in words."""
    size = float(np.linalg.norm(seen.slopes[:, lost]))
    if size <= NO_SIGHT:
        return "no measured point that was used depends on it"
    if seen.signal[lost] < LEAST_SIGNAL * seen.noise[lost]:
        return "what it changes drowns in the chance errors of the time averages"
    if 2.0 * width / size >= WIDEST or not others:
        span = "the whole range" if 2.0 * width / size > 3.0 else f"{100 * 2.0 * width / size:.0f} %"
        return f"the data depend on it too little: its interval would cover {span} of {_bounds(constant)}"
    rest = np.delete(seen.slopes, lost, axis=1)
    alike = np.abs(rest.T @ seen.slopes[:, lost]) / (np.linalg.norm(rest, axis=0) * size)
    k = int(np.argmax(alike))
    return f"the data cannot tell it from {others[k].name}, which moves the points alike (cosine {alike[k]:.3f})"


def _bounds(constant: Constant) -> str:
    return f"its bounds, {constant.low:.4g} to {constant.high:.4g}"


class _Problem:
    """The residuals as a function of the shares of all constants: first the known ones, then those to fit."""

    def __init__(
        self,
        constants: Sequence[Constant],
        model: ForwardModel,
        measured: Array,
        uncertainty: Array,
        steps: Steps,
        known: Known,
    ):
        self.constants = [*known.constants, *constants]
        self.model, self.measured, self.steps, self.known = model, measured, steps, known
        values = [*known.values, *(c.start for c in constants)]
        self.start = np.array([c.share_of(v) for c, v in zip(self.constants, values, strict=True)])
        self._made: dict[bytes, Prediction] = {}
        self.before = self.predicted(self.start)
        self.used = np.isfinite(self.before.values)
        if not self.used.any():
            raise FitError("the model has a value at none of the measured points, so nothing can be fitted")
        # Kept through the fit: weights that moved with the constants would be a criterion of their own.
        self.deviation = np.hypot(uncertainty, self.before.noise)[self.used]

    @property
    def evaluations(self) -> int:
        return len(self._made)

    def predicted(self, shares: Array) -> Prediction:
        key = np.asarray(shares, dtype=float).tobytes()
        if key not in self._made:
            pairs = zip(self.constants, shares, strict=True)
            self._made[key] = self.model({c.name: c.value_at(float(share)) for c, share in pairs})
        return self._made[key]

    def residuals(self, shares: Array) -> Array:
        return np.asarray((self.predicted(shares).values - self.measured)[self.used] / self.deviation)

    def differences(self, shares: Array, which: Sequence[int]) -> _Seen:
        """Central differences within the bounds; one-sided where the model has no value on one side."""
        slopes = np.empty((self.deviation.size, len(which)))
        signal, noise = np.empty(len(which)), np.empty(len(which))
        for column, k in enumerate(which):
            ends = []
            for step in (-self.steps.difference, self.steps.difference):
                moved = shares.copy()
                moved[k] = min(max(shares[k] + step, 0.0), 1.0)
                is_there = moved[k] != shares[k] and np.isfinite(self.residuals(moved)).all()
                ends.append(moved if is_there else shares)
            below, above = ends
            if above[k] == below[k]:
                name = self.constants[k].name
                raise FitError(f"the model loses measured points on both sides of {name} = {self._text(k, shares)}")
            change = self.residuals(above) - self.residuals(below)
            slopes[:, column] = change / (above[k] - below[k])
            chance = np.hypot(self.predicted(above).noise, self.predicted(below).noise)[self.used] / self.deviation
            signal[column], noise[column] = np.linalg.norm(change), np.linalg.norm(chance)
        return _Seen(slopes, signal, noise)

    def _text(self, k: int, shares: Array) -> str:
        return f"{self.constants[k].value_at(float(shares[k])):.4g}"

    def minimised(self, free: Sequence[int]) -> tuple[Array, bool]:
        """The shares at the least squares, and whether the search ended by itself."""
        from scipy.optimize import least_squares

        def whole(x: Array) -> Array:
            shares = self.start.copy()
            shares[list(free)] = x
            return shares

        found = least_squares(
            lambda x: self.residuals(whole(x)),
            np.clip(self.start[list(free)], AT_BOUND, 1.0 - AT_BOUND),
            jac=lambda x: self.differences(whole(x), free).slopes,
            bounds=(0.0, 1.0),
            method="trf",
            xtol=self.steps.tolerance,
            ftol=self.steps.tolerance,
            max_nfev=self.steps.most,
        )
        return whole(found.x), bool(found.status > 0)

    def scale(self, shares: Array, fitted: int) -> float:
        """Factor on the standard errors of the stated uncertainties; 1 where the points do not contradict these."""
        from scipy.stats import chi2, t

        residuals = self.residuals(shares)
        degrees = residuals.size - fitted
        chi_square = float(residuals @ residuals)
        if degrees <= 0 or chi2.sf(chi_square, degrees) >= CONTRADICTED:
            return 1.0
        return float(t.ppf(0.5 * (1.0 + CONFIDENCE), degrees)) * math.sqrt(chi_square / degrees) / NORMAL


def _found(problem: _Problem, shares: Array, free: Sequence[int], held: Sequence[Held], is_converged: bool) -> Fit:
    from scipy.stats import chi2

    residuals = problem.residuals(shares)
    chi_square, degrees = float(residuals @ residuals), residuals.size - len(free)
    scale = problem.scale(shares, len(free))
    covariance = _covariance(problem, shares, free, scale)
    count = len(problem.known.constants)
    estimates = []
    for n, k in enumerate(free, start=count):
        constant, share = problem.constants[k], float(shares[k])
        half = NORMAL * math.sqrt(covariance[n, n])
        low, high = (constant.value_at(end) for end in (share - half, share + half))
        at_bound = not AT_BOUND < share < 1.0 - AT_BOUND
        estimates.append(Estimate(constant, constant.value_at(share), low, high, at_bound))
    return Fit(
        estimates=tuple(estimates),
        held=tuple(held),
        known=problem.known,
        covariance=covariance,
        before=problem.before,
        after=problem.predicted(shares),
        used=problem.used,
        chi_square=chi_square,
        degrees=degrees,
        p_value=float(chi2.sf(chi_square, degrees)) if degrees > 0 else math.nan,
        scale=scale,
        is_converged=is_converged,
        evaluations=problem.evaluations,
    )


def _covariance(problem: _Problem, shares: Array, free: Sequence[int], scale: float) -> Array:
    """Of the known constants and then those fitted, in shares.

    What is fitted shifts by -A Jk dk where a known constant is off by dk; A = (J'J)^-1 J', J and Jk the slopes.
    """
    count = len(problem.known.constants)
    whole = np.zeros((count + len(free), count + len(free)))
    whole[:count, :count] = problem.known.covariance
    if not free:
        return whole
    slopes = problem.differences(shares, free).slopes
    own = scale**2 * np.linalg.inv(slopes.T @ slopes)
    whole[count:, count:] = own
    if count:
        shift = -np.linalg.pinv(slopes) @ problem.differences(shares, range(count)).slopes
        whole[count:, count:] += shift @ problem.known.covariance @ shift.T
        whole[count:, :count] = shift @ problem.known.covariance
        whole[:count, count:] = whole[count:, :count].T
    return whole
