"""A laminar chamber with throughflow and swirl, computed by an independent code for this project.

Lengths by R, speeds by the mean outlet speed W, Re = W R/nu = 50, height 2. Inlet on the side for z < 0.5:
u = -phi, v = S phi, w = 0, phi = 30 s^2 (1-s)^2, s = z/0.5. Floor and side above: no slip. Outlet at the top:
w = 2 (1 - r^2), u = 0, dv/dz = 0. The other code's values are good to +-0.001.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import solve_steady
from swirlwright.verification.domains import laminar, on_axis, walls

INLET = 0.5
CELLS = (20, 40, 80)
PLUS_MINUS = 0.001


def chamber(cells: int, swirl: float) -> FlowProblem:
    grid = Grid(np.linspace(0.0, 1.0, cells + 1), np.linspace(0.0, 2.0, 3 * cells // 2 + 1))
    s = np.clip(grid.z_face / INLET, 0.0, 1.0)
    # Means over the cells, so that the inflow equals the outflow exactly.
    phi = np.diff(INLET * (10.0 * s**3 - 15.0 * s**4 + 6.0 * s**5)) / np.diff(grid.z_face)
    outlet = np.diff(grid.r_face**2 - 0.5 * grid.r_face**4) / grid.metric.a
    edges = walls(grid, side_u=-phi, side_v=swirl * phi, top_w=outlet, top_stress_v=0.0)
    return laminar(grid, edges, 1.0 / 50.0)


@cache
def solved(cells: int, swirl: float) -> tuple[FlowProblem, State]:
    problem = chamber(cells, swirl)
    found = solve_steady(problem, State.at_rest(problem), tolerance=1e-9, max_iterations=60)
    assert found.is_converged
    return problem, found.state


def axial_speeds(cells: int) -> Array:
    problem, s = solved(cells, 0.0)
    return CubicSpline(problem.grid.z_face, on_axis(s.w))([0.25, 0.5, 1.0, 1.5])


def largest_swirl(cells: int) -> Array:
    """Largest v and its radius at z = 0.5 and z = 1, by a parabola through three points."""
    problem, s = solved(cells, 0.25)
    r, found = problem.grid.r, []
    for v in CubicSpline(problem.grid.z, s.v)([0.5, 1.0]):
        i = int(v.argmax())
        a, b, c = np.polyfit(r[i - 1 : i + 2], v[i - 1 : i + 2], 2)
        found += [c - b * b / (4.0 * a), -b / (2.0 * a)]
    return np.array(found)


@pytest.mark.parametrize(
    ("measure", "published"),
    [(axial_speeds, [0.2232, 0.8137, 1.7257, 1.9177]), (largest_swirl, [0.6930, 0.4435, 0.7976, 0.3451])],
    ids=["S 0", "S 0.25"],
)
def test_chamber_matches_the_independent_code(measure, published):
    """Values extrapolated from 40 and 80 cells lie within the other code's +-0.001."""
    coarse, fine = measure(40), measure(80)
    assert fine + (fine - coarse) / 3.0 == pytest.approx(published, abs=PLUS_MINUS)


def test_chamber_is_second_order():
    """The difference between grids of 20, 40 and 80 cells falls by 2**1.7 or more for w on the axis."""
    w = [axial_speeds(cells) for cells in CELLS]
    first, second = np.abs(w[1] - w[0]), np.abs(w[2] - w[1])
    assert np.sum(first) / np.sum(second) > 2.0**1.7


def test_angular_momentum_that_enters():
    """The flux of angular momentum through the inlet over 2 pi is 5 S/7, to second order in the cells."""
    errors = []
    for cells in CELLS:
        m, e = chamber(cells, 0.25).grid.metric, chamber(cells, 0.25).edges
        errors.append(abs(-np.sum(e.side_u * e.side_v * m.dz) - 5.0 * 0.25 / 7.0))
    assert min(-np.diff(np.log2(errors))) >= 1.9
