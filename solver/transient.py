"""Unsteady flow: a two-stage linearly implicit step of second order with an exact projection.

The step is the Rosenbrock W-method ROS2 (Verwer, Spee, Blom and Hundsdorfer 1999, SIAM J. Sci. Comput. 20:1456)
with gamma = 1, whose order does not depend on the implicit operator, so that operator may be factorised by
direction and the viscosity frozen in it; with two factors and gamma = 1 it is stable for any step in the linear
model problem. One step needs no earlier step, so a restart or a new step size costs nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.eddy import SpalartAllmaras
from swirlwright.solver.grid import Array
from swirlwright.solver.projection import Projection
from swirlwright.solver.state import FlowProblem, Sources, State, corner

# Explicit parts bound the step: cells crossed and radians turned in it. Measured; DEVELOPERS.md, decision 5.
COURANT = 0.5
TURN = 0.3
# Turbulent Schmidt number of the fog; 0.7 to 0.9 in free flows (Launder 1978, Topics in Applied Physics 12, memory).
SCHMIDT = 0.7


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


@dataclass(frozen=True)
class Stepper:
    """Advances states of one problem; holds the factorised pressure equation.

    sources_at, if given, returns the sources at a time [s] in place of the problem's: for manufactured solutions.
    """

    problem: FlowProblem
    projection: Projection = field(repr=False)
    sources_at: Callable[[float], Sources] | None = None

    @classmethod
    def of(cls, problem: FlowProblem, sources_at: Callable[[float], Sources] | None = None) -> Stepper:
        return cls(problem, Projection(problem), sources_at)

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
        """The step [s] at which no cell is crossed faster and no core turned further than COURANT, TURN allow."""
        advect, turn = kernels.largest_rates(s.u, s.v, s.w, self.problem.grid.metric)
        return float(min(largest, COURANT / max(advect, 1e-30), TURN / max(turn, 1e-30)))

    def advance(self, s: State, step: float, budget: SwirlBudget | None = None) -> State:
        """One step of `step` seconds; adds the step's fluxes to `budget` if there is one."""
        first, second = self._at(s.time), self._at(s.time + step)
        nu1 = first.viscosity(s)
        du1, dv1, dw1 = self._increment(first, s, nu1, step, None, budget)
        u, v, w = s.u + du1, s.v + dv1, s.w + dw1
        lag = self.projection.lag(s.u, step)
        phi, duct = self.projection.apply(u, w, step, second.sources.volume, second.exhaust_flow, lag)
        eddy1 = self._eddy_increment(s, step, None)
        middle = replace(s, eddy=s.eddy + eddy1, u=u, v=v, w=w, p=s.p + phi, duct_pressure=s.duct_pressure + duct)
        du1, dw1 = u - s.u, w - s.w
        nu2 = second.viscosity(middle)
        du2, dv2, dw2 = self._increment(second, middle, nu2, step, (du1, dv1, dw1), budget)
        eddy = s.eddy + 1.5 * eddy1 + 0.5 * self._eddy_increment(middle, step, eddy1)
        u = s.u + 1.5 * du1 + 0.5 * du2
        v = s.v + 1.5 * dv1 + 0.5 * dv2
        w = s.w + 1.5 * dw1 + 0.5 * dw2
        phi, duct = self.projection.apply(u, w, step, second.sources.volume, second.exhaust_flow, lag)
        return replace(
            middle, u=u, v=v, w=w, p=middle.p + phi, duct_pressure=middle.duct_pressure + duct, time=s.time + step,
            fog=self._fog_after(s, nu1, middle, nu2, step), eddy=eddy,
        )  # fmt: skip

    def _eddy_increment(self, s: State, step: float, before: Array | None) -> Array:
        """One stage's increment of nu~ by the same method; empty where the closure has no equation for it."""
        closure, p = self.problem.closure, self.problem
        if not isinstance(closure, SpalartAllmaras):
            return s.eddy
        rate, decay = closure.rates(s.u, s.v, s.w, s.eddy, p.sources.volume, p.grid, p.edges)
        rate *= step
        if before is not None:
            rate -= 2.0 * before
        closure.sweep(s.u, s.w, s.eddy, decay, p.grid, p.edges, step, rate)
        return rate

    def _fog_after(self, s: State, nu1: Array, middle: State, nu2: Array, step: float) -> Array:
        """The fog at the end of a step by the same two stages: the flow of `s`, then that of `middle`."""
        problem = self.problem
        if not problem.has_fog:
            return s.fog
        m, e = problem.grid.metric, problem.edges
        one, two = np.empty_like(s.fog), np.empty_like(s.fog)
        kernels.scalar_rates(s.u, s.fog, s.w, nu1, SCHMIDT, m, e, one)
        one *= step
        kernels.sweep_scalar(s.u, s.w, nu1, SCHMIDT, m, step, one)
        kernels.scalar_rates(middle.u, s.fog + one, middle.w, nu2, SCHMIDT, m, e, two)
        two *= step
        two -= 2.0 * one
        kernels.sweep_scalar(middle.u, middle.w, nu2, SCHMIDT, m, step, two)
        return s.fog + 1.5 * one + 0.5 * two

    def _increment(
        self,
        problem: FlowProblem,
        s: State,
        nu: Array,
        step: float,
        before: tuple[Array, Array, Array] | None,
        budget: SwirlBudget | None,
    ) -> tuple[Array, Array, Array]:
        """Stage increments of u, v, w before projection: (1 - step A_r)(1 - step A_z) k = step F - 2 k_before."""
        m = problem.grid.metric
        edges = problem.edges_at(s.duct_pressure)
        rates = problem.rates(s, nu)
        k_u, k_v, k_w = (step * rate for rate in rates)
        if before is not None:
            k_u -= 2.0 * before[0]
            k_v -= 2.0 * before[1]
            k_w -= 2.0 * before[2]
        half = np.empty_like(k_v)
        corners = corner(nu)
        kernels.sweep_u(s.u, s.w, nu, corners, m, edges, step, k_u)
        kernels.sweep_v(s.u, s.w, nu, m, edges, step, k_v, half)
        kernels.sweep_w(s.u, s.w, nu, corners, m, edges, step, k_w)
        if budget is not None:
            self._add_fluxes(problem, s, nu, s.v + half, s.v + k_v, 0.5 * step, budget)
        return k_u, k_v, k_w

    def _add_fluxes(
        self, problem: FlowProblem, s: State, nu: Array, v_r: Array, v_z: Array, weight: float, budget: SwirlBudget
    ) -> None:
        """Add one stage's effective fluxes; both stages carry half of the step."""
        k = problem.work
        kernels.swirl_fluxes(
            s.u, v_r, v_z, s.w, nu, problem.grid.metric, problem.edges, k.adv_r, k.vis_r, k.adv_z, k.vis_z
        )
        for name in ("adv_r", "vis_r", "adv_z", "vis_z"):
            total = getattr(budget, name)
            total += weight * getattr(k, name)
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
