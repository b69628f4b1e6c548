"""`compare`: is the computed value that of the file at the point, and are the numbers about the agreement right?"""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import chi2
from synthetic import Column, write_result

from swirlwright.cli import main
from swirlwright.postproc.measured.compare import compare
from swirlwright.postproc.measured.compare_page import write_comparison
from swirlwright.postproc.measured.points import Point
from swirlwright.postproc.measured.values import computed_at
from swirlwright.postproc.uncertainty import GridStudy, Spread, grid_error
from swirlwright.solver.result_notes import annotate
from swirlwright.solver.result_reading import load_result

HEADING = "quantity,height [mm],radius [mm],value,uncertainty\n"


@pytest.fixture(scope="module")
def steady(tmp_path_factory) -> Path:
    """A steady result made by formula."""
    return write_result(tmp_path_factory.mktemp("compare") / "steady.h5")


@pytest.fixture(scope="module")
def unsteady(tmp_path_factory) -> Path:
    """A time average made by formula; the deviation of each field is a tenth of its mean."""
    return write_result(tmp_path_factory.mktemp("compare") / "mean.h5", outcome="time-averaged", n_frames=14)


def at(quantity: str, height: float | None = None, radius: float | None = None) -> Point:
    """A point that is asked for its computed value only."""
    return Point(1, quantity, height, radius, None, 0.0, 1.0)


def points(path: Path, rows: str) -> Path:
    """A table beside `path`."""
    table = path.with_name("points.csv")
    table.write_text(HEADING + rows, encoding="utf-8")
    return table


def test_fields_are_those_of_the_cells_and_linear_between(steady):
    """At centres the value is the cell's; half way between four of them their mean; u and v vanish on the axis."""
    data = load_result(steady)
    j, i = 20, 10
    for name in ("tangential_velocity", "axial_velocity", "radial_velocity", "pressure"):
        field = data.frames[name][0]
        middle = (data.z[j : j + 2].mean(), data.r[i : i + 2].mean())
        found = computed_at(data, [at(name, data.z[j], data.r[i]), at(name, *middle), at(name, data.z[j], 0.0)])
        assert found[0].value == pytest.approx(field[j, i], rel=1e-12)
        assert found[1].value == pytest.approx(field[j : j + 2, i : i + 2].mean(), rel=1e-12)
        if name.startswith(("tang", "rad")):
            assert found[2].value == 0.0
        else:
            r0, r1 = data.r[:2] ** 2
            parabola = field[j, 0] - (field[j, 1] - field[j, 0]) * r0 / (r1 - r0)
            assert found[2].value == pytest.approx(parabola, rel=1e-12)


def test_a_chamber_that_turns_the_other_way_compares_alike(steady):
    """Tangential speeds count in the sense of the swirl, so a mirrored flow has the same value at each point."""
    data = load_result(steady)
    frames = data.frames | {"tangential_velocity": -data.frames["tangential_velocity"]}
    places = [at("tangential_velocity", 0.3, 0.02), at("core_diameter", 0.3)]
    assert computed_at(replace(data, frames=frames), places) == computed_at(data, places)


def test_the_core_diameter_is_twice_the_radius_of_the_largest_speed(steady):
    """On a made-up column it is within a cell of what the column was made of; at the floor there is none to see."""
    data = load_result(steady)
    height = 0.3
    made = 2.0 * Column().core_radius * (1.6 - 0.6 * height / 0.6)
    (found,) = computed_at(data, [at("core_diameter", height)])
    assert found.value == pytest.approx(made, abs=2.0 * np.diff(data.r_face).min())


def test_a_steady_flow_has_no_spin_up_time(steady):
    """What the result does not know stays without a value, with the reason."""
    (found,) = computed_at(load_result(steady), [at("spin_up_time")])
    assert found.value is None
    assert "no 4 s in time" in found.reason


def test_an_unsteady_flow_gives_the_mean_and_its_swing(unsteady):
    """The value is the mean field's, the spread the deviation field's: a tenth of it."""
    (found,) = computed_at(load_result(unsteady), [at("axial_velocity", 0.3, 0.02)])
    assert found.value is not None
    assert found.spread == pytest.approx(0.1 * found.value, rel=1e-9)


def test_bias_scatter_and_chi_square_are_those_of_the_offsets(steady):
    """Points made off the computed values by known amounts return these amounts."""
    data = load_result(steady)
    places = [(0.1, 0.02), (0.2, 0.05), (0.3, 0.08), (0.4, 0.02)]
    exact = [c.value for c in computed_at(data, [at("axial_velocity", *place) for place in places])]
    offsets, sigma = np.array([0.1, -0.3, 0.2, 0.8]), 0.2
    rows = "".join(
        f"axial velocity,{1e3 * z},{1e3 * r},{value - offset:.17g} m/s,{sigma} m/s\n"
        for (z, r), value, offset in zip(places, exact, offsets, strict=True)
    )
    found = compare(steady, points(steady, rows))
    one, every = found.agreements
    total = float(np.sum((offsets / sigma) ** 2))
    assert (one.bias, one.scatter) == pytest.approx((offsets.mean(), offsets.std(ddof=1)), rel=1e-9)
    assert (every.bias, every.scatter) == pytest.approx((one.bias / sigma, one.scatter / sigma), rel=1e-9)
    assert every.chi_square == pytest.approx(total, rel=1e-9)
    assert every.per_degree == pytest.approx(total / 4, rel=1e-9)
    assert every.p_value == pytest.approx(chi2.sf(total, 4), rel=1e-6)
    assert [row.is_outside for row in found.rows] == [False, False, False, True]


def test_the_swing_in_time_widens_the_band(unsteady, steady):
    """A reading 15 per cent off is outside the band of a steady flow, inside that of one that swings by 10."""
    (mean,) = computed_at(load_result(steady), [at("axial_velocity", 0.3, 0.02)])
    rows = f"axial velocity,300,20,{0.85 * mean.value:.17g} m/s,1 %\n"
    assert compare(steady, points(steady, rows)).rows[0].is_outside
    row = compare(unsteady, points(unsteady, rows)).rows[0]
    assert not row.is_outside
    assert row.score == pytest.approx(0.15 / np.hypot(0.1, 0.0085), rel=1e-6)


def test_grid_and_model_at_a_point_come_from_the_studies_files(tmp_path):
    """The band is the grid error of three grids' values at the point, and half the variants' range over root 3."""
    path = write_result(tmp_path / "a.h5")
    circulations = {"grid-36x45": 0.36, "grid-27x34": 0.38, "length-0.07": 0.30, "length-0.16": 0.37}
    for name, circulation in circulations.items():
        write_result(tmp_path / f"a.{name}.h5", column=Column(circulation=circulation))
    study = GridStudy([[48, 60], [36, 45], [27, 34]], ["yes"] * 3, {}, [])
    spread = Spread({"as given": "yes", "length-0.07": "yes", "length-0.16": "yes"}, {}, [])
    annotate(path, grid_study_json=json.dumps(asdict(study)), spread_json=json.dumps(asdict(spread)))
    row = compare(path, points(path, "tangential velocity,300,20,2 m/s,0.1 m/s\n")).rows[0]
    v = {gamma: gamma / 0.35 * row.computed.value for gamma in (0.35, 0.36, 0.38, 0.30, 0.37)}
    sizes = [1.0 / np.sqrt(nr * nz) for nr, nz in study.cells]
    expected = grid_error([v[0.35], v[0.36], v[0.38]], sizes, [0.0] * 3).uncertainty / 2.0
    assert row.grid == pytest.approx(expected, rel=1e-6)
    assert row.model == pytest.approx((v[0.37] - v[0.30]) / 2.0 / np.sqrt(3.0), rel=1e-6)
    assert row.deviation == pytest.approx(np.hypot(0.1, np.hypot(row.grid, row.model)), rel=1e-9)


def test_without_the_studies_files_the_related_measure_stands_in(tmp_path):
    """A result moved alone has the band that its measures carry, and says so."""
    path = write_result(tmp_path / "a.h5")
    error = grid_error([2.0, 2.1, 2.3], [1.0, 4 / 3, 16 / 9], [0.0] * 3)
    study = GridStudy([[48, 60], [36, 45], [27, 34]], ["yes"] * 3, {"max_tangential_velocity": error}, [])
    annotate(path, grid_study_json=json.dumps(asdict(study)))
    found = compare(path, points(path, "tangential velocity,300,20,2 m/s,0.1 m/s\n"))
    assert found.rows[0].grid == pytest.approx(0.5 * error.uncertainty)
    assert "of the related measures" in found.text()


def test_a_run_that_did_not_converge_says_so_everywhere(tmp_path):
    """Sheet, JSON and page carry it."""
    path = write_result(tmp_path / "a.h5", outcome="not-converged")
    found = compare(path, points(path, "axial velocity,300,0,1 m/s,0.1 m/s\n"))
    write_comparison(found, tmp_path / "a.html")
    assert "NOT CONVERGED" in found.text()
    assert found.as_json()["converged"] is False
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert "<b>not converged</b>" in page
    assert "http" not in page.replace("http://www.w3.org", "")


def test_the_command_prints_and_writes(steady, tmp_path, capsys):
    """--json is one object with every point; a page and a picture are written; nothing else is replaced by them."""
    table = points(steady, "axial velocity,300,0,1.1 m/s,5 %\nspin-up time,,,4 s,1 s\n")
    for name, start in (("a.html", b"<!DOCTYPE html>"), ("a.png", b"\x89PNG")):
        assert main(["compare", str(steady), str(table), "--output", str(tmp_path / name), "--json"]) == 0
        assert (tmp_path / name).read_bytes().startswith(start)
        found = json.loads(capsys.readouterr().out)
    assert [point["quantity"] for point in found["points"]] == ["axial_velocity", "spin_up_time"]
    assert found["points"][1]["computed"] is None
    assert found["agreement"]["all"]["degrees_of_freedom"] == 1
    mine = tmp_path / "mine.html"
    mine.write_text("my notes")
    for output in (mine, table, tmp_path / "a.pdf", tmp_path / "none" / "a.html"):
        assert main(["compare", str(steady), str(table), "--output", str(output)]) == 2
    assert mine.read_text() == "my notes"
    assert table.read_text().startswith(HEADING)


def test_wrong_input_ends_with_status_2_and_writes_nothing(steady, tmp_path, capsys):
    """A point above the roof is refused with file, line and column before a page is begun."""
    table = points(steady, "axial velocity,700,0,1.1 m/s,5 %\n")
    assert main(["compare", str(steady), str(table), "--output", str(tmp_path / "a.html")]) == 2
    assert f"{table}:2: height [mm]: must be at most 0.6 m" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
