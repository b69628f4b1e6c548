"""Objective and constraints of a study, checked: what only a search asks of it."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from typing import Any

from swirlwright.postproc.measure_table import NETWORK, columns
from swirlwright.postproc.searches.goal import OF_THE_CASE, Goal, Limit, chance_of, fan_power, units_of
from swirlwright.solver.case_keys import number_at
from swirlwright.solver.errors import Finding, InputError
from swirlwright.solver.quantities import Number, QuantityError
from swirlwright.solver.schema import Case
from swirlwright.solver.study_file import Study
from swirlwright.solver.study_goal import Constraint


def goal_of(study: Study) -> Goal:
    """Check what only a search asks of a study.

    Raises
    ------
    InputError
        With every mistake.
    """
    findings = [*_study_findings(study)]
    terms: dict[str, float] = {}
    for name, weight in (study.objective.terms if study.objective is not None else {}).items():
        findings += _name_findings(study, name, ("objective", "terms", name))
        try:
            terms[name] = Number(ge=-1e12, le=1e12).convert(weight)
        except QuantityError:
            allowed = "must be its weight, a number from -1e12 to 1e12 without a unit"
            findings.append(Finding(("objective", "terms", name), allowed, weight))
    if terms and not any(terms.values()):
        findings.append(Finding(("objective", "terms"), "must have a weight other than 0"))
    limits: list[Limit] = []
    for n, constraint in enumerate(study.constraints):
        wrong = [*_name_findings(study, constraint.of, ("constraints", n, "of"))]
        if not wrong:
            found, wrong = _limits(study, constraint, n)
            wrong += [*_clearance_findings(constraint, n), *_contradictions(constraint, found, limits, n)]
            limits += found
        findings += wrong
    if findings:
        raise InputError([study.problem(f.location, f.allowed, f.value, f.hint) for f in findings])
    return Goal(terms, tuple(limits))


def refuse_missing_power(study: Study, goal: Goal, case: Case) -> None:
    """Refuse a power that no variant will have, before the first flow is solved.

    Raises
    ------
    InputError
        If a fan is missing, or its file gives no power.
    """
    from swirlwright.solver.network import network_json, solve_network

    powers = {"network_exhaust_power", "network_supply_power", "fan_power"} & {*goal.names}
    if not powers:
        return
    network = network_json(solve_network(case))
    numbers: dict[str, float | None] = {name: network.get(key) for name, (key, _, _) in NETWORK.items()}
    missing = [name for name in powers if (fan_power(case, numbers) if name == "fan_power" else numbers[name]) is None]
    allowed = "needs a fan there whose file gives power, or voltage and current"
    problems = []
    for name in sorted(missing):
        if name in goal.terms:
            problems.append(study.problem(("objective", "terms", name), allowed))
        problems += [
            study.problem(("constraints", n, "of"), allowed, name)
            for n, constraint in enumerate(study.constraints)
            if constraint.of == name
        ]
    if problems:
        raise InputError(problems)


def _study_findings(study: Study) -> Iterator[Finding]:
    if study.objective is None:
        yield Finding(("objective",), "is required for a search")
    if study.sample is None:
        yield Finding(("sample",), "is required for a search: the variants it begins with")
    elif study.sample.method == "saltelli":
        yield Finding(("sample", "method"), "must be latin-hypercube or sobol in a search", study.sample.method)
    if study.start != "cold":
        yield Finding(("start",), 'must be "cold" in a search', study.start)
    for n, p in enumerate(study.parameters):
        if p.range is None:
            yield Finding(("parameters", n, "values"), "must be a range in a search")
        if p.name in OF_THE_CASE:
            yield Finding(("parameters", n, "name"), "must not be the name of a number of the search", p.name)


def _name_findings(study: Study, name: str, at: tuple[str | int, ...]) -> Iterator[Finding]:
    names = _names(study)
    if name in names or number_at(study.base_case, name):
        return
    close = difflib.get_close_matches(name, names, n=3, cutoff=0.5)
    hint = f"did you mean {' or '.join(close)}?" if close else ""
    allowed = (
        "must be a measure (postproc/README.md, A sweep and its data set), a parameter, "
        f"{', '.join(OF_THE_CASE)}, or lead to a number of the case"
    )
    yield Finding(at, allowed, name, hint)


def _names(study: Study) -> Sequence[str]:
    return [*columns(), *OF_THE_CASE, *(p.name for p in study.parameters)]


def _limits(study: Study, constraint: Constraint, n: int) -> tuple[list[Limit], list[Finding]]:
    units = units_of(study, constraint.of)
    given: dict[str, Any] = {"at_least": constraint.at_least, "at_most": constraint.at_most}
    found: list[Limit] = []
    wrong: list[Finding] = []
    for key, value in given.items():
        if value is None:
            continue
        try:
            bound = Number(units).convert(value)
            if constraint.of in columns() and constraint.of.endswith("_share") and not 0 <= bound <= 1:
                hint = f'per cent are written "{value:g} %"' if _is_per_cent(value) else ""
                wrong.append(Finding(("constraints", n, key), "must be >= 0 and <= 1, a share", value, hint))
            else:
                found.append(Limit(constraint.of, bound, key == "at_least", units, constraint.clearance))
        except QuantityError as error:
            wrong.append(Finding(("constraints", n, key), f"must be {error}", value))
    if all(value is None for value in given.values()):
        wrong.append(Finding(("constraints", n), "must have at least one of at_least, at_most"))
    return found, wrong


def _is_per_cent(value: Any) -> bool:
    return isinstance(value, int | float) and 1 < value <= 100


def _clearance_findings(constraint: Constraint, n: int) -> Iterator[Finding]:
    """A clearance is in standard errors, which not every number has."""
    if constraint.clearance and not _has_chance(constraint.of):
        yield Finding(("constraints", n, "clearance"), f"needs a standard error, which {constraint.of} has not")


def _has_chance(name: str) -> bool:
    return chance_of(name, dict.fromkeys(columns(), 1.0)) is not None


def _contradictions(
    constraint: Constraint, found: Sequence[Limit], before: Sequence[Limit], n: int
) -> Iterator[Finding]:
    """Bounds of one number between which nothing lies, in one table or in several."""
    for k, limit in enumerate(found):
        others = [x.bound for x in (*before, *found[:k]) if x.of == limit.of and x.is_least != limit.is_least]
        units = "" if limit.units == "1" else f" {limit.units}"
        if limit.is_least and others and limit.bound > min(others):
            allowed = f"must not be above at_most, {min(others):g}{units}"
            yield Finding(("constraints", n, "at_least"), allowed, constraint.at_least)
        if not limit.is_least and others and limit.bound < max(others):
            allowed = f"must not be below at_least, {max(others):g}{units}"
            yield Finding(("constraints", n, "at_most"), allowed, constraint.at_most)
