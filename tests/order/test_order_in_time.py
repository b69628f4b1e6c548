"""Observed order in time at a fixed step, with spatial errors removed.

The sources are made so that the discrete rates of a chosen moving field are met exactly at every time: then all
that is left at the end is the error of the time integration.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pytest
import sympy as sp
from made_up import (
    DUCT,
    HEIGHT,
    STEEP,
    MadeUp,
    R,
    Z,
    at,
    closed_problem,
    errors,
    open_problem,
    orders,
    ring_vortex,
    stress_free_outflow,
    stress_free_problem,
    through_flow,
)

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FlowProblem, Sources, State
from swirlwright.solver.transient import Stepper

CELLS = 16
STEPS = (480, 960)
END = 0.5
FREQUENCY = 6.0

# At rest on every boundary, so that what the boundaries give is steady ...
WITHIN = 4 * R**2 * (1 - R**2) ** 2 * Z**2 * (HEIGHT - Z) ** 2 * sp.cos(2 * Z)
SWIRL_WITHIN = 2 * R * (1 - R**2) * Z * (HEIGHT - Z)
# ... or moving air through the side, whose pressure and carried swirl then change with it.
THROUGH_SIDE = R**2 * sp.sin(2 * Z) * Z * (HEIGHT - Z) / 4
SWIRL_AT_SIDE = R * (1 - R**2 / 2) * sp.cos(Z) / 2


def flow_of(psi: sp.Expr, grid: Grid) -> tuple[Array, Array]:
    """u and w of a streamfunction, free of discrete divergence, so that the volume source stays steady."""
    m = grid.metric
    at_corners = at(psi, np.append(1e-12, grid.r_face[1:]), grid.z_face)
    u = np.zeros((grid.z.size, grid.r_face.size))
    u[:, 1:] = -np.diff(at_corners, axis=0)[:, 1:] / (m.rf[1:] * m.dz[:, None])
    return u, np.diff(at_corners, axis=1) / m.a


@dataclass(frozen=True)
class Swaying:
    """A base field plus sin(FREQUENCY t) times a second one, with the sources that keep it so on this grid."""

    problem: FlowProblem
    base: State
    u: Array
    v: Array
    w: Array
    p: Array

    @classmethod
    def of(cls, problem: FlowProblem, base: State, psi: sp.Expr, swirl: sp.Expr) -> Swaying:
        grid = problem.grid
        u, w = flow_of(psi, grid)
        return cls(problem, base, u, at(swirl, grid.r, grid.z), w, at(sp.cos(2 * R) * sp.sin(Z) / 2, grid.r, grid.z))

    def state(self, time: float) -> State:
        c, b = np.sin(FREQUENCY * time), self.base
        return replace(b, u=b.u + c * self.u, v=b.v + c * self.v, w=b.w + c * self.w, p=b.p + c * self.p, time=time)

    def sources(self, time: float) -> Sources:
        s, speed = self.state(time), FREQUENCY * np.cos(FREQUENCY * time)
        bare = replace(self.problem, sources=Sources.none(self.problem.grid))
        rate_u, rate_v, rate_w = bare.rates(s, bare.viscosity(s))
        torque = (speed * self.v - rate_v) * bare.grid.r
        return Sources(bare.divergence(s), torque, speed * self.u - rate_u, speed * self.w - rate_w)

    def error(self, steps: int) -> dict[str, tuple[float, float]]:
        stepper = Stepper.of(self.problem, self.sources)
        s = self.state(0.0)
        for _ in range(steps):
            s = stepper.advance(s, END / steps)
        has_level = stepper.projection.equation.has_level
        return errors(stepper.with_pressure(s), self.state(END), self.problem.grid, has_level)


def base_of(f: MadeUp, problem: FlowProblem) -> tuple[FlowProblem, State]:
    """The exact field, and the problem with the exhaust flow that this field has on this grid."""
    base = f.state(problem.grid)
    if problem.exhaust_flow is None:
        return problem, base
    return replace(problem, exhaust_flow=problem.flow_through_exhaust(base)), replace(base, duct_pressure=DUCT)


CASES = {
    "closed, viscosity ratio 100": (ring_vortex(STEEP), closed_problem, WITHIN, SWIRL_WITHIN),
    "open, exhaust flow given, viscosity ratio 100": (
        through_flow(STEEP),
        lambda f, n: open_problem(f, n, True),
        WITHIN,
        SWIRL_WITHIN,
    ),
    "open, stress-free, moving through the side": (
        stress_free_outflow(sp.Float(0.02)),
        stress_free_problem,
        THROUGH_SIDE,
        SWIRL_AT_SIDE,
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_fixed_steps_are_second_order_in_time(case):
    """Halving a fixed step divides the error by 2**1.9 for u, v, w and by 2**1.5 or more for the pressure."""
    f, problem_of, psi, swirl = CASES[case]
    problem, base = base_of(f, problem_of(f, CELLS))
    swaying = Swaying.of(problem, base, psi, swirl)
    found = orders([swaying.error(steps) for steps in STEPS])
    for name, least in (("u", 1.9), ("v", 1.9), ("w", 1.9), ("p", 1.5)):
        assert found[name][0] >= least, f"{name}: order {found[name][0]:.2f}"


def test_steady_sources_keep_a_steady_field():
    """A field whose sources are steady stays where it is over many steps, whatever the step (round-off)."""
    f = ring_vortex(STEEP)
    problem, base = base_of(f, closed_problem(f, CELLS))
    still = replace(Swaying.of(problem, base, sp.Integer(0), sp.Integer(0)), p=np.zeros_like(base.p))
    stepper = Stepper.of(problem, still.sources)
    s = base
    for _ in range(20):
        s = stepper.advance(s, 0.05)
    assert max(np.abs(s.u - base.u).max(), np.abs(s.v - base.v).max(), np.abs(s.w - base.w).max()) < 1e-12


def test_fog_is_second_order_in_time():
    """Halving the step divides the change of the fog field by 2**1.9 (a blob turned over by a closed circulation)."""
    f = ring_vortex(STEEP)
    problem, base = base_of(f, closed_problem(f, CELLS))
    problem = replace(problem, has_fog=True)
    still = replace(Swaying.of(problem, base, sp.Integer(0), sp.Integer(0)), p=np.zeros_like(base.p))
    blob = at(sp.exp(-8 * (R - 0.4) ** 2 - 8 * (Z - 0.6) ** 2), problem.grid.r, problem.grid.z)

    def fog_after(steps: int) -> Array:
        stepper, s = Stepper.of(problem, still.sources), replace(base, fog=blob)
        for _ in range(steps):
            s = stepper.advance(s, END / steps)
        assert np.sum(s.fog * problem.grid.volume) == pytest.approx(np.sum(blob * problem.grid.volume), rel=1e-12)
        return s.fog

    fields = [fog_after(steps) for steps in (80, 160, 320)]
    first, second = (np.sqrt(np.mean((b - a) ** 2)) for a, b in pairwise(fields))
    assert np.log2(first / second) >= 1.9
