"""The exact discrete projection onto fields with div u = q and the asked exhaust flow."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.linalg import splu

from swirlwright.solver import kernels
from swirlwright.solver.grid import Array
from swirlwright.solver.state import FlowProblem

# SuperLU in its symmetric mode: measured 100 times faster on these matrices than its defaults.
FACTOR: dict[str, Any] = {"permc_spec": "MMD_AT_PLUS_A", "options": {"SymmetricMode": True}}

# Open share below which the side's pressure law is followed within the step. Wider ones are not stiff: with a share of
# 0.5 steps and their end fields agree on the side's pressure to 0.001 Pa.
NARROW = 0.2


class Projection:
    """Factorised pressure equation of one grid and set of open faces (independent of the time step)."""

    def __init__(self, problem: FlowProblem) -> None:
        """Assemble div grad for the faces that are free in `problem` and factorise it."""
        self.problem = problem
        m, e = problem.grid.metric, problem.edges
        nz, nr = problem.grid.shape
        index = np.arange(nz * nr).reshape(nz, nr)
        rows: list[NDArray[np.int64]] = []
        columns: list[NDArray[np.int64]] = []
        values: list[Array] = []
        diagonal = np.zeros((nz, nr))

        def couple(one: tuple[slice, slice], other: tuple[slice, slice], weight: Array) -> None:
            rows.extend((index[one].ravel(), index[other].ravel()))
            columns.extend((index[other].ravel(), index[one].ravel()))
            values.extend((-weight.ravel(), -weight.ravel()))
            diagonal[one] += weight
            diagonal[other] += weight

        radial = (m.rf / m.drc)[None, :] * m.dz[:, None]
        axial = m.a[None, :] / m.dzc[:, None]
        couple(np.s_[:, :-1], np.s_[:, 1:], radial[:, 1:-1])
        couple(np.s_[:-1, :], np.s_[1:, :], axial[1:-1, :])
        diagonal[:, -1] += np.where(e.side_kind == 1, radial[:, -1], 0.0)
        diagonal[-1, :] += np.where(e.top_kind == 1, axial[-1, :], 0.0)
        self.has_level = bool(np.any(e.side_kind == 1) or np.any(e.top_kind == 1))
        if not self.has_level:
            # Only differences of pressure matter: one cell is tied to zero, which changes no gradient.
            diagonal[0, 0] += radial[0, 1]
        rows.append(index.ravel())
        columns.append(index.ravel())
        values.append(diagonal.ravel())
        matrix = sparse.csc_matrix(
            (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(nz * nr, nz * nr)
        )
        self.solver = splu(matrix, diag_pivot_thresh=0.0, **FACTOR)
        self.cell = m.a[None, :] * m.dz[:, None]
        self.no_lag = np.zeros(nz)
        self.is_stiff = bool(np.any((e.side_kind == 1) & (e.side_open < NARROW)))
        if self.is_stiff:
            # What a unit source in each cell beside the side does to the pressure of all of those.
            unit = np.zeros((nz * nr, nz))
            unit[index[:, -1], np.arange(nz)] = 1.0
            self.beside = self.solver.solve(unit)[index[:, -1]]
        if problem.exhaust_flow is not None:
            self.load = np.zeros((nz, nr))
            self.load[-1, :] = np.where(e.top_kind == 1, axial[-1, :], 0.0)
            self.response, self.flow_response = self._response(self.no_lag)

    def _response(self, lag: Array) -> tuple[Array, float]:
        """Pressure (nz, nr) of a unit pressure in the duct, and the exhaust flow it drives in a unit of time."""
        nz, nr = self.load.shape
        response = self._solve(self.load, lag)
        u, w = np.zeros((nz, nr + 1)), np.zeros((nz + 1, nr))
        kernels.subtract_gradient(u, w, response, self.problem.grid.metric, self.problem.edges, 1.0, 1.0, lag)
        return response, float(self.problem.exhaust_areas @ w[-1])

    def _solve(self, load: Array, lag: Array) -> Array:
        """Solve div grad = load, (nz, nr), with the side's faces `lag` [m] longer than they are."""
        plain: Array = self.solver.solve(load.ravel()).reshape(load.shape)
        if lag is self.no_lag:
            return plain
        # The longer faces change one entry in each row of cells: a correction of that rank (Woodbury).
        m, e = self.problem.grid.metric, self.problem.edges
        weaker = np.where(e.side_kind == 1, m.rf[-1] * m.dz * (1.0 / (m.drc[-1] + lag) - 1.0 / m.drc[-1]), 0.0)
        change = np.zeros_like(load)
        system = np.identity(lag.size) + weaker[:, None] * self.beside
        change[:, -1] = np.linalg.solve(system, weaker * plain[:, -1])
        correction: Array = self.solver.solve(change.ravel()).reshape(load.shape)
        return plain - correction

    def lag(self, u: Array, step: float) -> Array:
        """How much longer the side's faces are made, (nz,) [m]: not at all but for narrow openings.

        Through a narrow opening the side's pressure answers a change of u within a tiny part of a step. Taken as
        fixed over the step, it would be undone by the next and miss its law by orders of magnitude.
        """
        if not self.is_stiff:
            return self.no_lag
        out = np.empty_like(self.no_lag)
        kernels.side_lags(u, self.problem.edges, step, out)
        return out

    def apply(
        self, u: Array, w: Array, step: float, volume: Array, flow: float | None, lag: Array | None = None
    ) -> tuple[Array, float]:
        """Make (u, w) satisfy div u = volume and the exhaust flow, in place; `lag` as returned by `lag`, or none.

        Returns the pressure (nz, nr) and the duct's pressure [m2/s2] whose gradient times `step` [s] was taken.
        """
        lag = self.no_lag if lag is None else lag
        m, e = self.problem.grid.metric, self.problem.edges
        excess = np.empty_like(volume)
        kernels.divergence(u, w, volume, m, excess)
        phi = self._solve(-excess * self.cell / step, lag)
        if not self.has_level:
            phi -= phi[0, 0]
        kernels.subtract_gradient(u, w, phi, m, e, step, 0.0, lag)
        if flow is None:
            return phi, 0.0
        missing = flow - float(self.problem.exhaust_areas @ w[-1])
        response, flow_response = (self.response, self.flow_response) if lag is self.no_lag else self._response(lag)
        duct = missing / (flow_response * step)
        lift = duct * response
        kernels.subtract_gradient(u, w, lift, m, e, step, duct, lag)
        return phi + lift, duct
