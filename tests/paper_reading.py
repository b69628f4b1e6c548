"""Templates read back from the PDF alone: holes, lines and marks, joined by the marks' names as on a bench."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pdfplumber

POINT = 25.4 / 72  # mm


@dataclass
class PaperHole:
    """A circle with its label; places in mm."""

    number: int
    x: float
    y: float
    diameter: float


@dataclass
class PaperSheet:
    """A sheet of a template; places in mm from the paper's lower left corner."""

    title: str
    width: float
    height: float
    holes: list[PaperHole]
    marks: dict[str, tuple[float, float]]
    axis: float | None
    mounting: float | None
    edges: list[float]
    words: str


@dataclass
class JoinedTemplate:
    """All sheets of a template in the places of the first."""

    holes: list[PaperHole] = field(default_factory=list)
    axis: set[float] = field(default_factory=set)
    mounting: set[float] = field(default_factory=set)
    edges: set[float] = field(default_factory=set)
    worst: float = 0.0


def read_sheets(path: Path) -> dict[str, list[PaperSheet]]:
    """The template sheets of a PDF by the template's letter."""
    found: dict[str, list[PaperSheet]] = {}
    with pdfplumber.open(path) as pdf:
        for page in pdf.pages:
            title = page.extract_text_lines()[0]["text"]
            if (name := re.match(r"Template (\w+):", title)) is not None:
                found.setdefault(name[1], []).append(_sheet(page, title))
    return found


def _sheet(page: Any, title: str) -> PaperSheet:
    words = page.extract_words(use_text_flow=False, extra_attrs=["upright"])
    circles = [c for c in page.curves if abs(c["width"] - c["height"]) < 0.01 and c["width"] > 2.0]
    holes, marks = [], {}
    for circle in circles:
        x = (circle["x0"] + circle["x1"]) / 2 * POINT
        y = (page.height - (circle["top"] + circle["bottom"]) / 2) * POINT
        # A mark's circle has its name within a few mm, a hole's its number and a colon to its right.
        near = sorted(words, key=lambda w: math.hypot(_x(w) - x, _y(page, w) - y))
        label = next(w["text"] for w in near if re.fullmatch(r"R\d+|\d+:", w["text"]))
        if label.startswith("R"):
            marks[label] = (x, y)
        else:
            holes.append(PaperHole(int(label[:-1]), x, y, circle["width"] * POINT))
    return PaperSheet(
        title, page.width * POINT, page.height * POINT, holes, marks,
        axis=next((line["x0"] * POINT for line in page.lines if _is_axis(line)), None),
        mounting=next(((page.height - line["top"]) * POINT for line in page.lines if line["linewidth"] > 2.0), None),
        edges=sorted({round(line["x0"] * POINT, 6) for line in page.lines if _is_edge(line)}),
        words=page.extract_text(),
    )  # fmt: skip


def _x(word: Any) -> float:
    return (word["x0"] + word["x1"]) / 2 * POINT


def _y(page: Any, word: Any) -> float:
    return (page.height - (word["top"] + word["bottom"]) / 2) * POINT


def _is_upright(line: Any) -> bool:
    return abs(line["x0"] - line["x1"]) < 1e-6 and line["height"] > 60.0


def _is_axis(line: Any) -> bool:
    """Dashes and dots: four lengths in the dash pattern."""
    return _is_upright(line) and len((line.get("dash") or ([], 0))[0]) == 4


def _is_edge(line: Any) -> bool:
    return _is_upright(line) and abs(line["linewidth"] * POINT - 0.3) < 1e-3


def joined(sheets: list[PaperSheet]) -> JoinedTemplate:
    """Lay each sheet on those before it, by two marks or more that both have."""
    placed: dict[str, tuple[float, float]] = dict(sheets[0].marks)
    whole = JoinedTemplate()
    for number, sheet in enumerate(sheets):
        common = placed.keys() & sheet.marks.keys()
        dx = dy = 0.0
        if number:
            assert len(common) >= 2, f"{sheet.title} has too few marks in common with those before"
            shifts = [(placed[m][0] - sheet.marks[m][0], placed[m][1] - sheet.marks[m][1]) for m in common]
            dx, dy = (sum(of) / len(shifts) for of in zip(*shifts, strict=True))
            whole.worst = max([whole.worst, *(math.hypot(a - dx, b - dy) for a, b in shifts)])
        placed |= {name: (x + dx, y + dy) for name, (x, y) in sheet.marks.items()}
        whole.holes += [PaperHole(h.number, h.x + dx, h.y + dy, h.diameter) for h in sheet.holes]
        whole.axis |= {sheet.axis + dx} if sheet.axis is not None else set()
        whole.mounting |= {sheet.mounting + dy} if sheet.mounting is not None else set()
        whole.edges |= {edge + dx for edge in sheet.edges}
    return whole
