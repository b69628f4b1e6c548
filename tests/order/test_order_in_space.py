"""Observed order of the whole steady system by manufactured solutions on smoothly stretched grids."""

from __future__ import annotations

import pytest
import sympy as sp
from made_up import (
    STEEP,
    MadeUp,
    closed_problem,
    errors,
    grid_of,
    open_problem,
    orders,
    ring_vortex,
    stress_free_outflow,
    stress_free_problem,
    through_flow,
)

from swirlwright.solver.steady import solve_steady

CELLS = (20, 40, 80)


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
