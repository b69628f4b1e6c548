"""Unsteady flow: a linearly implicit step of three stages (`stages.py`), each with an exact projection.

The operator of the implicit part is factorised by direction and the viscosity frozen in it, which the method's order
allows. One step needs no earlier step, so a restart or a new step size costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any, NamedTuple

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.eddy import SpalartAllmaras
from swirlwright.solver.fog_transport import SCHMIDT, carriers, fill_fog_rates, ledger_rates, outflows
from swirlwright.solver.grid import Array
from swirlwright.solver.projection import Projection
from swirlwright.solver.stages import AFTER, EARLIER, IMPLICIT, NODES, WEIGHTS
from swirlwright.solver.state import FlowProblem, Sources, State, corner

# Radians a step by which the explicit parts may turn any cell's phase, all of them together: their polynomial damps up
# to 1.73 (`stages.py`; DEVELOPERS.md, decision 5).
PHASE = 1.4


@dataclass
class SwirlBudget:
    """Running integrals over time of angular-momentum fluxes (kinematic, per radian), velocity and sources.

    All arrays are sums of step times flux; divide by `time` for the mean. The fluxes are the effective ones of
    the factorised step, so that with the change stored they close to round-off.
    """

    adv_r: Array
    vis_r: Array
    adv_z: Array
    vis_z: Array
    u: Array
    w: Array
    volume: Array
    torque: Array
    time: float = 0.0

    @classmethod
    def empty(cls, problem: FlowProblem) -> SwirlBudget:
        nz, nr = problem.grid.shape
        on_r, on_z = (nz, nr + 1), (nz + 1, nr)
        cell = (nz, nr)
        r1, r2, z1, z2, u, w, q, t = (np.zeros(s) for s in (on_r, on_r, on_z, on_z, on_r, on_z, cell, cell))
        return cls(r1, r2, z1, z2, u, w, q, t)

    def plus(self, other: SwirlBudget) -> SwirlBudget:
        """The integrals over both spans."""
        return SwirlBudget(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))

    def dump(self) -> dict[str, Any]:
        """All of it as a mapping, for the restart group."""
        return {f.name: getattr(self, f.name) for f in fields(self)}


class _Fields(NamedTuple):
    """What moves with the flow, or its increments: views of one array, so that all of it is combined at once."""

    every: Array
    u: Array
    w: Array
    v: Array
    eddy: Array
    fog: Array
    fog_ledger: Array

    @classmethod
    def within(cls, every: Array, parts: Sequence[Array]) -> _Fields:
        """Views of `every` in the shapes of `parts`."""
        views, begin = [], 0
        for part in parts:
            views.append(every[begin : begin + part.size].reshape(part.shape))
            begin += part.size
        return cls(every, *views)


class _Scratch(NamedTuple):
    """Arrays of a step; contents mean nothing between steps. stages: views of each row of the increments.

    half, half_fog: the last increments of v and the fog after their first factor.
    """

    start: Array
    base: Array
    increments: Array
    stages: tuple[_Fields, ...]
    half: Array
    half_fog: Array

    @classmethod
    def of(cls, parts: Sequence[Array], shape: tuple[int, int]) -> _Scratch:
        size = sum(part.size for part in parts)
        increments = np.empty((len(WEIGHTS), size))
        stages = tuple(_Fields.within(row, parts) for row in increments)
        return cls(np.empty(size), np.empty(size), increments, stages, np.empty(shape), np.empty(shape))


NO_FOG = np.empty((0, 0))


def _moving(problem: FlowProblem, s: State) -> tuple[Array, ...]:
    return s.u, s.w, s.v, s.eddy, *((s.fog, s.fog_ledger) if problem.has_fog else (NO_FOG, NO_FOG))


@dataclass(frozen=True)
class Stepper:
    """Advances states of one problem; holds the factorised pressure equation.

    sources_at, if given, returns the sources at a time [s] in place of the problem's: for manufactured solutions.
    """

    problem: FlowProblem
    projection: Projection = field(repr=False)
    scratch: _Scratch = field(repr=False)
    sources_at: Callable[[float], Sources] | None = None

    @classmethod
    def of(cls, problem: FlowProblem, sources_at: Callable[[float], Sources] | None = None) -> Stepper:
        scratch = _Scratch.of(_moving(problem, State.at_rest(problem)), problem.grid.shape)
        return cls(problem, Projection(problem), scratch, sources_at)

    def _at(self, time: float) -> FlowProblem:
        if self.sources_at is None:
            return self.problem
        moved = replace(self.problem, sources=self.sources_at(time))
        return moved

    def clean(self, s: State) -> State:
        """The nearest field with div u = q and the asked exhaust flow (pressure and time unchanged)."""
        problem = self._at(s.time)
        u, w = s.u.copy(), s.w.copy()
        self.projection.apply(u, w, 1.0, problem.sources.volume, problem.exhaust_flow)
        return replace(s, u=u, w=w)

    def step_size(self, s: State, largest: float) -> float:
        """The step [s] in which advection, turning and the fog's weight turn no cell further than PHASE allows."""
        weight = self.problem.fog_weight
        rate = kernels.largest_rate(s.u, s.v, s.w, s.fog if weight else NO_FOG, weight, self.problem.grid.metric)
        return float(min(largest, PHASE / max(rate, 1e-30)))

    def advance(self, s: State, step: float, budget: SwirlBudget | None = None) -> State:
        """One step of `step` seconds; adds the step's fluxes to `budget` if there is one."""
        start, base, increments = self.scratch.start, self.scratch.base, self.scratch.increments
        parts = _moving(self.problem, s)
        np.concatenate([part.ravel() for part in parts], out=start)
        velocities = slice(s.u.size + s.w.size)
        at = s
        for stage, weight in enumerate(WEIGHTS):
            problem = self._at(s.time + NODES[stage] * step)
            nu, k = problem.viscosity(at), self.scratch.stages[stage]
            self._fill_increment(problem, at, nu, step, stage, k)
            if budget is not None:
                self._add_fluxes(problem, at, nu, k, weight * step, budget)
            own = AFTER[stage, stage]
            kernels.combine(1.0, start, AFTER[stage], stage, increments, base)
            new = _Fields.within(np.empty_like(start), parts)
            kernels.combine(1.0, start, AFTER[stage], stage + 1, increments, new.every)
            after = self._at(s.time + (NODES[stage + 1] if stage + 1 < len(NODES) else 1.0) * step)
            lag = self.projection.lag(at.u, IMPLICIT * step)
            phi, duct = self.projection.apply(new.u, new.w, own * step, after.sources.volume, after.exhaust_flow, lag)
            # Later stages build on the increment whose divergence is right.
            np.subtract(new.every[velocities], base[velocities], out=k.every[velocities])
            k.every[velocities] /= own
            fog, ledger = (new.fog, new.fog_ledger) if problem.has_fog else (s.fog, s.fog_ledger)
            at = State(new.u, new.v, new.w, at.p + phi, at.duct_pressure + duct, s.time, fog, new.eddy, ledger)
        return replace(at, time=s.time + step)

    def _fill_increment(self, problem: FlowProblem, s: State, nu: Array, step: float, stage: int, k: _Fields) -> None:
        """A stage's K before projection: (1 - t A_r)(1 - t A_z) K = step F + earlier ones, t IMPLICIT steps."""
        grid, half_fog, closure, implicit = problem.grid, self.scratch.half_fog, problem.closure, IMPLICIT * step
        m, corners = grid.metric, corner(nu)
        problem.fill_rates(s, nu, corners, k.u, k.v, k.w)
        if isinstance(closure, SpalartAllmaras):
            rate, decay = closure.rates(s.u, s.v, s.w, s.eddy, problem.sources.volume, grid, problem.edges)
            k.eddy[:] = rate
        if problem.has_fog:
            by = carriers(problem, s)
            fill_fog_rates(problem, s.fog, by, nu, k.fog)
            k.fog_ledger[:] = ledger_rates(problem, s.fog, by)
        kernels.combine(step, k.every, EARLIER[stage], stage, self.scratch.increments, k.every)
        # The sweeps hold slopes of the pressure laws only, so the duct's own pressure has no part in them.
        kernels.sweep_momentum(s.u, s.w, nu, corners, m, problem.edges, implicit, k.u, k.v, k.w, self.scratch.half)
        if isinstance(closure, SpalartAllmaras):
            closure.sweep(s.u, s.w, s.eddy, decay, grid, problem.edges, implicit, k.eddy)
        if problem.has_fog:
            kernels.sweep_scalar(by.u, by.w, nu, SCHMIDT, m, implicit, k.fog, half_fog)
            # The ledger is one more unknown of the factorised system, so what leaves is what the fog has lost.
            k.fog_ledger[:] += implicit * outflows(problem, half_fog, k.fog, by)

    def _add_fluxes(
        self, problem: FlowProblem, s: State, nu: Array, k: _Fields, weight: float, budget: SwirlBudget
    ) -> None:
        """Add one stage's effective fluxes: the viscous ones with the implicit parts of v's increment, by direction."""
        work = problem.work
        kernels.swirl_fluxes(
            s.u, s.v, s.v + IMPLICIT * self.scratch.half, s.v + IMPLICIT * k.v, s.w, nu, problem.grid.metric,
            problem.edges, work.adv_r, work.vis_r, work.adv_z, work.vis_z,
        )  # fmt: skip
        for name in ("adv_r", "vis_r", "adv_z", "vis_z"):
            total = getattr(budget, name)
            total += weight * getattr(work, name)
        budget.u += weight * s.u
        budget.w += weight * s.w
        budget.volume += weight * problem.sources.volume
        budget.torque += weight * problem.sources.torque
        budget.time += weight

    def with_pressure(self, s: State) -> State:
        """`s` with the pressure that belongs to its velocity (that of the step is a mean over the step).

        Solves div grad p = div of all other rates, for steady sources and openings.
        """
        problem = self._at(s.time)
        bare = replace(s, p=np.zeros_like(s.p), duct_pressure=0.0)
        rate_u, _, rate_w = problem.rates(bare, problem.viscosity(s))
        asked = None if problem.exhaust_flow is None else 0.0
        p, duct = self.projection.apply(rate_u, rate_w, 1.0, np.zeros_like(s.p), asked)
        return replace(s, p=p, duct_pressure=duct)
