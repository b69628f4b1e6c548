"""Noise in air that turns as a solid body and moves along the axis, at the step that the solver chooses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swirlwright.solver.grid import Grid
from swirlwright.solver.state import State
from swirlwright.solver.transient import PHASE, Stepper
from swirlwright.verification.domains import laminar, walls

STEP, CELLS, DEPTH = 0.1, 8, 0.05  # [s], cells a radius, and of one cell [m]


@pytest.mark.parametrize("courant", [0.0, 0.25, 0.5, 0.75, 1.0, PHASE])
def test_noise_does_not_grow(courant: float) -> None:
    """Solid-body rotation carried along is an exact solution that is stable without viscosity (Rayleigh 1917, Proc. R.
    Soc. A 93:148): over 200 steps noise stays as small as it is, however the step is shared by turning and advection.
    """
    turn, w = 0.5 * (PHASE - courant) / STEP, courant * DEPTH / STEP
    grid = Grid(np.linspace(0.0, 1.0, CELLS + 1), DEPTH * np.arange(65))
    slip = {f"{end}_stress_{f}": 0.0 for end in ("bottom", "top") for f in "uv"}
    edges = walls(
        grid, side_v=turn, side_stress_w=0.0, bottom_w=w, bottom_v=turn * grid.r, top_w=w, top_v=turn * grid.r,
        blend_speed=1e-3 * w + 1e-12, **slip,
    )  # fmt: skip
    problem = laminar(grid, edges, 1e-5)
    stepper, rest = Stepper.of(problem), State.at_rest(problem)
    exact = replace(rest, v=np.tile(turn * grid.r, (64, 1)), w=np.full_like(rest.w, w))
    exact = stepper.with_pressure(exact)
    assert stepper.step_size(exact, 1.0) == pytest.approx(STEP, rel=0.1)
    noise = 1e-6 * np.random.default_rng(0).standard_normal(exact.v.shape)
    s = stepper.clean(replace(exact, v=exact.v + noise))
    for _ in range(200):
        s = stepper.advance(s, STEP)
    left = [np.sqrt(np.mean((getattr(s, f) - getattr(exact, f)) ** 2)) for f in "uvw"]
    assert max(left) < 2e-6
