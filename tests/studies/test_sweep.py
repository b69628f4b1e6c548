"""A sweep, undisturbed, killed, starved and stopped: is its data set whole, and the same?"""

from __future__ import annotations

import csv
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from small_study import STUDY, write_study

import swirlwright
from swirlwright import cli
from swirlwright.postproc.flow_numbers import FieldMeasures
from swirlwright.postproc.measure_table import FIELD
from swirlwright.postproc.measures import measure
from swirlwright.postproc.sweeps.data import counted, hysteresis
from swirlwright.solver.errors import InputError
from swirlwright.solver.solve import solve
from swirlwright.solver.study_file import read_study
from swirlwright.solver.variants import variants_of

WARM = STUDY.replace("[[par", 'start = "neighbour"\ncold_sample = 2\n[[par', 1)


def start(study: Path, folder: Path, *more: str) -> subprocess.Popen[str]:
    """The command in a process of its own."""
    command = [sys.executable, "-m", "swirlwright.cli", "sweep", str(study), "--output", str(folder), *more]
    return subprocess.Popen(command, stderr=subprocess.PIPE, text=True)


def records(folder: Path) -> list[Path]:
    return sorted((folder / "records").glob("*.json"))


def children(pid: int) -> list[int]:
    """Processes that another has started."""
    return [int(n) for n in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def wait_for(condition, seconds: float = 60.0) -> None:
    """Wait until something is so."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


def opened(folder: Path) -> xr.Dataset:
    with xr.open_dataset(folder / "sweep.h5", engine="h5netcdf") as data:
        return data.load()


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the small study, run to its end."""
    folder = tmp_path_factory.mktemp("undisturbed")
    swirlwright.sweep(write_study(folder), folder / "out", workers=2)
    return folder / "out"


def test_the_data_set_has_the_parameters_as_dimensions(undisturbed: Path) -> None:
    """Every combination has its place, coordinates are in SI with units, and each number has a unit and a meaning."""
    data = opened(undisturbed)
    assert dict(data.sizes) == {"lowest_jet": 3, "suction": 2}
    assert data["lowest_jet"].values.tolist() == [0.03, 0.08, 0.13]
    assert data["lowest_jet"].attrs["units"] == "m" and data["suction"].attrs["units"] == "Pa"
    assert set(data["status"].values.ravel()) == {"done"}
    assert data["variant"].values.tolist() == [[0, 1], [2, 3], [4, 5]]
    numbers = [name for name, values in data.data_vars.items() if values.dtype == float]
    assert len(numbers) > 100
    assert [name for name in numbers if not {"units", "long_name"} <= set(data[name].attrs)] == []
    assert np.isfinite(data["network_exhaust_flow"]).all()
    assert (data["network_exhaust_flow"].diff("suction") > 0).all()


def test_a_variant_is_what_solve_and_measure_give(undisturbed: Path, tmp_path: Path) -> None:
    """The numbers of a variant are those of its case solved by itself, to the last bit."""
    case = variants_of(read_study(write_study(tmp_path)))[3].case
    assert case is not None
    m = measure(solve(case, tmp_path / "three.h5").path)
    row = opened(undisturbed).isel(lowest_jet=1, suction=1)
    for name, value in m.field.scalars().items():
        assert row[name].item() == pytest.approx(np.nan if value is None else value, rel=0, abs=0, nan_ok=True), name
    assert row["touchdown"].item() == m.verdict.touchdown
    assert row["verdict"].item() == m.verdict.sentence


def test_every_scalar_measure_has_its_column() -> None:
    """The data set misses no plain number of a field's measures, and makes up none."""
    assert set(FIELD) == set(FieldMeasures().scalars())


def test_the_table_says_the_same(undisturbed: Path) -> None:
    """sweep.csv has a row for each variant, units in the heading, and the numbers of the data set."""
    data = opened(undisturbed)
    with open(undisturbed / "sweep.csv", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [int(row["variant"]) for row in rows] == list(range(6))
    for row, (i, j) in zip(rows, np.ndindex(3, 2), strict=True):
        there = data.isel(lowest_jet=i, suction=j)
        assert float(row["lowest_jet [m]"]) == there["lowest_jet"].item()
        assert float(row["network_exhaust_flow [m3/s]"]) == there["network_exhaust_flow"].item()
        assert row["touchdown"] == there["touchdown"].item()
    assert len(rows[0]) == len(data.data_vars) + 2


def test_finished_variants_are_not_run_again(undisturbed: Path, tmp_path: Path, monkeypatch) -> None:
    """A second sweep starts no process and ends in the same data set; a changed base case starts all anew."""
    from swirlwright.postproc.sweeps import pool as sweep_pool

    monkeypatch.setattr(sweep_pool, "Attempt", lambda *_: pytest.fail("started a process"))
    before = opened(undisturbed)
    study = write_study(tmp_path)
    assert swirlwright.sweep(study, undisturbed).drop_attrs().identical(before.drop_attrs())
    base = tmp_path / "case.toml"
    base.write_text(base.read_text().replace("guard_loss = 0.3", "guard_loss = 0.4"))
    with pytest.raises(pytest.fail.Exception):
        swirlwright.sweep(study, undisturbed)


@pytest.mark.slow
def test_a_killed_sweep_goes_on_and_ends_the_same(undisturbed: Path, tmp_path: Path) -> None:
    """Killed twice in its middle, no process survives it, and resumed it ends in the same data set, bit by bit."""
    study, folder = write_study(tmp_path), tmp_path / "out"
    for n in (1, 3):
        with start(study, folder, "--workers", "2") as process:
            wait_for(lambda n=n: len(records(folder)) >= n)
            workers = children(process.pid)
            process.kill()
        wait_for(lambda workers=workers: not any(Path(f"/proc/{pid}").exists() for pid in workers))
    kept = {path: path.stat().st_mtime_ns for path in records(folder)}
    assert 3 <= len(kept) < 6
    with start(study, folder, "--quiet") as process:
        assert process.wait() == 0
    assert {path: path.stat().st_mtime_ns for path in kept} == kept
    assert opened(folder).drop_attrs().identical(opened(undisturbed).drop_attrs())
    assert (folder / "sweep.csv").read_bytes() == (undisturbed / "sweep.csv").read_bytes()
    assert not (folder / "running").exists()


@pytest.mark.slow
def test_a_worker_that_crashes_is_told_and_run_again_on_request(undisturbed: Path, tmp_path: Path) -> None:
    """A segmentation fault leaves `failed` with the signal, the others done, status 1; --retry-failed mends it."""
    study, folder = write_study(tmp_path), tmp_path / "out"
    with start(study, folder, "--workers", "1") as process:
        wait_for(lambda: len(records(folder)) >= 1 and children(process.pid))
        os.kill(children(process.pid)[0], signal.SIGSEGV)
        assert process.stderr is not None
        told = process.stderr.read()
        assert process.wait() == 1
    assert "6 variants: 5 done, 1 failed" in told and "--retry-failed" in told
    data = opened(folder)
    failed = data["reason"].values[data["status"].values == "failed"]
    assert len(failed) == 1 and failed[0].startswith("ended by SIGSEGV")
    assert np.isnan(data["network_exhaust_flow"].values[data["status"].values == "failed"]).all()
    assert cli.main(["sweep", str(study), "--output", str(folder), "--quiet"]) == 1
    assert cli.main(["sweep", str(study), "--output", str(folder), "--quiet", "--retry-failed"]) == 0
    assert opened(folder).drop_attrs().identical(opened(undisturbed).drop_attrs())


def several(values: str, limits: str) -> str:
    """A study of single cases that differ in several keys."""
    keys = '"run.end_time", "run.mode", "grid.cells_r", "grid.cells_z", "exhaust.hub_diameter"'
    head = f'title = "t"\nbase = "case.toml"\n{limits}\n'
    return f'{head}[[parameters]]\nname = "what"\nkeys = [{keys}]\nvalues = [{values}]\n'


@pytest.mark.slow
def test_a_hanging_variant_fails_and_the_others_go_on(tmp_path: Path) -> None:
    """Past its time limit a variant is `failed` with the reason, its process ended; an invalid one is `refused`."""
    values = '[1e4, "transient", 16, 24, 0], [0.1, "transient", 16, 24, 0], [0.2, "transient", 16, 24, 0.2]'
    study = write_study(tmp_path, several(values, "time_limit = 12"))
    # Other tests of the same process may have left helpers of the standard library running.
    before = set(children(os.getpid()))
    data = swirlwright.sweep(study, tmp_path / "out", workers=1)
    assert data["status"].values.tolist() == ["failed", "done", "refused"]
    assert data["reason"].values[0] == "still running at its time limit of 12 s"
    assert data["reason"].values[2].startswith("exhaust.hub_diameter: must be")
    assert counted(data) == ({"done": 1, "failed": 1, "refused": 1}, "3 variants: 1 done, 1 failed, 1 refused")
    assert set(children(os.getpid())) <= before


@pytest.mark.slow
def test_a_starving_variant_fails_and_the_others_go_on(tmp_path: Path) -> None:
    """A variant on a grid too fine for its memory limit is `failed` with the reason; one on a coarse grid is done."""
    values = '[0.2, "steady", 500, 700, 0], [0.1, "transient", 16, 24, 0]'
    study = write_study(tmp_path, several(values, 'memory_limit = "650 MB"'))
    data = swirlwright.sweep(study, tmp_path / "out", workers=1)
    assert data["status"].values.tolist() == ["failed", "done"]
    assert "memory limit" in data["reason"].values[0]


@pytest.mark.slow
def test_warm_starts_follow_the_study_and_not_the_timing(tmp_path: Path) -> None:
    """One worker and three, killed and resumed: the same data set; each variant says where it started from."""
    study = write_study(tmp_path, WARM)
    one = swirlwright.sweep(study, tmp_path / "one", workers=1)
    assert one["start"].values.tolist() == [[-1, 0], [0, 2], [2, 4]]
    folder = tmp_path / "three"
    with start(study, folder, "--workers", "3") as process:
        wait_for(lambda: len(records(folder)) >= 3)
        process.kill()
    assert swirlwright.sweep(study, folder, workers=3).identical(one)
    assert list((folder / "results").iterdir()) == []


@pytest.mark.slow
def test_a_sample_of_variants_is_rerun_cold(tmp_path: Path) -> None:
    """Of two variants the data set has a cold run beside the warm one; its numbers are those of the cold study."""
    study = write_study(tmp_path, WARM.replace("cold_sample", "keep_results = true\ncold_sample"))
    warm = swirlwright.sweep(study, tmp_path / "warm")
    cold = swirlwright.sweep(write_study(tmp_path), tmp_path / "cold")
    rerun = warm["cold_touchdown"].values != ""
    assert rerun.sum() == 2 == hysteresis(warm).rerun
    assert (warm["cold_status"].values == np.where(rerun, "done", "")).all()
    assert re.search(r"of 2 rerun cold [012] with another verdict, [012] with", counted(warm)[1])
    here = warm["cold_peak_axial_velocity"].values[rerun]
    assert np.isfinite(here).all()
    assert (here == cold["peak_axial_velocity"].values[rerun]).all()
    assert (here != warm["peak_axial_velocity"].values[rerun]).all()
    assert len(list((tmp_path / "warm" / "results").iterdir())) == 8


def test_a_sample_lies_along_variants(tmp_path: Path) -> None:
    """The data set of a sample has one dimension, with the parameters, texts among them, as coordinates."""
    text = (
        'title = "t"\nbase = "case.toml"\n[sample]\nmethod = "latin-hypercube"\ncount = 2\n'
        '[[parameters]]\nname = "suction"\nkey = "exhaust.pressure"\nrange = [1, 3]\n'
        '[[parameters]]\nname = "closure"\nkey = "model.closure"\nvalues = ["mixing-length", "laminar"]\n'
        '[[parameters]]\nname = "sides"\nkey = "chamber.open_sides"\nvalues = [["front"], ["front", "left"]]\n'
    )
    data = swirlwright.sweep(write_study(tmp_path, text, end_time=0.2), tmp_path / "out")
    again = opened(tmp_path / "out")
    assert dict(again.sizes) == {"variant": 2}
    assert sorted(again["closure"].values) == ["laminar", "mixing-length"]
    assert sorted(again["sides"].values) == ['["front", "left"]', '["front"]']
    assert again["suction"].attrs["units"] == "Pa"
    assert data.drop_attrs().identical(again.drop_attrs())
    assert (tmp_path / "out" / "sweep.csv").read_text().startswith("variant,suction [Pa],closure,sides,status")


def test_two_sweeps_do_not_share_a_folder(tmp_path: Path, undisturbed: Path) -> None:
    """A folder in use, a file, a folder with other things and one without a parent are refused; nothing is written."""
    study, folder = write_study(tmp_path), tmp_path / "out"
    with start(study, folder) as process:
        wait_for(lambda: folder.exists() and (folder / "running").exists())
        with pytest.raises(InputError, match="is in use by other runs"):
            swirlwright.sweep(study, folder)
        process.kill()
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear")
    for name, words in (("case.toml", "is a file"), ("mine", "empty folder"), ("no/where", "folder that exists")):
        with pytest.raises(InputError, match=words):
            swirlwright.sweep(study, tmp_path / name)
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["letter.txt"]


def test_ctrl_c_ends_in_one_message_and_keeps_what_is_done(tmp_path: Path) -> None:
    """Ctrl-C ends the sweep and its processes in status 1 and one message that counts what is kept."""
    study, folder = write_study(tmp_path), tmp_path / "out"
    with start(study, folder, "--quiet", "--workers", "2") as process:
        wait_for(lambda: len(records(folder)) >= 1 and children(process.pid))
        workers = children(process.pid)
        process.send_signal(signal.SIGINT)
        assert process.stderr is not None
        told = process.stderr.read()
        assert process.wait() == 1
    kept = len(records(folder))
    assert told == (
        f"interrupted: {kept} of 6 runs are finished and kept in {folder}; the same command goes on with the others\n"
    )
    assert not any(Path(f"/proc/{pid}").exists() for pid in workers)
