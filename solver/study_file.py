"""The study file as frozen values, checked with its base case: every mistake with its line."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr
from pydantic_core import PydanticCustomError

from swirlwright.solver.case_keys import KeyKind, hint_for, kind_of, number_at, to_plain
from swirlwright.solver.casefile import read_case
from swirlwright.solver.errors import Finding, InputError, Problem
from swirlwright.solver.filekinds import STUDY, refuse_other_kind
from swirlwright.solver.quantities import Number, QuantityError
from swirlwright.solver.schema import Case, Seconds, Table, Text
from swirlwright.solver.study_goal import Constraint, Objective, Refinement
from swirlwright.solver.tomlfile import Document, read_document, validate
from swirlwright.solver.tomllines import Location

MOST_VARIANTS = 10_000
NO_KEY = "leads to no key of a case that holds a value"


def _as_name(value: object) -> str:
    if not isinstance(value, str) or re.fullmatch("[a-z][a-z0-9_]{0,59}", value) is None:
        raise PydanticCustomError("name", "must be small letters, digits and _, a letter first")
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
    fixed: dict[str, Any] = {}
    derived: tuple[Derived, ...] = Field(default=(), max_length=100)
    objective: Objective | None = None
    constraints: tuple[Constraint, ...] = Field(default=(), max_length=20)
    refinement: Refinement = Refinement()
    start: Literal["cold", "neighbour"] = "cold"
    cold_sample: Annotated[int, Number(ge=0, le=MOST_VARIANTS, whole=True)] = 0
    time_limit: Seconds | None = None
    memory_limit: Annotated[float, Number("byte", ge=1e8, le=1e13)] | None = None
    keep_results: bool = False

    _document: Document = PrivateAttr()
    _base_case: Case = PrivateAttr()
    _changes: dict[str, Any] = PrivateAttr(default_factory=dict)
    _levels: tuple[tuple[Any, ...], ...] = PrivateAttr(default=())

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
        """`fixed` by dotted key, in SI."""
        return self._changes

    @property
    def levels(self) -> tuple[tuple[Any, ...], ...]:
        """Of each parameter its values in SI, or the two ends of a range that is sampled."""
        return self._levels

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
    findings = [*_fixed(study)]
    levels = []
    for n, parameter in enumerate(study.parameters):
        wrong = list(_parameter_findings(study, parameter, ("parameters", n)))
        if not wrong:
            values, wrong = _levels_of(study, parameter, ("parameters", n))
            levels.append(values)
        findings += wrong
    findings += [*_set_twice(study), *_derived_findings(study), *_start_findings(study), *_sample_findings(study)]
    if findings:
        raise InputError([document.problem(f.location, f.allowed, f.value, f.hint) for f in findings])
    study._levels = tuple(levels)
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


def _fixed(study: Study) -> Iterator[Finding]:
    """Read `fixed`, nested or with quoted dotted keys, into the study's changes."""
    for location, key, value in _flat(study.fixed, ("fixed",), ""):
        if (kind := kind_of(key)) is None:
            yield Finding(location, NO_KEY, hint=hint_for(key))
            continue
        try:
            study._changes[key] = to_plain(kind, value)
        except QuantityError as error:
            yield Finding(location, f"must be {error}", value)


def _flat(table: Mapping[str, Any], location: Location, prefix: str) -> Iterator[tuple[Location, str, Any]]:
    for name, value in table.items():
        place, key = (*location, name), f"{prefix}{name}"
        if isinstance(value, dict):
            yield from _flat(value, place, f"{key}.")
        else:
            yield place, key, value


def _parameter_findings(study: Study, parameter: Parameter, at: Location) -> Iterator[Finding]:
    if (parameter.key is None) == (not parameter.keys):
        yield Finding(at, "must have exactly one of key, keys")
    for n, key in enumerate(parameter.moved):
        place = (*at, "key") if parameter.key is not None else (*at, "keys", n)
        if (kind := kind_of(key)) is None:
            yield Finding(place, NO_KEY, key, hint_for(key))
        elif parameter.of is not None and kind.number is None:
            yield Finding(place, "must be a key with a number, since it is a share of another", key)
    if (not parameter.values) == (parameter.range is None):
        yield Finding(at, "must have exactly one of values, range")
    if parameter.range is None and parameter.count is not None:
        yield Finding((*at, "count"), "goes with range only", parameter.count)
    if parameter.range is not None and study.sample is None and parameter.count is None:
        yield Finding((*at, "range"), "needs count, the number of values")
    if parameter.range is not None and study.sample is not None and parameter.count is not None:
        yield Finding((*at, "count"), "does not go with [sample], which has its own", parameter.count)
    if parameter.of is not None and not _leads_to_number(study, parameter.of, parameter.name):
        yield Finding((*at, "of"), _OF, parameter.of)


_OF = "must be the name of another parameter or lead to a number of the case"


def _leads_to_number(study: Study, of: str, own: str = "") -> bool:
    return any(of == p.name != own and p.of is None for p in study.parameters) or number_at(study.base_case, of)


def _levels_of(study: Study, parameter: Parameter, at: Location) -> tuple[tuple[Any, ...], list[Finding]]:
    """The values of a parameter in SI, those of linked keys as tuples; and what is wrong with them."""
    kinds = [study.kind(parameter)] if parameter.of is not None else [kind_of(key) for key in parameter.moved]
    name, given = ("values", parameter.values) if parameter.range is None else ("range", parameter.range)
    found: list[tuple[Any, ...]] = []
    first_ones: set[Any] = set()
    wrong: list[Finding] = []
    for n, value in enumerate(given):
        parts = value if isinstance(value, list) and len(kinds) > 1 else [value] * len(kinds)
        place: Location = (*at, name, n)
        if len(parts) != len(kinds):
            wrong.append(Finding(place, f"must be one value, or a list of {len(kinds)}, one for each key", value))
            continue
        plain, mistakes = _plain_parts(kinds, parts, place, is_list=parts is value)
        if mistakes:
            wrong += mistakes
            continue
        if plain[0] in first_ones:
            wrong.append(Finding(place, "must differ, in its first key, from the values before it", value))
        first_ones.add(plain[0])
        found.append(plain)
    if parameter.range is None or wrong:
        return tuple(found), wrong
    return _ranged(parameter, found, at, is_sampled=study.sample is not None)


def _plain_parts(
    kinds: Sequence[KeyKind | None], parts: Sequence[Any], place: Location, *, is_list: bool
) -> tuple[tuple[Any, ...], list[Finding]]:
    """One value in SI for each key, or what is wrong with the first that is none."""
    found = []
    for k, (kind, part) in enumerate(zip(kinds, parts, strict=True)):
        try:
            found.append(part if kind is None else to_plain(kind, part))
        except QuantityError as error:
            return (), [Finding((*place, k) if is_list else place, f"must be {error}", part)]
    return tuple(found), []


def _ranged(
    parameter: Parameter, ends: list[tuple[Any, ...]], at: Location, *, is_sampled: bool
) -> tuple[tuple[Any, ...], list[Finding]]:
    numbers = [x for end in ends for x in end]
    if not all(isinstance(x, int | float) and not isinstance(x, bool) for x in numbers):
        return (), [Finding((*at, "range"), "must be two numbers")]
    if parameter.spacing == "log" and min(numbers) <= 0:
        return (), [Finding((*at, "spacing"), "must be linear where range comes down to 0", "log")]
    if is_sampled:
        return tuple(ends), []
    shares = [0.0] if parameter.count == 1 else [i / ((parameter.count or 2) - 1) for i in range(parameter.count or 2)]
    values = [between(ends, share, parameter.spacing) for share in shares]
    if len(set(values)) < len(values):
        return (), [Finding((*at, "count"), "makes equal values: these are whole numbers", parameter.count)]
    return tuple(values), []


def between(ends: Any, share: float, spacing: str) -> tuple[Any, ...]:
    """Values at a share, 0 to 1, of the way between two ends; rounded where both ends are whole numbers."""
    found: list[Any] = []
    for low, high in zip(*ends, strict=True):
        value = low * (high / low) ** share if spacing == "log" else low + share * (high - low)
        value = high if share == 1.0 else value
        found.append(round(value) if isinstance(low, int) and isinstance(high, int) else float(f"{value:.12g}"))
    return tuple(found)


def _set_twice(study: Study) -> Iterator[Finding]:
    places: list[tuple[str, Location]] = [(key, ("fixed",)) for key in study.changes]
    for n, p in enumerate(study.parameters):
        places += [
            (key, ("parameters", n, *(("key",) if p.key is not None else ("keys", i)))) for i, key in enumerate(p.moved)
        ]
    places += [(d.key, ("derived", n, "key")) for n, d in enumerate(study.derived)]
    seen: set[str] = set()
    for key, place in places:
        if key in seen:
            yield Finding(place, "sets a key that is set elsewhere in the study", key)
        seen.add(key)
    names = [p.name for p in study.parameters]
    for n, name in enumerate(names):
        if name in names[:n] or name == "variant":
            yield Finding(("parameters", n, "name"), "must be a name of its own", name)


def _derived_findings(study: Study) -> Iterator[Finding]:
    for n, derived in enumerate(study.derived):
        kind = kind_of(derived.key)
        if kind is None or kind.number is None:
            yield Finding(("derived", n, "key"), "must lead to a key of a case that is a number", derived.key)
        if not _leads_to_number(study, derived.of):
            yield Finding(("derived", n, "of"), _OF, derived.of)


def _start_findings(study: Study) -> Iterator[Finding]:
    if study.cold_sample and study.start == "cold":
        yield Finding(("cold_sample",), 'needs start = "neighbour": all variants start cold', study.cold_sample)


def _sample_findings(study: Study) -> Iterator[Finding]:
    sample = study.sample
    if sample is not None and sample.method == "saltelli" and (sample.count < 8 or sample.count.bit_count() != 1):
        yield Finding(("sample", "count"), "must be a power of two, 8 or more, with saltelli", sample.count)
