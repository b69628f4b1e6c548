"""One variant in a process of its own: what it is given, how it is watched, what it leaves.

A task holds all it needs, so that another machine can run it: no file but those in its own folder is read.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from swirlwright.postproc.sweeps.store import Record

# One thread each: the variants themselves run side by side.
ONE_THREAD = {f"{name}_NUM_THREADS": "1" for name in ("OMP", "OPENBLAS", "MKL", "NUMBA", "VECLIB_MAXIMUM")}

# Name of the result a variant starts from, and of its own, in its folder.
START, RESULT = "start.h5", "result.h5"


@dataclass(frozen=True)
class Task:
    """A variant to run.

    Attributes
    ----------
    key : str
        Hash of all that decides its answer.
    case_name, case_text : str
        Name of the base case's file, and the variant's case.
    files : dict
        The fan files it names, as they stand.
    start : Path or bytes or None
        The result it starts from, named start.h5 in its case.
    time_limit, memory_limit : float or None
        Wall-clock time [s] and address space [byte].
    wants_result : bool
        Whether its result file is used afterwards.
    """

    key: str
    case_name: str
    case_text: str
    files: Mapping[str, str]
    start: Path | bytes | None
    time_limit: float | None
    memory_limit: float | None
    wants_result: bool


class Attempt:
    """A running variant."""

    def __init__(self, task: Task, scratch: Path):
        """Start it in an empty folder of its own."""
        self.task, self.scratch = task, scratch
        _lay_out(task, scratch)
        self._began = time.monotonic()
        self._errors = open(scratch / "errors.txt", "wb")  # noqa: SIM115 closed when it has ended
        self._process = subprocess.Popen(
            [sys.executable, "-m", "swirlwright.postproc.sweeps.worker", str(scratch)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=self._errors,
            env={**os.environ, **ONE_THREAD},
            start_new_session=True,  # Ctrl-C is for the sweep, which then ends its variants
        )

    def answer(self) -> Record | None:
        """What it left; None while it runs. A variant past its time limit is ended here."""
        code = self._process.poll()
        if code is None and not self._is_late():
            return None
        record = self._left(code)
        self.end()
        return record

    def wait(self) -> Record:
        """Wait for its end."""
        while (record := self.answer()) is None:
            time.sleep(0.05)
        return record

    def end(self) -> None:
        """End the process, if it still runs."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._errors.close()

    def _is_late(self) -> bool:
        limit = self.task.time_limit
        return limit is not None and time.monotonic() - self._began > limit

    def _left(self, code: int | None) -> Record:
        seconds = time.monotonic() - self._began
        if code is None:
            return Record("failed", f"still running at its time limit of {self.task.time_limit:g} s", seconds=seconds)
        if code == 0:
            data = json.loads((self.scratch / "answer.json").read_text())
            return Record(**data, seconds=seconds)
        reason, limit = _why(code, self.scratch / "errors.txt"), self.task.memory_limit
        # Compiled code that is refused memory may crash instead of saying so.
        reason += "" if limit is None else f" (under a memory limit of {limit / 1e9:g} GB)"
        return Record("failed", reason, seconds=seconds)


def _lay_out(task: Task, scratch: Path) -> None:
    for name, text in task.files.items():
        (scratch / name).parent.mkdir(parents=True, exist_ok=True)
        (scratch / name).write_text(text, encoding="utf-8")
    if isinstance(task.start, bytes):
        (scratch / START).write_bytes(task.start)
    elif task.start is not None:
        shutil.copyfile(task.start, scratch / START)
    (scratch / task.case_name).write_text(task.case_text, encoding="utf-8")
    order = {"case": task.case_name, "memory_limit": task.memory_limit, "parent": os.getpid()}
    (scratch / "order.json").write_text(json.dumps(order))


def _why(code: int, errors: Path) -> str:
    """Why a process ended without an answer: its signal or status, and its last words."""
    if code < 0:
        name = signal.Signals(-code).name if -code in signal.valid_signals() else f"signal {-code}"
        reason = f"ended by {name}"
        if name == "SIGKILL":
            reason += ", as by the system when memory runs out, or by somebody"
    else:
        reason = f"ended with status {code}"
    words = [line.strip() for line in errors.read_text(errors="replace").splitlines() if line.strip()]
    return f"{reason}: {words[-1][:300]}" if words else reason
