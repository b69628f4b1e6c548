"""Templates drawn at true size: each piece on its sheet, with marks where sheets are joined."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from swirlwright.postproc.drafting import JET
from swirlwright.postproc.drawing import GREY
from swirlwright.postproc.workshop.paper import FOOT, HEAD, INCH, MARGIN, PAPERS, Book, Page, text_width
from swirlwright.postproc.workshop.template import TemplateHole, TubeTemplate
from swirlwright.postproc.workshop.template_split import TONGUE, Mark, Sheet, Split, split

JOIN = 8.0  # mm beside a joint, for the arms of the marks and for glue
CROSS = 4.0  # mm, half length of a mark's arms; its circle is half as large
NAME = 6.0  # mm beside a mark's centre, for its name
GROUND = {"facecolor": "white", "edgecolor": "none", "pad": 0.4}


def add_template(book: Book, template: TubeTemplate) -> Split:
    """Add a template's sheets to a book, on upright or lying paper, whichever takes fewer."""
    splits = {is_upright: _split(book, template, is_upright=is_upright) for is_upright in (True, False)}
    is_upright = len(splits[True].sheets) <= len(splits[False].sheets)
    pieces = splits[is_upright]
    for number, sheet in enumerate(pieces.sheets, start=1):
        of = f", sheet {number} of {len(pieces.sheets)}" if len(pieces.sheets) > 1 else ""
        page = book.page(f"Template {template.name}: {tubes_text(template)}{of}", is_upright=is_upright)
        page.ruler(book.unit)
        _Drawing(book, page, template, pieces, sheet).draw()
    return pieces


def tubes_text(template: TubeTemplate) -> str:
    """Which tubes a template is for."""
    numbers = [place.number for place in template.tubes]
    if len(numbers) == 1:
        return f"tube {numbers[0]}"
    return f"tubes {runs_text(numbers)}"


def runs_text(numbers: Sequence[int]) -> str:
    """Rising numbers with runs of three and more drawn together: "1 to 4, 7"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [[f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run] for run in runs]
    return ", ".join(text for part in parts for text in part)


def _split(book: Book, template: TubeTemplate, *, is_upright: bool) -> Split:
    width, height = PAPERS[book.paper] if is_upright else PAPERS[book.paper][::-1]
    across, along = width - 2 * MARGIN, height - 2 * MARGIN - HEAD - FOOT
    return split(template, across / 1000.0, along / 1000.0, join=JOIN / 1000.0)


class _Drawing:
    """One sheet: `at` takes places of the template [m] to the paper [mm], without a scale."""

    def __init__(self, book: Book, page: Page, template: TubeTemplate, pieces: Split, sheet: Sheet):
        self.book, self.page, self.template, self.pieces, self.sheet = book, page, template, pieces, sheet
        across, along = 1000.0 * (sheet.right - sheet.left), 1000.0 * (sheet.top - sheet.bottom)
        self.x = (page.width - across) / 2
        # Against the head of the page, so that what is left free is at the foot.
        above = JOIN if sheet.row < pieces.rows - 1 else 0.0
        self.y = page.height - MARGIN - HEAD - above - along

    def at(self, around: float, height: float) -> tuple[float, float]:
        """Place on paper [mm] of a place of the template [m]."""
        return (
            self.x + 1000.0 * (around - self.sheet.left),
            self.y + 1000.0 * (height - self.sheet.bottom),
        )

    def draw(self) -> None:
        self._edges()
        self._scale()
        self._lines()
        for hole in self.sheet.holes:
            self._hole(hole)
        for mark in self.pieces.marks_of(self.sheet):
            self._mark(mark)

    def _upright(self, around: float, **how: object) -> None:
        (x, low), (_, high) = self.at(around, self.sheet.bottom), self.at(around, self.sheet.top)
        self.page.line([x, x], [low, high], **how)  # type: ignore[arg-type]

    def _level(self, height: float, **how: object) -> None:
        (left, y), (right, _) = self.at(self.sheet.left, height), self.at(self.sheet.right, height)
        self.page.line([left, right], [y, y], **how)  # type: ignore[arg-type]

    def _edges(self) -> None:
        """Outline where the template ends, dashes where sheets are joined, a thick line at the mounting end."""
        t, s = self.template, self.sheet
        dashed = {"width": 0.2, "linestyle": (0, (6, 3)), "color": GREY}
        self._upright(s.left, **({"width": 0.3} if s.column == 0 else dashed))
        if s.left <= t.right < s.right:
            self._upright(t.right, width=0.3)
        self._upright(s.right, **({"width": 0.15} if s.column == self.pieces.columns - 1 else dashed))
        ends = ((s.bottom, s.row == 0, t.bottom), (s.top, s.row == self.pieces.rows - 1, t.top))
        for height, is_end, end in ends:
            if not is_end:
                self._level(height, **dashed)
            elif end == t.mounting_height:
                self._level(height, width=0.9)
                self._mounting(height)
            else:
                self._level(height, width=0.15)
        if s.right > t.right:
            x, y = self.at(t.right + TONGUE / 2, (s.bottom + s.top) / 2)
            words = "tongue: goes under the other edge"
            self.page.text(x, y, words, size=5.5, rotation=90, ha="center", va="center", color=GREY)
        self._join_notes()

    def _mounting(self, height: float) -> None:
        t = self.template
        end = "ceiling, lower face" if t.feed == "above" else "floor, upper face"
        x, y = self.at(0.55 * self.template.left, height)
        up = -1.0 if t.feed == "above" else 1.0
        size = 6 if 1000.0 * t.circumference < 90.0 else 7
        words = f"MOUNTING END: {end}"
        if 1000.0 * t.circumference < 60.0:
            words = "MOUNTING END"
        self.page.text(x, y + up * 2.2, words, size=size, weight="bold", ha="left", va="center", bbox=GROUND, zorder=9)

    def _join_notes(self) -> None:
        """Which sheet goes on where: the lower one and the left one keep their strip beyond the joint."""
        s, pieces = self.sheet, self.pieces
        number = s.row * pieces.columns + s.column + 1
        # Between the marks, or beside a template too narrow for that.
        is_narrow = s.right - s.left < 0.06
        middle_x = self.at(s.right, 0.0)[0] + 2.0 if is_narrow else self.at((s.left + s.right) / 2, 0.0)[0]
        level: dict[str, Any] = {"size": 5.5, "ha": "left" if is_narrow else "center", "color": GREY}
        _, middle_y = self.at(0.0, (s.bottom + s.top) / 2)
        if s.row < pieces.rows - 1:
            _, y = self.at(0.0, s.top)
            words = f"keep strip: sheet {number + pieces.columns} goes on it"
            self.page.text(middle_x, y + 2.0, words, **level)
        if s.row > 0:
            _, y = self.at(0.0, s.bottom)
            words = f"cut here: goes on sheet {number - pieces.columns}"
            self.page.text(middle_x, y - 3.4, words, **level)
        if s.column < pieces.columns - 1:
            x, _ = self.at(s.right, 0.0)
            words = f"keep strip: sheet {number + 1} goes on it"
            self.page.text(x + 2.5, middle_y, words, size=5.5, rotation=90, ha="center", va="center", color=GREY)
        if s.column > 0:
            x, _ = self.at(s.left, 0.0)
            words = f"cut here: goes on sheet {number - 1}"
            self.page.text(x - 2.5, middle_y, words, size=5.5, rotation=90, ha="center", va="center", color=GREY)

    def _scale(self) -> None:
        """Ticks of the height along the left edge of the template."""
        if self.sheet.column:
            return
        small, of = (0.010, 5) if self.book.unit.name == "mm" else (INCH / 4000.0, 4)
        first, last = math.ceil(self.sheet.bottom / small - 1e-9), math.floor(self.sheet.top / small + 1e-9)
        numbers = range(max(first, 1), last + 1)
        starts = [self.at(self.sheet.left, k * small) for k in numbers]
        ends = [(x + (2.0 if k % of else 4.0), y) for k, (x, y) in zip(numbers, starts, strict=True)]
        self.page.ticks(starts, ends, width=0.12, color=GREY)
        marks = [self.at(mark.around, mark.height) for mark in self.pieces.marks_of(self.sheet)]
        for k, (x, y) in zip(numbers, starts, strict=True):
            words = self.book.unit.number(k * small)
            end = x + 4.6 + text_width(words, 5)
            # A number would hide the name of a mark; its neighbours tell what the tick stands for.
            is_free = all(end < mx - NAME or my + CROSS + 1.0 < y or y < my - CROSS - 1.0 for mx, my in marks)
            if k % of == 0 and is_free:
                self.page.text(x + 4.6, y, words, size=5, va="center", color=GREY)

    def _lines(self) -> None:
        """The line that faces the chamber's axis, and one along each line of holes: where the jets leave."""
        t, s = self.template, self.sheet
        turns = {hole.around: hole for hole in t.holes}
        if s.left <= 0.0 < s.right:
            self._upright(0.0, width=0.25, linestyle=(0, (8, 2, 1.5, 2)))
            jets = ", jets leave here" if any(hole.turn == 0.0 for hole in t.holes) else ""
            self._along(0.0, f"this line faces the chamber’s axis{jets}; up ▶", "black")
        for around, hole in turns.items():
            if s.left <= around < s.right and hole.turn != 0.0:
                self._upright(around, width=0.25, color=JET, zorder=1.5)
                self._along(around, f"jets leave here, {_turned(hole.turn)}", JET)

    def _along(self, around: float, words: str, color: str) -> None:
        """Words along an upright line, where no hole is in the way."""
        s, length = self.sheet, text_width(words, 6) / 1000.0
        taken = sorted((h.height - h.diameter / 2, h.height + h.diameter / 2) for h in s.holes)
        edges = [s.bottom + 0.004, *(edge for pair in taken for edge in pair), s.top - 0.004]
        low, high = max(zip(edges[::2], edges[1::2], strict=True), key=lambda gap: gap[1] - gap[0])
        x, y = self.at(around, (low + high) / 2)
        size = 6 if high - low > length + 0.004 else 5
        self.page.text(
            x, y, words, size=size, rotation=90, ha="center", va="center", color=color, bbox=GROUND, zorder=4
        )

    def _hole(self, hole: TemplateHole) -> None:
        """Circle of the drill, cross on its centre, number and height."""
        x, y = self.at(hole.around, hole.height)
        radius = 500.0 * hole.diameter
        arm = max(radius + 1.5, 3.5)
        self.page.circle(x, y, radius, width=0.25, zorder=6)
        self.page.line([x - arm, x + arm], [y, y], width=0.12, zorder=6)
        self.page.line([x, x], [y - arm, y + arm], width=0.12, zorder=6)
        unit = self.book.unit
        words = f"{hole.number}: {unit.number(hole.height)}, ⌀ {unit.number(hole.diameter)}"
        self.page.text(x + arm + 0.8, y, words, size=6, va="center", bbox=GROUND, zorder=5)

    def _mark(self, mark: Mark) -> None:
        x, y = self.at(mark.around, mark.height)
        self.page.circle(x, y, CROSS / 2, width=0.15, zorder=7)
        self.page.line([x - CROSS, x + CROSS], [y, y], width=0.15, zorder=7)
        self.page.line([x, x], [y - CROSS, y + CROSS], width=0.15, zorder=7)
        # Away from the middle, where the words of the joint stand.
        is_left = mark.around < (self.sheet.left + self.sheet.right) / 2
        self.page.text(
            x - 2.2 if is_left else x + 2.2, y + 1.6, mark.name, size=5.5, ha="right" if is_left else "left", zorder=7
        )


def _turned(turn: float) -> str:
    """An angle from the line that faces the axis, in words."""
    return f"{abs(turn):.4g}° {'left' if turn < 0 else 'right'} of the axis line"
