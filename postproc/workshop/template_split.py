"""A template split over sheets of paper, with marks on the joints to put it together by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from swirlwright.postproc.workshop.template import TemplateHole, TubeTemplate

# The tongue beside the right edge that goes under the left one [m].
TONGUE = 0.010
# Paper kept whole around a hole where sheets are joined [m].
CLEAR = 0.003


@dataclass(frozen=True)
class Sheet:
    """A piece of a template on one sheet of paper; column and row from 0, edges in the template's own places [m].

    holes: those whose centre lies on this piece; every hole of the template is on one piece only.
    """

    column: int
    row: int
    left: float
    right: float
    bottom: float
    top: float
    holes: tuple[TemplateHole, ...]


@dataclass(frozen=True)
class Mark:
    """A registration mark: on the joint of two sheets, printed on both. Places of the template [m]."""

    name: str
    around: float
    height: float


@dataclass(frozen=True)
class Split:
    """A template split over sheets, by rows from below, and the marks on their joints."""

    sheets: tuple[Sheet, ...]
    marks: tuple[Mark, ...]
    columns: int
    rows: int

    def marks_of(self, sheet: Sheet) -> tuple[Mark, ...]:
        """The marks that lie on the edges of a sheet."""
        near = 1e-9
        return tuple(
            mark
            for mark in self.marks
            if sheet.left - near <= mark.around <= sheet.right + near
            and sheet.bottom - near <= mark.height <= sheet.top + near
        )


def split(template: TubeTemplate, width: float, height: float, *, join: float) -> Split:
    """Split a template over sheets that show `width` times `height` of it.

    Joints keep clear of holes where the holes leave room for them.

    Parameters
    ----------
    template : TubeTemplate
    width, height : float
        What one sheet shows of a template that needs no joint in that direction [m].
    join : float
        What a joint takes of that on each side of a sheet [m].
    """
    holes = template.holes
    across = _cuts(
        template.left, template.right + TONGUE, width, join, [(h.around, h.diameter) for h in holes], template.right
    )
    along = _cuts(template.bottom, template.top, height, join, [(h.height, h.diameter) for h in holes], template.top)
    sheets = tuple(
        Sheet(
            column, row, left, right, bottom, top,
            tuple(h for h in holes if left <= h.around < right and bottom <= h.height < top),
        )
        for row, (bottom, top) in enumerate(pairwise(along))
        for column, (left, right) in enumerate(pairwise(across))
    )  # fmt: skip
    on_tube = [*across[:-1], template.right]  # no marks on the tongue
    places = [(x, z) for z in along[1:-1] for left, right in pairwise(on_tube) for x in _two_between(left, right)]
    places += [(x, z) for x in across[1:-1] for bottom, top in pairwise(along) for z in _two_between(bottom, top)]
    marks = tuple(Mark(f"R{number}", x, z) for number, (x, z) in enumerate(places, start=1))
    return Split(sheets, marks, len(across) - 1, len(along) - 1)


def _two_between(low: float, high: float) -> tuple[float, float]:
    """Two places for marks, far apart but off the corners."""
    return low + 0.15 * (high - low), high - 0.15 * (high - low)


def _cuts(
    low: float, high: float, most: float, join: float, holes: Sequence[tuple[float, float]], last: float
) -> list[float]:
    """Edges of the pieces from low to high, about equal, none longer than `most`, no joint beyond `last` [m]."""
    if high - low <= most:
        return [low, high]
    most -= 2 * join
    cuts = [low]
    while high - cuts[-1] > most:
        wanted = cuts[-1] + (high - cuts[-1]) / math.ceil((high - cuts[-1]) / most)
        cuts.append(_clear_of(holes, min(wanted, last), cuts[-1]))
    return [*cuts, high]


def _clear_of(holes: Sequence[tuple[float, float]], wanted: float, low: float) -> float:
    """The largest place up to `wanted` that cuts no hole; `wanted` itself where holes leave no room [m]."""
    place = wanted
    while True:
        cut = [c - d / 2 - CLEAR for c, d in holes if abs(c - place) < d / 2 + CLEAR - 1e-12]
        if not cut:
            return place
        place = min(cut)
        if place <= low + 0.5 * (wanted - low):
            return wanted
