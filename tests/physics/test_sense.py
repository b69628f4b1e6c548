"""Does the chamber behave as physics says it must? Coarse grids, whole chain from case to field."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import swirlwright
from swirlwright.postproc.measures import Measures
from swirlwright.solver.casefile import vary
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.flow import build_grid
from swirlwright.solver.network import solve_network
from swirlwright.solver.results import load_result
from swirlwright.solver.state import State
from swirlwright.solver.transient import Stepper

CASES = Path(__file__).parents[2] / "cases"
COARSE = {"grid.cells_r": 24, "grid.cells_z": 36, "grid.core_spacing": None}
AIM = "tubes.1.rows.1.aim"


def chamber(changes: dict[str, Any]) -> Chamber:
    """The table-top chamber on a coarse grid with some keys changed."""
    case = vary(swirlwright.read_case(CASES / "table-top.toml"), {**COARSE, **changes})
    return Chamber.of(case, build_grid(case), solve_network(case))


def after(changes: dict[str, Any], steps: int, step: float = 2e-3) -> tuple[Chamber, State]:
    """The flow after a number of equal steps from rest."""
    made = chamber(changes)
    stepper = Stepper.of(made.problem)
    s = stepper.clean(State.at_rest(made.problem))
    for _ in range(steps):
        s = stepper.advance(s, step)
    return made, s


def test_jets_aimed_at_the_axis_make_no_vortex():
    """With every jet aimed at the axis no swirl appears, to round-off of the jets' speed."""
    made, s = after({AIM: 90}, 200)
    assert np.abs(s.v).max() < 1e-12 * made.network.jets.speed.max()
    assert np.abs(s.u).max() > 0.1


def test_reversed_jets_mirror_the_swirl():
    """Jets turned the other way give the same flow with v reversed, to 1e-12 of the largest speed (laminar)."""
    _, one = after({AIM: 50, "model.closure": "laminar"}, 200, 1e-3)
    _, other = after({AIM: 130, "model.closure": "laminar"}, 200, 1e-3)
    scale = np.abs(one.v).max()
    assert scale > 0.05
    assert np.abs(one.v + other.v).max() < 1e-12 * scale
    assert np.abs(one.u - other.u).max() < 1e-12 * np.abs(one.u).max()
    assert np.abs(one.w - other.w).max() < 1e-12 * np.abs(one.w).max()


def test_more_jet_momentum_gives_more_circulation():
    """Angular momentum in the chamber grows by over a tenth with each doubling of the supply pressure, twice."""
    content = []
    for pressure in (15, 30, 60):
        made, s = after({"supply.fans": (), "supply.pressure": pressure}, 1500)
        content.append(float((made.problem.grid.volume * made.problem.grid.r * s.v).sum()))
    assert content[0] > 0
    assert content[1] > 1.1 * content[0]
    assert content[2] > 1.1 * content[1]


@pytest.fixture(scope="module")
def without_exhaust(tmp_path_factory) -> Measures:
    """Measures of the table-top chamber with open sides and next to no exhaust flow."""
    path = tmp_path_factory.mktemp("sense") / "run.h5"
    case = vary(
        swirlwright.read_case(CASES / "table-top.toml"),
        {**COARSE, "exhaust.fan": None, "exhaust.fan_speed_ratio": None, "exhaust.flow": 1e-5, "fog": None,
         "run.spin_up": 8.0, "run.average": 8.0, "run.max_iterations": 5},
    )  # fmt: skip
    swirlwright.solve(case, path)
    return swirlwright.measure(path)


def test_without_exhaust_flow_no_column_reaches_the_ceiling(without_exhaust):
    """Without exhaust flow no column spans the chamber, none stands at any time, and the curtain is the fastest."""
    found = without_exhaust
    assert found.as_json()["structure"] != "to the floor"
    core, around = found.field.max_tangential_velocity or 0.0, found.field.curtain_tangential_velocity
    assert core < around
    assert found.verdict.touchdown == "no"


def test_without_exhaust_flow_no_column_stands_at_any_instant(without_exhaust):
    """Without exhaust flow the measures call the touchdown no: less than a tenth of the time."""
    assert without_exhaust.as_json()["touchdown"] == "no"


def test_a_lower_viscosity_gives_a_thinner_core(tmp_path):
    """In the steady single-celled laboratory chamber the core shrinks as viscosity falls, at each of three steps."""
    radii = []
    for viscosity in (0.02, 0.01, 0.005):
        case = vary(
            swirlwright.read_case(CASES / "laboratory.toml"),
            {"air.kinematic_viscosity": viscosity, "inlet.angle": 5.0},
        )
        result = swirlwright.solve(case, tmp_path / "run.h5")
        assert result.outcome.label == "steady"
        data = load_result(tmp_path / "run.h5")
        middle = data.frames["tangential_velocity"][0][data.z.size // 2]
        assert (data.frames["axial_velocity"][0][:, 0] > 0).all()
        radii.append(float(data.r[np.argmax(middle)]))
    assert radii[0] > radii[1] > radii[2]


@pytest.mark.slow
def test_at_twenty_times_the_viscosity_the_column_does_not_stand(tmp_path):
    """With twenty times molecular viscosity the touchdown is no: less than a tenth of the time (coarse grid).

    A core comes down a third of the time, three times as wide, and is gone before it has turned once.
    """
    changes = {**COARSE, "model.closure": "constant", "model.viscosity_ratio": 20, "run.average": 90.0}
    swirlwright.solve(vary(swirlwright.read_case(CASES / "table-top.toml"), changes), tmp_path / "run.h5")
    found = swirlwright.measure(tmp_path / "run.h5")
    assert found.verdict.touchdown == "no"
    assert found.verdict.share_to_floor > 0.1
