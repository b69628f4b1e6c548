"""What went wrong outside the input, in words that say what to do: no room, no right, no memory, no cache."""

from __future__ import annotations

import errno
from types import TracebackType

from swirlwright.solver.errors import is_disk_full, is_hunger

_FORBIDDEN = (errno.EACCES, errno.EPERM, errno.EROFS)
_CACHE = "numba.core.caching"


def in_words(error: Exception, verb: str) -> str | None:
    """The message for an error that is nobody's mistake in a case; None where it is the program's own.

    Parameters
    ----------
    error : Exception
    verb : str
        Of the command.
    """
    if is_hunger(error):
        return f"{verb}: not enough memory; take a coarser grid or longer frame intervals, or run fewer at a time"
    if _comes_from(error.__traceback__, _CACHE):
        return (
            f"numba cannot keep its compiled kernels ({_reason(error)}); set NUMBA_CACHE_DIR to a folder that can be "
            "written and has room"
        )
    if not isinstance(error, OSError):
        return None
    place = error.filename or verb
    if is_disk_full(error):
        return f"{place}: the disk is full; make room there, or choose another place with --output"
    if error.errno in _FORBIDDEN:
        return f"{place}: {_reason(error)}; choose a place of your own with --output"
    return f"{place}: {_reason(error)}"


def _reason(error: Exception) -> str:
    text = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return text.splitlines()[0] if text else type(error).__name__


def _comes_from(trace: TracebackType | None, module: str) -> bool:
    """Whether an error was raised in a module, or in what that called."""
    while trace is not None:
        if trace.tb_frame.f_globals.get("__name__") == module:
            return True
        trace = trace.tb_next
    return False
