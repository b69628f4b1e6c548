"""From a case and its air network to the flow problem: grid, boundary faces, jets, closure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swirlwright.solver.eddy import COMING, SpalartAllmaras
from swirlwright.solver.fog_inlet import fog_inflow
from swirlwright.solver.grid import Array, Cluster, Grid, clustered_faces
from swirlwright.solver.jets import Jets, JetSources, deposit
from swirlwright.solver.kernels import Edges
from swirlwright.solver.schema import Case
from swirlwright.solver.state import FixedViscosity, FlowProblem, MixingLength, Sources

KARMAN = 0.41  # von Karman's constant; Pope, Turbulent Flows, 2000
# Where the flow turns round on an open face, the carried value changes over this share of the speed scale.
BLEND_SHARE = 0.01
# Cells are fine around the axis over this share of the radius (width of a Gaussian).
CORE_SHARE = 0.15
# The strain rate that regularises the mixing length at rest, over speed/length.
RATE_FLOOR_SHARE = 1e-4


@dataclass(frozen=True)
class Blowing:
    """Factors that events put on the steady case: flows relative to it, and whether the open sides are open."""

    exhaust: float = 1.0
    supply: float = 1.0
    fog: float = 1.0
    are_sides_open: bool = True


@dataclass(frozen=True)
class ChamberFlow:
    """A flow problem with what the result file tells about it."""

    problem: FlowProblem
    jets: JetSources | None
    open_share: Array
    exhaust_flow: float


def build_grid(case: Case, cells: tuple[int, int] | None = None) -> Grid:
    """Grid of the case (or with other numbers of cells (nz, nr)): lip and hole heights lie on faces.

    The holes' heights only where there are at least two cells along z for each.
    Spacings: `grid.core_spacing` at the axis, half the uniform spacing at the side, `grid.floor_spacing` at the
    floor; on another number of cells they change in proportion. The lip and the ceiling stay coarse: they set the
    time step and decide nothing.
    """
    nz, nr = cells if cells is not None else (case.grid.cells_z, case.grid.cells_r)
    radius, height = case.model_radius, case.chamber.height
    core = case.grid.core_spacing or 0.4 * radius / case.grid.cells_r
    floor = case.grid.floor_spacing or 0.4 * height / case.grid.cells_z
    core *= case.grid.cells_r / nr
    floor *= case.grid.cells_z / nz
    core, floor = min(core, radius / nr), min(floor, height / nz)
    lip = [] if case.exhaust is None else [0.5 * case.exhaust.diameter]
    if case.exhaust is not None and case.exhaust.hub_diameter > 0:
        lip.append(0.5 * case.exhaust.hub_diameter)
    width = CORE_SHARE * radius
    r_face = clustered_faces(
        radius, nr, [Cluster(0.0, core, width), Cluster(radius, 0.5 * radius / nr, 0.15 * radius)], lip
    )
    holes = sorted({z for tubes in case.tubes for row in tubes.rows for z in row.hole_heights()})
    bands = [] if case.inlet is None else [case.inlet.from_height, case.inlet.to_height]
    if case.chamber.open_share > 0:
        bands += [case.chamber.open_from, case.chamber.open_top]
    z_face = clustered_faces(
        height, nz, [Cluster(0.0, floor, 0.1 * height)], [*bands, *holes] if nz >= 2 * len(holes) else bands
    )
    return Grid(r_face, z_face)


def build_flow(case: Case, grid: Grid, jets: Jets, exhaust_flow: float, blowing: Blowing = Blowing()) -> ChamberFlow:
    """The flow problem of `case` on `grid` with the network's jets and exhaust flow [m3/s]."""
    share = open_share(case, grid) if blowing.are_sides_open else leak_share(case, grid)
    sources, deposited = Sources.none(grid), None
    if len(jets):
        deposited = deposit(jets, grid, density=case.density, spread=case.model.jet_spread, open_share=share)
        deposited = deposited.scaled(blowing.supply)
        sources = Sources(deposited.volume, deposited.torque, deposited.radial_force, deposited.axial_force)
    fog = fog_inflow(case, grid, share, blowing.fog)
    sources = sources.plus(fog.sources)
    exhaust_flow *= blowing.exhaust
    speed = speed_scale(case, jets, exhaust_flow)
    edges = _edges(case, grid, share, exhaust_flow, speed, fog.floor_w)
    if not np.any(edges.side_kind == 1):
        # Nothing but the exhaust can give way: its flow is what comes in, to the last digit of the sums.
        coming = _inflow(edges, sources, grid)
        exhaust_flow = coming
        edges = _with_outflow(case, edges, grid, coming)
    is_regulated = bool(np.any(edges.side_kind == 1) and np.any(edges.top_kind == 1))
    problem = FlowProblem(
        grid=grid,
        edges=edges,
        sources=sources,
        closure=_closure(case, grid, edges, deposited, speed),
        density=case.density,
        molecular=case.kinematic_viscosity,
        exhaust_flow=exhaust_flow if is_regulated else None,
        speed=speed,
        length=case.model_radius,
        has_fog=case.fog is not None,
        fog_law=fog.law,
    )
    return ChamberFlow(problem, deposited, share, exhaust_flow)


def leak_share(case: Case, grid: Grid) -> Array:
    """Open share of the perimeter that panel gaps make up, (nz,): of the round model's, so that their area is kept."""
    leak = case.chamber.leak_area / (2.0 * np.pi * grid.radius * case.chamber.height)
    return np.full(grid.z.size, min(leak, 1.0))


def open_share(case: Case, grid: Grid) -> Array:
    """Open share of the perimeter by height, (nz,): the open band by its overlap with each cell, and the gaps."""
    lower = np.maximum(grid.z_face[:-1], case.chamber.open_from)
    upper = np.minimum(grid.z_face[1:], case.chamber.open_top)
    band = np.clip(upper - lower, 0.0, None) / np.diff(grid.z_face) * case.chamber.open_share
    return np.minimum(band + (1.0 - band) * leak_share(case, grid), 1.0)


def speed_scale(case: Case, jets: Jets, exhaust_flow: float) -> float:
    """A speed the flow is of the order of [m/s]: the largest of the exhaust's, the inlet's and the walls'."""
    speeds = [1e-3]
    if case.exhaust is not None and exhaust_flow > 0.0:
        speeds.append(exhaust_flow / (0.25 * np.pi * case.exhaust.diameter**2))
    if case.inlet is not None:
        radial, swirl = inlet_velocity(case)
        speeds.append(float(np.hypot(radial, swirl)))
    if len(jets):
        # A curtain's speed: the jets' momentum spread over the height and a tenth of the radius.
        momentum = float((jets.mass_flow * jets.speed).sum()) / case.density
        speeds.append(float(np.sqrt(momentum / (0.1 * case.model_radius * case.chamber.height * 2.0))))
    turning = (case.walls.floor_rotation, case.walls.ceiling_rotation, case.walls.side_rotation)
    speeds.append(max(abs(omega) for omega in turning) * case.model_radius)
    return max(speeds)


def inlet_velocity(case: Case) -> tuple[float, float]:
    """Mean inward and tangential velocity of the prescribed inlet [m/s]."""
    inlet = case.inlet
    assert inlet is not None
    band = inlet.to_height - inlet.from_height
    radial = inlet.radial_velocity
    if radial is None:
        assert inlet.flow is not None
        radial = inlet.flow / (2.0 * np.pi * case.model_radius * band)
    if inlet.swirl_velocity is not None:
        return radial, inlet.swirl_velocity
    return radial, radial * float(np.tan(np.deg2rad(inlet.angle or 0.0)))


def _edges(case: Case, grid: Grid, share: Array, exhaust_flow: float, speed: float, floor_w: Array) -> Edges:
    """What every boundary face does."""
    nz, nr = grid.shape
    walls, friction = case.walls, case.wall_friction_factor
    slip = {"no-slip": 1.0, "free-slip": 0.0}
    side_kind = (share > 0.0).astype(np.int64)
    side_u, side_v = np.zeros(nz), np.full(nz, walls.side_rotation * grid.radius)
    stress = slip[walls.side] * friction * (1.0 - share)
    side_v = np.where(side_kind == 1, 0.0, side_v)
    stress_w_cell, carry_w_cell = stress.copy(), np.ones(nz)
    if case.inlet is not None:
        band, profile = _inlet_band(case, grid)
        radial, swirl = inlet_velocity(case)
        side_kind[band] = 0
        side_u[band], side_v[band] = -radial * profile[band], swirl * profile[band]
        stress[band] = 1.0
        is_free = case.inlet.axial == "free"
        stress_w_cell[band], carry_w_cell[band] = (0.0, 0.0) if is_free else (1.0, 1.0)
    top_kind, top_w = _ceiling(case, grid, exhaust_flow)
    open_top = (top_kind == 1) | (top_w > 0.0)
    top_stress = np.where(open_top, 0.0, slip[walls.ceiling])
    bottom_stress = np.full(nr, slip[walls.floor])
    loss = 0.0 if case.exhaust is None else case.exhaust.guard_loss + case.exhaust.grille_loss
    losses = case.chamber.inflow_loss, case.chamber.outflow_loss
    return Edges(
        side_kind=side_kind, side_u=side_u, side_v=side_v, side_w=np.zeros(nz + 1),
        side_stress_v=stress, side_stress_w=_to_faces(stress_w_cell),
        side_carry_v=np.ones(nz), side_carry_w=_to_faces(carry_w_cell),
        side_open=np.maximum(share, 1e-12), side_in=np.full(nz, losses[0]), side_out=np.full(nz, losses[1]),
        side_p=np.zeros(nz),
        top_kind=top_kind, top_w=top_w, top_u=np.zeros(nr + 1), top_v=walls.ceiling_rotation * grid.r * (~open_top),
        top_stress_u=_to_faces(top_stress), top_stress_v=top_stress,
        top_carry_u=np.ones(nr + 1), top_carry_v=np.ones(nr), top_loss=np.full(nr, loss), top_p=np.zeros(nr),
        bottom_w=floor_w, bottom_u=np.zeros(nr + 1), bottom_v=walls.floor_rotation * grid.r,
        bottom_stress_u=_to_faces(bottom_stress), bottom_stress_v=bottom_stress,
        # A chamber reaches to the axis.
        inner_v=np.zeros(nz), inner_stress=0.0,
        blend_speed=BLEND_SHARE * speed,
    )  # fmt: skip


def _to_faces(cell: Array) -> Array:
    """Mean of the neighbours on each face of a row of cells, ends copied."""
    return np.concatenate((cell[:1], 0.5 * (cell[1:] + cell[:-1]), cell[-1:]))


def _inlet_band(case: Case, grid: Grid) -> tuple[NDArray[np.bool_], Array]:
    """Cells of the inlet band (bool) and the profile in them, with a mean of one over the band, (nz,)."""
    inlet = case.inlet
    assert inlet is not None
    s = (grid.z - inlet.from_height) / (inlet.to_height - inlet.from_height)
    band = (s > 0.0) & (s < 1.0)
    profile = np.where(band, 30.0 * s**2 * (1.0 - s) ** 2 if inlet.profile == "smooth" else 1.0, 0.0)
    dz = np.diff(grid.z_face)
    return band, profile * (inlet.to_height - inlet.from_height) / float((profile * dz).sum())


def _ceiling(case: Case, grid: Grid, exhaust_flow: float) -> tuple[NDArray[np.int64], Array]:
    """Kind (1: pressure) and given axial velocity of the ceiling's faces, (nr,)."""
    nr = grid.r.size
    kind, w = np.zeros(nr, np.int64), np.zeros(nr)
    if case.exhaust is None:
        return kind, w
    rim = 0.5 * case.exhaust.diameter
    inside = (grid.r < rim) & (grid.r > 0.5 * case.exhaust.hub_diameter)
    if case.exhaust.outlet_profile == "pressure":
        kind[inside] = 1
        return kind, w
    shape = inside * (1.0 - (grid.r / rim) ** 2 if case.exhaust.outlet_profile == "parabolic" else 1.0)
    area = np.pi * np.diff(grid.r_face**2)
    return kind, np.asarray(shape * (exhaust_flow / float((shape * area).sum())), dtype=np.float64)


def _inflow(edges: Edges, sources: Sources, grid: Grid) -> float:
    """Volume flow that the given faces and the jets bring in [m3/s], summed on the grid."""
    side = -2.0 * np.pi * grid.radius * float((edges.side_u * np.diff(grid.z_face)).sum())
    floor = float((edges.bottom_w * np.pi * np.diff(grid.r_face**2)).sum())
    return side + floor + float((sources.volume * grid.volume).sum())


def _with_outflow(case: Case, edges: Edges, grid: Grid, flow: float) -> Edges:
    """Edges whose given outlet profile carries exactly `flow` [m3/s]."""
    return edges._replace(top_w=_ceiling(case, grid, flow)[1])


def _closure(
    case: Case, grid: Grid, edges: Edges, jets: JetSources | None, speed: float
) -> FixedViscosity | MixingLength | SpalartAllmaras:
    model, nu = case.model, case.kinematic_viscosity
    if model.closure == "laminar":
        return FixedViscosity.uniform(grid, nu)
    if model.closure == "constant":
        return FixedViscosity.uniform(grid, nu * model.viscosity_ratio)
    wall, side = wall_distance(grid, edges)
    if model.closure == "spalart-allmaras":
        return SpalartAllmaras(wall, side, np.full(grid.r.size, COMING * nu), nu)
    if jets is not None:
        width = jets.curtain_width
    else:
        # No curtain: the shear layer is as wide as the inlet is high, or as the exhaust's rim is far.
        band = case.inlet.to_height - case.inlet.from_height if case.inlet is not None else np.inf
        width = np.full(grid.z.size, min(band, case.model_radius))
    outer = model.length_constant * width[:, None]
    return MixingLength(
        length=KARMAN * wall * outer / np.sqrt((KARMAN * wall) ** 2 + outer**2),
        molecular=nu,
        damping=model.damping_beta,
        unstable_cap=model.unstable_cap,
        rate_floor=RATE_FLOOR_SHARE * speed / case.model_radius,
    )


def wall_distance(grid: Grid, edges: Edges) -> tuple[Array, Array]:
    """Distance of each cell centre from the nearest no-slip surface [m], (nz, nr), and the side's share in it, 0 to 1.

    Smoothly joined: 1/y^4 is summed over floor, ceiling and side, each by the share of its no-slip stress.
    """
    near = edges.bottom_stress_v[None, :] / grid.z[:, None] ** 4
    near = near + edges.top_stress_v[None, :] / (grid.height - grid.z[:, None]) ** 4
    side = np.minimum(edges.side_stress_v, 1.0)[:, None] / (grid.radius - grid.r[None, :]) ** 4
    near = np.maximum(near + side, 1e-300)
    return near**-0.25, side / near
