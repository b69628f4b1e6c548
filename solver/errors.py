"""What can be wrong, as values: a list of problems with their place, and the errors that carry them."""

from __future__ import annotations

import errno
from collections.abc import Iterable
from dataclasses import dataclass

# Of a file with more mistakes than anybody mends at a time these are told, the others counted.
MOST_TOLD = 100
_LONGEST_KEY = 120


@dataclass(frozen=True)
class Problem:
    """One mistake in an input file.

    Attributes
    ----------
    file : str
        The file as the user named it.
    line : int
        Line, counted from 1; 0 for the file as a whole, or where it is an option of the command.
    key : str
        Dotted key, list items counted from 1 ("tubes.1.rows.2.pitch"); empty for the file as a whole.
    value : object
        What stands there; None when nothing does.
    allowed : str
        What is allowed, as a phrase: "must be > 0 m", "unknown key".
    hint : str
        What to try, for instance the key that was probably meant.
    """

    file: str
    line: int
    key: str
    value: object
    allowed: str
    hint: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:" if self.line else f"{self.file}:"
        if self.key:
            place += f" {_plain(self.key, _LONGEST_KEY)}:"
        got = "" if self.value is None else f", got {_shown(self.value)}"
        hint = f"; {self.hint}" if self.hint else ""
        return f"{place} {self.allowed}{got}{hint}"


def _shown(value: object) -> str:
    """A value as TOML would write it, cut to a readable length."""
    # Cut before it is quoted: a file of one value is long.
    text = f'"{value[:100]}"' if isinstance(value, str) else _written(value)
    return _plain(text.lower() if isinstance(value, bool) else text, 80)


def _written(value: object) -> str:
    try:
        return str(value)
    except (ValueError, RecursionError):  # a whole number of thousands of digits; lists in lists in lists
        return f"a {type(value).__name__} too long to be shown"


def _plain(text: str, longest: int) -> str:
    """A text on one line of printable characters, cut: messages go to terminals and logs."""
    text = text if len(text) <= longest else text[: longest - 3] + "..."
    return text if text.isprintable() else "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)


@dataclass(frozen=True)
class Finding:
    """A mistake found in a case, not yet tied to a file and line.

    Attributes
    ----------
    location : tuple
        Place in the case, list items counted from 0: ("tubes", 0, "rows", 1, "pitch").
    allowed, value, hint
        As in `Problem`.
    needs : tuple of tuple
        Other places the judgement rests on. If one of them is itself mistaken, nothing is said.
    """

    location: tuple[str | int, ...]
    allowed: str
    value: object = None
    hint: str = ""
    needs: tuple[tuple[str | int, ...], ...] = ()


class SwirlwrightError(Exception):
    """Anything this package refuses with a message for the user; `exit_status` is the command's."""

    exit_status = 1


class InputError(SwirlwrightError):
    """The input is wrong: every mistake found, in the order of the file."""

    exit_status = 2

    def __init__(self, problems: Iterable[Problem]):
        self.problems = sorted(problems, key=lambda p: (p.file, p.line))
        told = [str(problem) for problem in self.problems[:MOST_TOLD]]
        if (more := len(self.problems) - MOST_TOLD) > 0:
            told.append(f"{self.problems[-1].file}:{self.problems[-1].line}: {more} more mistakes up to here")
        super().__init__("\n".join(told))


class ResultError(SwirlwrightError):
    """A result file is missing, unreadable or of an unknown version."""

    exit_status = 2


_DISK_FULL = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT)


def is_disk_full(error: Exception) -> bool:
    """True for a full disk, an exceeded quota or file size; HDF5 keeps the number only in its text."""
    if not isinstance(error, OSError | RuntimeError):
        return False
    number = error.errno if isinstance(error, OSError) else None
    return number in _DISK_FULL or any(f"errno = {n}," in str(error) for n in _DISK_FULL)


def is_hunger(error: Exception) -> bool:
    """Whether an error is for want of memory: Python's own, the system's, or SuperLU's RuntimeError."""
    return (
        isinstance(error, MemoryError)
        or (isinstance(error, OSError) and error.errno == errno.ENOMEM)
        or "MALLOC fails" in str(error)
    )
