"""Where the runs of a sweep go: processes of this machine."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from typing import Protocol

from swirlwright.postproc.sweeps.store import Record, Store
from swirlwright.postproc.sweeps.task import RESULT, Attempt, Task

POLL_SECONDS = 0.02


class Pool(Protocol):
    """Runs tasks side by side and hands their records over, with their results put in the store where wanted."""

    def has_room(self) -> bool:
        """Whether a task can be taken now."""

    def submit(self, task: Task) -> None:
        """Take a task."""

    def running(self) -> int:
        """Tasks that are at work now; a cluster holds more."""

    def ended(self) -> Iterator[tuple[str, Record]]:
        """Key and record of each task that has ended since the last time, after a short wait."""

    def stop(self) -> None:
        """End what runs; it is lost."""


class LocalPool:
    """Processes of this machine.

    Parameters
    ----------
    workers : int
        How many at a time.
    store : Store
        The folder they work in.
    """

    def __init__(self, workers: int, store: Store):
        self._workers, self._store = workers, store
        self._attempts: list[Attempt] = []

    def has_room(self) -> bool:
        return len(self._attempts) < self._workers

    def submit(self, task: Task) -> None:
        self._attempts.append(Attempt(task, self._store.scratch(task.key)))

    def running(self) -> int:
        return len(self._attempts)

    def ended(self) -> Iterator[tuple[str, Record]]:
        time.sleep(POLL_SECONDS)
        for attempt in list(self._attempts):
            if (record := attempt.answer()) is None:
                continue
            self._attempts.remove(attempt)
            if record.is_solved and attempt.task.wants_result:
                os.replace(attempt.scratch / RESULT, self._store.result(attempt.task.key))
            shutil.rmtree(attempt.scratch, ignore_errors=True)
            yield attempt.task.key, record

    def stop(self) -> None:
        for attempt in self._attempts:
            attempt.end()
        self._attempts = []


def cores() -> int:
    """Processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
