"""The command `swirlwright`: runs one verb; whatever goes wrong becomes one message and an exit status."""

from __future__ import annotations

import argparse
import os
import sys

from swirlwright.arguments import parser
from swirlwright.outputs import FAILED, say


def main(arguments: list[str] | None = None) -> int:
    """Run one verb.

    Parameters
    ----------
    arguments : list of str, optional
        Those of the command line by default.

    Returns
    -------
    int
        Exit status: 0 done; 1 failed; 2 wrong input; 3 solved but not converged, or a check of verify failed.
    """
    options = parser().parse_args(arguments)
    try:
        return _answer(options)
    except KeyboardInterrupt:
        return say("interrupted", FAILED)


def _answer(options: argparse.Namespace) -> int:
    """Run the verb; what goes wrong becomes one message and its status."""
    from swirlwright.solver.errors import SwirlwrightError
    from swirlwright.solver.interrupts import raising_interrupt

    try:
        with raising_interrupt():
            status: int = options.run(options)
        sys.stdout.flush()
        return status
    except SwirlwrightError as error:
        return say(str(error), error.exit_status)
    except BrokenPipeError:
        # The reader of our output has gone, as `head` does; what is left to flush must not complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except Exception as error:
        if options.traceback:
            raise
        from swirlwright.failures import in_words

        if (words := in_words(error, options.verb)) is not None:
            return say(words, FAILED)
        kind = type(error).__name__
        return say(f"internal error, {kind}: {error} (swirlwright --traceback {options.verb} shows where)", FAILED)


if __name__ == "__main__":
    sys.exit(main())
