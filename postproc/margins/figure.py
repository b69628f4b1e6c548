"""Pictures of margins: how far each knob may move, and what a joint uncertainty hangs on."""

from __future__ import annotations

import math
from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullLocator

from swirlwright.postproc.drawing import GREY, PAGE_WIDTH, styled
from swirlwright.postproc.margins.bracket import SUFFICES
from swirlwright.postproc.margins.joint import Input, Joint
from swirlwright.postproc.margins.values import AT_BOUND, BEYOND_BOUND, CHANGES, End, KnobMargin, Margins

# Touchdown of the chambers tried: marks differ as well as their filling, so that they can be told apart in grey.
MARKS = {"yes": ("o", "black"), "marginal": ("D", "#bbbbbb"), "no": ("X", "white"), "": ("|", "black")}
TICKS = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
ROW = 0.42  # in
ROOM = 2.2  # beside the outermost run for the words there
BAR, PALE = "#7ea6c4", "#d5e2ec"


@styled
def tornado(m: Margins) -> Figure:
    """The range of each knob in which touchdown stays what it is, shortest first, with every chamber that was tried."""
    knobs = sorted(m.knobs, key=_freedom)
    figure = Figure(figsize=(PAGE_WIDTH, 1.35 + ROW * len(knobs)), layout="constrained")
    ax = figure.subplots()
    factors = [1.0 - SUFFICES, 1.0 + SUFFICES, *(p.factor for knob in knobs for p in knob.points)]
    left, right = min(factors) / ROOM, max(factors) * ROOM
    ax.axvspan(1.0 - SUFFICES, 1.0 + SUFFICES, color="#eeeeee", linewidth=0)
    ax.axvline(1.0, color=GREY, linewidth=0.8)
    for row, knob in enumerate(knobs):
        _bar(ax, row, knob)
    ax.set_xscale("log")
    ax.set_xlim(left, right)
    ax.set_ylim(len(knobs) - 0.4, -0.6)
    ax.set_yticks(range(len(knobs)), [f"{knob.words}\n{knob.shown(knob.value)}" for knob in knobs])
    ticks = [t for t in TICKS if left < t < right]
    ax.xaxis.set_major_locator(FixedLocator(ticks))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_xticklabels([_tick(t) for t in ticks])
    ax.set_xlabel(f"moved alone; touchdown stays {m.base.touchdown} along the bar; grey band: ±{100 * SUFFICES:.0f} %")
    ax.tick_params(axis="y", length=0)
    _legend(figure, ax, m)
    return figure


def _freedom(knob: KnobMargin) -> float:
    """Least move that changes the verdict, as a logarithm; infinite where none does."""
    ends = [end.beyond.factor for end in (knob.down, knob.up) if end.kind == CHANGES and end.beyond is not None]
    return min((abs(math.log(factor)) for factor in ends), default=math.inf)


def _tick(factor: float) -> str:
    if factor == 1.0:
        return "as given"
    return f"× {factor:g}"


def _bar(ax: Axes, row: int, knob: KnobMargin) -> None:
    """A bar where the verdict stays, hatched between the two runs beside a change, marks for all runs."""
    low, high = knob.down.stays.factor, knob.up.stays.factor
    ax.barh(row, high - low, left=low, height=0.34, color=BAR, linewidth=0)
    tried = [p.factor for p in knob.points]
    for end, outermost, way in ((knob.down, min(tried), -1), (knob.up, max(tried), 1)):
        inner = end.stays.factor
        if end.beyond is not None:
            ax.barh(
                row, end.beyond.factor - inner, left=inner, height=0.34, color="white", edgecolor=BAR, hatch="/////",
                linewidth=0,
            )  # fmt: skip
        ax.annotate(
            _end_text(end), (outermost, row), xytext=(8 * way, 0), textcoords="offset points", fontsize=7.5,
            ha="left" if way > 0 else "right", va="center",
        )  # fmt: skip
    for p in knob.points:
        mark, fill = MARKS[p.touchdown]
        ax.plot(p.factor, row, mark, markersize=4.5, markerfacecolor=fill, markeredgecolor="black", markeredgewidth=0.7)


def _end_text(end: End) -> str:
    """What lies beyond an end."""
    if end.kind == CHANGES and end.beyond is not None:
        return f"{end.beyond.touchdown}{' ?' if end.is_by_chance else ''}{'' if end.beyond.is_converged else ' *'}"
    return {BEYOND_BOUND: "no change", AT_BOUND: "cannot move"}.get(end.kind, end.kind)


def _legend(figure: Figure, ax: Axes, m: Margins) -> None:
    words = {p.touchdown for knob in m.knobs for p in knob.points}
    for word, (mark, fill) in MARKS.items():
        if word in words:
            ax.plot([], [], mark, markersize=4.5, markerfacecolor=fill, markeredgecolor="black", markeredgewidth=0.7,
                    label=f"a run: {word}" if word else "no answer")  # fmt: skip
    figure.legend(loc="outside upper right", ncols=4, handlelength=1.2)


@styled
def sensitivities(j: Joint) -> Figure:
    """Rank correlation of the share of time with every input, with its interval."""
    inputs: Sequence[Input] = j.inputs
    figure = Figure(figsize=(PAGE_WIDTH, 0.9 + 0.27 * len(inputs)), layout="constrained")
    ax = figure.subplots()
    ax.axvline(0.0, color=GREY, linewidth=0.8)
    for row, i in enumerate(inputs):
        if i.correlation is None or i.low is None or i.high is None:
            continue
        ax.barh(row, i.correlation, height=0.5, color=BAR if i.is_sure else PALE, linewidth=0)
        ax.plot([i.low, i.high], [row, row], color="black", linewidth=1.0, marker="|", markersize=6)
    ax.set_xlim(-1.0, 1.0)
    ax.set_ylim(len(inputs) - 0.4, -0.6)
    ax.set_yticks(range(len(inputs)), [i.words for i in inputs])
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("rank correlation with the share of time a column stands; pale: may be none")
    ax.grid(True, axis="x")
    return figure
