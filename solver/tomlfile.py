"""A TOML file to a frozen value of the schema, or every mistake in it with its line."""

from __future__ import annotations

import difflib
import re
import tomllib
import types
import typing
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from swirlwright.solver.errors import MOST_TOLD, InputError, Problem
from swirlwright.solver.quantities import Number
from swirlwright.solver.textfile import read_text
from swirlwright.solver.tomllines import Location, key_lines, line_of

T = TypeVar("T", bound=BaseModel)

_LARGEST_FILE = 400_000  # bytes; a case has a few thousand, a study of ten thousand values 200 000
_DEEPEST_KEY = 20  # parts; a case needs 4. Readers of TOML take the square of it in time, and so do its lines
_DEEP_KEY = re.compile(
    rf"""(?<![A-Za-z0-9_-])(?:(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{_DEEPEST_KEY}}}"""
)
_ALLOWED = {
    "missing": "is required but missing",
    "string_type": "must be a text in quotes",
    "string_too_short": "must not be empty",
    "string_too_long": "must be a text of at most {max_length} characters",
    "string_pattern_mismatch": "must be one line of printable text",
    "tuple_type": "must be a list",
    "model_type": "must be a table",
    "bool_type": "must be true or false",
    "too_short": "must have at least {min_length} {items}",
    "too_long": "must have at most {max_length} {items}",
    "literal_error": "must be one of {expected}",
}


@dataclass(frozen=True)
class Document:
    """The parsed text of a TOML file with the lines of its keys."""

    path: Path
    text: str
    data: dict[str, Any]
    lines: dict[Location, int]

    def problem(self, location: Location, allowed: str, value: object = None, hint: str = "") -> Problem:
        """A mistake at a place of this file."""
        key = ".".join(str(part + 1) if isinstance(part, int) else part for part in location)
        return Problem(str(self.path), line_of(self.lines, location), key, value, allowed, hint)


def read_document(path: Path) -> Document:
    """Read a TOML file.

    Raises
    ------
    InputError
        If it cannot be read or is no TOML, with the line of the mistake.
    """
    text, _ = read_text(path, _LARGEST_FILE)
    return parse_document(text, path)


def parse_document(text: str, path: Path) -> Document:
    """Parse TOML text that stands, or would stand, in `path`.

    Raises
    ------
    InputError
        If it is no TOML, with the line of the mistake.
    """
    if (deep := _DEEP_KEY.search(text)) is not None:
        what = f"must have keys of at most {_DEEPEST_KEY} parts"
        raise InputError([Problem(str(path), text.count("\n", 0, deep.start()) + 1, "", None, what)])
    try:
        data = tomllib.loads(text)
        return Document(path, text, data, key_lines(text))
    except RecursionError as error:
        raise InputError([Problem(str(path), 1, "", None, "is nested too deeply")]) from error
    except ValueError as error:  # tomllib's own error is one; so is a whole number of too many digits
        message = str(error)
        place = re.search(r" \(at line (\d+), column (\d+)\)| \(at end of document\)", message)
        line = int(place.group(1)) if place and place.group(1) else text.count("\n") + 1
        what = message if place is None else message[: place.start()]
        column = f" (column {place.group(2)})" if place and place.group(2) else ""
        problem = Problem(str(path), line, "", None, f"is no TOML here: {what}{column}")
        raise InputError([problem]) from error


def validate(document: Document, model: type[T]) -> tuple[T | None, list[Problem], list[Location]]:
    """Check a document against the schema.

    Returns
    -------
    value : model or None
        The value; where something is wrong, what is left without the wrong keys, with stand-ins for required
        ones, so that the rest can be checked too; None where that leaves nothing valid.
    problems : list of Problem
        Every mistake.
    bad : list of Location
        The places of the mistakes.
    """
    try:
        return model.model_validate(document.data), [], []
    except ValidationError as error:
        details = error.errors(include_url=False, include_context=True)
    places = [_within_file(detail["loc"], document.data) for detail in details]
    told = [(at, detail) for at, detail in zip(places, details, strict=True) if not _echoes(at, detail, places)]
    # To look for the key that was meant takes its time: not for mistakes that are only counted.
    problems = [_problem(document, model, at, detail, has_hint=n < MOST_TOLD) for n, (at, detail) in enumerate(told)]
    bad = [at for at, _ in told]
    try:
        return model.model_validate(_filled(model, _without(document.data, bad))), problems, bad
    except ValidationError:
        return None, problems, bad


def _within_file(location: tuple[Any, ...], data: Any) -> Location:
    """The location without parts that are names of the schema's types instead of keys."""
    kept: list[str | int] = []
    for index, part in enumerate(location):
        is_there = (isinstance(data, dict) and part in data) or (
            isinstance(data, list) and isinstance(part, int) and part < len(data)
        )
        if is_there:
            data = data[part]
            kept.append(part)
        elif index == len(location) - 1 and isinstance(data, list if isinstance(part, int) else dict):
            kept.append(part)  # a missing key or item
    return tuple(kept)


def _echoes(location: Location, detail: Any, bad: list[Location]) -> bool:
    """Whether a list counts as too short only because items of it are mistaken, which is said already."""
    return detail["type"] == "too_short" and any(
        len(other) > len(location) and other[: len(location)] == location for other in bad
    )


def _problem(document: Document, model: type[BaseModel], location: Location, detail: Any, *, has_hint: bool) -> Problem:
    kind, context = detail["type"], detail.get("ctx", {})
    value = None if kind in ("missing", "too_short", "too_long") else detail["input"]
    if kind == "extra_forbidden":
        hint = nearest_key(model, location) if has_hint else ""
        return document.problem(location, "unknown key", None, hint)
    allowed = _ALLOWED.get(kind, detail["msg"])
    hint = context.get("hint", "")
    if kind == "literal_error":
        expected = re.findall(r"'([^']*)'", context["expected"])
        context = {"expected": ", ".join(f'"{name}"' for name in expected)}
        close = difflib.get_close_matches(str(value)[:100], expected, n=1)
        hint = f'did you mean "{close[0]}"?' if close else ""
    elif kind == "tuple_type" and isinstance(value, dict):
        hint = f"write [[{'.'.join(str(part) for part in location if isinstance(part, str))}]]"
    elif kind == "model_type" and isinstance(value, list):
        hint = f"write [{'.'.join(str(part) for part in location if isinstance(part, str))}]"
    elif kind in ("too_short", "too_long"):
        context["items"] = "item" if 1 in (context.get("min_length"), context.get("max_length")) else "items"
    if kind in _ALLOWED:  # any other text is final: it may quote braces from the file
        allowed = allowed.format(**context)
    return document.problem(location, allowed, value, hint)


def table_in(annotation: Any) -> type[BaseModel] | None:
    """The table type inside an annotation: Table, Table | None, tuple[Table, ...]."""
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        return annotation if issubclass(annotation, BaseModel) else None
    for inner in typing.get_args(annotation):
        if (found := table_in(inner)) is not None:
            return found
    return None


def names_in(model: type[BaseModel], location: Location) -> list[str]:
    """Keys the table at `location` may have."""
    table: type[BaseModel] | None = model
    for part in location:
        if isinstance(part, str) and table is not None:
            field = table.model_fields.get(part)
            table = table_in(field.annotation) if field is not None else None
    return list(table.model_fields) if table is not None else []


def _all_keys(model: type[BaseModel], prefix: str = "") -> dict[str, str]:
    """Every key of the schema with the table it belongs to."""
    keys: dict[str, str] = {}
    for name, field in model.model_fields.items():
        keys.setdefault(name, prefix)
        if (inner := table_in(field.annotation)) is not None:
            for key, place in _all_keys(inner, f"{prefix}.{name}" if prefix else name).items():
                keys.setdefault(key, place)
    return keys


def nearest_key(model: type[BaseModel], location: Location) -> str:
    """A hint for an unknown key: the nearest of its table, or the table where it belongs."""
    *table, key = location
    close = difflib.get_close_matches(str(key)[:100], names_in(model, tuple(table)), n=1, cutoff=0.6)
    if close:
        place = [str(part + 1) if isinstance(part, int) else part for part in table]
        return f"did you mean {'.'.join([*place, close[0]])}?"
    home = _all_keys(model).get(str(key))
    return f"it belongs in [{home}]" if home else f"known here: {', '.join(names_in(model, tuple(table)))}"


def _filled(model: type[BaseModel], data: Any) -> Any:
    """A copy of a table's data with a stand-in for every required number, choice or text that is missing."""
    if not isinstance(data, dict):
        return data
    filled = dict(data)
    for name, field in model.model_fields.items():
        table = table_in(field.annotation)
        if table is not None and name in filled:
            inner = filled[name]
            filled[name] = [_filled(table, x) for x in inner] if isinstance(inner, list) else _filled(table, inner)
        elif table is None and name not in filled and field.is_required():
            filled[name] = _stand_in(field)
    return filled


def _stand_in(field: FieldInfo) -> object:
    for note in field.metadata:
        if isinstance(note, Number):
            return 1 if note.whole else min(1.0, 1.0 if note.le is None else note.le)
    choices = typing.get_args(field.annotation) if typing.get_origin(field.annotation) is typing.Literal else ()
    return choices[0] if choices else "-"


def _without(data: Any, bad: Iterable[Location]) -> Any:
    """A copy of the data without the places in `bad`; a list that would lose an item goes as a whole."""
    tops = {location[:1] for location in bad if len(location) == 1}
    deeper: dict[Any, list[Location]] = {}
    for location in bad:
        if len(location) > 1 and location[:1] not in tops:
            deeper.setdefault(location[0], []).append(location[1:])
    if isinstance(data, dict):
        return {
            key: _without(value, deeper[key]) if key in deeper else value
            for key, value in data.items()
            if (key,) not in tops and not _loses_item(value, deeper.get(key, ()))
        }
    return [_without(value, deeper[i]) if i in deeper else value for i, value in enumerate(data)]


def _loses_item(value: Any, bad: Iterable[Location]) -> bool:
    return isinstance(value, list) and any(
        len(location) == 1 or not isinstance(value[int(location[0])], dict) for location in bad
    )
