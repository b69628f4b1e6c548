"""The flow kernels as plain Python: indices out of bounds raise there, and the compiled code must agree."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from swirlwright.solver.grid import Grid
from swirlwright.solver.state import MixingLength, Sources, State
from swirlwright.solver.transient import Stepper, SwirlBudget
from swirlwright.verification.domains import laminar, stretched_faces, walls


def marched() -> State:
    """Three steps of a tiny chamber that takes every branch: open side, exhaust, jets, mixing length."""
    grid = Grid(stretched_faces(1.0, 7, 0.3), stretched_faces(1.2, 6, 0.3))
    nz, nr = grid.shape
    is_open = grid.z < 0.6
    edges = walls(
        grid,
        side_kind=is_open.astype(int),
        side_open=0.5,
        side_in=0.5,
        side_out=1.0,
        bottom_w=0.01,
        top_kind=(grid.r < 0.5).astype(int),
        top_loss=0.3,
    )
    ones = np.ones((nz, nr))
    sources = Sources(0.05 * ones, 0.2 * ones, 0.1 * np.ones((nz, nr + 1)), 0.1 * np.ones((nz + 1, nr)))
    problem = laminar(grid, edges, 0.01, sources, exhaust_flow=0.3)
    closure = MixingLength(0.05 * ones, 0.01, 7.0, 2.0, 0.05)
    stepper = Stepper.of(replace(problem, closure=closure))
    s, budget = stepper.clean(State.at_rest(problem)), SwirlBudget.empty(problem)
    for _ in range(3):
        s = stepper.advance(s, 0.05, budget)
    return stepper.with_pressure(s)


def test_compiled_and_interpreted_kernels_agree(tmp_path):
    """Three steps of plain Python give the compiled fields to 1e-11 of the largest, without an error or a warning."""
    script = (
        "import sys, numpy as np, test_flow_interpreted as t; "
        "s = t.marched(); np.savez(sys.argv[1], u=s.u, v=s.v, w=s.w, p=s.p)"
    )
    here = Path(__file__).parent
    path = os.pathsep.join([str(here), str(here.parent)])
    out = tmp_path / "interpreted.npz"
    subprocess.run(
        [sys.executable, "-W", "error", "-c", script, str(out)],
        check=True,
        env={**os.environ, "NUMBA_DISABLE_JIT": "1", "PYTHONPATH": path},
    )
    compiled, interpreted = marched(), np.load(out)
    for name in ("u", "v", "w", "p"):
        one = getattr(compiled, name)
        assert np.abs(one).max() > 0.0
        assert np.abs(one - interpreted[name]).max() < 1e-11 * np.abs(one).max()
