"""`sweep`: from a study file to one data set. Read `sweep` first; postproc/README.md tells what is where."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING

from swirlwright.postproc.sweeps.plan import Plan, Rules
from swirlwright.postproc.sweeps.pool import LocalPool, Pool, cores
from swirlwright.postproc.sweeps.store import Owner, Record, Run, Store
from swirlwright.solver.errors import InputError, Problem, SwirlwrightError
from swirlwright.solver.interrupts import handling_interrupt
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.study_file import Study, read_study
from swirlwright.solver.variants import Variant, variants_of

if TYPE_CHECKING:
    import xarray as xr


class SweepStopped(SwirlwrightError):
    """The sweep was stopped before its end; what was finished is kept."""


def sweep(
    study: str | Path | Study,
    folder: str | Path | None = None,
    watch: Watch = SILENT,
    *,
    workers: int | None = None,
    retry_failed: bool = False,
    scheduler: str | None = None,
) -> xr.Dataset:
    """Run every variant of a study that its folder does not hold yet, and put all into one data set.

    Parameters
    ----------
    study : path or Study
        The study file.
    folder : path, optional
        Folder of the sweep; by default the study's name with `.sweep`, here. sweep.h5 and sweep.csv are written there.
    watch : Watch
        Told of the progress.
    workers : int, optional
        Variants at a time; by default the processors of this machine.
    retry_failed : bool
        Run variants again that failed.
    scheduler : str, optional
        Address of a dask scheduler that runs the variants instead of this machine.

    Returns
    -------
    xarray.Dataset
        As in sweep.h5; see postproc/README.md.

    Raises
    ------
    InputError
        If the study, the folder or the number of workers is wrong.
    SweepStopped
        On Ctrl-C.
    """
    from swirlwright.postproc.sweeps.data import data_set, refuse_taken_names, write_csv, write_data_set

    refuse_workers(workers)
    study = study if isinstance(study, Study) else read_study(study)
    refuse_taken_names(study)
    variants = variants_of(study)
    folder = default_folder(study) if folder is None else Path(folder)
    rules = Rules(study.time_limit, study.memory_limit, study.keep_results, study.cold_sample)
    with Store.opened(folder, Owner("sweep", study.title, study.path)) as store:
        if retry_failed:
            store.forget_failed()
        runs, cold = run_variants(variants, rules, store, watch, workers=workers, scheduler=scheduler)
        data = data_set(study, variants, runs, cold)
        write_data_set(data, folder / "sweep.h5")
        write_csv(data, folder / "sweep.csv")
    return data


def refuse_workers(workers: int | None) -> None:
    """Refuse a number of workers with which nothing would ever run.

    Raises
    ------
    InputError
        If it is below 1.
    """
    if workers is not None and workers < 1:
        raise InputError([Problem("workers", 0, "", workers, "must be at least 1")])


def default_folder(study: Study) -> Path:
    """`jet-height.toml` has `jet-height.sweep` in the working directory."""
    return Path(f"{study.path.stem}.sweep")


def run_variants(
    variants: Sequence[Variant],
    rules: Rules,
    store: Store,
    watch: Watch = SILENT,
    *,
    workers: int | None = None,
    scheduler: str | None = None,
) -> tuple[list[Run], dict[int, Record]]:
    """Run the variants that the store has no record of.

    Parameters
    ----------
    variants : sequence of Variant
        The place of each is its index.
    rules : Rules
    store : Store
        An opened folder.
    watch, workers, scheduler
        As in `sweep`.

    Returns
    -------
    runs : list of Run
        One for each variant.
    cold : dict
        Records of the cold reruns by index of the variant.

    Raises
    ------
    InputError
        If the number of workers is below 1.
    SweepStopped
        On Ctrl-C.
    """
    refuse_workers(workers)
    plan = Plan(variants, rules, store)
    if plan.todo():
        with ExitStack() as stack:
            _follow(plan, store, _pool(stack, plan, store, workers, scheduler, watch), watch)
    jobs, found = plan.jobs(), []
    index_of = {job.key: job.index for job in reversed(jobs) if job is not None}
    for variant, job in zip(variants, jobs, strict=True):
        record = Record("refused", variant.reason) if job is None else store.get(job.key)
        assert record is not None
        start = None if job is None or not job.start else index_of[job.start]
        found.append(Run(record, start, "" if job is None else job.key))
    cold = {job.index: record for job in plan.cold_jobs() if (record := store.get(job.key)) is not None}
    return found, cold


def _pool(stack: ExitStack, plan: Plan, store: Store, workers: int | None, scheduler: str | None, watch: Watch) -> Pool:
    """Where the runs go, with the kernels compiled there."""
    if scheduler is not None:
        from swirlwright.postproc.sweeps.cluster import ClusterPool

        return stack.enter_context(ClusterPool.connected(scheduler, store, plan.closures))
    from swirlwright.solver.solve import warm_up

    watch.message("compiling the kernels, or loading them")
    for closure in plan.closures:
        warm_up(closure)
    return LocalPool(workers or cores(), store)


def _follow(plan: Plan, store: Store, pool: Pool, watch: Watch) -> None:
    """Hand runs out and take records in until none is missing."""
    todo, running = plan.todo(), set[str]()
    tally = _Tally(watch, len(todo), plan.count)
    with _stopping_on_interrupt() as has_come, ExitStack() as stack:
        stack.callback(watch.finish)
        stack.callback(pool.stop)
        while todo and not has_come.is_set():
            for job in todo.values():
                if not pool.has_room():
                    break
                if job.key not in running and plan.is_ready(job):
                    running.add(job.key)
                    pool.submit(plan.task(job))
            for key, record in pool.ended():
                store.keep(key, record)
                tally.add(record)
                running.discard(key)
                del todo[key]
                if plan.is_warm:
                    todo = plan.todo()
                    plan.drop_results()
            tally.tell(pool.running())
    if todo:
        raise SweepStopped(
            f"interrupted: {plan.count - len(todo)} of {plan.count} runs are finished and kept in {store.folder}; the "
            "same command goes on with the others"
        )


@contextmanager
def _stopping_on_interrupt() -> Iterator[Event]:
    """An event that Ctrl-C sets, so that the loop ends between two records."""
    has_come = Event()
    with handling_interrupt(lambda number, frame: has_come.set()):
        yield has_come


class _Tally:
    """Counts records, and tells done, running, failed and rate; the watch tells the time left."""

    def __init__(self, watch: Watch, todo: int, count: int):
        self._watch, self._began, self._counts = watch, time.monotonic(), Counter[str]()
        watch.start(f"{todo} of {count} runs", float(todo))

    def add(self, record: Record) -> None:
        self._counts[record.status] += 1
        if record.status == "failed":
            self._watch.message(f"failed: {record.reason}")

    def tell(self, running: int) -> None:
        done = self._counts.total()
        minutes = (time.monotonic() - self._began) / 60
        others = [
            f"{self._counts[name]} {name}" for name in ("not-converged", "refused", "failed") if self._counts[name]
        ]
        rate = f"{done / minutes:.3g} a minute" if done else "no rate yet"
        self._watch.update(float(done), ", ".join([f"{done} ended", f"{running} running", *others, rate]))
