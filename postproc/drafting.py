"""Signs and dimension lines of the drawings of a chamber."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from swirlwright.postproc.drawing import GREY, LengthUnit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Place = tuple[float, float]

WALL: dict[str, Any] = {"color": "black", "linewidth": 2.2, "solid_capstyle": "butt", "zorder": 6}
OPEN: dict[str, Any] = {"color": "black", "linewidth": 1.0, "linestyle": (0, (5, 4)), "zorder": 6}
INLET: dict[str, Any] = {"color": "#c1440e", "linewidth": 1.8, "linestyle": (0, (2, 1.5)), "zorder": 7}
OPENING: dict[str, Any] = {"edgecolor": "black", "linewidth": 0.9, "linestyle": (0, (1, 1.5))}
CORE: dict[str, Any] = {"facecolor": "#4a7fb58c", "edgecolor": "#1d4a78", "linewidth": 0.9}
TUBE: dict[str, Any] = {"facecolor": "#d9c9a3", "edgecolor": "#8a7748", "linewidth": 0.7}
PLENUM: dict[str, Any] = {"facecolor": "#f1eee4", "edgecolor": "#8a7748", "linewidth": 0.8}
FOG: dict[str, Any] = {"facecolor": "#a9b4bd", "edgecolor": "#55606a", "linewidth": 0.8}
JET, FLOW = "#c1440e", "#333333"


def arrow(style: str, color: str = GREY, *, width: float = 0.7, size: float = 7) -> dict[str, Any]:
    """What `annotate` wants for an arrow from place to place."""
    ends = {"shrinkA": 0, "shrinkB": 0}
    return {"arrowstyle": style, "color": color, "linewidth": width, "mutation_scale": size, **ends}


class Sheet:
    """Axes in metres that know the size of their own text, so that a table and a hall are drawn alike."""

    def __init__(self, ax: Axes, unit: LengthUnit, step: float):
        self.ax = ax
        self.unit = unit
        self.step = step  # m; about one line of text

    def arrow(self, start: Place, end: Place, style: dict[str, Any], *, zorder: int = 8) -> None:
        """An arrow between two places."""
        self.ax.annotate("", xy=end, xytext=start, arrowprops=style, zorder=zorder)

    def note(self, text: str, at: Place, **how: Any) -> None:
        """Text on its own white ground, for places where lines pass behind it."""
        box = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85}
        how = {"ha": "center", "va": "center", "fontsize": 7, "bbox": box, "zorder": 9, **how}
        self.ax.text(*at, text, **how)

    def dimension(self, start: Place, end: Place, text: str) -> None:
        """A dimension line between two places, horizontal or vertical, its text in the middle."""
        self.arrow(start, end, arrow("<|-|>"))
        middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        self.note(text, middle, rotation=90 if start[0] == end[0] else 0)

    def witness(self, start: Place, end: Place) -> None:
        """A thin line from the thing measured to its dimension line."""
        self.ax.plot(*zip(start, end, strict=True), color=GREY, linewidth=0.5, zorder=3)

    def label(self, text: str, at: Place, thing: Place, **how: Any) -> None:
        """Text with a thin leader to what it names."""
        leader = {"arrowstyle": "-", "color": GREY, "lw": 0.6, "shrinkA": 1, "shrinkB": 0}
        how = {"ha": "left", "va": "center", "fontsize": 7, "zorder": 9, **how}
        self.ax.annotate(text, xy=thing, xytext=at, arrowprops=leader, **how)
