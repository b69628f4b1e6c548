"""From all variants of a search to its answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from swirlwright.postproc.searches.answer import Best, FoundLimit, FoundParameter, Search
from swirlwright.postproc.searches.goal import Goal, chance_of, units_of
from swirlwright.postproc.searches.resolution import Errors, errors_at, resolution_of
from swirlwright.postproc.searches.rounds import Exploration
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
    n = found.reported()
    best = resolution = None
    if n is not None:
        errors = errors_at(goal, runs, found, n)
        resolution, alike = resolution_of(study, goal, space, runs, found, n, errors)
        parameters = _parameters(study, space, variants, found, n, alike)
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


def _parameters(
    study: Study, space: Space, variants: Sequence[Variant], found: Exploration, n: int, alike: Sequence[int]
) -> tuple[FoundParameter, ...]:
    places = np.array([t.place for t in found.trials])
    solved = [k for k, t in enumerate(found.trials) if t.answer.is_whole and k != n]
    by_distance = sorted(solved, key=lambda k: (float(np.sum((places[k] - places[n]) ** 2)), k))
    nearest = by_distance[: len(space.axes) + 1]
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
    errors: Errors,
) -> tuple[FoundLimit, ...]:
    numbers, record = goal.numbers(variants[n], runs[n].record), runs[n].record
    limits = []
    slacks = found.trials[n].answer.slacks
    each = zip(goal.limits, slacks, errors.smoothed, errors.models.doubts[1:], errors.limits, strict=True)
    for limit, slack, smoothed, model_error, error in each:
        value = numbers[limit.of]
        assert value is not None and slack is not None
        chance, is_active = chance_of(limit.of, record.numbers), min(slack, smoothed) <= error
        limits.append(FoundLimit(limit, value, slack, smoothed, chance, model_error, error, is_active))
    return tuple(limits)


def _lacking(goal: Goal, variants: Sequence[Variant], runs: Sequence[Run]) -> list[str]:
    """Numbers, and standard errors that a clearance needs, that some solved variants do not have."""
    solved = [(v, run.record) for v, run in zip(variants, runs, strict=True) if run.record.is_solved]
    missing: Counter[str] = Counter()
    for variant, record in solved:
        numbers, slacks = goal.numbers(variant, record), goal.answer(variant, record).slacks
        missing.update(name for name, value in numbers.items() if value is None)
        missing.update(
            f"standard error of {limit.of}"
            for limit, slack in zip(goal.limits, slacks, strict=True)
            if slack is None and numbers[limit.of] is not None
        )
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
        if limit.smoothed < 0:
            told.append(
                f"{limit.limit.of}: by the models, smoothed over the neighbours, it is broken: perhaps a lucky run"
            )
        elif limit.slack < limit.error:
            told.append(f"{limit.limit.of} keeps its limit by less than one error: it may not keep it")
    if not found.is_settled:
        more = "more rounds" if any_best == best.variant else "longer averages, so that more runs converge,"
        told.append(f"the search has not settled on this variant: {more} may find a better one")
    return told
