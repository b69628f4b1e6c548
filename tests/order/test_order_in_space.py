"""Observed order of the whole steady system by manufactured solutions on smoothly stretched grids."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp
from flows import MadeUp, R, Z, at, errors, orders, stretched_faces, walls

from swirlwright.solver.grid import Grid
from swirlwright.solver.state import FlowProblem
from swirlwright.solver.steady import solve_steady

HEIGHT = 1.5
CELLS = (20, 40, 80)
DUCT = 0.3
K_IN, K_OUT, OPEN_SHARE, SCREEN = 0.5, 1.0, 0.6, 0.4

# From 0.005 on the floor's centre to 0.5 in the upper corner: a ratio of 100 across the domain.
STEEP = 0.005 * sp.exp(sp.log(100) * (R**2 + Z / HEIGHT) / 2)
SWIRL = R * (sp.Rational(6, 5) - R**2 / 2) * (1 + sp.Rational(2, 5) * sp.sin(2 * Z + 0.3))
PRESSURE = sp.cos(2 * R**2) * sp.cos(1.7 * Z + 0.4)


def ring_vortex(nu: sp.Expr) -> MadeUp:
    """A closed circulation, at rest on every wall in r and z, with swirl that slides over the walls."""
    psi = 2 * R**2 * (1 - R**2) ** 2 * Z**2 * (HEIGHT - Z) ** 2 * (1 + Z / 4)
    return MadeUp(sp.expand(-sp.diff(psi, Z) / R), SWIRL, sp.expand(sp.diff(psi, R) / R), PRESSURE, nu)


def through_flow(nu: sp.Expr) -> MadeUp:
    """Air enters the lower side and the floor, leaves by the upper side and the ceiling; volume is added inside."""
    u = R * (sp.Rational(3, 10) * sp.cos(3 * Z / HEIGHT) - R**2 / 5)
    w = (1 - R**2 / 2) * (sp.sin(1.3 * Z) + Z / 3)
    return MadeUp(u, SWIRL, w, PRESSURE, nu)


def stress_free_outflow(nu: sp.Expr) -> MadeUp:
    """Air leaves through the whole side; no tangential stress acts on side and ceiling in the exact field."""
    wave = sp.cos(sp.pi * Z / HEIGHT)
    u = R * sp.Rational(3, 10) * (1 + wave * (1 - R**2))
    w = (1 - R**2) ** 2 * sp.sin(2 * sp.pi * Z / HEIGHT) / 2 + (3 * Z + 1) / 10
    v = R * (1 + sp.Rational(2, 5) * wave * (1 - R**2) ** 2)
    return MadeUp(u, v, w, PRESSURE, nu)


def grid_of(cells: int) -> Grid:
    return Grid(stretched_faces(1.0, cells, 0.4, 2.0), stretched_faces(HEIGHT, cells * 5 // 4, 0.4, 0.7))


def given_on_edges(f: MadeUp, grid: Grid) -> dict:
    """Exact tangential values on side, floor and ceiling, and the flow through the floor."""
    inner = grid.r_face[1:]
    return dict(
        side_v=at(f.v, 1.0, grid.z), side_w=at(f.w, 1.0, grid.z_face),
        bottom_u=np.append(0.0, at(f.u, inner, 0.0)), bottom_v=at(f.v, grid.r, 0.0), bottom_w=at(f.w, grid.r, 0.0),
        top_u=np.append(0.0, at(f.u, inner, HEIGHT)), top_v=at(f.v, grid.r, HEIGHT), top_w=at(f.w, grid.r, HEIGHT),
    )  # fmt: skip


def closed_problem(f: MadeUp, cells: int) -> FlowProblem:
    grid = grid_of(cells)
    edges = walls(grid, **given_on_edges(f, grid))
    return FlowProblem(grid, edges, f.sources(grid), f.viscosity(grid), 1.0, 0.005, None, 1.0, 1.0)


def open_problem(f: MadeUp, cells: int, exhaust_is_given: bool) -> FlowProblem:
    """Side all open and total pressure given there; pressure given in the inner half of the ceiling's cells."""
    grid = grid_of(cells)
    side, top = at(f.u, 1.0, grid.z), at(f.w, grid.r, HEIGHT)
    normal_side = f.p - 2 * f.nu * sp.diff(f.u, R)
    normal_top = f.p - 2 * f.nu * sp.diff(f.w, Z)
    head_side = np.where(side < 0.0, -0.5 * (1.0 + K_IN), 0.5 * K_OUT) * (side / OPEN_SHARE) ** 2
    head_top = np.where(top < 0.0, -0.5 * (1.0 + SCREEN), 0.5 * SCREEN) * top**2
    lip = cells // 2
    flow = None
    if exhaust_is_given:
        rim = float(grid.r_face[lip])
        flow = 2.0 * np.pi * float(sp.integrate(sp.expand(f.w.subs(Z, HEIGHT) * R), (R, 0, rim)))
    edges = walls(
        grid, **given_on_edges(f, grid),
        side_kind=1, side_open=OPEN_SHARE, side_in=K_IN, side_out=K_OUT,
        side_p=at(normal_side, 1.0, grid.z) - head_side,
        top_kind=(np.arange(cells) < lip).astype(int), top_loss=SCREEN,
        top_p=at(normal_top, grid.r, HEIGHT) - head_top - (DUCT if exhaust_is_given else 0.0),
    )  # fmt: skip
    return FlowProblem(grid, edges, f.sources(grid), f.viscosity(grid), 1.0, 0.005, flow, 1.0, 1.0)


def stress_free_problem(f: MadeUp, cells: int) -> FlowProblem:
    """Side and ceiling without tangential stress and without given values: what comes out is what is inside."""
    problem = open_problem(f, cells, exhaust_is_given=False)
    nothing = dict.fromkeys(("side_v", "side_w", "top_u", "top_v"), 0.0)
    free = dict.fromkeys(("side_stress_v", "side_stress_w", "top_stress_u", "top_stress_v"), 0.0)
    changes = {name: 0.0 * getattr(problem.edges, name) for name in {**nothing, **free}}
    return replace(problem, edges=problem.edges._replace(**changes))


def observed(f: MadeUp, problem_of, level: bool) -> dict[str, tuple[float, float]]:
    by_grid = []
    for cells in CELLS:
        problem = problem_of(f, cells)
        exact = f.state(problem.grid)
        found = solve_steady(problem, exact, tolerance=1e-9, max_iterations=20, first_step=1e3)
        assert found.is_converged
        by_grid.append(errors(found.state, exact, problem.grid, level))
    return orders(by_grid)


CASES = {
    "closed": (ring_vortex(sp.Float(0.02)), closed_problem, False),
    "closed, viscosity ratio 100": (ring_vortex(STEEP), closed_problem, False),
    "open, viscosity ratio 100": (through_flow(STEEP), lambda f, n: open_problem(f, n, False), True),
    "open, exhaust flow given": (through_flow(sp.Float(0.02)), lambda f, n: open_problem(f, n, True), True),
    "open, stress-free": (stress_free_outflow(STEEP), stress_free_problem, True),
}


@pytest.mark.parametrize("case", CASES)
def test_steady_flow_is_second_order_in_space(case):
    """Halving smoothly stretched cells divides the error by 2**1.9 in L2 and 2**1.7 at worst, for u, v, w and p."""
    f, problem_of, level = CASES[case]
    for name, (l2, largest) in observed(f, problem_of, level).items():
        assert l2 >= 1.9, f"{name}: order {l2:.2f} in L2"
        assert largest >= 1.7, f"{name}: order {largest:.2f} in the maximum norm"


def test_viscosity_ratio_is_a_hundred():
    """The steep viscosity of these cases does vary a hundredfold over the domain."""
    grid = grid_of(CELLS[0])
    field = ring_vortex(STEEP).viscosity(grid).field
    assert field.max() / field.min() == pytest.approx(100.0, rel=1e-3)
