"""What a check is: a number computed here beside one from outside, with the reason for its tolerance."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from swirlwright.solver.grid import Array

Kind = Literal["analytic", "published", "reference library", "common practice", "from memory"]


@dataclass(frozen=True)
class Check:
    """One number beside the outside's.

    Attributes
    ----------
    quantity : str
        What it is, with its unit unless it has none.
    computed, expected, tolerance : float
        Passed where computed is within tolerance of expected; a band is given by its middle and half its width.
    source : str
        Author, title or journal, year, table or figure.
    kind : str
        How far the source can be trusted: see `Kind`.
    why : str
        Why this tolerance.
    note : str
        For a check that fails: the best explanation.
    """

    quantity: str
    computed: float
    expected: float
    tolerance: float
    source: str
    kind: Kind
    why: str
    note: str = ""

    @property
    def passed(self) -> bool:
        """Whether the computed value lies within the tolerance; one that is not finite does not."""
        return math.isfinite(self.computed) and bool(abs(self.computed - self.expected) <= self.tolerance)


@dataclass(frozen=True)
class Series:
    """One curve (computed) or set of points (from outside) of a figure."""

    label: str
    x: Array
    y: Array


@dataclass(frozen=True)
class Picture:
    """Computed curves with the outside's points; labels carry units."""

    x_label: str
    y_label: str
    curves: tuple[Series, ...]
    points: tuple[Series, ...] = ()


@dataclass(frozen=True)
class Findings:
    """What one configuration yields: at most four checks, and a figure."""

    checks: tuple[Check, ...]
    picture: Picture


@dataclass(frozen=True)
class Configuration:
    """One flow, network or formula to be computed.

    Attributes
    ----------
    name, group, title : str
        `name` and `group` select it on the command line; the title is a line for the reader.
    run : callable
        Computes it; takes no argument and changes nothing.
    seconds : float
        About how long that takes on one core, for the time left and for --quick [s].
    """

    name: str
    group: str
    title: str
    run: Callable[[], Findings]
    seconds: float


def within(
    quantity: str, computed: float, expected: float, *, rel: float, source: str, kind: Kind, why: str, note: str = ""
) -> Check:
    """A check whose tolerance is a share of the expected value."""
    return Check(quantity, float(computed), float(expected), abs(rel * expected), source, kind, why, note)


def band(quantity: str, computed: float, low: float, high: float, *, source: str, kind: Kind, why: str) -> Check:
    """A check against a band from `low` to `high`."""
    return Check(quantity, float(computed), 0.5 * (low + high), 0.5 * (high - low), source, kind, why)
