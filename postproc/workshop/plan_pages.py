"""The chamber from above for the workshop: where tubes stand and which way they look, and what is cut out."""

from __future__ import annotations

import math
from typing import Any

from matplotlib.patches import Arc, Circle, Rectangle

from swirlwright.postproc.drafting import OPEN, Place, arrow
from swirlwright.postproc.drafting import Sheet as Drawing
from swirlwright.postproc.drawing import GREY, LengthUnit
from swirlwright.postproc.planview import draw_plan
from swirlwright.postproc.workshop.paper import Book, Flow
from swirlwright.postproc.workshop.template import Cutout, TubeTemplate
from swirlwright.postproc.workshop.units import Unit
from swirlwright.solver.schema import Case

# Scales of drawings: those of ISO 5455 and the steps between them that scale rulers have.
SCALES = (1, 2, 2.5, 3, 4, 5, 7.5, 10, 12.5, 15, 20, 25, 30, 40, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 1000)


def add_plan(book: Book, case: Case, kinds: tuple[TubeTemplate, ...]) -> None:
    """Add the plan: every tube with its number, the line that faces the axis, its jets, and the sense of rotation."""
    flow = Flow(book, "Plan from above: which way the tubes look")
    reach = case.chamber.width / 2 * 1.22
    ax, scale = _drawing(flow, 2 * reach, 2 * reach, 150.0)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(-reach, reach)
    unit = LengthUnit(book.unit.factor, book.unit.name)
    sheet = Drawing(ax, unit, 2 * reach / 45)
    draw_plan(sheet, case, (0.0, 0.0), 0.0)
    ax.plot(0, 0, marker="+", color="black", markersize=9, markeredgewidth=0.7)
    for kind in kinds:
        for tube in kind.tubes:
            ax.plot([tube.x, 0], [tube.y, 0], color="black", linewidth=0.6, linestyle=(0, (8, 2, 1.5, 2)), zorder=4)
            away = 1.0 + (kind.outer_diameter / 2 + 1.9 * sheet.step) / math.hypot(tube.x, tube.y)
            sheet.note(f"{tube.number}", (tube.x * away, tube.y * away), fontsize=9, weight="bold")
    _sense(sheet, kinds, case.chamber.width / 2)
    _width(sheet, case, book.unit)
    flow.note(
        f"Scale 1:{scale:g}. Solid: wall; dashed: open side; dotted: exhaust in the roof; small circle: fog inlet. Each"
        " tube is turned about its own axis so that the line “faces the chamber’s axis” of its template lies along the"
        " dash-dotted line; the arrows are the jets."
    )
    if case.chamber.footprint == "round" and 0.0 < case.chamber.open_fraction < 1.0:
        flow.note("A case gives the open share of a round side, not its place: it is drawn in front.")
    flow.paragraph(f"Seen from above the air turns {sense(kinds)}.")
    flow.heading("Tubes")
    name = book.unit.name
    heads = ["tube", "template", "row", f"x, {name}", f"y, {name}", "jets head to, °", "off the axis line, °",
             f"pass the axis at, {name}"]  # fmt: skip
    flow.table(heads, _tube_rows(book.unit, kinds), (1, 1.3, 1, 1.6, 1.6, 2, 2.2, 2.6))
    flow.note(
        "x to the right and y to the back from the chamber’s axis. Headings from +x, counterclockwise. A straight rod"
        " through a hole and the middle of its tube must pass the chamber’s axis at the distance of the last column;"
        " left of the line to the axis is clockwise from above."
    )


def sense(kinds: tuple[TubeTemplate, ...]) -> str:
    """Sense of rotation that most jets drive, seen from above."""
    arms = [
        tube.moment_arms[hole.row - 1] * hole.diameter**2
        for kind in kinds
        for tube in kind.tubes
        for hole in kind.holes
    ]
    total = sum(arms)
    if abs(total) <= 1e-9 * sum(abs(arm) for arm in arms):
        return "neither way: the jets’ torques cancel"
    return "counterclockwise" if total > 0 else "clockwise"


def _tube_rows(unit: Unit, kinds: tuple[TubeTemplate, ...]) -> list[list[str]]:
    tubes = sorted(((tube, kind) for kind in kinds for tube in kind.tubes), key=lambda pair: pair[0].number)
    rows = []
    for tube, kind in tubes:
        turns = {hole.row: hole.turn for hole in kind.holes}
        for row, (heading, arm) in enumerate(zip(tube.headings, tube.moment_arms, strict=True), start=1):
            turn = turns[row]
            side = "" if turn == 0 else " left" if turn < 0 else " right"
            rows.append([
                str(tube.number), kind.name, str(row), unit.number(tube.x), unit.number(tube.y), f"{heading:.1f}",
                f"{abs(turn):.1f}{side}", unit.number(abs(arm)),
            ])  # fmt: skip
    return rows


def _drawing(flow: Flow, width: float, height: float, most: float, *, x: float | None = None) -> tuple[Any, float]:
    """Axes in metres of an exact scale with room for width times height [m], no wider than `most` [mm]."""
    tall = min(most, flow.room - 45.0)
    scale = next((s for s in SCALES if 1000.0 * max(width / most, height / tall) <= s), SCALES[-1])
    on_paper = 1000.0 * width / scale, 1000.0 * height / scale
    left, bottom = flow.drawing(*on_paper, x=x)
    page = flow.page
    place = (left / page.width, bottom / page.height, on_paper[0] / page.width, on_paper[1] / page.height)
    ax = page.figure.add_axes(place)
    ax.axis("off")
    if x is None:
        flow.down(on_paper[1] + 4.0)
    return ax, scale


def _sense(sheet: Drawing, kinds: tuple[TubeTemplate, ...], half: float) -> None:
    """An arc with an arrow in the sense of rotation."""
    way = {"counterclockwise": 1.0, "clockwise": -1.0}.get(sense(kinds))
    if way is None:
        return
    radius, start, stop = 0.3 * half, -20.0, 70.0
    sheet.ax.add_patch(Arc((0, 0), 2 * radius, 2 * radius, theta1=start, theta2=stop, linewidth=2.0, color="black"))
    end, before = (stop, stop - 6.0) if way > 0 else (start, start + 6.0)
    turns = (math.radians(before), math.radians(end + 4.0 * way))
    places = [(radius * math.cos(turn), radius * math.sin(turn)) for turn in turns]
    sheet.arrow(places[0], places[1], arrow("-|>", "black", width=2.0, size=16))


def _width(sheet: Drawing, case: Case, unit: Unit) -> None:
    half = case.chamber.width / 2
    y = -half - 2.4 * sheet.step
    for x in (-half, half):
        sheet.witness((x, -half), (x, y - 0.4 * sheet.step))
    sheet.dimension((-half, y), (half, y), unit.text(case.chamber.width))


def add_cutouts(book: Book, case: Case, found: tuple[Cutout, ...]) -> None:
    """Add roof and floor with what is cut out of them, and its places and diameters."""
    flow = Flow(book, "Roof and floor: what is cut out")
    size = 1.12 * case.chamber.width
    scale = 1.0
    for number, panel in enumerate(("roof", "floor")):
        most = flow.width / 2 - 4.0
        ax, scale = _drawing(flow, size, size, most, x=flow.left + number * (most + 8.0))
        ax.set_xlim(-size / 2, size / 2)
        ax.set_ylim(-size / 2, size / 2)
        _panel(ax, case, [cut for cut in found if cut.panel == panel], panel)
    flow.down(1000.0 * size / scale + 4.0)
    flow.note(
        f"Scale 1:{scale:g}, both seen from above, front below. Solid circles are cut; dashed ones are parts. Feed"
        " holes are of the tubes’ outer diameter: fit them to the tubes and seal them. Distances are from the chamber’s"
        " axis and from the inner faces of its sides."
    )
    flow.heading("Cut-outs")
    unit, half = book.unit, case.chamber.width / 2
    is_square = case.chamber.footprint == "square"
    heads = ["panel", "what", f"⌀, {unit.name}", f"x from axis, {unit.name}", f"y from axis, {unit.name}"]
    widths = [1.0, 3.2, 1.2, 1.7, 1.7]
    if is_square:
        heads += [f"from left side, {unit.name}", f"from front, {unit.name}"]
        widths += [1.8, 1.7]
    rows = []
    for cut in found:
        what = cut.name if cut.is_cut else f"{cut.name} (no cut)"
        row = [cut.panel, what, unit.number(cut.diameter), unit.number(cut.x), unit.number(cut.y)]
        rows.append(row + [unit.number(cut.x + half), unit.number(cut.y + half)] if is_square else row)
    flow.table(heads, rows, widths)


def _panel(ax: Any, case: Case, found: list[Cutout], panel: str) -> None:
    half = case.chamber.width / 2
    outline: dict[str, Any] = {"facecolor": "#f4f6f7", "edgecolor": "black", "linewidth": 1.2}
    if case.chamber.footprint == "square":
        ax.add_patch(Rectangle((-half, -half), 2 * half, 2 * half, **outline))
    else:
        ax.add_patch(Circle((0, 0), half, **outline))
    for cut in found:
        how: dict[str, Any] = {"linewidth": 1.0, "facecolor": "white"}
        if not cut.is_cut:
            how = {"linewidth": 0.8, "facecolor": "none", "linestyle": OPEN["linestyle"]}
        ax.add_patch(Circle((cut.x, cut.y), cut.diameter / 2, edgecolor="black", zorder=3, **how))
        ax.plot(cut.x, cut.y, marker="+", color="black", markersize=6, markeredgewidth=0.5, zorder=4)
        if "tube" in cut.name:
            away: Place = (0.84 * cut.x, 0.84 * cut.y)
            ax.text(*away, cut.name.split()[-1], fontsize=8, weight="bold", ha="center", va="center", zorder=4)
    ax.text(0, half * 1.07, panel, fontsize=9, weight="bold", ha="center", va="center")
    ax.text(0, -half * 1.07, "front", fontsize=7, color=GREY, ha="center", va="center")
