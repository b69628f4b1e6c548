"""How well a search resolves its optimum: what the errors of limits and objective leave open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from swirlwright.postproc.searches.answer import Resolution
from swirlwright.postproc.searches.goal import Goal, chance_of
from swirlwright.postproc.searches.proposals import Models, Proposer
from swirlwright.postproc.searches.rounds import Exploration, models_of
from swirlwright.postproc.searches.space import Space
from swirlwright.postproc.sweeps.store import Run
from swirlwright.solver.study_file import Study

# A limit counts as kept by one error if it lacks no more than this share of its range: places are rounded.
ROUNDING = 1e-3


@dataclass(frozen=True)
class Errors:
    """The errors about the best variant.

    Attributes
    ----------
    models : Models
        Through all variants.
    limits : tuple of float
        One error of each limit.
    smoothed : tuple of float
        Slacks of the models at the best variant.
    """

    models: Models
    limits: tuple[float, ...]
    smoothed: tuple[float, ...]


def errors_at(goal: Goal, runs: Sequence[Run], found: Exploration, best: int) -> Errors:
    """The errors about the best variant, which has every number."""
    models = models_of(found)
    slacks = models.predict(np.array([found.trials[best].place]))[0, 1:]
    return Errors(
        models,
        _limit_errors(goal, runs[best], models),
        tuple(float(x) for x in slacks),
    )


def _limit_errors(goal: Goal, run: Run, models: Models) -> tuple[float, ...]:
    """For each limit the larger of the model's error and the number's standard error."""
    chances = [chance_of(limit.of, run.record.numbers) or 0.0 for limit in goal.limits]
    return tuple(max(pair) for pair in zip(models.doubts[1:], chances, strict=True))


def resolution_of(
    study: Study, goal: Goal, space: Space, runs: Sequence[Run], found: Exploration, best: int, errors: Errors
) -> tuple[Resolution, list[int]]:
    """What the least objective is known to, and the variants that may be as good as the best, which comes first."""
    least = found.trials[best].answer.objective
    assert least is not None and study.sample is not None
    proposer = Proposer(space, errors.models, study.refinement, study.sample.seed, 1 + study.refinement.rounds)
    of_limits = cost_of_limits(proposer, errors)
    chance, model_error = goal.chance(runs[best].record), errors.models.doubts[0]
    within = None if of_limits is None else max(of_limits, model_error, chance or 0.0)
    others = sorted((x - least, k) for k, x in _rivals(found, best))
    following = others[0] if others else (None, None)
    alike = _alike(goal, runs, found, best, errors.models, least + (math.inf if within is None else within))
    return Resolution(within, of_limits, model_error, chance, following[1], following[0], len(alike)), alike


def cost_of_limits(proposer: Proposer, errors: Errors) -> float | None:
    """How much more the models' least objective is with every limit kept by one error; None where no place does."""
    if not errors.limits:
        return 0.0
    places = np.array([proposer.least(), proposer.least(errors.limits)])
    (kept, *_), (clear, *slacks) = errors.models.predict(places)
    lacking = (np.array(errors.limits) - slacks) / errors.models.scales[1:]
    return None if np.max(lacking) > ROUNDING else max(float(clear - kept), 0.0)


def _rivals(found: Exploration, best: int) -> list[tuple[int, float]]:
    """Other feasible trials with their objective: those that converged, unless the best itself did not."""
    only = found.trials[best].answer.is_converged
    return [
        (k, t.answer.objective)
        for k, t in enumerate(found.trials)
        if k != best and t.answer.is_feasible and t.answer.objective is not None and (t.answer.is_converged or not only)
    ]


def _alike(goal: Goal, runs: Sequence[Run], found: Exploration, best: int, models: Models, most: float) -> list[int]:
    """Variants that break no limit by more than one error, with an objective of at most `most`; the best first."""
    alike = [best]
    for k, (trial, run) in enumerate(zip(found.trials, runs, strict=True)):
        objective, slacks = trial.answer.objective, trial.answer.slacks
        if k == best or objective is None or objective > most:
            continue
        errors = _limit_errors(goal, run, models)
        if all(slack is not None and slack >= -error for slack, error in zip(slacks, errors, strict=True)):
            alike.append(k)
    return alike
