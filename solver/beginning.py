"""Where a run begins: at rest, with the field of an earlier result, or where the run in its own file was left."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from swirlwright.solver.casefile import fan_files, parse_case
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.errors import InputError, ResultError
from swirlwright.solver.grid import Grid
from swirlwright.solver.interpolation import onto
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.result_reading import NoRestart, read_attributes, read_restart
from swirlwright.solver.schema import Case
from swirlwright.solver.state import State, imposed


def first_state(case: Case, chamber: Chamber) -> State:
    """Rest, or the field of the result that run.start_from names, carried onto this grid.

    Raises
    ------
    ResultError
        If that result cannot be read or holds no state.
    """
    problem = chamber.problem
    if case.run.start_from is None:
        return State.at_rest(problem)
    path = case.path.parent / case.run.start_from
    saved = read_restart(path)
    old = Grid(saved["r_face"], saved["z_face"])
    wrong = [name for name, values in saved["state"].items() if not np.isfinite(values).all()]
    if wrong:
        raise ResultError(
            f"{path}: its state has values that are not finite ({', '.join(wrong)}), so no run can start from it"
        )
    s = State.load(saved["state"])
    if not (np.array_equal(old.r_face, problem.grid.r_face) and np.array_equal(old.z_face, problem.grid.z_face)):
        s = onto(problem.grid, s, old)
    return imposed(problem, replace(s, time=0.0))


def begins_steady(case: Case) -> bool:
    """Whether the run begins with a steady flow found earlier, probably that of a neighbour."""
    if case.run.start_from is None:
        return False
    return bool(read_attributes(case.path.parent / case.run.start_from)["outcome"] == Outcome.STEADY.label)


def left_off(case: Case, output: Path) -> dict[str, Any] | None:
    """Return the restart state of the unsteady run that `output` holds.

    None if that run was ended in its search for a steady state or before its first checkpoint: then it begins anew.

    Raises
    ------
    ResultError
        If there is no such file, or nothing in it that could go on with this case.
    """
    attributes = read_attributes(output)
    _refuse_another_case(case, output, str(attributes.get("case_text", "")))
    _refuse_other_fans(case, output, json.loads(attributes.get("fan_files_json", "{}")))
    if attributes["outcome"] == Outcome.STEADY.label:
        raise ResultError(f"{output}: holds a steady solution; there is nothing to resume")
    if attributes["outcome"] == Outcome.BLEW_UP.label:
        raise ResultError(
            f"{output}: blew up and would do so again; change the case, and begin anew or with run.start_from"
        )
    try:
        saved = read_restart(output)
    except NoRestart:
        return None
    if "leg" not in saved:
        return None
    reached = float(saved["state"]["time"])
    if case.run.mode == "transient" and reached >= case.run.end_time:
        raise ResultError(f"{output}: has come to t = {reached:.6g} s, past run.end_time = {case.run.end_time:g} s")
    return saved


def _refuse_another_case(case: Case, output: Path, text: str) -> None:
    """Only what lies ahead may differ: the end, the limit on the time it takes, events after the nearer end."""
    try:
        made_by = parse_case(text, case.path)
    except InputError:
        raise ResultError(f"{output}: was made by a case that is not read any more, so it cannot be resumed") from None
    free: dict[str, Any] = {"run": {"end_time", "time_limit"}, "events": True}
    nearer = min(case.run.end_time, made_by.run.end_time)
    before, now = ([event for event in c.events if event.at < nearer] for c in (made_by, case))
    if before != now or made_by.model_dump(exclude=free) != case.model_dump(exclude=free):
        raise ResultError(
            f"{output}: was made by another case, so it cannot be resumed with {case.path.name}; only run.end_time, "
            "run.time_limit and events after the nearer end may differ"
        )


def _refuse_other_fans(case: Case, output: Path, made_with: dict[str, Any]) -> None:
    """A fan file has a name only in the case; another curve under the same name is another run."""
    changed = [name for name, fan in fan_files(case).items() if made_with.get(name) != fan]
    if changed:
        raise ResultError(
            f"{output}: was made with other contents of {', '.join(changed)}, so it cannot be resumed; "
            "put the old curve back, or give the new one a name of its own and begin anew"
        )
