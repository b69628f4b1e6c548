"""What is to be run of a sweep, from its variants and the records that are there."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from swirlwright import __version__
from swirlwright.postproc.measure_table import RECORD
from swirlwright.postproc.sweeps.store import Store
from swirlwright.postproc.sweeps.task import START, Task
from swirlwright.solver.casefile import changed, fan_texts, to_toml
from swirlwright.solver.schema import Case
from swirlwright.solver.variants import Variant


@dataclass(frozen=True)
class Rules:
    """How the variants are run; see `Study`. cold: rerun these variants cold rather than a sample of `cold_sample`."""

    time_limit: float | None = None
    memory_limit: float | None = None
    keep_results: bool = False
    cold_sample: int = 0
    cold: tuple[int, ...] = ()


@dataclass(frozen=True)
class Job:
    """A run that is wanted: of a variant, from a neighbour's result or cold.

    Attributes
    ----------
    key : str
        Of its record.
    index : int
        Of the variant.
    start : str
        Key of the run whose result it starts from; empty for a cold one.
    """

    key: str
    index: int
    start: str = ""


class Plan:
    """The runs of a sweep. All follow from the variants and the records, never from the order in which answers come."""

    def __init__(self, variants: Sequence[Variant], rules: Rules, store: Store):
        self._variants, self._rules, self._store = variants, rules, store
        self._own = {v.index: _Own.of(v.case) for v in variants if v.case is not None}
        self._keys: dict[tuple[int, str], str] = {}

    @cached_property
    def is_warm(self) -> bool:
        """Whether any run waits for another."""
        return any(v.neighbour is not None for v in self._variants)

    @cached_property
    def count(self) -> int:
        """How many runs there are, those of refused variants left out."""
        return len({job.key for job in [*self.jobs(), *self.cold_jobs()] if job is not None})

    @cached_property
    def closures(self) -> tuple[str, ...]:
        """The closures whose kernels are used."""
        return tuple(sorted({v.case.model.closure for v in self._variants if v.case is not None}))

    @cached_property
    def cold_sample(self) -> tuple[int, ...]:
        """Variants that are rerun cold: those named, or spread evenly over those that start from a neighbour."""
        if self._rules.cold:
            return self._rules.cold
        warm = [v.index for v in self._variants if v.neighbour is not None and v.case is not None]
        n = min(self._rules.cold_sample, len(warm))
        return tuple(warm[(2 * i + 1) * len(warm) // (2 * n)] for i in range(n))

    def key(self, index: int, start: str = "") -> str:
        """Key of a variant started from the run `start`: a hash of all that decides the answer."""
        if (index, start) not in self._keys:
            self._keys[index, start] = _hash(self._own[index].hash, start)
        return self._keys[index, start]

    def jobs(self) -> list[Job | None]:
        """The run of each variant as the records stand; None for a refused one.

        A variant whose neighbour is refused or failed starts cold.
        """
        found: list[Job | None] = []
        for v in self._variants:
            if v.case is None:
                found.append(None)
                continue
            before = None if v.neighbour is None else found[v.neighbour]
            start = before.key if before is not None and not self._is_barren(before.key) else ""
            found.append(Job(self.key(v.index, start), v.index, start))
        return found

    def cold_jobs(self) -> list[Job]:
        """The cold reruns."""
        return [Job(self.key(n), n) for n in self.cold_sample]

    def todo(self) -> dict[str, Job]:
        """All runs that are missing, by key: those without a record, those whose lost result another starts from."""
        jobs = {job.key: job for job in reversed(self.jobs()) if job is not None}
        cold = {job.key: job for job in self.cold_jobs()}
        wanted = {key: job for key, job in (jobs | cold).items() if self._store.get(key) is None}
        # From the last to the first, so that the start of a start is asked for too.
        for key, job in jobs.items():
            if key in wanted and job.start and not self._store.result(job.start).exists():
                wanted.setdefault(job.start, jobs[job.start])
        return dict(sorted(wanted.items(), key=lambda item: (item[1].index, item[1].start == "")))

    def is_ready(self, job: Job) -> bool:
        """Whether what the run starts from is there."""
        return not job.start or (self._store.get(job.start) is not None and self._store.result(job.start).exists())

    def task(self, job: Job) -> Task:
        """What a process needs to do the run."""
        case, own = self._variants[job.index].case, self._own[job.index]
        assert case is not None
        start = self._store.result(job.start) if job.start else own.start
        text = case.text if start is None else to_toml(changed(case, {"run.start_from": START}))
        wants_result = self._rules.keep_results or (
            self.is_warm and any(other is not None and other.start == job.key for other in self.jobs())
        )
        return Task(
            job.key, case.path.name, text, own.files, start, self._rules.time_limit, self._rules.memory_limit,
            wants_result,
        )  # fmt: skip

    def drop_results(self) -> None:
        """Delete the results that nothing starts from any more, unless all are kept."""
        if not self._rules.keep_results:
            starts = {job.start for job in self.todo().values()}
            for job in self.jobs():
                if job is not None and job.key not in starts:
                    self._store.drop_result(job.key)

    def _is_barren(self, key: str) -> bool:
        record = self._store.get(key)
        return record is not None and not record.is_solved


@dataclass(frozen=True)
class _Own:
    """What a variant's answer hangs on besides its start: its case, and the files that names, as they stand now."""

    hash: str
    files: dict[str, str]
    start: Path | None

    @classmethod
    def of(cls, case: Case) -> _Own:
        files = fan_texts(case)
        start = None if case.run.start_from is None else case.path.parent / case.run.start_from
        begun = "" if start is None else hashlib.sha256(start.read_bytes()).hexdigest()
        return cls(_hash(__version__, RECORD, case.text, json.dumps(files, sort_keys=True), begun), files, start)


def _hash(*parts: str) -> str:
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:24]
