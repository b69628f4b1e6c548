"""Reading a text file that somebody wrote: bounded, with the line of what is wrong."""

from __future__ import annotations

from pathlib import Path

from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.filekinds import HDF5


def read_text(path: Path, largest: int, encoding: str = "utf-8") -> tuple[str, bytes]:
    """Return the file's text and its bytes.

    Parameters
    ----------
    path : Path
    largest : int
        Bytes it may have; no more are read, since it may be a device without end.
    encoding : str
        utf-8, or utf-8-sig where a byte order mark may stand in front.

    Raises
    ------
    InputError
        If it cannot be read, is larger, or is no such text.
    """

    def refuse(line: int, what: str) -> InputError:
        return InputError([Problem(str(path), line, "", None, what)])

    try:
        with open(path, "rb") as file:
            raw = file.read(largest + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise refuse(0, f"cannot be read ({reason})") from error
    if raw.startswith(HDF5):
        raise refuse(0, "is a result or a data set (HDF5), not a text file; swirlwright report shows it")
    if len(raw) > largest:
        raise refuse(0, f"must be a file of at most {largest} bytes")
    try:
        return raw.decode(encoding), raw
    except UnicodeDecodeError as error:
        raise refuse(raw.count(b"\n", 0, error.start) + 1, "must be text in UTF-8") from error
