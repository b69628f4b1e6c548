"""Is a result file whole after every kind of end, and does it open in other people's libraries?"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import h5netcdf
import h5py
import netCDF4
import numpy as np
import pytest
import xarray

from swirlwright.solver.errors import ResultError
from swirlwright.solver.result_layout import BUDGET, FRAMES, SI, VARIABLES, Scales
from swirlwright.solver.results import ResultWriter, WriteError, load_result, open_result, read_restart

N_Z, N_R, N_HOLES, N_TUBES = 7, 5, 6, 2
R_FACE, Z_FACE = np.linspace(0, 0.2, N_R + 1), np.linspace(0, 0.6, N_Z + 1)
R, Z = 0.5 * (R_FACE[1:] + R_FACE[:-1]), 0.5 * (Z_FACE[1:] + Z_FACE[:-1])
# Longer than an HDF5 attribute that is not of variable length may be.
CASE_TEXT = "x" * 70_000
SIZES = {"z": N_Z, "r": N_R, "z_face": N_Z + 1, "r_face": N_R + 1, "hole": N_HOLES, "tube": N_TUBES}


def made_up(variables, seed=0):
    """Random values for each variable, without the dimension time."""
    rng = np.random.default_rng(seed)
    return {
        name: rng.normal(size=[SIZES[d] for d in variable.dims if d != "time"]) for name, variable in variables.items()
    }


JETS = {k.removeprefix("hole_"): x for k, x in made_up(VARIABLES).items() if k.startswith("hole_")}
TUBES = {k.removeprefix("tube_"): x for k, x in made_up(VARIABLES).items() if k.startswith("tube_")}


def begin(path: Path, scales: Scales = SI) -> ResultWriter:
    """A writer for the small grid above, with holes, tubes and fog."""
    return ResultWriter.create(
        path,
        r=R,
        z=Z,
        r_face=R_FACE,
        z_face=Z_FACE,
        attributes={
            "title": "made up",
            "case_text": CASE_TEXT,
            "versions": {"numpy": "2"},
            "closure": None,
        },
        jets=SimpleNamespace(**JETS),
        tubes=TUBES,
        side_open_fraction=np.full(N_Z, 0.5),
        has_fog=True,
        scales=scales,
    )


def write_whole(path: Path, scales: Scales = SI) -> Path:
    """A finished file with everything a file can hold, three frames."""
    with begin(path, scales) as writer:
        for n in range(3):
            writer.append_history({"step": [2 * n, 2 * n + 1], "time": [n, n + 0.5], "residual_u": [1.0, 2.0]})
            line = np.arange(2.0 * N_Z).reshape(2, N_Z)
            places = {"mid_axial_velocity": {"r": 0.02, "z": 0.3}}
            values = {"mid_axial_velocity": (None, [3.0, 4.0]), "axis_pressure": ("z", line)}
            writer.append_probes([n, n + 0.5], values, places)
            writer.append_frame(float(n), made_up(FRAMES, seed=n))
        writer.write_means(made_up(FRAMES, 7), made_up(FRAMES, 8), (0.0, 2.0))
        writer.write_budget(made_up(BUDGET, 9), (0.0, 2.0))
        writer.write_restart({"step": 3, "levels": {"u": np.pi * np.ones(3), "kind": "both"}})
        writer.finish("time-averaged", "as it should be", converged=True, exhaust_flow=0.02)
    return path


@pytest.fixture(params=["si", "dimensionless"])
def whole(request, tmp_path) -> Path:
    """A finished file in either form."""
    return write_whole(tmp_path / "a.h5", SI if request.param == "si" else Scales(0.2, 3.0, 1.2))


def test_what_goes_in_comes_out_in_si(whole):
    """All values are read back in SI to a rounding, whatever the form of the file."""
    data = load_result(whole)
    for n in range(3):
        for name, expected in made_up(FRAMES, seed=n).items():
            assert data.frames[name][n] == pytest.approx(expected, rel=1e-14)
    for found, seed, variables in ((data.mean, 7, FRAMES), (data.std, 8, FRAMES), (data.budget, 9, BUDGET)):
        for name, expected in made_up(variables, seed).items():
            assert found[name] == pytest.approx(expected, rel=1e-14)
    assert data.places["hole_mass_flow"] == pytest.approx(JETS["mass_flow"], rel=1e-14)
    assert data.places["tube_flow"] == pytest.approx(TUBES["flow"], rel=1e-14)
    assert data.history["time"] == pytest.approx([0, 0.5, 1, 1.5, 2, 2.5])
    assert data.probes["axis_pressure"].shape == (6, N_Z)
    assert data.attributes["exhaust_flow"] == 0.02 and data.attributes["outcome"] == "time-averaged"
    assert data.attributes["case_text"] == CASE_TEXT
    assert "closure" not in data.attributes and json.loads(data.attributes["versions"]) == {"numpy": "2"}


def test_xarray_opens_it_with_no_other_step(whole):
    """xarray.open_dataset with h5netcdf gives labelled variables, each with units and long_name."""
    with xarray.open_dataset(whole, engine="h5netcdf") as dataset:
        assert dict(dataset.sizes) == SIZES | {"time": 3}
        for name in dataset.variables:
            assert {"units", "long_name"} <= set(dataset[name].attrs), name
        assert dataset["tangential_velocity"].dims == ("time", "z", "r")
        assert float(dataset["pressure"].sel(z=0.3, method="nearest").isel(time=1, r=0)) != 0.0
    for group, sizes in (("history", {"row": 6}), ("probes", {"probe_time": 6, "z": N_Z})):
        with xarray.open_dataset(whole, engine="h5netcdf", group=group) as dataset:
            assert dict(dataset.sizes) == sizes


def test_netcdf4_opens_it_with_no_other_step(whole):
    """The netCDF C library reads the same dimensions, values and attributes."""
    with netCDF4.Dataset(whole) as file:
        assert {name: dim.size for name, dim in file.dimensions.items()} == SIZES | {"time": 3}
        assert file.dimensions["time"].isunlimited()
        assert file["pressure"].dimensions == ("time", "z", "r")
        with h5py.File(whole) as plain:
            assert np.array_equal(file["pressure"][:], plain["pressure"][:])
        assert file.Conventions == "CF-1.8" and file.outcome == "time-averaged"
        assert file["probes"]["axis_pressure"].dimensions == ("probe_time", "z")
        assert np.array_equal(file["restart"]["levels"]["u"][:], np.full(3, np.pi))


def test_h5netcdf_opens_it_without_phony_dimensions(whole):
    """Every root variable hangs on named dimensions."""
    with h5netcdf.File(whole, "r") as file:
        assert set(file.dimensions) == set(SIZES) | {"time"}


def test_dimensionless_file_has_unit_one_and_its_scales(tmp_path):
    """In dimensionless form velocities are over the velocity scale, lengths over R, and their unit is 1."""
    path = write_whole(tmp_path / "a.h5", Scales(0.2, 3.0, 1.2))
    with h5py.File(path) as file:
        assert file["r_face"][-1] == pytest.approx(1.0)
        assert file["axial_velocity"][0] == pytest.approx(made_up(FRAMES)["axial_velocity"] / 3.0)
        assert file["pressure"].attrs["scale"] == pytest.approx(1.2 * 9.0)
        assert {file[n].attrs["units"] for n in VARIABLES if n in file and any(VARIABLES[n].powers)} == {"1"}


@pytest.mark.parametrize("scales", [SI, Scales(0.2, 3.0, 1.2)])
def test_units_agree_with_the_powers_of_the_scales(scales):
    """The scale of each variable has the dimension of its unit: both give the same SI exponents."""
    # Exponents of m, s, kg of the units used.
    base = {"m": (1, 0, 0), "s": (0, 1, 0), "kg": (0, 0, 1), "Pa": (-1, -2, 1), "N": (1, -2, 1)}
    for variable in VARIABLES.values():
        if variable.units in ("1", "rad"):
            continue
        total = np.zeros(3)
        for part in variable.units.split():
            name = part.rstrip("-0123456789")
            total += np.array(base[name]) * int(part[len(name) :] or 1)
        length, velocity, density = variable.powers
        assert tuple(total) == (length + velocity - 3 * density, -velocity, density), variable


def test_restart_state_is_kept_bit_for_bit_and_unscaled(whole):
    """What was saved for a restart comes back equal, whatever the form, and the sidecar is gone."""
    state = read_restart(whole)
    assert state["step"] == 3 and state["levels"]["kind"] == "both"
    assert np.array_equal(state["levels"]["u"], np.pi * np.ones(3))
    assert [p.name for p in whole.parent.iterdir()] == [whole.name]


def test_restart_of_an_interrupted_run_stands_beside_it(tmp_path):
    """Without finish the last saved state is found, but not one that belongs to another run."""
    path, other = tmp_path / "a.h5", tmp_path / "b.h5"
    for name, step in ((path, 1), (other, 2)):
        with begin(name) as writer:
            writer.write_restart({"step": 0})
            writer.write_restart({"step": step})
    assert read_restart(path) == {"step": 1}
    shutil.copy(tmp_path / "b.h5.restart", tmp_path / "a.h5.restart")
    with pytest.raises(ResultError, match="no restart state"):
        read_restart(path)


@pytest.mark.parametrize("scales", [SI, Scales(0.2, 3.0, 1.2)])
def test_resumed_file_goes_on_from_the_restart_time(tmp_path, scales):
    """Resumed at t = 1, frames, history and probes end there, and what is appended follows."""
    path = write_whole(tmp_path / "a.h5", scales)
    with ResultWriter.resume(path, 1.0, 2, {"title": "another"}) as writer:
        assert writer.n_complete == 2
        writer.append_history({"step": 3, "time": 1.25, "residual_u": 9.0})
        writer.append_frame(5.0, made_up(FRAMES, seed=5))
        writer.write_restart({"step": 4})
        writer.finish("transient", "went on", converged=True)
    data = load_result(path)
    assert data.time == pytest.approx([0.0, 1.0, 5.0])
    assert data.history["time"] == pytest.approx([0.0, 0.5, 1.0, 1.25])
    assert data.probes["probe_time"] == pytest.approx([0.0, 0.5, 1.0])
    assert data.frames["pressure"][2] == pytest.approx(made_up(FRAMES, seed=5)["pressure"], rel=1e-14)
    assert not data.mean and not data.budget
    assert data.attributes["title"] == "another"
    assert read_restart(path) == {"step": 4} and data.attributes["outcome"] == "transient"
    with netCDF4.Dataset(path) as file:
        assert file.dimensions["time"].size == 3


def test_resumed_run_that_is_ended_too_can_be_resumed_again(tmp_path):
    """Resuming keeps the old restart state until a newer one is saved, which then is the one found."""
    path = write_whole(tmp_path / "a.h5")
    ResultWriter.resume(path, 1.0, 2, {}).close()
    assert read_restart(path)["step"] == 3
    with ResultWriter.resume(path, 1.0, 2, {}) as writer:
        writer.write_restart({"step": 4})
    assert read_restart(path) == {"step": 4}


def test_unfinished_file_says_interrupted(tmp_path):
    """A file left without finish holds its frames and the outcome interrupted."""
    with begin(tmp_path / "a.h5") as writer:
        writer.append_frame(0.0, made_up(FRAMES))
    data = load_result(tmp_path / "a.h5")
    assert data.attributes["outcome"] == "interrupted" and data.attributes["converged"] == 0
    assert data.time.tolist() == [0.0]


def test_readers_stop_at_the_last_complete_frame(tmp_path):
    """A frame that was only begun is seen by neither reader."""
    path = write_whole(tmp_path / "a.h5")
    with h5py.File(path, "r+") as file:
        file["time"].resize(4, axis=0)
        file["pressure"].resize(4, axis=0)
        file["pressure"][3] = 1e30
    assert load_result(path).frames["pressure"].shape[0] == 3
    with open_result(path) as dataset:
        assert dataset.sizes["time"] == 3


WRITER = """
import numpy as np
from swirlwright.solver.result_layout import FRAMES
from swirlwright.solver.results import ResultWriter
faces = np.linspace(0, 1, 33)
centres = 0.5 * (faces[1:] + faces[:-1])
{before}
grid = dict(r=centres, z=centres, r_face=faces, z_face=faces)
with ResultWriter.create({path!r}, **grid, attributes={{}}) as writer:
    for n in range(100_000):
        writer.append_history({{"step": n}})
        writer.append_frame(n, {{name: np.full((32, 32), float(n)) + noise for name in FRAMES}})
"""


def run_writer(path: Path, before: str, *, kill_after: float | None = None) -> subprocess.CompletedProcess[str]:
    """A process that writes frames whose values are their number, ended by its own end or killed."""
    code = WRITER.format(path=str(path), before=before)
    process = subprocess.Popen([sys.executable, "-c", code], stderr=subprocess.PIPE, text=True)
    if kill_after is not None:
        # The room reserved for the first frame shows that the file was begun.
        while not path.exists() or path.stat().st_size < 500_000:
            time.sleep(0.001)
        time.sleep(kill_after)
        process.send_signal(signal.SIGKILL)
    _, errors = process.communicate(timeout=60)
    return subprocess.CompletedProcess([], process.returncode, "", errors)


@pytest.mark.skipif(os.name != "posix", reason="kills a process by signal")
@pytest.mark.parametrize("kill_after", [0.05, 0.113, 0.171, 0.239, 0.307])
def test_killed_run_leaves_whole_frames(tmp_path, kill_after):
    """Killed at any moment, the file opens and every frame up to its counter is the one that was written."""
    path = tmp_path / "a.h5"
    # Noise that cannot be compressed, so that frames are large, and the same in every frame.
    run_writer(path, "noise = np.random.default_rng(0).integers(0, 2**20, (32, 32)) / 2**21", kill_after=kill_after)
    data = load_result(path)
    for n, frame in enumerate(data.frames["pressure"]):
        assert data.time[n] == n
        assert np.array_equal(np.floor(frame), np.full((32, 32), float(n)))
    assert data.history.get("step", np.zeros(0)).size >= data.time.size


@pytest.mark.skipif(os.name != "posix", reason="limits the size of files")
def test_full_disk_is_one_message_and_keeps_the_frames(tmp_path):
    """When the file can grow no more, one clear error names file and frames, and those are readable."""
    path = tmp_path / "a.h5"
    limit = "import resource\nresource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, 2_000_000))\nnoise = 0.0\n"
    noise = "noise = np.random.default_rng(0).normal(size=(32, 32))"
    done = run_writer(path, limit + noise)
    assert done.returncode == 1
    # The last line is the error itself; nothing follows it from HDF5 closing down.
    assert "WriteError: " in done.stderr.splitlines()[-1]
    assert f"{path}: the disk is full" in done.stderr.splitlines()[-1]
    data = load_result(path)
    # 1.5 of 2 MB can be filled before the margin is touched; a frame takes some 40 kB.
    assert data.time.size > 25 and data.attributes["outcome"] == "interrupted"


def test_frames_of_a_full_disk_are_counted_in_the_message(tmp_path, monkeypatch):
    """The message says how many frames are kept, and the writer is closed."""
    writer = begin(tmp_path / "a.h5")
    writer.append_frame(0.0, made_up(FRAMES))

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("swirlwright.solver.results.reserve", fail)
    with pytest.raises(WriteError, match=r"the disk is full; the 1 frame\(s\) completed before"):
        writer.append_frame(1.0, made_up(FRAMES))
    assert load_result(tmp_path / "a.h5").time.size == 1


def test_file_in_use_is_neither_read_nor_overwritten(tmp_path):
    """While another run writes, reading and writing are refused, and the file is not emptied."""
    path = tmp_path / "a.h5"
    code = f"import sys, h5py\nfile = h5py.File({str(path)!r}, 'r+')\nprint('open', flush=True)\nsys.stdin.read()\n"
    write_whole(path)
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None and other.stdin is not None
        other.stdout.readline()
        with pytest.raises(ResultError, match="still writing"):
            load_result(path)
        with pytest.raises(ResultError, match="another run is writing"):
            begin(path)
        other.stdin.close()
    assert load_result(path).time.size == 3


def test_unknown_version_is_refused(tmp_path):
    """A later major version is refused with both versions named; a later minor one is read."""
    path = write_whole(tmp_path / "a.h5")
    for version, is_read in (("1.7", True), ("2.0", False)):
        with h5py.File(path, "r+") as file:
            file.attrs["format_version"] = version
        if is_read:
            load_result(path)
        else:
            for reader in (load_result, open_result, read_restart):
                with pytest.raises(ResultError, match=r"2\.0 is unknown.*reads 1\.x"):
                    reader(path)


def test_what_is_no_result_is_refused_in_one_line(tmp_path):
    """Missing, empty, text, foreign HDF5 and truncated files: each one line that names the file."""
    paths = {name: tmp_path / f"{name}.h5" for name in ("missing", "empty", "text", "foreign", "cut")}
    paths["empty"].touch()
    paths["text"].write_text("title = 'a case'\n")
    with h5py.File(paths["foreign"], "w") as file:
        file["x"] = 1
    whole = write_whole(tmp_path / "whole.h5").read_bytes()
    paths["cut"].write_bytes(whole[: len(whole) // 2])
    for path in paths.values():
        with pytest.raises(ResultError) as caught:
            load_result(path)
        assert str(caught.value).startswith(f"{path}:") and "\n" not in str(caught.value)
        assert "Unable to" not in str(caught.value)  # as HDF5 begins


def test_what_sweep_and_margin_leave_is_named(tmp_path):
    """A data set of many runs and the folders of sweep and margin are told from a result, with what shows them."""
    for name, words in (("sweep.h5", "folder of a sweep"), ("base.h5", "folder of a margin")):
        folder = tmp_path / name.removesuffix(".h5")
        folder.mkdir()
        with h5py.File(folder / name, "w") as file:
            file.attrs["format"] = "swirlwright-sweep"
        for path, told in ((folder, words), (folder / name, "data set of many runs")):
            with pytest.raises(ResultError, match=told):
                load_result(path)


def test_only_results_are_overwritten(tmp_path):
    """An older result is replaced; a case file or any other file of that name is left alone."""
    path = write_whole(tmp_path / "a.h5")
    begin(path).close()
    assert load_result(path).time.size == 0
    case = tmp_path / "case.toml"
    case.write_text("title = 'a case'\n")
    with pytest.raises(ResultError, match="not replaced"):
        begin(case)
    assert case.read_text() == "title = 'a case'\n"


def test_unwritable_place_is_refused(tmp_path):
    """A folder that does not exist is one clear message."""
    with pytest.raises(ResultError, match=r"cannot be written"):
        begin(tmp_path / "nowhere" / "a.h5")


def test_file_without_holes_tubes_or_fog(tmp_path):
    """A chamber without jets, openings and fog has no dimension of no length, and still opens everywhere."""
    path = tmp_path / "a.h5"
    with ResultWriter.create(path, r=R, z=Z, r_face=R_FACE, z_face=Z_FACE, attributes={}) as writer:
        writer.append_frame(0.0, made_up(FRAMES))
        writer.finish("steady", "", converged=True)
    with netCDF4.Dataset(path) as file:
        assert set(file.dimensions) == {"time", "z", "r", "z_face", "r_face"}
        assert "fog_concentration" not in file.variables
    with open_result(path) as dataset:
        assert dataset.sizes["time"] == 1


@pytest.mark.parametrize("path", sorted((Path(__file__).parent / "data").glob("result-*.h5")), ids=lambda p: p.stem)
def test_files_of_past_releases_are_read(path):
    """A file of each format version ever released gives the frames it was written with."""
    data = load_result(path)
    assert data.attributes["format_version"] == path.stem.removeprefix("result-")
    assert data.frames["pressure"][2] == pytest.approx(made_up(FRAMES, seed=2)["pressure"], rel=1e-14)
