"""The exact discrete projection onto fields with div u = q and the asked exhaust flow."""

from __future__ import annotations

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.grid import Array
from swirlwright.solver.pressure import PressureEquation
from swirlwright.solver.state import FlowProblem

# Open share below which the side's pressure law is followed within the step. Wider ones are not stiff: with a share of
# 0.5 steps and their end fields agree on the side's pressure to 0.001 Pa.
NARROW = 0.2


class Projection:
    """Factorised pressure equation of one grid and set of open faces (independent of the time step)."""

    def __init__(self, problem: FlowProblem) -> None:
        """Factorise div grad for the faces that are free in `problem`."""
        self.problem = problem
        m, e = problem.grid.metric, problem.edges
        nz, nr = problem.grid.shape
        self.equation = PressureEquation(problem.grid, e)
        self.cell = m.a[None, :] * m.dz[:, None]
        self.no_lag = np.zeros(nz)
        self.is_stiff = bool(np.any((e.side_kind == 1) & (e.side_open < NARROW)))
        if self.is_stiff:
            self.beside = self.equation.beside_side()
        if problem.exhaust_flow is not None:
            self.load = np.zeros((nz, nr))
            self.load[-1, :] = np.where(e.top_kind == 1, m.a / m.dzc[-1], 0.0)
            self.response, self.flow_response = self._response(self.no_lag)

    def _response(self, lag: Array) -> tuple[Array, float]:
        """Pressure (nz, nr) of a unit pressure in the duct, and the exhaust flow it drives in a unit of time."""
        nz, nr = self.load.shape
        response = self._solve(self.load, lag)
        u, w = np.zeros((nz, nr + 1)), np.zeros((nz + 1, nr))
        self._subtract_gradient(u, w, response, 1.0, 1.0, lag)
        return response, float(self.problem.exhaust_areas @ w[-1])

    def _subtract_gradient(self, u: Array, w: Array, phi: Array, step: float, top_value: float, lag: Array) -> None:
        m, e = self.problem.grid.metric, self.problem.edges
        kernels.subtract_gradient(u, w, phi, m, e.side_kind, e.top_kind, step, top_value, lag)

    def _solve(self, load: Array, lag: Array) -> Array:
        """Solve div grad = load, (nz, nr), with the side's faces `lag` [m] longer than they are."""
        plain = self.equation.solve(load)
        if lag is self.no_lag:
            return plain
        # The longer faces change one entry in each row of cells: a correction of that rank (Woodbury).
        m, e = self.problem.grid.metric, self.problem.edges
        weaker = np.where(e.side_kind == 1, m.rf[-1] * m.dz * (1.0 / (m.drc[-1] + lag) - 1.0 / m.drc[-1]), 0.0)
        change = np.zeros_like(load)
        system = np.identity(lag.size) + weaker[:, None] * self.beside
        change[:, -1] = np.linalg.solve(system, weaker * plain[:, -1])
        return plain - self.equation.solve(change)

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
        excess = np.empty_like(volume)
        kernels.divergence(u, w, volume, self.problem.grid.metric, excess)
        phi = self._solve(-excess * self.cell / step, lag)
        if not self.equation.has_level:
            phi -= phi[0, 0]
        self._subtract_gradient(u, w, phi, step, 0.0, lag)
        if flow is None:
            return phi, 0.0
        missing = flow - float(self.problem.exhaust_areas @ w[-1])
        response, flow_response = (self.response, self.flow_response) if lag is self.no_lag else self._response(lag)
        duct = missing / (flow_response * step)
        lift = duct * response
        self._subtract_gradient(u, w, lift, step, duct, lag)
        return phi + lift, duct
