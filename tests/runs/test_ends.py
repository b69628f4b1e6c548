"""Does every end of a run say what happened, keep what was computed and set the right exit status?"""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys

import h5py
import numpy as np
import pytest
from small import TEXT, small

from swirlwright import cli
from swirlwright.postproc.measures import measure
from swirlwright.solver import results, transient
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.results import WriteError, load_result, open_result
from swirlwright.solver.solve import solve

AVERAGED = {"run.mode": "steady", "run.spin_up": 0.5, "run.average": 0.5, "events": None, "run.max_iterations": 2}


def written(tmp_path, text: str = TEXT):
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


def _frames(path) -> int:
    try:
        with h5py.File(path, "r", locking=False) as file:
            return int(file.attrs["n_complete"])
    except (OSError, KeyError):
        return 0


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
    monkeypatch.setattr(transient, "COURANT", 60.0)
    monkeypatch.setattr(transient, "TURN", 60.0)
    result = solve(small({"run.max_step": 0.5, "run.end_time": 30.0, "events": None}), tmp_path / "run.h5")
    assert result.outcome is Outcome.BLEW_UP
    assert "fastest cell at r =" in result.text
    assert result.outcome.exit_status == 3
    data = load_result(tmp_path / "run.h5")
    assert data.time.size >= 1
    assert all(np.isfinite(values).all() for values in data.frames.values())


def test_a_full_disk_keeps_the_frames(tmp_path, monkeypatch):
    """When the disk is full in the fifth frame, one message names the file and what is kept, and four frames are."""
    calls = 0

    def full(file: h5py.File, n_bytes: int) -> None:
        nonlocal calls
        calls += 1
        if calls > 4:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(results, "reserve", full)
    with pytest.raises(WriteError, match=r"run\.h5: the disk is full; the 4 frame"):
        solve(small(), tmp_path / "run.h5")
    assert load_result(tmp_path / "run.h5").time.size == 4


def test_a_search_that_fails_says_why(tmp_path):
    """A steady case without a steady state in reach ends in averages or not converged, and tells what was tried."""
    result = solve(small(AVERAGED), tmp_path / "run.h5")
    assert result.outcome in (Outcome.TIME_AVERAGED, Outcome.NOT_CONVERGED)
    attributes = load_result(tmp_path / "run.h5").attributes
    assert "residual" in attributes["steady_attempt"]
    measures = measure(tmp_path / "run.h5")
    assert measures.as_json()["outcome"] == result.outcome.label
    assert ("not converged" in measures.text().lower()) == (result.outcome is Outcome.NOT_CONVERGED)


def test_a_run_starts_from_an_earlier_result(tmp_path):
    """Started from an earlier field the first frame is that field, on its grid exactly, on another one nearly."""
    first, second, third = (tmp_path / name for name in ("first.h5", "second.h5", "third.h5"))
    solve(small({"run.end_time": 0.5, "events": None}), first)
    again = {"run.end_time": 0.1, "events": None, "run.start_from": str(first)}
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
    """Frame times are the multiples of run.frame_interval up to the end."""
    path = tmp_path / "run.h5"
    solve(small({"run.end_time": 1.0, "events": None}), path)
    assert load_result(path).time == pytest.approx([0.0, 0.25, 0.5, 0.75, 1.0], abs=1e-12)
