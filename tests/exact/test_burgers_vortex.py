"""The Burgers vortex: inflow through the side against viscosity, closed form u = -a r, w = 2 a z.

J. M. Burgers, A mathematical model illustrating the theory of turbulence, Adv. Appl. Mech. 1 (1948) 171.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

import swirlwright
from swirlwright.postproc.flow_numbers import RESOLVED_CELLS
from swirlwright.solver.flow import build_grid
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import State
from swirlwright.solver.steady import solve_steady
from swirlwright.verification.domains import laminar, stretched_faces, walls

CASES = Path(__file__).parents[2] / "cases"
STRAIN = 1.0
HEIGHT = 0.4
# v = 1/r (1 - exp(-r2/c2)) has its maximum at 1.120907 c, where it is 0.638173/c: roots of 2 x = exp(x) - 1.
PEAK_PLACE, PEAK = 1.120907, 0.638173


def exact_swirl(r: Array, nu: float) -> Array:
    return (1.0 - np.exp(-STRAIN * r**2 / (2.0 * nu))) / r


def core_of(r: Array, v: Array) -> tuple[float, float]:
    """Place and size of the largest v, by a parabola through the three highest points."""
    i = int(np.argmax(v))
    a, b, c = np.polyfit(r[i - 1 : i + 2], v[i - 1 : i + 2], 2)
    return -b / (2.0 * a), c - b * b / (4.0 * a)


@cache
def burgers(cells: int, core: float, fineness: float) -> tuple[Grid, State, float]:
    """Computed vortex on rings from one smooth map."""
    return burgers_on(stretched_faces(1.0, cells, fineness, np.pi), core)


def burgers_on(r_face: Array, core: float) -> tuple[Grid, State, float]:
    """Computed vortex in unit radius with free-slip floor, inflow a R at the side and w = 2 a H at the top."""
    nu = STRAIN / 2.0 * (core / PEAK_PLACE) ** 2
    grid = Grid(r_face, np.linspace(0.0, HEIGHT, 9))
    edges = walls(
        grid,
        side_u=-STRAIN,
        side_v=exact_swirl(np.array([1.0]), nu)[0],
        side_carry_w=0.0,
        side_stress_w=0.0,
        bottom_stress_u=0.0,
        bottom_stress_v=0.0,
        top_w=2.0 * STRAIN * HEIGHT,
        top_stress_u=0.0,
        top_stress_v=0.0,
    )
    problem = laminar(grid, edges, nu)
    found = solve_steady(problem, State.at_rest(problem), tolerance=1e-9, max_iterations=60)
    assert found.is_converged
    return grid, found.state, nu


def test_straining_flow_is_exact():
    """The linear fields u = -a r and w = 2 a z are met to round-off on a stretched grid."""
    grid, s, _ = burgers(32, 0.25, 0.3)
    assert np.abs(s.u + STRAIN * grid.r_face).max() < 1e-8
    assert np.abs(s.w - 2.0 * STRAIN * grid.z_face[:, None]).max() < 1e-8


@pytest.mark.parametrize("fineness", [0.0, 0.3])
def test_radial_profile_is_second_order_on_three_grids(fineness):
    """Each halving of the cells divides the L2 error of v(r) by 2**1.9 and the largest by 2**1.7."""
    l2, largest = [], []
    for cells in (24, 48, 96):
        grid, s, nu = burgers(cells, 0.25, fineness)
        error = s.v - exact_swirl(grid.r, nu)
        l2.append(np.sqrt(np.sum(error**2 * grid.volume) / np.sum(grid.volume)))
        largest.append(np.abs(error).max())
    assert min(-np.diff(np.log2(l2))) >= 1.9
    assert min(-np.diff(np.log2(largest))) >= 1.7


def test_core_radius_and_peak_converge_to_the_closed_form():
    """With 24 cells inside the core, core radius and largest v are within 0.5 per cent of the closed form."""
    grid, s, _ = burgers(96, 0.25, 0.0)
    place, peak = core_of(grid.r, s.v[4])
    assert place == pytest.approx(0.25, rel=5e-3)
    assert peak == pytest.approx(PEAK / (0.25 / PEAK_PLACE), rel=5e-3)


@pytest.mark.parametrize("core", [0.25, 0.1])
def test_eight_cells_in_the_core_add_no_viscosity(core):
    """With 8 cells inside the core (core Reynolds numbers 40 and 252) |(r_c,num/r_c)^2 - 1| stays below 0.1."""
    grid, s, _ = burgers(round(8.0 / core), core, 0.0)
    place, _ = core_of(grid.r, s.v[4])
    assert abs((place / core) ** 2 - 1.0) < 0.1


@pytest.mark.parametrize("path", sorted(CASES.glob("*.toml")), ids=lambda path: path.stem)
def test_rings_of_the_shipped_cases_add_no_viscosity(path):
    """On each shipped case's rings the thinnest core not marked under-resolved keeps |(r_c,num/r_c)^2 - 1| < 0.1."""
    case = swirlwright.read_case(path)
    r_face = build_grid(case).r_face / case.model_radius
    core = float(r_face[RESOLVED_CELLS])
    grid, s, _ = burgers_on(r_face, core)
    place, _ = core_of(grid.r, s.v[4])
    assert abs((place / core) ** 2 - 1.0) < 0.1


def test_lower_viscosity_makes_a_thinner_core():
    """On one coarse grid the core radius falls with the square root of the viscosity (within 5 per cent)."""
    places = []
    for core in (0.4, 0.2):
        grid, s, _ = burgers(40, core, 0.0)
        places.append(core_of(grid.r, s.v[4])[0])
    assert places[1] < places[0]
    assert places[0] / places[1] == pytest.approx(2.0, rel=0.05)
