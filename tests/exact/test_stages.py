"""The step's coefficients: order conditions of W-methods, and growth in linear model problems."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from swirlwright.solver.stages import AFTER, ALPHA, EARLIER, GAMMA, IMPLICIT, NODES, TO_STAGE, WEIGHTS
from swirlwright.solver.transient import PHASE

# Diffusion over a step, h nu k^2, from none to stiff.
DECAY = -np.array([0.0, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 1e3])


def growth(rate: complex, along_r: complex, along_z: complex) -> float:
    """Factor of one step on dy/dt = rate y; the operator is (1 - t along_r)(1 - t along_z), all times the step."""
    kept: list[complex] = []
    pivot = (1.0 - IMPLICIT * along_r) * (1.0 - IMPLICIT * along_z)
    for stage in range(3):
        y = 1.0 + sum(TO_STAGE[stage, j] * k for j, k in enumerate(kept))
        kept.append((rate * y + sum(EARLIER[stage, j] * k for j, k in enumerate(kept))) / pivot)
    return float(abs(1.0 + sum(AFTER[-1, j] * k for j, k in enumerate(kept))))


def test_second_order_for_any_operator() -> None:
    """b.e = 1, b.c = 1/2 and b.Gamma e = 0 (Steihaug and Wolfbrandt 1979, Math. Comput. 33:521)."""
    found = [WEIGHTS.sum(), WEIGHTS @ NODES, WEIGHTS @ GAMMA.sum(axis=1)]
    assert found == pytest.approx([1.0, 1.0 / 2.0, 0.0], abs=1e-14)


def test_explicit_part_is_of_third_order() -> None:
    """b.c^2 = 1/3 and b.A c = 1/6 (Hairer, Norsett and Wanner 1993, Solving ODEs I, table II.2.2)."""
    found = [WEIGHTS @ NODES**2, WEIGHTS @ ALPHA @ NODES]
    assert found == pytest.approx([1.0 / 3.0, 1.0 / 6.0], abs=1e-14)


@pytest.mark.parametrize("phase", [0.2, 0.7, 1.4, 1.7])
def test_explicit_turning_follows_the_third_order_polynomial(phase: float) -> None:
    """Its factor is that of 1 + z + z^2/2 + z^3/6 on the imaginary axis, below 1 up to the root of 3."""
    assert growth(1j * phase, 0.0, 0.0) ** 2 == pytest.approx(1.0 - phase**4 / 12.0 + phase**6 / 36.0, abs=1e-12)


@pytest.mark.parametrize("share", [0.5, 1.0, 1.5, 2.0, 3.0])
def test_diffusion_and_explicit_phases_do_not_grow(share: float) -> None:
    """Not with any two diffusions along r and z, nor where the operator holds 1/share of them, nor with advection and
    turning beside them, all explicit, up to the phase that a step may have.
    """
    for one, other, phase in product(DECAY, DECAY, (0.0, 0.5, 1.0, PHASE)):
        assert growth(share * (one + other) + 1j * phase, one, other) <= 1.0 + 1e-12


def test_implicit_advection_of_a_scalar_does_not_grow() -> None:
    """Up to the phase that a step may have, shared by both directions, beside any diffusion: fog and nu~."""
    phases = PHASE * np.array([-1.0, -0.7, -0.5, -0.3, 0.0, 0.3, 0.5, 0.7, 1.0])
    for one, other, across, along in product(DECAY, DECAY, phases, phases):
        if abs(across) + abs(along) <= PHASE:
            assert growth(one + other + 1j * (across + along), one + 1j * across, other + 1j * along) <= 1.0 + 1e-12
