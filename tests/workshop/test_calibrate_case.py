"""`calibrate` on cases: the quick network, a small solved flow, the file it leaves, the command."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from swirlwright.cli import main
from swirlwright.postproc.measured.calibrate import Calibration, calibrate
from swirlwright.postproc.measured.calibrate_file import write_calibrated
from swirlwright.postproc.measured.compare import compare
from swirlwright.postproc.measured.models import BOUNDS, changes_of, constants_of
from swirlwright.postproc.measured.points import Point
from swirlwright.postproc.measured.values import computed_at
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.errors import InputError
from swirlwright.solver.network import solve_network
from swirlwright.solver.result_reading import load_result
from swirlwright.solver.schema import Case
from swirlwright.solver.solve import solve

CASES = Path(__file__).parents[2] / "cases"
TRUE_DISCHARGE, TRUE_RATIO = 0.7, 3.0
# A Burgers vortex on a few cells: a steady run of about half a second.
TINY = {
    "model.closure": "constant", "model.viscosity_ratio": TRUE_RATIO, "grid.cells_r": 16, "grid.cells_z": 8,
    "grid.core_spacing": None,
}  # fmt: skip


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder, with the table-top case, its fans, and what its network would show at another discharge."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    shutil.copy(CASES / "table-top.toml", tmp_path)
    monkeypatch.chdir(tmp_path)
    true = vary(read_case("table-top.toml"), {"tubes.1.rows.1.discharge_coefficient": TRUE_DISCHARGE})
    network = solve_network(true)
    rows = [
        "quantity,height [mm],value,uncertainty",
        f"supply flow,,{network.supply_flow!r} m3/s,1 %",
        f"tube pressure,,{network.plenum_pressure!r} Pa,0.3 Pa",
    ]
    (tmp_path / "network.csv").write_text("\n".join(rows), encoding="utf-8")
    return tmp_path


def test_the_network_alone_determines_the_discharge(workshop: Path):
    """Flow and pressure of the tubes give the discharge coefficient back; no flow is solved, the rest is left."""
    found = calibrate(read_case("table-top.toml"), "network.csv", "runs")
    assert found.values == pytest.approx({"discharge_coefficient": TRUE_DISCHARGE}, rel=1e-4)
    assert {held.constant.name for held in found.held} == {"inflow_loss", "length_constant"}
    assert (found.runs, found.folder, Path("runs").exists()) == (0, None, False)


def test_the_calibrated_case_names_its_data(workshop: Path, capsys):
    """File, SHA-256, date and interval stand in comments, the source in its key; `check` reads it; others are kept."""
    assert main(["calibrate", "table-top.toml", "network.csv", "--json"]) == 0
    streams = capsys.readouterr()
    found = json.loads(streams.out)
    assert found["constants"]["tubes.1.rows.1.discharge_coefficient"]["value"] == pytest.approx(0.7, rel=1e-4)
    assert "calibrated case: table-top-calibrated.toml" in streams.err
    text = (workshop / "table-top-calibrated.toml").read_text(encoding="utf-8")
    assert text.startswith("# Calibrated by swirlwright from table-top.toml on 20")
    assert hashlib.sha256((workshop / "network.csv").read_bytes()).hexdigest() in text
    assert "95 % interval" in text
    case = read_case("table-top-calibrated.toml")
    row = case.tubes[0].rows[0]
    assert row.discharge_coefficient == pytest.approx(0.7, rel=1e-4)
    assert row.discharge_source.startswith("fitted to network.csv, 95 % interval")
    assert case.model_dump(exclude={"tubes"}) == read_case("table-top.toml").model_dump(exclude={"tubes"})
    assert main(["calibrate", "table-top.toml", "network.csv", "--quiet"]) == 0
    (workshop / "mine.toml").write_text("mine")
    for output in ("mine.toml", "table-top.toml", "network.csv"):
        assert main(["calibrate", "table-top.toml", "network.csv", "--output", output]) == 2
    assert (workshop / "mine.toml").read_text() == "mine"


def test_data_that_determine_nothing_leave_no_case(workshop: Path, capsys):
    """A tube pressure that is hardly known: status 1, every constant named with its reason, no file."""
    (workshop / "poor.csv").write_text("quantity,value,uncertainty\ntube pressure,50 Pa,20 Pa\n")
    assert main(["calibrate", "table-top.toml", "poor.csv"]) == 1
    streams = capsys.readouterr()
    assert "The data determine none of the constants" in streams.out
    assert streams.out.count("left as it is") == 3
    assert not (workshop / "table-top-calibrated.toml").exists()


def test_rows_that_differ_keep_their_ratio(workshop: Path):
    """One coefficient is fitted for all rows; none of them may pass 1."""
    case = read_case("table-top.toml")
    rows = [case.tubes[0].rows[0].model_dump(mode="json", exclude_unset=True) for _ in range(2)]
    rows[0] |= {"heights": [0.1], "lowest": None, "pitch": None, "count": None}
    rows[1] |= {"heights": [0.2], "lowest": None, "pitch": None, "count": None, "discharge_coefficient": 0.775}
    two = vary(case, {"tubes.1.rows": [{k: v for k, v in row.items() if v is not None} for row in rows]})
    (discharge,) = [c for c in constants_of(two) if c.name == "discharge_coefficient"]
    assert discharge.high == pytest.approx(0.8)
    changed = changes_of(two, {"discharge_coefficient": 0.8})
    assert changed["tubes.1.rows.2.discharge_coefficient"] == pytest.approx(1.0)


def test_bounds_reach_to_a_case_outside_of_them(workshop: Path):
    """A case with a loss of 10 is looked for up to 20; one inside the bounds has these."""
    wide = {c.name: c for c in constants_of(vary(read_case("table-top.toml"), {"chamber.inflow_loss": 10.0}))}
    plain = {c.name: c for c in constants_of(read_case("table-top.toml"))}
    assert wide["inflow_loss"].high == 20.0
    assert (plain["inflow_loss"].low, plain["inflow_loss"].high) == BOUNDS["inflow_loss"][:2]


def test_a_case_without_constants_is_refused(tmp_path: Path):
    """A laminar chamber without tubes and open sides has nothing to fit, and says so before anything is solved."""
    (tmp_path / "a.csv").write_text("quantity,height [m],radius [m],value,uncertainty\naxial velocity,1,0,1 m/s,5 %\n")
    with pytest.raises(InputError, match="has no constant to fit: no tubes, no open side, and closure laminar has"):
        calibrate(read_case(CASES / "laboratory.toml"), tmp_path / "a.csv", tmp_path / "runs")


@pytest.fixture(scope="module")
def solved(tmp_path_factory) -> tuple[Path, Case, Calibration]:
    """A tiny vortex measured in its own result at a viscosity ratio of 3, calibrated from a ratio of 6."""
    folder = tmp_path_factory.mktemp("vortex")
    true = vary(read_case(CASES / "burgers.toml"), TINY)
    solve(true, folder / "true.h5")
    places = [(0.1, r) for r in (0.02, 0.03, 0.05, 0.08)]
    asked = [Point(1, "tangential_velocity", z, r, None, 0.0, 1.0) for z, r in places]
    noise = 0.003 * np.random.default_rng(7).standard_normal(len(places))
    values = [c.value + n for c, n in zip(computed_at(load_result(folder / "true.h5"), asked), noise, strict=True)]
    rows = [f"tangential velocity,{z},{r},{v:.6f}" for (z, r), v in zip(places, values, strict=True)]
    text = "\n".join(["quantity,height [m],radius [m],value [m/s],uncertainty", *(f"{row},3 mm/s" for row in rows)])
    (folder / "points.csv").write_text(text, encoding="utf-8")
    start = vary(true, {"model.viscosity_ratio": 6.0})
    found = calibrate(start, folder / "points.csv", folder / "runs", bounds={"viscosity_ratio": (1.5, 12.0)})
    return folder, start, found


def test_the_solver_gives_its_viscosity_back(solved):
    """Its interval holds the ratio that the data were made with, and is narrower than a fifth of it to both sides."""
    _, _, found = solved
    (e,) = found.estimates
    assert e.constant.name == "viscosity_ratio"
    assert e.low <= TRUE_RATIO <= e.high
    assert e.high - e.low < 0.4 * TRUE_RATIO
    assert found.is_converged
    assert found.runs <= 16


def test_a_calibration_goes_on_with_the_runs_that_are_there(solved):
    """Called again it solves nothing and finds the same."""
    folder, start, found = solved
    again = calibrate(start, folder / "points.csv", folder / "runs", bounds={"viscosity_ratio": (1.5, 12.0)})
    assert (again.runs, again.reused) == (0, found.runs)
    assert again.values == found.values


def test_a_result_of_the_calibrated_case_agrees_and_is_called_no_test(solved):
    """compare finds its points inside the band, and cautions that the case was fitted to these very data."""
    folder, _, found = solved
    case, _ = write_calibrated(found, folder / "calibrated.toml")
    solve(case, folder / "calibrated.h5")
    compared = compare(folder / "calibrated.h5", folder / "points.csv")
    assert compared.agreements[-1].chi_square == pytest.approx(found.chi_square, rel=0.01)
    assert any("calibrated to these very data" in caution for caution in compared.cautions)
