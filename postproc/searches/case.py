"""The best variant of a search as a case file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from swirlwright.postproc.searches.answer import Search
from swirlwright.solver.casefile import vary
from swirlwright.solver.moved_case import refuse_other, write_moved
from swirlwright.solver.schema import Case
from swirlwright.solver.variants import Variant

# First words of a file that `search` wrote; only such a file is replaced.
MARK = "# Found by swirlwright search, "


def refuse_other_file(output: Path) -> None:
    """Refuse to write over a file of somebody else, before anything is run.

    Raises
    ------
    InputError
        If one stands there.
    """
    refuse_other(output, MARK, "search")


def write_best(answer: Search, variants: Sequence[Variant], output: Path) -> Path | None:
    """Write the best variant's case; None, and no file left of an earlier search, where there is no best.

    Parameters
    ----------
    answer : Search
    variants : sequence of Variant
    output : Path
    """
    best = answer.best
    if best is None:
        output.unlink(missing_ok=True)
        return None
    case = variants[best.variant].case
    assert case is not None
    write_moved(_without_start(case), output, [f"{MARK}{line}" if n == 0 else f"# {line}" for n, line in _told(answer)])
    return output


def _without_start(case: Case) -> Case:
    return case if case.run.start_from is None else vary(case, {"run.start_from": None})


def _told(answer: Search) -> list[tuple[int, str]]:
    best = answer.best
    assert best is not None
    status = "" if best.is_converged else ", NOT CONVERGED"
    lines = [f"{answer.title}: variant {best.variant} of {answer.count}, objective {best.objective:.4g}{status}"]
    lines += [f"{p.name} = {p.value:.6g} {p.units}".rstrip().removesuffix(" 1") for p in best.parameters]
    lines += [limit.text() for limit in best.limits]
    return list(enumerate(lines))
