"""`calibrate`: constants of a case fitted to measured points. Definitions: postproc/README.md, Measured chambers."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from swirlwright.postproc.measured.file import read_measured
from swirlwright.postproc.measured.fit import Array, Constant, Estimate, Fit, ForwardModel, Held, Known, Steps
from swirlwright.postproc.measured.fitting import FitError, fit
from swirlwright.postproc.measured.models import (
    AVERAGED_STEPS,
    IN_NETWORK,
    NETWORK_STEPS,
    STEADY_STEPS,
    FlowModel,
    NetworkModel,
    constants_of,
    extent_of_case,
    knows_exhaust,
)
from swirlwright.postproc.measured.points import NETWORK, MeasuredData, Point, check_places
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.schema import Case

# Scatter this far below what the uncertainties say (p above it) is told.
SMALL_SCATTER = 0.99
# Below this p-value the model with the fitted constants does not explain the data.
POOR = 0.05


@dataclass(frozen=True)
class Stage:
    """One fit: by the air network alone or by the solved flow; the points it was made to."""

    name: str
    points: tuple[Point, ...]
    fit: Fit


@dataclass(frozen=True)
class Calibration:
    """Everything `calibrate` found.

    Attributes
    ----------
    case : Case
        As it was given.
    measured : MeasuredData
    stages : tuple of Stage
        First the air network, then the flow; those that were needed.
    estimates, held : tuple
        Constants fitted, and those left as they are with the reason.
    unused : dict
        By line of the table, why a point was not fitted to.
    runs, reused : int
        Flows solved, and found from an earlier call.
    folder : Path or None
        Where their results are kept.
    not_converged : tuple of str
        Runs among them that did not converge.
    cautions : tuple of str
    """

    case: Case
    measured: MeasuredData
    stages: tuple[Stage, ...]
    estimates: tuple[Estimate, ...]
    held: tuple[Held, ...]
    unused: dict[int, str]
    runs: int
    reused: int
    folder: Path | None
    not_converged: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def is_converged(self) -> bool:
        """Whether every fit ended by itself and every run converged."""
        return not self.not_converged and all(stage.fit.is_converged for stage in self.stages)

    @property
    def values(self) -> dict[str, float]:
        """Fitted values by name."""
        return {e.constant.name: e.value for e in self.estimates}

    @property
    def correlation(self) -> Array:
        """Correlations of `estimates`, in their order."""
        return self.stages[-1].fit.correlation if self.estimates else np.zeros((0, 0))

    @property
    def chi_square(self) -> float:
        """Sum over all points fitted to."""
        return sum(stage.fit.chi_square for stage in self.stages)

    @property
    def degrees(self) -> int:
        """Points fitted to less constants fitted."""
        return sum(stage.fit.degrees for stage in self.stages)

    @property
    def p_value(self) -> float | None:
        """Chance of a larger sum; None without a degree of freedom."""
        from scipy.stats import chi2

        return float(chi2.sf(self.chi_square, self.degrees)) if self.degrees > 0 else None

    def text(self) -> str:
        """A sheet to read."""
        from swirlwright.postproc.measured.calibrate_words import as_text

        return as_text(self)

    def as_json(self) -> dict[str, Any]:
        """Plain values in SI for one JSON object."""
        from swirlwright.postproc.measured.calibrate_words import as_json

        return as_json(self)


def calibrate(
    case: Case,
    measured: str | os.PathLike[str],
    folder: str | os.PathLike[str],
    watch: Watch = SILENT,
    *,
    bounds: Mapping[str, tuple[float, float]] | None = None,
) -> Calibration:
    """Fit discharge coefficient, loss of the open sides and the closure's constant to measured points.

    What tube pressures, and exhaust flows that no open side has a say in, tell of discharge coefficient and loss is
    found by the air network alone, in seconds; what is left, by solving the flow again and again.

    Parameters
    ----------
    case : Case
    measured : path
        Table of measured points (CSV).
    folder : path
        Where the results of the flows are kept; a calibration that was stopped goes on with them.
    watch : Watch
        Told of progress.
    bounds : mapping, optional
        Other bounds by name of the constant than `models.BOUNDS`.

    Raises
    ------
    InputError
        If the table is wrong, a point lies outside the chamber, or the case has no constant to fit.
    FitError
        If no point can be computed.
    """
    table = read_measured(Path(measured))
    check_places(table, extent_of_case(case))
    constants = constants_of(case, bounds)
    if not constants:
        what = f"has no constant to fit: no tubes, no open side, and closure {case.model.closure} has none"
        raise InputError([Problem(str(case.path), 1, "model.closure", None, what)])
    return _Calibrating(case, table, Path(folder), watch, constants).done()


class _Calibrating:
    """The two stages, and what they leave."""

    def __init__(self, case: Case, table: MeasuredData, folder: Path, watch: Watch, constants: list[Constant]):
        self.case, self.table, self.folder, self.watch, self.constants = case, table, folder, watch, constants
        self.stages: list[Stage] = []
        self.held: dict[str, Held] = {}
        # Where no point needs a flow, the network's estimate of the exhaust flow has to do.
        self.needs_flow = any(p.quantity not in NETWORK for p in table.points)
        self.quick = [p for p in table.points if self._is_quick(p)]
        self.slow = [p for p in table.points if not self._is_quick(p)]
        self.flow: FlowModel | None = None

    def _is_quick(self, point: Point) -> bool:
        """Whether the air network alone computes a point."""
        if point.quantity == "exhaust_flow":
            return not self.needs_flow or knows_exhaust(self.case)
        return point.quantity in NETWORK

    def done(self) -> Calibration:
        if self.slow:
            # Two differences for each constant, and a trial, in each of a few rounds.
            self.watch.start("flows solved, of about", 1.0 + 4.0 * (1.0 + 2.0 * len(self.constants)))
        try:
            known = self._by_network()
            self._by_flow(known)
        finally:
            self.watch.finish()
        estimates = [e for stage in self.stages for e in stage.fit.estimates]
        fitted = {e.constant.name for e in estimates}
        for constant in self.constants:
            if constant.name not in fitted:
                self.held.setdefault(constant.name, Held(constant, "no measured point that was used depends on it"))
        flow = self.flow
        return Calibration(
            case=self.case,
            measured=self.table,
            stages=tuple(self.stages),
            estimates=tuple(estimates),
            held=tuple(self.held[c.name] for c in self.constants if c.name not in fitted),
            unused=self._unused(),
            runs=0 if flow is None else flow.runs,
            reused=0 if flow is None else flow.reused,
            folder=None if flow is None else self.folder,
            not_converged=() if flow is None else tuple(dict.fromkeys(flow.not_converged)),
            cautions=tuple(self._cautions(estimates)),
        )

    def _by_network(self) -> Known:
        """What the air network alone can tell."""
        constants = [c for c in self.constants if c.name in IN_NETWORK]
        if not self.quick or not constants:
            return Known()
        pressure = None
        if self.slow:
            # The flow's own pressure at the tubes is nearer than the network's estimate.
            pressure = self._first_flow().wall_pressure()
        stage = self._stage("air network", constants, self.quick, NetworkModel(self.case, self.quick, pressure))
        if not self.slow or stage.fit.estimates:
            self.stages.append(stage)
        return stage.fit.as_known if stage.fit.estimates else Known()

    def _first_flow(self) -> FlowModel:
        """The model of the flow, which has solved the case as it is: what is left starts from there."""
        if self.flow is None:
            self.flow = FlowModel(self.case, self.slow, self.folder, self.watch)
            self.flow({c.name: c.start for c in self.constants})
        return self.flow

    def _by_flow(self, known: Known) -> None:
        """What is left, by the solved flow; the points of the first stage join in if it found nothing."""
        fitted = {c.name for c in known.constants}
        constants = [c for c in self.constants if c.name not in fitted]
        if not self.slow or not constants:
            return
        flow = self._first_flow()
        flow.points = self.slow if fitted else list(self.table.points)
        steps = STEADY_STEPS if flow.is_steady else AVERAGED_STEPS
        self.stages.append(self._stage("flow", constants, flow.points, flow, steps, known))

    def _stage(
        self, name: str, constants: Sequence[Constant], points: Sequence[Point], model: ForwardModel,
        steps: Steps = NETWORK_STEPS, known: Known | None = None,
    ) -> Stage:  # fmt: skip
        measured, uncertainty = (np.array([getattr(p, what) for p in points]) for what in ("value", "uncertainty"))
        try:
            found = fit(constants, model, measured, uncertainty, steps, known)
        except FitError as error:
            reasons = dict.fromkeys(self.flow.reasons.values() if self.flow is not None else ())
            raise FitError("; ".join([str(error), *reasons])) from error
        self.held |= {held.constant.name: held for held in found.held}
        return Stage(name, tuple(points), found)

    def _unused(self) -> dict[int, str]:
        fitted_to = {
            p.line for stage in self.stages for p, used in zip(stage.points, stage.fit.used, strict=True) if used
        }
        reasons = {} if self.flow is None else self.flow.reasons
        return {
            p.line: reasons.get(p.line, "no constant that was left to fit depends on it")
            for p in self.table.points
            if p.line not in fitted_to
        }

    def _cautions(self, estimates: Sequence[Estimate]) -> list[str]:
        found = []
        if any(p.quantity == "exhaust_flow" for p in self.quick) and not knows_exhaust(self.case):
            found.append("the exhaust flow is the air network's estimate: it knows the chamber's pressure only roughly")
        for e in estimates:
            if e.is_at_bound:
                found.append(
                    f"{e.constant.name} stands at a bound: the data want a value beyond it, so something else is wrong"
                )
        for stage in self.stages:
            p_value, fitted = stage.fit.p_value, stage.fit.estimates
            if fitted and p_value < POOR:
                found.append(f"{stage.name}: the fitted model does not explain the points (p = {p_value:.2g}), so its "
                             "constants may make up for an error elsewhere")  # fmt: skip
            elif fitted and p_value > SMALL_SCATTER:
                found.append(f"{stage.name}: the points scatter much less than their uncertainties say "
                             f"(p = {p_value:.2g}): are these too large, or common to all points?")  # fmt: skip
            if fitted and stage.fit.degrees == 0:
                found.append(f"{stage.name}: as many constants as points, so nothing tests the fit")
            if not stage.fit.is_converged:
                found.append(f"{stage.name}: the search had not ended after its most trials")
        return found
