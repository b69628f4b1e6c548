"""Line pictures of one result: profiles, the column along its axis, the run's record."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from swirlwright.postproc.drawing import (
    DASHES,
    GREY,
    INKS,
    PAGE_WIDTH,
    length_unit,
    shown_field,
    styled,
    unit_text,
)
from swirlwright.postproc.maps import maps
from swirlwright.solver.result_layout import FRAMES
from swirlwright.solver.results import ResultData

__all__ = ["along_the_axis", "convergence", "maps", "profiles", "record"]

PROFILE_HEIGHTS = (0.9, 0.7, 0.5, 0.3, 0.1)  # of the chamber's height
RESIDUALS = ("mass", "momentum", "change")
# Series drawn beside the residuals, two at most, in this order; label and factor on SI.
SERIES = {
    "exhaust_flow": ("exhaust flow (L/s)", 1000.0),
    "core_pressure_deficit": ("core pressure deficit (Pa)", 1.0),
    "step_size": ("step in time (ms)", 1000.0),
}


@styled
def profiles(result: ResultData) -> Figure:
    """Tangential velocity against radius at several heights."""
    unit = length_unit(result)
    figure = Figure(figsize=(PAGE_WIDTH, 2.7), layout="constrained")
    ax = figure.subplots()
    field = shown_field(result, "tangential_velocity")
    r = np.append(0.0, result.r) * unit.factor
    for share, ink, dash in zip(PROFILE_HEIGHTS, INKS, DASHES, strict=True):
        j = int(np.argmin(np.abs(result.z - share * result.z_face[-1])))
        v = np.append(0.0, field[j])
        ax.plot(r, v, color=ink, linestyle=dash, label=f"z = {unit.text(result.z[j])}")
        if share == 0.5 and result.std:
            spread = np.append(0.0, result.std["tangential_velocity"][j])
            ax.fill_between(r, v - spread, v + spread, color=ink, alpha=0.15, linewidth=0)
    ax.set_xlim(0, result.r_face[-1] * unit.factor)
    inner_edge = float(result.attributes.get("curtain_inner_edge", np.nan))
    if np.isfinite(inner_edge):
        ax.axvline(inner_edge * unit.factor, color=GREY, linewidth=0.8, linestyle=(0, (4, 3)))
        side = "right" if inner_edge > 0.5 * result.r_face[-1] else "left"
        label: dict[str, Any] = {
            "ha": side,
            "va": "bottom",
            "fontsize": 7,
            "color": GREY,
            "transform": ax.get_xaxis_transform(),
        }
        ax.text(inner_edge * unit.factor, 1.01, "inner edge of the jets' curtain", **label)
    ax.set_xlabel(f"radius r ({unit.name})")
    ax.set_ylabel(f"tangential velocity v ({unit_text(FRAMES['tangential_velocity'].units)})")
    ax.grid(True)
    figure.legend(loc="outside right upper")
    return figure


@styled
def along_the_axis(result: ResultData, heights: np.ndarray, core_radius: np.ndarray) -> Figure:
    """Core radius, axial velocity on the axis and pressure on the axis against height, side by side.

    Parameters
    ----------
    result : ResultData
        The result.
    heights, core_radius : ndarray
        The followed core [m], shape (n,); NaN in `core_radius` where there is no core.
    """
    unit = length_unit(result)
    figure = Figure(figsize=(PAGE_WIDTH, 3.1), layout="constrained")
    left, middle, right = figure.subplots(1, 3, sharey=True)
    left.plot(core_radius * 1000, heights * unit.factor, color=INKS[0])
    left.set_xlabel("core radius (mm)")
    if np.isfinite(core_radius).any():
        left.set_xlim(0, 1250 * np.nanmax(core_radius))
    else:
        left.text(0.5, 0.5, "no core found", transform=left.transAxes, ha="center", color=GREY)
        left.set_xticks([])
    z = result.z * unit.factor
    for ax, name, ink in ((middle, "axial_velocity", INKS[1]), (right, "pressure", INKS[2])):
        value = shown_field(result, name)[:, 0]
        ax.plot(value, z, color=ink)
        if result.std:
            spread = result.std[name][:, 0]
            ax.fill_betweenx(z, value - spread, value + spread, color=ink, alpha=0.15, linewidth=0)
        ax.axvline(0, color="black", linewidth=0.6)
        ax.set_xlabel(f"{name.replace('_', ' ')} on the axis ({unit_text(FRAMES[name].units)})")
    left.set_ylabel(f"height z ({unit.name})")
    left.set_ylim(0, result.z_face[-1] * unit.factor)
    for ax in (left, middle, right):
        ax.grid(True)
        ax.xaxis.set_major_locator(MaxNLocator(4))
    return figure


@styled
def convergence(result: ResultData) -> Figure | None:
    """Residuals of a steady search on a log scale, or the series of a transient; None where nothing was kept."""
    history = {name: values for name, values in result.history.items() if np.isfinite(values).any()}
    n_rows = max((values.size for values in history.values()), default=0)
    if n_rows < 2:
        return None
    falling = [name for name in history if name in RESIDUALS and (history[name] > 0).any()]
    others = [name for name in SERIES if name in history and np.nanmax(history[name]) > np.nanmin(history[name])]
    widths = [1.6] * bool(falling) + [1.0] * len(others[:2])
    if not widths:
        return None
    in_time = "time" in history and np.nanmax(history["time"]) > np.nanmin(history["time"])
    # The number of the row: iterations are counted afresh on every grid.
    x = history["time"] if in_time else np.arange(1, n_rows + 1)
    figure = Figure(figsize=(PAGE_WIDTH, 2.5), layout="constrained")
    axes = list(np.atleast_1d(figure.subplots(1, len(widths), width_ratios=widths)))
    for ax in axes:
        ax.set_xlabel("time (s)" if in_time else "iteration, all grids")
        ax.grid(True)
    if falling:
        _residuals(axes.pop(0), x, history, falling)
    for ax, name in zip(axes, others, strict=False):
        label, factor = SERIES[name]
        ax.plot(x, factor * history[name], color=INKS[0])
        ax.set_ylabel(label)
    return figure


def _residuals(ax: Axes, x: np.ndarray, history: dict[str, np.ndarray], names: list[str]) -> None:
    """Residuals on a log scale, with a line where the search goes on to a finer grid."""
    for i, name in enumerate(names):
        drawn = np.where(history[name] > 0, history[name], np.nan)
        ax.semilogy(x, drawn, color=INKS[i], linestyle=DASHES[i], marker=".", ms=3, label=name.replace("_", " "))
    ax.set_ylabel("residual (dimensionless)")
    cells = history.get("cells", np.zeros(x.size))
    for k in np.flatnonzero(np.diff(cells)):
        ax.axvline((x[k] + x[k + 1]) / 2, color=GREY, linewidth=0.8, linestyle=(0, (4, 3)))
    if np.ptp(cells):
        ax.plot([], [], color=GREY, linewidth=0.8, linestyle=(0, (4, 3)), label="next grid")
    ax.legend(loc="best")


@styled
def record(result: ResultData) -> Figure | None:
    """Largest tangential velocity and mid-height pressure on the axis, frame by frame; None for few."""
    if result.time.size < 3:
        return None
    figure = Figure(figsize=(PAGE_WIDTH, 2.1), layout="constrained")
    left, right = figure.subplots(1, 2)
    middle = int(np.argmin(np.abs(result.z - result.z_face[-1] / 2)))
    left.plot(result.time, np.abs(result.frames["tangential_velocity"]).max(axis=(1, 2)), color=INKS[0])
    left.set_ylabel("largest tangential\nvelocity (m/s)")
    right.plot(result.time, result.frames["pressure"][:, middle, 0], color=INKS[2])
    right.set_ylabel("pressure on the axis,\nmid-height (Pa)")
    window = [float(result.attributes.get(name, np.nan)) for name in ("window_start", "window_end")]
    for ax in (left, right):
        ax.set_xlabel("time (s)")
        ax.grid(True)
        if result.mean and window[0] < window[1]:
            ax.axvspan(*window, color="#efe9d9", zorder=0)
    return figure
