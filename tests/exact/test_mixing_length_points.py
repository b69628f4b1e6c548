"""The damped mixing length at single points, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from swirlwright.solver.schema import Model
from swirlwright.verification.closures import SHEAR, damping

MODEL = Model()
BETA, CAP = MODEL.damping_beta, MODEL.unstable_cap


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
