"""The study file as frozen values, checked with its base case: every mistake with its line."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr, StrictBool
from pydantic_core import PydanticCustomError

from swirlwright.solver.case_keys import KeyKind, kind_of
from swirlwright.solver.casefile import read_case
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.filekinds import STUDY, refuse_other_kind
from swirlwright.solver.quantities import Number
from swirlwright.solver.schema import Case, Seconds, Table, Text
from swirlwright.solver.study_checks import (
    base_changes,
    derived_findings,
    parameter_findings,
    sample_findings,
    set_twice,
    start_findings,
)
from swirlwright.solver.study_goal import Constraint, Objective, Refinement
from swirlwright.solver.study_levels import levels_of
from swirlwright.solver.study_order import Multiple, in_order, multiples_of
from swirlwright.solver.tomlfile import Document, read_document, validate
from swirlwright.solver.tomllines import Location

MOST_VARIANTS = 10_000


def _as_name(value: object) -> str:
    if not isinstance(value, str) or re.fullmatch("[a-z][a-z0-9_]{0,59}", value) is None:
        raise PydanticCustomError("name", "must be at most 60 small letters, digits and _, a letter first")
    return value


Name = Annotated[str, BeforeValidator(_as_name)]
Whole = Annotated[int, Number(ge=1, le=MOST_VARIANTS, whole=True)]


class Parameter(Table):
    """What changes from variant to variant: one key of the case, or several that move together."""

    name: Name
    key: Text | None = None
    keys: tuple[Text, ...] = Field(default=(), max_length=50)
    values: tuple[Any, ...] = Field(default=(), max_length=MOST_VARIANTS)
    range: tuple[Any, Any] | None = None
    count: Whole | None = None
    spacing: Literal["linear", "log"] = "linear"
    of: Text | None = None

    @property
    def moved(self) -> tuple[str, ...]:
        """Dotted keys of the case that it sets."""
        return self.keys if self.key is None else (self.key,)


class Derived(Table):
    """A key that is a multiple of another number of the same variant."""

    key: Text
    of: Text
    factor: Annotated[float, Number(ge=-1e6, le=1e6)]


class Sample(Table):
    """Random variants instead of the full product."""

    method: Literal["latin-hypercube", "sobol", "saltelli"]
    count: Whole
    seed: Annotated[int, Number(ge=0, le=2**31 - 1, whole=True)] = 0


class Study(Table):
    """A whole study. Read one with `read_study`."""

    title: Text
    base: Text
    parameters: tuple[Parameter, ...] = Field(min_length=1, max_length=20)
    sample: Sample | None = None
    without: tuple[Text, ...] = Field(default=(), max_length=50)
    fixed: dict[str, Any] = {}
    derived: tuple[Derived, ...] = Field(default=(), max_length=100)
    objective: Objective | None = None
    constraints: tuple[Constraint, ...] = Field(default=(), max_length=20)
    refinement: Refinement = Refinement()
    start: Literal["cold", "neighbour"] = "cold"
    cold_sample: Annotated[int, Number(ge=0, le=MOST_VARIANTS, whole=True)] = 0
    time_limit: Seconds | None = None
    memory_limit: Annotated[float, Number("byte", ge=1e8, le=1e13)] | None = None
    keep_results: StrictBool = False

    _document: Document = PrivateAttr()
    _base_case: Case = PrivateAttr()
    _changes: dict[str, Any] = PrivateAttr(default_factory=dict)
    _levels: tuple[tuple[Any, ...], ...] = PrivateAttr(default=())
    _multiples: tuple[Multiple, ...] = PrivateAttr(default=())

    @property
    def text(self) -> str:
        """The study as it was read."""
        return self._document.text

    @property
    def path(self) -> Path:
        """The file it was read from."""
        return self._document.path

    @property
    def base_case(self) -> Case:
        """The case that is varied."""
        return self._base_case

    @property
    def changes(self) -> Mapping[str, Any]:
        """`without` and `fixed` by dotted key, in SI; None takes a key out."""
        return self._changes

    @property
    def levels(self) -> tuple[tuple[Any, ...], ...]:
        """Of each parameter its values in SI, or the two ends of a range that is sampled."""
        return self._levels

    @property
    def multiples(self) -> tuple[Multiple, ...]:
        """Keys that follow from other numbers, a key before those that are multiples of it."""
        return self._multiples

    def kind(self, parameter: Parameter) -> KeyKind:
        """What the parameter's values are: those of its first key, or plain ratios."""
        if parameter.of is not None:
            return KeyKind(float, Number(ge=-1e6, le=1e6))
        kind = kind_of(parameter.moved[0])
        assert kind is not None
        return kind

    def problem(self, location: Location, allowed: str, value: object = None, hint: str = "") -> Problem:
        """A mistake at a place of this file."""
        return self._document.problem(location, allowed, value, hint)


def read_study(path: str | Path) -> Study:
    """Read and check a study file and its base case.

    Raises
    ------
    InputError
        With every mistake: in the keys, in how they go together, in the base case.
    """
    document = read_document(Path(path))
    refuse_other_kind(document.path, document.data, STUDY)
    study, problems, _ = validate(document, Study)
    if study is None or problems:
        raise InputError(problems)
    study._document = document
    study._base_case = _base(study)
    study._changes, findings = base_changes(study)
    levels = []
    for n, parameter in enumerate(study.parameters):
        wrong = list(parameter_findings(study, parameter, ("parameters", n)))
        if not wrong:
            values, wrong = levels_of(study, parameter, ("parameters", n))
            levels.append(values)
        findings += wrong
    multiples, circles = in_order(multiples_of(study))
    findings += [*set_twice(study), *derived_findings(study), *circles, *start_findings(study), *sample_findings(study)]
    if findings:
        raise InputError([document.problem(f.location, f.allowed, f.value, f.hint) for f in findings])
    study._levels, study._multiples = tuple(levels), tuple(multiples)
    if (number := count_of(study)) > MOST_VARIANTS:
        raise InputError([study.problem(("parameters",), f"must make at most {MOST_VARIANTS} variants, make {number}")])
    return study


def count_of(study: Study) -> int:
    """How many variants the study has."""
    if study.sample is None:
        return math.prod(len(values) for values in study.levels)
    if study.sample.method == "saltelli":
        return study.sample.count * (len(study.parameters) + 2)
    return study.sample.count


def _base(study: Study) -> Case:
    """The base case, which stands below the folder that holds the study's folder."""
    allowed = "must be a case file relative to the study file, no higher than the folder above the study's"
    folder = study.path.parent
    is_file = False
    try:
        if "\0" in study.base or Path(study.base).is_absolute():
            raise ValueError
        inside = (folder / study.base).resolve().is_relative_to(folder.resolve().parent)
        is_file = (folder / study.base).is_file()
    except (OSError, RuntimeError, ValueError):
        inside = False
    if not inside or not is_file:
        allowed = allowed if not inside else f"must name a case file; there is no {folder / study.base}"
        raise InputError([study.problem(("base",), allowed, study.base)])
    return read_case(_shortened(folder / study.base))


def _shortened(path: Path) -> Path:
    """The path without `name/..` in it, as people write it; as it is where that leads elsewhere, as links may."""
    shorter = Path(os.path.normpath(path))
    return shorter if shorter.is_file() and shorter.samefile(path) else path
