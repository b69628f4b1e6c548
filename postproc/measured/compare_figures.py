"""Pictures of a comparison: measured against computed, and profiles through the measured points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from textwrap import wrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine

from swirlwright.postproc.drawing import DASHES, GREY, INKS, PAGE_WIDTH, length_unit, styled
from swirlwright.postproc.measured.compare import Comparison, Row
from swirlwright.postproc.measured.compare_words import shown
from swirlwright.postproc.measured.points import FIELDS, QUANTITIES
from swirlwright.postproc.measured.values import profile
from swirlwright.solver.outcome import alarm

COLUMNS = 3
ROW_HEIGHT, BETWEEN = 2.5, 0.09  # in; the latter around each panel, so that rows keep apart
TITLE = 22  # characters in a line: a third of the page takes no more
SAMPLES = 161  # of a computed profile
MARKERS = ("o", "s", "^", "D", "v")
INSIDE, OUT = INKS[0], INKS[1]


@styled
def parity(c: Comparison) -> Figure | None:
    """Computed against measured, a panel for each kind of point; None where nothing was computed."""
    kinds = [name for name in QUANTITIES if any(row.point.quantity == name and row.score is not None for row in c.rows)]
    if not kinds:
        return None
    figure, panels = _panels(len(kinds))
    for ax, name in zip(panels, kinds, strict=True):
        _parity(ax, name, [row for row in c.rows if row.point.quantity == name and row.score is not None])
    found = {label: handle for ax in panels for handle, label in zip(*ax.get_legend_handles_labels(), strict=True)}
    figure.legend(list(found.values()), list(found), loc="outside lower center", ncols=len(found))
    _mark(figure, c)
    return figure


@styled
def profiles(c: Comparison) -> Figure | None:
    """Computed profiles through the measured points, a panel for each field; None where no field was measured."""
    kinds = [name for name in FIELDS if any(row.point.quantity == name for row in c.rows)]
    if not kinds:
        return None
    figure, panels = _panels(len(kinds), columns=2)
    for ax, name in zip(panels, kinds, strict=True):
        _profiles(ax, c, name, [row for row in c.rows if row.point.quantity == name])
    _mark(figure, c)
    return figure


def _panels(number: int, columns: int = COLUMNS) -> tuple[Figure, list[Axes]]:
    rows = math.ceil(number / columns)
    figure = Figure(figsize=(PAGE_WIDTH, ROW_HEIGHT * rows + 0.3), layout=ConstrainedLayoutEngine(h_pad=BETWEEN))
    axes = list(np.ravel(figure.subplots(rows, min(columns, number), squeeze=False)))
    for ax in axes[number:]:
        ax.remove()
    return figure, axes[:number]


def _mark(figure: Figure, c: Comparison) -> None:
    if not c.is_converged:
        figure.suptitle(alarm(c.outcome), color="#9b1c1c", fontweight="bold", fontsize=9)


def _parity(ax: Axes, name: str, rows: Sequence[Row]) -> None:
    unit, factor = shown(name)
    ends = []
    for is_outside, ink, marker, fill, label in (
        (False, INSIDE, "o", INSIDE, "inside the band"),
        (True, OUT, "D", "white", "outside"),
    ):
        some = [row for row in rows if row.is_outside is is_outside]
        if not some:
            continue
        x, dx, y, dy = (
            factor * np.array(values)
            for values in (
                [row.point.value for row in some],
                [row.point.uncertainty for row in some],
                [row.computed.value for row in some],
                [math.hypot(row.computed.spread, row.grid, row.model) for row in some],
            )
        )
        ax.errorbar(
            x, y, xerr=dx, yerr=np.where(dy > 0.0, dy, np.nan), color=ink, linestyle="", marker=marker,
            markersize=4, markerfacecolor=fill, elinewidth=0.9, label=label, zorder=3,
        )  # fmt: skip
        ends += [*(x - dx), *(x + dx), *(y - dy), *(y + dy)]
    low, high = min(ends), max(ends)
    margin = 0.08 * (high - low)
    limits = (low - margin, high + margin)
    ax.plot(limits, limits, color=GREY, linewidth=0.9, linestyle=(0, (4, 3)), label="computed = measured", zorder=1)
    ax.set_xlim(limits)
    ax.set_ylim(limits)
    ax.set_aspect("equal", "box")
    ax.set_title("\n".join(wrap(QUANTITIES[name].words, TITLE)))
    ax.set_xlabel(f"measured ({unit})")
    ax.set_ylabel(f"computed ({unit})")
    ax.grid(True)


def _profiles(ax: Axes, c: Comparison, name: str, rows: Sequence[Row]) -> None:
    """Lines along r at the heights measured at, or along z at the radii, whichever joins more points."""
    lengths, (unit, factor) = length_unit(c.data), shown(name)
    by_height, by_radius = _grouped(rows, "height"), _grouped(rows, "radius")
    along_r = max(map(len, by_height.values())) >= max(map(len, by_radius.values()))
    groups = by_height if along_r else by_radius
    drawn = sorted(sorted(groups, key=lambda at: -len(groups[at]))[: len(INKS)], reverse=True)
    end = (c.data.r_face if along_r else c.data.z_face)[-1]
    line = np.linspace(0.0, end, SAMPLES)
    for k, at in enumerate(drawn):
        fixed = np.full(SAMPLES, at)
        places = np.column_stack([fixed, line] if along_r else [line, fixed])
        mean, spread = profile(c.data, name, places)
        label = f"{'z' if along_r else 'r'} = {lengths.text(at)}"
        ax.plot(line * lengths.factor, factor * mean, color=INKS[k], linestyle=DASHES[k], label=label)
        if spread.any():
            band = (factor * (mean - spread), factor * (mean + spread))
            ax.fill_between(line * lengths.factor, *band, color=INKS[k], alpha=0.12, linewidth=0)
        some = groups[at]
        ax.errorbar(
            [lengths.factor * _place(row, not along_r) for row in some], [factor * row.point.value for row in some],
            yerr=[factor * row.point.uncertainty for row in some], color=INKS[k], linestyle="", marker=MARKERS[k],
            markersize=4, markerfacecolor="white", elinewidth=0.9, zorder=3,
        )  # fmt: skip
    ax.set_xlim(0.0, end * lengths.factor)
    left = "" if len(drawn) == len(groups) else f" ({len(drawn)} of {len(groups)} lines)"
    ax.set_title(QUANTITIES[name].words + left)
    ax.set_xlabel(f"{'radius r' if along_r else 'height z'} ({lengths.name})")
    ax.set_ylabel(unit)
    ax.grid(True)
    ax.legend(loc="best")


def _place(row: Row, of_height: bool) -> float:
    at = row.point.height if of_height else row.point.radius
    assert at is not None
    return at


def _grouped(rows: Sequence[Row], name: str) -> dict[float, list[Row]]:
    """Points by their height or radius [m], those of one line together."""
    groups: dict[float, list[Row]] = {}
    for row in rows:
        groups.setdefault(round(_place(row, name == "height"), 6), []).append(row)
    return groups
