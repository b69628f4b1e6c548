"""Unsteady runs as a row of legs: spin-up and averaging of a steady case, or the spans between events."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from swirlwright.solver.averages import Averages
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.fields import mean_budget
from swirlwright.solver.flow import Blowing
from swirlwright.solver.fog import fog_flows
from swirlwright.solver.grid import Grid
from swirlwright.solver.march import Control, Stopped, march
from swirlwright.solver.network import AirNetwork, solve_network
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import Watch
from swirlwright.solver.recording import Averaging, Frames, History, MeanPressure, Probes, Recorder
from swirlwright.solver.results import ResultWriter
from swirlwright.solver.schema import Case
from swirlwright.solver.state import State, imposed
from swirlwright.solver.transient import Stepper

# In a transient run the network follows the flow's pressure this often [s].
AGREEMENT_INTERVAL = 1.0
# Times closer than this [s] are one: a step between them would be round-off and nothing else.
SAME_TIME = 1e-9
# Wall-clock time between checkpoints [s]: what a kill may cost.
CHECKPOINT_SECONDS = 30.0
# Unless run.max_step says else, no step is longer than this share of radius over speed.
LARGEST_TURN = 0.2
# A spin-up is split into this many spans, after each of which the network is solved anew.
SPIN_UP_SPANS = 4
# Means of the two halves of the averaging window must agree within this share (design of the exit status).
HALF_WINDOW_AGREEMENT = 0.05


@dataclass(frozen=True)
class Leg:
    """One span of a run. agrees: the network is solved anew at its end. window: averages run in it."""

    end: float
    blowing: Blowing = Blowing()
    agrees: bool = False
    window: int | None = None


def averaging_legs(case: Case) -> list[Leg]:
    """Spin-up with the network following, then two half windows."""
    spin_up, half = case.run.spin_up, 0.5 * case.run.average
    legs = [Leg(spin_up * (n + 1) / SPIN_UP_SPANS, agrees=True) for n in range(SPIN_UP_SPANS)] if spin_up else []
    return [*legs, Leg(spin_up + half, window=0), Leg(spin_up + 2.0 * half, window=1)]


def transient_legs(case: Case) -> list[Leg]:
    """Spans between events and between the times at which the network follows the flow; one window over all."""
    marks = np.arange(AGREEMENT_INTERVAL, case.run.end_time, AGREEMENT_INTERVAL).tolist()
    legs, blowing, begin = [], Blowing(), 0.0
    for end in _apart([*(e.at for e in case.events), *marks, case.run.end_time]):
        for event in case.events:
            if abs(event.at - begin) <= SAME_TIME:
                blowing = Blowing(
                    exhaust=blowing.exhaust if event.exhaust is None else event.exhaust,
                    supply=blowing.supply if event.supply is None else event.supply,
                    fog=blowing.fog if event.fog is None else event.fog,
                    are_sides_open=blowing.are_sides_open if event.sides is None else event.sides == "open",
                )
        legs.append(Leg(end, blowing, agrees=True, window=0))
        begin = end
    return legs


def _apart(times: Sequence[float]) -> list[float]:
    """The times after 0 in order, those that are the same to round-off once; the last as it is."""
    ends: list[float] = []
    for t in sorted(times):
        if t - (ends[-1] if ends else 0.0) > SAME_TIME:
            ends.append(t)
    return [*ends[:-1], max(times)]


@dataclass
class UnsteadyRun:
    """The march through the legs with everything that is kept; `dump` and `load` make it go on bit for bit."""

    case: Case
    grid: Grid
    network: AirNetwork
    writer: ResultWriter
    control: Control
    watch: Watch
    state: State
    edge: float
    leg: int = 0
    is_inside_leg: bool = False
    agreed: dict[str, Any] = field(default_factory=dict)
    means: MeanPressure | None = None
    windows: list[Averages] = field(default_factory=list)
    frames: Frames = field(init=False)
    history: History = field(init=False)
    probes: Probes = field(init=False)
    saved_at: float = field(default_factory=time.monotonic)
    is_cut: bool = False

    def __post_init__(self) -> None:
        self.frames = Frames(self.writer, self.case.run.frame_interval)
        self.history = History(self.writer, self.edge)
        self.probes = Probes(self.writer, self.case.run)

    def follow(self, legs: Sequence[Leg]) -> None:
        """March through the legs that are still to come.

        Raises
        ------
        Stopped
            As `march`; what was reached is in `state` and the checkpoint.
        """
        self.watch.start("marching", legs[-1].end)
        try:
            while self.leg < len(legs):
                self._march_leg(legs)
        finally:
            if self.writer.is_open:
                self.history.flush()
                self.probes.flush()

    def _march_leg(self, legs: Sequence[Leg]) -> None:
        leg = legs[self.leg]
        chamber = Chamber.of(self.case, self.grid, self.network, leg.blowing)
        stepper = Stepper.of(chamber.problem)
        if not self.is_inside_leg:
            # What opens or closes between legs pushes the air at once, as an impulse.
            self.state = stepper.clean(imposed(chamber.problem, self.state))
            self.means = MeanPressure(np.zeros(self.grid.shape))
            if leg.window is not None and leg.window == len(self.windows):
                self.windows.append(Averages.begin(chamber.problem, self.state))
            if self.state.time >= self.frames.due:
                self.frames.write(stepper, self.state)
            self.is_inside_leg = True
        assert self.means is not None
        recorders: list[Recorder] = [self.means, self.frames, self.history, self.probes]
        if leg.window is not None:
            recorders.append(Averaging(self.windows[leg.window]))
        recorders.append(self)
        largest = self.case.run.max_step or LARGEST_TURN * self.grid.radius / chamber.problem.speed

        def before_cut(s: State) -> None:
            # The steps that meet the run's end exactly are not on the way of a longer run.
            if self.leg == len(legs) - 1:
                self.state, self.is_cut = s, True
                self.save()

        try:
            self.state = march(
                stepper, self.state, leg.end, largest=largest, recorders=recorders, control=self.control,
                watch=self.watch, before_cut=before_cut,
            )  # fmt: skip
        except Stopped as stop:
            self._keep(stop, stepper)
            raise
        if leg.agrees:
            self.agree(chamber, leg.blowing)
        self.leg, self.is_inside_leg = self.leg + 1, False

    def _keep(self, stop: Stopped, stepper: Stepper) -> None:
        """Keep the last good state, for a restart and as a frame."""
        self.state = stop.state
        if not self.is_cut:
            self.save()
        self.frames.write_last(stepper, self.state)
        if stop.outcome is Outcome.BLEW_UP:
            # The fluxes of the step that blew up are in the budgets by now.
            self.windows = []

    def after(self, stepper: Stepper, old: State, new: State, step: float) -> None:
        """Save a checkpoint when the last one is old enough; the clock decides when, never what."""
        if not self.is_cut and time.monotonic() - self.saved_at > CHECKPOINT_SECONDS:
            self.state = new
            self.save()

    def save(self) -> None:
        """Write what a restart needs, with the series up to it."""
        self.history.flush()
        self.probes.flush()
        self.writer.write_restart(self.dump())
        self.saved_at = time.monotonic()

    def agree(self, chamber: Chamber, blowing: Blowing) -> None:
        """Solve the network against the mean pressure of the span that ended."""
        assert self.means is not None
        if not chamber.is_coupled or blowing != Blowing():
            return
        pressure = chamber.problem.density * self.means.pressure / self.means.time
        agreed = chamber.agreed_with(pressure, self.means.plane / self.means.time, blowing)
        self.network = agreed.network
        self.agreed = {"pressure": pressure[:, -1].copy(), "flow": agreed.network.exhaust_flow}

    def dump(self) -> dict[str, Any]:
        """What a restart needs, as nested mappings of numbers and arrays."""
        assert self.means is not None
        return {
            "state": self.state.dump(),
            "leg": self.leg,
            "is_inside_leg": self.is_inside_leg,
            "agreed": self.agreed,
            "means": {"pressure": self.means.pressure.copy(), "plane": self.means.plane, "time": self.means.time},
            "windows": {str(n): window.dump() for n, window in enumerate(self.windows)},
            "n_frames": self.frames.n,
            "r_face": self.grid.r_face,
            "z_face": self.grid.z_face,
        }

    def load(self, saved: Mapping[str, Any]) -> None:
        """Take up what `dump` gave."""
        self.state = State.load(saved["state"])
        self.leg, self.is_inside_leg = int(saved["leg"]), bool(saved["is_inside_leg"])
        self.agreed = dict(saved["agreed"])
        if self.agreed:
            z, pressure = self.grid.z, self.agreed["pressure"]
            self.network = solve_network(
                self.case,
                chamber_pressure=lambda height: float(np.interp(height, z, pressure)),
                exhaust_flow=float(self.agreed["flow"]),
            )
        self.means = MeanPressure(**saved["means"])
        self.windows = [Averages.load(saved["windows"][str(n)]) for n in range(len(saved["windows"]))]
        self.frames.n = int(saved["n_frames"])

    def write_windows(self, blowing: Blowing = Blowing()) -> None:
        """Write means, deviations and budgets over all windows that have begun."""
        windows = [w for w in self.windows if w.weight > 0.0]
        if not windows:
            return
        problem = Chamber.of(self.case, self.grid, self.network, blowing).problem
        whole = joined(windows)
        span = (windows[0].start.time, self.state.time)
        self.writer.write_means(whole.mean(), whole.deviation(), span)
        self.writer.write_budget(mean_budget(problem, whole.budget, whole.start, self.state), span)
        if problem.has_fog:
            self.writer.note(fog_flows_json=json.dumps(fog_flows(problem, whole.start, self.state)))

    def half_window_change(self) -> float:
        """Relative rms difference of the two half windows' mean tangential velocity, by volume, inside `edge`.

        Inside, because the verdict is about the vortex; the gusty air outside the curtain settles much later.
        """
        inside = self.grid.r < self.edge
        first, second = (w.mean()["tangential_velocity"][:, inside] for w in self.windows[:2])
        volume = self.grid.volume[:, inside]
        scale = float((volume * (0.5 * (first + second)) ** 2).sum())
        return float(np.sqrt((volume * (first - second) ** 2).sum() / scale)) if scale > 0.0 else 0.0


def joined(windows: Sequence[Averages]) -> Averages:
    """The averages over several windows that follow each other."""
    first = windows[0]
    budget = replace(first.budget)
    sums = {name: value.copy() for name, value in first.sums.items()}
    squares = {name: value.copy() for name, value in first.squares.items()}
    weight = first.weight
    for window in windows[1:]:
        budget = budget.plus(window.budget)
        for name in sums:
            sums[name] += window.sums[name]
            squares[name] += window.squares[name]
        weight += window.weight
    return Averages(first.start, budget, sums, squares, weight)


def judge_windows(change: float) -> Outcome:
    """Whether the averages of the two half windows agree."""
    return Outcome.TIME_AVERAGED if change < HALF_WINDOW_AGREEMENT else Outcome.NOT_CONVERGED


def edge_radius(chamber: Chamber) -> float:
    """Radius inside which the vortex is looked for [m]: the curtain's inner edge, or 0.95 R without a curtain."""
    jets = chamber.flow.jets
    inner = np.nan if jets is None else jets.curtain_inner_edge
    return float(inner) if np.isfinite(inner) else 0.95 * chamber.problem.grid.radius
