"""Watchers: what a long loop tells while it runs. It calls them at every step, whichever one it has."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import Any, Protocol, TextIO

# A log keeps a line for every twentieth of the work, and one at least every half minute.
LOG_SHARE = 0.05
LOG_SECONDS = 30.0


class Watch(Protocol):
    """What a loop may tell."""

    def start(self, label: str, total: float) -> None:
        """Begin a stretch of work of size `total`, in any unit; 0 if the size is unknown."""

    def update(self, done: float, note: str = "") -> None:
        """Say how much is done, in the same unit, with a word on the state."""

    def message(self, text: str) -> None:
        """Say something worth keeping."""

    def finish(self) -> None:
        """End the stretch of work."""


class SilentWatch:
    """Tells nothing."""

    def start(self, label: str, total: float) -> None: ...

    def update(self, done: float, note: str = "") -> None: ...

    def message(self, text: str) -> None: ...

    def finish(self) -> None: ...


SILENT = SilentWatch()


class LogWatch:
    """Plain lines for a log file.

    Parameters
    ----------
    stream : text stream, optional
        Standard error by default.
    clock : callable
        Seconds of a steady clock.
    """

    def __init__(self, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic):
        self._stream = stream
        self._clock = clock
        self.start("", 0.0)

    def start(self, label: str, total: float) -> None:
        self._label, self._total = label, total
        self._began = self._told_at = self._clock()
        self._told = 0  # twentieths

    def update(self, done: float, note: str = "") -> None:
        now = self._clock()
        share = done / self._total if self._total > 0 else 0.0
        parts = int(share / LOG_SHARE + 1e-9)
        if parts <= self._told and now - self._told_at < LOG_SECONDS:
            return
        self._told, self._told_at = parts, now
        gone = now - self._began
        left = f", {_span(gone * (1 - share) / share)} left" if 0 < share <= 1 else ""
        part = f"{100 * share:.0f} %" if self._total > 0 else f"{done:g}"
        self.message(f"{self._label}: {part}, {_span(gone)} gone{left}{'; ' if note else ''}{note}")

    def message(self, text: str) -> None:
        print(text, file=self._stream or sys.stderr, flush=True)

    def finish(self) -> None: ...


class TerminalWatch:
    """A bar with the time left, on a terminal."""

    def __init__(self) -> None:
        from rich.console import Console

        self._console = Console(stderr=True)
        self._progress: Any = None
        self._task: Any = None

    def start(self, label: str, total: float) -> None:
        from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

        self.finish()
        columns = (TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn())
        self._progress = Progress(*columns, TextColumn("{task.fields[note]}"), console=self._console)
        self._task = self._progress.add_task(label, total=total or None, note="")
        self._progress.start()

    def update(self, done: float, note: str = "") -> None:
        if self._progress is not None:
            self._progress.update(self._task, completed=done, note=note)

    def message(self, text: str) -> None:
        self._console.print(text, markup=False, highlight=False, soft_wrap=True)

    def finish(self) -> None:
        if self._progress is not None:
            self._progress.stop()
            self._progress = None


def watcher(*, quiet: bool = False) -> Watch:
    """The watcher that suits standard error: a bar on a terminal, lines elsewhere, nothing if quiet."""
    if quiet:
        return SILENT
    return TerminalWatch() if sys.stderr.isatty() else LogWatch()


def _span(seconds: float) -> str:
    """A time span in the words of a clock."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {rest:02d} s"
