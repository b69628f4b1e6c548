"""Independent calls of a function in processes of their own, two at a time.

For the variants of one case beside its result, and for groups of checks. It is not the pool of a sweep
(`postproc/sweeps/pool.py`): that one works in a folder of records, answers with measures instead of what a function
returns, survives a variant that crashes, and names results by a hash, not by the case that they stand beside.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterable, Iterator
from multiprocessing import get_context
from typing import TypeVar

Task = TypeVar("Task")
Answer = TypeVar("Answer")

# The flow solver uses one core, and the machine meant in the time limits has two.
PROCESSES = 2


def in_processes(function: Callable[[Task], Answer], tasks: Iterable[Task]) -> Iterator[Answer]:
    """Yield the answers as they come, in no order; both functions and tasks must be picklable.

    Fresh processes: a fork would take over numba's and the linear algebra's threads. Ctrl-C is for this process alone,
    which then ends the others: each of them would print a stack trace.
    """
    with get_context("spawn").Pool(PROCESSES, signal.signal, (signal.SIGINT, signal.SIG_IGN)) as pool:
        yield from pool.imap_unordered(function, tasks)
