"""Manufactured solutions and the problems they solve, on smoothly stretched grids.

The sources are derived by sympy from the equations of solver/README.md written out here once more, in their
strong form and independent of the solver's discretisation.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import sympy as sp

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FixedViscosity, FlowProblem, Sources, State
from swirlwright.verification.domains import stretched_faces, walls

R, Z = sp.symbols("r z", positive=True)

HEIGHT = 1.5
DUCT = 0.3
K_IN, K_OUT, OPEN_SHARE, SCREEN = 0.5, 1.0, 0.6, 0.4

# From 0.005 on the floor's centre to 0.5 in the upper corner: a ratio of 100 across the domain.
STEEP = 0.005 * sp.exp(sp.log(100) * (R**2 + Z / HEIGHT) / 2)
SWIRL = R * (sp.Rational(6, 5) - R**2 / 2) * (1 + sp.Rational(2, 5) * sp.sin(2 * Z + 0.3))
PRESSURE = sp.cos(2 * R**2) * sp.cos(1.7 * Z + 0.4)


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
        f_r = (
            sp.diff(R * (u * u - t["rr"]), R) / R
            + sp.diff(u * w - t["rz"], Z)
            - (v * v - t["tt"]) / R
            + sp.diff(self.p, R)
        )
        torque = sp.diff(R * R * (u * v - t["rt"]), R) / R + R * sp.diff(v * w - t["tz"], Z)
        f_z = sp.diff(R * (u * w - t["rz"]), R) / R + sp.diff(w * w - t["zz"], Z) + sp.diff(self.p, Z)
        return f_r, torque, f_z

    def sources(self, grid: Grid) -> Sources:
        """Point values of all sources where the kernels want them; 0 on the axis."""
        f_r, torque, f_z = self.forces()
        force = np.zeros((grid.z.size, grid.r_face.size))
        force[:, 1:] = at(f_r, grid.r_face[1:], grid.z)
        return Sources(at(self.volume, grid.r, grid.z), at(torque, grid.r, grid.z), force, at(f_z, grid.r, grid.z_face))

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
            u,
            at(self.v, grid.r, grid.z),
            at(self.w, grid.r, grid.z_face),
            at(self.p, grid.r, grid.z),
            fog=np.zeros(grid.shape),
        )


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
        "u": m.dz[:, None] * m.ac,
        "v": m.dz[:, None] * m.a,
        "w": weight_z[:, None] * m.a,
        "p": m.dz[:, None] * m.a,
    }
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


def ring_vortex(nu: sp.Expr) -> MadeUp:
    """A closed circulation, at rest on every wall in r and z, with swirl that slides over the walls."""
    psi = 2 * R**2 * (1 - R**2) ** 2 * Z**2 * (HEIGHT - Z) ** 2 * (1 + Z / 4)
    return MadeUp(sp.expand(-sp.diff(psi, Z) / R), SWIRL, sp.expand(sp.diff(psi, R) / R), PRESSURE, nu)


def through_flow(nu: sp.Expr) -> MadeUp:
    """Air enters the lower side and the floor, leaves by the upper side and the ceiling; volume is added inside."""
    u = R * (sp.Rational(3, 10) * sp.cos(3 * Z / HEIGHT) - R**2 / 5)
    w = (1 - R**2 / 2) * (sp.sin(1.3 * Z) + Z / 3)
    return MadeUp(u, SWIRL, w, PRESSURE, nu)


def stress_free_outflow(nu: sp.Expr) -> MadeUp:
    """Air leaves through the whole side; no tangential stress acts on side and ceiling in the exact field."""
    wave = sp.cos(sp.pi * Z / HEIGHT)
    u = R * sp.Rational(3, 10) * (1 + wave * (1 - R**2))
    w = (1 - R**2) ** 2 * sp.sin(2 * sp.pi * Z / HEIGHT) / 2 + (3 * Z + 1) / 10
    v = R * (1 + sp.Rational(2, 5) * wave * (1 - R**2) ** 2)
    return MadeUp(u, v, w, PRESSURE, nu)


def grid_of(cells: int) -> Grid:
    return Grid(stretched_faces(1.0, cells, 0.4, 2.0), stretched_faces(HEIGHT, cells * 5 // 4, 0.4, 0.7))


def given_on_edges(f: MadeUp, grid: Grid) -> dict:
    """Exact tangential values on side, floor and ceiling, and the flow through the floor."""
    inner = grid.r_face[1:]
    return {
        "side_v": at(f.v, 1.0, grid.z),
        "side_w": at(f.w, 1.0, grid.z_face),
        "bottom_u": np.append(0.0, at(f.u, inner, 0.0)),
        "bottom_v": at(f.v, grid.r, 0.0),
        "bottom_w": at(f.w, grid.r, 0.0),
        "top_u": np.append(0.0, at(f.u, inner, HEIGHT)),
        "top_v": at(f.v, grid.r, HEIGHT),
        "top_w": at(f.w, grid.r, HEIGHT),
    }


def closed_problem(f: MadeUp, cells: int) -> FlowProblem:
    grid = grid_of(cells)
    edges = walls(grid, **given_on_edges(f, grid))
    return FlowProblem(grid, edges, f.sources(grid), f.viscosity(grid), 1.0, 0.005, None, 1.0, 1.0)


def open_problem(f: MadeUp, cells: int, exhaust_is_given: bool) -> FlowProblem:
    """Side all open and total pressure given there; pressure given in the inner half of the ceiling's cells."""
    grid = grid_of(cells)
    side, top = at(f.u, 1.0, grid.z), at(f.w, grid.r, HEIGHT)
    normal_side = f.p - 2 * f.nu * sp.diff(f.u, R)
    normal_top = f.p - 2 * f.nu * sp.diff(f.w, Z)
    head_side = (
        np.where(side < 0.0, -0.5 * (1.0 + K_IN), 0.5 * (K_OUT + 1.0 - OPEN_SHARE**2)) * (side / OPEN_SHARE) ** 2
    )
    head_top = np.where(top < 0.0, -0.5 * (1.0 + SCREEN), 0.5 * SCREEN) * top**2
    lip = cells // 2
    flow = None
    if exhaust_is_given:
        rim = float(grid.r_face[lip])
        flow = 2.0 * np.pi * float(sp.integrate(sp.expand(f.w.subs(Z, HEIGHT) * R), (R, 0, rim)))
    edges = walls(
        grid,
        **given_on_edges(f, grid),
        side_kind=1,
        side_open=OPEN_SHARE,
        side_in=K_IN,
        side_out=K_OUT,
        side_p=at(normal_side, 1.0, grid.z) - head_side,
        top_kind=(np.arange(cells) < lip).astype(int),
        top_loss=SCREEN,
        top_p=at(normal_top, grid.r, HEIGHT) - head_top - (DUCT if exhaust_is_given else 0.0),
    )
    return FlowProblem(grid, edges, f.sources(grid), f.viscosity(grid), 1.0, 0.005, flow, 1.0, 1.0)


def stress_free_problem(f: MadeUp, cells: int) -> FlowProblem:
    """Side and ceiling without tangential stress and without given values: what comes out is what is inside."""
    problem = open_problem(f, cells, exhaust_is_given=False)
    nothing = dict.fromkeys(("side_v", "side_w", "top_u", "top_v"), 0.0)
    free = dict.fromkeys(("side_stress_v", "side_stress_w", "top_stress_u", "top_stress_v"), 0.0)
    changes = {name: 0.0 * getattr(problem.edges, name) for name in {**nothing, **free}}
    return replace(problem, edges=problem.edges._replace(**changes))
