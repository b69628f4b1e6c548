"""The damped mixing length at single points, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from swirlwright.solver.grid import Grid
from swirlwright.solver.state import MixingLength, State
from swirlwright.verification.domains import laminar, stretched_faces, walls

LENGTH, BETA, CAP, NU0 = 0.05, 7.0, 2.0, 1e-5
SHEAR = 3.0


def damping(spin: float, power: int) -> tuple[np.ndarray, np.ndarray]:
    """Length over undamped length, and Ri, mid-domain, for w = SHEAR r and v = spin r**power."""
    grid = Grid(stretched_faces(1.0, 64, 0.2), stretched_faces(1.0, 8, 0.2))
    problem = laminar(grid, walls(grid), NU0)
    s = State.at_rest(problem)
    swirl = spin * grid.r**power
    s = State(s.u, np.tile(swirl, (8, 1)), np.tile(SHEAR * grid.r, (9, 1)), s.p)
    nu = MixingLength(np.full(grid.shape, LENGTH), NU0, BETA, CAP, 0.0).of(s.u, s.v, s.w, grid, problem.edges)
    inside = slice(20, 50)
    r = grid.r[inside]
    strain2 = SHEAR**2 + ((power - 1) * spin * r ** (power - 1)) ** 2
    ri = 2.0 * (power + 1) * spin**2 * r ** (2 * power - 2) / strain2
    length = np.sqrt((nu[4, 1:-1][inside] - NU0) / np.sqrt(strain2))
    return length / LENGTH, ri


@pytest.mark.parametrize(("spin", "power"), [(0.05, 1), (-0.05, 1), (0.05, 2), (0.01, -2)])
def test_length_follows_bradshaw_for_weak_rotation(spin, power):
    """For small Ri of either sign the length is l0 (1 - 7 Ri), but for a remainder of (7 Ri)^2.

    P. Bradshaw, The analogy between streamline curvature and buoyancy in turbulent shear flow, J. Fluid Mech. 36
    (1969) 177; beta = 7 from memory. Second differences of v add 1e-4 on this grid.
    """
    ratio, ri = damping(spin, power)
    assert np.all(np.abs(BETA * ri) < 0.15)
    assert np.all(np.abs(ratio - (1.0 - BETA * ri)) <= (BETA * ri) ** 2 + 1e-4)
    assert np.all((ratio - 1.0) * ri < 0.0)


def test_strong_rotation_leaves_the_air_laminar():
    """In solid-body rotation fifty times faster than the shear the eddy viscosity is below a millionth of undamped."""
    ratio, _ = damping(50.0 * SHEAR, 1)
    assert np.all(ratio**2 < 1e-6)


def test_unstable_rotation_stays_below_the_cap():
    """Where rv falls outward the length grows, at most to the cap times l0."""
    ratio, ri = damping(1.0, -2)
    assert np.all(ri < 0.0)
    assert np.all((ratio > 1.0) & (ratio <= CAP))
