"""The chamber from above, and what the signs of its drawings mean."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Patch

from swirlwright.postproc.drafting import (
    CORE,
    FLOW,
    FOG,
    INLET,
    JET,
    OPEN,
    OPENING,
    TUBE,
    WALL,
    Place,
    Sheet,
    arrow,
)
from swirlwright.postproc.drawing import GREY
from swirlwright.solver.plan import hole_plan, tube_plan
from swirlwright.solver.schema import Case

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CORNERS = {
    "front": ((-1, -1), (1, -1)),
    "right": ((1, -1), (1, 1)),
    "back": ((1, 1), (-1, 1)),
    "left": ((-1, 1), (-1, -1)),
}


def draw_plan(sheet: Sheet, case: Case, centre: Place, core: float) -> None:
    """Draw sides, tubes, jets along their paths, exhaust, fog inlet and a core of radius `core` [m]."""
    ax, chamber = sheet.ax, case.chamber
    half, (cx, cy) = chamber.width / 2, centre
    if chamber.footprint == "round":
        _round_side(ax, centre, half, chamber.open_fraction, is_inlet=case.inlet is not None)
    else:
        for side, ((x0, y0), (x1, y1)) in CORNERS.items():
            style = OPEN if side in chamber.open_sides else WALL
            ax.plot([cx + x0 * half, cx + x1 * half], [cy + y0 * half, cy + y1 * half], **style)
        ax.text(cx, cy - half - 0.9 * sheet.step, "front", va="center", ha="center", fontsize=7, color=GREY)
    if core:
        ax.add_patch(Circle(centre, core, **CORE))
    if case.exhaust:
        ax.add_patch(Circle(centre, case.exhaust.diameter / 2, facecolor="none", **OPENING))
    if case.fog:
        ax.add_patch(Circle(centre, case.fog.radius, **{**FOG, "facecolor": "none"}))
    tubes = tube_plan(case)
    for x, y, diameter in zip(tubes.x, tubes.y, tubes.outer_diameter, strict=True):
        ax.add_patch(Circle((cx + x, cy + y), diameter / 2, zorder=7, **TUBE))
    holes = hole_plan(case)
    # Holes above one another share one arrow.
    paths = zip(holes.x, holes.y, holes.heading, holes.chord, strict=True)
    for x, y, heading, chord in {(round(x, 5), round(y, 5)): (x, y, h, c) for x, y, h, c in paths}.values():
        end = (cx + x + 0.8 * chord * np.cos(heading), cy + y + 0.8 * chord * np.sin(heading))
        sheet.arrow((cx + x, cy + y), end, arrow("-|>", JET, width=1.0, size=8), zorder=5)


def _round_side(ax: Axes, centre: Place, radius: float, open_fraction: float, *, is_inlet: bool) -> None:
    """A round side, its open share drawn towards the front (a case gives the share, not the place)."""
    start = -np.pi / 2 + np.pi * open_fraction
    closed = np.linspace(start, start + 2 * np.pi * (1 - open_fraction), 200)
    opened = np.linspace(start - 2 * np.pi * open_fraction, start, 200)
    parts = [(closed, WALL, open_fraction < 1), (opened, OPEN, open_fraction > 0)]
    parts += [(np.linspace(0, 2 * np.pi, 200), INLET, is_inlet)]
    for angle, style, is_drawn in parts:
        if is_drawn:
            ax.plot(centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), **style)


def signs_of(case: Case, *, has_core: bool) -> list[tuple[Any, str]]:
    """Handles and words for the legend: those signs that this chamber needs."""
    opening = {"color": OPENING["edgecolor"], **{key: OPENING[key] for key in ("linewidth", "linestyle")}}
    share = 100 * case.chamber.open_share
    jet = Line2D([], [], color=JET, marker=">", markersize=4, linewidth=1.4)
    flow = Line2D([], [], color=FLOW, marker=">", markersize=2.5, linewidth=0.7)
    signs = [
        (Line2D([], [], **WALL), "wall", True),
        (Line2D([], [], **OPEN), f"open side ({share:.0f} % of the perimeter)", share > 0),
        (Line2D([], [], **INLET), "inlet of prescribed direction", case.inlet is not None),
        (Patch(**CORE), "computed core of the vortex", has_core),
        (Patch(**TUBE), "drilled tube", bool(case.tubes)),
        (jet, "jet", bool(case.tubes)),
        (flow, "flow in the section", True),
        (Line2D([], [], **opening), "exhaust opening", case.exhaust is not None),
        (Patch(**FOG), "fog inlet", case.fog is not None),
    ]
    return [(handle, words) for handle, words, is_there in signs if is_there]
