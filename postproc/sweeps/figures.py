"""Pictures of a sweep: lines and points of measures against parameters, and what all its pictures share."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

from swirlwright.postproc.drawing import DASHES, INKS, PAGE_WIDTH, styled
from swirlwright.postproc.maps import contour_levels
from swirlwright.postproc.sweeps.report_data import Axis, Sweep

# How a variant ended, beside its own point: name in the legend, marker, size [pt].
BESIDE = {
    "not converged": ("s", 9.0),
    "under-resolved": ("^", 10.0),
    "failed": ("x", 6.0),
    "refused": ("+", 7.0),
}
MOST_LINES = len(INKS)


@dataclass(frozen=True)
class View:
    """What a picture of a product is drawn against.

    Attributes
    ----------
    x : str
        The parameter along the horizontal axis.
    second : str or None
        The parameter of the lines, or of the vertical axis of a map.
    held : dict
        Level of every other parameter.
    """

    x: str
    second: str | None
    held: Mapping[str, int]

    def table(self, sweep: Sweep, name: str) -> np.ndarray:
        """A column over (second, x), shape (m, n); m = 1 without a second parameter."""
        column = sweep.data[name].isel(dict(self.held))
        order = (self.x,) if self.second is None else (self.second, self.x)
        return np.atleast_2d(column.transpose(*order).values)

    def title(self, sweep: Sweep) -> str:
        """What is held, in words."""
        return ", ".join(
            sweep.level_text(name, level) for name, level in self.held.items() if sweep.data.sizes[name] > 1
        )


def spread_over(sequence: Sequence[int], most: int) -> list[int]:
    """At most so many of a sequence, evenly spaced, first and last among them."""
    n = len(sequence)
    return list(sequence) if n <= most else [sequence[round(i * (n - 1) / (most - 1))] for i in range(most)]


@styled
def lines(sweep: Sweep, measures: Sequence[str], view: View) -> Figure:
    """Each measure against a parameter of a product, a line for each value of a second.

    Shaded: mean and standard deviation in time; bars: standard error by chance.
    """
    figure, panels = panels_of(len(measures), 1.95)
    levels = spread_over(range(1 if view.second is None else sweep.data.sizes[view.second]), MOST_LINES)
    styles: list[Any] = list(zip(levels, INKS, DASHES, strict=False))
    x = levels_axis(sweep, view.x)
    status = view.table(sweep, "status")
    for ax, name in zip(panels, measures, strict=True):
        for row, ink, dash in styles:
            _line(ax, sweep, view, name, row, x.place, ink, dash)
        for word in ("failed", "refused"):
            lost = (status == word)[levels].any(axis=0)
            marker, size = BESIDE[word]
            ax.plot(x.place[lost], np.full(lost.sum(), 0.035), marker, ms=size, color="black",
                    transform=ax.get_xaxis_transform(), zorder=6)  # fmt: skip
        frame(ax, sweep, name, x)
    handles: list[Line2D] = []
    if view.second is not None:
        handles = [
            Line2D([], [], color=ink, linestyle=dash, marker="o", ms=3, label=sweep.level_text(view.second, row))
            for row, ink, dash in styles
        ]
    legend_below(figure, [*handles, *beside_handles(sweep)])
    return figure


def _line(ax: Axes, sweep: Sweep, view: View, name: str, row: int, x: np.ndarray, ink: str, dash: Any) -> None:
    """One line with its band, bars and marks."""
    factor = sweep.shown(name).factor

    def along(column: str) -> np.ndarray | None:
        return factor * view.table(sweep, column)[row].astype(float) if column in sweep.data else None

    y = along(name)
    assert y is not None
    ax.plot(x, y, color=ink, linestyle=dash, marker="o", ms=3)
    mean, deviation = along(f"{name}_time_mean"), along(f"{name}_time_std")
    if mean is not None and deviation is not None:
        ax.fill_between(x, mean - deviation, mean + deviation, color=ink, alpha=0.12, linewidth=0)
    chance = along(f"{name}_chance") if f"{name}_chance" in sweep.data else along(f"{name}_time_chance")
    if chance is not None and np.nanmax(chance, initial=0.0) > 0:
        ax.errorbar(x, y, chance, fmt="none", ecolor=ink, elinewidth=0.9, capsize=2)
    marked = {
        "not converged": view.table(sweep, "status")[row] == "not-converged",
        "under-resolved": _table_of(sweep, view, sweep.is_under_resolved)[row],
    }
    for word, is_marked in marked.items():
        marker, size = BESIDE[word]
        ax.plot(x[is_marked], y[is_marked], marker, ms=size, mfc="none", mec=ink, mew=0.8)


def _table_of(sweep: Sweep, view: View, flat: np.ndarray) -> np.ndarray:
    """A mask along the variants over (second, x) as `View.table`."""
    whole = sweep.data["status"].copy(data=flat.reshape(sweep.data["status"].shape))
    return view.table(Sweep(sweep.path, sweep.data.assign(_mask=whole)), "_mask").astype(bool)


@styled
def points(sweep: Sweep, measures: Sequence[str], x_name: str, y_name: str | None) -> Figure:
    """Each measure of every variant: against one column, or in colour over two."""
    figure, panels = panels_of(len(measures), 2.1)
    x = sweep.axis(x_name)
    y = None if y_name is None else sweep.axis(y_name)
    for ax, name in zip(panels, measures, strict=True):
        shown = sweep.shown(name)
        values = shown.factor * sweep.flat(name)
        drawn = np.isfinite(values)
        up = values if y is None else y.place
        if y is None:
            ax.plot(x.place, values, "o", ms=3.5, color=INKS[0])
            _bars(ax, sweep, name, x.place, values)
        else:
            norm, colours = colours_of(values)
            dots = ax.scatter(x.place[drawn], up[drawn], c=values[drawn], s=26, cmap=colours, norm=norm,
                              edgecolors="black", linewidths=0.5)  # fmt: skip
            figure.colorbar(dots, ax=ax, aspect=14, pad=0.02).set_label(shown.unit)
        for word, is_marked in (("not converged", sweep.status == "not-converged"),
                                ("under-resolved", sweep.is_under_resolved)):  # fmt: skip
            marker, size = BESIDE[word]
            at = is_marked & drawn
            ax.plot(x.place[at], up[at], marker, ms=size, mfc="none", mec="black", mew=0.7)
        frame(ax, sweep, name, x, y)
    legend_below(figure, beside_handles(sweep, ("not converged", "under-resolved")))
    return figure


def _bars(ax: Axes, sweep: Sweep, name: str, x: np.ndarray, values: np.ndarray) -> None:
    """Standard errors by chance, where the data set has them."""
    found = next((c for c in (f"{name}_chance", f"{name}_time_chance") if c in sweep.data), None)
    if found is not None:
        error = sweep.shown(name).factor * sweep.flat(found)
        if np.nanmax(error, initial=0.0) > 0:
            ax.errorbar(x, values, error, fmt="none", ecolor=INKS[0], elinewidth=0.8)


def beside_handles(sweep: Sweep, words: Sequence[str] = tuple(BESIDE)) -> list[Line2D]:
    """Legend entries of the marks that the sweep has use for."""
    present = {
        "not converged": (sweep.status == "not-converged").any(),
        "under-resolved": sweep.is_under_resolved.any(),
        "failed": (sweep.status == "failed").any(),
        "refused": (sweep.status == "refused").any(),
    }
    return [
        Line2D([], [], linestyle="", marker=BESIDE[word][0], ms=min(BESIDE[word][1], 7), mfc="none", mec="black",
               label=word) for word in words if present[word]
    ]  # fmt: skip


def panels_of(count: int, height: float) -> tuple[Figure, Iterator[Axes]]:
    """A figure of `count` panels, two in a row, each so high [in]."""
    columns = min(count, 2)
    rows = -(-count // columns)
    figure = Figure(figsize=(PAGE_WIDTH, rows * height + 0.35), layout="constrained")
    axes = np.atleast_1d(figure.subplots(rows, columns)).ravel()
    for ax in axes[count:]:
        ax.remove()
    return figure, iter(axes[:count])


def frame(ax: Axes, sweep: Sweep, name: str, x: Axis, y: Axis | None = None) -> None:
    """Title, labels and scales of a panel."""
    shown = sweep.shown(name)
    ax.set_title(textwrap.fill(shown.words, 36))
    ax.grid(True)
    if y is None:
        ax.set_ylabel(shown.unit)
        if shown.unit == "%":
            ax.set_ylim(-4, 104)
    set_axis(ax, x, "x")
    if y is not None:
        set_axis(ax, y, "y")


def set_axis(ax: Axes, axis: Axis, which: str) -> None:
    """Label, scale and ticks of the horizontal (x) or vertical (y) axis."""
    if axis.is_log:
        ax.set(**{f"{which}scale": "log"})
    line = ax.xaxis if which == "x" else ax.yaxis
    line.set_label_text(axis.label)
    if axis.ticks:
        line.set_ticks(range(len(axis.ticks)), [textwrap.shorten(tick, 18, placeholder="…") for tick in axis.ticks])
    elif axis.is_log:
        line.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        line.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        line.set_minor_formatter(NullFormatter())
    else:
        line.set_major_locator(MaxNLocator(6))


def legend_below(figure: Figure, handles: list[Line2D]) -> None:
    if handles:
        figure.legend(handles=handles, loc="outside lower center", ncols=min(len(handles), 4))


def levels_axis(sweep: Sweep, name: str) -> Axis:
    """The axis of a parameter of a product, one place for each of its levels."""
    whole = sweep.axis(name)
    coordinate = sweep.data[name]
    if whole.ticks:
        return Axis(name, np.arange(coordinate.size, dtype=float), whole.label, whole.ticks, False)
    return Axis(name, sweep.shown(name).factor * coordinate.values.astype(float), whole.label, (), whole.is_log)


def colours_of(values: np.ndarray) -> tuple[BoundaryNorm, str]:
    """Round steps of colour for values, and the colour map."""
    finite = values[np.isfinite(values)]
    # Steps between values that differ by round-off would show nothing but that.
    middle = float(np.median(finite)) if finite.size else 0.0
    if finite.size and np.ptp(finite) <= 1e-6 * abs(middle):
        values = middle * np.array([0.9, 1.1])
    levels, colours = contour_levels(values)
    return BoundaryNorm(levels, 256, extend="both"), colours
