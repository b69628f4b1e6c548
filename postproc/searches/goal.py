"""What a search wants: objective and constraints of its study, checked, and what they come to for a variant."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swirlwright.postproc.measure_table import FIELD, NETWORK, OVER_TIME, columns
from swirlwright.postproc.searches.rounds import Answer
from swirlwright.postproc.sweeps.store import Record
from swirlwright.solver.case_keys import kind_of, number_at, value_at
from swirlwright.solver.errors import Finding, InputError
from swirlwright.solver.quantities import Number, QuantityError
from swirlwright.solver.schema import Case
from swirlwright.solver.study_file import Study
from swirlwright.solver.study_goal import Constraint
from swirlwright.solver.variants import Variant

# Numbers of a variant beside its measures, its parameters and the keys of its case: unit, meaning.
OF_THE_CASE = {
    "fan_power": ("W", "electrical power of all fans at work"),
    "tube_count": ("1", "tubes"),
    "hole_area": ("m2", "area of all holes"),
}
# Columns of the data set that a search adds.
TAKEN = ("objective", "objective_predicted", "feasible", "round", *OF_THE_CASE)


@dataclass(frozen=True)
class Limit:
    """One bound of one number.

    Attributes
    ----------
    of : str
        Name of the number.
    bound : float
        SI.
    is_least : bool
        Whether the number must be at least the bound, rather than at most.
    units : str
    """

    of: str
    bound: float
    is_least: bool
    units: str

    def slack(self, value: float) -> float:
        """How far the limit is kept, in its units: at least 0 where it is."""
        return value - self.bound if self.is_least else self.bound - value


@dataclass(frozen=True)
class Goal:
    """What is to be least, in SI times weights, and the limits."""

    terms: Mapping[str, float]
    limits: tuple[Limit, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Every number it needs."""
        return tuple(dict.fromkeys([*self.terms, *(limit.of for limit in self.limits)]))

    def numbers(self, variant: Variant, record: Record) -> dict[str, float | None]:
        """The numbers of a variant, SI; None where it has none."""
        if variant.case is None or not record.is_solved:
            return dict.fromkeys(self.names)
        return {name: number_of(name, variant, variant.case, record.numbers) for name in self.names}

    def answer(self, variant: Variant, record: Record) -> Answer:
        """Objective and slacks of a variant."""
        found = self.numbers(variant, record)
        parts = [None if (x := found[name]) is None else weight * x for name, weight in self.terms.items()]
        known = [part for part in parts if part is not None]
        slacks = tuple(None if (x := found[limit.of]) is None else limit.slack(x) for limit in self.limits)
        return Answer(math.fsum(known) if len(known) == len(parts) else None, slacks, record.status == "done")

    def chance(self, record: Record) -> float | None:
        """Standard error by chance of the objective; None where no term has one."""
        errors = {name: chance_of(name, record.numbers) for name in self.terms}
        known = [self.terms[name] * error for name, error in errors.items() if error is not None]
        return math.hypot(*known) if known else None


def number_of(name: str, variant: Variant, case: Case, numbers: Mapping[str, float | None]) -> float | None:
    """A number by its name: a measure, a parameter, one of `OF_THE_CASE`, or a path in the case."""
    if name in columns():
        return numbers.get(name)
    if name in variant.values:
        return float(variant.values[name])
    if name == "fan_power":
        return _fan_power(case, numbers)
    if name == "tube_count":
        return float(sum(tubes.number for tubes in case.tubes))
    if name == "hole_area":
        return math.fsum(
            tubes.number * len(row.hole_heights()) * math.pi / 4 * row.hole_diameter**2
            for tubes in case.tubes
            for row in tubes.rows
        )
    return value_at(case, name) if number_at(case, name) else None


def chance_of(name: str, numbers: Mapping[str, float | None]) -> float | None:
    """Standard error by chance of a measure; of a measure of the mean field that of its mean over time."""
    if name in FIELD:
        return numbers.get(f"{name}_time_chance")
    for end in OVER_TIME:
        if name.endswith(f"_{end}"):
            return numbers.get(f"{name.removesuffix(end)}time_chance") if end == "time_mean" else None
    return numbers.get(f"{name}_chance")


def _fan_power(case: Case, numbers: Mapping[str, float | None]) -> float | None:
    """None where there is no fan, or one whose file gives no power."""
    places = {
        "network_exhaust_power": case.exhaust is not None and case.exhaust.fan is not None,
        "network_supply_power": case.supply is not None and bool(case.supply.fans),
    }
    powers = [numbers.get(name) for name, has_fan in places.items() if has_fan]
    known = [power for power in powers if power is not None]
    return math.fsum(known) if known and len(known) == len(powers) else None


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
        except QuantityError as error:
            findings.append(Finding(("objective", "terms", name), f"must be {error}, its weight", weight))
    limits: list[Limit] = []
    for n, constraint in enumerate(study.constraints):
        wrong = [*_name_findings(study, constraint.of, ("constraints", n, "of"))]
        if not wrong:
            found, wrong = _limits(study, constraint, n)
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
    missing = [name for name in powers if (_fan_power(case, numbers) if name == "fan_power" else numbers[name]) is None]
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
        if p.name in TAKEN:
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


def units_of(study: Study, name: str) -> str:
    """Unit of a number; "1" where it has none."""
    if name in columns():
        return columns()[name].units
    if name in OF_THE_CASE:
        return OF_THE_CASE[name][0]
    for p in study.parameters:
        if p.name == name:
            return study.kind(p).units or "1"
    kind = kind_of(name)
    return "1" if kind is None else kind.units or "1"


def _limits(study: Study, constraint: Constraint, n: int) -> tuple[list[Limit], list[Finding]]:
    units = units_of(study, constraint.of)
    given: dict[str, Any] = {"at_least": constraint.at_least, "at_most": constraint.at_most}
    found: list[Limit] = []
    wrong: list[Finding] = []
    for key, value in given.items():
        if value is None:
            continue
        try:
            found.append(Limit(constraint.of, Number(units).convert(value), key == "at_least", units))
        except QuantityError as error:
            wrong.append(Finding(("constraints", n, key), f"must be {error}", value))
    if all(value is None for value in given.values()):
        wrong.append(Finding(("constraints", n), "must have at least one of at_least, at_most"))
    if len(found) == 2 and found[0].bound > found[1].bound:
        wrong.append(Finding(("constraints", n, "at_most"), "must not be below at_least", constraint.at_most))
    return found, wrong
