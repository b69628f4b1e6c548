"""The folder of many runs: one small file for each that is finished, and one sweep, search or margin in it."""

from __future__ import annotations

import fcntl
import json
import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal, Self, get_args

from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.whole_file import write_whole

Status = Literal["done", "not-converged", "refused", "failed"]
Kind = Literal["sweep", "search", "margin"]
# What the folder is for.
OWNER = "study.json"
# Files by which a folder without that, of an earlier release, tells its kind.
OF_A_MARGIN, OF_A_SEARCH = ("base.h5", "margin.h5", "sample.h5"), ("best.toml",)


@dataclass(frozen=True)
class Owner:
    """What a folder is for.

    Attributes
    ----------
    kind : "sweep", "search" or "margin"
    title : str
        Of the study, or of a margin's case.
    path : Path
        Its file.
    """

    kind: Kind
    title: str
    path: Path

    def file_from(self, folder: Path) -> str:
        """The file as seen from the folder, so that both can be moved together."""
        return os.path.relpath(self.path.resolve(), folder.resolve())


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
    def opened(cls, folder: Path, owner: Owner) -> Iterator[Self]:
        """Make or open the folder of a study or margin.

        Raises
        ------
        InputError
            If it holds something else, or is in use.
        """
        refuse_other_folder(folder)
        refuse_other_owner(folder, owner)
        for name in ("records", "results"):
            (folder / name).mkdir(parents=True, exist_ok=True)
        with open(folder / "lock", "a") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise InputError([_problem(folder, "is in use by other runs; wait for their end")]) from None
            kept = {"kind": owner.kind, "title": owner.title, "file": owner.file_from(folder)}
            write_whole(folder / OWNER, json.dumps(kept, indent=1).encode())
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
    """Refuse a folder that holds something else than runs.

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
        raise InputError([_problem(folder, "must be a folder for these runs, is a file")])
    if not (folder / "records").is_dir() and any(folder.iterdir()):
        raise InputError([_problem(folder, "must be an empty folder or that of earlier runs")])
    if not os.access(folder, os.W_OK):
        raise InputError([_problem(folder, "must be a place that can be written")])


def refuse_other_owner(folder: Path, owner: Owner) -> None:
    """Refuse a folder of another kind, or of another study: one of another file and another title.

    A study that was edited keeps its file, one that was moved or copied its title; either goes on with its records.

    Raises
    ------
    InputError
        With what the folder holds.
    """
    held = _held(folder)
    kinds = [held["kind"]] if held else _kinds_without_owner(folder)
    of = f' of "{held["title"]}" ({held["file"]})' if held else ""
    if owner.kind not in kinds:
        allowed = f"must be an empty folder or that of a {owner.kind}, holds a {kinds[0]}{of}"
        raise InputError([_problem(folder, allowed)])
    if held and held["title"] != owner.title and held["file"] != owner.file_from(folder):
        allowed = f'must be an empty folder or that of "{owner.title}", holds the {owner.kind}{of}'
        raise InputError([_problem(folder, allowed)])


def _held(folder: Path) -> dict[str, str]:
    """Kind, title and file of what a folder is for; empty where it does not say."""
    try:
        data = json.loads((folder / OWNER).read_text())
        return {name: str(data[name]) for name in ("kind", "title", "file")}
    except (OSError, ValueError, TypeError, KeyError):
        return {}


def _kinds_without_owner(folder: Path) -> Sequence[str]:
    """The kinds that a folder which does not say may be of."""
    if not any(folder.glob("records/*.json")):
        return get_args(Kind)
    if any((folder / name).exists() for name in OF_A_MARGIN):
        return ("margin",)
    if any((folder / name).exists() for name in OF_A_SEARCH):
        return ("search",)
    # What a margin and a sweep are known by is written at their end.
    return ("sweep", "search") if (folder / "sweep.h5").exists() else get_args(Kind)


def _problem(folder: Path, allowed: str) -> Problem:
    return Problem(str(folder), 0, "", None, allowed)


def _read(path: Path) -> Record | None:
    """A record, or None where the file is no whole one: then the variant runs again."""
    try:
        data: dict[str, Any] = json.loads(path.read_text())
        return Record(**data)
    except (OSError, ValueError, TypeError):
        return None
