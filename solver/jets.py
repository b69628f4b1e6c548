"""What the jets of drilled tubes bring into the axisymmetric flow: volume, momentum and torque per volume.

A jet keeps its plan: a straight chord past the axis at the moment arm d. Its momentum is handed to the air
evenly along the chord and, across it, as a Gaussian of a free round jet's half width. The average of that
over the angle is closed form in every ring, so torque and volume are exact in the discrete sum on any grid.
Derived in solver/README.md, section Jets.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from swirlwright.solver.curtain import curtain
from swirlwright.solver.jet_kernel import Chord, layer_shares, ring_shares, sample_chord

if TYPE_CHECKING:
    from swirlwright.solver.grid import Grid

Array = NDArray[np.float64]

# Half width over distance of a self-similar round jet: Panchapakesan and Lumley 1993, J. Fluid Mech. 246:197.
ROUND_JET_SPREAD = 0.096
# The momentum is handed over from here on: nearer, the jet's core is taken as untouched (a named assumption).
START_DIAMETERS = 3.0


@dataclass(frozen=True)
class Jets:
    """All holes of a case, one entry per hole, every array of shape (n_holes,).

    Attributes
    ----------
    tube, row : int arrays
        Which tube and which of its rows the hole belongs to, counted from 0.
    height, diameter : m
    radius : m
        Distance of the hole from the chamber's axis on the true plan.
    aim : rad
        Angle of the jet to the tangent at the hole, inward positive; beyond pi/2 the jet turns the other way.
    elevation : rad
        Angle of the jet above the horizontal.
    speed : m/s
    mass_flow : kg/s
    moment_arm : m
        radius * cos(aim); positive drives a counterclockwise swirl.
    """

    tube: NDArray[np.int64]
    row: NDArray[np.int64]
    height: Array
    diameter: Array
    radius: Array
    aim: Array
    elevation: Array
    speed: Array
    mass_flow: Array
    moment_arm: Array

    def __len__(self) -> int:
        return len(self.height)

    @property
    def torque(self) -> Array:
        """Torque of each hole's jet about the chamber's axis [N m]: m U d, with the horizontal part of U."""
        return self.mass_flow * self.speed * np.cos(self.elevation) * self.moment_arm


@dataclass(frozen=True)
class JetSources:
    """The jets as sources per volume on a grid (kinematic: over the density).

    Attributes
    ----------
    volume : (nz, nr), 1/s
        Air brought in, q. In the conservative form it carries no momentum: all of that is in the forces.
    torque : (nz, nr), m2/s2
    radial_force : (nz, nr + 1), m/s2, at the r-faces; 0 on the axis
    axial_force : (nz + 1, nr), m/s2, at the z-faces
    torque_delivered, torque_lost : N m
        Their sum is the jets' torque, to round-off.
    curtain_inner_edge : m
        Radius inside which the torque density (averaged over the height) is below a hundredth of its largest
        value; NaN where the jets make no torque.
    curtain_width : (nz,), m
        At each height, from the largest torque density inward to a hundredth of it.
    """

    volume: Array
    torque: Array
    radial_force: Array
    axial_force: Array
    torque_delivered: float
    torque_lost: float
    curtain_inner_edge: float
    curtain_width: Array

    def scaled(self, flow_factor: float) -> JetSources:
        """Return the sources with every hole's flow times `flow_factor` >= 0 [1], forces times its square."""
        force_factor = flow_factor**2
        return replace(
            self,
            volume=self.volume * flow_factor,
            torque=self.torque * force_factor,
            radial_force=self.radial_force * force_factor,
            axial_force=self.axial_force * force_factor,
            torque_delivered=self.torque_delivered * force_factor,
            torque_lost=self.torque_lost * force_factor,
        )


def deposit(
    jets: Jets, grid: Grid, *, density: float, spread: float = ROUND_JET_SPREAD, open_share: Array
) -> JetSources:
    """Spread the jets over the grid.

    Parameters
    ----------
    jets : Jets
    grid : Grid
        Its last r-face is the model radius, its first and last z-faces are floor and ceiling.
    density : float
        Of the air [kg/m3].
    spread : float
        Growth of the jet's half width with distance [1].
    open_share : (nz,)
        Share of the side's perimeter that is open at each height [1].

    Returns
    -------
    JetSources
        Second order where cells resolve the jet's width; torque and volume exact on any grid.
    """
    nz, nr = len(grid.z), len(grid.r)
    sums = _Sums(
        volume=np.zeros((nz, nr)),
        torque=np.zeros((nz, nr)),
        curtain=np.zeros((nz, nr)),
        radial=np.zeros((nz, nr + 1)),
        axial=np.zeros((nz + 1, nr)),
    )
    for group in _groups(jets, density):
        _add_volume(sums, group, grid, spread)
        _add_momentum(sums, group, grid, spread, open_share)
    ring = np.pi * np.diff(np.square(_dual_edges(grid.r, grid.r_face)))
    radial_force = sums.radial / (np.diff(grid.z_face)[:, None] * ring[None, :])
    radial_force[:, 0] = 0.0
    layer = np.diff(_dual_edges(grid.z, grid.z_face))
    axial_force = sums.axial / (layer[:, None] * (np.pi * np.diff(np.square(grid.r_face)))[None, :])
    edge, width = curtain(np.abs(sums.curtain) / grid.volume, grid)
    if not has_torque(jets):
        # No torque, no curtain: the jets' own half width stands in where a mixing length needs a width.
        edge, width = float("nan"), np.full(nz, _own_width(jets, spread))
    return JetSources(
        volume=sums.volume / grid.volume,
        torque=sums.torque / grid.volume,
        radial_force=radial_force,
        axial_force=axial_force,
        torque_delivered=density * float(sums.torque.sum()),
        torque_lost=density * sums.lost,
        curtain_inner_edge=edge,
        curtain_width=width,
    )


def has_torque(jets: Jets) -> bool:
    """Return whether the jets turn the air at all: aimed at the axis they do not, but for round-off."""
    largest = float((jets.mass_flow * jets.speed * jets.radius).sum())
    return bool(np.abs(jets.torque).sum() > 1e-12 * largest)


@dataclass
class _Sums:
    """Running sums per cell: volume [m3/s]; torque, and its part inside R [m5/s2]; forces [m4/s2]."""

    volume: Array
    torque: Array
    curtain: Array
    radial: Array
    axial: Array
    lost: float = 0.0


@dataclass(frozen=True)
class _Group:
    """Holes that look alike to the axisymmetric flow (the same row on every tube), taken together."""

    height: float
    diameter: float
    arm: float  # |d|
    turn: float  # +1 counterclockwise, -1 clockwise
    closest: float  # s0, distance along the chord to the closest approach
    elevation: float
    flow: float  # m3/s
    momentum: float  # sum of Q U, m4/s2


def _groups(jets: Jets, density: float) -> list[_Group]:
    """Gather holes of equal height, diameter, radius, aim and elevation, so that tubes share one kernel."""
    look = np.round(np.stack([jets.height, jets.diameter, jets.radius, jets.aim, jets.elevation], axis=1), 12)
    momentum = jets.mass_flow * jets.speed / density
    groups = []
    for key in np.unique(look, axis=0):
        mine = np.flatnonzero((look == key).all(axis=1) & (momentum > 0.0))
        if len(mine) == 0:
            continue
        total = float(momentum[mine].sum())
        # The momentum-weighted arm, not one hole's: the sum of the torques stays exact.
        arm = float((momentum[mine] * jets.moment_arm[mine]).sum()) / total
        first = mine[0]
        groups.append(
            _Group(
                height=float(jets.height[first]),
                diameter=float(jets.diameter[first]),
                arm=abs(arm),
                turn=float(np.sign(arm)),
                closest=float(jets.radius[first] * np.sin(jets.aim[first])),
                elevation=float(jets.elevation[first]),
                flow=float(jets.mass_flow[mine].sum()) / density,
                momentum=total,
            )
        )
    return groups


def _chord(group: _Group, grid: Grid, spread: float, start: float, stop: float, *, grows: bool) -> Chord:
    return sample_chord(
        height=group.height,
        diameter=group.diameter,
        closest=group.closest,
        elevation=group.elevation,
        start=start,
        stop=stop,
        spread=spread,
        grows=grows,
        floor=float(grid.z_face[0]),
        ceiling=float(grid.z_face[-1]),
    )


def _add_volume(sums: _Sums, group: _Group, grid: Grid, spread: float) -> None:
    """Let the group's air in over the first three diameters, as wide as the jet is at their end."""
    mouth = _chord(group, grid, spread, 0.0, START_DIAMETERS * group.diameter, grows=False)
    share, _ = ring_shares(mouth, group.arm, grid.r_face)
    share[:, -1] += 1.0 - share.sum(axis=1)
    sums.volume += group.flow / len(mouth.x) * (layer_shares(mouth, grid.z_face) @ share)


def _add_momentum(sums: _Sums, group: _Group, grid: Grid, spread: float, open_share: Array) -> None:
    """Hand the group's momentum over, evenly from three diameters to where the chord leaves the model."""
    start = START_DIAMETERS * group.diameter
    end = group.closest + np.sqrt(max(grid.r_face[-1] ** 2 - group.arm**2, 0.0))
    chord = _chord(group, grid, spread, start, max(end, start + group.diameter), grows=True)
    level = group.momentum * np.cos(group.elevation) / len(chord.x)
    layer = layer_shares(chord, grid.z_face)
    # Beyond the model radius: before the closest approach the jet has yet to come in (from a corner of a
    # square plan), so all of it goes to the outermost cell; after it the open share of the side lets it out
    # and the closed share stops it there.
    leaving = layer * open_share[:, None] * (chord.x > 0.0)
    share, moment = ring_shares(chord, group.arm, grid.r_face)
    share_beyond, moment_beyond = 1.0 - share.sum(axis=1), group.arm - moment.sum(axis=1)
    turn = group.turn * level
    inside = turn * (layer @ moment)
    sums.curtain += inside
    sums.torque += inside
    sums.torque[:, -1] += turn * ((layer - leaving) @ moment_beyond)
    sums.lost += turn * float((leaving @ moment_beyond).sum())
    sums.radial += level * (layer @ _radial_shares(chord, group.arm, grid))
    if group.elevation != 0.0:
        # Vertical momentum beyond the radius stays, whatever is open: a small part of a small part.
        share[:, -1] += share_beyond
        climb = group.momentum / len(chord.x) * chord.climb
        sums.axial += layer_shares(chord, _dual_edges(grid.z, grid.z_face)) @ (climb[:, None] * share)


def _radial_shares(chord: Chord, arm: float, grid: Grid) -> Array:
    """Radial part of each sample's force in the rings around the r-faces, (ns, nr + 1): inward, then out."""
    share, _ = ring_shares(chord, arm, _dual_edges(grid.r, grid.r_face))
    # What has yet to come in pushes on the outermost ring; what went beyond pushes on the wall or has left.
    share[:, -1] += np.where(chord.x < 0.0, 1.0 - share.sum(axis=1), 0.0)
    # On the axis the radial force vanishes by symmetry; half a cell keeps the division finite there.
    middle = np.maximum(grid.r_face, 0.5 * grid.r[0])
    return share * np.clip(chord.x[:, None] / middle, -1.0, 1.0)


def _dual_edges(centre: Array, face: Array) -> Array:
    """Edges of the cells around the faces: the first face, all centres, the last face."""
    return np.concatenate([face[:1], centre, face[-1:]])


def _own_width(jets: Jets, spread: float) -> float:
    """Return the momentum-weighted half width of the jets at their closest approach [m], 0 without jets."""
    momentum = jets.mass_flow * jets.speed
    if momentum.sum() <= 0.0:
        return 0.0
    half_width = spread * np.abs(jets.radius * np.sin(jets.aim)) + 0.5 * jets.diameter
    return float(np.average(half_width, weights=momentum))
