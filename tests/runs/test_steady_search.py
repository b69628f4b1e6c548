"""The quick ways of the steady search beside the plain one, and its test of stability beside eigenvalues."""

from pathlib import Path

import numpy as np
import pytest

from swirlwright.solver import stability, steady_search
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.flow import build_grid
from swirlwright.solver.march import Control
from swirlwright.solver.network import solve_network
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import SILENT
from swirlwright.solver.results import load_result
from swirlwright.solver.solve import solve
from swirlwright.solver.stability import stability_of
from swirlwright.solver.state import State
from swirlwright.solver.steady import EDDY_AGREEMENT, settled_eddy, solve_steady
from swirlwright.verification.end_wall import cylinder, rightmost

LABORATORY = Path(__file__).parents[2] / "cases" / "laboratory.toml"
SMALL = {"grid.cells_r": 32, "grid.cells_z": 32, "run.tolerance": 1e-8}


def laboratory(folder: Path, **changes):
    """The laboratory chamber on a small grid, with its file in `folder`."""
    path = folder / "laboratory.toml"
    path.write_text(LABORATORY.read_text())
    return vary(read_case(path), {**SMALL, **changes})


def test_a_neighbour_leads_to_the_same_steady_flow(tmp_path):
    """From the steady flow of another angle the search ends as from rest, in fewer steps, all on one grid."""
    solve(laboratory(tmp_path), tmp_path / "neighbour.h5")
    angle = {"inlet.angle": 16.0}
    solve(laboratory(tmp_path, **angle), tmp_path / "cold.h5")
    solve(laboratory(tmp_path, **angle, **{"run.start_from": "neighbour.h5"}), tmp_path / "warm.h5")
    cold, warm = load_result(tmp_path / "cold.h5"), load_result(tmp_path / "warm.h5")
    for name in ("radial_velocity", "tangential_velocity", "axial_velocity"):
        # The mean outlet speed is 1, so these are relative to it; the residual's tolerance is 1e-8.
        assert np.abs(cold.frames[name] - warm.frames[name]).max() < 1e-6
    assert len(warm.history["iteration"]) < len(cold.history["iteration"])
    assert set(warm.history["cells"]) == {32 * 32}


def test_stability_on_a_coarser_grid_says_so_and_agrees(tmp_path, monkeypatch):
    """Tested on half the cells a side the flow is as stable, at nearly the same rate, and the outcome tells where."""
    plain = solve(laboratory(tmp_path), tmp_path / "plain.h5")
    monkeypatch.setattr(steady_search, "MOST_TESTED", 20 * 20)
    coarse = solve(laboratory(tmp_path), tmp_path / "coarse.h5")
    assert plain.outcome is coarse.outcome is Outcome.STEADY
    assert "tested on" not in plain.text
    assert "tested on 16 x 16 cells" in coarse.text
    rates = [load_result(tmp_path / name).attributes["disturbance_growth_rate"] for name in ("plain.h5", "coarse.h5")]
    # A march of a random disturbance gives the rate of its slowest part within a fifth or so; grids differ as well.
    assert rates[1] == pytest.approx(rates[0], rel=0.3)


def test_stability_is_that_of_the_fastest_eigenvalue():
    """Below and above the onset at H/R 1.5 the test finds the Jacobian's fastest eigenvalue to 2e-4 and so its sign.

    Its period is 26 R/speed and it grows by two fifths at most in the 40 that one march lasts, so that a slope there
    gives either sign.
    """
    _, s = cylinder(1.5, 1000.0, 24)
    for reynolds in (2500.0, 3200.0):
        problem, s = cylinder(1.5, reynolds, 24, s)
        test = stability_of(problem, s, Control(), SILENT)
        assert test.by_modes
        assert test.is_stable is (reynolds < 2700.0)
        assert test.growth_rate == pytest.approx(rightmost(problem, s, 0.24j).real, abs=2e-4)


def test_modes_that_are_not_found_make_no_state_stable(monkeypatch):
    """Where the eigenvalues do not converge, a flow whose disturbances decay is not called stable, and says why."""
    monkeypatch.setattr(stability, "RESTARTS", 1)
    monkeypatch.setattr(stability, "RELATIVE_ERROR", 1e-300)
    problem, s = cylinder(1.0, 500.0, 10)
    test = stability_of(problem, s, Control(), SILENT)
    assert not test.is_stable
    assert "could not be told apart" in test.text


def test_the_eddy_viscosity_is_as_steady_as_the_flow(tmp_path):
    """With spalart-allmaras nu~ keeps to 1e-3 in the flow found, and a disturbance dies out beside that drift."""
    case = laboratory(
        tmp_path, **{"grid.cells_r": 16, "grid.cells_z": 16, "model.closure": "spalart-allmaras"},
        **{"air.kinematic_viscosity": 0.002},
    )  # fmt: skip
    problem = Chamber.of(case, build_grid(case), solve_network(case)).problem
    start = solve_steady(problem, State.at_rest(problem), tolerance=1e-8, max_iterations=80)
    assert start.is_converged
    settled = settled_eddy(problem, start.state).eddy
    assert settled.max() > 3.0 * problem.molecular
    assert np.abs(settled - start.state.eddy).max() < EDDY_AGREEMENT * settled.max()
    test = stability_of(problem, start.state, Control(), SILENT)
    assert test.is_stable
    assert not test.by_modes
