"""Maps of a sweep's measures over two parameters of a product."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib import colormaps
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure

from swirlwright.postproc.drawing import styled
from swirlwright.postproc.sweeps.figures import (
    BESIDE,
    View,
    beside_handles,
    colours_of,
    frame,
    legend_below,
    levels_axis,
    panels_of,
)
from swirlwright.postproc.sweeps.report_data import Axis, Sweep

# A cell has room for its number from this share of the panel's width and height.
NUMBER_WIDTH, NUMBER_HEIGHT = 0.11, 0.06


@styled
def maps(sweep: Sweep, measures: Sequence[str], view: View) -> Figure:
    """Each measure over two parameters of a product: a cell for each variant, none between them."""
    assert view.second is not None
    figure, panels = panels_of(len(measures), 2.2)
    x, y = levels_axis(sweep, view.x), levels_axis(sweep, view.second)
    status = view.table(sweep, "status")
    for ax, name in zip(panels, measures, strict=True):
        shown = sweep.shown(name)
        values = shown.factor * view.table(sweep, name).astype(float)
        norm, colours = colours_of(values)
        cells = ax.pcolormesh(
            _edges(x), _edges(y), np.ma.masked_invalid(values), cmap=colours, norm=norm, edgecolors="white",
            linewidth=0.3,
        )  # fmt: skip
        ax.patch.set(hatch="////", edgecolor="#bbbbbb", facecolor="white")
        _numbers(ax, x, y, values, norm, colours)
        for word in ("failed", "refused"):
            at = np.argwhere(status == word)
            marker, size = BESIDE[word]
            ax.plot(x.place[at[:, 1]], y.place[at[:, 0]], marker, ms=size, color="black", mew=1.4)
        bar = figure.colorbar(cells, ax=ax, aspect=14, pad=0.02)
        bar.set_label(shown.unit)
        frame(ax, sweep, name, x, y)
        ax.grid(False)
    legend_below(figure, beside_handles(sweep, ("failed", "refused")))
    return figure


def _edges(axis: Axis) -> np.ndarray:
    """Edges of cells around the places of an axis: half-way between them."""
    places = axis.even
    if places.size == 1:
        ends = np.array([places[0] - 0.5, places[0] + 0.5])
    else:
        middle = 0.5 * (places[1:] + places[:-1])
        ends = np.concatenate([[2 * places[0] - middle[0]], middle, [2 * places[-1] - middle[-1]]])
    return np.exp(ends) if axis.is_log else ends


def _numbers(ax: Axes, x: Axis, y: Axis, values: np.ndarray, norm: BoundaryNorm, colours: str) -> None:
    """The number of each cell that has room for it, dark on light and light on dark."""
    wide, high = _shares(x) > NUMBER_WIDTH, _shares(y) > NUMBER_HEIGHT
    for (j, i), value in np.ndenumerate(values):
        if not (wide[i] and high[j] and np.isfinite(value)):
            continue
        red, green, blue, _ = colormaps[colours](norm(value))
        is_dark = 0.3 * red + 0.59 * green + 0.11 * blue < 0.5
        at, ink = (float(x.place[i]), float(y.place[j])), "white" if is_dark else "black"
        ax.text(*at, f"{value:.3g}", ha="center", va="center", fontsize=6, color=ink, clip_on=True)


def _shares(axis: Axis) -> np.ndarray:
    """Share of the panel that each cell takes."""
    edges = _edges(axis)
    edges = np.log(edges) if axis.is_log else edges
    return np.abs(np.diff(edges) / (edges[-1] - edges[0]))
