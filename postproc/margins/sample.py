"""`margin --sample`: everything uncertain about a chamber drawn at once; the probability of touchdown."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

from swirlwright.postproc.margins.draws import Draw, drawn_fans, draws_of, latin_hypercubes
from swirlwright.postproc.margins.joint import Input, Joint, probability, rank_correlation
from swirlwright.postproc.margins.runs import (
    KeepingStore,
    Trials,
    coarser,
    default_folder,
    owner,
    point,
    refuse_without_column,
)
from swirlwright.postproc.margins.values import Point
from swirlwright.postproc.sweeps.data import write_csv, write_data_set
from swirlwright.postproc.sweeps.sweep import refuse_workers
from swirlwright.solver.errors import ResultError
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.schema import Case

SEED = 1
START = "start.h5"


def margin_sample(
    case: Case,
    count: int,
    folder: str | Path | None = None,
    watch: Watch = SILENT,
    *,
    workers: int | None = None,
    result: str | Path | None = None,
) -> Joint:
    """Draw all that is uncertain about a chamber at once, and tell how probable touchdown is.

    Parameters
    ----------
    case : Case
    count : int
        Draws; a larger count later goes on with those that are there.
    folder, watch, workers, result
        As in `margin`; sample.h5 and sample.csv hold all draws.

    Raises
    ------
    InputError
        If the case has no jets or no exhaust, or the folder is wrong.
    ResultError
        If the case as given, or all draws, came to no answer.
    SweepStopped
        On Ctrl-C.
    """
    if count < 1:
        raise ValueError(f"count must be at least 1, got {count}")
    refuse_without_column(case)
    refuse_workers(workers)
    base = coarser(case)
    folder = default_folder(case) if folder is None else Path(folder)
    with KeepingStore.opened(folder, owner(case)) as store:
        store.forget_failed()
        trials = Trials(base, store, watch, workers)
        draws = draws_of(base)
        quantiles = latin_hypercubes(len(draws), count, SEED)
        for number, row in enumerate(quantiles, start=1):
            _add(trials, draws, [d.at(float(share)) for d, share in zip(draws, row, strict=True)], number, folder)
        watch.message(f"{count} draws of {len(draws)} quantities")
        trials.run()
        trials.rerun_cold()
        data = trials.data_set(
            {draw.name: _coordinate(draw) for draw in draws},
            f"Joint uncertainty of {case.title}",
            {"method": "latin-hypercube", "count": count, "seed": SEED},
            quantiles,
        )
        write_data_set(data, folder / "sample.h5")
        write_csv(data, folder / "sample.csv")
        found = _joint(case.title, trials, draws)
        trials.note(*(() if result is None else (Path(result),)), joint_uncertainty_json=json.dumps(found.as_json()))
    return replace(found, data=data)


def _add(trials: Trials, draws: tuple[Draw, ...], values: list[float], number: int, folder: Path) -> None:
    changes: dict[str, Any] = {}
    for draw, value in zip(draws, values, strict=True):
        changes |= draw.changes(value)
    fans = {draw.fan: value for draw, value in zip(draws, values, strict=True) if draw.fan}
    if fans:
        changes |= drawn_fans(trials.base, fans, number, folder) | _brought_start(trials, number, folder)
    named = {draw.name: value for draw, value in zip(draws, values, strict=True)}
    trials.add(named, changes, folder if fans else None)


def _brought_start(trials: Trials, number: int, folder: Path) -> dict[str, Any]:
    """The result a transient case starts from, brought to where the drawn fan files are; nothing for any other."""
    start = trials.base.run.start_from
    if start is None or not trials.is_transient:
        return {}
    if number == 1:  # one copy serves all draws
        shutil.copyfile(trials.base.path.parent / start, folder / START)
    return {"run.start_from": START}


def _coordinate(draw: Draw) -> dict[str, Any]:
    return {"units": draw.unit, "long_name": f"{draw.words}: {draw.text()}", "source": draw.source,
            "neutral": draw.neutral}  # fmt: skip


def _joint(title: str, trials: Trials, draws: tuple[Draw, ...]) -> Joint:
    points: dict[int, Point] = {n: point(trials.record(n)) for n in range(1, len(trials.variants))}
    answers = {n: p for n, p in points.items() if p.touchdown}
    if not answers:
        raise ResultError(f"no draw came to an answer; the first: {points[1].reason}")
    shares = [float(p.share or 0.0) for p in answers.values()]
    inputs = []
    for draw in draws:
        values = [float(trials.variants[n].values[draw.name]) for n in answers]
        inputs.append(
            Input(draw.name, draw.words, draw.text(), draw.source, *rank_correlation(values, shares, len(draws)))
        )
    status = Counter(trials.record(n).status for n in points)
    return Joint(
        title=title,
        settings=trials.settings,
        base=point(trials.record(0)),
        probability=probability(list(answers.values())),
        counts=dict(Counter(p.touchdown for p in answers.values())),
        inputs=tuple(sorted(inputs, key=lambda i: -abs(i.correlation or 0.0))),
        drawn=len(points),
        refused=status["refused"],
        failed=status["failed"],
        not_converged=status["not-converged"],
        rerun_cold=len(trials.cold),
        differ_cold=trials.differ_cold(),
        seed=SEED,
    )
