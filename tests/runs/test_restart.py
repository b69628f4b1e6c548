"""Does a run that was stopped and taken up again end as if nothing had happened?"""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small import TEXT, contents, differences, small

from swirlwright.solver import transient, unsteady
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.errors import ResultError
from swirlwright.solver.interrupts import Interrupt
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import SilentWatch
from swirlwright.solver.results import load_result
from swirlwright.solver.solve import solve
from swirlwright.solver.unsteady import transient_legs

CASES = Path(__file__).parents[2] / "cases"
AVERAGED = {"run.mode": "steady", "run.spin_up": 1.0, "run.average": 1.5, "events": None, "run.max_iterations": 3}
# Coarse, and long enough for the network to follow the flow three times, with an event among them.
FANS = {
    "grid.cells_r": 16,
    "grid.cells_z": 24,
    "grid.core_spacing": None,
    "grid.floor_spacing": None,
    "run.end_time": 3.4,
    "events": [{"at": 2.3, "exhaust": 0.5}],
}


class Interrupting(SilentWatch):
    """Sends Ctrl-C to this very process once the march has come to `moment` [s]."""

    def __init__(self, moment: float) -> None:
        self.moment, self.is_done = moment, False

    def update(self, done: float, note: str = "") -> None:
        if note.startswith("t =") and done > self.moment and not self.is_done:
            self.is_done = True
            self.act()

    def act(self) -> None:
        signal.raise_signal(signal.SIGINT)


class Dropping(Interrupting):
    """Ends the run as a second Ctrl-C does: at once, with nothing saved."""

    def act(self) -> None:
        raise Interrupt


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory) -> Path:
    """The transient run in one go."""
    path = tmp_path_factory.mktemp("undisturbed") / "run.h5"
    assert solve(small(), path).outcome is Outcome.TRANSIENT
    return path


# The event is at 1.5 s, the network follows at 1 and 2 s: ends before, at and after each of them.
@pytest.mark.parametrize("end", [0.6, 1.0, 1.3, 1.5, 1.6, 2.0])
def test_a_longer_run_continues_bit_for_bit(undisturbed, tmp_path, end):
    """A finished run taken on to 2.6 s, over an event named only then, equals the run in one go in everything."""
    path = tmp_path / "run.h5"
    shorter = small({"run.end_time": end} if end > 1.5 else {"run.end_time": end, "events": None})
    assert solve(shorter, path).outcome is Outcome.TRANSIENT
    assert solve(small(), path, resume=True).outcome is Outcome.TRANSIENT
    assert differences(path, undisturbed) == []
    assert "@case_text" in contents(path)


def test_a_dimensionless_run_continues_bit_for_bit(tmp_path):
    """Scales do not come between a run and its restart."""
    bare = {"run.output": "dimensionless"}
    one, other = tmp_path / "one.h5", tmp_path / "other.h5"
    solve(small({**bare, "run.end_time": 1.6}), one)
    solve(small(bare), one, resume=True)
    solve(small(bare), other)
    assert differences(one, other) == []


def test_a_run_with_fans_continues_bit_for_bit(tmp_path):
    """With both fans following the flow's pressure, a run stopped twice equals the one in one go."""
    case = vary(read_case(CASES / "start-up.toml"), FANS)
    one, other = tmp_path / "one.h5", tmp_path / "other.h5"
    solve(case, one)
    assert solve(case, other, Interrupting(1.4)).outcome is Outcome.INTERRUPTED
    speed = load_result(other).places["hole_speed"]
    assert solve(case, other, Interrupting(2.7), resume=True).outcome is Outcome.INTERRUPTED
    solve(case, other, resume=True)
    assert differences(one, other) == []
    # Otherwise nothing would have been followed.
    assert (load_result(one).places["hole_speed"] != speed).any()


# The last one falls between the two equal steps that meet the end.
@pytest.mark.parametrize("moment", [0.0, 0.4, 1.2, 1.499, 2.2, 2.585])
def test_an_interrupted_run_continues_bit_for_bit(undisturbed, tmp_path, moment):
    """Ctrl-C keeps what was computed and the resumed run equals the undisturbed one in every variable."""
    path = tmp_path / "run.h5"
    assert solve(small(), path, Interrupting(moment)).outcome is Outcome.INTERRUPTED
    kept = load_result(path)
    # The last frame is where the run was stopped.
    assert moment < kept.time[-1] < moment + 0.1
    assert kept.time[-2] < moment + 1e-9
    solve(small(), path, resume=True)
    assert differences(path, undisturbed) == []


@pytest.mark.parametrize("closure", ["mixing-length", "spalart-allmaras"])
@pytest.mark.parametrize("moment", [0.7, 2.0])
def test_averages_continue_bit_for_bit(tmp_path, moment, closure):
    """A steady case on its way to time averages, stopped in spin-up or window, ends in the same averages."""
    one, other = tmp_path / "one.h5", tmp_path / "other.h5"
    case = small({**AVERAGED, "model.closure": closure})
    solve(case, one)
    assert solve(case, other, Interrupting(moment)).outcome is Outcome.INTERRUPTED
    solve(case, other, resume=True)
    assert differences(one, other) == []
    assert {"mean_pressure", "@steady_attempt"} <= set(contents(one))


def test_a_run_out_of_time_continues_bit_for_bit(undisturbed, tmp_path):
    """A run that its time limit ends, and that is given more time at the next try, ends as the undisturbed one."""
    path = tmp_path / "run.h5"
    assert solve(small({"run.time_limit": 0.2}), path).outcome is Outcome.OUT_OF_TIME
    solve(small(), path, resume=True)
    assert differences(path, undisturbed) == []


def test_a_killed_run_continues_bit_for_bit(undisturbed, tmp_path):
    """After SIGKILL the file holds whole frames, and the run goes on from its last checkpoint bit for bit."""
    case, path = tmp_path / "small.toml", tmp_path / "run.h5"
    case.write_text(TEXT)
    code = (
        "import sys, time\n"
        "from swirlwright.solver import unsteady\n"
        "from swirlwright.solver.casefile import read_case\n"
        "from swirlwright.solver.solve import solve\n"
        "from swirlwright.solver.progress import SilentWatch\n"
        "unsteady.CHECKPOINT_SECONDS = 0.1\n"
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
    assert load_result(path).attributes["outcome"] == "interrupted"
    solve(small(), path, resume=True)
    assert differences(path, undisturbed) == []


def test_checkpoints_do_not_change_a_run(undisturbed, tmp_path, monkeypatch):
    """With a checkpoint every few steps, and dropped at last without one more, the run ends the same."""
    monkeypatch.setattr(unsteady, "CHECKPOINT_SECONDS", 0.1)
    path = tmp_path / "run.h5"
    with pytest.raises(Interrupt):
        solve(small(), path, Dropping(1.8))
    solve(small(), path, resume=True)
    assert differences(path, undisturbed) == []


@pytest.mark.parametrize("changes", [{}, AVERAGED], ids=["transient", "steady"])
def test_a_run_without_a_checkpoint_begins_anew(tmp_path, changes):
    """Ended at once before its first checkpoint a run has nothing to go on from: --resume begins it again."""
    one, other = tmp_path / "one.h5", tmp_path / "other.h5"
    solve(small(changes), one)
    with pytest.raises(Interrupt):
        solve(small(changes), other, Dropping(0.5))
    solve(small(changes), other, resume=True)
    assert differences(one, other) == []


def test_frames_do_not_change_the_steps(undisturbed, tmp_path):
    """Another frame interval leaves every step and the final state the same to the last bit."""
    path = tmp_path / "run.h5"
    solve(small({"run.frame_interval": 0.1}), path)
    one, other = contents(undisturbed), contents(path)
    assert len(other["time"]) > len(one["time"])
    for name in ("history/time", "history/step_size", "restart/state/u", "restart/state/p", "mean_pressure"):
        assert (one[name] == other[name]).all(), name


def test_what_cannot_go_on_is_refused(undisturbed, tmp_path, monkeypatch):
    """Another case, an end that is past, a steady or a blown-up result, no result: one message each, nothing lost."""
    before = contents(undisturbed)
    refusals = {
        "made by another case": {"model.length_constant": 0.1},
        "only run.end_time, run.time_limit and events": {"events": [{"at": 1.5, "exhaust": 0.6}]},
        "past run.end_time = 1.6 s": {"run.end_time": 1.6},
    }
    for message, changes in refusals.items():
        with pytest.raises(ResultError, match=message):
            solve(small(changes), undisturbed, resume=True)
    with pytest.raises(ResultError, match="no such file"):
        solve(small(), tmp_path / "none.h5", resume=True)
    assert differences(undisturbed, undisturbed) == [] and contents(undisturbed).keys() == before.keys()

    steady = small({"run.mode": "steady", "events": None, "model.closure": "constant", "model.viscosity_ratio": 200})
    assert solve(steady, tmp_path / "steady.h5").outcome is Outcome.STEADY
    with pytest.raises(ResultError, match="nothing to resume"):
        solve(steady, tmp_path / "steady.h5", resume=True)

    monkeypatch.setattr(transient, "PHASE", 80.0)
    wild = small({"run.max_step": 0.5, "run.end_time": 30.0, "events": None})
    assert solve(wild, tmp_path / "wild.h5").outcome is Outcome.BLEW_UP
    with pytest.raises(ResultError, match="blew up"):
        solve(wild, tmp_path / "wild.h5", resume=True)


def test_events_and_agreements_at_one_time_make_one_leg():
    """Legs end at events, full seconds and the end, once each; an event at 0 or at a full second holds from there."""
    # 3000 ms / 1000 and such: the same time but for round-off.
    at = [(0.0, 0.5), (1.0, 0.6), (1.5, 0.7), (2.0000000000000004, 0.8), (2.9999999999999996, 0.9)]
    case = small({"run.end_time": 3.2, "events": [{"at": t, "exhaust": factor} for t, factor in at]})
    legs = transient_legs(case)
    assert [leg.end for leg in legs] == pytest.approx([1.0, 1.5, 2.0, 3.0, 3.2], abs=1e-12)
    assert [leg.blowing.exhaust for leg in legs] == [0.5, 0.6, 0.7, 0.8, 0.9]
    assert legs[-1].end == 3.2


def test_a_changed_fan_curve_is_another_run(tmp_path):
    """With the same case but another curve in its fan file, a resume is refused and names that file."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    shutil.copy(CASES / "start-up.toml", tmp_path)
    case = vary(read_case(tmp_path / "start-up.toml"), {**FANS, "run.end_time": 0.2, "events": None})
    solve(case, tmp_path / "run.h5")
    assert case.exhaust is not None and case.exhaust.fan is not None
    fan = tmp_path / case.exhaust.fan
    fan.write_text(fan.read_text().replace("speed_rpm =", "speed_rpm = 1.0#"))
    with pytest.raises(ResultError, match=f"other contents of {case.exhaust.fan}"):
        solve(vary(case, {"run.end_time": 0.4}), tmp_path / "run.h5", resume=True)
