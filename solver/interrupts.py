"""Ctrl-C that is never lost: some libraries swallow it in their callbacks, others turn it into errors of their own."""

from __future__ import annotations

import _thread
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# Until what was raised and swallowed is raised again.
AGAIN_SECONDS = 0.2


class Interrupt(KeyboardInterrupt):
    """Ctrl-C. Of its own class, because Python ends by the signal itself once its plain one has cut an exec short."""


@contextmanager
def handling_interrupt(handler: Callable[[int, object], None]) -> Iterator[None]:
    """Have `handler` answer Ctrl-C inside; not where this is no main thread, or where Ctrl-C is to be ignored."""
    before = signal.getsignal(signal.SIGINT)
    # A shell that starts a run in the background has Ctrl-C ignored: it is meant for somebody else.
    if threading.current_thread() is not threading.main_thread() or before in (signal.SIG_IGN, None):
        yield
        return
    signal.signal(signal.SIGINT, handler)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def raising_interrupt() -> Iterator[None]:
    """Let Ctrl-C inside end in Interrupt, whatever the code inside makes of it.

    It is raised again and again until the block is left: the compiler's callbacks swallow what is raised in them.
    """
    has_come, is_over = False, False
    again: threading.Timer | None = None
    told_before = sys.unraisablehook

    def note(number: int, frame: object) -> None:
        nonlocal has_come, again
        if is_over:
            return
        has_come = True
        again = threading.Timer(AGAIN_SECONDS, _thread.interrupt_main)
        again.daemon = True
        again.start()
        raise Interrupt

    def tell(unraisable: sys.UnraisableHookArgs) -> None:
        if not issubclass(unraisable.exc_type, Interrupt):
            told_before(unraisable)

    with handling_interrupt(note):
        sys.unraisablehook = tell
        try:
            yield
        except Exception:
            # An import that is cut short may say anything.
            if not has_come:
                raise
        finally:
            is_over = True
            if again is not None:
                again.cancel()
            sys.unraisablehook = told_before
    if has_come:
        raise Interrupt
