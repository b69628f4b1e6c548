"""Rigid rotation with every wall turning at the same rate."""

from __future__ import annotations

import numpy as np
import pytest

from swirlwright.solver.grid import Grid
from swirlwright.solver.state import FixedViscosity, FlowProblem, State
from swirlwright.solver.steady import solve_steady
from swirlwright.solver.transient import Stepper
from swirlwright.verification.domains import laminar, stretched_faces, walls

OMEGA = 2.0


def rotating(cells: int, nu_ratio: float = 1.0) -> FlowProblem:
    """A drum on a stretched grid whose viscosity varies by `nu_ratio` from axis to side."""
    grid = Grid(stretched_faces(1.0, cells, 0.4, 2.0), stretched_faces(1.2, cells, 0.4))
    turning = OMEGA * grid.r
    edges = walls(grid, side_v=OMEGA, bottom_v=turning, top_v=turning)
    problem = laminar(grid, edges, 0.01)
    r = np.concatenate(([0.0], grid.r, [1.0]))
    field = np.tile(0.01 * nu_ratio**r, (grid.z.size + 2, 1))
    return FlowProblem(grid, edges, problem.sources, FixedViscosity(field), 1.0, 0.01, None, 1.0, 1.0)


def turning_state(problem: FlowProblem) -> State:
    s = State.at_rest(problem)
    v = np.tile(OMEGA * problem.grid.r, (problem.grid.z.size, 1))
    return Stepper.of(problem).with_pressure(State(s.u, v, s.w, s.p))


@pytest.mark.parametrize("nu_ratio", [1.0, 100.0])
def test_transient_keeps_rigid_rotation(nu_ratio):
    """After 200 steps v differs from Omega r, and u and w from rest, by round-off only (1e-12)."""
    problem = rotating(24, nu_ratio)
    s, stepper = turning_state(problem), Stepper.of(problem)
    for _ in range(200):
        s = stepper.advance(s, 0.02)
    assert np.abs(s.v - OMEGA * problem.grid.r).max() < 1e-12
    assert max(np.abs(s.u).max(), np.abs(s.w).max()) < 1e-12


def test_rigid_rotation_has_no_residual():
    """The steady residual of rigid rotation is round-off on a stretched grid, so Newton does not move."""
    problem = rotating(24, 100.0)
    found = solve_steady(problem, turning_state(problem), tolerance=1e-12, max_iterations=1)
    assert found.is_converged
    assert not found.record


def test_steady_solver_finds_rigid_rotation_from_rest():
    """From rest the steady solver ends within 1e-7 of Omega r."""
    problem = rotating(16)
    found = solve_steady(problem, State.at_rest(problem), tolerance=1e-10, max_iterations=80)
    assert found.is_converged
    assert np.abs(found.state.v - OMEGA * problem.grid.r).max() < 1e-7


def test_pressure_of_rigid_rotation_is_second_order():
    """p - p(0) comes to Omega^2 r^2/2 with an error that falls by 2**1.9 per halving."""
    errors = []
    for cells in (16, 32, 64):
        problem = rotating(cells)
        s = turning_state(problem)
        error = s.p[3] - 0.5 * (OMEGA * problem.grid.r) ** 2
        errors.append(np.ptp(error))
    assert min(-np.diff(np.log2(errors))) >= 1.9
