"""What must hold between the tables of a study, and between them and its base case."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from swirlwright.solver.case_keys import hint_for, kind_of, number_at, to_plain
from swirlwright.solver.casefile import changed
from swirlwright.solver.errors import Finding
from swirlwright.solver.quantities import QuantityError
from swirlwright.solver.tomllines import Location

if TYPE_CHECKING:
    from swirlwright.solver.study_file import Parameter, Study

LONGEST_KEY = 300  # characters, as of any text; Python reads no number of some thousand digits
NO_KEY = "leads to no key of a case that holds a value"
NO_ITEM = "leads to an item that the base case's list does not have"
SET_TWICE = "sets a key that is set or taken out elsewhere in the study"
NO_OF = "must be the name of another parameter, one with numbers and without of, or lead to a number of the case"


def base_changes(study: Study) -> tuple[dict[str, Any], list[Finding]]:
    """What `without` and `fixed`, nested or with quoted dotted keys, change in the base case; and what is wrong there.

    Keys are dotted, values in SI; None takes a key out.
    """
    changes: dict[str, Any] = {}
    wrong: list[Finding] = []
    for n, key in enumerate(study.without):
        if _stands_in(changed(study.base_case, changes), key):
            changes[key] = None
        else:
            hint = hint_for(key)
            allowed = "must be a key or table that the base case has, no item of a list"
            wrong.append(Finding(("without", n), allowed, key, hint if hint.startswith("did you mean") else ""))
    data = changed(study.base_case, changes)
    for location, key, value in _flat(study.fixed, ("fixed",), ""):
        if len(key) > LONGEST_KEY:
            wrong.append(Finding(location, NO_KEY))
        elif (kind := kind_of(key)) is None:
            wrong.append(Finding(location, NO_KEY, hint=hint_for(key)))
        elif not _has_items(data, key):
            wrong.append(Finding(location, NO_ITEM))
        elif key in changes:
            wrong.append(Finding(location, SET_TWICE, key))
        else:
            try:
                changes[key] = to_plain(kind, value)
            except QuantityError as error:
                wrong.append(Finding(location, f"must be {error}", value))
    return changes, wrong


def _flat(table: Mapping[str, Any], location: Location, prefix: str) -> Iterator[tuple[Location, str, Any]]:
    for name, value in table.items():
        place, key = (*location, name), f"{prefix}{name}"
        if isinstance(value, dict):
            yield from _flat(value, place, f"{key}.")
        else:
            yield place, key, value


def _stands_in(data: Any, key: str) -> bool:
    """Whether plain data hold a key or table; items of lists do not count, as the others would change their number."""
    *tables, last = key.split(".")
    place = data
    for part in tables:
        place = _item(place, part) if isinstance(place, list) else place.get(part) if isinstance(place, dict) else None
    return isinstance(place, dict) and last in place


def _has_items(data: Any, key: str) -> bool:
    """Whether the lists that a key of a case leads through are in plain data and long enough."""
    place = data
    for part in key.split("."):
        if part.isdecimal():
            place = _item(place, part)
            if place is None:
                return False
        else:
            place = place.get(part) if isinstance(place, dict) else None
    return True


def _item(place: Any, part: str) -> Any:
    """The item of a list that a part of a key counts from 1; None where it has none."""
    is_there = isinstance(place, list) and part.isdecimal() and 1 <= int(part) <= len(place)
    return place[int(part) - 1] if is_there else None


def parameter_findings(study: Study, parameter: Parameter, at: Location) -> Iterator[Finding]:
    """What is wrong with the keys of a parameter's table, but for its values."""
    if (parameter.key is None) == (not parameter.keys):
        yield Finding(at, "must have exactly one of key, keys")
    data = changed(study.base_case, study.changes)
    for n, key in enumerate(parameter.moved):
        place = (*at, "key") if parameter.key is not None else (*at, "keys", n)
        if (kind := kind_of(key)) is None:
            yield Finding(place, NO_KEY, key, hint_for(key))
        elif not _has_items(data, key):
            yield Finding(place, NO_ITEM, key)
        elif parameter.of is not None and kind.number is None:
            yield Finding(place, "must be a key with a number, since it is a share of another", key)
    yield from _value_findings(study, parameter, at)
    if parameter.of is not None and not _leads_to_number(study, parameter.of, parameter.name):
        yield Finding((*at, "of"), NO_OF, parameter.of)


def _value_findings(study: Study, parameter: Parameter, at: Location) -> Iterator[Finding]:
    if (not parameter.values) == (parameter.range is None):
        yield Finding(at, "must have exactly one of values, range")
    if parameter.range is None:
        for name in ("count", "spacing"):
            if name in parameter.model_fields_set:
                yield Finding((*at, name), "goes with range only", getattr(parameter, name))
    elif study.sample is None and parameter.count is None:
        yield Finding((*at, "range"), "needs count, the number of values")
    elif study.sample is not None and parameter.count is not None:
        yield Finding((*at, "count"), "does not go with [sample], which has its own", parameter.count)


def _leads_to_number(study: Study, of: str, own: str = "") -> bool:
    for p in study.parameters:
        if p.name == of:
            return of != own and p.of is None and p.moved != () and _is_number(p.moved[0])
    if any(of == key or of.startswith(f"{key}.") for key in study.without):
        return False
    return number_at(study.base_case, of) or (_is_number(of) and any(of == key for key, _ in _set_keys(study)))


def _is_number(key: str) -> bool:
    kind = kind_of(key)
    return kind is not None and kind.number is not None


def _set_keys(study: Study) -> Iterator[tuple[str, Location]]:
    """Every key that the study sets or takes out, with its place."""
    yield from ((key, ("fixed",)) for key in study.changes)
    for n, p in enumerate(study.parameters):
        for i, key in enumerate(p.moved):
            yield key, ("parameters", n, "key") if p.key is not None else ("parameters", n, "keys", i)
    yield from ((d.key, ("derived", n, "key")) for n, d in enumerate(study.derived))


def set_twice(study: Study) -> Iterator[Finding]:
    """Keys that are set in two places, and names that two parameters have."""
    seen: set[str] = set()
    for key, place in _set_keys(study):
        if key in seen:
            yield Finding(place, SET_TWICE, key)
        seen.add(key)
    names = [p.name for p in study.parameters]
    for n, name in enumerate(names):
        if name in names[:n] or name == "variant":
            yield Finding(("parameters", n, "name"), "must be a name of its own", name)


def derived_findings(study: Study) -> Iterator[Finding]:
    """What is wrong with `[[derived]]`."""
    data = changed(study.base_case, study.changes)
    for n, derived in enumerate(study.derived):
        if not _is_number(derived.key):
            yield Finding(("derived", n, "key"), "must lead to a key of a case that is a number", derived.key)
        elif not _has_items(data, derived.key):
            yield Finding(("derived", n, "key"), NO_ITEM, derived.key)
        if not _leads_to_number(study, derived.of):
            yield Finding(("derived", n, "of"), NO_OF, derived.of)


def start_findings(study: Study) -> Iterator[Finding]:
    """What does not go together in how variants start."""
    if study.cold_sample and study.start == "cold":
        yield Finding(("cold_sample",), 'needs start = "neighbour": all variants start cold', study.cold_sample)


def sample_findings(study: Study) -> Iterator[Finding]:
    """What is wrong with `[sample]` as a whole."""
    sample = study.sample
    if sample is not None and sample.method == "saltelli" and (sample.count < 8 or sample.count.bit_count() != 1):
        yield Finding(("sample", "count"), "must be a power of two, 8 or more, with saltelli", sample.count)
