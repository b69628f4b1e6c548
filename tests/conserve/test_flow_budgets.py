"""Budgets of mass and angular momentum of the flow, from face fluxes, to round-off."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FixedViscosity, FlowProblem, MixingLength, Sources, State
from swirlwright.solver.steady import solve_steady
from swirlwright.solver.transient import Stepper, SwirlBudget
from swirlwright.verification.domains import laminar, stretched_faces, walls

NU = 0.01


def chamber(closure: str = "laminar", swirl_sign: float = 1.0) -> FlowProblem:
    """A small chamber: a curtain of volume and torque, the lower side half open, a given flow through the ceiling."""
    grid = Grid(stretched_faces(1.0, 20, 0.4, 2.0), stretched_faces(1.2, 24, 0.3))
    nz, nr = grid.shape
    is_open, is_exhaust = grid.z < 0.7, grid.r < 0.45
    edges = walls(
        grid,
        side_kind=is_open.astype(int),
        side_open=np.where(is_open, 0.5, 1.0),
        side_in=0.5,
        side_stress_v=np.where(is_open, 0.5, 1.0),
        side_stress_w=0.5,
        top_kind=is_exhaust.astype(int),
        top_stress_v=np.where(is_exhaust, 0.0, 1.0),
        top_loss=0.3,
        blend_speed=1e-2,
    )
    curtain = np.exp(-(((grid.r - 0.7) / 0.1) ** 2)) * np.ones((nz, 1))
    sources = Sources(
        0.2 * curtain, swirl_sign * 0.3 * curtain, np.zeros((nz, nr + 1)), np.zeros((nz + 1, nr))
    )  # fmt: skip
    problem = laminar(grid, edges, NU, sources, exhaust_flow=0.4)
    if closure == "steep":
        z = np.concatenate(([0.0], grid.z, [1.2]))
        return replace(problem, closure=FixedViscosity(NU * 10.0 ** (z / 1.2)[:, None] * np.ones((1, nr + 2))))
    if closure == "mixing-length":
        length = np.full(grid.shape, 0.04) * np.minimum(1.0, (1.0 - grid.r) / 0.1)
        return replace(problem, closure=MixingLength(length, NU, 7.0, 2.0, 0.05))
    return problem


def steady_fluxes(problem: FlowProblem, s: State) -> tuple[Array, Array]:
    """Whole flux of angular momentum through every face, per radian."""
    k = problem.work
    problem.fill_swirl_fluxes(s)
    return k.adv_r + k.vis_r, k.adv_z + k.vis_z


def outgoing(flux_r: Array, flux_z: Array) -> Array:
    return np.diff(flux_r, axis=1) + np.diff(flux_z, axis=0)


def through_boundary(flux_r: Array, flux_z: Array) -> float:
    return float(flux_r[:, -1].sum() + flux_z[-1].sum() - flux_z[0].sum())


def mass_outgoing(grid: Grid, u: Array, w: Array) -> Array:
    m = grid.metric
    return np.diff(m.rf * u * m.dz[:, None], axis=1) + np.diff(m.a * w, axis=0)


@pytest.mark.parametrize("closure", ["laminar", "steep", "mixing-length"])
def test_steady_state_closes_both_budgets(closure):
    """At a steady state no cell gains or loses mass (1e-10 of the exhaust) or angular momentum (1e-8 of the torque)."""
    problem = chamber(closure)
    found = solve_steady(problem, State.at_rest(problem), tolerance=1e-11, max_iterations=80)
    assert found.is_converged
    s, m = found.state, problem.grid.metric
    cell = m.a * m.dz[:, None]
    through = problem.exhaust_flow / (2.0 * np.pi)
    assert np.abs(mass_outgoing(problem.grid, s.u, s.w) - problem.sources.volume * cell).max() < 1e-10 * through
    assert m.a @ np.where(problem.edges.top_kind == 1, s.w[-1], 0.0) == pytest.approx(through, rel=1e-10)
    torque = problem.sources.torque * cell
    fluxes = steady_fluxes(problem, s)
    assert np.abs(outgoing(*fluxes) - torque).max() < 1e-8 * torque.sum()
    assert through_boundary(*fluxes) == pytest.approx(torque.sum(), rel=1e-8)


@pytest.mark.parametrize("closure", ["laminar", "steep", "mixing-length"])
def test_time_average_closes_both_budgets(closure):
    """Over 60 unequal steps, change stored + mean outflow = source in every cell, to 1e-12 of the whole torque."""
    problem = chamber(closure)
    stepper, m = Stepper.of(problem), problem.grid.metric
    s = stepper.clean(State.at_rest(problem))
    for _ in range(20):
        s = stepper.advance(s, 0.05)
    start, budget = s, SwirlBudget.empty(problem)
    for step in (0.03, 0.05, 0.02) * 20:
        s = stepper.advance(s, step, budget)
    cell = m.a * m.dz[:, None]
    assert budget.time == pytest.approx(s.time - start.time, rel=1e-12)
    stored = (s.v - start.v) * m.r * cell
    torque = budget.time * problem.sources.torque * cell
    flux_r, flux_z = budget.adv_r + budget.vis_r, budget.adv_z + budget.vis_z
    assert np.abs(stored).sum() > 1e-3 * torque.sum(), "the window should not be steady"
    assert np.abs(stored + outgoing(flux_r, flux_z) - torque).max() < 1e-12 * torque.sum()
    assert stored.sum() + through_boundary(flux_r, flux_z) == pytest.approx(torque.sum(), rel=1e-12)
    mass = mass_outgoing(problem.grid, budget.u, budget.w) - budget.time * problem.sources.volume * cell
    assert np.abs(mass).max() < 1e-12 * budget.time * problem.exhaust_flow


def test_transient_and_steady_solver_share_their_steady_states():
    """A state the steady solver found does not move in 50 steps of the transient (1e-8 of its largest speed)."""
    problem = chamber("mixing-length")
    found = solve_steady(problem, State.at_rest(problem), tolerance=1e-11, max_iterations=80)
    s, stepper = found.state, Stepper.of(problem)
    for _ in range(50):
        s = stepper.advance(s, 0.02)
    top = np.abs(found.state.w).max()
    assert max(np.abs(s.u - found.state.u).max(), np.abs(s.v - found.state.v).max()) < 1e-8 * top


def test_pressure_at_an_instant_is_that_of_the_steady_state():
    """`with_pressure` on a steady field returns its pressure and the duct's, openings with losses included."""
    problem = chamber()
    s = solve_steady(problem, State.at_rest(problem), tolerance=1e-11, max_iterations=80).state
    again = Stepper.of(problem).with_pressure(replace(s, p=np.zeros_like(s.p), duct_pressure=0.0))
    assert again.duct_pressure == pytest.approx(s.duct_pressure, rel=1e-8)
    assert np.abs(again.p - s.p).max() < 1e-8 * np.abs(s.p).max()


def test_reversed_torque_mirrors_the_swirl():
    """Reversing all torque changes the sign of v and nothing else, to 1e-12 relative, over 40 laminar steps."""
    states = []
    for sign in (1.0, -1.0):
        problem = chamber(swirl_sign=sign)
        stepper = Stepper.of(problem)
        s = stepper.clean(State.at_rest(problem))
        for _ in range(40):
            s = stepper.advance(s, 0.05)
        states.append(s)
    one, other = states
    assert np.abs(one.v + other.v).max() <= 1e-12 * np.abs(one.v).max()
    assert np.abs(one.w - other.w).max() <= 1e-12 * np.abs(one.w).max()
    assert np.abs(one.u - other.u).max() <= 1e-12 * np.abs(one.u).max()


def test_no_torque_makes_no_swirl():
    """Without torque, in air that enters without swirl, v stays exactly zero."""
    problem = chamber(swirl_sign=0.0)
    stepper = Stepper.of(problem)
    s = stepper.clean(State.at_rest(problem))
    for _ in range(20):
        s = stepper.advance(s, 0.05)
    assert np.all(s.v == 0.0)


def energy(grid: Grid, s: State) -> float:
    """Kinetic energy per radian and density, with the solver's own areas of the radial faces."""
    m = grid.metric
    between = np.concatenate(([0.0], 0.5 * (m.dz[1:] + m.dz[:-1]), [0.0]))[:, None]
    parts = s.u**2 * m.ac * m.dz[:, None], s.v**2 * m.a * m.dz[:, None], s.w**2 * m.a * between
    return 0.5 * float(sum(x.sum() for x in parts))


def energy_drift(cells: int, fineness_r: float, steps: int) -> float:
    """Relative change of kinetic energy of a smooth swirling flow in a frictionless closed box after half a time."""
    height, time = 1.2, 0.5
    r_face = stretched_faces(1.0, cells, fineness_r, 2.0)
    grid = Grid(r_face, stretched_faces(height, cells - 2, 0.4))
    problem = laminar(grid, walls(grid), 0.0)
    z, z_face = np.pi * grid.z[:, None] / height, np.pi * grid.z_face[:, None] / height
    u = -r_face * (1.0 - r_face**2) * np.cos(z)
    w = 2.0 * height / np.pi * (1.0 - 2.0 * grid.r**2) * np.sin(z_face)
    v = 2.0 * grid.r * (1.0 - grid.r**2) * (1.0 + 0.5 * np.cos(2.0 * z))
    u[:, [0, -1]], w[[0, -1]] = 0.0, 0.0
    stepper = Stepper.of(problem)
    s = stepper.clean(replace(State.at_rest(problem), u=u, v=v, w=w))
    before = energy(grid, s)
    for _ in range(steps):
        s = stepper.advance(s, time / steps)
    return energy(grid, s) / before - 1.0


def test_kinetic_energy_is_kept_to_the_error_in_time():
    """With rings of equal width the drift of energy falls by 2**1.9 with each halving of the step, cells unchanged."""
    drift = np.abs([energy_drift(14, 0.0, steps) for steps in (20, 40, 80, 160)])
    assert min(-np.diff(np.log2(drift))) >= 1.9


def test_stretching_the_rings_costs_energy_only_at_second_order_of_the_cells():
    """With stretched rings a drift stays as the step shrinks; it falls by 2**1.8 with each halving of the cells.

    Advection conserves energy weighted by the mean of two cells' areas, pressure that weighted by r_face times the
    distance of centres: the same number only for equal rings.
    """
    drift = np.abs([energy_drift(cells, 0.4, 160) for cells in (14, 28, 56)])
    assert drift[0] == pytest.approx(abs(energy_drift(14, 0.4, 80)), rel=0.05), "an error in time after all"
    assert min(-np.diff(np.log2(drift))) >= 1.8


def energy_rates(power_of: str) -> tuple[float, float]:
    """Rate of change of kinetic energy by advection in a closed box without friction, and its size by parts."""
    rng = np.random.default_rng(7)
    grid = Grid(stretched_faces(1.0, 14, 0.4, 2.0), stretched_faces(1.2, 12, 0.4))
    problem = laminar(grid, walls(grid), 0.0)
    m, (nz, nr) = grid.metric, grid.shape
    s = State.at_rest(problem)
    u, w = rng.standard_normal((nz, nr + 1)), rng.standard_normal((nz + 1, nr))
    u[:, [0, -1]], w[[0, -1]] = 0.0, 0.0
    s = Stepper.of(problem).clean(replace(s, u=u, w=w, v=rng.standard_normal((nz, nr))))
    rate_u, rate_v, rate_w = problem.rates(s, problem.viscosity(s))
    in_u = s.u * rate_u * m.ac * m.dz[:, None]
    in_v = s.v * rate_v * m.a * m.dz[:, None]
    in_w = s.w[1:-1] * rate_w[1:-1] * m.a * (0.5 * (m.dz[1:] + m.dz[:-1]))[:, None]
    parts = {"all": (in_u, in_v, in_w), "w": (in_w,)}[power_of]
    return float(sum(x.sum() for x in parts)), float(sum(np.abs(x).sum() for x in parts))


@pytest.mark.parametrize("power_of", ["all", "w"])
def test_advection_neither_makes_nor_loses_kinetic_energy(power_of):
    """For a random divergence-free field in a frictionless closed box the energy's rate is round-off (1e-13).

    Swirl and radial motion exchange energy, so only their sum with w, and w alone, are conserved.
    """
    rate, size = energy_rates(power_of)
    assert abs(rate) < 1e-13 * size
