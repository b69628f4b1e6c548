"""What a search wants: objective and limits, and what they come to for a variant."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from swirlwright.postproc.measure_table import FIELD, OVER_TIME, columns
from swirlwright.postproc.searches.rounds import Answer
from swirlwright.postproc.sweeps.store import Record
from swirlwright.solver.case_keys import kind_of, number_at, value_at
from swirlwright.solver.schema import Case
from swirlwright.solver.study_file import Study
from swirlwright.solver.variants import Variant

# Numbers of a variant beside its measures, its parameters and the keys of its case: unit, meaning.
OF_THE_CASE = {
    "fan_power": ("W", "electrical power of all fans at work"),
    "tube_count": ("1", "tubes"),
    "hole_area": ("m2", "area of all holes"),
}


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
    clearance : float
        By how many standard errors the bound must be kept.
    """

    of: str
    bound: float
    is_least: bool
    units: str
    clearance: float = 0.0

    def slack(self, value: float, error: float | None = 0.0) -> float | None:
        """How far the limit is kept with its clearance, in its units: at least 0 where it is.

        None where the clearance needs a standard error and there is none.
        """
        if self.clearance and error is None:
            return None
        return self.distance(value) - self.clearance * (error or 0.0)

    def distance(self, value: float) -> float:
        """From a number to its bound, positive where that is kept."""
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
        slacks = tuple(
            None if (x := found[limit.of]) is None else limit.slack(x, _error_of(limit.of, record))
            for limit in self.limits
        )
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
        return fan_power(case, numbers)
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


def _error_of(name: str, record: Record) -> float | None:
    """As `chance_of`; a steady flow has none."""
    return 0.0 if record.outcome == "steady" else chance_of(name, record.numbers)


def fan_power(case: Case, numbers: Mapping[str, float | None]) -> float | None:
    """Electrical power of all fans at work [W]; None where there is no fan, or one whose file gives no power."""
    places = {
        "network_exhaust_power": case.exhaust is not None and case.exhaust.fan is not None,
        "network_supply_power": case.supply is not None and bool(case.supply.fans),
    }
    powers = [numbers.get(name) for name, has_fan in places.items() if has_fan]
    known = [power for power in powers if power is not None]
    return math.fsum(known) if known and len(known) == len(powers) else None


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
