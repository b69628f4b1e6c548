"""Which kind of our own files a file is, so that one given in the place of another is told by its kind."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from swirlwright.solver.errors import InputError, Problem

HDF5 = b"\x89HDF\r\n\x1a\n"
CASE, STUDY, FAN = "a case", "a study", "a fan file"
# What tells a kind: keys at the top of its file that no other kind has.
_MARKS = {CASE: ("chamber",), STUDY: ("base", "parameters"), FAN: ("flow", "pressure")}


def kind_of_table(data: Mapping[str, Any]) -> str | None:
    """The kind of a parsed TOML file; None where its keys tell none, or several."""
    found = [kind for kind, keys in _MARKS.items() if all(key in data for key in keys)]
    return found[0] if len(found) == 1 else None


def refuse_other_kind(path: Path, data: Mapping[str, Any], wanted: str) -> None:
    """Refuse a parsed file that is plainly of another kind than `wanted`, instead of each of its keys.

    Raises
    ------
    InputError
        With what it is, and what takes it.
    """
    kind = kind_of_table(data)
    if kind is None or kind == wanted:
        return
    verb = "search" if "objective" in data else "sweep"
    where = {
        CASE: f"swirlwright check {path} reads it",
        STUDY: f"swirlwright {verb} {path} runs it",
        FAN: "a case names it in exhaust.fan or supply.fans",
    }
    raise InputError([Problem(str(path), 0, "", None, f"is {kind}, not {wanted}; {where[kind]}")])
