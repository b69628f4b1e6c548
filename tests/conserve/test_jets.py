"""Do the jets bring in exactly the torque and the air they carry, on any grid, and where they should?"""

import numpy as np
import pytest

from swirlwright.solver.grid import Grid
from swirlwright.solver.jets import Jets, JetSources, deposit

DENSITY = 1.2
RADIUS, HEIGHT = 0.2, 0.6
GRIDS = [(16, 24), (33, 47), (64, 96)]


def stretched_grid(cells_r: int, cells_z: int) -> Grid:
    """Cells grow outward fivefold and shrink towards the floor."""
    x, y = np.linspace(0.0, 1.0, cells_r + 1), np.linspace(0.0, 1.0, cells_z + 1)
    return Grid(RADIUS * (x + 2.0 * x**2) / 3.0, HEIGHT * (y + y**2) / 2.0)


def four_tubes(aim: float, *, elevation: float = 0.0, place: float = 0.21, diameter: float = 0.005) -> Jets:
    """Four tubes of five holes; at 0.21 m they stand outside the model's radius, as corners of a square box do."""
    heights = np.tile([0.02, 0.15, 0.3, 0.45, 0.58], 4)
    one = np.ones_like(heights)
    speed = 9.0 + heights
    return Jets(
        tube=np.repeat(np.arange(4), 5),
        row=np.zeros(20, dtype=np.int64),
        height=heights,
        diameter=diameter * one,
        radius=place * one,
        aim=aim * one,
        elevation=elevation * one,
        speed=speed,
        mass_flow=DENSITY * 0.62 * np.pi / 4 * diameter**2 * speed,
        moment_arm=place * np.cos(aim) * one,
    )


def deposited(jets: Jets, grid: Grid, open_share: float = 0.0) -> JetSources:
    return deposit(jets, grid, density=DENSITY, open_share=np.full(len(grid.z), open_share))


@pytest.mark.parametrize("cells", GRIDS)
@pytest.mark.parametrize("open_share", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("elevation", [0.0, 0.25, -0.3])
def test_torque_delivered_and_lost_is_the_sum_of_m_u_d(cells, open_share, elevation):
    """Torque times volume over all cells, plus what leaves, is the sum of m U d to round-off on any grid."""
    jets, grid = four_tubes(0.8, elevation=elevation), stretched_grid(*cells)
    sources = deposited(jets, grid, open_share)
    arm = 0.21 * np.cos(0.8)
    expected = float((jets.mass_flow * jets.speed).sum()) * arm * np.cos(elevation)
    in_cells = DENSITY * float((sources.torque * grid.volume).sum())
    # 1e-13: some thousand additions of positive numbers, 1e-16 each.
    assert in_cells == pytest.approx(sources.torque_delivered, rel=1e-13)
    assert in_cells + sources.torque_lost == pytest.approx(expected, rel=1e-13)
    assert (sources.torque_lost > 0.0) == (open_share > 0.0)


@pytest.mark.parametrize("cells", GRIDS)
@pytest.mark.parametrize("place", [0.21, 0.15])
def test_all_air_of_the_jets_enters_near_the_holes(cells, place):
    """The volume source is the jets' volume to round-off, and eight hole diameters inside the hole there is none."""
    jets, grid = four_tubes(0.8, place=place), stretched_grid(*cells)
    sources = deposited(jets, grid)
    expected = float(jets.mass_flow.sum()) / DENSITY
    assert float((sources.volume * grid.volume).sum()) == pytest.approx(expected, rel=1e-13)
    far = grid.r_face[1:] < min(place, RADIUS) - 8 * 0.005
    # Three diameters of mouth, and seven standard deviations of it beyond: 1e-11 of the air is more than is
    # there.
    assert float((sources.volume * grid.volume)[:, far].sum()) < 1e-11 * expected


def test_reversed_jets_are_the_mirror_image():
    """Aim pi - beta turns the torque's sign and leaves everything else as it is, to 1e-12."""
    grid = stretched_grid(33, 47)
    one, other = (deposited(four_tubes(aim), grid, 0.5) for aim in (0.8, np.pi - 0.8))
    # 1e-12 of the largest value: aim and its supplement differ in their last digit.
    for name, sign in (("torque", -1), ("volume", 1), ("radial_force", 1)):
        a, b = getattr(one, name), getattr(other, name)
        np.testing.assert_allclose(b, sign * a, rtol=0, atol=1e-12 * np.abs(a).max())
    assert other.torque_lost == pytest.approx(-one.torque_lost, rel=1e-12)
    assert other.curtain_inner_edge == pytest.approx(one.curtain_inner_edge, rel=1e-12)


def test_jets_aimed_at_the_axis_make_no_torque():
    """With a moment arm of 0 the torque is exactly 0 in every cell, delivered and lost, and there is no curtain."""
    grid = stretched_grid(33, 47)
    jets = four_tubes(np.pi / 2)
    jets.moment_arm[:] = 0.0
    sources = deposited(jets, grid, 0.5)
    assert not sources.torque.any()
    assert sources.torque_delivered == sources.torque_lost == 0.0
    assert np.isnan(sources.curtain_inner_edge)
    assert sources.radial_force.min() < 0.0 < sources.radial_force.max()


def test_leaning_jets_bring_in_their_vertical_momentum():
    """Jets that meet neither floor nor ceiling bring in the sum of m U sin(elevation) / rho, to 1e-12."""
    grid = stretched_grid(33, 47)
    jets = four_tubes(0.8, elevation=0.1)
    jets.height[:] = 0.3
    sources = deposited(jets, grid)
    layer = np.diff(np.concatenate(([0.0], grid.z, [HEIGHT])))
    ring = np.pi * np.diff(grid.r_face**2)
    total = float((sources.axial_force * layer[:, None] * ring).sum())
    expected = float((jets.mass_flow * jets.speed).sum()) * np.sin(0.1) / DENSITY
    assert total == pytest.approx(expected, rel=1e-12)


def sprayed(edges: np.ndarray, place: float, aim: float) -> tuple[np.ndarray, np.ndarray]:
    """Torque over momentum [m] and radial share of the momentum of a jet's points in rings between the edges.

    A jet by brute force in Cartesian coordinates, sharing no formula with the kernel: 3000 points along the
    chord, 801 across it. What lies beyond the last edge is left out.
    """
    arm, closest = place * np.cos(aim), place * np.sin(aim)
    end = closest + np.sqrt(RADIUS**2 - arm**2)
    s = 0.015 + (end - 0.015) * (np.arange(3000) + 0.5) / 3000
    sigma = (0.096 * s + 0.0025) / np.sqrt(2 * np.log(2))
    across = np.linspace(-6, 6, 801)
    weight = np.exp(-(across**2) / 2) / np.exp(-(across**2) / 2).sum() / len(s)
    x = (s - closest)[:, None] + 0 * across
    y = arm + sigma[:, None] * across
    r = np.hypot(x, y)
    ring = np.searchsorted(edges, r.ravel()) - 1
    kept = ring < len(edges) - 1
    return tuple(
        np.bincount(ring[kept], value.ravel()[kept], minlength=len(edges) - 1) for value in (y * weight, x / r * weight)
    )


def test_torque_falls_where_a_straight_jet_puts_it():
    """Ring by ring the torque is that of points sprayed along the chord and across it, to 2e-3 of the largest."""
    grid, jets = stretched_grid(16, 24), four_tubes(0.8, place=0.19)
    expected, _ = sprayed(grid.r_face, 0.19, 0.8)
    computed = DENSITY * (deposited(jets, grid).torque * grid.volume).sum(axis=0)
    computed /= float((jets.mass_flow * jets.speed).sum())
    # 3000 x 801 points in 16 rings: steps of one part in a thousand where a ring's edge cuts between them.
    # The last ring also takes what a closed side stops.
    np.testing.assert_allclose(computed[:-1], expected[:-1], rtol=0, atol=2e-3 * expected.max())


def test_radial_force_follows_the_chord():
    """Ring by ring the radial force is that of the sprayed points: inward before the closest approach, then out."""
    grid, jets = stretched_grid(64, 96), four_tubes(0.8, place=0.19)
    edges = np.concatenate(([0.0], grid.r, [RADIUS]))
    _, expected = sprayed(edges, 0.19, 0.8)
    force = deposited(jets, grid).radial_force * np.diff(grid.z_face)[:, None] * np.pi * np.diff(edges**2)
    computed = DENSITY * force.sum(axis=0) / float((jets.mass_flow * jets.speed).sum())
    assert np.all(force[:, 0] == 0.0)
    # 2 per cent of the largest: the direction is taken at each ring's face, one value for the ring.
    np.testing.assert_allclose(computed[1:-1], expected[1:-1], rtol=0, atol=0.02 * np.abs(expected).max())


@pytest.mark.parametrize("cells", GRIDS)
def test_curtain_edge_does_not_hang_on_the_grid(cells):
    """The curtain's inner edge moves by less than 3 per cent over the grids, and lies inside the moment arm."""
    sources = deposited(four_tubes(0.8), stretched_grid(*cells))
    # SNAPSHOT of the finest grid; the coarsest has cells of 10 mm there, its interpolation a few per cent
    # of r.
    assert sources.curtain_inner_edge == pytest.approx(FINE_EDGE, rel=0.03)
    assert sources.curtain_inner_edge < 0.21 * np.cos(0.8)
    assert np.all(sources.curtain_width > 0.0)


FINE_EDGE = deposited(four_tubes(0.8), stretched_grid(128, 96)).curtain_inner_edge


def test_half_the_supply_is_a_quarter_of_the_force():
    """Scaling the flow by 1/2 halves the volume and quarters torque and forces, as halved holes' speeds do."""
    grid = stretched_grid(16, 24)
    jets = four_tubes(0.8, elevation=0.1)
    half = deposited(jets, grid, 0.5).scaled(0.5)
    jets.speed[:] *= 0.5
    jets.mass_flow[:] *= 0.5
    direct = deposited(jets, grid, 0.5)
    for name in ("volume", "torque", "radial_force", "axial_force", "torque_delivered", "torque_lost"):
        np.testing.assert_allclose(getattr(half, name), getattr(direct, name), rtol=1e-13)


def test_no_jets_bring_nothing():
    """Without holes every source is 0."""
    none = np.zeros(0)
    count = np.zeros(0, dtype=np.int64)
    jets = Jets(count, count, none, none, none, none, none, none, none, none)
    sources = deposited(jets, stretched_grid(16, 24), 0.5)
    assert not sources.volume.any() and not sources.torque.any() and not sources.radial_force.any()
