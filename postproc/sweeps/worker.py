"""The process of one variant: `python -m swirlwright.postproc.sweeps.worker FOLDER`.

FOLDER holds order.json and the case; answer.json is written there. Nothing heavy is imported before the limits hold.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from swirlwright.solver.errors import is_hunger

DIE_WITH_PARENT = 1  # PR_SET_PDEATHSIG of Linux's prctl


def main(scratch: Path) -> int:
    """Solve and measure the case in a folder, and leave the answer there."""
    order = json.loads((scratch / "order.json").read_text())
    _bind(order["parent"])
    limit = order["memory_limit"]
    try:
        if limit is not None:
            resource.setrlimit(resource.RLIMIT_AS, (int(limit), int(limit)))
        answer = _solved(scratch / order["case"])
    except Exception as error:
        answer = _starved(limit) if is_hunger(error) else _told(error, scratch)
    (scratch / "answer.json").write_text(json.dumps(answer, allow_nan=False))
    return 0


def _bind(parent: int) -> None:
    """End with the sweep, however it ends, and before it when the system runs out of memory."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(OSError, AttributeError):
        import ctypes

        ctypes.CDLL(None).prctl(DIE_WITH_PARENT, signal.SIGKILL)
    if os.getppid() != parent:
        sys.exit("the sweep has ended")
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("500")


def _solved(path: Path) -> dict[str, Any]:
    """Status, reason, outcome and measures of a case."""
    from swirlwright.postproc.measure_table import numbers_of, words_of
    from swirlwright.postproc.measures import measure_data
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.outcome import Outcome
    from swirlwright.solver.result_reading import load_result
    from swirlwright.solver.solve import solve

    result = solve(read_case(path), path.with_name("result.h5"))
    if result.outcome.exit_status != 0 and result.outcome is not Outcome.NOT_CONVERGED:
        return {"status": "failed", "reason": result.text, "outcome": result.outcome.label}
    data = load_result(result.path)
    measures = measure_data(data)
    is_done = result.outcome.exit_status == 0
    return {
        "status": "done" if is_done else "not-converged",
        "reason": "" if is_done else result.text,
        "outcome": result.outcome.label,
        "numbers": numbers_of(measures, data.attributes),
        "words": words_of(measures),
    }


def _starved(limit: float | None) -> dict[str, Any]:
    stated = "" if limit is None else f", its memory limit is {limit / 1e9:g} GB"
    return {"status": "failed", "reason": f"ran out of memory{stated}"}


def _told(error: Exception, scratch: Path) -> dict[str, Any]:
    """A case that is refused, or a run that failed, in words."""
    from swirlwright.solver.errors import InputError, SwirlwrightError

    text = str(error).replace(f"{scratch}{os.sep}", "").replace("\n", "; ")
    if isinstance(error, InputError):
        return {"status": "refused", "reason": text}
    reason = text if isinstance(error, SwirlwrightError) else f"{type(error).__name__}: {text}"
    return {"status": "failed", "reason": reason}


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
