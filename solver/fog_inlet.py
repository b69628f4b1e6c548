"""How the fog comes in: through a bare inlet in the floor, or from under a disc that spreads it.

Whatever the grid, the flow is exact, and so is the momentum: what cells cut by the inlet's rim lack of a jet's
momentum is put into the first faces above it as a force.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swirlwright.solver.fog_law import GRAVITY, FogLaw, relaxation_time
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.schema import Case, Fog
from swirlwright.solver.state import Sources


@dataclass(frozen=True)
class FogInflow:
    """Fog on a grid: w through the floor's faces (nr,) [m/s], what else it brings into the air, and its law."""

    floor_w: Array
    sources: Sources
    law: FogLaw


def fog_inflow(case: Case, grid: Grid, open_share: Array, factor: float) -> FogInflow:
    """Return how the case's fog enters; nothing where it has none.

    Parameters
    ----------
    case : Case
    grid : Grid
    open_share : (nz,)
        Open share of the side's perimeter.
    factor : float
        On the fog's flow [1].
    """
    floor_w, sources = np.zeros(grid.r.size), Sources.none(grid)
    fog = case.fog
    if fog is None:
        return FogInflow(floor_w, sources, FogLaw(0.0, 0.0, 1.0 - open_share, np.zeros(grid.shape)))
    if fog.diffuser_radius is None:
        floor_w = _through_floor(fog, grid, factor * fog.flow)
        sources.axial_force[1] = _missing_momentum(fog, grid, floor_w)
    else:
        sources = _from_disc(fog, fog.diffuser_radius, grid, factor * fog.flow)
    law = FogLaw(
        reduced_gravity=GRAVITY * fog.density_excess if fog.buoyancy == "on" else 0.0,
        relaxation_time=relaxation_time(
            fog.droplet_diameter, density=case.density, viscosity=case.density * case.kinematic_viscosity
        ),
        closed=1.0 - open_share,
        source=sources.volume,
    )
    return FogInflow(floor_w, sources, law)


def _through_floor(fog: Fog, grid: Grid, flow: float) -> Array:
    """Speed through the floor's faces [m/s], the same all over the inlet (a named assumption: no profile of the pipe).

    A ring that the rim cuts takes its share of the area, so that the flow [m3/s] is exact.
    """
    squares = np.minimum(grid.r_face, fog.radius) ** 2
    return np.asarray(flow / fog.radius**2 * np.diff(squares) / (np.pi * np.diff(grid.r_face**2)))


def _missing_momentum(fog: Fog, grid: Grid, floor_w: Array) -> Array:
    """Axial force on the first faces above the floor (nr,) [m/s2]: the jet's momentum less that of `floor_w`."""
    area = np.pi * np.diff(grid.r_face**2)
    flow = float(floor_w @ area)
    missing = flow**2 / (np.pi * fog.radius**2) - float(floor_w**2 @ area)
    if flow == 0.0:
        return np.zeros(grid.r.size)
    # In proportion to the flow through each ring, over the volume of its w-cell.
    return np.asarray(missing * floor_w / (flow * grid.metric.dzc[1]))


def _from_disc(fog: Fog, disc: float, grid: Grid, flow: float) -> Sources:
    """Fog that leaves the gap under a disc at its rim: air [1/s] in the ring just outside, and its radial momentum.

    The disc takes all of the inlet's axial momentum; what leaves has the speed flow/(2 pi R gap) outward, evenly over
    the gap. The disc itself is thin and lies on the floor: it blocks nothing.
    """
    sources, m = Sources.none(grid), grid.metric
    ring = min(int(np.argmin(np.abs(grid.r_face - disc))), grid.r.size - 1)
    gap = min(fog.gap, grid.height)
    share = np.clip((gap - grid.z_face[:-1]) / np.diff(grid.z_face), 0.0, 1.0) * np.diff(grid.z_face) / gap
    sources.volume[:, ring] = share * flow / grid.volume[:, ring]
    # A volume per radian of the u-cells on both sides of the ring; on the axis there is none.
    faces = [i for i in (ring, ring + 1) if 0 < i < grid.r.size]
    speed = flow / (2.0 * np.pi * disc * gap)
    for i in faces:
        sources.radial_force[:, i] = share * flow * speed / len(faces) / (2.0 * np.pi * m.ac[i] * m.dz)
    return sources
