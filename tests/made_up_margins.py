"""Runs of a margin made by formula: no flow is solved, but cases, records and result file are those of a margin."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import h5py
import pytest
from small import small

from swirlwright.postproc.margins import runs as margin_runs
from swirlwright.postproc.sweeps.plan import Rules
from swirlwright.postproc.sweeps.store import Record, Run, Store
from swirlwright.postproc.verdict import MARGINAL, NO, YES, Verdict
from swirlwright.solver.schema import Case
from swirlwright.solver.variants import Variant

Share = Callable[[Case], float]


def steady_small(changes: dict[str, Any] | None = None) -> Case:
    """The small chamber, judged by averages and not by a run with events."""
    plain = {"events": [], "run.probes": [], "run.lines": [], "run.mode": "steady", "run.average": 40.0}
    return small({**plain, **(changes or {})})


def standing(share: float, case: Case, chance: float = 0.0) -> Record:
    """A run in which a column stands for a share of the time, known to its standard error."""
    word = "yes" if share > 0.9 else "no" if share < 0.1 else "marginal"
    pressure = 0.0 if case.supply is None or case.supply.pressure is None else case.supply.pressure
    numbers = {"touchdown_share": share, "touchdown_share_chance": chance, "network_jet_momentum": 1e-3 * pressure}
    return Record("done", numbers=numbers, words={"touchdown": word})


def make_up_runs(monkeypatch: pytest.MonkeyPatch, answer: Callable[[Case], Record]) -> list[int]:
    """Let `margin` take its records from a formula; returns a list that grows by the runs made in each round."""
    made: list[int] = []

    def run(
        variants: Sequence[Variant], rules: Rules, store: Store, watch: object, *, workers: int | None
    ) -> tuple[list[Run], dict[int, Record]]:
        runs, number = [], 0
        for v in variants:
            key = "refused" if v.case is None else f"{abs(hash(v.case.text)):x}"
            if v.case is not None and store.get(key) is None:
                number += 1
                store.keep(key, answer(v.case))
            record = Record("refused", v.reason) if v.case is None else store.get(key)
            assert record is not None
            runs.append(Run(record, v.neighbour, key))
        if rules.keep_results:
            with h5py.File(store.result(runs[0].key), "w") as file:
                file.attrs["title"] = "made up"
        made.append(number)
        cold = rules.cold or ((len(runs) - 1,) if rules.cold_sample and len(runs) > 1 else ())
        return runs, {n: runs[n].record for n in cold}

    monkeypatch.setattr(margin_runs, "run_variants", run)
    return made


def verdict_of(word: str) -> Verdict:
    """A verdict made from nothing but its word."""
    share = {YES: 1.0, NO: 0.0, MARGINAL: 0.5}[word]
    return Verdict(word, share, 0.0, share, NO, 0.0, "to the floor", "none", "column", f"{word}: so it is.")
