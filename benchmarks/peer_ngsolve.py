"""The peer in NGSolve: cubic velocities (u, v, w) and quadratic pressure on triangles, much finer at the rim."""

from __future__ import annotations

from collections.abc import Sequence

import ngsolve as ng
import numpy as np
from netgen.geom2d import SplineGeometry
from peer_solvers import HEIGHT, Answer, Solve, steady

from swirlwright.solver.grid import Array

ORDER = 3
# How fast triangles may grow away from the rim, 0 to 1: the mesher's usual 0.3 makes more of them for the same error.
GRADING = 0.5
# Size of the triangles at the rim over the size elsewhere.
RIM = 0.008
WALLS = "disk|side|top"


def elements(sizes: Sequence[float]) -> Answer:
    """Meshes of triangles of so many radii."""
    return steady(Elements, sizes)


def cylinder(size: float) -> ng.Mesh:
    """Half a section through the cylinder."""
    geometry = SplineGeometry()
    corners = ((0.0, 0.0), (1.0, 0.0), (1.0, HEIGHT), (0.0, HEIGHT))
    points = [geometry.AppendPoint(*xy, **({"maxh": RIM * size} if xy == (1.0, 0.0) else {})) for xy in corners]
    for number, name in enumerate(("disk", "side", "top", "axis")):
        geometry.Append(["line", points[number], points[(number + 1) % 4]], bc=name)
    return ng.Mesh(geometry.GenerateMesh(maxh=size, grading=GRADING))


class Elements:
    """Weak form of the momentum equations weighted by r; pressure held at one node, inner unknowns condensed."""

    def __init__(self, size: float) -> None:
        self.cells = round(1.0 / size)
        self.mesh = cylinder(size)
        edge = ng.H1(self.mesh, order=ORDER, dirichlet=f"{WALLS}|axis")
        self.space = edge * edge * ng.H1(self.mesh, order=ORDER, dirichlet=WALLS) * ng.H1(self.mesh, order=ORDER - 1)
        self.field = ng.GridFunction(self.space)
        self.nu = ng.Parameter(1.0)
        self.form = ng.BilinearForm(self.space, condense=True)
        self.form += self.weak_form().Compile() * ng.dx
        self.free = ng.BitArray(self.space.FreeDofs(True))
        self.free.Clear(self.space.Range(3).start)
        self.unknowns = sum(self.space.FreeDofs()) - 1
        self.flow = slice(self.space.Range(2).start, self.space.Range(2).stop)

    def weak_form(self) -> ng.CoefficientFunction:
        (u, v, w, p), (on_u, on_v, on_w, on_p) = self.space.TnT()
        r, grad = ng.x, ng.grad
        (u_r, u_z), (v_r, v_z), (w_r, w_z) = grad(u), grad(v), grad(w)
        carriage = (r * (u * u_r + w * u_z) - v * v) * on_u + (r * (u * v_r + w * v_z) + u * v) * on_v
        carriage += r * (u * w_r + w * w_z) * on_w
        stress = r * (grad(u) * grad(on_u) + grad(v) * grad(on_v) + grad(w) * grad(on_w)) + (u * on_u + v * on_v) / r
        push = p * (r * grad(on_u)[0] + on_u + r * grad(on_w)[1])
        return carriage + self.nu * stress - push - on_p * (r * u_r + u + r * w_z)

    def rest(self) -> Array:
        self.field.vec[:] = 0.0
        self.field.components[1].Set(ng.x, definedon=self.mesh.Boundaries("disk"))
        return self.values()

    def taken_from(self, coarse: Elements, x: Array) -> Array:
        """By the coarse mesh's own polynomials; the edges hold their values."""
        held = self.rest()
        for part, other in zip(self.field.components, coarse.field.components, strict=True):
            part.Set(other)
        is_free = np.array(self.space.FreeDofs(), dtype=bool)
        return np.where(is_free, self.values(), held)

    def values(self) -> Array:
        return self.field.vec.FV().NumPy().copy()

    def residual(self, x: Array, nu: float) -> Array:
        self.nu.Set(nu)
        self.field.vec.FV().NumPy()[:] = x
        left = self.field.vec.CreateVector()
        self.form.Apply(self.field.vec, left)
        return left.FV().NumPy().copy()

    def inverse(self, x: Array, nu: float) -> Solve:
        self.nu.Set(nu)
        form = self.form
        self.field.vec.FV().NumPy()[:] = x
        form.AssembleLinearization(self.field.vec)
        # The wheel's other direct solver takes half as long again.
        factor = form.mat.Inverse(self.free, inverse="umfpack")
        right, change = self.field.vec.CreateVector(), self.field.vec.CreateVector()

        def solve(left: Array) -> Array:
            right.FV().NumPy()[:] = left
            right.data += form.harmonic_extension_trans * right
            change.data = factor * right
            change.data += form.inner_solve * right
            change.data += form.harmonic_extension * change
            return change.FV().NumPy().copy()

        return solve

    def largest_w(self, x: Array) -> float:
        """At a thousand points on the axis."""
        self.field.vec.FV().NumPy()[:] = x
        z = np.linspace(0.0, HEIGHT, 1002)[1:-1]
        return float(np.abs(self.field.components[2](self.mesh(np.zeros_like(z), z))).max())
