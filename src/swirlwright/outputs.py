"""What every verb does with its output: print it, and find out before hours are spent that it cannot be written."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

DONE, FAILED, WRONG_INPUT, NOT_PASSED = 0, 1, 2, 3  # a run that did not converge has 3 from its outcome


def say(text: str, status: int) -> int:
    """Print a message on standard error; returns the exit status it goes with."""
    print(text, file=sys.stderr)
    return status


def print_value(value: Any, as_json: bool) -> None:
    """Print a value that has text() and as_json() on standard output."""
    if as_json:
        import json

        print(json.dumps(value.as_json(), indent=2, allow_nan=False))
    else:
        print(value.text())


def unwritable(output: Path, *inputs: Path) -> str | None:
    """Why a file cannot be written here, found before hours are spent; None if it can."""
    if not output.parent.is_dir():
        return f"must lie in a folder that exists, {output.parent} does not"
    if output.is_dir():
        return "must be a file, is a folder"
    if any(output.exists() and path.exists() and output.samefile(path) for path in inputs):
        return "must not be the input itself"
    target = output if output.exists() else output.parent
    return None if os.access(target, os.W_OK) else "must be a place that can be written"


def unwritable_page(output: Path, *inputs: Path) -> str | None:
    """As `unwritable`; and only a page may be replaced by a page: a slip must not cost a case file."""
    if (reason := unwritable(output, *inputs)) is not None or not output.exists() or output.stat().st_size == 0:
        return reason
    with open(output, "rb") as file:
        is_page = file.read(200).lstrip().lower().startswith((b"<!doctype html", b"<html"))
    return None if is_page else "exists, is no HTML page and is not replaced"


def is_other(output: Path, start: bytes, at: int = 0) -> str | None:
    """Why a file that is there may not be replaced: only one of its own kind may. A slip must not cost data.

    A file is of the kind if the bytes `start` stand in it, `at` bytes from its beginning.
    """
    if not output.exists() or output.stat().st_size == 0:
        return None
    with open(output, "rb") as file:
        file.seek(at)
        return None if file.read(len(start)) == start else "exists, is of another kind and is not replaced"
