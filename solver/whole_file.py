"""Files that are there as a whole or not at all."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


def write_whole(path: Path, data: bytes | memoryview, part: Path | None = None) -> None:
    """Write a file under another name, bring it to the disk, and give it its own name by a rename.

    Parameters
    ----------
    path : Path
        The file; an older one of this name is replaced.
    data : bytes
        All that is to stand in it.
    part : Path, optional
        The other name, in the same folder; by default with `.part` at the end.

    Raises
    ------
    OSError
        If it cannot be written; the older file stays.
    """
    part = path.with_name(path.name + ".part") if part is None else part
    try:
        with open(part, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError as error:
        # The system names the file where it opens one, not where the room runs out.
        raise type(error)(error.errno, error.strerror, str(path)) from None
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
