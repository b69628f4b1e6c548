"""The fog of a steady flow: a linear equation, solved once the flow is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from swirlwright.solver import kernels
from swirlwright.solver.grid import Array
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.transient import SCHMIDT


def with_steady_fog(problem: FlowProblem, s: State) -> State:
    """`s` with the fog concentration that its flow keeps up, as a share of that in the inlet, (nz, nr).

    The rate of change is affine in the concentration with a five-point stencil, so nine evaluations give its
    matrix; the same kernel as the transient's, so both keep the same fog.
    """
    if not problem.has_fog:
        return s
    nz, nr = problem.grid.shape
    nu = problem.viscosity(s)

    def rate(c: Array) -> Array:
        out = np.empty((nz, nr))
        kernels.scalar_rates(s.u, c, s.w, nu, SCHMIDT, problem.grid.metric, problem.edges, out)
        return out

    inflow = rate(np.zeros((nz, nr)))
    rows, columns, values = [], [], []
    for cj in range(3):
        for ci in range(3):
            c = np.zeros((nz, nr))
            c[cj::3, ci::3] = 1.0
            change = rate(c) - inflow
            row_j, row_i = np.nonzero(change)
            # The cell of this colour within one index of the row is unique.
            col_j, col_i = row_j + (cj - row_j + 1) % 3 - 1, row_i + (ci - row_i + 1) % 3 - 1
            rows.append(row_j * nr + row_i)
            columns.append(col_j * nr + col_i)
            values.append(change[row_j, row_i])
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    matrix = sparse.csc_matrix(entries, shape=(nz * nr, nz * nr))
    return replace(s, fog=splu(matrix).solve(-inflow.ravel()).reshape(nz, nr))
