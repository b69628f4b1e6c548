"""A chamber and its scaled copy, both solved: verdicts and measures beside each other, and what similarity foretold."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from swirlwright.postproc.grid_and_spread import solve_variants
from swirlwright.postproc.measures import Measures
from swirlwright.postproc.sheet import LINES
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.scaling import Scaled
from swirlwright.solver.schema import Case

# Powers of length and velocity by the unit of a line of the sheet; Reynolds numbers have both. An eddy viscosity goes
# with velocity times length, so a Reynolds number on it alone would have none; a core may be laminar all the same, so
# that of the vortex, on the sum of both viscosities, is not foretold.
POWERS = {"": (0, 0), "%": (0, 0), "mm": (1, 0), "m/s": (0, 1), "m2/s": (1, 1), "Pa": (0, 2)}
EDDIES = ("mixing-length", "spalart-allmaras")


@dataclass(frozen=True)
class Line:
    """One measure of both chambers.

    Attributes
    ----------
    name, words, unit : str
    per_si : float
        Printed over SI.
    form : str
        How it is printed.
    original, scaled : float or None
        SI.
    foretold : float or None
        Scaled over original, were the flows similar; None where that is not known [1].
    """

    name: str
    words: str
    unit: str
    per_si: float
    form: str
    original: float | None
    scaled: float | None
    foretold: float | None

    @property
    def change(self) -> float | None:
        """Scaled over original, over what similarity foretold [1]; 1 for similar flows."""
        if not self.original or self.scaled is None or self.foretold is None:
            return None
        return self.scaled / self.original / self.foretold


@dataclass(frozen=True)
class SideBySide:
    """Both results."""

    scaled: Scaled
    original: Measures
    copy: Measures
    lines: tuple[Line, ...]

    @property
    def is_converged(self) -> bool:
        return self.original.is_converged and self.copy.is_converged

    def text(self) -> str:
        """Verdicts, then the measures in a table."""
        rows = ["", "Both solved"]
        for name, m in (("original", self.original), ("scaled", self.copy)):
            rows.append(f"  {name}: touchdown {m.verdict.touchdown}; {m.verdict.regime}; run {m.outcome}; {m.file}")
            rows.append(f"    {m.verdict.sentence}")
        rows += ["", f"  {'':<46}{'original':>10}{'scaled':>10}{'similar':>10}  off by"]
        rows += [_row(line) for line in self.lines]
        rows += ["", "  similar: what the original would become, were the flows similar; off by: how far they are not"]
        return "\n".join(rows)

    def as_json(self) -> dict[str, Any]:
        """The scaled case's sheet, both verdicts and every measure, SI."""
        verdicts = {
            name: {"touchdown": m.verdict.touchdown, "touchdown_share": m.verdict.share_standing,
                   "regime": m.verdict.regime, "outcome": m.outcome, "file": m.file}
            for name, m in (("original", self.original), ("scaled", self.copy))
        }  # fmt: skip
        measures = {
            line.name: {"original": line.original, "scaled": line.scaled, "foretold": line.foretold}
            for line in self.lines
        }
        return self.scaled.as_json() | {"verdicts": verdicts, "measures": measures}


def _row(line: Line) -> str:
    def shown(value: float | None) -> str:
        return "none" if value is None else f"{line.per_si * value:{line.form}}"

    name = f"{line.words} [{line.unit}]" if line.unit else line.words
    similar = "" if line.foretold is None else shown(None if line.original is None else line.original * line.foretold)
    off = "" if line.change is None else f"{100 * (line.change - 1):+.0f} %"
    return f"  {name:<46}{shown(line.original):>10}{shown(line.scaled):>10}{similar:>10}  {off}".rstrip()


def side_by_side(scaled: Scaled, original: Measures, copy: Measures) -> SideBySide:
    """Put the measures of a chamber and its scaled copy beside each other.

    Parameters
    ----------
    scaled : Scaled
        The rules that made the copy.
    original, copy : Measures
    """
    old, new = (m.field.scalars() | {"touchdown_share": m.verdict.share_standing} for m in (original, copy))
    table = (*LINES, ("touchdown_share", "share of time that a column stands", "%", 100.0, ".0f"))
    lines = tuple(
        Line(name, words, unit, per_si, form, old[name], new[name], _foretold(name, unit, scaled))
        for name, words, unit, per_si, form in table
    )
    return SideBySide(scaled, original, copy, lines)


def _foretold(name: str, unit: str, scaled: Scaled) -> float | None:
    has_eddies = scaled.case.model.closure in EDDIES
    if name == "radial_reynolds_number":
        return scaled.factors.reynolds
    if name == "radial_reynolds_number_effective":
        return 1.0 if has_eddies else scaled.factors.reynolds
    if name == "vortex_reynolds_number":
        return None if has_eddies else scaled.factors.reynolds
    return scaled.factors.powers(*POWERS[unit])


def solve_both(case: Case, written: Case, scaled: Scaled, result: Path, watch: Watch = SILENT) -> SideBySide:
    """Solve a chamber and its scaled copy, two at a time; results of the very same cases that are there are kept.

    Parameters
    ----------
    case, written : Case
        The original, and the scaled case as it stands in its file.
    scaled : Scaled
    result : Path
        The results stand beside it, `NAME.original.h5` and `NAME.scaled.h5`.
    watch : Watch

    Raises
    ------
    ResultError
        If a run ends without an answer.
    """
    found = solve_variants({"original": case, "scaled": written}, result, watch)
    return side_by_side(scaled, found["original"], found["scaled"])
