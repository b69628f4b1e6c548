"""Does a run that was stopped and taken up again end as if nothing had happened?"""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small import TEXT, contents, differences, small

from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import SilentWatch
from swirlwright.solver.solve import solve


class Interrupting(SilentWatch):
    """Sends Ctrl-C to this very process once the march has come to `moment` [s]."""

    def __init__(self, moment: float) -> None:
        self.moment, self.is_done = moment, False

    def update(self, done: float, note: str = "") -> None:
        if note.startswith("t =") and done > self.moment and not self.is_done:
            self.is_done = True
            signal.raise_signal(signal.SIGINT)


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory) -> Path:
    """The transient run in one go."""
    path = tmp_path_factory.mktemp("undisturbed") / "run.h5"
    assert solve(small(), path).outcome is Outcome.TRANSIENT
    return path


def test_a_longer_run_continues_bit_for_bit(undisturbed, tmp_path):
    """A run to 1.3 s taken on to 2.6 s, over an event, equals the run to 2.6 s in every variable."""
    path = tmp_path / "run.h5"
    solve(small({"run.end_time": 1.3, "events": None}), path)
    with pytest.raises(Exception, match="another case"):
        solve(small(), path, resume=True)
    solve(small({"run.end_time": 1.6}), path)
    assert solve(small(), path, resume=True).outcome is Outcome.TRANSIENT
    assert differences(path, undisturbed) == []


@pytest.mark.parametrize("moment", [0.4, 1.2, 2.2])
def test_an_interrupted_run_continues_bit_for_bit(undisturbed, tmp_path, moment):
    """Ctrl-C keeps what was computed and the resumed run equals the undisturbed one in every variable."""
    path = tmp_path / "run.h5"
    assert solve(small(), path, Interrupting(moment)).outcome is Outcome.INTERRUPTED
    kept = contents(path)
    assert 0 < len(kept["time"]) < 11
    assert kept["history/time"][-1] > moment
    solve(small(), path, resume=True)
    assert differences(path, undisturbed) == []


@pytest.mark.parametrize("moment", [0.7, 2.0])
def test_averages_continue_bit_for_bit(tmp_path, moment):
    """A steady case on its way to time averages, stopped in spin-up or window, ends in the same averages."""
    changes = {"run.mode": "steady", "run.spin_up": 1.0, "run.average": 1.5, "events": None, "run.max_iterations": 3}
    one, other = tmp_path / "one.h5", tmp_path / "other.h5"
    solve(small(changes), one)
    assert solve(small(changes), other, Interrupting(moment)).outcome is Outcome.INTERRUPTED
    solve(small(changes), other, resume=True)
    assert differences(one, other) == []
    assert "mean_pressure" in contents(one)


def test_a_killed_run_continues_bit_for_bit(undisturbed, tmp_path, monkeypatch):
    """After SIGKILL the file holds whole frames, and the run goes on from its last checkpoint bit for bit."""
    case, path = tmp_path / "small.toml", tmp_path / "run.h5"
    case.write_text(TEXT)
    code = (
        "import sys, time\n"
        "from swirlwright.solver import unsteady\n"
        "from swirlwright.solver.casefile import read_case\n"
        "from swirlwright.solver.solve import solve\n"
        "from swirlwright.solver.progress import SilentWatch\n"
        "unsteady.CHECKPOINT_SECONDS = 0.0\n"
        "class Slow(SilentWatch):\n"
        "    def update(self, done, note=''):\n"
        "        if note.startswith('t =') and done > 1.0: print('there', flush=True); time.sleep(0.05)\n"
        f"solve(read_case({str(case)!r}), {str(path)!r}, Slow())\n"
    )
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "there\n"
    time.sleep(0.3)
    process.kill()
    process.wait()
    process.stdout.close()
    solve(small(), path, resume=True)
    assert differences(path, undisturbed) == []


def test_frames_do_not_change_the_steps(undisturbed, tmp_path):
    """Another frame interval leaves every step and the final state the same to the last bit."""
    path = tmp_path / "run.h5"
    solve(small({"run.frame_interval": 0.1}), path)
    one, other = contents(undisturbed), contents(path)
    assert len(other["time"]) > len(one["time"])
    for name in ("history/time", "history/step_size", "restart/state/u", "restart/state/p", "mean_pressure"):
        assert (one[name] == other[name]).all(), name
