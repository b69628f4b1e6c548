"""Bracketing one end of a margin: outward along a ladder of factors, then halving where the verdict changes."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

# Factors tried outward from the case. The first is the move that makes a verdict marginal if it suffices (design).
SUFFICES = 0.15
RUNGS_UP = (1.0 + SUFFICES, 1.4, 2.0, 4.0, 8.0, 16.0)
RUNGS_DOWN = (1.0 - SUFFICES, 0.7, 0.5)
# A bound nearer than this to the case leaves nothing to try.
NEAR = 0.01


@dataclass(frozen=True)
class Bracket:
    """Where one end stands.

    Attributes
    ----------
    inner : float
        Furthest factor that is known to keep the verdict, next to the change.
    outer : float or None
        Nearest factor with another verdict, or the rung without an answer; None where none is known.
    following : float or None
        Factor to try next; None when done.
    """

    inner: float
    outer: float | None
    following: float | None


def ladder(bound: float) -> tuple[float, ...]:
    """Factors from the case out to a bound: above 1 upward, below 1 downward; none where the bound is too near."""
    if abs(bound - 1.0) < NEAR:
        return ()
    inside = [f for f in (RUNGS_UP if bound > 1.0 else RUNGS_DOWN) if abs(math.log(f)) < abs(math.log(bound)) - NEAR]
    return (*inside, bound)


def bracket(
    seen: Mapping[float, str | None],
    verdict: str,
    bound: float,
    resolution: float,
    differ: Callable[[float, float], bool],
    is_sure: Callable[[float], bool],
) -> Bracket:
    """Where an end stands after some factors have been tried.

    Parameters
    ----------
    seen : mapping
        From factor to verdict; None where there was no answer.
    verdict : str
        That of the case.
    bound : float
        Last factor of the ladder.
    resolution : float
        Halving ends when outer over inner, the larger over the smaller, is at most 1 plus this.
    differ : callable
        Whether the runs at two factors differ by more than chance: halving between two that do not would follow noise.
    is_sure : callable
        Whether the other verdict at a factor is more than chance. One that is not does not end the ladder; it is where
        the end stands only if nothing further out is sure.
    """
    inner, doubtful = 1.0, None
    for rung in ladder(bound):
        if rung not in seen:
            return Bracket(inner, None, rung)
        if seen[rung] == verdict:
            inner, doubtful = rung, None
        elif seen[rung] is None:
            return Bracket(inner, doubtful or rung, None)
        elif is_sure(rung):
            return _halved(seen, verdict, inner, rung, resolution, differ, is_sure)
        else:
            doubtful = doubtful or rung
    return Bracket(inner, doubtful, None)


def _halved(
    seen: Mapping[float, str | None],
    verdict: str,
    inner: float,
    outer: float,
    resolution: float,
    differ: Callable[[float, float], bool],
    is_sure: Callable[[float], bool],
) -> Bracket:
    """The bracket after halving, on a logarithmic scale, as far as the verdicts are known."""
    while abs(math.log(outer / inner)) > math.log1p(resolution) and differ(inner, outer):
        middle = float(f"{math.sqrt(inner * outer):.6g}")
        if middle not in seen:
            return Bracket(inner, outer, middle)
        if seen[middle] == verdict:
            inner = middle
        elif seen[middle] is not None and is_sure(middle):
            outer = middle
        else:
            break  # what is known beyond it stays known
    return Bracket(inner, outer, None)
