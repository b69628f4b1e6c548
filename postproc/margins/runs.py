"""The runs behind `margin`: a case on a coarser grid, and chambers a little other than it, begun from its field."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from swirlwright import __version__
from swirlwright.postproc.grid_and_spread import grids_of
from swirlwright.postproc.margins.values import BASE, Point, Settings
from swirlwright.postproc.sweeps.plan import Rules
from swirlwright.postproc.sweeps.store import Owner, Record, Run, Store
from swirlwright.postproc.sweeps.sweep import run_variants
from swirlwright.postproc.verdict import by_share
from swirlwright.solver.casefile import changed, fan_texts, parse_case, to_toml
from swirlwright.solver.errors import InputError, Problem, ResultError
from swirlwright.solver.progress import Watch
from swirlwright.solver.result_notes import annotate
from swirlwright.solver.schema import Case
from swirlwright.solver.variants import Variant, reason_of

if TYPE_CHECKING:
    import numpy as np
    import xarray as xr

# Averaging of the moved chambers over that of the case: they begin in a flow that has already spun up, and a share of
# time is wanted to some points only.
AVERAGE = 0.5
# Moved chambers that are run once more from rest, to see whether their verdict hangs on where they began.
COLD = 2


class KeepingStore(Store):
    """A store that keeps the result all others start from, also between rounds, and no older one."""

    kept = ""

    def keep_only(self, key: str) -> None:
        """Keep the result of a key, and delete those of all other records."""
        self.kept = key
        for path in self.result(key).parent.glob("*.h5"):
            if path.stem != key and path.stem in self._records:
                path.unlink()

    def drop_result(self, key: str) -> None:
        if key != self.kept:
            super().drop_result(key)

    def forget(self, key: str) -> None:
        """Take a variant as not yet run."""
        self._records.pop(key, None)


def default_folder(case: Case) -> Path:
    """`table-top.toml` has `table-top.margin` in the working directory."""
    return Path(f"{case.path.stem}.margin")


def owner(case: Case) -> Owner:
    """What the folder of its margins is for."""
    return Owner("margin", case.title, case.path)


def coarser(case: Case) -> Case:
    """The case on the first coarser grid of a grid study, three quarters of the cells along both directions."""
    return next(iter(grids_of(case).values()))


def refuse_without_column(case: Case) -> None:
    """Refuse a case in which no column is to touch down: all its runs would be for nothing.

    Raises
    ------
    InputError
        With what the case lacks.
    """
    if lacking := case.lacks_for_touchdown:
        why = f"has no {lacking}, so touchdown is no question here and margin has nothing to tell"
        raise InputError([Problem(str(case.path), 0, "", None, why)])


class Trials:
    """A base case, run as it is, and variants of it that begin from its field.

    Parameters
    ----------
    base : Case
    store : KeepingStore
        An opened folder.
    watch, workers
        As in `sweep`.

    Raises
    ------
    ResultError
        If the base came to no answer.
    """

    def __init__(self, base: Case, store: KeepingStore, watch: Watch, workers: int | None):
        self.base, self._store, self._watch, self._workers = base, store, watch, workers
        self.variants = [Variant(0, {}, base, "", None)]
        self.changes: list[dict[str, Any]] = [{}]
        watch.message("the case as given")
        self.runs = self._run(Rules(keep_results=True))[0]
        if not self.runs[0].record.is_solved:
            raise ResultError(f"{base.path}: the case as given came to no answer: {self.runs[0].record.reason}")
        if not store.result(self.runs[0].key).exists():
            store.forget(self.runs[0].key)
            self._run(Rules(keep_results=True))
        store.keep_only(self.runs[0].key)
        self.cold: dict[int, Record] = {}

    @property
    def settings(self) -> Settings:
        """How the runs are made."""
        run, grid = self.base.run, self.base.grid
        return Settings(
            closure=self.base.model.closure,
            cells=(grid.cells_r, grid.cells_z),
            spin_up=run.spin_up,
            average=AVERAGE * run.average,
            base_average=run.average,
            is_transient=self.is_transient,
        )

    @property
    def is_transient(self) -> bool:
        """Whether each run begins as the case does, since its start is part of what is judged."""
        return self.base.run.mode == "transient"

    def add(self, values: Mapping[str, float], changes: Mapping[str, Any], folder: Path | None = None) -> int:
        """Add a variant and return its place.

        values: parameters of the data set. changes: keys of the case. folder: where its fan files stand, if not beside
        the case.
        """
        index = len(self.variants)
        run: dict[str, Any] = {}
        if not self.is_transient:
            # They begin from the base's field, whatever that began from.
            run = {"run.average": AVERAGE * self.base.run.average, "run.start_from": None}
        path = self.base.path if folder is None else folder / self.base.path.name
        case, reason = None, ""
        try:
            case = parse_case(to_toml(changed(self.base, {**run, **changes})), path)
        except InputError as error:
            reason = reason_of(error)
        self.variants.append(Variant(index, dict(values), case, reason, None if self.is_transient else 0))
        self.changes.append(dict(changes))
        return index

    def run(self) -> None:
        """Run the variants that have no record yet."""
        self.runs = self._run(Rules())[0]

    def rerun_cold(self, deciding: Sequence[int] = ()) -> None:
        """Run some of the variants from rest as well: the first of those that decide the answer, or spread evenly."""
        if not self.is_transient:
            self.runs, self.cold = self._run(Rules(cold_sample=COLD, cold=tuple(deciding[:COLD])))

    def _run(self, rules: Rules) -> tuple[list[Run], dict[int, Record]]:
        return run_variants(self.variants, rules, self._store, self._watch, workers=self._workers)

    def record(self, index: int) -> Record:
        """What a variant left."""
        return self.runs[index].record

    def count(self, *status: str) -> int:
        """How many runs ended so."""
        return sum(run.record.status in status for run in self.runs)

    def note(self, *results: Path, **attributes: str) -> None:
        """Write an outcome into the base's result, which then stands in the folder under its name, and into others."""
        own, shown = self._store.result(self._store.kept), self._store.folder / BASE
        for path in (own, *results):
            annotate(path, **attributes)
        shown.unlink(missing_ok=True)
        try:
            os.link(own, shown)
        except OSError:
            shutil.copyfile(own, shown)

    def differ_cold(self) -> int:
        """How many of the cold reruns have another share of time than from the base's field, beyond chance."""
        pairs = [(point(record), point(self.record(index))) for index, record in self.cold.items()]
        return sum(bool(one.touchdown and two.touchdown) and not one.is_within_chance_of(two) for one, two in pairs)

    def data_set(
        self,
        parameters: Mapping[str, Mapping[str, Any]],
        title: str,
        sample: Mapping[str, Any] | None = None,
        quantiles: np.ndarray | None = None,
    ) -> xr.Dataset:
        """All runs as one data set, as of a sweep of random variants.

        parameters: name to attributes of its coordinate, `neutral` among them: the value of what is as given.
        sample: how all but the first were drawn, as in a study file; None if they were not.
        quantiles: of the draws, (n - 1, parameters), each a coordinate of its own; the case as given is no draw.
        """
        import numpy as np
        import xarray as xr

        from swirlwright.postproc.sweeps.data import FORMAT, FORMAT_VERSION, QUANTILE, variables

        data = variables(self.variants, self.runs, self.cold)
        texts = np.array([json.dumps(changes) for changes in self.changes], dtype=object)
        data["changes"] = xr.Variable("variant", texts, {"long_name": "keys that differ from the base, JSON"})
        study = {"title": title, "base": self.base.path.name, **({} if sample is None else {"sample": sample})}
        coordinates = {}
        for name, attributes in parameters.items():
            values = [variant.values.get(name, attributes["neutral"]) for variant in self.variants]
            shown = {key: value for key, value in attributes.items() if key != "neutral"}
            coordinates[name] = xr.Variable("variant", np.array(values, dtype=float), shown)
        if quantiles is not None:
            for name, column in zip(parameters, quantiles.T, strict=True):
                of = {"units": "1", "long_name": f"quantile of {name} in its distribution"}
                coordinates[name + QUANTILE] = xr.Variable("variant", np.array([np.nan, *column]), of)
        return xr.Dataset(data, coordinates, {
            "format": FORMAT,
            "format_version": FORMAT_VERSION,
            "title": title,
            "parameters": json.dumps(list(parameters)),
            "study_text": to_toml(study),
            "base_case_text": self.base.text,
            "fan_files_json": json.dumps(fan_texts(self.base)),
            "swirlwright_version": __version__,
        })  # fmt: skip


def point(record: Record, factor: float = 1.0, value: float | None = None) -> Point:
    """A record as a point of a margin; its touchdown by the share of time alone."""
    if not record.is_solved:
        return Point(factor, value, "", None, None, False, record.reason)
    share, chance = record.numbers["touchdown_share"], record.numbers["touchdown_share_chance"]
    assert share is not None
    return Point(factor, value, by_share(share), share, chance, record.status == "done", record.reason)
