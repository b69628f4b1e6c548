"""What a long run says while it runs."""

from __future__ import annotations

import io

import pytest

from swirlwright.solver.progress import SILENT, LogWatch, TerminalWatch, watcher


def test_a_log_gets_a_line_for_every_twentieth_of_the_work() -> None:
    """A thousand quick steps make twenty lines, each with the share done and the time left."""
    stream, now = io.StringIO(), [0.0]
    watch = LogWatch(stream, lambda: now[0])
    watch.start("solve", 1000)
    for step in range(1, 1001):
        now[0] += 0.1
        watch.update(step)
    lines = stream.getvalue().splitlines()
    assert len(lines) == 20
    assert lines[4] == "solve: 25 %, 25 s gone, 1 min 15 s left"


def test_a_log_of_a_slow_run_gets_a_line_every_half_minute() -> None:
    """Where a step takes a minute, each makes a line, however small its share."""
    stream, now = io.StringIO(), [0.0]
    watch = LogWatch(stream, lambda: now[0])
    watch.start("solve", 10_000)
    for step in range(1, 4):
        now[0] += 61
        watch.update(step, f"step {step}")
    lines = stream.getvalue().splitlines()
    assert len(lines) == 3
    assert lines[0] == "solve: 0 %, 1 min 01 s gone, 169 h 25 min left; step 1"


def test_work_of_unknown_size_is_counted() -> None:
    """Without a total the log says how much is done and for how long, and no time left."""
    stream, now = io.StringIO(), [0.0]
    watch = LogWatch(stream, lambda: now[0])
    watch.start("steady", 0)
    now[0] = 31
    watch.update(7)
    assert stream.getvalue() == "steady: 7, 31 s gone\n"


def test_a_terminal_watch_takes_the_same_calls(capsys: pytest.CaptureFixture[str]) -> None:
    """The bar takes the calls of every watcher, in any order, and keeps messages."""
    watch = TerminalWatch()
    watch.update(1)
    watch.finish()
    watch.start("solve", 2)
    watch.update(1, "half")
    watch.message("kept [not markup]")
    watch.start("again", 0)
    watch.update(1)
    watch.finish()
    assert "kept [not markup]" in capsys.readouterr().err


def test_the_watcher_suits_the_stream() -> None:
    """Away from a terminal there are lines; with quiet there is nothing."""
    assert isinstance(watcher(), LogWatch)
    assert watcher(quiet=True) is SILENT
