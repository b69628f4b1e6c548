"""Pages of a PDF at true size: places on paper in millimetres from the lower left corner."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from io import BytesIO
from typing import TYPE_CHECKING, Any

from matplotlib import rc_context
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Circle
from matplotlib.textpath import text_to_path

from swirlwright import __version__
from swirlwright.postproc.drafting import Place
from swirlwright.postproc.drawing import GREY, STYLE
from swirlwright.postproc.workshop.units import Unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INCH = 25.4  # mm
POINT = INCH / 72  # mm
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm, upright
MARGIN = 8.0  # mm; common printers leave 4 to 6 mm white
HEAD, FOOT = 11.0, 15.0  # mm inside the margins
AT_TRUE_SIZE = "Print at 100 %, no scaling, no “fit to page”."


class Page:
    """One page: a figure of the paper's size and axes in millimetres over all of it."""

    def __init__(self, width: float, height: float, title: str):
        self.width, self.height = width, height
        self.figure = Figure(figsize=(width / INCH, height / INCH))
        self.ax: Axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.ax.set_xlim(0.0, width)
        self.ax.set_ylim(0.0, height)
        self.ax.axis("off")
        too_wide = text_width(title, 11, "bold") / (width - 2 * MARGIN)
        self.text(MARGIN, height - MARGIN - 4.0, title, size=11 / max(too_wide, 1.0), weight="bold")

    def text(self, x: float, y: float, words: str, *, size: float = 8, **how: Any) -> None:
        """Text with its base line at a place; no sign in it is taken for mathematics."""
        self.ax.text(x, y, words, fontsize=size, **{"va": "baseline", "parse_math": False, **how})

    def line(self, x: Sequence[float], y: Sequence[float], *, width: float = 0.2, **how: Any) -> None:
        """A line of a width in mm."""
        style = {"linewidth": width / POINT, "color": "black", "solid_capstyle": "butt", **how}
        self.ax.add_line(Line2D(x, y, **style))

    def ticks(self, starts: Sequence[Place], ends: Sequence[Place], *, width: float, **how: Any) -> None:
        """Many short lines of one width in mm, as one path: a thousand lines by themselves take seconds."""
        if starts:
            path = [place for pair in zip(starts, ends, strict=True) for place in (*pair, (math.nan, math.nan))]
            self.line(*zip(*path, strict=True), width=width, **how)

    def circle(self, x: float, y: float, radius: float, *, width: float = 0.2, **how: Any) -> None:
        """A circle with a line of a width in mm."""
        style = {"facecolor": "none", "edgecolor": "black", "linewidth": width / POINT, **how}
        self.ax.add_patch(Circle((x, y), radius, **style))

    def ruler(self, unit: Unit) -> None:
        """A ruler of 100 mm or 4 in at the foot, and what to do with it."""
        ticks, of, step = (100, 10, 1.0) if unit.name == "mm" else (32, 8, INCH / 8)
        x, y, length = MARGIN, MARGIN + 7.0, ticks * step
        self.line([x, x + length], [y, y], width=0.25)
        heights = [3.0 if k % of == 0 else 2.2 if k % (of // 2) == 0 else 1.4 for k in range(ticks + 1)]
        places = [x + k * step for k in range(ticks + 1)]
        self.ticks([(p, y) for p in places], [(p, y + h) for p, h in zip(places, heights, strict=True)], width=0.18)
        for k in range(0, ticks + 1, of):
            self.text(places[k], y - 2.6, str(k if unit.name == "mm" else k // of), size=6, ha="center")
        words = "100 mm" if unit.name == "mm" else "4 in"
        self.text(x + length + 4.0, y + 0.6, f"{AT_TRUE_SIZE}", size=8, weight="bold")
        self.text(x + length + 4.0, y - 3.0, f"The ruler must measure {words}; else print again.", size=7)


@dataclass
class Book:
    """Pages in order, all of one paper and unit."""

    title: str
    paper: str
    unit: Unit
    pages: list[Page] = field(default_factory=list)

    def page(self, title: str, *, is_upright: bool = True) -> Page:
        """A new page at the end."""
        width, height = PAPERS[self.paper]
        page = Page(*((width, height) if is_upright else (height, width)), title)
        self.pages.append(page)
        return page

    def as_pdf(self) -> bytes:
        """The document; the same pages give the same bytes."""
        data = BytesIO()
        about = {"Title": self.title, "Creator": f"swirlwright {__version__}", "CreationDate": None}
        with rc_context(PDF_STYLE), PdfPages(data, metadata=about) as pdf:
            for number, page in enumerate(self.pages, start=1):
                right = page.width - MARGIN
                page.text(right, MARGIN, f"{number} / {len(self.pages)}", size=7, ha="right")
                pdf.savefig(page.figure)
        return data.getvalue()


# Fonts as TrueType, so that text can be found and read back; paths as they are, to the last point.
PDF_STYLE: dict[Any, Any] = {**STYLE, "pdf.fonttype": 42, "path.simplify": False}


@lru_cache(maxsize=4096)
def text_width(words: str, size: float, weight: str = "normal") -> float:
    """Width of a text [mm]."""
    font = FontProperties(family=STYLE["font.family"], size=size, weight=weight)
    width, _, _ = text_to_path.get_text_width_height_descent(words, font, ismath=False)
    return float(width) * POINT


def wrapped(words: str, width: float, size: float, weight: str = "normal") -> list[str]:
    """A text in lines no wider than `width` [mm]; a word that is wider stands alone."""
    lines: list[list[str]] = []
    used, space = 0.0, text_width("a a", size, weight) - text_width("aa", size, weight)
    for word in words.split():
        more = space + text_width(word, size, weight)
        if lines and used + more <= width:
            lines[-1].append(word)
            used += more
        else:
            lines.append([word])
            used = more - space
    return [" ".join(line) for line in lines]


class Flow:
    """Text and tables that run down a page and on to the next."""

    def __init__(self, book: Book, title: str):
        self.book, self.title = book, title
        self.page = book.page(title)
        self.page.ruler(book.unit)
        self.y = self._top

    @property
    def _top(self) -> float:
        return self.page.height - MARGIN - HEAD

    @property
    def width(self) -> float:
        """Of the text [mm]."""
        return self.page.width - 2 * MARGIN - 8.0

    @property
    def left(self) -> float:
        """Of the text [mm]."""
        return MARGIN + 4.0

    @property
    def room(self) -> float:
        """Height left on this page [mm]."""
        return self.y - MARGIN - FOOT

    def need(self, height: float) -> None:
        """Go on to a new page unless so much height is left [mm]."""
        if self.room < height:
            self.page = self.book.page(f"{self.title} (continued)")
            self.page.ruler(self.book.unit)
            self.y = self._top

    def heading(self, words: str) -> None:
        """A heading, never alone at the end of a page."""
        self.need(22.0)
        self.y -= 8.0
        self.page.text(self.left, self.y, words, size=9.5, weight="bold")
        self.y -= 1.5

    def paragraph(self, words: str, *, lead: str = "", indent: float = 0.0) -> None:
        """A paragraph, indented [mm]; `lead` stands in bold before it."""
        size = 8.0
        lines = wrapped(words, self.width - indent, size)
        step = 1.45 * size * POINT
        self.need(step * min(len(lines), 3) + 1.0)
        self.y -= 1.0
        for number, line in enumerate(lines):
            self.need(step)
            self.y -= step
            if lead and number == 0:
                self.page.text(self.left, self.y, lead, size=size, weight="bold")
            self.page.text(self.left + indent, self.y, line, size=size)

    def table(self, heads: Sequence[str], rows: Iterable[Sequence[str]], widths: Sequence[float]) -> None:
        """A table; widths as shares of the text's width, numbers to the right where a head ends in a unit."""
        size, scale = 7.5, self.width / sum(widths)
        spans = [scale * width for width in widths]
        step = 1.4 * size * POINT
        self.need(5 * step)
        self._heads(heads, spans, size)
        for row in rows:
            cells = [wrapped(cell, span - 2.0, size) or [""] for cell, span in zip(row, spans, strict=True)]
            height = step * max(len(lines) for lines in cells) + 0.8
            if self.room < height:
                self.need(height)
                self._heads(heads, spans, size)
            for k in range(max(len(lines) for lines in cells)):
                self._row([lines[k] if k < len(lines) else "" for lines in cells], heads, spans, size, step * (k + 1))
            self.y -= height
            self.page.line([self.left, self.left + self.width], [self.y - 0.5] * 2, width=0.08, color="#aaaaaa")
        self.y -= 2.0

    def _heads(self, heads: Sequence[str], spans: Sequence[float], size: float) -> None:
        lines = [wrapped(head, span - 2.0, size, "bold") for head, span in zip(heads, spans, strict=True)]
        step, count = 1.3 * size * POINT, max(len(found) for found in lines)
        self.y -= 1.0
        for k in range(count):
            # Heads of fewer lines stand low, on the rule.
            row = [found[k - count + len(found)] if k >= count - len(found) else "" for found in lines]
            self._row(row, heads, spans, size, step * (k + 1), weight="bold")
        self.y -= step * count + 1.0
        self.page.line([self.left, self.left + self.width], [self.y] * 2, width=0.25)

    def _row(
        self, cells: Sequence[str], heads: Sequence[str], spans: Sequence[float], size: float, down: float, **how: Any
    ) -> None:
        x = self.left
        for cell, head, span in zip(cells, heads, spans, strict=True):
            is_number = is_number_column(head)
            place = x + span - 2.0 if is_number else x
            self.page.text(place, self.y - down, cell, size=size, ha="right" if is_number else "left", **how)
            x += span

    def drawing(self, width: float, height: float, *, x: float | None = None) -> tuple[float, float]:
        """Room for a drawing [mm], in the middle or at x; returns its lower left corner. Does not move on."""
        self.need(height + 4.0)
        left = self.left + (self.width - width) / 2 if x is None else x
        return left, self.y - height - 2.0

    def down(self, height: float) -> None:
        """Leave so much height free [mm]."""
        self.y -= height

    def note(self, words: str) -> None:
        """A paragraph in small grey print."""
        lines = wrapped(words, self.width, 7)
        step = 1.4 * 7 * POINT
        self.need(step * len(lines) + 1.0)
        self.y -= 1.0
        for line in lines:
            self.y -= step
            self.page.text(self.left, self.y, line, size=7, color=GREY)


def is_number_column(head: str) -> bool:
    """Whether a column holds numbers: its head ends in a unit after a comma, or is a count."""
    units = (", mm", ", in", ", °", ", W", ", A", ", V", ", Pa", ", inH₂O", ", m³/h", ", cfm", ", rpm")
    return head.endswith(units) or head in ("hole", "row", "quantity", "count", "holes a tube")
