"""Does every end of a run say what happened, keep what was computed and set the right exit status?"""

from __future__ import annotations

import errno
import math
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
from small import TEXT, differences, small

from swirlwright import cli
from swirlwright.postproc.measures import measure
from swirlwright.solver import results, steady_search, transient
from swirlwright.solver.flow import build_grid
from swirlwright.solver.march import Stopped
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import SilentWatch
from swirlwright.solver.results import ResultWriter, WriteError, load_result, open_result
from swirlwright.solver.solve import solve
from swirlwright.solver.stability import StabilityTest
from swirlwright.solver.transient import Stepper

AVERAGED = {"run.mode": "steady", "run.spin_up": 0.5, "run.average": 0.5, "events": None, "run.max_iterations": 2}
# So viscous that a steady state exists and keeps.
STEADY = {"run.mode": "steady", "events": None, "model.closure": "constant", "model.viscosity_ratio": 200}


class InterruptingIn(SilentWatch):
    """Sends Ctrl-C to this very process at an update, the `nth`, of the stage of this label."""

    def __init__(self, label: str, nth: int = 1) -> None:
        self.label, self.left, self.stage = label, nth, ""

    def start(self, label: str, total: float) -> None:
        self.stage = label

    def update(self, done: float, note: str = "") -> None:
        if self.stage.startswith(self.label):
            self.left -= 1
            if self.left == 0:
                signal.raise_signal(signal.SIGINT)


def written(tmp_path: Path, text: str = TEXT) -> Path:
    path = tmp_path / "small.toml"
    path.write_text(text)
    return path


def test_ctrl_c_ends_in_one_message(tmp_path):
    """SIGINT to the command during a march: exit status 1, one message without a stack trace, a readable result."""
    case = written(tmp_path, TEXT.replace("end_time = 2.6", "end_time = 1000"))
    output = tmp_path / "run.h5"
    command = [sys.executable, "-m", "swirlwright.cli", "solve", str(case), "--output", str(output)]
    process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    assert process.stderr is not None
    # The file holds a frame before the march begins; the message before it says that compiling is next.
    while not (output.exists() and _frames(output) > 2):
        assert process.poll() is None
    process.send_signal(signal.SIGINT)
    said = process.stderr.read()
    process.stderr.close()
    assert process.wait() == 1
    assert "interrupted" in said
    assert "--resume" in said
    assert "Traceback" not in said
    assert measure(output).as_json()["outcome"] == "interrupted"


def _frames(path: Path) -> int:
    try:
        with h5py.File(path, "r", locking=False) as file:
            return int(file.attrs["n_complete"])
    except (OSError, KeyError):
        return 0


@pytest.mark.parametrize(
    "changes, label, nth",
    [
        (STEADY, "steady flow", 1),
        (STEADY, "steady flow", 6),
        (STEADY, "testing", 20),
        (AVERAGED, "marching", 1),
        (AVERAGED, "marching", 40),
        (AVERAGED, "marching", 90),
        ({}, "marching", 1),
    ],
)
def test_ctrl_c_in_any_stage_keeps_a_field(tmp_path, changes, label, nth):
    """Stopped in search, stability test, spin-up or window a result can be measured; resumed it ends as if not."""
    one, other = tmp_path / "one.h5", tmp_path / "other.h5"
    case = small({**changes, "run.end_time": 0.8, "events": None})
    result = solve(case, other, InterruptingIn(label, nth))
    assert result.outcome is Outcome.INTERRUPTED
    measures = measure(other)
    assert measures.as_json()["outcome"] == "interrupted"
    assert "interrupted" in measures.text().lower()
    solve(case, one)
    solve(case, other, resume=True)
    assert differences(one, other) == []


def test_a_stop_in_the_stability_test_keeps_the_steady_state(tmp_path):
    """What is kept then is the steady state that was found, not the disturbed one, and the text says so."""
    one, other = tmp_path / "one.h5", tmp_path / "other.h5"
    solve(small(STEADY), one)
    assert "stability not yet tested" in solve(small(STEADY), other, InterruptingIn("testing", 20)).text
    kept, whole = (load_result(path).frames["tangential_velocity"] for path in (other, one))
    assert np.array_equal(kept, whole)


def test_a_disturbance_that_runs_away_is_an_unstable_state(tmp_path, monkeypatch):
    """When the stability test blows up, the run goes on to averages and tells why."""

    def run_away(problem, s, control, watch):
        raise Stopped(Outcome.BLEW_UP, s)

    monkeypatch.setattr(steady_search, "stability_of", run_away)
    result = solve(small({**STEADY, "run.spin_up": 0.2, "run.average": 0.2}), tmp_path / "run.h5")
    assert result.outcome in (Outcome.TIME_AVERAGED, Outcome.NOT_CONVERGED)
    assert "runs away" in load_result(tmp_path / "run.h5").attributes["steady_attempt"]


def test_the_time_limit_keeps_a_frame(tmp_path, capsys):
    """A run that its time limit ends at once says so, exits with 3 and still holds a frame that can be measured."""
    case = written(tmp_path, TEXT.replace('mode = "transient"', 'mode = "transient"\ntime_limit = 1e-6'))
    output = tmp_path / "run.h5"
    assert cli.main(["solve", str(case), "--output", str(output), "--quiet"]) == 3
    capsys.readouterr()
    assert measure(output).as_json()["outcome"] == "out-of-time"


def test_the_time_limit_holds_in_the_steady_search(tmp_path):
    """The limit ends a steady search too, with the field it had reached in the file."""
    result = solve(small({"run.mode": "steady", "events": None, "run.time_limit": 1e-6}), tmp_path / "run.h5")
    assert result.outcome is Outcome.OUT_OF_TIME
    assert load_result(tmp_path / "run.h5").time.size == 1


def test_a_blow_up_names_the_place_and_keeps_the_last_good_state(tmp_path, monkeypatch):
    """With steps far too long a run ends as blew-up, says where, and what is kept is finite."""
    monkeypatch.setattr(transient, "PHASE", 80.0)
    result = solve(small({"run.max_step": 0.5, "run.end_time": 30.0, "events": None}), tmp_path / "run.h5")
    assert result.outcome is Outcome.BLEW_UP
    assert re.search(r"fastest cell at r = \S+ m, z = \S+ m, t = \S+ s, \S+ cells crossed in the step", result.text)
    assert result.outcome.exit_status == 3
    data = load_result(tmp_path / "run.h5")
    # Steps are half a second then, frames a quarter: the last one is the last good state.
    state = results.read_restart(tmp_path / "run.h5")["state"]
    assert data.time[-1] == state["time"] > 0.0
    assert np.array_equal(data.frames["tangential_velocity"][-1], state["v"])
    assert all(np.isfinite(values).all() for values in data.frames.values())
    # The fluxes of the step that failed must not stand in the file as a budget.
    assert not data.budget and not data.mean
    assert measure(tmp_path / "run.h5").as_json()["outcome"] == "blew-up"


@pytest.mark.parametrize(
    ("field", "name"),
    [("v", "tangential velocity"), ("u", "radial velocity"), ("w", "axial velocity"), ("fog", "fog concentration")],
)
def test_a_value_that_is_no_number_stops_the_run_at_its_step(tmp_path, monkeypatch, field, name):
    """A NaN ends the run in the step where it appears, with the field and the place; what is kept is finite."""
    advance, steps = Stepper.advance, 0

    def failing(stepper, s, step, budget=None):
        nonlocal steps
        new = advance(stepper, s, step, budget)
        steps += 1
        if steps == 20:
            getattr(new, field)[5, 3] = np.nan
        return new

    monkeypatch.setattr(Stepper, "advance", failing)
    result = solve(small({"run.end_time": 5.0, "events": None}), tmp_path / "run.h5")
    assert result.outcome is Outcome.BLEW_UP and steps == 20
    grid = build_grid(small())
    r = grid.r_face[3] if field == "u" else grid.r[3]
    z = grid.z_face[5] if field == "w" else grid.z[5]
    assert f"{name} not finite at r = {r:.3g} m, z = {z:.3g} m)" in result.text
    data = load_result(tmp_path / "run.h5")
    # One of the twenty steps loaded the kernels, one failed.
    assert data.history["time"].size == 18 and data.time[-1] == data.history["time"][-1]
    assert all(np.isfinite(values).all() for values in data.frames.values())


def test_a_full_disk_keeps_the_frames(tmp_path, monkeypatch):
    """When the disk is full in the fifth frame, one message names the file and what is kept, and four frames are."""
    frames = 0
    append_frame = ResultWriter.append_frame

    def counting(*arguments: Any) -> None:
        nonlocal frames
        frames += 1
        append_frame(*arguments)

    def full(handle: int, end: int, n_bytes: int) -> None:
        if frames > 4:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(ResultWriter, "append_frame", counting)
    monkeypatch.setattr(results, "reserve", full)
    with pytest.raises(WriteError, match=r"run\.h5: the disk is full; the 4 frame"):
        solve(small(), tmp_path / "run.h5")
    assert load_result(tmp_path / "run.h5").time.size == 4


@pytest.fixture
def small_disk(tmp_path) -> Iterator[Path]:
    """A disk of 900 kB of its own."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=900k", "tmpfs", str(folder)]
    if sys.platform != "linux" or os.geteuid() != 0 or subprocess.run(mount, capture_output=True).returncode != 0:
        pytest.skip("mounting a disk needs root")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_a_disk_that_fills_up_keeps_the_frames(tmp_path, small_disk, capsys):
    """On a disk that is full in the middle of a run: exit 1, one message, frames that can be measured."""
    output = small_disk / "run.h5"
    assert cli.main(["solve", str(written(tmp_path)), "--output", str(output), "--quiet"]) == 1
    said = capsys.readouterr().err
    kept = load_result(output).time.size
    assert said == f"{output}: the disk is full; the {kept} frame(s) completed before are kept in it\n"
    assert kept > 1
    assert measure(output).as_json()["outcome"] == "interrupted"


def test_a_folder_that_cannot_be_written_is_refused(tmp_path, small_disk, capsys):
    """A result on a disk that is read only is refused before anything is solved."""
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    assert cli.main(["solve", str(written(tmp_path)), "--output", str(small_disk / "run.h5"), "--quiet"]) == 2
    assert capsys.readouterr().err == f"{small_disk / 'run.h5'}: must be a place that can be written\n"


@pytest.mark.parametrize(
    "key, line, message",
    [
        ("exhaust.fan", 'fan = "fans/gone.toml"', "must name a fan file relative to the case file"),
        ("run.start_from", 'start_from = "gone.h5"', "must name a result file that exists"),
    ],
)
def test_a_file_that_a_case_names_and_that_is_missing(tmp_path, capsys, key, line, message):
    """A fan or an earlier result that is not there ends `solve` in 2 with file, line and key, and nothing written."""
    text = (
        TEXT.replace("pressure = 1.5", line)
        if "fan" in key
        else TEXT.replace("end_time = 2.6", f"end_time = 2.6\n{line}")
    )
    case = written(tmp_path, text)
    assert cli.main(["solve", str(case), "--output", str(tmp_path / "run.h5"), "--quiet"]) == 2
    number = 1 + text.splitlines().index(line)
    said = capsys.readouterr().err
    assert said.startswith(f"{case}:{number}: {key}: {message}") and ", got " in said
    assert len(said.splitlines()) == 1
    assert list(tmp_path.iterdir()) == [case]


def test_a_start_that_is_no_result_is_refused(tmp_path, capsys):
    """run.start_from with a file that is no result ends in 2 and one message that names it."""
    (tmp_path / "old.h5").write_bytes(b"no result")
    case = written(tmp_path, TEXT.replace("end_time = 2.6", 'end_time = 2.6\nstart_from = "old.h5"'))
    assert cli.main(["solve", str(case), "--output", str(tmp_path / "run.h5"), "--quiet"]) == 2
    assert capsys.readouterr().err == f"{tmp_path / 'old.h5'}: not a result file (no HDF5)\n"
    assert not (tmp_path / "run.h5").exists()


@pytest.mark.parametrize(
    "changes, outcome, status",
    [
        (STEADY, "steady", 0),
        ({**AVERAGED, "run.spin_up": 4.0, **{k: STEADY[k] for k in STEADY if "model" in k}}, "time-averaged", 0),
        (AVERAGED, "not-converged", 3),
        ({"run.end_time": 0.1, "events": None}, "transient", 0),
    ],
)
def test_the_exit_status_follows_the_outcome(tmp_path, capsys, changes, outcome, status):
    """`solve` ends in 0 where the run is done and in 3 where it is not; `measure` and its JSON tell which it was."""
    case = small(changes)
    path, output = written(tmp_path, case.text), tmp_path / "run.h5"
    assert cli.main(["solve", str(path), "--output", str(output), "--quiet"]) == status
    said = capsys.readouterr().err
    text = load_result(output).attributes["outcome_text"]
    assert said == (f"{text}\nresult so far: {output}\n" if status else "")
    measures = measure(output)
    data = measures.as_json()
    assert (data["outcome"], data["outcome_text"]) == (outcome, text)
    # The sheet has the outcome's name once, not again at the head of its text.
    sheet = " ".join(measures.text().split())
    assert text.split(": ", 1)[1] in sheet
    assert outcome in sheet


@pytest.mark.parametrize(
    "outcome, words",
    [(Outcome.NOT_CONVERGED, "disagree by 61.6 %; lengthen run.spin_up"), (Outcome.TIME_AVERAGED, "agree to 61.6 %")],
)
def test_the_difference_of_the_half_windows_stands_at_its_word(outcome, words):
    """It follows what it measures and stands there once, not behind the advice."""
    text = outcome.with_difference(0.616)
    assert words in text and text.count("%") == 1


def test_a_search_that_fails_says_why(tmp_path):
    """A steady case without a steady state in reach ends in averages or not converged, and tells what was tried."""
    result = solve(small(AVERAGED), tmp_path / "run.h5")
    assert result.outcome in (Outcome.TIME_AVERAGED, Outcome.NOT_CONVERGED)
    attributes = load_result(tmp_path / "run.h5").attributes
    assert "residual" in attributes["steady_attempt"]
    measures = measure(tmp_path / "run.h5")
    assert measures.as_json()["outcome"] == result.outcome.label
    assert ("not converged" in measures.text().lower()) == (result.outcome is Outcome.NOT_CONVERGED)


def test_a_run_starts_from_an_earlier_result(tmp_path, monkeypatch):
    """Started from an earlier field the first frame is that field, on its grid exactly, on another one nearly."""
    monkeypatch.chdir(tmp_path)  # the small case stands in the working folder
    first, second, third = (tmp_path / name for name in ("first.h5", "second.h5", "third.h5"))
    solve(small({"run.end_time": 0.5, "events": None}), first)
    again = {"run.end_time": 0.1, "events": None, "run.start_from": first.name}
    solve(small(again), second)
    solve(small({**again, "grid.cells_r": 20, "grid.cells_z": 30}), third)
    with h5py.File(first) as file:
        kept = file["restart/state/v"][()]
    same, other = load_result(second).frames, load_result(third).frames
    # The start is projected once, which leaves v as it was.
    assert np.array_equal(same["tangential_velocity"][0], kept)
    assert other["tangential_velocity"][0].max() == pytest.approx(kept.max(), rel=0.1)


def test_a_dimensionless_result_holds_the_same_flow(tmp_path):
    """Read back, the dimensionless file gives the SI numbers to round-off; as it stands its units are 1."""
    si, bare = tmp_path / "si.h5", tmp_path / "bare.h5"
    changes = {"run.end_time": 0.5, "events": None}
    solve(small(changes), si)
    solve(small({**changes, "run.output": "dimensionless"}), bare)
    one, other = load_result(si), load_result(bare)
    for name, values in one.frames.items():
        np.testing.assert_allclose(other.frames[name], values, rtol=1e-12, atol=1e-14 * np.abs(values).max())
    for name, values in one.budget.items():
        np.testing.assert_allclose(other.budget[name], values, rtol=1e-12, atol=1e-14 * np.abs(values).max())
    with open_result(bare) as dataset:
        assert dataset.tangential_velocity.attrs["units"] == "1"
        scale = dataset.tangential_velocity.attrs["scale"]
        assert float(dataset.tangential_velocity.max()) * scale == pytest.approx(
            one.frames["tangential_velocity"].max(), rel=1e-12
        )


def test_probes_and_lines_are_kept_at_every_step(tmp_path):
    """Points and lines have a row for each step and say where they are; a line along the axis runs over z."""
    path = tmp_path / "run.h5"
    solve(small({"run.end_time": 0.3, "events": None}), path)
    with h5py.File(path) as file:
        steps = file["history/time"].shape[0]
        probes = file["probes"]
        assert probes["probe_time"].shape == (steps,)
        assert dict(probes["foot_axial_velocity"].attrs)["z"] == 0.05
        assert probes["axis_axial_velocity"].shape == (steps, file["z"].shape[0])
        assert probes["line_2_pressure"].shape == (steps, file["r"].shape[0])


def test_frames_stand_at_multiples_of_their_interval(tmp_path):
    """Frame times are the multiples of run.frame_interval up to the end, to the last bit."""
    path = tmp_path / "run.h5"
    solve(small({"run.end_time": 1.0, "run.frame_interval": 0.1, "events": None}), path)
    assert load_result(path).time.tolist() == [n * 0.1 for n in range(11)]


def test_a_start_without_fog_serves_a_case_with_fog(tmp_path, monkeypatch):
    """A field from a case without fog begins a case with fog, on the same grid and on another one."""
    monkeypatch.chdir(tmp_path)
    first = tmp_path / "first.h5"
    solve(small({"run.end_time": 0.3, "events": None, "fog": None}), first)
    for cells in (16, 20):
        changes = {"run.end_time": 0.1, "events": None, "run.start_from": first.name, "grid.cells_r": cells}
        assert solve(small(changes), tmp_path / "second.h5").outcome is Outcome.TRANSIENT
        fog = load_result(tmp_path / "second.h5").frames["fog_concentration"]
        assert fog[0].max() == 0.0


def test_only_a_known_decay_is_stable():
    """A state whose disturbance grows, or whose modes were not found, does not count as stable."""
    assert StabilityTest(growth_rate=-1e-3, duration=40.0, by_modes=True).is_stable
    for rate in (1e-3, math.nan):
        assert not StabilityTest(growth_rate=rate, duration=40.0, by_modes=True).is_stable
