"""Is a chamber scaled at equal Reynolds number the same flow?"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from swirlwright.postproc.measures import measure
from swirlwright.postproc.side_by_side import side_by_side, solve_both
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.result_reading import ResultData, load_result
from swirlwright.solver.scale_file import write_scaled
from swirlwright.solver.scaling import Scaled, scale
from swirlwright.solver.schema import Case
from swirlwright.solver.solve import solve

CASES = Path(__file__).parents[2] / "cases"
COARSE = {"grid.cells_r": 16, "grid.cells_z": 24, "grid.core_spacing": 0.04, "grid.floor_spacing": 0.05}


@pytest.fixture(scope="module")
def laboratory() -> Case:
    """The laminar laboratory chamber on 16 x 24 cells, with spacings given, which must scale too."""
    return vary(read_case(CASES / "laboratory.toml"), COARSE)


@pytest.fixture(scope="module")
def original(laboratory: Case, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Its steady flow."""
    path = tmp_path_factory.mktemp("similar") / "original.h5"
    assert solve(laboratory, path).outcome.label == "steady"
    return path


@pytest.fixture(scope="module")
def copy(laboratory: Case, original: Path) -> tuple[Scaled, Path]:
    """The chamber at 2.7 times the size and equal Reynolds number, and its steady flow."""
    scaled = scale(laboratory, factor=2.7, hold="reynolds")
    path = original.with_name("copy.h5")
    assert solve(scaled.case, path).outcome.label == "steady"
    return scaled, path


def difference(name: str, old: ResultData, new: ResultData, factor: float) -> float:
    """Largest difference of a field from the scaled one, over the field's largest value."""
    a, b = old.frames[name][-1], new.frames[name][-1]
    return float(np.abs(b / factor - a).max() / np.abs(a).max())


def test_fields_at_equal_reynolds_number_are_the_same(original: Path, copy: tuple[Scaled, Path]) -> None:
    """Divided by their factors, velocities, pressure and viscosity agree to the tolerance of the steady solver."""
    scaled, path = copy
    old, new, f = load_result(original), load_result(path), scaled.factors
    assert (f.length, f.reynolds) == (2.7, pytest.approx(1.0, abs=1e-12))
    np.testing.assert_allclose(new.r_face / f.length, old.r_face, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(new.z_face / f.length, old.z_face, rtol=1e-9, atol=1e-12)
    # The residual is below 1e-9 of its scale; the flow answers it some hundred times stronger.
    for name in ("radial_velocity", "tangential_velocity", "axial_velocity"):
        assert difference(name, old, new, f.velocity) < 1e-6
    assert difference("pressure", old, new, f.pressure) < 1e-6
    assert difference("effective_viscosity", old, new, 1.0) < 1e-12


def test_side_by_side_foretells_every_measure(original: Path, copy: tuple[Scaled, Path]) -> None:
    """Each measure of the scaled chamber is the original's times its factor, so that no line is off."""
    scaled, path = copy
    both = side_by_side(scaled, measure(original), measure(path))
    found = {line.name: line.change for line in both.lines if line.change is not None}
    assert {"core_radius", "core_velocity", "core_pressure_deficit", "radial_reynolds_number"} <= set(found)
    assert list(found.values()) == pytest.approx([1.0] * len(found), abs=1e-5)
    assert both.as_json()["verdicts"]["scaled"]["touchdown"] == measure(original).verdict.touchdown
    # With eddies outside a laminar core nobody knows what the viscosity in the core becomes.
    eddying = replace(scaled, case=vary(scaled.case, {"model.closure": "mixing-length"}))
    both = side_by_side(eddying, measure(original), measure(path))
    assert [line.name for line in both.lines if line.foretold is None] == ["vortex_reynolds_number"] and both.text()


def test_other_reynolds_number_is_another_flow(laboratory: Case, original: Path, tmp_path: Path) -> None:
    """At held velocities, where the Reynolds number grows 2.7 times, the fields differ by more than a per cent."""
    path = tmp_path / "velocity.h5"
    solve(scale(laboratory, factor=2.7).case, path)
    assert difference("tangential_velocity", load_result(original), load_result(path), 1.0) > 0.01


def test_both_are_solved_beside_the_scaled_case(laboratory: Case, tmp_path: Path) -> None:
    """`solve_both` leaves a result of each and puts both verdicts, with the files' names, into the text."""
    quick = vary(laboratory, {"run.tolerance": 1e-4, "grid.cells_r": 12, "grid.cells_z": 16, "grid.core_spacing": None})
    quick = vary(quick, {"grid.floor_spacing": None})
    scaled = scale(quick, factor=0.5, hold="reynolds")
    written, copied = write_scaled(scaled, tmp_path / "half.toml")
    both = solve_both(quick, written, scaled, tmp_path / "half.h5")
    assert copied == [] and both.is_converged
    assert sorted(p.name for p in tmp_path.iterdir()) == ["half.original.h5", "half.scaled.h5", "half.toml"]
    assert "half.original.h5" in both.text() and "half.scaled.h5" in both.text()
