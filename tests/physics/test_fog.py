"""Fog: what it weighs, how its droplets drift, how it comes in, and that none of it is lost."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import swirlwright
from swirlwright.solver.casefile import parse_case, vary
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.errors import InputError
from swirlwright.solver.flow import build_grid
from swirlwright.solver.fog import fog_flows, solve_steady_with_fog
from swirlwright.solver.fog_inlet import fog_inflow
from swirlwright.solver.fog_law import GRAVITY, FogLaw, relaxation_time
from swirlwright.solver.fog_transport import fog_held
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.march import Control, march
from swirlwright.solver.network import solve_network
from swirlwright.solver.progress import SILENT
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import SteadyTry
from swirlwright.solver.transient import Stepper

TABLE_TOP = swirlwright.read_case(Path(__file__).parents[2] / "cases" / "table-top.toml")
TINY = {"grid.cells_r": 16, "grid.cells_z": 24, "grid.core_spacing": None}
# Thick enough for a steady flow on the tiny grid.
THICK = {"model.closure": "constant", "model.viscosity_ratio": 100.0}

CLOSED = """
title = "closed cylinder"
[chamber]
footprint = "round"
width = 0.4
height = 0.5
[walls]
ceiling_rotation = 1.0
[model]
closure = "laminar"
[grid]
cells_r = 10
cells_z = 40
"""


def chamber(changes: dict[str, Any]) -> Chamber:
    """The table-top chamber on a tiny grid with some keys changed."""
    case = vary(TABLE_TOP, {**TINY, **changes})
    return Chamber.of(case, build_grid(case), solve_network(case))


def still(law: FogLaw) -> tuple[FlowProblem, State]:
    """Still air in a closed cylinder, and fog of this law to be put in."""
    case = parse_case(CLOSED, "closed.toml")
    problem = Chamber.of(case, build_grid(case), solve_network(case)).problem
    at_rest = problem.edges._replace(top_v=np.zeros_like(problem.edges.top_v))
    problem = replace(problem, edges=at_rest, has_fog=True, fog_law=law)
    return problem, State.at_rest(problem)


def law_of(shape: tuple[int, int], *, weight: float = 0.0, tau: float = 0.0) -> FogLaw:
    """Fog in a closed cylinder that nothing is added to."""
    return FogLaw(weight, tau, np.ones(shape[0]), np.zeros(shape))


@pytest.mark.parametrize("inlet", [{}, {"fog.diffuser_radius": 0.05}], ids=["bare", "disc"])
def test_fog_is_conserved_while_it_settles(inlet: dict[str, Any]) -> None:
    """What is let in is held or has left by a way in the ledger, to 1e-8, with large droplets in an unsteady flow."""
    problem = chamber({"fog.flow": 4e-4, "fog.droplet_diameter": 4e-5, **inlet}).problem
    stepper = Stepper.of(problem)
    s = stepper.clean(State.at_rest(problem))
    for _ in range(150):
        s = stepper.advance(s, stepper.step_size(s, 0.02))
    let_in, floor, panels, sides, exhaust = s.fog_ledger
    assert abs(let_in - fog_held(problem, s) - floor - panels - sides - exhaust) < 1e-8 * let_in
    assert floor > 0.05 * let_in
    flows = fog_flows(problem, State.at_rest(problem), s)
    assert flows["in"] == pytest.approx(sum(flows.values()) - flows["in"], rel=1e-8)


def test_terminal_speed_is_stokes() -> None:
    """A water droplet of 10 um falls through air at 3.0 mm/s, one of 20 um at four times that."""
    # Hinds, Aerosol Technology, 2nd ed. 1999, table 3.1 (memory): 3.06 mm/s with slip of the gas, 1.5 % faster.
    tau = relaxation_time(1e-5, density=1.2, viscosity=1.81e-5)
    assert tau * GRAVITY == pytest.approx(3.06e-3 / 1.015, rel=0.01)
    assert relaxation_time(2e-5, density=1.2, viscosity=1.81e-5) == pytest.approx(4.0 * tau, rel=1e-12)


def test_a_cloud_in_still_air_sinks_at_the_terminal_speed() -> None:
    """The centre of mass of a cloud that touches nothing falls by speed times time."""
    tau = relaxation_time(4e-5, density=1.2, viscosity=1.81e-5)
    problem, s = still(law_of((40, 10), tau=tau))
    grid, law = problem.grid, problem.fog_law
    assert law is not None
    cloud = np.exp(-(((grid.z[:, None] - 0.3) / 0.04) ** 2)) * np.ones(grid.r.size)

    def centre(c: Array) -> float:
        return float((c * grid.z[:, None] * grid.volume).sum() / (c * grid.volume).sum())

    s = replace(s, fog=cloud)
    stepper = Stepper.of(problem)
    for _ in range(40):
        s = stepper.advance(s, 0.05)
    # Central fluxes move the centre of mass exactly on equal cells, to second order on these.
    assert centre(cloud) - centre(s.fog) == pytest.approx(2.0 * law.settling_speed, rel=5e-3)
    assert s.fog_ledger[1:].max() < 1e-6 * fog_held(problem, s)


def test_layer_of_heavy_fog_lies_still_under_its_own_pressure() -> None:
    """A level layer moves nothing, and from floor to ceiling the pressure falls by its weight, to round-off.

    While it diffuses its pressure changes, which moves the air by no more than the steps' own error.
    """
    weight = GRAVITY * 0.3
    problem, s = still(law_of((40, 10), weight=weight))
    layer = np.exp(-problem.grid.z / 0.08)[:, None] * np.ones(problem.grid.r.size)
    stepper = Stepper.of(problem)
    s = stepper.with_pressure(replace(s, fog=layer))
    column = weight * np.trapezoid(layer[:, 0], problem.grid.z)
    assert s.p[0] - s.p[-1] == pytest.approx(np.full(problem.grid.r.size, column), rel=1e-12)
    assert max(np.abs(rate).max() for rate in problem.rates(s, problem.viscosity(s))) < 1e-12 * weight
    for _ in range(10):
        s = stepper.advance(s, 0.02)
    assert s.largest_speed < 1e-6 * np.sqrt(weight * 0.08)


def test_heavy_fog_falls_and_light_fog_rises() -> None:
    """A blob on the axis sets the air under way along its weight, equal and opposite for the opposite weight."""
    speeds = []
    for weight in (1e-3, -1e-3):
        problem, s = still(law_of((40, 10), weight=weight))
        grid = problem.grid
        blob = np.exp(-((grid.r[None, :] / 0.05) ** 2) - ((grid.z[:, None] - 0.25) / 0.05) ** 2)
        s = Stepper.of(problem).advance(replace(s, fog=blob), 0.01)
        speeds.append(float(s.w[20, 0]))
    assert speeds[0] < 0.0
    assert speeds[1] == pytest.approx(-speeds[0], rel=1e-3)


def test_droplets_are_thrown_onto_the_panels() -> None:
    """In air that turns as one body, fog that fills it lands at tau v^2/R on the wall and is booked there."""
    tau = relaxation_time(4e-5, density=1.2, viscosity=1.81e-5)
    problem, s = still(law_of((40, 10), tau=tau))
    grid, omega = problem.grid, 5.0
    s = replace(s, v=omega * grid.r * np.ones((grid.z.size, 1)), fog=np.ones(grid.shape))
    flows = fog_flows(problem, s, s)
    landed = tau * (omega * grid.r[-1]) ** 2 / grid.radius * 2.0 * np.pi * grid.radius * grid.height
    assert flows["panels"] == pytest.approx(landed, rel=1e-12)
    assert flows["sides"] == 0.0


@pytest.mark.parametrize("radius", [0.001, 0.004, 0.02])
def test_inlet_brings_its_flow_and_its_momentum(radius: float) -> None:
    """Flow and axial momentum Q^2/(pi R^2) are exact on any grid, for an inlet narrower than a cell as well."""
    case = vary(TABLE_TOP, {**TINY, "fog.radius": radius, "fog.flow": 1e-4})
    grid = build_grid(case)
    fog = fog_inflow(case, grid, np.zeros(grid.z.size), 1.0)
    area = np.pi * np.diff(grid.r_face**2)
    assert fog.floor_w @ area == pytest.approx(1e-4, rel=1e-12)
    force = float((fog.sources.axial_force * grid.metric.dzc[:, None] * area).sum())
    assert fog.floor_w**2 @ area + force == pytest.approx(1e-4**2 / (np.pi * radius**2), rel=1e-12)
    assert force >= 0.0


def test_disc_turns_the_fog_outward() -> None:
    """Under a disc nothing rises; air, fog and radial momentum Q^2/(2 pi R gap) leave at its rim, within the gap."""
    case = vary(TABLE_TOP, {**TINY, "fog.flow": 1e-4, "fog.diffuser_radius": 0.05, "fog.diffuser_gap": 0.03})
    grid: Grid = build_grid(case)
    fog = fog_inflow(case, grid, np.zeros(grid.z.size), 1.0)
    assert not fog.floor_w.any() and not fog.sources.axial_force.any()
    assert (fog.sources.volume * grid.volume).sum() == pytest.approx(1e-4, rel=1e-12)
    m = grid.metric
    push = float((fog.sources.radial_force * 2.0 * np.pi * m.ac * m.dz[:, None]).sum())
    assert push == pytest.approx(1e-4**2 / (2.0 * np.pi * 0.05 * 0.03), rel=1e-12)
    rows, rings = np.nonzero(fog.sources.volume)
    assert grid.z_face[rows.max()] < 0.03 and abs(grid.r_face[rings[0]] - 0.05) < m.dr[rings[0]]


@pytest.mark.parametrize(
    "keys, at",
    [
        ({"fog.diffuser_gap": 0.01}, "needs fog.diffuser_radius"),
        ({"fog.diffuser_gap": 0.7, "fog.diffuser_radius": 0.05}, "at most the chamber's height"),
        ({"fog.droplet_diameter": 1e-4}, "<= 8e-05 m"),
        ({"fog.buoyancy": True}, 'one of "on", "off"'),
    ],
)
def test_fog_that_cannot_be_is_refused(keys: dict[str, Any], at: str) -> None:
    """A gap without a disc or above the roof, droplets beyond Stokes and other words for on are told, with the key."""
    with pytest.raises(InputError, match=at) as told:
        vary(TABLE_TOP, keys)
    assert next(iter(keys)) in str(told.value)


def settled(changes: dict[str, Any]) -> tuple[FlowProblem, SteadyTry]:
    """The steady flow of a thick-air table-top chamber."""
    problem = chamber({**THICK, **changes}).problem
    stepper = Stepper.of(problem)
    end = 5.0 * problem.length / problem.speed
    start = stepper.clean(State.at_rest(problem))
    s = march(stepper, start, end, largest=end, recorders=(), control=Control(None), watch=SILENT)
    return problem, solve_steady_with_fog(problem, s, tolerance=1e-9, max_iterations=200)


def core_speed(s: State) -> float:
    """Largest tangential velocity in the inner half at mid-height [m/s]."""
    nz, nr = s.v.shape
    return float(s.v[nz // 2, : nr // 2].max())


def test_steady_flow_and_heavy_fog_agree() -> None:
    """The steady state of flow and heavy fog solved in turn is one that the transient keeps, and loses no fog."""
    problem, tried = settled({"fog.density_excess": 0.3, "fog.flow": 2e-4, "fog.droplet_diameter": 2e-5})
    assert tried.is_converged
    before = tried.state
    after = Stepper.of(problem).advance(before, 0.01)
    assert np.abs(after.w - before.w).max() < 1e-7 * problem.speed
    assert np.abs(after.fog - before.fog).max() < 1e-7
    flows = fog_flows(problem, before, before)
    assert flows["in"] == pytest.approx(sum(flows[name] for name in ("floor", "panels", "sides", "exhaust")), rel=1e-8)
    _, light = settled({"fog.buoyancy": "off", "fog.flow": 2e-4, "fog.droplet_diameter": 2e-5})
    assert np.abs(light.state.w - before.w).max() > 1e-3 * problem.speed


def test_default_fog_flow_leaves_the_vortex_as_it_is() -> None:
    """The shipped fog changes the core's v by less than three hundredths; twenty times as much, and heavy, far more."""
    shipped, none, flood = (
        core_speed(tried.state)
        for _, tried in map(settled, ({}, {"fog": None}, {"fog.flow": 2e-3, "fog.density_excess": 0.6}))
    )
    assert abs(shipped / none - 1.0) < 0.03
    assert abs(flood / none - 1.0) > 5.0 * abs(shipped / none - 1.0)
