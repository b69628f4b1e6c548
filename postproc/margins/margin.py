"""`margin`: how far each knob of a chamber may move, alone, before touchdown changes. Read `margin` first."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

from swirlwright.postproc.margins.bracket import Bracket, bracket, ladder
from swirlwright.postproc.margins.knobs import Knob, knobs_of
from swirlwright.postproc.margins.runs import (
    KeepingStore,
    Trials,
    coarser,
    default_folder,
    owner,
    point,
    refuse_without_column,
)
from swirlwright.postproc.margins.values import (
    AT_BOUND,
    BEYOND_BOUND,
    CHANGES,
    FAILED,
    NO_CASE,
    End,
    KnobMargin,
    Margins,
    Point,
)
from swirlwright.postproc.sweeps.data import write_csv, write_data_set
from swirlwright.postproc.sweeps.store import Record
from swirlwright.postproc.sweeps.sweep import refuse_workers
from swirlwright.postproc.verdict import MARGINAL, OFTEN, SELDOM, YES
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.schema import Case


def margin(
    case: Case,
    folder: str | Path | None = None,
    watch: Watch = SILENT,
    *,
    workers: int | None = None,
    result: str | Path | None = None,
) -> Margins:
    """Move each knob of a chamber up and down until touchdown changes.

    Parameters
    ----------
    case : Case
    folder : path, optional
        Where all is kept; by default the case's name with `.margin`, here. The same call goes on where one was stopped.
        base.h5 there is the result of the case as given, margin.h5 and margin.csv hold all runs.
    watch : Watch
        Told of the progress.
    workers : int, optional
        Runs at a time; by default the processors of this machine.
    result : path, optional
        A result of this very case that is to carry the margins too, besides base.h5.

    Raises
    ------
    InputError
        If the case has no jets or no exhaust, or the folder is wrong.
    ResultError
        If the case as given came to no answer.
    SweepStopped
        On Ctrl-C.
    """
    refuse_without_column(case)
    refuse_workers(workers)
    base = coarser(case)
    knobs, lacking = knobs_of(base)
    folder = default_folder(case) if folder is None else Path(folder)
    with KeepingStore.opened(folder, owner(case)) as store:
        store.forget_failed()
        trials = Trials(base, store, watch, workers)
        search = _Search(trials, knobs)
        while (number := search.add_round()) > 0:
            watch.message(f"{number} more chamber{'s' if number > 1 else ''}")
            trials.run()
        trials.rerun_cold(search.beyond())
        data = trials.data_set(
            {
                knob.name: {"units": "1", "long_name": f"{knob.words} over that of the case", "neutral": 1.0}
                for knob in knobs
            },
            f"Margins of {case.title}",
        )
        write_data_set(data, folder / "margin.h5")
        write_csv(data, folder / "margin.csv")
        found = search.margins(case.title, lacking)
        trials.note(*(() if result is None else (Path(result),)), margins_json=json.dumps(found.as_json()))
    return replace(found, data=data)


class _Search:
    """Brackets both ends of every knob, a run of each unfinished end in a round."""

    def __init__(self, trials: Trials, knobs: tuple[Knob, ...]):
        self._trials, self._knobs = trials, knobs
        self._verdict = point(trials.record(0)).touchdown
        self._index: dict[str, dict[float, int]] = {knob.name: {} for knob in knobs}

    def _points(self, knob: Knob) -> dict[float, Point]:
        """All that was tried of a knob by its factor, the case as given included."""
        tried = {1.0: 0, **self._index[knob.name]}
        return {f: _point(knob, f, self._trials.record(tried[f])) for f in sorted(tried)}

    def _bracket(self, points: dict[float, Point], knob: Knob, bound: float) -> Bracket:
        def differ(one: float, other: float) -> bool:
            return not points[one].is_within_chance_of(points[other])

        def is_sure(factor: float) -> bool:
            return not _is_by_chance(points[1.0], points[factor])

        seen = {f: p.touchdown or None for f, p in points.items()}
        return bracket(seen, self._verdict, bound, knob.resolution, differ, is_sure)

    def add_round(self) -> int:
        """Add the next variant of each end; how many there are."""
        number = 0
        for knob in self._knobs:
            points = self._points(knob)
            for bound in (knob.low, knob.high):
                factor = self._bracket(points, knob, bound).following
                if factor is not None:
                    self._index[knob.name][factor] = self._trials.add({knob.name: factor}, knob.changes(factor))
                    number += 1
        return number

    def beyond(self) -> list[int]:
        """The variants just beyond a change, the smallest move first."""
        found = []
        for knob in self._knobs:
            points = self._points(knob)
            for bound in (knob.low, knob.high):
                outer = self._bracket(points, knob, bound).outer
                if outer is not None and points[outer].touchdown and not _is_by_chance(points[1.0], points[outer]):
                    found.append((abs(math.log(outer)), self._index[knob.name][outer]))
        return [index for _, index in sorted(found)]

    def margins(self, title: str, lacking: dict[str, str]) -> Margins:
        """What was found."""
        t = self._trials
        return Margins(
            title=title,
            settings=t.settings,
            base=point(t.record(0)),
            knobs=tuple(self._margin(knob) for knob in self._knobs),
            lacking=lacking,
            runs=t.count("done", "not-converged", "failed"),
            not_converged=t.count("not-converged"),
            failed=t.count("failed"),
            rerun_cold=len(t.cold),
            differ_cold=t.differ_cold(),
        )

    def _margin(self, knob: Knob) -> KnobMargin:
        points = self._points(knob)
        down, up = (self._end(points, knob, bound) for bound in (knob.low, knob.high))
        return KnobMargin(knob.name, knob.words, knob.how, knob.unit, points[1.0].value, knob.low, knob.high,
                          knob.resolution, down, up, tuple(points.values()))  # fmt: skip

    def _end(self, points: dict[float, Point], knob: Knob, bound: float) -> End:
        found = self._bracket(points, knob, bound)
        stays = points[found.inner]
        if not ladder(bound):
            return End(AT_BOUND, stays, None)
        if found.outer is None:
            return End(BEYOND_BOUND, stays, None)
        beyond = points[found.outer]
        if beyond.touchdown:
            return End(CHANGES, stays, beyond, _is_by_chance(points[1.0], beyond))
        record = self._trials.record(self._index[knob.name][found.outer])
        return End(NO_CASE if record.status == "refused" else FAILED, stays, beyond)


def _is_by_chance(base: Point, beyond: Point) -> bool:
    """Whether a run with another verdict than the case as given is within chance of it, and of the limit passed.

    Within chance: by no more than twice the standard error. Neither alone is doubt: a share of 0 is near the limit of
    10 per cent, and one of 70 near that of 80 as given.
    """
    is_often = base.touchdown == YES or (base.touchdown == MARGINAL and beyond.touchdown == YES)
    limit = OFTEN if is_often else SELDOM
    is_near = beyond.share is not None and abs(beyond.share - limit) <= 2.0 * (beyond.chance or 0.0)
    return is_near and beyond.is_within_chance_of(base)


def _point(knob: Knob, factor: float, record: Record) -> Point:
    """A point with the knob's value: that of the air network where it decides."""
    value = record.numbers.get(knob.value) if isinstance(knob.value, str) else factor * knob.value
    return point(record, factor, value)
