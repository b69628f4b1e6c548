"""Flow along a pipe, swirl that dies out along it, and flow between two cylinders."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import BarycentricInterpolator
from scipy.linalg import eig

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import State
from swirlwright.verification.checks import Check, Configuration, Findings, Picture, Series, within
from swirlwright.verification.domains import laminar, on_axis, peak_of, stretched_faces, walls
from swirlwright.verification.vortices import SECOND_ORDER, steady

GROUP = "ducts"
POISEUILLE = "Hagen-Poiseuille: w = 2 W (1 - r^2/R^2), dp/dz = -8 nu W/R^2; Batchelor, 1967, sec. 4.2"
DURST = "Durst, Ray, Uensal and Bayoumi, J. Fluids Eng. 127 (2005) 1154, fit for an even inflow"
SWIRL_MODE = "slowest swirl mode in Hagen-Poiseuille flow (Talbot, J. Appl. Mech. 21 (1954) 1), by scipy"
COUETTE = "Couette flow between cylinders, v = A r + B/r; Batchelor, 1967, sec. 4.5"
ANNULUS = "flow along an annulus; Lamb, Hydrodynamics, 6th ed., 1932, art. 331"


def pipe() -> Findings:
    """A pipe of 12 diameters fed with an even stream; Reynolds number on the diameter 40."""
    reynolds, length = 40.0, 24.0
    nu = 2.0 / reynolds
    grid = Grid(stretched_faces(1.0, 40, 0.4, np.pi), _fine_at_start(length, 120))
    s = steady(laminar(grid, walls(grid, bottom_w=1.0, top_kind=1), nu))
    centre = on_axis(s.w)
    at = int(np.argmin(np.abs(grid.z_face - 0.85 * length)))
    slope = float(((s.p[at] - s.p[at - 1]) / (grid.z[at] - grid.z[at - 1])).mean())
    entry = float(np.interp(0.99 * centre[at], centre[: at + 1], grid.z_face[: at + 1])) / 2.0
    fit = (0.619**1.6 + (0.0567 * reynolds) ** 1.6) ** (1.0 / 1.6)
    checks = (
        within("velocity on the axis over the mean", centre[at], 2.0, rel=2e-3, source=POISEUILLE, kind="analytic",
               why=SECOND_ORDER),
        within("pressure gradient R^2/(nu W)", slope / nu, -8.0, rel=2e-3, source=POISEUILLE, kind="analytic",
               why=SECOND_ORDER),
        within("entry length over diameter, to 99 % on the axis", entry, fit, rel=0.03, source=DURST,
               kind="from memory", why="how well a fit over all Reynolds numbers can be expected to meet one"),
    )  # fmt: skip
    exact = 2.0 * (1.0 - grid.r**2)
    points = (Series("2 (1 - r^2)", grid.r[::4], exact[::4]),)
    return Findings(checks, Picture("r/R", "w/W", (Series("computed", grid.r, s.w[at]),), points))


def _fine_at_start(length: float, cells: int) -> Array:
    """Faces whose spacing grows evenly along the length, five times from start to end."""
    s = np.linspace(0.0, 1.0, cells + 1)
    return length * (s + 2.0 * s * s) / 3.0


def chebyshev(n: int, start: float, end: float) -> tuple[Array, Array]:
    """n + 1 Chebyshev points from `end` to `start` and the derivative by them; Trefethen, Spectral Methods, 2000."""
    k = np.arange(n + 1)
    x = np.cos(np.pi * k / n)
    c = np.where((k == 0) | (k == n), 2.0, 1.0) * (-1.0) ** k
    d = np.outer(c, 1.0 / c) / (x[:, None] - x[None, :] + np.eye(n + 1))
    d -= np.diag(d.sum(axis=1))
    return start + 0.5 * (x + 1.0) * (end - start), d * 2.0 / (end - start)


def swirl_mode(nu: float) -> tuple[float, BarycentricInterpolator]:
    """Slowest decay rate along z and shape of weak swirl in the stream 2 (1 - r^2), diffusion along z included.

    v = V(r) exp(-rate z): nu (V'' + V'/r - V/r^2) + (nu rate^2 + w rate) V = 0, V(0) = V(1) = 0; linear in rate with
    rate V as a second unknown.
    """
    r, d = chebyshev(48, 0.0, 1.0)
    inside = slice(1, -1)
    r, operator = r[inside], (d @ d)[inside, inside] + d[inside, inside] / r[inside, None] - np.diag(r[inside] ** -2.0)
    n = r.size
    w = np.diag(2.0 * (1.0 - r**2))
    left = np.block([[np.zeros((n, n)), np.eye(n)], [-nu * operator, -w]])
    right = np.block([[np.eye(n), np.zeros((n, n))], [np.zeros((n, n)), nu * np.eye(n)]])
    rates, modes = eig(left, right)
    good = np.flatnonzero((np.abs(rates.imag) < 1e-8) & (rates.real > 0.0))
    first = good[np.argmin(rates.real[good])]
    shape = modes[:n, first].real
    ends = np.concatenate(([1.0], r, [0.0])), np.concatenate(([0.0], shape / shape[np.argmax(np.abs(shape))], [0.0]))
    return float(rates.real[first]), BarycentricInterpolator(*ends)


def decaying_swirl() -> Findings:
    """Weak swirl brought in as rigid rotation by Hagen-Poiseuille flow at Re = W R/nu = 20.

    By 0.65 of the length the second mode is a ten-thousandth of the first.
    """
    nu, length, strength = 0.05, 12.0, 1e-3
    rate, mode = swirl_mode(nu)
    grid = Grid(stretched_faces(1.0, 48, 0.3, np.pi), np.linspace(0.0, length, 121))
    stream = 2.0 * (1.0 - grid.r**2)
    # The same flow through both ends, so that what comes in goes out exactly.
    free = {"top_stress_v": 0.0, "top_carry_v": 0.0}
    edges = walls(grid, bottom_w=stream, top_w=stream, bottom_v=strength * grid.r, **free)
    s = steady(laminar(grid, edges, nu))
    moment = s.v @ (grid.metric.a * grid.r) / strength
    low, high = (int(np.argmin(np.abs(grid.z - share * length))) for share in (0.65, 0.85))
    computed = float(np.log(moment[low] / moment[high]) / (grid.z[high] - grid.z[low]))
    v = s.v[high] / s.v[high].max()
    fine = np.linspace(0.1, 0.9, 1601)
    place, peak = peak_of(fine, mode(fine))
    i = int(np.argmin(np.abs(grid.r - 0.8)))
    checks = (
        _library("decay rate along the pipe, times R", computed, rate),
        _library("radius of the largest v", peak_of(grid.r, v)[0], place),
        _library(f"v at r/R = {grid.r[i]:.3f} over the largest", v[i] / peak_of(grid.r, v)[1], mode(grid.r[i]) / peak),
    )
    picture = Picture("r/R", "v over its largest", (Series("computed, 10 radii along", grid.r, v),),
                      (Series("slowest mode", grid.r[::4], mode(grid.r[::4]) / peak),))  # fmt: skip
    return Findings(checks, picture)


def _library(quantity: str, computed: float, expected: float) -> Check:
    return within(quantity, computed, expected, rel=3e-3, source=SWIRL_MODE, kind="reference library", why=SECOND_ORDER)


def annulus() -> Findings:
    """Flow along and round an annulus whose inner cylinder turns: neither part feels the other."""
    inner, outer, turning, nu, length = 0.5, 1.0, 2.0, 0.05, 2.0
    grid = Grid(inner + stretched_faces(outer - inner, 40, 0.3, np.pi), np.linspace(0.0, length, 33))
    r = grid.r
    b = turning * inner**2 * outer**2 / (outer**2 - inner**2)
    swirl = b * (1.0 / r - r / outer**2)
    along = outer**2 - r**2 - (outer**2 - inner**2) * np.log(outer / r) / np.log(outer / inner)
    free = {"top_stress_v": 0.0, "top_carry_v": 0.0}
    edges = walls(grid, bottom_w=along, top_w=along, bottom_v=0.0, inner_v=turning * inner, **free)
    problem = laminar(grid, edges, nu)
    s: State = steady(problem)
    problem.rates(s, problem.viscosity(s))
    j = int(0.75 * grid.z.size)
    torque = problem.work.vis_r[j, 0] / grid.metric.dz[j]
    middle = r.size // 2
    slope = float(((s.p[j] - s.p[j - 1]) / (grid.z[j] - grid.z[j - 1]))[middle])
    # Integral of v^2/r between the first and last centres, from the closed form.
    level = b**2 * (-0.5 / r**2 - 2.0 * np.log(r) / outer**2 + 0.5 * r**2 / outer**4)
    rise = s.p[j, -1] - s.p[j, 0]
    checks = (
        _closed("v in the middle of the gap", s.v[j, middle], swirl[middle], COUETTE),
        _closed("torque on the inner cylinder per height, over 2 pi rho", torque, 2.0 * nu * b, COUETTE),
        _closed("pressure rise across the gap", rise, level[-1] - level[0], COUETTE),
        _closed("pressure gradient along the annulus over nu", slope / nu, -4.0, ANNULUS),
    )
    curves = Series("v computed", r, s.v[j]), Series("w computed", r, s.w[j])
    points = Series("A r + B/r", r[::4], swirl[::4]), Series("annular pipe", r[::4], along[::4])
    return Findings(checks, Picture("r/R", "v, w", curves, points))


def _closed(quantity: str, computed: float, expected: float, source: str) -> Check:
    return within(quantity, computed, expected, rel=3e-3, source=source, kind="analytic", why=SECOND_ORDER)


CONFIGURATIONS = (
    Configuration("pipe", GROUP, "pipe flow and its entry", pipe, 3.0),
    Configuration("decaying-swirl", GROUP, "swirl dying out along a pipe", decaying_swirl, 3.0),
    Configuration("annulus", GROUP, "flow along and round an annulus with a turning inner cylinder", annulus, 1.0),
)
