"""The discrete div grad of a chamber, inverted directly: modes along r, tridiagonal sweeps along z.

Every coefficient is a product of one of r and one of z but where the ceiling is open over part of its radius or the
side over part of its height. Those few cells are put right by a correction of their rank (Woodbury), applied between
the sweeps, where it costs next to nothing. Modes: Lynch, Rice and Thomas 1964, Numer. Math. 6:185; correction: Buzbee,
Dorr, George and Golub 1971, SIAM J. Numer. Anal. 8:722.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh

from swirlwright.solver import kernels
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.kernels import Edges


class PressureEquation:
    """Solves sum over faces of area times (p - p of the neighbour) over distance = load, for every cell of one grid.

    Areas are per radian. p is 0 beyond faces with a pressure condition; no other face of the boundary takes part.
    Where there is no such face only differences of p matter, and the lowest row's mean is 0.
    """

    def __init__(self, grid: Grid, edges: Edges) -> None:
        m = grid.metric
        nz, nr = grid.shape
        side, top = edges.side_kind == 1, edges.top_kind == 1
        # An open side is one of the modes' conditions if it is open over the whole height.
        is_side_open = bool(side.all())
        radial = np.zeros((nr, nr))
        coupling = m.rf / m.drc
        inner = np.arange(nr - 1)
        radial[inner, inner + 1] = radial[inner + 1, inner] = -coupling[1:-1]
        radial[np.diag_indices(nr)] = np.append(0.0, coupling[1:-1]) + np.append(coupling[1:-1], 0.0)
        radial[-1, -1] += coupling[-1] if is_side_open else 0.0
        squares, self.modes = eigh(radial, np.diag(m.a))
        self.coupling = 1.0 / m.dzc[1:-1]
        diagonal = np.zeros((nz, nr)) + m.dz[:, None] * squares
        diagonal[:-1] += self.coupling[:, None]
        diagonal[1:] += self.coupling[:, None]
        self.has_level = bool(side.any() or top.any())
        # Without an open side the uniform mode has no level of its own: its lowest value is tied to 0.
        self.tie = 0.0 if is_side_open else 1.0 / m.dzc[0]
        diagonal[0, 0] += self.tie
        self.inverse = np.empty_like(diagonal)
        kernels.factor_columns(self.coupling, diagonal, self.inverse)
        self.top = np.flatnonzero(top)
        self.side = np.flatnonzero(side) if not is_side_open else np.empty(0, np.int64)
        strength = np.concatenate((m.a[self.top] / m.dzc[-1], coupling[-1] * m.dz[self.side]))
        self.is_tied = self.has_level and not is_side_open
        if self.is_tied:
            strength = np.append(strength, -self.tie)
        self.correction = self._correction(strength)

    def _correction(self, strength: Array) -> Array:
        """What turns the values of p in the odd cells, without the correction, into the load that puts them right."""
        n = strength.size
        influence = np.empty((n, n))
        for k in range(n):
            influence[:, k] = self._odd_values(self._swept(self._odd_load(np.eye(n)[k])))
        return np.asarray(np.linalg.inv(np.diag(1.0 / strength) + influence), dtype=np.float64)

    def _odd_values(self, spectral: Array) -> Array:
        """Values at the top's open cells, the side's, and of the tied mode."""
        values = [self.modes[self.top] @ spectral[-1], spectral[self.side] @ self.modes[-1]]
        if self.is_tied:
            values.append(spectral[0, :1])
        return np.concatenate(values)

    def _odd_load(self, values: Array) -> Array:
        """The spectral load that has these values in those places, the transpose of `_odd_values`."""
        spectral = np.zeros_like(self.inverse)
        n = self.top.size
        spectral[-1] += values[:n] @ self.modes[self.top]
        spectral[self.side] += values[n : n + self.side.size, None] * self.modes[-1]
        if self.is_tied:
            spectral[0, 0] += values[-1]
        return spectral

    def _swept(self, spectral: Array) -> Array:
        kernels.sweep_columns(self.coupling, self.inverse, spectral)
        return spectral

    def solve(self, load: Array) -> Array:
        """p (nz, nr) for a load of that shape."""
        spectral = self._swept(load @ self.modes)
        if self.correction.size:
            spectral -= self._swept(self._odd_load(self.correction @ self._odd_values(spectral)))
        p: Array = spectral @ self.modes.T
        return p

    def beside_side(self) -> Array:
        """What a unit load in each cell beside the side does to p in all of those, (nz, nz)."""
        nz = self.inverse.shape[0]
        out = np.empty((nz, nz))
        load: NDArray[np.float64] = np.zeros_like(self.inverse)
        for j in range(nz):
            load[j, -1] = 1.0
            out[:, j] = self.solve(load)[:, -1]
            load[j, -1] = 0.0
        return out
