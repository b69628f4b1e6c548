"""Pictures of a sample: main effects of its parameters, and Sobol indices with their confidence."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from swirlwright.postproc.drawing import GREY, INKS, PAGE_WIDTH, styled
from swirlwright.postproc.sweeps.figures import set_axis, spread_over
from swirlwright.postproc.sweeps.report_data import Sweep
from swirlwright.postproc.sweeps.report_design import Designed
from swirlwright.postproc.sweeps.report_indices import Estimate, Input, Surrogate, main_effect

MOST_POINTS = 400  # behind the means; a page of thousands would be slow to open
CONFIDENCE = 1.96  # standard errors to either side: 95 per cent of a normal distribution


@styled
def main_effects(sweep: Sweep, measures: Sequence[str], inputs: Sequence[Input]) -> Figure:
    """Mean of each measure (rows) in bins of each parameter (columns), over the variants themselves."""
    figure = Figure(figsize=(PAGE_WIDTH, 1.45 * len(measures) + 0.35), layout="constrained")
    axes = figure.subplots(len(measures), len(inputs), sharey="row", sharex="col", squeeze=False)
    for row, name in zip(axes, measures, strict=True):
        shown = sweep.shown(name)
        values = shown.factor * sweep.flat(name)
        use = np.flatnonzero(np.isfinite(values) & sweep.is_random)
        for ax, given in zip(row, inputs, strict=True):
            _effect(ax, sweep, given.kept(use), values[use], use)
        row[0].set_ylabel(textwrap.fill(shown.label, 24), fontsize=7)
    for ax, given in zip(axes[-1], inputs, strict=True):
        set_axis(ax, sweep.axis(given.name), "x")
    figure.align_ylabels(axes[:, 0])
    return figure


def _effect(ax: Axes, sweep: Sweep, given: Input, y: np.ndarray, use: np.ndarray) -> None:
    """One panel: variants in grey, means of the bins with 95 per cent of confidence."""
    x = sweep.axis(given.name).place[use]
    few = spread_over(range(y.size), MOST_POINTS)
    ax.plot(x[few], y[few], ".", ms=2.5, color="#b5bbc0", zorder=1)
    effect = main_effect(given, x, y)
    ax.errorbar(effect.place, effect.mean, effect.reach, color=INKS[0], marker="o", ms=3, capsize=2, elinewidth=0.9)
    ax.grid(True)


@styled
def sobol_bars(
    sweep: Sweep,
    names: Sequence[str],
    by_bins: Mapping[str, Sequence[Estimate | None]],
    modelled: Mapping[str, Surrogate | Designed | None],
) -> Figure:
    """Sobol indices of each measure as bars, a group for each parameter, with 95 per cent of confidence.

    Parameters
    ----------
    sweep : Sweep
    names : sequence of str
        The parameters.
    by_bins, modelled : mapping
        Of each measure the first-order indices by bins, and those of the surrogate or of Saltelli's design.
    """
    columns = min(len(by_bins), 2)
    rows = -(-len(by_bins) // columns)
    figure = Figure(figsize=(PAGE_WIDTH, rows * (0.88 + 0.42 * len(names)) + 0.4), layout="constrained")
    axes = np.atleast_1d(figure.subplots(rows, columns, sharey=True)).ravel()
    for ax in axes[len(by_bins) :]:
        ax.remove()
    for ax, (measure, estimates) in zip(axes, by_bins.items(), strict=False):
        model = modelled[measure]
        _bars(ax, estimates, -0.27, facecolor="#9fb4c4", hatch="")
        if model is not None and model.is_telling:
            _bars(ax, model.first, 0.0, facecolor=INKS[0], hatch="")
            _bars(ax, model.total, 0.27, facecolor="white", hatch="/////")
        ax.set_title(textwrap.fill(sweep.shown(measure).words, 46))
        ax.set_yticks(range(len(names)), [sweep.shown(name).words for name in names])
        ax.set_ylim(len(names) - 0.2, -0.5)  # room for the words below the bars
        ax.set_xlim(-0.15, 1.1)
        ax.axvline(0, color="black", linewidth=0.6)
        ax.grid(True, axis="x")
        said = "no indices beside bins" if model is None else model.text
        ax.text(0.985, 0.03, said, transform=ax.transAxes, ha="right", va="bottom", fontsize=6.5, color=GREY,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.8})  # fmt: skip
    for ax in axes[max(0, len(by_bins) - columns) : len(by_bins)]:
        ax.set_xlabel("share of the variance")
    source = "surrogate" if sweep.pairs is None else "design"
    key: Any = {"linewidth": 0.7, "edgecolor": "black"}
    figure.legend(
        handles=[
            Patch(facecolor="#9fb4c4", label="first order, by bins", **key),
            Patch(facecolor=INKS[0], label=f"first order, {source}", **key),
            Patch(facecolor="white", hatch="/////", label=f"total, {source}", **key),
        ],
        loc="outside lower center",
        ncols=3,
    )
    return figure


def _bars(ax: Axes, estimates: Sequence[Estimate | None], shift: float, *, facecolor: str, hatch: str) -> None:
    for k, estimate in enumerate(estimates):
        if estimate is None:
            continue
        ax.barh(k + shift, estimate.value, 0.25, facecolor=facecolor, hatch=hatch, edgecolor="black", linewidth=0.7)
        reach = CONFIDENCE * estimate.error
        for ink, width in (("white", 2.2), ("black", 0.9)):
            ax.errorbar(estimate.value, k + shift, xerr=reach, fmt="none", ecolor=ink, elinewidth=width, capsize=0)
