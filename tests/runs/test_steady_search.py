"""The quick ways of the steady search beside the plain one: from a neighbour, and tested on a coarser grid."""

from pathlib import Path

import numpy as np
import pytest

from swirlwright.solver import steady_search
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.results import load_result
from swirlwright.solver.solve import solve

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
