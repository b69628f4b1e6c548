"""Layers on a rotating disk and under rotating flow: the interior must keep a similarity solution put on its rim."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.integrate import solve_bvp

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import State
from swirlwright.verification.checks import Check, Configuration, Findings, Picture, Series, within
from swirlwright.verification.domains import laminar, peak_of, wall_faces, walls
from swirlwright.verification.vortices import steady

GROUP = "layers"
KARMAN = "similarity equations of von Karman, ZAMM 1 (1921) 233, by scipy's boundary-value solver"
BOEDEWADT = "similarity equations of Boedewadt, ZAMM 20 (1940) 241, by scipy's boundary-value solver"
SECOND_ORDER = "second-order error on this grid, doubled"

# Unit radius and rate; the layer's scale is a tenth of the radius, and the box ten of them high.
NU, THICKNESS, HEIGHT = 0.01, 0.1, 10.0
FAR = 40.0


def similarity(disk: float, far: float) -> Callable[[Array], Array]:
    """F, F', G, G', H of zeta over a disk turning at the rate `disk` under a fluid turning at `far`.

    u = Omega r F, v = Omega r G, w = sqrt(nu Omega) H, zeta = z sqrt(Omega/nu); Rogers and Lance, J. Fluid Mech. 7
    (1960) 617, write them for both rates.
    """

    def slopes(_: Array, y: Array) -> Array:
        f, df, g, dg, h = y
        return np.array([df, f * f - g * g + far**2 + h * df, dg, 2.0 * f * g + h * dg, -2.0 * f])

    def ends(a: Array, b: Array) -> Array:
        return np.array([a[0], a[2] - disk, a[4], b[0], b[2] - far])

    z = np.linspace(0.0, FAR, 801)
    # A start with the right direction of the flow along the wall.
    along = (disk - far) * 0.5 * z * np.exp(-z)
    turning = far + (disk - far) * np.exp(-z)
    down = -np.sign(disk - far) * z / (1.0 + z)
    first = np.array([along, np.gradient(along, z), turning, np.gradient(turning, z), down])
    found = solve_bvp(slopes, ends, z, first, tol=1e-8, max_nodes=100_000)
    if not found.success:
        raise ArithmeticError(found.message)
    return lambda zeta: found.sol(zeta)


def kept(flow: Callable[[Array], Array], disk: float) -> tuple[Grid, State]:
    """The steady flow in a box on whose side and top the similarity solution is imposed; it starts from rest."""
    length = HEIGHT * THICKNESS
    z_face = length - wall_faces(length, 80, 1.5, False)[::-1]
    grid = Grid(np.linspace(0.0, 1.0, 41), z_face)
    zeta, zeta_face = grid.z / THICKNESS, z_face / THICKNESS
    f, _, g, _, h = flow(zeta_face)
    # Radial flow as the mean over each cell, so that what comes in goes out exactly.
    mean_f = -0.5 * np.diff(h) / np.diff(zeta_face)
    edges = walls(
        grid, side_u=mean_f, side_v=flow(zeta)[2], side_w=THICKNESS * h, bottom_v=disk * grid.r,
        top_w=THICKNESS * h[-1], top_u=grid.r_face * f[-1], top_v=grid.r * g[-1],
    )  # fmt: skip
    return grid, steady(laminar(grid, edges, NU))


def at_wall(values: Array, on_wall: float, zeta: Array) -> float:
    """Slope over the half cell at the wall: the stress as the balance of the cells has it, of second order."""
    return float((values[0] - on_wall) / zeta[0])


def layer(disk: float, far: float, source: str) -> tuple[Array, Array, Array, list[Check]]:
    """Profiles at half radius (zeta, F, G) with the checks that both layers share."""
    flow = similarity(disk, far)
    grid, s = kept(flow, disk)
    i = grid.r.size // 2
    zeta = grid.z / THICKNESS
    f, g = s.u[:, i] / grid.r_face[i], s.v[:, i] / grid.r[i]
    h = s.w[:, i] / THICKNESS
    _, df, _, dg, _ = flow(np.array([0.0]))
    middle = len(h) // 2
    expected = float(flow(grid.z_face[middle : middle + 1] / THICKNESS)[4, 0])
    checks = [
        exactly("radial shear on the wall, F'(0)", at_wall(f, 0.0, zeta), float(df[0]), source),
        exactly("azimuthal shear on the wall, G'(0)", at_wall(g, disk, zeta), float(dg[0]), source),
        exactly(f"axial velocity at zeta = {grid.z_face[middle] / THICKNESS:.2f}, H", h[middle], expected, source),
    ]
    return zeta, f, g, checks


def exactly(quantity: str, computed: float, expected: float, source: str) -> Check:
    """A check against the similarity solution, which this grid meets but for its second-order error."""
    return within(quantity, computed, expected, rel=2e-3, source=source, kind="reference library", why=SECOND_ORDER)


def picture(zeta: Array, f: Array, g: Array, flow: Callable[[Array], Array]) -> Picture:
    """F and G against zeta: computed curves, the similarity solution at every fourth cell."""
    exact = flow(zeta[::4])
    return Picture(
        "zeta = z sqrt(Omega/nu)",
        "u/(Omega r), v/(Omega r)",
        (Series("u computed", zeta, f), Series("v computed", zeta, g)),
        (Series("u similarity", zeta[::4], exact[0]), Series("v similarity", zeta[::4], exact[2])),
    )


def rotating_disk() -> Findings:
    """A disk turning under fluid at rest: it draws fluid down and throws it out."""
    flow = similarity(1.0, 0.0)
    zeta, f, g, checks = layer(1.0, 0.0, KARMAN)
    fine = np.linspace(0.3, 2.0, 2001)
    largest = peak_of(fine, flow(fine)[0])[1]
    checks.append(exactly("largest outward velocity, F", peak_of(zeta, f)[1], largest, KARMAN))
    return Findings(tuple(checks), picture(zeta, f, g, flow))


def boedewadt() -> Findings:
    """Fluid turning over a disk at rest: it runs inward along it, rises, and overshoots the outer rate."""
    flow = similarity(0.0, 1.0)
    zeta, f, g, checks = layer(0.0, 1.0, BOEDEWADT)
    fine = np.linspace(1.0, 4.0, 4001)
    largest = peak_of(fine, flow(fine)[2])[1]
    checks.append(exactly("largest azimuthal velocity, G", peak_of(zeta, g)[1], largest, BOEDEWADT))
    return Findings(tuple(checks), picture(zeta, f, g, flow))


CONFIGURATIONS = (
    Configuration("rotating-disk", GROUP, "disk turning under fluid at rest (von Karman)", rotating_disk, 2.0),
    Configuration("boedewadt", GROUP, "fluid turning over a disk at rest (Boedewadt)", boedewadt, 2.0),
)
