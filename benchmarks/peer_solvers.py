"""What the peers of peers.py share, and the first of them: finite differences written straight in scipy.

Lengths by the radius R, speeds by Omega R, z from the turning end wall, as in verification/end_wall.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

import numpy as np
from scipy import sparse
from scipy.interpolate import RectBivariateSpline
from scipy.sparse.linalg import splu

from swirlwright.solver.grid import Array
from swirlwright.verification.domains import peak_of
from swirlwright.verification.end_wall import to_no_cell_size

HEIGHT, REYNOLDS = 1.5, 990.0
# Re on the way from rest (Newton's method fails if thrown from rest to 990), and how well each is solved: the largest
# last change of the flow in the meridional plane over its largest value.
RAMP, LOOSE, TIGHT = (100.0, 400.0), 0.1, 1e-3
MOST_STEPS = 30
# Factors serve on while a step is smaller than this times the one before: 0.1 and 0.5 were no faster.
KEPT = 0.3
# SuperLU's usual column ordering takes half as long again for the differences and no less for the elements; this one
# without its symmetric mode takes twenty times as long for the elements.
SUPER_LU: dict[str, Any] = {
    "permc_spec": "MMD_AT_PLUS_A",
    "diag_pivot_thresh": 0.01,
    "options": {"SymmetricMode": True},
}
Solve = Callable[[Array], Array]


class Answer(NamedTuple):
    """Unknowns solved for on the finest grid, and the largest axial velocity on the axis."""

    unknowns: int
    w: float


class Discretisation(Protocol):
    """One grid or mesh of a peer."""

    @property
    def cells(self) -> int:
        """Cells a radius, for the extrapolation."""

    @property
    def unknowns(self) -> int:
        """Their number, without what is held."""

    @property
    def flow(self) -> slice:
        """Where among the unknowns the meridional flow is, by which a step is judged."""

    def rest(self) -> Array:
        """Unknowns of fluid at rest under the turning wall."""

    def taken_from(self, coarse: Any, x: Array) -> Array:
        """Unknowns from those on another grid."""

    def residual(self, x: Array, nu: float) -> Array:
        """What the unknowns leave of the equations."""

    def inverse(self, x: Array, nu: float) -> Solve:
        """Solve with the factorised Jacobian."""

    def largest_w(self, x: Array) -> float:
        """Largest axial velocity on the axis."""


def newton(on: Discretisation, x: Array, nu: float, tolerance: float) -> Array:
    """Newton's method with factors kept while they serve.

    Raises
    ------
    ArithmeticError
        If it does not converge.
    """
    solve, before = None, 0.0
    for _ in range(MOST_STEPS):
        if solve is None:
            solve = on.inverse(x, nu)
        change = solve(on.residual(x, nu))
        x = x - change
        size = float(np.abs(change[on.flow]).max() / np.abs(x[on.flow]).max())
        if size < tolerance:
            return x
        if size > KEPT * before:
            solve = None
        before = size
    raise ArithmeticError(f"no steady flow in {MOST_STEPS} steps of Newton's method")


def steady(make: Callable[[Any], Discretisation], sizes: Sequence[Any], *, is_extrapolated: bool = False) -> Answer:
    """Steady flow at `REYNOLDS`: by the ramp on the first grid, then on each from the one before.

    `is_extrapolated` takes w to no cell size from the last two, as if of second order.
    """
    coarse, x, found = None, np.empty(0), []
    for size in sizes:
        on = make(size)
        if coarse is None:
            x = on.rest()
            for reynolds in RAMP:
                x = newton(on, x, 1.0 / reynolds, LOOSE)
        else:
            x = on.taken_from(coarse, x)
        x = newton(on, x, 1.0 / REYNOLDS, TIGHT)
        coarse = on
        found.append((on.cells, on.largest_w(x)))
    w = found[-1][1]
    if is_extrapolated:
        (few, coarse_w), (many, fine_w) = found[-2:]
        w = float(to_no_cell_size((few, many), coarse_w, fine_w))
    return Answer(on.unknowns, w)


def differences(sizes: Sequence[int], *, is_extrapolated: bool = False) -> Answer:
    """Finite differences on grids of so many cells a radius."""
    return steady(Differences.of, sizes, is_extrapolated=is_extrapolated)


@dataclass(frozen=True)
class Differences:
    """Circulation G = r v, vorticity o = du/dz - dw/dr and streamfunction p (w r = dp/dr) at the inner nodes.

    Central differences of second order on a uniform grid; vorticity of the walls by Thom (Thom 1933, Proc. R. Soc.
    Lond. A 141:651), where it is linear in p next to them. Operators act on values at the inner nodes, zero at the
    edges; `wall_*` add what the vorticity of the walls does, `disk_*` what the circulation of the turning wall does.
    """

    cells: int
    r: Array
    d_r: sparse.csr_matrix
    d_z: sparse.csr_matrix
    swirl: sparse.csr_matrix
    vorticity: sparse.csr_matrix
    poisson: sparse.csr_matrix
    wall_r: sparse.csr_matrix
    wall_z: sparse.csr_matrix
    wall_vorticity: sparse.csr_matrix
    disk_z: Array
    disk_swirl: Array

    @classmethod
    def of(cls, cells: int) -> Differences:
        """Operators of `cells` cells a radius."""
        h, nr, nz = 1.0 / cells, cells - 1, round(HEIGHT * cells) - 1
        r = h * np.arange(1, cells)
        over_r, plan, side = sparse.diags(1.0 / r), sparse.identity(nr), sparse.identity(nz)

        def first(n: int) -> sparse.dia_matrix:
            return sparse.diags([-0.5 / h, 0.5 / h], [-1, 1], (n, n))

        def second(n: int) -> sparse.dia_matrix:
            return sparse.diags([h**-2, -2.0 * h**-2, h**-2], [-1, 0, 1], (n, n))

        along_z, curl = sparse.kron(second(nz), plan), second(nr) - over_r @ first(nr)
        bend = second(nr) + over_r @ first(nr) - over_r @ over_r
        # Thom: o = -2 p/(r h^2) at a wall with p of the next node; at the side r is 1.
        last, low, high = (_only(n, k) for n, k in ((nr, nr - 1), (nz, 0), (nz, nz - 1)))
        at_side, at_low, at_high = (
            -2.0 * h**-2 * sparse.kron(*pair) for pair in ((side, last), (low, over_r), (high, over_r))
        )
        disk = np.zeros((nz, nr))
        disk[0] = r**2
        return cls(
            cells, np.tile(r, nz), sparse.kron(side, first(nr), "csr"), sparse.kron(first(nz), plan, "csr"),
            (sparse.kron(side, curl) + along_z).tocsr(), (sparse.kron(side, bend) + along_z).tocsr(),
            -(sparse.kron(side, over_r @ curl) + sparse.kron(second(nz), over_r)).tocsr(),
            (0.5 / h * at_side).tocsr(), (0.5 / h * (at_high - at_low)).tocsr(),
            ((h**-2 + 0.5 / h / r[-1]) * at_side + h**-2 * (at_low + at_high)).tocsr(),
            -0.5 / h * disk.ravel(), h**-2 * disk.ravel(),
        )  # fmt: skip

    @property
    def unknowns(self) -> int:
        return 3 * self.r.size

    @property
    def flow(self) -> slice:
        return slice(2 * self.r.size, None)

    def rest(self) -> Array:
        return np.zeros(self.unknowns)

    def taken_from(self, coarse: Differences, x: Array) -> Array:
        """By cubic splines, walls included."""
        ends = [(np.arange(round(HEIGHT * d.cells) + 1) / d.cells, np.arange(d.cells + 1) / d.cells)
                for d in (coarse, self)]  # fmt: skip
        (z, r), (z_new, r_new) = ends
        splines = (RectBivariateSpline(z, r, field) for field in coarse.with_walls(x))
        return np.concatenate([spline(z_new[1:-1], r_new[1:-1]).ravel() for spline in splines])

    def with_walls(self, x: Array) -> Array:
        """The three fields on all nodes, (3, nz + 1, nr + 1)."""
        n = self.cells
        nz = round(HEIGHT * n)
        r = np.arange(n + 1) / n
        fields = np.zeros((3, nz + 1, n + 1))
        fields[:, 1:-1, 1:-1] = x.reshape(3, nz - 1, n - 1)
        g, o, p = fields
        g[0] = r**2
        o[:, -1] = -2.0 * n**2 * p[:, -2]
        o[0, 1:], o[-1, 1:] = -2.0 * n**2 * p[1, 1:] / r[1:], -2.0 * n**2 * p[-2, 1:] / r[1:]
        return fields

    def slopes(self, x: Array) -> tuple[Array, ...]:
        """Velocities u and w, and the slopes of G and o along r and z."""
        g, o, p = x.reshape(3, -1)
        u, w = -(self.d_z @ p) / self.r, (self.d_r @ p) / self.r
        g_r, g_z = self.d_r @ g, self.d_z @ g + self.disk_z
        return u, w, g_r, g_z, self.d_r @ o + self.wall_r @ p, self.d_z @ o + self.wall_z @ p

    def residual(self, x: Array, nu: float) -> Array:
        g, o, p = x.reshape(3, -1)
        u, w, g_r, g_z, o_r, o_z = self.slopes(x)
        swirl = u * g_r + w * g_z - nu * (self.swirl @ g + self.disk_swirl)
        vorticity = u * (o_r - o / self.r) + w * o_z - 2.0 * g * g_z / self.r**3
        vorticity -= nu * (self.vorticity @ o + self.wall_vorticity @ p)
        return np.concatenate((swirl, vorticity, self.poisson @ p - o))

    def inverse(self, x: Array, nu: float) -> Solve:
        r, of = self.r, sparse.diags
        g, o, _ = x.reshape(3, -1)
        u, w, g_r, g_z, o_r, o_z = self.slopes(x)
        carry = of(u) @ self.d_r + of(w) @ self.d_z
        g_by_p = of(g_z / r) @ self.d_r - of(g_r / r) @ self.d_z
        o_by_g = -of(2.0 * g_z / r**3) - of(2.0 * g / r**3) @ self.d_z
        o_by_p = of(o_z / r) @ self.d_r - of((o_r - o / r) / r) @ self.d_z
        o_by_p += of(u) @ self.wall_r + of(w) @ self.wall_z - nu * self.wall_vorticity
        rows = [
            [carry - nu * self.swirl, None, g_by_p],
            [o_by_g, carry - of(u / r) - nu * self.vorticity, o_by_p],
            [None, -sparse.identity(r.size), self.poisson],
        ]
        return splu(sparse.block_array(rows, format="csc"), **SUPER_LU).solve

    def largest_w(self, x: Array) -> float:
        """By p = w r^2/2 + c r^4 through two nodes next to the axis, and a parabola along it."""
        p = self.with_walls(x)[2]
        w = (p[:, 2] - 16.0 * p[:, 1]) * self.cells**2 / 6.0
        return peak_of(np.arange(w.size) / self.cells, w)[1]


def _only(n: int, k: int) -> sparse.csr_matrix:
    """The k-th of n values alone, as a matrix."""
    return sparse.csr_matrix(([1.0], ([k], [k])), (n, n))
