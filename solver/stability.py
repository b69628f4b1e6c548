"""Is a steady state one that the air would keep? Tested by disturbing it and marching on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from swirlwright.solver.march import Control, march
from swirlwright.solver.progress import Watch
from swirlwright.solver.state import FlowProblem, State, imposed
from swirlwright.solver.transient import Stepper

# The disturbance, as a share of the speed scale: small enough to stay linear, far above round-off.
DISTURBANCE = 1e-5
# A disturbance this much smaller at the end has died out (round-off is 1e-11 of it).
DIED_OUT = 1e-3
# One this much smaller ends the march early: a mode that grows would hold about 1/sqrt(cells) of a random disturbance,
# a thousandth on the largest grids, and so could not have gone with the others.
GONE = 1e-4
# The march is looked at so many times.
LOOKS = 16
# The march lasts this many times length over speed, or twice the time to flush the chamber if that is longer.
TURNS = 40.0


@dataclass(frozen=True)
class StabilityTest:
    """How a disturbance fared in a march of `duration` [s].

    growth_rate: over the second half of the march [1/s].   left: what is left at its end, over what was put in [1].
    """

    growth_rate: float
    left: float
    duration: float

    @property
    def is_stable(self) -> bool:
        """True where it decays and is smaller than at first, or has died out but for round-off that may grow.

        A decay alone is not enough: a disturbance that has grown as far as it can wavers about that size.
        """
        return (self.growth_rate < 0.0 and self.left < 1.0) or self.left < DIED_OUT


def stability_of(problem: FlowProblem, s: State, control: Control, watch: Watch) -> StabilityTest:
    """March the steady state `s` with a seeded random disturbance and measure whether the difference grows."""
    stepper = Stepper.of(problem)
    rng = np.random.default_rng(20250101)
    size = DISTURBANCE * problem.speed
    disturbed = replace(
        s, v=s.v + size * rng.standard_normal(s.v.shape), w=s.w + size * rng.standard_normal(s.w.shape), time=0.0
    )
    # Given faces stay as they are: moving them would be another problem, not a disturbance.
    disturbed = stepper.clean(imposed(problem, disturbed))
    duration = TURNS * problem.length / problem.speed
    if problem.exhaust_flow:
        duration = max(duration, 2.0 * float(problem.grid.volume.sum()) / problem.exhaust_flow)
    watch.start("testing the steady state's stability", duration)
    sizes, times = [_distance(problem, disturbed, s)], [0.0]
    state = disturbed
    for look in range(1, LOOKS + 1):
        end = duration * look / LOOKS
        state = march(stepper, state, end, largest=duration, recorders=(), control=control, watch=watch)
        sizes.append(max(_distance(problem, state, s), 1e-300))
        times.append(end)
        if sizes[-1] < GONE * sizes[0]:
            break
    middle = (len(sizes) - 1) // 2
    growth = float(np.log(sizes[-1] / sizes[middle]) / (times[-1] - times[middle]))
    return StabilityTest(growth, sizes[-1] / sizes[0], times[-1])


def _distance(problem: FlowProblem, one: State, other: State) -> float:
    """Volume-weighted root-mean-square difference of the velocities [m/s]."""
    volume = problem.grid.volume
    differences = (one.u - other.u)[:, 1:], one.v - other.v, (one.w - other.w)[1:]
    return float(np.sqrt(sum((volume * d * d).sum() for d in differences) / volume.sum()))
