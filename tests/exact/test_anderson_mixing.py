"""Anderson mixing on a fixed point that is known."""

from __future__ import annotations

import numpy as np

from swirlwright.solver.steady import AndersonMixing


def test_a_linear_fixed_point_is_found_in_as_many_rounds_as_it_has_unknowns() -> None:
    """On x = M x + b with n unknowns, memory n and a slow M, numpy's answer is there after n + 2 rounds."""
    rng = np.random.default_rng(3)
    n = 4
    basis, _ = np.linalg.qr(rng.standard_normal((n, n)))
    matrix = basis @ np.diag([0.99, -0.9, 0.7, 0.2]) @ basis.T
    offset = rng.standard_normal(n)
    mixing, x = AndersonMixing(n), np.zeros((2, 2))
    for _ in range(n + 2):
        x = mixing.next(x, (matrix @ x.ravel() + offset).reshape(2, 2))
    answer = np.linalg.solve(np.eye(n) - matrix, offset).reshape(2, 2)
    assert np.abs(x - answer).max() < 1e-8 * np.abs(answer).max()
