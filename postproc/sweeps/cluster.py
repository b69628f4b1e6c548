"""The runs of a sweep on an existing dask cluster. Needs the extra `cluster`."""

from __future__ import annotations

import logging
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import uuid4

from swirlwright import __version__
from swirlwright.postproc.sweeps.pool import POLL_SECONDS
from swirlwright.postproc.sweeps.store import Record, Store
from swirlwright.postproc.sweeps.task import RESULT, Attempt, Task
from swirlwright.solver.errors import SwirlwrightError
from swirlwright.solver.whole_file import write_whole

CONNECT_SECONDS = 10.0
# Tasks held by the cluster for each of its threads, so that none waits for the next one.
AHEAD = 2
RECOUNT_SECONDS = 2.0


class ClusterError(SwirlwrightError):
    """The cluster cannot be used, or not any more."""


class ClusterPool:
    """Threads of dask workers, each of which waits for a process that runs the variant.

    A worker that dies takes its variants with it; the scheduler gives them to another.
    """

    def __init__(self, client: Any, address: str, store: Store):
        self._client, self._address, self._store = client, address, store
        self._futures: dict[str, tuple[Any, Task]] = {}
        self._name = uuid4().hex  # two sweeps on one scheduler must not take each other's tasks
        self._threads, self._counted = 0, -RECOUNT_SECONDS

    @classmethod
    @contextmanager
    def connected(cls, address: str, store: Store, closures: Sequence[str]) -> Iterator[ClusterPool]:
        """Connect to a scheduler and have its present workers compile the kernels.

        Raises
        ------
        ClusterError
            If the extra is not installed, or nothing answers at the address.
        """
        try:
            from distributed import Client, wait
        except ImportError:
            raise ClusterError('--scheduler needs dask: pip install -e ".[cluster]" in the clone') from None
        try:
            client = Client(address, timeout=CONNECT_SECONDS, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise ClusterError(f"--scheduler {address}: no scheduler answers there ({error})") from None
        with _silenced(), client, client.as_current():
            workers = client.nthreads()
            # Those that fail here will say so with their variants.
            wait([client.submit(_compile, tuple(closures), workers=[name], pure=False) for name in workers])
            yield cls(client, address, store)

    def has_room(self) -> bool:
        if time.monotonic() - self._counted > RECOUNT_SECONDS:
            self._threads, self._counted = sum(self._client.nthreads().values()), time.monotonic()
        return len(self._futures) < AHEAD * self._threads

    def submit(self, task: Task) -> None:
        start = task.start.read_bytes() if isinstance(task.start, Path) else task.start
        sent = replace(task, start=start)
        future = self._client.submit(_run, sent, __version__, key=f"swirlwright-{self._name}-{task.key}")
        self._futures[task.key] = future, task

    def running(self) -> int:
        return min(len(self._futures), self._threads)

    def ended(self) -> Iterator[tuple[str, Record]]:
        time.sleep(POLL_SECONDS)
        if self._client.status != "running":
            raise ClusterError(
                f"--scheduler {self._address}: is gone; finished variants are kept in {self._store.folder}"
            )
        for key, (future, task) in list(self._futures.items()):
            if not future.done():
                continue
            del self._futures[key]
            if future.status == "finished":
                record, result = future.result()
                if result is not None:
                    write_whole(self._store.result(task.key), result)
                yield key, record
            elif future.status == "error":
                error = future.exception()
                yield key, Record("failed", f"on the cluster: {type(error).__name__}: {error}".replace("\n", "; "))
            else:
                raise ClusterError(
                    f"--scheduler {self._address}: is gone; finished variants are kept in {self._store.folder}"
                )

    def stop(self) -> None:
        if self._futures and self._client.status == "running":
            self._client.cancel([future for future, _ in self._futures.values()])
        self._futures = {}


@contextmanager
def _silenced() -> Iterator[None]:
    """Without dask's own words on lost connections, stack traces among them: the sweep says what is the matter."""
    loggers = [logging.getLogger(name) for name in ("distributed", "distributed.client", "tornado.application")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)


def _compile(closures: Sequence[str]) -> None:
    from swirlwright.solver.solve import warm_up

    for closure in closures:
        warm_up(closure)


def _run(task: Task, version: str) -> tuple[Record, bytes | None]:
    """On a worker: the record of a variant, and its result file where that is wanted."""
    from distributed import get_worker

    if version != __version__:
        raise RuntimeError(f"this worker has swirlwright {__version__}, the sweep {version}")
    with tempfile.TemporaryDirectory(dir=get_worker().local_directory) as folder:
        attempt = Attempt(task, Path(folder))
        try:
            record = attempt.wait()
        finally:
            attempt.end()
        wanted = record.is_solved and task.wants_result
        return record, (Path(folder) / RESULT).read_bytes() if wanted else None
