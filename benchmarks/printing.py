"""What the benchmarks share: a run in a process of its own, the machine's line, a Markdown table."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
from collections.abc import Iterable, Sequence
from importlib.metadata import version
from pathlib import Path

CASES = Path(__file__).parent.parent / "cases"
# One thread a process, so that a run beside another one does not change its times more than it must.
ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "NUMBA_NUM_THREADS": "1"}
SOLVED, NOT_CONVERGED = 0, 3


def solve_apart(case: Path, result: Path) -> int:
    """Run `swirlwright solve` on one thread; returns its exit status, 0 or 3.

    Raises
    ------
    RuntimeError
        If it ends otherwise: an older file at `result` must not pass for its answer.
    """
    command = [sys.executable, "-m", "swirlwright.cli", "solve", str(case), "--output", str(result), "--quiet"]
    done = subprocess.run(command, env=os.environ | ONE_THREAD, capture_output=True, text=True)
    if done.returncode not in (SOLVED, NOT_CONVERGED):
        raise RuntimeError(f"solve {case.name} ended with status {done.returncode}: {done.stderr.strip()}")
    return done.returncode


def machine() -> str:
    """The kind of machine and the versions that a time depends on, in a line."""
    libraries = ", ".join(f"{name} {version(name)}" for name in ("swirlwright", "numba", "numpy", "scipy"))
    kind = f"{platform.system()} {platform.machine()}, {_processor()}, {os.cpu_count()} cores"
    return f"{kind}; Python {platform.python_version()}, {libraries}; one thread a process."


def _processor() -> str:
    """The processor's name where the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        lines = []
    names = [line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.processor() or "processor unknown"


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A Markdown table."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def number(value: float | None, scale: float = 1.0, form: str = ".3g") -> str:
    """`value` times `scale`, or a dash where there is none."""
    return "-" if value is None else f"{scale * value:{form}}"
