"""The data set of a search: that of a sweep along `variant`, with what the search adds."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from swirlwright.postproc.measure_table import columns
from swirlwright.postproc.searches.answer import Search
from swirlwright.postproc.searches.goal import OF_THE_CASE, Goal
from swirlwright.postproc.searches.rounds import Exploration
from swirlwright.postproc.searches.sheet import resolution_lines, standing
from swirlwright.postproc.sweeps.data import data_set
from swirlwright.postproc.sweeps.store import Run
from swirlwright.solver.study_file import Study
from swirlwright.solver.variants import Variant


def search_data(
    study: Study, goal: Goal, variants: Sequence[Variant], runs: Sequence[Run], found: Exploration
) -> xr.Dataset:
    """Every variant of a search in the order of asking.

    Parameters
    ----------
    study : Study
    goal : Goal
    variants, runs : sequence
        Of as many as the search has trials.
    found : Exploration

    Returns
    -------
    xarray.Dataset
        As of a sampled sweep, and over `variant`: `round` (0: the sample), `objective`, `objective_predicted`,
        `feasible` (1 where every constraint is kept), the numbers of `OF_THE_CASE` that are used.
    """
    data = data_set(study, variants, runs, {})
    trials = found.trials

    def put(values: Sequence[Any], dtype: Any, long_name: str, **more: str) -> xr.Variable:
        plain = [np.nan if value is None else value for value in values] if dtype is float else values
        return xr.Variable(("variant",), np.array(plain, dtype=dtype), {"long_name": long_name, **more})

    added = {
        "round": put([t.round for t in trials], np.int64, "round it was asked for in, 0 for the sample"),
        "objective": put([t.answer.objective for t in trials], float, _formula(goal)),
        "objective_predicted": put(
            [None if t.predicted is None else t.predicted.objective for t in trials], float, "objective, before it ran"
        ),
        "feasible": put([int(t.answer.is_feasible) for t in trials], np.int64, "1 where every constraint is kept"),
    }
    numbers = [goal.numbers(v, run.record) for v, run in zip(variants, runs, strict=True)]
    for name in goal.names:
        if name in OF_THE_CASE and name not in columns():
            units, long_name = OF_THE_CASE[name]
            added[name] = put([row[name] for row in numbers], float, long_name, units=units)
    limits = [
        {"of": limit.of, "at_least" if limit.is_least else "at_most": limit.bound, "units": limit.units}
        | ({"clearance": limit.clearance} if limit.clearance else {})
        for limit in goal.limits
    ]
    wanted = {"objective_json": json.dumps(dict(goal.terms)), "constraints_json": json.dumps(limits)}
    return data.assign(added).assign_attrs(wanted)


def with_answer(data: xr.Dataset, answer: Search) -> xr.Dataset:
    """The data set with the answer as attribute `answer_json`, for a page about it: without what the variant has."""
    plain = answer.as_json()
    plain.pop("case")
    if answer.best is not None and answer.resolution is not None:
        plain["best"] = {key: value for key, value in plain["best"].items() if key not in ("measures", "words")}
        for told, limit in zip(plain["best"]["limits"], answer.best.limits, strict=True):
            told["text"], told["standing"] = limit.text(), standing(limit)
        plain["resolution"]["lines"] = list(resolution_lines(answer.best, answer.resolution))
    return data.assign_attrs(answer_json=json.dumps(plain, allow_nan=False))


def _formula(goal: Goal) -> str:
    terms = [name if weight == 1 else f"{weight:g} {name}" for name, weight in goal.terms.items()]
    return " + ".join(terms).replace("+ -", "- ")
