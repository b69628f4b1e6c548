"""The models behind `calibrate`: the constants of a case, the air network alone, and the solved flow."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from swirlwright.postproc.grid_and_spread import ENDED, holds_ended_run
from swirlwright.postproc.measured.fit import Array, Constant, Prediction, Steps
from swirlwright.postproc.measured.points import Extent, Point
from swirlwright.postproc.measured.values import computed_at, network_value
from swirlwright.solver.casefile import vary
from swirlwright.solver.errors import InputError, SwirlwrightError
from swirlwright.solver.moved_case import write_moved
from swirlwright.solver.network import network_json, solve_network
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.result_reading import load_result, read_attributes
from swirlwright.solver.schema import Case

DISCHARGE, INFLOW_LOSS = "discharge_coefficient", "inflow_loss"
VISCOSITY = {"mixing-length": "length_constant", "constant": "viscosity_ratio"}
# Bounds the constants are looked for in, and whether they are spaced by ratios. Discharge coefficient of a drilled
# hole: 0.4 with burrs, 1 well rounded. Loss of an open side: 0 rounded, 1 re-entrant, 3 behind a screen. Mixing length
# over the width of a layer: 0.07 to 0.16 in the literature (Launder and Spalding 1972, from memory), threefold on both
# sides. Effective over molecular viscosity: our own, wide. All others common practice, no source.
BOUNDS = {
    DISCHARGE: (0.4, 1.0, False),
    INFLOW_LOSS: (0.0, 3.0, False),
    "length_constant": (0.02, 0.5, True),
    "viscosity_ratio": (0.5, 500.0, True),
}
# What the air network alone depends on.
IN_NETWORK = (DISCHARGE, INFLOW_LOSS)
# The network is solved to nine digits; a steady flow to run.tolerance, and until the network agrees to 1e-4; time
# averages are known to their chance errors only, a few per cent.
NETWORK_STEPS = Steps(difference=0.02, tolerance=1e-4, most=50)
STEADY_STEPS = Steps(difference=0.04, tolerance=1e-2, most=12)
AVERAGED_STEPS = Steps(difference=0.15, tolerance=3e-2, most=6)


def constants_of(case: Case, bounds: Mapping[str, tuple[float, float]] | None = None) -> list[Constant]:
    """The constants of a case that may be fitted, in the order network first.

    Parameters
    ----------
    case : Case
    bounds : mapping, optional
        Other bounds by name than `BOUNDS`.

    Returns
    -------
    list of Constant
        Discharge coefficient (of the first row; rows that differ keep their ratio to it) where there are tubes, inflow
        loss where a side is open, and the constant of the closure. Bounds are widened to twice and half the value of
        the case where that lies outside.
    """
    start: dict[str, float] = {}
    if case.tubes:
        start[DISCHARGE] = case.tubes[0].rows[0].discharge_coefficient
    if case.chamber.open_area + case.chamber.leak_area > 0.0:
        start[INFLOW_LOSS] = case.chamber.inflow_loss
    if (name := VISCOSITY.get(case.model.closure)) is not None:
        start[name] = getattr(case.model, name)
    found = []
    for name, value in start.items():
        low, high, is_ratio = BOUNDS[name]
        low, high = (bounds or {}).get(name, (low, high))
        low = low if value >= low else 0.5 * value
        high = high if value <= high else 2.0 * value
        if name == DISCHARGE:
            high = min(high, _largest_discharge(case))
        elif name == "length_constant":
            high = min(high, 1.0)
        found.append(Constant(name, value, low, high, is_ratio))
    return found


def _largest_discharge(case: Case) -> float:
    """The first row's coefficient at which the largest of all is 1."""
    every = [row.discharge_coefficient for tubes in case.tubes for row in tubes.rows]
    return every[0] / max(every)


def key_of(name: str) -> str:
    """The key of the case that a constant stands for; of the discharge coefficient the first row's."""
    return {
        DISCHARGE: "tubes.1.rows.1.discharge_coefficient",
        INFLOW_LOSS: "chamber.inflow_loss",
    }.get(name, f"model.{name}")


def changes_of(case: Case, values: Mapping[str, float]) -> dict[str, Any]:
    """Keys of the case and their values for given constants."""
    changes: dict[str, Any] = {}
    for name, value in values.items():
        plain = float(f"{value:.9g}")
        if name != DISCHARGE:
            changes[key_of(name)] = plain
            continue
        first = case.tubes[0].rows[0].discharge_coefficient
        for i, tubes in enumerate(case.tubes, start=1):
            for j, row in enumerate(tubes.rows, start=1):
                scaled = float(f"{plain * row.discharge_coefficient / first:.9g}")
                changes[f"tubes.{i}.rows.{j}.discharge_coefficient"] = min(scaled, 1.0)
    return changes


def extent_of_case(case: Case) -> Extent:
    """Where points of a case may lie."""
    kinds = tuple(k for k, tubes in enumerate(case.tubes) for _ in range(tubes.number))
    return Extent(case.chamber.height, case.model_radius, kinds)


def knows_exhaust(case: Case) -> bool:
    """Whether the air network alone gives the exhaust flow exactly: no open side or leak lets the flow have a say."""
    is_closed = case.chamber.open_area + case.chamber.leak_area == 0.0
    return is_closed or (case.exhaust is not None and case.exhaust.flow is not None)


class NetworkModel:
    """Points that the air network gives without a solved flow: milliseconds each.

    Parameters
    ----------
    case : Case
    points : sequence of Point
        Exhaust flows and tube pressures.
    chamber_pressure : callable, optional
        Pressure of the chamber at the tubes by height [m], against the room [Pa]; without it the network's estimate.
    """

    def __init__(self, case: Case, points: Sequence[Point], chamber_pressure: Callable[[float], float] | None = None):
        self.case, self.points, self.chamber_pressure = case, points, chamber_pressure

    def __call__(self, values: Mapping[str, float]) -> Prediction:
        nothing = np.zeros(len(self.points))
        try:
            case = vary(self.case, changes_of(self.case, values))
            network = network_json(solve_network(case, chamber_pressure=self.chamber_pressure))
        except InputError:  # no balance with these constants: a trial that the search turns away from
            return Prediction(nothing + np.nan, nothing)
        return Prediction(np.array([network_value(network, point) for point in self.points]), nothing)


class FlowModel:
    """Points of the solved flow: each trial of the constants is a run, kept in a folder, so that a fit can go on.

    In steady mode runs start from the field of the first one. A run that blows up is a trial without values.

    Attributes
    ----------
    runs, reused : int
        Solved now, and found in the folder from an earlier call.
    not_converged : list of str
        Names of the files of runs that did not converge.
    reasons : dict
        By line of the table, why the first run has no value at a point.
    """

    def __init__(self, case: Case, points: Sequence[Point], folder: Path, watch: Watch = SILENT):
        self.case, self.points, self.folder, self.watch = _moved(case, folder), points, folder, watch
        self.runs = self.reused = 0
        self.not_converged: list[str] = []
        self.reasons: dict[int, str] = {}
        self._first: Path | None = None
        self._first_changes: dict[str, Any] = {}
        self._seen: set[Path] = set()

    def __call__(self, values: Mapping[str, float]) -> Prediction:
        path = self._solved(values)
        nothing = np.zeros(len(self.points))
        if path is None:
            return Prediction(nothing + np.nan, nothing)
        computed = computed_at(load_result(path), self.points)
        if path == self._first:
            self.reasons = {p.line: c.reason for p, c in zip(self.points, computed, strict=True) if c.value is None}
        found = [np.nan if c.value is None else c.value for c in computed]
        return Prediction(np.array(found), np.array([c.chance for c in computed]))

    @property
    def is_steady(self) -> bool:
        """Whether the first run ended in a steady state."""
        return self._first is not None and read_attributes(self._first)["outcome"] == Outcome.STEADY.label

    def wall_pressure(self) -> Callable[[float], float]:
        """Pressure at the side in the first run [Pa] by height [m]."""
        if self._first is None:
            raise SwirlwrightError(f"{self.case.path}: the flow of the case as it is cannot be computed")
        data = load_result(self._first)
        field: Array = data.mean["pressure"] if data.mean else data.frames["pressure"][-1]
        at_side = field[:, -1]
        return lambda height: float(np.interp(height, data.z, at_side))

    def _solved(self, values: Mapping[str, float]) -> Path | None:
        """The result of a trial, solved unless it is there; None if there is none to be had."""
        changes = changes_of(self.case, values)
        # A transient run is a start-up of its own: a warm start would change what is measured.
        if self._first is not None and changes != self._first_changes and self.case.run.mode == "steady":
            changes["run.start_from"] = self._first.name
        try:
            case = vary(self.case, changes)
        except InputError:
            return None
        path = self.folder / f"{hashlib.sha256(case.text.encode()).hexdigest()[:16]}.h5"
        if path in self._seen:
            return path
        if holds_ended_run(path, case):
            self.reused += 1
        elif not self._solve(case, path, values):
            return None
        self._seen.add(path)
        if not read_attributes(path).get("converged", 0):
            self.not_converged.append(path.name)
        if self._first is None:
            self._first, self._first_changes = path, changes
        return path

    def _solve(self, case: Case, path: Path, values: Mapping[str, float]) -> bool:
        from swirlwright.solver.solve import solve

        told = ", ".join(f"{name} {value:.4g}" for name, value in values.items())
        self.watch.update(self.runs, f"run {self.runs + 1}: {told}")
        try:
            result = solve(case, path, _Within(self.watch, self.runs))
        except InputError:
            return False
        finally:
            self.runs += 1
        if result.outcome in (Outcome.INTERRUPTED, Outcome.OUT_OF_TIME):
            what = f"{result.outcome.label}; calibrate again with the same output to go on with the runs that had ended"
            raise SwirlwrightError(f"{path}: {what}")
        return result.outcome.label in ENDED


def _moved(case: Case, folder: Path) -> Case:
    """The case in the folder of the runs, with its fan files and its start: a start must lie beside the case."""
    folder.mkdir(parents=True, exist_ok=True)
    moved, _ = write_moved(vary(case, {"run.start_from": None}), folder / "case.toml", ["# Copy for the runs here."])
    if case.run.start_from is None:
        return moved
    shutil.copyfile(case.path.parent / case.run.start_from, folder / "start.h5")
    return vary(moved, {"run.start_from": "start.h5"})


class _Within:
    """The watch of one run inside a longer stretch of work: its progress is a note of that."""

    def __init__(self, outer: Watch, done: int):
        self.outer, self.done = outer, done
        self.label = ""

    def start(self, label: str, total: float) -> None:
        self.label = label

    def update(self, done: float, note: str = "") -> None:
        self.outer.update(self.done, f"run {self.done + 1}, {self.label}: {note}")

    def message(self, text: str) -> None: ...

    def finish(self) -> None: ...
