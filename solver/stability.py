"""Is a steady state one that the air would keep? Tested by disturbing it and marching on."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.sparse.linalg import ArpackError, ArpackNoConvergence, LinearOperator, eigs

from swirlwright.solver.eddy import SpalartAllmaras
from swirlwright.solver.grid import Array
from swirlwright.solver.march import Control, Stopped, march
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import Watch
from swirlwright.solver.state import FlowProblem, State, imposed
from swirlwright.solver.transient import Stepper

# The disturbance, as a share of the speed scale: small enough to stay linear, far above round-off.
DISTURBANCE = 1e-5
# A random disturbance this much smaller has died out, and no mode in it grows: the slowest mode held 1e-2 to 1e-1 of
# it, 2e-4 at least (128 draws, flows with an eigenvalue from the Jacobian, 384 to 5760 cells; as 1/sqrt(cells)), and
# what grows would hold that still. Less is not asked: the steady state itself is known to about 1e-5 of it.
GONE = 1e-4
# One this much larger grows.
GROWN = 1e2
# In between a march does not tell: over its time a slow mode swings about once and its size goes up and down with that.
# The march lasts this many times length over speed at most and is looked at so many times.
TURNS = 40.0
LOOKS = 32
# The modes are then those of the march over this many times length over speed. Sought by six in a space of twenty they
# cost 220 to 300 of it in all, and the fastest is the Jacobian's within 1e-4 speed/length near an onset of oscillation;
# by four in sixteen it costs little less and is out by 4e-4, over half the span a third less and out by 2e-4.
SPAN = 8.0
MODES = 6
KRYLOV = 20
RESTARTS = 6
RELATIVE_ERROR = 1e-2


@dataclass(frozen=True)
class StabilityTest:
    """What became of a disturbance.

    growth_rate: of what is left of it, or where `by_modes` of its fastest mode; NaN if that was not found [1/s].
    duration: time marched in all [s].
    """

    growth_rate: float
    duration: float
    by_modes: bool

    @property
    def is_stable(self) -> bool:
        """True where it decays; a state whose modes were not found is not known to be stable."""
        return self.growth_rate < 0.0

    @property
    def text(self) -> str:
        """What was found, in words."""
        if math.isnan(self.growth_rate):
            return "the modes of its disturbances could not be told apart"
        what = "its fastest mode" if self.by_modes else "a disturbance"
        return f"{what} {'decays' if self.is_stable else 'grows'} at {abs(self.growth_rate):.3g} per s"


def stability_of(problem: FlowProblem, s: State, control: Control, watch: Watch) -> StabilityTest:
    """Whether disturbances of the steady state `s` grow: by one march where that is plain, else by its modes.

    Raises
    ------
    Stopped
        On Ctrl-C, at the time limit, or where the disturbed flow runs away.
    """
    stepper = Stepper.of(problem)
    s = replace(s, time=0.0)
    rng = np.random.default_rng(20250101)
    size = DISTURBANCE * problem.speed
    state = replace(s, v=s.v + size * rng.standard_normal(s.v.shape), w=s.w + size * rng.standard_normal(s.w.shape))
    # Given faces stay as they are: moving them would be another problem, not a disturbance.
    state = stepper.clean(imposed(problem, state))
    twin = s
    duration = TURNS * problem.length / problem.speed
    watch.start("testing the steady state's stability", duration)
    sizes, times = [_distance(problem, state, twin)], [0.0]
    for look in range(1, LOOKS + 1):
        end = duration * look / LOOKS
        state = march(stepper, state, end, largest=duration, recorders=(), control=control, watch=watch)
        if isinstance(problem.closure, SpalartAllmaras):
            # Solved in turn with the flow, nu~ drifts by what was agreed on, which is more than what is to be seen.
            twin = march(stepper, twin, end, largest=duration, recorders=(), control=control, watch=watch)
        sizes.append(max(_distance(problem, state, twin), 1e-300))
        times.append(end)
        if not GONE * sizes[0] < sizes[-1] < GROWN * sizes[0]:
            middle = (len(sizes) - 1) // 2
            rate = float(np.log(sizes[-1] / sizes[middle]) / (times[-1] - times[middle]))
            return StabilityTest(rate, end, by_modes=False)
    modes = _LinearMarch(stepper, s, control, watch)
    rate = modes.largest_growth_rate(modes.packed(state, twin))
    return StabilityTest(rate, duration + modes.marched, by_modes=True)


def _distance(problem: FlowProblem, one: State, other: State) -> float:
    """Volume-weighted root-mean-square difference of the velocities [m/s]."""
    volume = problem.grid.volume
    differences = (one.u - other.u)[:, 1:], one.v - other.v, (one.w - other.w)[1:]
    return float(np.sqrt(sum((volume * d * d).sum() for d in differences) / volume.sum()))


@dataclass
class _LinearMarch:
    """The march over `span` [s] linearised about `s`: what becomes of a small disturbance, packed into one vector.

    Its eigenvalues are exp(lambda span) for those lambda of the flow; the Arnoldi method finds the largest without a
    matrix (time-stepper approach: Edwards, Tuckerman, Friesner and Sorensen 1994, J. Comput. Phys. 110:82).
    """

    stepper: Stepper
    s: State
    control: Control
    watch: Watch
    marched: float = 0.0
    span: float = field(init=False)
    steps: int = field(init=False)
    units: dict[str, float] = field(init=False)
    end: State = field(init=False)

    def __post_init__(self) -> None:
        problem, s = self.stepper.problem, self.s
        self.span = SPAN * problem.length / problem.speed
        self.steps = math.ceil(self.span / self.stepper.step_size(s, self.span))
        # Each field that acts on the flow by what counts as much as the speed scale.
        self.units = dict.fromkeys("uvw", problem.speed)
        if isinstance(problem.closure, SpalartAllmaras):
            self.units["eddy"] = float(np.abs(s.eddy).max())
        if problem.fog_weight:
            self.units["fog"] = 1.0
        self.watch.start("testing the steady state's stability by its modes", 0.0)
        self.end = self._run(s)

    def packed(self, one: State, other: State) -> Array:
        """The difference of two states [1]."""
        return np.concatenate([(getattr(one, f) - getattr(other, f)).ravel() / unit for f, unit in self.units.items()])

    def operate(self, x: Array) -> Array:
        """What the disturbance `x` [1] has become after the span."""
        scale, begin, moved = DISTURBANCE / float(np.sqrt(np.mean(x * x))), 0, {}
        for name, unit in self.units.items():
            old = getattr(self.s, name)
            part = x[begin : begin + old.size].reshape(old.shape).copy()
            begin += old.size
            if name == "u":
                # Nothing acts on the faces on the axis: they would be modes that neither grow nor decay.
                part[:, 0] = 0.0
            moved[name] = old + scale * unit * part
        start = self.stepper.clean(imposed(self.stepper.problem, replace(self.s, **moved)))
        return self.packed(self._run(start), self.end) / scale

    def largest_growth_rate(self, first: Array) -> float:
        """Growth rate of the fastest mode [1/s] from a disturbance to begin with; NaN where the modes are not found."""
        operator = LinearOperator((first.size, first.size), matvec=self.operate, dtype=float)
        try:
            values = eigs(
                operator, k=MODES, which="LM", ncv=KRYLOV, tol=RELATIVE_ERROR, maxiter=RESTARTS, v0=first,
                return_eigenvectors=False,
            )  # fmt: skip
        except ArpackNoConvergence as error:
            # One that grows is enough to know.
            values = error.eigenvalues[np.abs(error.eigenvalues) > 1.0]
        except ArpackError:
            return math.nan
        return float(np.log(np.abs(values).max())) / self.span if len(values) else math.nan

    def _run(self, s: State) -> State:
        """`s` after the span, in steps that are the same for all."""
        step = self.span / self.steps
        for _ in range(self.steps):
            if (reason := self.control.stop_reason()) is not None:
                raise Stopped(reason, s)
            s = self.stepper.advance(s, step)
            self.marched += step
            self.watch.update(self.marched, f"{self.marched:.3g} s marched")
        if not s.is_finite:
            raise Stopped(Outcome.BLEW_UP, s)
        return s
