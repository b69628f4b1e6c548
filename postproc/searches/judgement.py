"""From all variants of a search to its answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from swirlwright.postproc.searches.answer import Best, FoundLimit, FoundParameter, Resolution, Search
from swirlwright.postproc.searches.goal import Goal, chance_of, units_of
from swirlwright.postproc.searches.rounds import Exploration, prediction_errors
from swirlwright.postproc.searches.space import Space
from swirlwright.postproc.sweeps.store import Run
from swirlwright.solver.study_file import Study
from swirlwright.solver.variants import Variant

if TYPE_CHECKING:
    import xarray as xr


def judged(
    study: Study,
    goal: Goal,
    space: Space,
    variants: Sequence[Variant],
    runs: Sequence[Run],
    found: Exploration,
    data: xr.Dataset,
) -> Search:
    """The answer that follows from all variants of a search.

    A variant that did not converge is the best only where none that converged keeps every limit.
    """
    n = found.best()
    n = found.best(is_converged=False) if n is None else n
    errors = prediction_errors(found.trials)
    best = resolution = None
    if n is not None:
        resolution = _resolution(goal, runs, found, n, errors[0])
        parameters = _parameters(study, space, variants, found, n, resolution)
        best = _best(goal, variants, runs, found, n, parameters, _limits(goal, variants, runs, found, n, errors))
    statuses = Counter(run.record.status for run in runs)
    return Search(
        title=study.title,
        count=len(runs),
        statuses=dict(sorted(statuses.items())),
        feasible=sum(t.answer.is_feasible for t in found.trials),
        rounds=max(t.round for t in found.trials),
        end=found.end,
        is_settled=found.is_settled,
        best=best,
        resolution=resolution,
        cautions=(*_lacking(goal, variants, runs), *_cautions(found, best)),
        data=data,
    )


def _best(
    goal: Goal,
    variants: Sequence[Variant],
    runs: Sequence[Run],
    found: Exploration,
    n: int,
    parameters: tuple[FoundParameter, ...],
    limits: tuple[FoundLimit, ...],
) -> Best:
    trial, record = found.trials[n], runs[n].record
    numbers = goal.numbers(variants[n], record)
    assert trial.answer.objective is not None
    return Best(
        variant=n,
        round=trial.round,
        is_converged=trial.answer.is_converged,
        objective=trial.answer.objective,
        terms={name: float(numbers[name] or 0.0) for name in goal.terms},
        parameters=parameters,
        limits=limits,
        measures=record.numbers,
        words=record.words,
    )


def _resolution(goal: Goal, runs: Sequence[Run], found: Exploration, n: int, error: float | None) -> Resolution:
    least = found.trials[n].answer.objective
    assert least is not None
    chance = goal.chance(runs[n].record)
    others = sorted((x - least, k) for k, x in _rivals(found, n))
    reach = max(error or 0.0, chance or 0.0)
    following = others[0] if others else (None, None)
    return Resolution(error, chance, following[1], following[0], 1 + sum(gap <= reach for gap, _ in others))


def _rivals(found: Exploration, n: int) -> list[tuple[int, float]]:
    """Other feasible trials with their objective: those that converged, unless the best itself did not."""
    only = found.trials[n].answer.is_converged
    return [
        (k, t.answer.objective)
        for k, t in enumerate(found.trials)
        if k != n and t.answer.is_feasible and t.answer.objective is not None and (t.answer.is_converged or not only)
    ]


def _parameters(
    study: Study, space: Space, variants: Sequence[Variant], found: Exploration, n: int, resolution: Resolution
) -> tuple[FoundParameter, ...]:
    places = np.array([t.place for t in found.trials])
    solved = [k for k, t in enumerate(found.trials) if t.answer.is_whole and k != n]
    by_distance = sorted(solved, key=lambda k: (float(np.sum((places[k] - places[n]) ** 2)), k))
    nearest = by_distance[: len(space.axes) + 1]
    least = found.trials[n].answer.objective or 0.0
    reach = max(resolution.model_error or 0.0, resolution.chance or 0.0)
    alike = [n, *(k for k, x in _rivals(found, n) if x - least <= reach)]
    parameters = []
    for axis, (p, levels) in enumerate(zip(study.parameters, study.levels, strict=True)):
        value, share = float(variants[n].values[p.name]), places[n, axis]
        spacings = [abs(float(variants[k].values[p.name]) - value) for k in nearest]
        same = [float(variants[k].values[p.name]) for k in alike]
        end = "lower" if share <= study.refinement.resolution else ""
        end = "upper" if share >= 1 - study.refinement.resolution else end
        parameters.append(
            FoundParameter(
                p.name,
                value,
                units_of(study, p.name),
                float(levels[0][0]),
                float(levels[1][0]),
                end,
                max(spacings, default=None),
                (min(same), max(same)),
            )  # fmt: skip
        )
    return tuple(parameters)


def _limits(
    goal: Goal,
    variants: Sequence[Variant],
    runs: Sequence[Run],
    found: Exploration,
    n: int,
    errors: Sequence[float | None],
) -> tuple[FoundLimit, ...]:
    numbers, record = goal.numbers(variants[n], runs[n].record), runs[n].record
    limits = []
    for limit, slack, error in zip(goal.limits, found.trials[n].answer.slacks, errors[1:], strict=True):
        value, chance = numbers[limit.of], chance_of(limit.of, record.numbers)
        assert value is not None and slack is not None
        is_active = slack <= max(error or 0.0, chance or 0.0)
        limits.append(FoundLimit(limit, value, slack, chance, error, is_active))
    return tuple(limits)


def _lacking(goal: Goal, variants: Sequence[Variant], runs: Sequence[Run]) -> list[str]:
    """Numbers that some solved variants do not have."""
    solved = [goal.numbers(v, run.record) for v, run in zip(variants, runs, strict=True) if run.record.is_solved]
    missing = Counter(name for row in solved for name, value in row.items() if value is None)
    return [f"{n} of {len(solved)} solved variants have no {name} and count as none" for name, n in missing.items()]


def _cautions(found: Exploration, best: Best | None) -> list[str]:
    told: list[str] = []
    if best is None:
        return told
    if not best.is_converged:
        told.append(f"NOT CONVERGED: no variant that converged keeps every constraint; variant {best.variant} did not")
    any_best = found.best(is_converged=False)
    if any_best is not None and any_best != best.variant:
        better = found.trials[any_best].answer.objective
        told.append(f"variant {any_best} would be better ({better:.4g}), but its run did not converge")
    for limit in best.limits:
        if limit.chance is not None and limit.slack < limit.chance:
            told.append(f"{limit.limit.of} keeps its limit by less than its standard error: it may not keep it")
    if not found.is_settled:
        told.append("not settled: more rounds may find a better variant")
    return told
