"""The peer in scikit-fem: quadratic velocities (u, v, w) and linear pressure on triangles, finer at the walls."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from peer_solvers import HEIGHT, SUPER_LU, Answer, Solve, steady
from scipy import sparse
from scipy.sparse.linalg import splu
from skfem import Basis, BilinearForm, ElementTriP1, ElementTriP2, LinearForm, MeshTri
from skfem.helpers import dot, grad

from swirlwright.solver.grid import Array
from swirlwright.verification.domains import wall_faces

# Stretching of the points along r and z: of 0.6 to 1.4 and 0.4 to 1.2 those with the smallest errors.
STRETCHING_R, STRETCHING_Z = 1.2, 0.8
# Exact to this order; 6 in place of 4 moves w by 0.02 per cent.
QUADRATURE = 4


def elements(sizes: Sequence[int]) -> Answer:
    """Meshes of so many cells a radius, each of two triangles."""
    return steady(Elements, sizes)


@BilinearForm
def weighted(u: Any, test: Any, at: Any) -> Any:
    return at.by * u * test


@BilinearForm
def carried(u: Any, test: Any, at: Any) -> Any:
    return test * (at.r_by * u.grad[0] + at.z_by * u.grad[1])


@BilinearForm
def stress(u: Any, test: Any, at: Any) -> Any:
    return at.x[0] * dot(grad(u), grad(test))


@BilinearForm
def push_r(p: Any, test: Any, at: Any) -> Any:
    return -p * (at.x[0] * test.grad[0] + test)


@BilinearForm
def push_z(p: Any, test: Any, at: Any) -> Any:
    return -p * at.x[0] * test.grad[1]


@LinearForm
def gained(test: Any, at: Any) -> Any:
    return at.by * test


class Elements:
    """Weak form of the momentum equations weighted by r; pressure held at one node."""

    def __init__(self, cells: int) -> None:
        self.cells = cells
        z = wall_faces(HEIGHT, round(HEIGHT * cells), STRETCHING_Z, True)
        mesh = MeshTri.init_tensor(wall_faces(1.0, cells, STRETCHING_R, False), z)
        self.velocity = Basis(mesh, ElementTriP2(), intorder=QUADRATURE)
        self.pressure = self.velocity.with_element(ElementTriP1())
        self.r = self.velocity.global_coordinates()[0]
        self.n = n = self.velocity.N
        self.flow = slice(2 * n, 3 * n)
        on_r, on_z = self.velocity.doflocs
        is_axis = np.isclose(on_r, 0.0)
        is_disk = np.isclose(on_z, 0.0)
        is_wall = is_disk | np.isclose(on_z, HEIGHT) | np.isclose(on_r, 1.0)
        held_p = np.arange(self.pressure.N) == 0
        self.free = np.flatnonzero(~np.concatenate((is_wall | is_axis, is_wall | is_axis, is_wall, held_p)))
        self.unknowns = self.free.size
        self.disk_v = np.where(is_disk, on_r, 0.0)
        self.meridional = stress.assemble(self.velocity)
        self.hoop = self.meridional + weighted.assemble(self.velocity, by=1.0 / self.r)
        self.push = [form.assemble(self.pressure, self.velocity) for form in (push_r, push_z)]

    def rest(self) -> Array:
        still = np.zeros(self.n)
        return np.concatenate((still, self.disk_v, still, np.zeros(self.pressure.N)))

    def taken_from(self, coarse: Elements, x: Array) -> Array:
        """By the coarse mesh's own polynomials; the edges hold their values."""
        velocity = coarse.velocity.probes(self.velocity.doflocs)
        pressure = coarse.pressure.probes(self.pressure.doflocs)
        fields = [velocity @ field for field in x[: 3 * coarse.n].reshape(3, -1)]
        moved = self.rest()
        moved[self.free] = np.concatenate((*fields, pressure @ x[3 * coarse.n :]))[self.free]
        return moved

    def fields(self, x: Array) -> list[Any]:
        """u, v and w with their slopes at the points of quadrature."""
        return [self.velocity.interpolate(field) for field in x[: 3 * self.n].reshape(3, -1)]

    def linear(self, nu: float) -> sparse.csr_matrix:
        """Viscous stresses, pressure and mass."""
        hoop, (on_u, on_w) = nu * self.hoop, self.push
        rows = [
            [hoop, None, None, on_u],
            [None, hoop, None, None],
            [None, None, nu * self.meridional, on_w],
            [on_u.T, None, on_w.T, None],
        ]
        return sparse.block_array(rows, format="csr")

    def residual(self, x: Array, nu: float) -> Array:
        u, v, w = self.fields(x)
        carriage = [self.r * (u * field.grad[0] + w * field.grad[1]) for field in (u, v, w)]
        carriage[0] -= v * v
        carriage[1] += u * v
        left = self.linear(nu) @ x
        left[: 3 * self.n] += np.concatenate([gained.assemble(self.velocity, by=term) for term in carriage])
        return left

    def inverse(self, x: Array, nu: float) -> Solve:
        def by(factor: Array) -> sparse.csr_matrix:
            return weighted.assemble(self.velocity, by=factor)

        u, v, w = self.fields(x)
        r = self.r
        carry = carried.assemble(self.velocity, r_by=r * u, z_by=r * w)
        rows = [
            [carry + by(r * u.grad[0]), by(-2.0 * v), by(r * u.grad[1]), None],
            [by(r * v.grad[0] + v), carry + by(1.0 * u), by(r * v.grad[1]), None],
            [by(r * w.grad[0]), None, carry + by(r * w.grad[1]), None],
            [None, None, None, sparse.csr_matrix((self.pressure.N, self.pressure.N))],
        ]
        jacobian = self.linear(nu) + sparse.block_array(rows, format="csr")
        factor = splu(jacobian[self.free][:, self.free].tocsc(), **SUPER_LU)

        def solve(left: Array) -> Array:
            change = np.zeros_like(left)
            change[self.free] = factor.solve(left[self.free])
            return change

        return solve

    def largest_w(self, x: Array) -> float:
        """At a thousand points on the axis."""
        z = np.linspace(0.0, HEIGHT, 1002)[1:-1]
        return float(np.abs(self.velocity.probes(np.array([np.zeros_like(z), z])) @ x[self.flow]).max())
