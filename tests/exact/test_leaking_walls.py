"""Air drawn in through narrow gaps: the chamber's pressure is what the law of the gaps asks, at every step."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.flow import build_grid
from swirlwright.solver.network import solve_network
from swirlwright.solver.state import State
from swirlwright.solver.transient import Stepper

CASES = Path(__file__).parents[2] / "cases"
LEAKS = {
    "grid.cells_r": 16, "grid.cells_z": 24, "grid.core_spacing": None, "chamber.open_sides": (),
    "chamber.side_opening": None, "exhaust.fan": None, "exhaust.fan_speed_ratio": None, "exhaust.flow": 6e-3,
}  # fmt: skip


@pytest.mark.parametrize("area", [20e-4, 5e-4])
def test_gaps_keep_their_law_at_the_solvers_own_step(area):
    """Pressure beside the gaps is -(1 + K_in) rho/2 (Q/A)^2 within 3 per cent, the step's and the field's own alike.

    Q is the exhaust flow less what the jets bring in; the handbook's sharp-edged opening, K_in 0.5 (Idelchik, from
    memory). Metres per second through the gaps, millimetres per second as a mean over the side.
    """
    case = vary(read_case(CASES / "table-top.toml"), {**LEAKS, "chamber.leak_area": area, "fog": None})
    problem = Chamber.of(case, build_grid(case), solve_network(case)).problem
    stepper = Stepper.of(problem)
    s = stepper.clean(State.at_rest(problem))
    while s.time < 0.5:
        s = stepper.advance(s, stepper.step_size(s, 0.01))
    flow = 6e-3 - float((problem.sources.volume * problem.grid.volume).sum())
    law = -1.5 / 2 * (flow / area) ** 2
    weight = np.diff(problem.grid.z_face)
    for field in (s, stepper.with_pressure(s)):
        assert np.average(field.p[:, -1], weights=weight) == pytest.approx(law, rel=0.03)
    assert np.abs(s.u[:, -1] / problem.edges.side_open).max() < 1.1 * flow / area
