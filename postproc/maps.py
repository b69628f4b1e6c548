"""Filled contours of the flow in the half plane, to scale, with streamlines."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from swirlwright.postproc.drawing import GREY, PAGE_WIDTH, length_unit, shown_field, styled, unit_text
from swirlwright.solver.result_layout import FRAMES
from swirlwright.solver.results import ResultData

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MAP_HEIGHT = 4.4  # in; maps and profiles then share a page
FIELDS = ("tangential_velocity", "axial_velocity", "pressure")
SIGNED_MAP, STRENGTH_MAP = "RdBu_r", "cividis"
NEGATIVE = "////"
HATCH: dict[Any, Any] = {"hatch.linewidth": 0.5, "hatch.color": "white"}
# A field counts as signed when its weaker side reaches this share of the stronger; less is a trace.
SIGNED_SHARE = 0.02
N_STREAMLINES = 12


@styled
def maps(result: ResultData) -> Figure:
    """Draw tangential velocity, axial velocity and pressure: of the time average, else of the last frame."""
    width, height = result.r_face[-1], result.z_face[-1]
    is_tall = height > 0.8 * width
    n_columns, n_rows = (len(FIELDS), 1) if is_tall else (1, len(FIELDS))
    panel_width = (PAGE_WIDTH - 0.75) / n_columns - (0.3 if is_tall else 0.9)
    panel_height = min(panel_width * height / width, MAP_HEIGHT)
    figure_height = panel_height + 1.7 if is_tall else n_rows * (panel_height + 0.4) + 0.4
    figure = Figure(figsize=(PAGE_WIDTH, figure_height), layout="constrained")
    axes = np.atleast_1d(figure.subplots(n_rows, n_columns, sharex=True, sharey=True))
    for ax, name in zip(axes, FIELDS, strict=True):
        _map(figure, ax, result, name, is_tall=is_tall)
    unit = length_unit(result).name
    for ax in axes[:1] if is_tall else axes:
        ax.set_ylabel(f"height z ({unit})")
    for ax in axes if is_tall else axes[-1:]:
        ax.set_xlabel(f"radius r ({unit})")
    return figure


def stream_function(result: ResultData) -> np.ndarray:
    """Volume flow [m3/s] upward through the disc inside each ring, shape (nz+1, nr+1).

    2 pi times the Stokes stream function; where jets bring air in, it is still the flow inside the ring.
    """
    flux = result.budget["mass_flux_z"] / result.attributes["density"]
    return np.pad(np.cumsum(flux, axis=1), ((0, 0), (1, 0)))


def _map(figure: Figure, ax: Axes, result: ResultData, name: str, *, is_tall: bool) -> None:
    scale = length_unit(result).factor
    field = shown_field(result, name)
    # The outermost cells are drawn on to axis, walls, floor and ceiling.
    r = np.concatenate([[0.0], result.r[1:-1], result.r_face[-1:]]) * scale
    z = np.concatenate([[0.0], result.z[1:-1], result.z_face[-1:]]) * scale
    levels, colours = pressure_levels(field) if name == "pressure" else contour_levels(field)
    ends = bool((field < levels[0]).any()), bool((field > levels[-1]).any())
    extend = {(False, False): "neither", (True, False): "min", (False, True): "max", (True, True): "both"}[ends]
    filled = ax.contourf(r, z, field, levels=levels, cmap=colours, extend=extend)
    # Without this the edges of the bands show as hairlines in some viewers.
    filled.set_edgecolor("face")
    is_signed = colours == SIGNED_MAP
    if is_signed:
        # In grey both ends of a diverging map are dark: zero line, dashed and hatched negatives tell them apart.
        below = levels[levels < 0][1::3]
        ax.contour(r, z, field, levels=below, colors=GREY, linewidths=0.7, linestyles="--")
        _hatch_negative(ax, r, z, field)
    if is_signed or (name == "pressure" and levels[0] < 0 < levels[-1]):
        ink = "black" if is_signed else "white"
        ax.contour(r, z, field, levels=[0.0], colors=ink, linewidths=0.9, linestyles=":")
    if name == "axial_velocity" and result.budget:
        _streamlines(ax, result, scale, "black" if is_signed else "white")
    _solids(ax, result, scale)
    ax.set_aspect("equal")
    title = name.replace("_", " ")
    ax.set_title(title, pad=7)
    ax.yaxis.set_major_locator(MaxNLocator(7))
    ax.xaxis.set_major_locator(MaxNLocator(3))
    bar = figure.colorbar(filled, ax=ax, location="bottom" if is_tall else "right", aspect=22, pad=0.03)
    bar.set_ticks(list(_few(levels)))
    if is_signed:
        span = bar.ax.axvspan if is_tall else bar.ax.axhspan
        with rc_context(HATCH):
            span(levels[0], 0.0, facecolor="none", edgecolor="white", linewidth=0, hatch=NEGATIVE)
    unit, sense = unit_text(FRAMES[name].units), FRAMES[name].long_name.removeprefix(title).strip(", ")
    bar.set_label(f"{unit}, {sense}" if is_tall else unit)


def _hatch_negative(ax: Axes, r: np.ndarray, z: np.ndarray, field: np.ndarray) -> None:
    """White hatches over what is negative: they fade out towards zero, where the map is white too."""
    low = float(np.nanmin(field, initial=0.0))
    if low == 0.0:
        return
    with rc_context(HATCH):
        hatched = ax.contourf(r, z, field, levels=[2.0 * low, 0.0], colors="none", hatches=[NEGATIVE])
        hatched.set_edgecolor("white")
        hatched.set_linewidth(0.0)


def contour_levels(field: np.ndarray) -> tuple[np.ndarray, str]:
    """Round contour levels and the colour map: symmetric and diverging for a signed field, else cividis.

    The extreme per cent of the cells at either end runs into the end colour: one cell at a sharp edge
    must not take the colours from the rest.
    """
    low, high = _range(field)
    largest = max(-low, high)
    if largest == 0:
        return np.linspace(0.0, 1.0, 5), STRENGTH_MAP
    if low < 0 < high and min(-low, high) >= SIGNED_SHARE * largest:
        return np.asarray(MaxNLocator(20, symmetric=True).tick_values(-largest, largest)), SIGNED_MAP
    # Brighter is stronger in both signs: the core stands out against the quiet air around it.
    return _one_way(low, high), STRENGTH_MAP if high > abs(low) else f"{STRENGTH_MAP}_r"


def pressure_levels(field: np.ndarray) -> tuple[np.ndarray, str]:
    """Round contour levels and the colour map of a pressure: of every run the same map, brighter where it is lower.

    A pressure that is of both signs by a trace would else change its colours from run to run.
    """
    low, high = _range(field)
    levels = _one_way(low, high) if high > low else np.linspace(0.0, 1.0, 5)
    return levels, f"{STRENGTH_MAP}_r"


def _range(field: np.ndarray) -> tuple[float, float]:
    """Quantiles that the colours end at."""
    finite = field[np.isfinite(field)]
    low, high = np.quantile(finite, [0.01, 0.99]) if finite.size else (0.0, 0.0)
    return float(low), float(high)


def _one_way(low: float, high: float) -> np.ndarray:
    """Round levels from low to high, and from zero unless the range is narrow."""
    if high - low > 0.5 * max(abs(low), abs(high)):
        low, high = min(low, 0.0), max(high, 0.0)
    return np.asarray(MaxNLocator(16).tick_values(low, high))


def _few(levels: np.ndarray) -> np.ndarray:
    """At most four of the levels, evenly spaced, zero among them if it is a level."""
    stride = max(1, -(-(len(levels) - 1) // 3))
    middle = (len(levels) - 1) // 2 if levels[0] == -levels[-1] else 0
    return levels[middle % stride :: stride]


def _solids(ax: Axes, result: ResultData, scale: float) -> None:
    """Thick lines where the half plane ends at something solid, none at openings."""
    wall: dict[str, Any] = {"color": "black", "linewidth": 2.2, "solid_capstyle": "butt", "clip_on": False, "zorder": 5}
    radius, height = result.r_face[-1] * scale, result.z_face[-1] * scale
    names = ("exhaust_radius", "exhaust_hub_radius")
    opening, hub = np.nan_to_num([scale * float(result.attributes.get(name, 0.0)) for name in names])
    ax.plot([0, radius], [0, 0], **wall)
    ax.plot([opening, radius], [height, height], **wall)
    ax.plot([0, hub], [height, height], **wall)
    is_solid = result.places.get("side_open_fraction", np.zeros(result.z.size)) == 0
    lower, upper = result.z_face[:-1][is_solid] * scale, result.z_face[1:][is_solid] * scale
    ax.vlines(np.full(lower.size, radius), lower, upper, colors="black", linewidth=2.2, clip_on=False, zorder=5)
    for side in ("top", "bottom", "right"):
        ax.spines[side].set_visible(False)
    ax.spines["left"].set(linestyle=(0, (8, 3, 2, 3)), color=GREY)


def _streamlines(ax: Axes, result: ResultData, scale: float, ink: str) -> None:
    """Lines of equal flow inside them, with an arrowhead each."""
    flow = stream_function(result)
    if not flow.max() > flow.min():
        return
    levels = np.linspace(flow.min(), flow.max(), N_STREAMLINES + 2)[1:-1]
    r_face, z_face = result.r_face * scale, result.z_face * scale
    lines = ax.contour(r_face, z_face, flow, levels=levels, colors=ink, linewidths=0.6, linestyles="-")
    u, w = shown_field(result, "radial_velocity"), shown_field(result, "axial_velocity")
    head: dict[str, Any] = {
        "arrowstyle": "-|>",
        "color": ink,
        "lw": 0.5,
        "mutation_scale": 6,
        "shrinkA": 0,
        "shrinkB": 0,
    }
    for line in (line for level_lines in lines.allsegs for line in level_lines):
        steps = np.hypot(*np.diff(line, axis=0).T)
        if len(line) < 6 or steps.sum() < 0.08 * z_face[-1]:
            continue
        half = int(np.clip(np.searchsorted(np.cumsum(steps), 0.45 * steps.sum()), 1, len(line) - 2))
        place, along = line[half], line[half + 1] - line[half - 1]
        i = int(np.clip(np.searchsorted(r_face, place[0]) - 1, 0, result.r.size - 1))
        j = int(np.clip(np.searchsorted(z_face, place[1]) - 1, 0, result.z.size - 1))
        sense = 1e-3 if u[j, i] * along[0] + w[j, i] * along[1] >= 0 else -1e-3
        ax.annotate("", xy=tuple(place + sense * along), xytext=tuple(place), arrowprops=head)
