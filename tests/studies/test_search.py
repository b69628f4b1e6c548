"""A small search on real flows: its answer, its data set, its case file, and that it goes on as it was."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from small_study import write_study

import swirlwright
from swirlwright import cli
from swirlwright.postproc.searches.answer import Search
from swirlwright.postproc.sweeps.report_data import Sweep
from swirlwright.postproc.sweeps.report_search import answer_section
from swirlwright.solver.casefile import read_case

TEXT = """
title = "A small search"
base = "case.toml"
[objective]
terms = { network_exhaust_flow = 1000, holes = 0.1 }
[[constraints]]
of = "network_jet_momentum"
at_least = "12 mN"
[[parameters]]
name = "holes"
key = "tubes.1.rows.1.count"
range = [3, 6]
[[parameters]]
name = "suction"
key = "exhaust.pressure"
range = [1, "3 Pa"]
[sample]
method = "sobol"
count = 4
[refinement]
rounds = 1
per_round = 2
"""


def study_in(folder: Path, text: str = TEXT) -> Path:
    return write_study(folder, text, end_time=0.1)


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Search]:
    """The folder and the answer of the small search."""
    folder = tmp_path_factory.mktemp("search")
    return folder / "out", swirlwright.search(study_in(folder), folder / "out", workers=2)


def opened(folder: Path) -> xr.Dataset:
    with xr.open_dataset(folder / "sweep.h5", engine="h5netcdf") as data:
        return data.load()


def test_every_variant_is_in_one_data_set(found: tuple[Path, Search]) -> None:
    """Sample and rounds lie along `variant`, with objective, feasibility and round beside the measures of each."""
    folder, answer = found
    data = opened(folder)
    assert data.sizes == {"variant": 6} and answer.data.drop_attrs().identical(data.drop_attrs())
    assert data["round"].values.tolist() == [0, 0, 0, 0, 1, 1]
    assert set(data["status"].values) == {"done"}
    expected = 1000 * data["network_exhaust_flow"] + 0.1 * data["holes"]
    assert data["objective"].values == pytest.approx(expected.values, rel=1e-12)
    assert (data["feasible"].values == (data["network_jet_momentum"].values >= 0.012)).all()
    assert np.isfinite(data["objective_predicted"].values).tolist() == [False] * 4 + [True] * 2
    assert json.loads(data.attrs["objective_json"]) == {"network_exhaust_flow": 1000.0, "holes": 0.1}
    with open(folder / "sweep.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [float(row["objective"]) for row in rows] == data["objective"].values.tolist()


def test_the_best_keeps_the_constraint_and_none_that_does_is_less(found: tuple[Path, Search]) -> None:
    """The answer is the least feasible objective of the data set, with the numbers of that variant."""
    folder, answer = found
    data, best = opened(folder), answer.best
    assert best is not None and 0 < answer.feasible < 6
    feasible = data["objective"].where(data["feasible"] == 1).values
    assert best.variant == np.nanargmin(feasible) and best.objective == np.nanmin(feasible)
    limit = best.limits[0]
    assert limit.value == data["network_jet_momentum"].values[best.variant]
    assert limit.slack == pytest.approx(limit.value - 0.012)
    assert [p.value for p in best.parameters] == [float(data[name][best.variant]) for name in ("holes", "suction")]
    assert answer.resolution is not None and answer.resolution.next_difference is not None
    assert answer.resolution.next_difference >= 0
    assert answer.resolution.within is None or answer.resolution.within >= answer.resolution.model_error


def test_the_best_is_written_as_a_case(found: tuple[Path, Search]) -> None:
    """best.toml is a valid case with the values of the best variant, and says where it came from."""
    folder, answer = found
    case, best = read_case(folder / "best.toml"), answer.best
    assert best is not None and case.exhaust is not None
    assert [case.tubes[0].rows[0].count, case.exhaust.pressure] == [p.value for p in best.parameters]
    assert f"variant {best.variant} of 6" in case.text.splitlines()[0]


def test_what_is_printed_says_how_well_it_is_resolved(found: tuple[Path, Search]) -> None:
    """Text, JSON and page name best variant, limits, what the objective is known to, and that it is not settled."""
    folder, answer = found
    text, plain = answer.text(), json.loads(json.dumps(answer.as_json(), allow_nan=False))
    for words in ("Best: variant", "network_jet_momentum >= 0.012 N", "is known to about", "lie within", "not settled"):
        assert words in text
    (section,) = answer_section(Sweep(folder, opened(folder)))
    page = " ".join([section.lead, *(cell for table in section.tables for row in table.rows for cell in row)])
    for words in (f"variant {answer.best.variant} of", "network_jet_momentum >= 0.012 N", *answer.cautions):  # type: ignore[union-attr]
        assert words in page
    assert plain["best"]["limits"][0]["at_least"] == 0.012
    assert plain["statuses"] == {"done": 6} and plain["is_settled"] is False


def copied(folder: Path, to: Path) -> Path:
    """A copy of a search's folder."""
    shutil.copytree(folder, to / "out")
    return to / "out"


def test_a_search_goes_on_where_it_stopped(found: tuple[Path, Search], tmp_path: Path) -> None:
    """With some records lost, one worker instead of two ends in the same data set and case, bit by bit."""
    folder, _ = found
    other = copied(folder, tmp_path)
    for path in sorted((other / "records").glob("*.json"))[::2]:
        path.unlink()
    swirlwright.search(study_in(tmp_path), other, workers=1)
    assert opened(other).identical(opened(folder))
    assert (other / "best.toml").read_text() == (folder / "best.toml").read_text()


def test_without_a_feasible_variant_there_is_no_case(found: tuple[Path, Search], tmp_path: Path, capsys) -> None:
    """A constraint nobody keeps ends in status 1, says so, and leaves no case of an earlier search behind."""
    other = copied(found[0], tmp_path)
    study = study_in(tmp_path, TEXT.replace('"12 mN"', '"12 N"').replace("rounds = 1", "rounds = 0"))
    assert cli.main(["search", str(study), "--output", str(other), "--quiet"]) == 1
    assert "No variant keeps every constraint" in capsys.readouterr().out
    assert not (other / "best.toml").exists()


def test_a_file_of_somebody_else_is_not_replaced(tmp_path: Path, capsys) -> None:
    """Where best.toml is not from a search the verb ends in 2 before anything is run."""
    (tmp_path / "out" / "records").mkdir(parents=True)
    (tmp_path / "out" / "best.toml").write_text("mine")
    assert cli.main(["search", str(study_in(tmp_path)), "--output", str(tmp_path / "out"), "--quiet"]) == 2
    assert "was not written by search" in capsys.readouterr().err
    assert (tmp_path / "out" / "best.toml").read_text() == "mine"


def test_a_variant_that_did_not_converge_is_named_as_that(found: tuple[Path, Search], tmp_path: Path, capsys) -> None:
    """Where only runs that did not converge keep the constraints, the best is one of them, marked everywhere."""
    other = copied(found[0], tmp_path)
    for path in (other / "records").glob("*.json"):
        path.write_text(path.read_text().replace('"done"', '"not-converged"'))
    assert cli.main(["search", str(study_in(tmp_path)), "--output", str(other), "--quiet"]) == 3
    told = capsys.readouterr().out
    assert "6 not-converged" in told and told.count("NOT CONVERGED") == 2
    assert "NOT CONVERGED" in (other / "best.toml").read_text()


def test_a_failed_variant_is_counted_and_not_the_best(found: tuple[Path, Search], tmp_path: Path) -> None:
    """If the best variant's run had failed, the answer counts it and is another one."""
    other = copied(found[0], tmp_path)
    study = study_in(tmp_path, TEXT.replace("rounds = 1", "rounds = 0"))
    sample = swirlwright.search(study, other)
    assert sample.best is not None
    lost = sample.data["case_key"].values[sample.best.variant]
    (other / "records" / f"{lost}.json").write_text('{"status": "failed", "reason": "crashed"}')
    again = swirlwright.search(study, other)
    assert again.statuses == {"done": 3, "failed": 1}
    assert again.best is None or again.best.objective > sample.best.objective
