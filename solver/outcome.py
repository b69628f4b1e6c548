"""How a run ended, as data: the text tells the next move, the status goes to the shell."""

from __future__ import annotations

from enum import Enum


class Outcome(Enum):
    """End of a run; the name, in lower case with hyphens, stands in the result file."""

    STEADY = ("steady: the residual fell below run.tolerance and a perturbation of the flow dies out", 0)
    TIME_AVERAGED = (
        "time-averaged: no stable steady state was found; the two halves of the averaging window agree",
        0,
    )
    TRANSIENT = ("transient: the run reached run.end_time", 0)
    NOT_CONVERGED = (
        "not converged: no stable steady state was found and the two halves of the averaging window disagree; "
        "lengthen run.spin_up and run.average and solve anew",
        3,
    )
    INTERRUPTED = ("interrupted: what was computed so far is kept; run again with --resume to go on", 1)
    OUT_OF_TIME = (
        "not converged: run.time_limit ended the run; what was computed so far is kept; run again with --resume to "
        "go on",
        3,
    )
    BLEW_UP = (
        "not converged: the flow ran away to speeds that nothing drives; the last good state is kept; lower "
        "run.max_step or refine the grid at the place named",
        3,
    )

    def __init__(self, text: str, exit_status: int) -> None:
        self.text = text
        self.exit_status = exit_status

    @property
    def label(self) -> str:
        """The name as the result file has it."""
        return self.name.lower().replace("_", "-")

    def with_difference(self, share: float) -> str:
        """The text of an averaged run, with what its two half windows differ by, as a share of 1."""
        word, link = ("disagree", "by") if self is Outcome.NOT_CONVERGED else ("agree", "to")
        return self.text.replace(word, f"{word} {link} {100 * share:.1f} %")


NOT_CONVERGED = Outcome.NOT_CONVERGED.label


def alarm(label: str) -> str:
    """NOT CONVERGED in capitals, with the outcome of that label behind where it is another."""
    return "NOT CONVERGED" if label == NOT_CONVERGED else f"NOT CONVERGED ({label})"


def ending(label: str, text: str) -> str:
    """What a run's outcome means: its text without the label, or "not converged", in front."""
    for name in (label, label.replace("-", " "), NOT_CONVERGED.replace("-", " ")):
        text = text.removeprefix(f"{name}: ")
    return text
