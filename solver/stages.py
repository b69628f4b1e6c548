"""Coefficients of the step in time: a linearly implicit method (W-method) of three stages.

Its explicit part is the third-order Runge-Kutta method of Ralston (1962, Math. Comput. 16:431), under which
oscillations that only the explicit part sees (advection; inertial waves, frequency twice v/r at the axis; waves of the
fog's weight) are damped up to a phase of 1.73 radians a step, all of them together, by y^4/24 at phase y. Its order is
two whatever the implicit operator (order conditions of W-methods: Steihaug and Wolfbrandt 1979, Math. Comput. 33:521).
The free coefficients are ours, chosen to hold three linear model problems from growing and no stage from overshooting
in stiff decay: diffusion factorised by direction beside an explicit phase; the same where the operator holds only a
half or a third of the diffusion, as with viscosities that grow with the strain; and a scalar whose advection in both
directions is in the operator. Advection of momentum is not: in the factorised operator it grows beside turning, at
phase 1.4 by 1.16 a step, and no free coefficient mends it.
`tests/exact/test_stages.py` checks orders and growth.
"""

from __future__ import annotations

import numpy as np

# k_i = step F(y + sum ALPHA_ij k_j) + step A sum GAMMA_ij k_j;  new y = y + sum WEIGHTS_i k_i.
ALPHA = np.array([[0.0, 0.0, 0.0], [0.5, 0.0, 0.0], [0.0, 0.75, 0.0]])
WEIGHTS = np.array([2.0, 3.0, 4.0]) / 9.0
IMPLICIT = 0.6
GAMMA = np.array([[IMPLICIT, 0.0, 0.0], [-0.05, IMPLICIT, 0.0], [0.4375, -1.75, IMPLICIT]])
NODES = ALPHA.sum(axis=1)

# The same in increments K = sum (GAMMA/IMPLICIT) k, which need no products with A:
# (1 - IMPLICIT step A) K_i = step F(y + sum TO_STAGE_ij K_j) + sum EARLIER_ij K_j;  new y = y + sum TO_END_i K_i.
_TO_K = IMPLICIT * np.linalg.inv(GAMMA)
TO_STAGE = ALPHA @ _TO_K
EARLIER = np.identity(3) - _TO_K
TO_END = WEIGHTS @ _TO_K
# Row n: how the increments so far make the state after stage n.
AFTER = np.vstack((TO_STAGE[1:], TO_END))
