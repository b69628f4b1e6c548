"""Order of each discrete operator on its own, against manufactured fields on smoothly stretched grids.

Point-wise rates are compared away from the boundaries and the axis: there the truncation error of a finite-volume
scheme is lower while its solution is not (supra-convergence), which test_order_in_space.py covers.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp
from made_up import HEIGHT, STEEP, MadeUp, R, Z, at, given_on_edges, grid_of, through_flow

from swirlwright.solver import kernels
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.projection import Projection
from swirlwright.solver.state import FlowProblem, MixingLength, Sources, State
from swirlwright.verification.domains import laminar, walls

CELLS = (64, 128)
NOTHING = sp.Integer(0)


def observed(error_of) -> float:
    coarse, fine = (error_of(cells) for cells in CELLS)
    return float(np.log2(coarse / fine))


def rms_inside(difference: Array, r: Array, z: Array) -> float:
    """Root mean square over the middle of the domain, the same part of it on every grid."""
    inside = np.ix_((z > 0.15 * HEIGHT) & (z < 0.85 * HEIGHT), (r > 0.15) & (r < 0.85))
    return float(np.sqrt(np.mean(difference[inside] ** 2)))


def problem_and_state(f: MadeUp, cells: int) -> tuple[FlowProblem, State]:
    grid = grid_of(cells)
    edges = walls(grid, **given_on_edges(f, grid))
    return FlowProblem(grid, edges, Sources.none(grid), f.viscosity(grid), 1.0, 0.005, None, 1.0, 1.0), f.state(grid)


def computed_part(part: str, f: MadeUp, cells: int) -> tuple[Grid, tuple[Array, Array, Array]]:
    """What one part of `momentum_rates` gives for the exact field."""
    problem, s = problem_and_state(f, cells)
    nu, still = problem.viscosity(s), replace(s, p=0.0 * s.p)
    if part == "pressure":
        return problem.grid, problem.rates(replace(s, u=0.0 * s.u, v=0.0 * s.v, w=0.0 * s.w), 0.0 * nu)
    inviscid = problem.rates(still, 0.0 * nu)
    if part == "advection":
        return problem.grid, inviscid
    whole = problem.rates(still, nu)
    return problem.grid, tuple(a - b for a, b in zip(whole, inviscid, strict=True))  # type: ignore[return-value]


def exact_part(part: str, f: MadeUp) -> tuple[sp.Expr, ...]:
    """The same part from the strong form: u, v, w rates."""
    without_pressure = replace(f, p=NOTHING)
    inviscid = replace(without_pressure, nu=NOTHING).forces()
    if part == "pressure":
        chosen = replace(f, u=NOTHING, v=NOTHING, w=NOTHING, nu=NOTHING).forces()
    elif part == "advection":
        chosen = inviscid
    else:
        chosen = tuple(a - b for a, b in zip(without_pressure.forces(), inviscid, strict=True))
    return -chosen[0], -chosen[1] / R, -chosen[2]


PARTS = [(part, component) for part in ("advection", "stress", "pressure") for component in "uvw"]
PARTS.remove(("pressure", "v"))


@pytest.mark.parametrize(("part", "component"), PARTS)
def test_each_part_of_the_rates_is_second_order(part, component):
    """Advection (with the centrifugal term), stress with a viscosity ratio of 100 and pressure: error / 2**1.9."""
    f = through_flow(STEEP)
    k = "uvw".index(component)
    exact = exact_part(part, f)[k]

    def error_of(cells: int) -> float:
        grid, rates = computed_part(part, f, cells)
        r, z = (grid.r_face[1:], grid.z) if k == 0 else (grid.r, grid.z if k == 1 else grid.z_face)
        found = rates[k][:, 1:] if k == 0 else rates[k]
        return rms_inside(found - at(exact, r, z), r, z)

    assert observed(error_of) >= 1.9


@pytest.mark.parametrize("part", ["adv_r", "vis_r", "adv_z", "vis_z"])
def test_swirl_fluxes_are_second_order(part):
    """The error of the angular-momentum fluxes over all inner faces, axis included, falls by 2**1.9 in L2."""
    f = through_flow(STEEP)
    t = f.stress()
    density = {
        "adv_r": R * f.u * f.v,
        "vis_r": -R * t["rt"],
        "adv_z": R * f.w * f.v,
        "vis_z": -R * t["tz"],
    }[part]

    def error_of(cells: int) -> float:
        problem, s = problem_and_state(f, cells)
        k, m = problem.work, problem.grid.metric
        kernels.swirl_fluxes(
            s.u, s.v, s.v, s.v, s.w, problem.viscosity(s), m, problem.edges, k.adv_r, k.vis_r, k.adv_z, k.vis_z
        )
        found = getattr(k, part)
        if part.endswith("_r"):
            found = found[:, 1:-1] / (m.rf[1:-1] * m.dz[:, None])
            return float(np.sqrt(np.mean((found - at(density, m.rf[1:-1], m.z)) ** 2)))
        return float(np.sqrt(np.mean((found[1:-1] / m.a - at(density, m.r, m.zf[1:-1])) ** 2)))

    assert observed(error_of) >= 1.9


def test_divergence_is_second_order_everywhere():
    """div u - q of the exact field falls by 2**1.9 in the maximum norm, boundary cells and axis included."""
    f = through_flow(STEEP)

    def error_of(cells: int) -> float:
        problem, s = problem_and_state(f, cells)
        out = np.empty_like(s.p)
        kernels.divergence(s.u, s.w, at(f.volume, problem.grid.r, problem.grid.z), problem.grid.metric, out)
        return float(np.abs(out).max())

    assert observed(error_of) >= 1.9


def test_projection_separates_a_gradient_from_a_flow():
    """The projection of a divergence-free flow plus a gradient gives both back, 2**1.9 per halving in both."""
    psi = R**2 * (1 - R**2) * sp.sin(sp.pi * Z / HEIGHT)
    potential = (R**2 - R**4 / 2) * 2 * sp.cos(sp.pi * Z / HEIGHT)  # its normal derivative is 0 on every wall
    u, w = -sp.diff(psi, Z) / R, sp.diff(psi, R) / R

    def both(cells: int) -> tuple[float, float]:
        grid = grid_of(cells)
        m = grid.metric
        projection = Projection(laminar(grid, walls(grid), 1.0))
        found_u = np.zeros((grid.z.size, grid.r_face.size))
        found_u[:, 1:] = at(u + sp.diff(potential, R), grid.r_face[1:], grid.z)
        found_w = at(w + sp.diff(potential, Z), grid.r, grid.z_face)
        phi, _ = projection.apply(found_u, found_w, 1.0, np.zeros(grid.shape), None)
        off_u = found_u[:, 1:] - at(u, grid.r_face[1:], grid.z)
        weight = m.a * m.dz[:, None]
        off_phi = phi - at(potential, grid.r, grid.z)
        off_phi -= np.sum(off_phi * weight) / np.sum(weight)
        return float(np.sqrt(np.mean(off_u**2))), float(np.sqrt(np.mean(off_phi**2)))

    coarse, fine = (both(cells) for cells in CELLS)
    assert min(np.log2(np.array(coarse) / np.array(fine))) >= 1.9


@pytest.mark.parametrize("regime", ["stable", "unstable"])
def test_mixing_length_viscosity_is_second_order(regime):
    """The damped mixing-length viscosity of an exact field falls by 2**1.9, for rv rising and falling outward."""
    length, nu0, beta, cap, rate = 0.1, 1e-3, 7.0, 2.0, 0.05
    v = R * (2 - R**2) if regime == "stable" else R / (sp.Rational(1, 50) + R**2) ** sp.Rational(3, 2)
    f = replace(through_flow(STEEP), v=v)
    t = replace(f, nu=sp.Integer(1)).stress()
    normal = sum((t[k] / 2) ** 2 for k in ("rr", "tt", "zz"))
    s2 = 2 * normal + t["rz"] ** 2 + t["rt"] ** 2 + t["tz"] ** 2 + rate**2
    turning = 2 * v / R**2 * sp.diff(R * v, R)
    stable = s2 / (s2 + beta * turning)
    unstable = 1 - (cap - 1) * beta * turning / ((cap - 1) * s2 - beta * turning)
    exact = nu0 + (length * (stable if regime == "stable" else unstable)) ** 2 * sp.sqrt(s2)

    def error_of(cells: int) -> float:
        problem, s = problem_and_state(f, cells)
        grid = problem.grid
        closure = MixingLength(np.full(grid.shape, length), nu0, beta, cap, rate)
        found = closure.of(s.u, s.v, s.w, grid, problem.edges)[1:-1, 1:-1]
        # Where rv turns from rising to falling the damping has a kink of curvature; stay on one side of it.
        assert np.all(np.sign(at(turning, grid.r, grid.z)[:, grid.r > 0.3]) == (1 if regime == "stable" else -1))
        inside = np.ix_((grid.z > 0.15) & (grid.z < 1.35), (grid.r > 0.35) & (grid.r < 0.85))
        return float(np.sqrt(np.mean((found - at(exact, grid.r, grid.z))[inside] ** 2)))

    assert observed(error_of) >= 1.9


def test_scalar_transport_is_second_order():
    """Advection and diffusion of a passive scalar with a viscosity ratio of 100: error / 2**1.9 per halving."""
    f, schmidt = through_flow(STEEP), 0.7
    c = sp.cos(2 * R**2) * (1 + sp.sin(2 * Z))
    down_r, down_z = f.nu / schmidt * sp.diff(c, R), f.nu / schmidt * sp.diff(c, Z)
    exact = -sp.diff(R * (f.u * c - down_r), R) / R - sp.diff(f.w * c - down_z, Z)

    def error_of(cells: int) -> float:
        problem, s = problem_and_state(f, cells)
        grid, out = problem.grid, np.empty_like(s.p)
        nu = problem.viscosity(s)
        kernels.scalar_rates(s.u, at(c, grid.r, grid.z), s.w, nu, schmidt, grid.metric, out)
        return rms_inside(out - at(exact, grid.r, grid.z), grid.r, grid.z)

    assert observed(error_of) >= 1.9
