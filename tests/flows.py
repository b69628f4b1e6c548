"""Small flow problems without a case file: grids by an analytic map, edges that are all wall, fields made up.

The manufactured sources are derived by sympy from the equations of solver/README.md written out here once
more, in their strong form and independent of the solver's discretisation.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import sympy as sp

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.kernels import Edges
from swirlwright.solver.state import FixedViscosity, FlowProblem, Sources, State

R, Z = sp.symbols("r z", positive=True)


def stretched_faces(length: float, cells: int, fineness: float = 0.5, phase: float = 0.0) -> Array:
    """Faces by x = s + fineness sin(2 pi s + phase)/(2 pi), shifted to start at 0: one smooth map for every `cells`.

    The largest spacing is (1 + fineness)/(1 - fineness) times the smallest.
    """
    s = np.linspace(0.0, 1.0, cells + 1)
    x = s + fineness * (np.sin(2.0 * np.pi * s + phase) - np.sin(phase)) / (2.0 * np.pi)
    x[0], x[-1] = 0.0, 1.0
    return length * x


def wall_faces(length: float, cells: int, strength: float, both_ends: bool) -> Array:
    """Faces by a hyperbolic tangent, fine at the far end or at both ends."""
    t = np.linspace(-1.0 if both_ends else 0.0, 1.0, cells + 1)
    x = np.tanh(strength * t) / np.tanh(strength)
    return length * (0.5 * (1.0 + x) if both_ends else x)


def walls(grid: Grid, **changes: object) -> Edges:
    """No-slip walls at rest on every side; `changes` replace single entries of the edges (scalars spread out)."""
    nz, nr = grid.shape
    side, side_faces, plan, plan_faces = (nz,), (nz + 1,), (nr,), (nr + 1,)
    shapes = dict(
        side_kind=side, side_u=side, side_v=side, side_w=side_faces, side_stress_v=side, side_stress_w=side_faces,
        side_carry_v=side, side_carry_w=side_faces, side_open=side, side_in=side, side_out=side, side_p=side,
        top_kind=plan, top_w=plan, top_u=plan_faces, top_v=plan, top_stress_u=plan_faces, top_stress_v=plan,
        top_carry_u=plan_faces, top_carry_v=plan, top_loss=plan, top_p=plan,
        bottom_w=plan, bottom_u=plan_faces, bottom_v=plan, bottom_stress_u=plan_faces, bottom_stress_v=plan,
    )  # fmt: skip
    values: dict[str, object] = {}
    for name, shape in shapes.items():
        usual = 1.0 if ("stress" in name or "carry" in name or name == "side_open") else 0.0
        dtype = np.int64 if name.endswith("kind") else np.float64
        values[name] = np.array(np.broadcast_to(changes.pop(name, usual), shape), dtype=dtype)
    values["blend_speed"] = changes.pop("blend_speed", 1e-3)
    assert not changes, f"no such edge: {sorted(changes)}"
    return Edges(**values)  # type: ignore[arg-type]


def laminar(grid: Grid, edges: Edges, nu: float, sources: Sources | None = None, **more: object) -> FlowProblem:
    """A flow of uniform viscosity with unit density and scales."""
    settings: dict = dict(density=1.0, molecular=nu, exhaust_flow=None, speed=1.0, length=1.0)
    settings.update(more)
    closure = FixedViscosity.uniform(grid, nu)
    return FlowProblem(grid=grid, edges=edges, sources=sources or Sources.none(grid), closure=closure, **settings)


def on_axis(w: Array) -> Array:
    """Axial velocity extrapolated to r = 0 from the two inner columns; even in r, exact on a uniform core."""
    return (9.0 * w[:, 0] - w[:, 1]) / 8.0


@dataclass(frozen=True)
class MadeUp:
    """A manufactured solution: expressions in R and Z for the fields and for the sources that keep it steady."""

    u: sp.Expr
    v: sp.Expr
    w: sp.Expr
    p: sp.Expr
    nu: sp.Expr

    @property
    def volume(self) -> sp.Expr:
        """q = div u [1/s]."""
        return sp.diff(R * self.u, R) / R + sp.diff(self.w, Z)

    def stress(self) -> dict[str, sp.Expr]:
        """Components of tau/rho = nu (grad u + grad u^T)."""
        u, v, w, nu = self.u, self.v, self.w, self.nu
        return {
            "rr": 2 * nu * sp.diff(u, R),
            "tt": 2 * nu * u / R,
            "zz": 2 * nu * sp.diff(w, Z),
            "rz": nu * (sp.diff(u, Z) + sp.diff(w, R)),
            "rt": nu * R * sp.diff(v / R, R),
            "tz": nu * sp.diff(v, Z),
        }

    def forces(self) -> tuple[sp.Expr, sp.Expr, sp.Expr]:
        """f_r, t_theta (torque), f_z that balance the conservative momentum equations."""
        u, v, w, t = self.u, self.v, self.w, self.stress()
        f_r = sp.diff(R * (u * u - t["rr"]), R) / R + sp.diff(u * w - t["rz"], Z) - (v * v - t["tt"]) / R + sp.diff(self.p, R)
        torque = sp.diff(R * R * (u * v - t["rt"]), R) / R + R * sp.diff(v * w - t["tz"], Z)
        f_z = sp.diff(R * (u * w - t["rz"]), R) / R + sp.diff(w * w - t["zz"], Z) + sp.diff(self.p, Z)
        return f_r, torque, f_z

    def sources(self, grid: Grid) -> Sources:
        """Point values of all sources where the kernels want them; 0 on the axis."""
        f_r, torque, f_z = self.forces()
        force = np.zeros((grid.z.size, grid.r_face.size))
        force[:, 1:] = at(f_r, grid.r_face[1:], grid.z)
        return Sources(
            at(self.volume, grid.r, grid.z), at(torque, grid.r, grid.z), force, at(f_z, grid.r, grid.z_face)
        )

    def viscosity(self, grid: Grid) -> FixedViscosity:
        """nu at the centres, its rim on the boundaries."""
        r = np.concatenate(([1e-9], grid.r, [grid.radius]))
        z = np.concatenate(([0.0], grid.z, [grid.height]))
        return FixedViscosity(at(self.nu, r, z))

    def state(self, grid: Grid) -> State:
        """The exact fields at their places on the staggered grid."""
        u = np.zeros((grid.z.size, grid.r_face.size))
        u[:, 1:] = at(self.u, grid.r_face[1:], grid.z)
        return State(
            u, at(self.v, grid.r, grid.z), at(self.w, grid.r, grid.z_face), at(self.p, grid.r, grid.z),
            fog=np.zeros(grid.shape),
        )  # fmt: skip


_FUNCTIONS: dict[sp.Expr, Callable] = {}


def at(expression: sp.Expr, r: Array | float, z: Array | float) -> Array:
    """Evaluate `expression` on the tensor grid of r and z, shape (z, r); scalars drop their axis."""
    if expression not in _FUNCTIONS:
        _FUNCTIONS[expression] = sp.lambdify((R, Z), expression, "numpy", cse=True)
    rr, zz = np.meshgrid(np.atleast_1d(r), np.atleast_1d(z))
    value = np.broadcast_to(_FUNCTIONS[expression](rr, zz), rr.shape).astype(float)
    value = value[:, 0] if np.isscalar(r) else value
    return value[0] if np.isscalar(z) else value


def errors(found: State, exact: State, grid: Grid, level: bool) -> dict[str, tuple[float, float]]:
    """Volume-weighted L2 and maximum norm of the error of u, v, w, p over the largest exact value.

    level: whether the pressure's level means something; if not, the mean difference is taken out.
    """
    m = grid.metric
    weight_z = np.concatenate(([0.5 * m.dz[0]], 0.5 * (m.dz[1:] + m.dz[:-1]), [0.5 * m.dz[-1]]))
    volumes = {
        "u": m.dz[:, None] * m.ac, "v": m.dz[:, None] * m.a, "w": weight_z[:, None] * m.a, "p": m.dz[:, None] * m.a,
    }  # fmt: skip
    result = {}
    for name, volume in volumes.items():
        difference = getattr(found, name) - getattr(exact, name)
        if name == "p" and not level:
            difference = difference - np.sum(difference * volume) / np.sum(volume)
        size = np.max(np.abs(getattr(exact, name)))
        l2 = np.sqrt(np.sum(difference**2 * volume) / np.sum(volume))
        result[name] = (float(l2 / size), float(np.max(np.abs(difference)) / size))
    return result


def orders(by_grid: list[dict[str, tuple[float, float]]], ratio: float = 2.0) -> dict[str, tuple[float, float]]:
    """Observed order between the last two grids for each field, L2 and maximum norm."""
    coarse, fine = by_grid[-2], by_grid[-1]
    return {
        name: tuple(float(np.log(c / f) / np.log(ratio)) for c, f in zip(coarse[name], fine[name], strict=True))
        for name in fine
    }  # type: ignore[misc]
