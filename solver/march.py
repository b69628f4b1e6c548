"""Marching in time from one instant to another, watched by recorders, stopped in order."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numpy as np

from swirlwright.solver.errors import SwirlwrightError
from swirlwright.solver.interrupts import Interrupt, handling_interrupt
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import Watch
from swirlwright.solver.recording import Averaging, Recorder
from swirlwright.solver.state import State
from swirlwright.solver.transient import Stepper, SwirlBudget

# A flow this many times faster than anything that drives it has blown up, finite or not.
RUNAWAY = 1e3


class Stopped(SwirlwrightError):
    """The march ended before its time, in a way `outcome` names; `state` is the last good one."""

    def __init__(self, outcome: Outcome, state: State, text: str = "") -> None:
        super().__init__(text or outcome.text)
        self.outcome, self.state = outcome, state


@dataclass
class Control:
    """Asks to stop between steps: on Ctrl-C, or when the wall-clock limit [s] is used up."""

    time_limit: float | None = None
    began: float = field(default_factory=time.monotonic)
    is_interrupted: bool = False

    def stop_reason(self) -> Outcome | None:
        if self.is_interrupted:
            return Outcome.INTERRUPTED
        if self.time_limit is not None and time.monotonic() - self.began > self.time_limit:
            return Outcome.OUT_OF_TIME
        return None

    @contextmanager
    def catching_interrupt(self) -> Iterator[None]:
        """Turn the first Ctrl-C into a request, so that no file is left half written; a second one acts at once."""

        def request(number: int, frame: object) -> None:
            if self.is_interrupted:
                raise Interrupt
            self.is_interrupted = True

        with handling_interrupt(request):
            yield


def march(
    stepper: Stepper,
    s: State,
    end: float,
    *,
    largest: float,
    recorders: Sequence[Recorder],
    control: Control,
    watch: Watch,
    before_cut: Callable[[State], None] = lambda s: None,
) -> State:
    """Step from `s` to exactly `end` [s], no step longer than `largest` [s].

    before_cut is called once, with the last state that steps of free choice reached: a run that goes on from
    there does not depend on where this one ended.

    Raises
    ------
    Stopped
        On Ctrl-C, at the time limit, or where a value stops being finite.
    """
    is_cut = False
    while s.time < end:
        if (reason := control.stop_reason()) is not None:
            raise Stopped(reason, s)
        step, left = stepper.step_size(s, largest), end - s.time
        if step > 0.5 * left and not is_cut:
            before_cut(s)
            is_cut = True
        if step >= left:
            step = left
        elif step > 0.5 * left:
            # Two equal steps rather than a sliver at the end.
            step = 0.5 * left
        new = stepper.advance(s, step, _budget_of(recorders))
        if step == left:
            new = replace(new, time=end)  # sums of steps miss it by round-off
        if not new.is_finite or new.largest_speed > RUNAWAY * stepper.problem.speed:
            raise Stopped(Outcome.BLEW_UP, s, f"{Outcome.BLEW_UP.text} ({failure(stepper, s, new, step)})")
        for recorder in recorders:
            recorder.after(stepper, s, new, step)
        s = new
        watch.update(s.time, f"t = {s.time:.2f} s, step {1e3 * step:.2g} ms")
    return s


def _budget_of(recorders: Sequence[Recorder]) -> SwirlBudget | None:
    return next((r.averages.budget for r in recorders if isinstance(r, Averaging)), None)


def failure(stepper: Stepper, s: State, new: State, step: float) -> str:
    """Where and how a step failed, in words: where cells are crossed fastest, the likely seat, and what came of it."""
    m = stepper.problem.grid.metric
    u = np.maximum(np.abs(s.u[:, 1:]), np.abs(s.u[:, :-1])) / m.dr
    w = np.maximum(np.abs(s.w[1:]), np.abs(s.w[:-1])) / m.dz[:, None]
    rate = u + w
    j, i = np.unravel_index(int(np.argmax(rate)), rate.shape)
    seat = (
        f"fastest cell at r = {m.r[i]:.3g} m, z = {m.z[j]:.3g} m, t = {s.time:.4g} s, {step * rate[j, i]:.2g} cells "
        "crossed in the step"
    )
    return f"{seat}; {_not_finite(stepper, new)}" if not new.is_finite else seat


def _not_finite(stepper: Stepper, s: State) -> str:
    """The first value that is not finite, and its place."""
    m = stepper.problem.grid.metric
    fields = {
        "radial velocity": (s.u, m.rf, m.z), "axial velocity": (s.w, m.r, m.zf), "tangential velocity": (s.v, m.r, m.z),
        "pressure": (s.p, m.r, m.z), "fog concentration": (s.fog, m.r, m.z), "eddy viscosity": (s.eddy, m.r, m.z),
    }  # fmt: skip
    for name, (values, r, z) in fields.items():
        wrong = np.argwhere(~np.isfinite(values))
        if wrong.size:
            j, i = wrong[0]
            more = f" and {len(wrong) - 1} places more" if len(wrong) > 1 else ""
            return f"{name} not finite at r = {r[i]:.3g} m, z = {z[j]:.3g} m{more}"
    return "values too large to be summed"
