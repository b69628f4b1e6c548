"""The one-equation closure at single points and over a few steps, against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swirlwright.solver import kernels
from swirlwright.solver.eddy import CONSTANTS, ROTATION, SpalartAllmaras
from swirlwright.solver.flow import wall_distance
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.transient import Stepper
from swirlwright.verification.domains import laminar, stretched_faces, walls

NU = 1e-3


def drum(cells: int = 48, **edges: float) -> FlowProblem:
    """A closed drum of unit radius with the closure in it."""
    grid = Grid(stretched_faces(1.0, cells, 0.2), stretched_faces(0.5, 8, 0.0))
    problem = laminar(grid, walls(grid, **edges), NU)
    distance, side = wall_distance(grid, problem.edges)
    return replace(problem, closure=SpalartAllmaras(distance, side, np.full(cells, 3.0 * NU), NU))


def turned_by(power: float) -> tuple[Array, Array]:
    """f_r1 and r for v = r**power, u = w = 0, away from the ends."""
    problem = drum(96)
    grid = problem.grid
    shape = grid.shape
    still = State.at_rest(problem)
    strain, spin, turned = np.empty((6, *shape)), np.empty((3, *shape)), np.empty(shape)
    v = np.tile(grid.r**power, (shape[0], 1))
    kernels.velocity_gradients(still.u, v, still.w, grid.metric, problem.edges, strain, spin)
    kernels.rotation_function(still.u, v, still.w, strain, spin, grid.metric, *ROTATION, turned)
    return turned[4, 20:80], grid.r[20:80]


@pytest.mark.parametrize("power", [0.5, 0.0, 1.5, -0.5])
def test_rotation_function_of_pure_swirl(power):
    """For v = r^n, S = |n - 1| v/r, W = |n + 1| v/r and r~ = (n + 1)(n - 1)^2 (v/r)^4/D^4, within 0.5 per cent.

    Worked out by hand from Shur, Strelets, Travin and Spalart 2000, AIAA J. 38:784, equations 2 to 6.
    """
    found, _ = turned_by(power)
    s, w = abs(power - 1.0), abs(power + 1.0)
    d2 = 0.5 * (s * s + w * w)
    star, tilde = s / w, (power + 1.0) * s * s / d2**2
    c1, c2, c3 = ROTATION
    expected = (1.0 + c1) * 2.0 * star / (1.0 + star) * (1.0 - c3 * np.arctan(c2 * tilde)) - c1
    assert found == pytest.approx(expected, rel=5e-3, abs=5e-3)


def test_parallel_shear_is_not_corrected():
    """Without rotation or curvature f_r1 is 1: a pipe at rest is the plain closure's."""
    problem = drum()
    grid = problem.grid
    shape = grid.shape
    still = State.at_rest(problem)
    w = np.tile(1.0 - grid.r**2, (shape[0] + 1, 1))
    strain, spin, turned = np.empty((6, *shape)), np.empty((3, *shape)), np.empty(shape)
    kernels.velocity_gradients(still.u, still.v, w, grid.metric, problem.edges, strain, spin)
    kernels.rotation_function(still.u, still.v, w, strain, spin, grid.metric, *ROTATION, turned)
    assert turned[2:-2, 1:-1] == pytest.approx(1.0, abs=1e-12)


def test_solid_rotation_makes_no_eddy_viscosity():
    """In a drum turning as a whole production is negative or none, so nu~ decays and the air stays laminar."""
    problem = drum(side_v=1.0)
    turning = problem.grid.r
    problem = replace(problem, edges=problem.edges._replace(bottom_v=turning, top_v=turning))
    s = replace(State.at_rest(problem), v=np.tile(turning, (problem.grid.z.size, 1)))
    stepper = Stepper.of(problem)
    s = stepper.with_pressure(s)
    for _ in range(200):
        s = stepper.advance(s, 0.02)
    assert np.abs(s.v - turning).max() < 1e-9
    assert s.eddy.max() < 3.0 * NU


def test_decay_without_flow_follows_its_own_equation():
    """At rest and far from walls d nu~/dt = -cw1 fw (nu~/d)^2 with fw at r = 10: the kernel gives that rate (1e-12)."""
    problem = drum()
    closure, grid = problem.closure, problem.grid
    assert isinstance(closure, SpalartAllmaras)
    still = State.at_rest(problem)
    eddy = np.full(grid.shape, 5.0 * NU)
    rate, _ = closure.rates(still.u, still.v, still.w, eddy, np.zeros(grid.shape), grid, problem.edges)
    cb1, cb2, sigma, kappa, cw2, cw3, cv1 = CONSTANTS[:7]
    cw1 = cb1 / kappa**2 + (1.0 + cb2) / sigma
    d = closure.distance[4, 10]
    chi = 5.0
    fv1 = chi**3 / (chi**3 + cv1**3)
    shear = 5.0 * NU / (kappa * d) ** 2 * (1.0 - chi / (1.0 + chi * fv1))
    # Without vorticity and with a negative f_v2 the modified shear vanishes, so r is at its ceiling.
    ratio = min(5.0 * NU / (max(shear, 1e-30) * (kappa * d) ** 2), 10.0)
    g = ratio + cw2 * (ratio**6 - ratio)
    fw = g * ((1.0 + cw3**6) / (g**6 + cw3**6)) ** (1.0 / 6.0)
    production = cb1 * max(shear, 0.0) * 5.0 * NU * -ROTATION[0]
    assert rate[4, 10] == pytest.approx(production - cw1 * fw * (5.0 * NU / d) ** 2, rel=1e-6)


def test_negative_values_come_back_by_themselves():
    """Where central differences undershoot below zero, the equation itself brings nu~ back; nothing is clipped."""
    problem = drum()
    s = State.at_rest(problem)
    s = replace(s, v=np.tile(problem.grid.r * (1.0 - problem.grid.r), (8, 1)), eddy=s.eddy * -0.5)
    stepper = Stepper.of(problem)
    first = s.eddy.min()
    for _ in range(300):
        s = stepper.advance(s, 0.02)
    assert first < s.eddy.min() <= 0.0
    assert s.is_finite
