"""The direct pressure equation against a general sparse solver."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import spsolve

from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.flow import build_grid
from swirlwright.solver.grid import Grid
from swirlwright.solver.kernels import Edges
from swirlwright.solver.network import solve_network
from swirlwright.solver.pressure import PressureEquation

CASES = Path(__file__).parents[2] / "cases"
SMALL = {"grid.cells_r": 12, "grid.cells_z": 18, "grid.core_spacing": None}


def plain_matrix(grid: Grid, edges: Edges) -> sparse.csc_matrix:
    """Area over distance, face by face."""
    m, (nz, nr) = grid.metric, grid.shape
    matrix = sparse.lil_matrix((nz * nr, nz * nr))

    def couple(one: int, other: int, weight: float) -> None:
        matrix[one, one] += weight
        matrix[other, other] += weight
        matrix[one, other] -= weight
        matrix[other, one] -= weight

    for j in range(nz):
        for i in range(nr):
            cell = j * nr + i
            if i < nr - 1:
                couple(cell, cell + 1, m.rf[i + 1] * m.dz[j] / m.drc[i + 1])
            if j < nz - 1:
                couple(cell, cell + nr, m.a[i] / m.dzc[j + 1])
        if edges.side_kind[j] == 1:
            matrix[cell, cell] += m.rf[nr] * m.dz[j] / m.drc[nr]
    for i in np.flatnonzero(edges.top_kind == 1):
        matrix[(nz - 1) * nr + i, (nz - 1) * nr + i] += m.a[i] / m.dzc[nz]
    return matrix.tocsc()


@pytest.mark.parametrize(
    "changes",
    [{}, {"chamber.open_to": 0.3}, {"chamber.open_sides": []}, {"exhaust.outlet_profile": "uniform"}],
    ids=["side and exhaust open", "side open over half its height", "exhaust alone", "side alone"],
)
def test_direct_solution_is_that_of_a_sparse_solver(changes: dict[str, object]) -> None:
    """Same pressure as scipy's SuperLU gives on the matrix written out, to round-off."""
    case = vary(read_case(CASES / "table-top.toml"), SMALL | changes)
    problem = Chamber.of(case, build_grid(case), solve_network(case)).problem
    grid, edges = problem.grid, problem.edges
    load: NDArray[np.float64] = np.random.default_rng(4).normal(size=grid.shape)
    reference = spsolve(plain_matrix(grid, edges), load.ravel()).reshape(grid.shape)
    found = PressureEquation(grid, edges).solve(load)
    assert np.abs(found - reference).max() < 1e-11 * np.abs(reference).max()


def test_closed_box_has_its_level_tied() -> None:
    """Without a pressure face the differences are right and the lowest row's mean by volume is zero."""
    case = vary(read_case(CASES / "closed-cylinder.toml"), {"grid.cells_r": 12, "grid.cells_z": 18})
    problem = Chamber.of(case, build_grid(case), solve_network(case)).problem
    grid = problem.grid
    load = np.random.default_rng(4).normal(size=grid.shape)
    load -= load.mean()
    found = PressureEquation(grid, problem.edges).solve(load)
    assert np.abs(plain_matrix(grid, problem.edges) @ found.ravel() - load.ravel()).max() < 1e-10
    assert abs(np.average(found[0], weights=grid.metric.a)) < 1e-12 * np.abs(found).max()
