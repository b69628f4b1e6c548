"""The search for a steady state of a case: grid sequencing inside, agreement with the air network outside."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from swirlwright.solver.coupling import AGREEMENT, Chamber, exhaust_plane_pressure
from swirlwright.solver.flow import Blowing, build_grid
from swirlwright.solver.fog import solve_steady_with_fog
from swirlwright.solver.grid import Grid
from swirlwright.solver.interpolation import onto
from swirlwright.solver.march import Control, Stopped, march
from swirlwright.solver.network import AirNetwork
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.schema import Case
from swirlwright.solver.stability import StabilityTest, stability_of
from swirlwright.solver.state import FlowProblem, State, imposed
from swirlwright.solver.steady import SteadyStep
from swirlwright.solver.transient import Stepper

# Grids of a steady solution, coarse to fine, as divisors of the cells; none below this many cells a side.
SEQUENCE = (4, 2, 1)
FEWEST_CELLS = 16
# The march that begins the search on the coarsest grid lasts this many times length over speed.
APPROACH = 5.0
# Above this many cells stability is tested with the flow on a coarser grid of the sequence: a march over a given time
# costs cells to the power 1.5, ten times the steady solution at 256 x 512, and what may grow is as large as the core.
MOST_TESTED = 16384
# First pseudo time step from a neighbour's field, times length over speed: nearly Newton's method.
NEAR = 30.0
# Rounds in which network and steady flow take each other into account.
MOST_ROUNDS = 8


@dataclass(frozen=True)
class SteadyFlow:
    """A stable steady state with the network that agrees with it.

    tested_on: cells (nz, nr) of the grid of the test.
    """

    chamber: Chamber
    state: State
    test: StabilityTest
    tested_on: tuple[int, int]


@dataclass
class SteadySearch:
    """Looks for a stable steady state. After `find`, `note` says why there is none, `record` holds the steps."""

    case: Case
    control: Control
    watch: Watch
    grid: Grid
    is_near: bool = False  # the first state is the steady flow of a neighbour
    record: dict[str, list[float]] = field(default_factory=dict)
    note: str = ""

    def find(self, chamber: Chamber, start: State) -> SteadyFlow | None:
        """Return the stable steady flow; None if none is found or the one found is unstable.

        Raises
        ------
        Stopped
            On Ctrl-C or at the time limit, with the field reached, on the case's own grid.
        """
        found = self._search(chamber, start)
        if found is None:
            return None
        chamber, s = found
        try:
            problem, tested = self._to_be_tested(chamber, s)
            test = stability_of(problem, tested, self.control, self.watch)
            if test.is_stable:
                return SteadyFlow(chamber, s, test, problem.grid.shape)
            verdict = f"is {'unstable' if test.growth_rate > 0.0 else 'not known to be stable'}: {test.text}"
        except Stopped as stop:
            if stop.outcome is not Outcome.BLEW_UP:
                # The steady state, not the disturbed one; nobody knows whether it is stable.
                text = f"{stop} (a steady state was found, its stability not yet tested)"
                raise Stopped(stop.outcome, s, text) from None
            verdict = "is unstable: a disturbance runs away"
        self.note = f"a steady state was found but {verdict}"
        self.watch.message(self.note)
        return None

    def _search(self, chamber: Chamber, start: State) -> tuple[Chamber, State] | None:
        """The steady state that agrees with the network: from a neighbour's field at once, else by the sequence."""
        if self.is_near:
            near = self._solve(chamber, imposed(chamber.problem, start), NEAR)
            if near is not None:
                return self._agreed(chamber, near)
        s = self._sequenced(chamber, start)
        return None if s is None else self._agreed(chamber, s)

    def _sequenced(self, chamber: Chamber, start: State) -> State | None:
        fine = chamber.problem.grid
        s, old = start, fine
        for cells in _sequence(fine):
            here = chamber if cells == fine.shape else chamber.on(build_grid(self.case, cells))
            grid = here.problem.grid
            s = imposed(here.problem, onto(grid, s, old))
            if old is fine:
                s = self._approach(here.problem, s)
            found = self._solve(here, s)
            if found is None:
                return None
            s, old = found, grid
        return s

    def _agreed(self, chamber: Chamber, s: State) -> tuple[Chamber, State] | None:
        for _ in range(MOST_ROUNDS):
            pressure = chamber.problem.density * s.p
            agreed = chamber.agreed_with(pressure, exhaust_plane_pressure(chamber.problem, s), Blowing())
            if _has_settled(chamber.network, agreed.network):
                return chamber, s
            found = self._solve(agreed, imposed(agreed.problem, s))
            if found is None:
                return None
            chamber, s = agreed, found
        self.note = f"air network and flow do not agree after {MOST_ROUNDS} rounds"
        self.watch.message(self.note)
        return None

    def _to_be_tested(self, chamber: Chamber, s: State) -> tuple[FlowProblem, State]:
        """The steady state as found, or on a grid of at most `MOST_TESTED` cells where one in reach has the same."""
        fine = chamber.problem.grid
        fitting = [cells for cells in _sequence(fine) if cells[0] * cells[1] <= MOST_TESTED]
        if not fitting or fitting[-1] == fine.shape:
            return chamber.problem, s
        coarse = chamber.on(build_grid(self.case, fitting[-1]))
        found = self._solve(coarse, imposed(coarse.problem, onto(coarse.problem.grid, s, fine)))
        return (chamber.problem, s) if found is None else (coarse.problem, found)

    def _approach(self, problem: FlowProblem, s: State) -> State:
        """A short march on the coarsest grid: Newton's method goes astray from rest, not from a flow that has begun."""
        stepper = Stepper.of(problem)
        end = APPROACH * problem.length / problem.speed
        try:
            s = march(stepper, stepper.clean(s), end, largest=end, recorders=(), control=self.control, watch=SILENT)
        except Stopped as stop:
            raise Stopped(stop.outcome, onto(self.grid, stop.state, problem.grid), str(stop)) from None
        return replace(s, time=0.0)

    def _solve(self, chamber: Chamber, s: State, first_step: float | None = None) -> State | None:
        nz, nr = chamber.problem.grid.shape
        # Progress in orders of magnitude of the residual, from 1 to the tolerance.
        orders = -np.log10(self.case.run.tolerance)
        self.watch.start(f"steady flow on {nr} x {nz} cells", orders)

        def tell(step: SteadyStep) -> None:
            if (reason := self.control.stop_reason()) is not None:
                raise Stopped(reason, onto(self.grid, s, chamber.problem.grid))
            residual = max(step.momentum, step.mass, 1e-300)
            done = min(max(0.0, -np.log10(residual)), orders)
            self.watch.update(done, f"step {step.iteration}, residual {residual:.1e}")
            for name, value in {"cells": nr * nz, **vars(step)}.items():
                self.record.setdefault(name, []).append(float(value))

        run = self.case.run
        problem = chamber.problem
        tried = solve_steady_with_fog(
            problem,
            s,
            tolerance=run.tolerance,
            max_iterations=run.max_iterations,
            watch=tell,
            first_step=None if first_step is None else first_step * problem.length / problem.speed,
        )
        if not tried.is_converged:
            self.note = f"residual {tried.residual:.1e} after {len(tried.record)} iterations on {nr} x {nz} cells"
            self.watch.message(f"no steady state: {self.note}")
        return tried.state if tried.is_converged else None


def _sequence(grid: Grid) -> list[tuple[int, int]]:
    """Cells (nz, nr) of the grids to solve on in turn, the last being the grid itself."""
    nz, nr = grid.shape
    return [(nz // d, nr // d) for d in SEQUENCE if d == 1 or min(nz, nr) // d >= FEWEST_CELLS]


def _has_settled(before: AirNetwork, after: AirNetwork) -> bool:
    """Whether neither the exhaust flow nor the jets' torque moved by more than AGREEMENT."""
    moved = abs(after.exhaust_flow - before.exhaust_flow) / max(abs(before.exhaust_flow), 1e-30)
    turned = abs(after.momentum - before.momentum) / max(abs(before.momentum), 1e-30)
    return max(moved, turned) < AGREEMENT
