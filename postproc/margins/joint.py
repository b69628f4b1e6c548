"""Joint uncertainty as values that a result file carries: probability of touchdown, and what it is sensitive to."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any

from swirlwright.postproc.margins.values import Point, Settings

if TYPE_CHECKING:
    import xarray as xr

CONFIDENCE = 0.95
# Fewest answers from which a rank correlation is told.
FEWEST = 8


@dataclass(frozen=True)
class Probability:
    """A probability with the interval of `CONFIDENCE`."""

    value: float
    low: float
    high: float

    def text(self) -> str:
        return f"{100.0 * self.value:.0f} % ({100.0 * self.low:.0f} to {100.0 * self.high:.0f} %)"


@dataclass(frozen=True)
class Input:
    """One uncertain quantity and what the share of time has to do with it.

    Attributes
    ----------
    name, words, distribution, source : str
    correlation, low, high : float or None
        Spearman's rank correlation of the share of time with it, and its interval; None where all shares are equal or
        there are too few. The intervals of all inputs hold together.
    """

    name: str
    words: str
    distribution: str
    source: str
    correlation: float | None
    low: float | None
    high: float | None

    @property
    def is_sure(self) -> bool:
        """Whether its interval leaves out zero."""
        return self.low is not None and self.high is not None and self.low * self.high > 0.0


@dataclass(frozen=True)
class Joint:
    """Touchdown where everything uncertain varies at once.

    Attributes
    ----------
    title : str
    settings : Settings
    base : Point
        The case as given.
    probability : Probability
        That a column stands at any time: yes counts 1, no 0, marginal its share of time.
    counts : dict
        Draws by their touchdown.
    inputs : tuple of Input
        By the size of their correlation, largest first.
    drawn : int
        Draws that were asked for.
    refused, failed, not_converged : int
        Of them: no valid case, no answer, not converged; the last are counted among the answers.
    rerun_cold, differ_cold : int
        Draws that were run once more from rest, and how many of them then had another share of time, beyond chance.
    seed : int
    data : xarray.Dataset or None
        All draws, as in sample.h5; None where the values were read back.
    """

    title: str
    settings: Settings
    base: Point
    probability: Probability
    counts: Mapping[str, int]
    inputs: tuple[Input, ...]
    drawn: int
    refused: int
    failed: int
    not_converged: int
    rerun_cold: int
    differ_cold: int
    seed: int
    data: xr.Dataset | None = field(default=None, compare=False, repr=False)

    @property
    def answers(self) -> int:
        """Draws with an answer."""
        return sum(self.counts.values())

    def line(self) -> str:
        """One line for the sheet of a result."""
        sure = [f"{i.words} ({i.correlation:+.2f})" for i in self.inputs if i.is_sure][:3]
        most = f" Most sensitive to {', '.join(sure)}." if sure else " No single input stands out."
        loose = f" NOT CONVERGED: {self.not_converged} of {self.answers} runs." if self.not_converged else ""
        nr, nz = self.settings.cells
        return (
            f"Joint uncertainty: touchdown has a probability of {self.probability.text()} over {self.answers} draws "
            f"({nr} x {nz} cells, {self.settings.closure}).{most}{loose}"
        )

    def text(self) -> str:
        """The table."""
        from swirlwright.postproc.margins.words import joint_text

        return joint_text(self)

    def as_json(self) -> dict[str, Any]:
        """Plain values, SI."""
        found: dict[str, Any] = json.loads(json.dumps(asdict(replace(self, data=None))))
        del found["data"]
        return found

    @classmethod
    def of_json(cls, data: Mapping[str, Any]) -> Joint:
        """Read back what `as_json` gave."""
        settings = Settings(**{**data["settings"], "cells": tuple(data["settings"]["cells"])})
        inputs = tuple(Input(**each) for each in data["inputs"])
        return cls(**{**data, "settings": settings, "base": Point(**data["base"]), "inputs": inputs,
                      "probability": Probability(**data["probability"])})  # fmt: skip


def joint_in(attributes: Mapping[str, Any]) -> Joint | None:
    """The joint uncertainty that a result file carries."""
    text = attributes.get("joint_uncertainty_json")
    return Joint.of_json(json.loads(text)) if isinstance(text, str) else None


def probability(points: Sequence[Point]) -> Probability:
    """Probability of touchdown from draws with an answer.

    Interval of Clopper and Pearson for a count of successes, that of the whole number below for its lower end and of
    that above for its upper: a share of time counts in part, and varies less than a yes or no of the same mean.

    Raises
    ------
    ValueError
        If there is no draw.
    """
    from scipy.stats import binomtest

    if not points:
        raise ValueError("no draw has an answer")
    number = len(points)
    score = sum({"yes": 1.0, "no": 0.0}.get(p.touchdown, p.share or 0.0) for p in points)
    below, above = (
        binomtest(k, number).proportion_ci(CONFIDENCE, method="exact")
        for k in (math.floor(score + 1e-9), math.ceil(score - 1e-9))
    )
    return Probability(score / number, float(below.low), float(above.high))


def rank_correlation(
    values: Sequence[float], shares: Sequence[float], tests: int
) -> tuple[float, float, float] | tuple[None, None, None]:
    """Spearman's rank correlation with its interval; None where all shares are equal or there are too few.

    The intervals of `tests` inputs hold together with CONFIDENCE (Bonferroni): among ten at 95 per cent each, one that
    has no effect would be "sure" in four samples of ten. Fisher's transform with variance 1.06/(n - 3): Fieller,
    Hartley and Pearson 1957, Biometrika 44:470, from memory.
    """
    from scipy.stats import norm, spearmanr

    n = len(values)
    if n < FEWEST or len(set(shares)) < 2 or len(set(values)) < 2:
        return None, None, None
    found = float(spearmanr(values, shares).statistic)
    centre, half = (
        math.atanh(min(max(found, -0.999), 0.999)),
        norm.ppf(1.0 - 0.5 * (1.0 - CONFIDENCE) / tests) * math.sqrt(1.06 / (n - 3)),
    )
    return found, math.tanh(centre - half), math.tanh(centre + half)
