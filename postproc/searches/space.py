"""The box a search moves in: a place is a share, 0 to 1, of each parameter's range; whole numbers have steps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from swirlwright.solver.study_file import Parameter, Study
from swirlwright.solver.study_levels import between

# A share for each parameter.
Place: TypeAlias = tuple[float, ...]
# Digits of a share: finer than a workshop can set, and coarse enough that round-off in the models has no effect.
DIGITS = 4
# More steps than this are as good as none.
MOST_STEPS = 2000


@dataclass(frozen=True)
class Axis:
    """One parameter.

    Attributes
    ----------
    name : str
    steps : tuple of float
        The shares of its whole numbers, rising; empty where it is continuous.
    """

    name: str
    steps: tuple[float, ...] = ()

    @property
    def is_whole(self) -> bool:
        """Whether it takes whole numbers only."""
        return bool(self.steps)

    @property
    def upper(self) -> float:
        """Upper end of its coordinate: the last step's number, or 1."""
        return float(len(self.steps) - 1) if self.is_whole else 1.0

    def shares(self, coordinates: np.ndarray) -> np.ndarray:
        """Shares at coordinates from 0 to `upper`."""
        if not self.is_whole:
            return np.round(coordinates, DIGITS)
        return np.array(self.steps)[np.clip(np.rint(coordinates), 0, self.upper).astype(int)]

    def coordinates(self, shares: np.ndarray) -> np.ndarray:
        """Coordinates of shares: of whole numbers that of the nearest step, the lower of two."""
        if not self.is_whole:
            return np.asarray(shares, dtype=float)
        return np.argmin(np.abs(np.asarray(shares)[..., None] - np.array(self.steps)), axis=-1).astype(float)


@dataclass(frozen=True)
class Space:
    """All parameters."""

    axes: tuple[Axis, ...]

    def snapped(self, shares: np.ndarray) -> list[Place]:
        """Places nearest to rows of shares, (n, parameters)."""
        columns = [axis.shares(axis.coordinates(column)) for axis, column in zip(self.axes, shares.T, strict=True)]
        return [tuple(float(x) for x in row) for row in np.stack(columns, axis=1)]

    def at(self, coordinates: np.ndarray) -> np.ndarray:
        """Shares, (n, parameters), at columns of coordinates, (parameters, n)."""
        return np.stack([axis.shares(row) for axis, row in zip(self.axes, coordinates, strict=True)], axis=1)


def space_of(study: Study) -> Space:
    """The box of a study whose parameters all have ranges."""
    return Space(tuple(_axis(p, levels) for p, levels in zip(study.parameters, study.levels, strict=True)))


def point_at(study: Study, place: Place) -> list[tuple[Any, ...]]:
    """For each parameter the values of its keys at a place, SI, as `variants.case_of` takes them."""
    return [
        between(levels, share, p.spacing)
        for p, levels, share in zip(study.parameters, study.levels, place, strict=True)
    ]


def _axis(parameter: Parameter, levels: Sequence[tuple[Any, ...]]) -> Axis:
    """Steps are those of the first key that takes whole numbers, so that linked keys keep their relation."""
    for low, high in zip(*levels, strict=True):
        if isinstance(low, int) and isinstance(high, int) and 0 < abs(high - low) <= MOST_STEPS:
            numbers = np.arange(abs(high - low) + 1) * math.copysign(1, high - low) + low
            if parameter.spacing == "log":
                shares = np.log(numbers / low) / math.log(high / low)
            else:
                shares = (numbers - low) / (high - low)
            return Axis(parameter.name, tuple(float(x) for x in shares))
    return Axis(parameter.name)
