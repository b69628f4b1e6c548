"""Dotted keys of a case, list items counted from 1: what they lead to, and their values in SI."""

from __future__ import annotations

import typing
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from swirlwright.solver.quantities import Number, QuantityError
from swirlwright.solver.schema import Case
from swirlwright.solver.tomlfile import names_in, nearest_key, table_in


@dataclass(frozen=True)
class KeyKind:
    """What a key holds: its annotation, and the unit and bounds where it is a number."""

    annotation: Any
    number: Number | None

    @property
    def units(self) -> str:
        """Unit of its numbers; empty where it holds none."""
        return "" if self.number is None else self.number.unit


@cache
def kind_of(key: str) -> KeyKind | None:
    """What stands at a dotted key of a case; None where there can be nothing, or a table.

    Parameters
    ----------
    key : str
        For instance "tubes.1.rows.2.pitch".
    """
    annotation: Any = Case
    for part in key.split("."):
        table = table_in(annotation)
        if part.isdecimal():
            item = _item(annotation)
            if int(part) < 1 or item is None:
                return None
            annotation = item
        elif table is not None and not _is_list(annotation) and part in table.model_fields:
            annotation = typing.get_type_hints(table, include_extras=True)[part]
        else:
            return None
    if table_in(annotation) is not None:
        return None
    return KeyKind(annotation, None if _item(annotation) is not None else _number(annotation))


def hint_for(key: str) -> str:
    """The key that was probably meant where `kind_of` finds none, as a hint; empty where none is near."""
    location = tuple(int(part) - 1 if part.isdecimal() else part for part in key.split("."))
    for n, part in enumerate(location, start=1):
        known = names_in(Case, location[: n - 1])
        if isinstance(part, str) and part not in known:
            return nearest_key(Case, location[:n]) if known else ""
    return f"it is a table: {', '.join(known)}" if (known := names_in(Case, location)) else ""


def to_plain(kind: KeyKind, value: object) -> Any:
    """A value as a case holds it, numbers in SI (angles in degrees).

    Raises
    ------
    QuantityError
        With what is allowed, if the key cannot hold it.
    """
    if kind.number is not None:
        return kind.number.convert(value)
    try:
        return TypeAdapter(kind.annotation).validate_python(value)
    except ValidationError as error:
        words = error.errors(include_url=False)[0]["msg"]
        raise QuantityError(words.removeprefix("Input should be ").removeprefix("must be ")) from error


def number_at(case: BaseModel, path: str) -> bool:
    """Whether a dotted path of keys or properties of a case leads to a number."""
    try:
        value_at(case, path)
    except (AttributeError, IndexError, ValueError, TypeError):
        return False
    return True


def value_at(case: BaseModel, path: str) -> float:
    """The number at a dotted path of keys or properties of a case, SI.

    Raises
    ------
    AttributeError, IndexError, ValueError, TypeError
        If it leads to none.
    """
    place: Any = case
    for part in path.split("."):
        if part.startswith("_"):
            raise AttributeError(part)
        if part.isdecimal():
            if int(part) < 1:
                raise IndexError(part)
            place = place[int(part) - 1]
        else:
            place = getattr(place, part)
    if isinstance(place, bool) or not isinstance(place, int | float):
        raise TypeError(f"{path} is no number")
    return place


def _is_list(annotation: Any) -> bool:
    return typing.get_origin(annotation) is tuple


def _item(annotation: Any) -> Any:
    """The annotation of a list's items; None where it is no list."""
    if _is_list(annotation):
        return typing.get_args(annotation)[0]
    if typing.get_origin(annotation) is typing.Annotated:
        return _item(typing.get_args(annotation)[0])
    return None


def _number(annotation: Any) -> Number | None:
    """The unit and bounds inside an annotation."""
    for inner in (*getattr(annotation, "__metadata__", ()), *typing.get_args(annotation)):
        found = inner if isinstance(inner, Number) else _number(inner)
        if found is not None:
            return found
    return None
