"""Attributes added to a finished result file."""

from __future__ import annotations

import os
import shutil
from contextlib import closing
from pathlib import Path
from typing import Any

import h5py

from swirlwright.solver.result_journal import JournaledFile, recover
from swirlwright.solver.result_storage import set_attributes
from swirlwright.solver.results import WriteError


def annotate(path: Path, **attributes: Any) -> None:
    """Add root attributes to a finished result: to a copy that then takes its place, so that a kill costs nothing.

    Raises
    ------
    WriteError
        If that cannot be written.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        recover(path)
        shutil.copyfile(path, part)
        with closing(JournaledFile(part)) as store:
            with h5py.File(store, "r+") as file:
                set_attributes(file, attributes)
            store.commit()
        os.replace(part, path)
    except OSError as error:
        raise WriteError(f"{path}: cannot be written ({error.strerror or error})") from error
    finally:
        part.unlink(missing_ok=True)
