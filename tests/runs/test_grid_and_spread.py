"""Grid study and spread: do they solve what they say, and does the verdict carry what they find?"""

from __future__ import annotations

import json
import os
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from swirlwright import cli
from swirlwright.postproc.grid_and_spread import grids_of, solve_variants, spread_of, study_grids
from swirlwright.postproc.measures import measure
from swirlwright.postproc.uncertainty import GridStudy, Spread
from swirlwright.postproc.verdict import MARGINAL, YES, in_doubt
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.progress import SILENT
from swirlwright.solver.result_notes import annotate
from swirlwright.solver.solve import solve

CASES = Path(__file__).parents[2] / "cases"
COARSE = {"grid.cells_r": 28, "grid.cells_z": 40, "grid.core_spacing": None, "inlet.angle": 5.0}


@pytest.fixture(scope="module")
def studied_file(tmp_path_factory) -> Path:
    """The laboratory chamber at weak swirl on a coarse grid, with a grid study in its file."""
    path = tmp_path_factory.mktemp("study") / "lab.h5"
    case = vary(read_case(CASES / "laboratory.toml"), COARSE)
    solve(case, path)
    study_grids(case, path)
    return path


def test_each_measure_has_an_error_in_text_and_json(studied_file):
    """Three grids of the stated cells; each measure carries its values and +- in sheet and JSON, the file its study."""
    m = measure(studied_file)
    assert m.verdict.grid_study is not None
    assert m.verdict.grid_study.cells == [[28, 40], [21, 30], [16, 22]]
    error = m.as_json()["grid_error"]["errors"]["core_radius"]
    assert error["values"][0] == m.field.core_radius
    assert 0.0 < error["uncertainty"] < 0.3 * error["values"][0]
    line = next(line for line in m.text().splitlines() if "core radius at mid-height" in line)
    assert f"+- {1e3 * error['uncertainty']:.2g} mm (grid)" in line
    assert sorted(path.name for path in studied_file.parent.iterdir()) == [
        "lab.grid-16x22.h5", "lab.grid-21x30.h5", "lab.h5",
    ]  # fmt: skip


def test_a_study_goes_on_where_it_was_stopped(studied_file):
    """Variants whose ended run is there are not solved again; one with another case is."""
    case = vary(read_case(CASES / "laboratory.toml"), COARSE)
    coarser = grids_of(case)
    files = sorted(studied_file.parent.glob("lab.grid-*"))
    before = [os.stat(file).st_mtime_ns for file in files]
    solve_variants(coarser, studied_file, SILENT)
    assert [os.stat(file).st_mtime_ns for file in files] == before
    other = vary(coarser["grid-16x22"], {"inlet.angle": 6.0})
    solve_variants({"grid-16x22": other}, studied_file, SILENT)
    assert os.stat(files[0]).st_mtime_ns != before[0]


def test_the_report_shows_the_study(studied_file, tmp_path):
    """The page has the table of the grids."""
    page = tmp_path / "page.html"
    assert cli.main(["report", str(studied_file), "--output", str(page)]) == 0
    assert "<h2>Grid error</h2>" in page.read_text()


def test_a_spread_varies_one_thing_at_a_time():
    """Each variant differs from the case in one key, within its allowed range, and all differ from each other."""
    case = read_case(CASES / "table-top.toml")
    variants = spread_of(case)
    assert len(variants) >= 8
    dumps = {name: v.model_dump() for name, v in variants.items()}
    base = case.model_dump()
    for name, dump in dumps.items():
        keys = [
            f"{table}.{key}"
            for table in ("model", "chamber")
            for key in dump[table]
            if dump[table][key] != base[table][key]
        ]
        assert len(keys) == 1, name
    assert len({str(dump) for dump in dumps.values()}) == len(dumps)


def test_disagreement_makes_a_verdict_marginal(studied_file):
    """A yes that a coarser grid or a variant denies becomes marginal and says who disagrees; agreement leaves it."""
    v = measure(studied_file).verdict
    agreeing = GridStudy([[1, 1]] * 3, [YES] * 3, {}, [])
    v = replace(v, touchdown=YES)
    assert in_doubt(v, agreeing, None).touchdown == YES
    split = in_doubt(v, GridStudy([[1, 1]] * 3, [YES, YES, "no"], {}, []), Spread({"as given": YES}, {}, []))
    assert split.touchdown == MARGINAL
    assert "grids say yes 2 of 3, no 1 of 3" in split.sentence


def test_one_study_does_not_speak_in_another(studied_file, tmp_path):
    """A verdict made marginal by a spread in the file does not enter the words of the grids; what is loose is told."""
    path = tmp_path / "lab.h5"
    for file in studied_file.parent.iterdir():
        shutil.copy(file, tmp_path)
    spread = {"touchdown": {"as given": "no", "other": "yes"}, "bands": {}, "not_converged": ["other"]}
    annotate(path, spread_json=json.dumps(spread))
    assert measure(path).verdict.touchdown == MARGINAL
    assert study_grids(vary(read_case(CASES / "laboratory.toml"), COARSE), path).touchdown == ["no"] * 3
    assert "NOT CONVERGED: other." in measure(path).text()
