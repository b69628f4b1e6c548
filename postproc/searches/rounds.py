"""The search itself, on places of a unit box: a sample, then rounds of proposals from models of what was computed.

Nothing here knows of chambers. What is proposed follows from the answers alone, never from their order in time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from swirlwright.postproc.searches.proposals import KINDS, Models, Proposer
from swirlwright.postproc.searches.space import Place, Space
from swirlwright.solver.study_goal import Refinement

# Proposals whose errors count for how good the models are near their least value.
NEWEST = 4


@dataclass(frozen=True)
class Answer:
    """What a variant came to.

    Attributes
    ----------
    objective : float or None
        None where there is none: the variant is refused, failed, or lacks one of the numbers.
    slacks : tuple of (float or None)
        Of each limit how far it is kept, at least 0 where it is; None where that number is lacking.
    is_converged : bool
    """

    objective: float | None
    slacks: tuple[float | None, ...] = ()
    is_converged: bool = True

    @property
    def is_whole(self) -> bool:
        """Whether no number is lacking."""
        return self.objective is not None and None not in self.slacks

    @property
    def is_feasible(self) -> bool:
        """Whether every limit is kept."""
        return self.is_whole and all(slack is not None and slack >= 0 for slack in self.slacks)


@dataclass(frozen=True)
class Trial:
    """A variant that was asked for.

    Attributes
    ----------
    place : tuple of float
    round : int
        0 for the sample.
    answer : Answer
    predicted : Answer or None
        What the models said before it was run.
    is_near : bool
        Whether it was proposed as the best place rather than as one far from the others.
    """

    place: Place
    round: int
    answer: Answer
    predicted: Answer | None = None
    is_near: bool = False


# Answers of all places asked for so far, in their order; those that have been answered before cost nothing.
Evaluate: TypeAlias = Callable[[Sequence[Place]], Sequence[Answer]]


@dataclass(frozen=True)
class Exploration:
    """All trials, in the order of asking, and why there are no more."""

    trials: tuple[Trial, ...]
    end: str
    is_settled: bool = False

    def best(self, *, is_converged: bool = True) -> int | None:
        """Index of the feasible trial of least objective, among those that converged or among all."""
        found = [
            (t.answer.objective, n)
            for n, t in enumerate(self.trials)
            if t.answer.objective is not None and t.answer.is_feasible and (t.answer.is_converged or not is_converged)
        ]
        return min(found)[1] if found else None

    def reported(self) -> int | None:
        """Index of the best trial that converged; where none of those keeps every limit, of the best of all."""
        best = self.best()
        return self.best(is_converged=False) if best is None else best


def explore(
    space: Space,
    first: Sequence[Place],
    rules: Refinement,
    evaluate: Evaluate,
    *,
    seed: int = 0,
    is_buildable: Callable[[Place], bool] = lambda place: True,
    tell: Callable[[Exploration], None] = lambda so_far: None,
) -> Exploration:
    """Search for the place of least objective where every limit is kept.

    Parameters
    ----------
    space : Space
    first : sequence of places
        The sample.
    rules : Refinement
        How many rounds, how many proposals in each, how near to each other.
    evaluate : callable
        From all places so far to their answers.
    seed : int
        Of the optimiser on the models.
    is_buildable : callable
        Whether a place can be asked for at all.
    tell : callable
        Told of the state before each round.
    """
    places = list(dict.fromkeys(first))
    trials = [Trial(place, 0, answer) for place, answer in zip(places, evaluate(places), strict=True)]
    so_far = Exploration(tuple(trials), "all rounds are used up")
    settled = 0
    for number in range(1, rules.rounds + 1):
        tell(so_far)
        if not any(t.answer.is_whole for t in so_far.trials):
            return replace(so_far, end="no variant has all the numbers that objective and constraints need")
        proposer = Proposer(space, models_of(so_far), rules, seed=seed, round=number, is_buildable=is_buildable)
        settled = settled + 1 if _is_settled(so_far, proposer, rules) else 0
        if settled == _settled_rounds(rules):
            return _settled(so_far, settled)
        proposals = proposer.proposals()
        if not proposals:
            return replace(so_far, end="nothing is left to propose at this resolution")
        answers = evaluate([*(t.place for t in so_far.trials), *(p.place for p in proposals)])
        trials = [replace(t, answer=answer) for t, answer in zip(so_far.trials, answers, strict=False)]
        trials += [
            Trial(p.place, number, answer, Answer(p.objective, p.slacks), p.is_near)
            for p, answer in zip(proposals, answers[len(trials) :], strict=True)
        ]
        so_far = Exploration(tuple(trials), so_far.end)
    tell(so_far)
    return so_far


def _settled_rounds(rules: Refinement) -> int:
    """Rounds on end for which the models' least value must fall on the best variant: one, and as many more as it takes
    to run a proposal of every kind.
    """
    return 1 + math.ceil(KINDS / rules.per_round)


def _settled(so_far: Exploration, rounds: int) -> Exploration:
    """The end of a search that has settled; on a variant that is not reported it has no settled answer."""
    best = so_far.best(is_converged=False)
    if best == so_far.reported():
        end = f"the models' least value fell on the best variant {rounds} rounds on end"
        return replace(so_far, end=end, is_settled=True)
    end = f"the models' least value fell {rounds} rounds on end on variant {best}, which did not converge"
    return replace(so_far, end=end)


def models_of(so_far: Exploration) -> Models:
    """Models of objective and slacks, each through the trials that have that number."""
    rows = [(t.answer.objective, *t.answer.slacks) for t in so_far.trials]
    return Models.fitted(
        np.array([t.place for t in so_far.trials]),
        np.array([[np.nan if x is None else x for x in row] for row in rows]),
        np.array([t.answer.is_whole for t in so_far.trials]),
        prediction_errors(so_far.trials),
    )


def prediction_errors(trials: Sequence[Trial]) -> list[float | None]:
    """Root mean square of predicted less computed of the newest near proposals: of the objective, then of each slack.

    None where nothing was predicted.
    """
    newest = [t for t in trials if t.predicted is not None and t.is_near and t.answer.is_whole][-NEWEST:]
    if not newest:
        return [None] * (1 + len(trials[0].answer.slacks))
    predicted = np.array([(t.predicted.objective, *t.predicted.slacks) for t in newest if t.predicted], dtype=float)
    computed = np.array([(t.answer.objective, *t.answer.slacks) for t in newest], dtype=float)
    return [float(x) for x in np.sqrt(np.mean(np.square(predicted - computed), axis=0))]


def _is_settled(so_far: Exploration, proposer: Proposer, rules: Refinement) -> bool:
    """Whether the models' least value falls on the best trial, converged or not."""
    best = so_far.best(is_converged=False)
    if best is None:
        return False
    gap = np.abs(np.array(proposer.least()) - np.array(so_far.trials[best].place))
    return bool(np.max(gap) <= rules.resolution)
