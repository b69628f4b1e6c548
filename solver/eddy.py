"""The eddy viscosity with an equation of its own: Spalart and Allmaras, with the rotation and curvature correction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.kernels import Edges

# cb1, cb2, sigma, kappa, cw2, cw3, cv1 of Spalart and Allmaras 1994; ct3, cn1, c2, c3 of Allmaras, Johnson and
# Spalart 2012, for negative values only.
CONSTANTS = (0.1355, 0.622, 2.0 / 3.0, 0.41, 0.3, 2.0, 7.1, 1.2, 16.0, 0.7, 0.9)
CV1 = CONSTANTS[6]
# c_r1, c_r2, c_r3 of Shur, Strelets, Travin and Spalart 2000.
ROTATION = (1.0, 12.0, 1.0)
# nu~ over nu of air that comes in: 3 to 5 for a flow that is to be turbulent from the start (Spalart and Rumsey 2007,
# AIAA J. 45:2544).
COMING = 3.0


@dataclass(frozen=True)
class SpalartAllmaras:
    """The closure; the state carries its nu~, `State.eddy`.

    distance: of the walls (nz, nr) [m]. radial: share of the side in it (nz, nr), 1 where no other wall is near.
    coming: nu~ of air that comes in through the floor (nr,) [m2/s], its last value through the side.
    molecular: kinematic viscosity [m2/s].
    """

    distance: Array
    radial: Array
    coming: Array
    molecular: float

    def at_rest(self, grid: Grid) -> Array:
        """nu~ to begin with (nz, nr) [m2/s]: that of the air that comes in."""
        return np.tile(self.coming, (grid.z.size, 1))

    def viscosity(self, eddy: Array) -> Array:
        """Molecular plus eddy viscosity with its rim (nz+2, nr+2) [m2/s]: molecular on walls, even across the axis."""
        chi3 = np.maximum(eddy / self.molecular, 0.0) ** 3
        out = np.full((eddy.shape[0] + 2, eddy.shape[1] + 2), self.molecular)
        out[1:-1, 1:-1] += eddy * chi3 / (chi3 + CV1**3)
        out[:, 0] = out[:, 1]
        return out

    def rates(
        self, u: Array, v: Array, w: Array, eddy: Array, q: Array, grid: Grid, edges: Edges
    ) -> tuple[Array, Array]:
        """Rate of change of nu~ [m2/s2] and its decay rate for the implicit part [1/s], (nz, nr) each."""
        shape = grid.shape
        strain, spin, turned = np.empty((6, *shape)), np.empty((3, *shape)), np.empty(shape)
        kernels.velocity_gradients(u, v, w, grid.metric, edges, strain, spin)
        kernels.rotation_function(u, v, w, strain, spin, grid.metric, *ROTATION, turned)
        rate, decay = np.empty(shape), np.empty(shape)
        kernels.eddy_rates(
            u, w, eddy, q, strain, spin, turned, self.distance, self.molecular, self.coming, grid.metric, edges,
            CONSTANTS, rate, decay,
        )  # fmt: skip
        return rate, decay

    def sweep(
        self, u: Array, w: Array, eddy: Array, decay: Array, grid: Grid, edges: Edges, step: float, rhs: Array
    ) -> None:
        """Solve the implicit part of a step for nu~ in place."""
        kernels.sweep_eddy(u, w, eddy, decay, self.radial, self.molecular, grid.metric, edges, CONSTANTS, step, rhs)
