"""What all pictures share: style, units as text, and how a figure gets into a page."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable
from functools import wraps
from io import BytesIO, StringIO
from typing import Any, NamedTuple, ParamSpec, TypeVar

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from swirlwright.solver.results import ResultData

Arguments = ParamSpec("Arguments")
Drawn = TypeVar("Drawn")

PAGE_WIDTH = 6.9  # in; the text width of A4 with 17 mm margins
# Line styles differ as well as colours, so that the lines can be told apart in grey.
INKS = ("#0b3c5d", "#c1440e", "#3f7d20", "#7b4ea3", "#555555")
DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)), (0, (1, 2)))
GREY = "#666666"
STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 8,
    "axes.titlesize": 8.5,
    "axes.titleweight": "bold",
    "axes.labelsize": 8,
    "axes.linewidth": 0.7,
    "axes.edgecolor": "#444444",
    "axes.axisbelow": True,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.color": "#444444",
    "ytick.color": "#444444",
    "xtick.labelcolor": "black",
    "ytick.labelcolor": "black",
    "legend.fontsize": 7.5,
    "legend.frameon": False,
    "legend.handlelength": 3.2,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "lines.linewidth": 1.4,
    "svg.fonttype": "path",
}
_SMALL_CHAMBER = 1.5  # m; below it lengths read better in millimetres


class LengthUnit(NamedTuple):
    """A unit for lengths on a picture: `factor` times metres."""

    factor: float
    name: str

    def text(self, length: float) -> str:
        """A length [m] as text with its unit."""
        return f"{length * self.factor:.0f} mm" if self.name == "mm" else f"{length:.3g} m"


def length_unit(result: ResultData) -> LengthUnit:
    """Millimetres for a chamber of table size, metres for a hall."""
    size = max(result.z_face[-1], result.r_face[-1])
    return LengthUnit(1000.0, "mm") if size < _SMALL_CHAMBER else LengthUnit(1.0, "m")


def shown_field(result: ResultData, name: str) -> np.ndarray:
    """The field to draw, shape (nz, nr), SI: the time average if there is one, else the last finite frame."""
    return result.mean[name] if name in result.mean else result.frames[name][_shown_frame(result)]


def shown_name(result: ResultData) -> str:
    """What `shown_field` shows, in words."""
    if result.mean:
        return "average over time"
    if result.attributes.get("outcome") == "steady":
        return "steady field"
    if result.time.size == 1:
        return "field at the end of the run"
    return f"field at t = {result.time[_shown_frame(result)]:.4g} s"


def _shown_frame(result: ResultData) -> int:
    """The last frame without infinities, the last of all if there is none."""
    v = result.frames["tangential_velocity"]
    finite = np.flatnonzero(np.isfinite(v).all(axis=(1, 2)))
    return int(finite[-1]) if finite.size else len(v) - 1


def unit_text(unit: str) -> str:
    """A CF unit as people write it: "m2 s-1" as m²/s."""
    above: list[str] = []
    below: list[str] = []
    for token in unit.split():
        parts = re.fullmatch(r"([A-Za-z]+)(-?)(\d*)", token)
        if parts is None:
            return "" if unit == "1" else unit
        name, minus, power = parts.groups()
        (below if minus else above).append(name + {"2": "²", "3": "³"}.get(power, ""))
    return "/".join([" ".join(above) or "1", *below])


def flow_text(flow: float) -> str:
    """A volume flow [m3/s] as text: litres per second below one cubic metre."""
    return f"{1000 * flow:.3g} L/s" if abs(flow) < 1 else f"{flow:.3g} m³/s"


def styled(draw: Callable[Arguments, Drawn]) -> Callable[Arguments, Drawn]:
    """Run a drawing function in the report's style, and leave matplotlib's settings as they were."""

    @wraps(draw)
    def with_style(*args: Arguments.args, **kwargs: Arguments.kwargs) -> Drawn:
        with rc_context(STYLE):
            return draw(*args, **kwargs)

    return with_style


def as_svg(figure: Figure, name: str) -> str:
    """The figure as an `<svg>` element for a page; `name` keeps its ids apart from those of other figures."""
    text = StringIO()
    with rc_context({**STYLE, "svg.hashsalt": name}):
        figure.savefig(text, format="svg", metadata={"Date": None})
    svg = text.getvalue()
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg[svg.index("<svg") :], flags=re.DOTALL)
    svg = re.sub(r'\sxmlns(:\w+)?="[^"]*"', "", svg)
    # Names such as axes_1 repeat from figure to figure, and nothing refers to them.
    return re.sub(r'<g id="[\w.]+_\d+"', "<g", svg)


def as_png_uri(figure: Figure, *, dpi: int = 220) -> str:
    """The figure as a PNG data URI, without empty stripes above and below: a map to scale leaves some."""
    data = BytesIO()
    with rc_context(STYLE):
        figure.draw_without_rendering()
        drawn = figure.get_tightbbox()
        box = Bbox([[0.0, drawn.y0 - 0.05], [figure.get_figwidth(), drawn.y1 + 0.05]])
        figure.savefig(data, format="png", dpi=dpi, bbox_inches=box)
    return "data:image/png;base64," + b64encode(data.getvalue()).decode("ascii")
