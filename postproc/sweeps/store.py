"""The folder of a sweep: one small file for each finished variant, and one sweep at a time in it."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal, Self

from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.whole_file import write_whole

Status = Literal["done", "not-converged", "refused", "failed"]


@dataclass(frozen=True)
class Record:
    """What a variant left.

    Attributes
    ----------
    status : str
        done; not-converged, its measures are kept; refused, its case is wrong; failed, its run came to no end.
    reason : str
        Why it is not done.
    outcome : str
        How its run ended, as in the result file; empty where it did not.
    numbers, words : dict
        The columns of `measure_table`, SI; None where a measure does not apply.
    seconds : float
        Wall-clock time of the attempt.
    """

    status: Status
    reason: str = ""
    outcome: str = ""
    numbers: dict[str, float | None] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    seconds: float = 0.0

    @property
    def is_solved(self) -> bool:
        """Whether there are measures, and a field to start from."""
        return self.status in ("done", "not-converged")


@dataclass(frozen=True)
class Run:
    """What became of a variant: its record and its key, and the variant it started from (None: cold)."""

    record: Record
    start: int | None
    key: str


class Store:
    """The records and kept results of a folder, which nobody else may use meanwhile. Open it with `opened`."""

    def __init__(self, folder: Path):
        self.folder = folder
        self._records = {path.stem: record for path in self._place.glob("*.json") if (record := _read(path))}

    @classmethod
    @contextmanager
    def opened(cls, folder: Path) -> Iterator[Self]:
        """Make or open the folder of a sweep.

        Raises
        ------
        InputError
            If it holds something else, or another sweep is running in it.
        """
        refuse_other_folder(folder)
        for name in ("records", "results"):
            (folder / name).mkdir(parents=True, exist_ok=True)
        with open(folder / "lock", "a") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise InputError([_problem(folder, "is in use by another sweep; wait for its end")]) from None
            # What a killed sweep was at.
            shutil.rmtree(folder / "running", ignore_errors=True)
            (folder / "running").mkdir(exist_ok=True)
            try:
                yield cls(folder)
            finally:
                shutil.rmtree(folder / "running", ignore_errors=True)

    @property
    def _place(self) -> Path:
        return self.folder / "records"

    def get(self, key: str) -> Record | None:
        """The record of a key; None where there is none."""
        return self._records.get(key)

    def result(self, key: str) -> Path:
        """Where the result file of a key stands while it is wanted."""
        return self.folder / "results" / f"{key}.h5"

    def scratch(self, key: str) -> Path:
        """An empty folder for one attempt."""
        place = self.folder / "running" / f"{key}-{os.getpid()}"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(parents=True)
        return place

    def keep(self, key: str, record: Record) -> None:
        """Write a record so that a kill or a power cut leaves it whole or not at all."""
        text = json.dumps(asdict(record), indent=1, allow_nan=False)
        write_whole(self._place / f"{key}.json", text.encode())
        self._records[key] = record

    def forget_failed(self) -> None:
        """Take failed variants as not yet run; their records stay until they are replaced."""
        self._records = {key: record for key, record in self._records.items() if record.status != "failed"}

    def drop_result(self, key: str) -> None:
        """Delete a result that nothing starts from any more."""
        self.result(key).unlink(missing_ok=True)


def refuse_other_folder(folder: Path) -> None:
    """Refuse a folder that holds something else than a sweep.

    Raises
    ------
    InputError
        If it does, or cannot be written.
    """
    if not folder.exists():
        parent = folder.parent
        if not parent.is_dir():
            raise InputError([_problem(folder, f"must lie in a folder that exists, {parent} does not")])
        if not os.access(parent, os.W_OK):
            raise InputError([_problem(folder, "must be a place that can be written")])
        return
    if not folder.is_dir():
        raise InputError([_problem(folder, "must be a folder for the sweep, is a file")])
    if not (folder / "records").is_dir() and any(folder.iterdir()):
        raise InputError([_problem(folder, "must be an empty folder or that of an earlier sweep")])
    if not os.access(folder, os.W_OK):
        raise InputError([_problem(folder, "must be a place that can be written")])


def _problem(folder: Path, allowed: str) -> Problem:
    return Problem(str(folder), 1, "", None, allowed)


def _read(path: Path) -> Record | None:
    """A record, or None where the file is no whole one: then the variant runs again."""
    try:
        data: dict[str, Any] = json.loads(path.read_text())
        return Record(**data)
    except (OSError, ValueError, TypeError):
        return None
