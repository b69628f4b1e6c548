"""Laminar flow in a pipe, far from an even inlet: closed form of Hagen and Poiseuille."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from swirlwright.solver.grid import Grid
from swirlwright.solver.state import State
from swirlwright.solver.steady import solve_steady
from swirlwright.verification.domains import laminar, stretched_faces, walls

NU = 5.0
LENGTH = 5.0
MEAN_SPEED = 1.0


@cache
def pipe(cells: int) -> tuple[Grid, State]:
    """Even inflow through the floor, no-slip side, pressure 0 and no radial flow at the ceiling; Re = 0.2.

    So slow that the inlet is forgotten as exp(-4.5 z), the first Stokes eigenvalue: 1e-6 where it is measured.
    """
    grid = Grid(stretched_faces(1.0, cells, 0.3), stretched_faces(LENGTH, 2 * cells, 0.2))
    edges = walls(grid, bottom_w=MEAN_SPEED, top_kind=1)
    problem = laminar(grid, edges, NU)
    found = solve_steady(problem, State.at_rest(problem), tolerance=1e-9, max_iterations=40)
    assert found.is_converged
    return grid, found.state


def middle(grid: Grid, s: State) -> tuple[float, np.ndarray]:
    """Pressure gradient and axial velocity beyond the middle."""
    j = int(np.argmin(np.abs(grid.z_face - 0.6 * LENGTH)))
    slope = (s.p[j] - s.p[j - 1]) / (grid.z[j] - grid.z[j - 1])
    return float(slope.mean()), s.w[j]


def test_profile_and_pressure_gradient_are_second_order():
    """w = 2 W (1 - r2) and dp/dz = -8 nu W/R2 beyond the middle, with errors falling by 2**1.9."""
    profile, gradient = [], []
    for cells in (12, 24, 48):
        grid, s = pipe(cells)
        slope, w = middle(grid, s)
        profile.append(np.abs(w - 2.0 * MEAN_SPEED * (1.0 - grid.r**2)).max())
        gradient.append(abs(slope + 8.0 * NU * MEAN_SPEED))
    assert min(-np.diff(np.log2(profile))) >= 1.9
    assert min(-np.diff(np.log2(gradient))) >= 1.9


def test_outlet_does_not_disturb_the_pipe():
    """At the outlet the profile is still within 1 per cent of the parabola, and the flow is the inlet's."""
    grid, s = pipe(48)
    exact = 2.0 * MEAN_SPEED * (1.0 - grid.r**2)
    assert np.abs(s.w[-1] - exact).max() < 0.02 * MEAN_SPEED
    assert grid.metric.a @ s.w[-1] == pytest.approx(0.5 * MEAN_SPEED, rel=1e-10)
