"""Flows between two concentric cylinders: closed forms that an inner wall must keep."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import solve_steady
from swirlwright.solver.transient import Stepper
from swirlwright.verification.domains import laminar, stretched_faces, walls

INNER, OUTER = 0.4, 1.0
TURNING = 2.0, -0.5
FREE_ENDS = dict.fromkeys(("bottom_stress_u", "bottom_stress_v", "top_stress_u", "top_stress_v"), 0.0)


def annulus(cells: int, height: float = 0.2, layers: int = 4) -> Grid:
    return Grid(INNER + stretched_faces(OUTER - INNER, cells, 0.3), np.linspace(0.0, height, layers + 1))


def couette(r: Array) -> Array:
    """v = A r + B/r between cylinders that turn at the two rates of TURNING."""
    inside, outside = TURNING
    a = (outside * OUTER**2 - inside * INNER**2) / (OUTER**2 - INNER**2)
    b = (inside - outside) * INNER**2 * OUTER**2 / (OUTER**2 - INNER**2)
    return a * r + b / r


def turning(cells: int) -> FlowProblem:
    grid = annulus(cells)
    edges = walls(grid, inner_v=TURNING[0] * INNER, side_v=TURNING[1] * OUTER, **FREE_ENDS)
    return laminar(grid, edges, 0.1)


def steady(problem: FlowProblem) -> State:
    found = solve_steady(problem, State.at_rest(problem), tolerance=1e-10, max_iterations=60)
    assert found.is_converged
    return found.state


def least_order(errors: list[float]) -> float:
    return float(min(-np.diff(np.log2(errors))))


def test_annular_couette_flow_is_second_order():
    """v, and the torque on the inner cylinder, meet A r + B/r with errors falling by 2**1.9 per halving."""
    swirl, torque = [], []
    for cells in (24, 48, 96):
        problem = turning(cells)
        s, k, m = steady(problem), problem.work, problem.grid.metric
        swirl.append(float(np.abs(s.v - couette(m.r)).max()))
        problem.rates(s, problem.viscosity(s))
        b = (TURNING[0] - TURNING[1]) * INNER**2 * OUTER**2 / (OUTER**2 - INNER**2)
        torque.append(float(abs(k.vis_r[0, 0] / m.dz[0] - 2.0 * 0.1 * b)))
    assert least_order(swirl) >= 1.9
    assert least_order(torque) >= 1.9


def test_march_ends_in_annular_couette_flow():
    """From rest, long implicit steps end within 1e-9 of the steady solver's flow."""
    problem = turning(16)
    stepper, s = Stepper.of(problem), State.at_rest(problem)
    for _ in range(60):
        s = stepper.advance(s, 0.5)
    assert np.abs(s.v - steady(problem).v).max() < 1e-9


def test_rigid_rotation_between_cylinders_is_kept():
    """After 50 steps between two cylinders turning alike v differs from Omega r by round-off only (1e-12)."""
    grid = annulus(16)
    problem = laminar(grid, walls(grid, inner_v=2.0 * INNER, side_v=2.0 * OUTER, **FREE_ENDS), 0.1)
    stepper, s = Stepper.of(problem), State.at_rest(problem)
    s = stepper.with_pressure(replace(s, v=np.tile(2.0 * grid.r, (4, 1))))
    for _ in range(50):
        s = stepper.advance(s, 0.1)
    assert np.abs(s.v - 2.0 * grid.r).max() < 1e-12
    assert max(np.abs(s.u).max(), np.abs(s.w).max()) < 1e-12


def annular_pipe(cells: int) -> tuple[FlowProblem, Array]:
    """Flow along an annulus, fed with its own profile; Lamb, Hydrodynamics, 1932, art. 331 for dp/dz = -4 nu."""
    grid = annulus(cells, 2.0, 2 * cells)
    exact = OUTER**2 - grid.r**2 + (INNER**2 - OUTER**2) * np.log(grid.r / OUTER) / np.log(INNER / OUTER)
    edges = walls(grid, bottom_w=exact, top_kind=1, side_v=0.0)
    return laminar(grid, edges, 0.5), exact


def test_flow_along_an_annulus_is_second_order():
    """w (in L2) and dp/dz = -4 nu halfway along have errors falling by 2**1.9 per halving."""
    profile, gradient = [], []
    for cells in (12, 24, 48):
        problem, exact = annular_pipe(cells)
        s, z = steady(problem), problem.grid.z
        profile.append(float(np.sqrt((s.w[cells] - exact) ** 2 @ problem.grid.metric.a)))
        slope = (s.p[cells] - s.p[cells - 1]) / (z[cells] - z[cells - 1])
        gradient.append(float(abs(slope.mean() + 4.0 * 0.5)))
    assert least_order(profile) >= 1.9
    assert least_order(gradient) >= 1.9


def test_march_ends_in_the_flow_along_an_annulus():
    """From rest, the march ends within 1e-8 of the steady solver's axial flow."""
    problem, _ = annular_pipe(12)
    stepper, s = Stepper.of(problem), State.at_rest(problem)
    for _ in range(300):
        s = stepper.advance(s, 0.005)
    assert np.abs(s.w - steady(problem).w).max() < 1e-8
