"""The regime map of a sweep: where in a plane of two columns a column of air stands on the floor."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from swirlwright.postproc.drawing import PAGE_WIDTH, styled
from swirlwright.postproc.sweeps.figures import BESIDE, beside_handles, set_axis
from swirlwright.postproc.sweeps.report_data import Axis, Sweep
from swirlwright.postproc.verdict import MARGINAL, NO, YES, by_share

VERDICTS = (NO, MARGINAL, YES)
# Darker and more closely hatched as the column gets surer, so that the regions differ in grey too.
TINTS = {NO: "#f3dad6", MARGINAL: "#e8c98b", YES: "#7fb08d"}
HATCHES = {NO: "\\", MARGINAL: "..", YES: "////"}
FILLS: dict[str, dict[str, Any]] = {
    NO: {"mfc": "white"},
    MARGINAL: {"mfc": "black", "fillstyle": "bottom", "markerfacecoloralt": "white"},
    YES: {"mfc": "black"},
}
RASTER = (220, 180)  # points in x and y
# A triangle between variants with a side longer than this many median sides is a hole in the data; our own choice.
LONG_SIDE = 3.0


@dataclass(frozen=True)
class Plane:
    """A panel of the regime map: two columns, the variants shown, of how many neighbours regions are made (0: none)."""

    title: str
    x: str
    y: str
    shown: np.ndarray
    neighbours: int = 1


@styled
def regime_map(sweep: Sweep, planes: Sequence[Plane]) -> Figure:
    """Every variant as a point by its verdict, over regions of the nearest variants' verdicts."""
    columns = min(len(planes), 2)
    rows = -(-len(planes) // columns)
    figure = Figure(figsize=(PAGE_WIDTH, 2.9 * rows + 0.7), layout="constrained")
    axes = np.atleast_1d(figure.subplots(rows, columns)).ravel()
    for ax in axes[len(planes) :]:
        ax.remove()
    for ax, plane in zip(axes, planes, strict=False):
        _plane(ax, sweep, plane)
    regions = [
        Patch(facecolor=TINTS[word], hatch=HATCHES[word], edgecolor="#8a8a8a", linewidth=0.4, label=f"region: {word}")
        for word in reversed(VERDICTS)
    ]
    dots = [
        Line2D([], [], linestyle="", marker="o", ms=6, mec="black", mew=0.8, label=f"variant: {word}", **FILLS[word])
        for word in reversed(VERDICTS)
    ]
    with rc_context({"hatch.linewidth": 0.4}):
        marks = beside_handles(sweep)
        entries = [*(entry for pair in zip(regions, dots, strict=True) for entry in pair), *marks]
        figure.legend(handles=entries, loc="outside lower center", ncols=5 if len(marks) > 2 else 4, columnspacing=1.4)
    return figure


def _plane(ax: Axes, sweep: Sweep, plane: Plane) -> None:
    x, y = sweep.axis(plane.x), sweep.axis(plane.y)
    verdict = sweep.words("touchdown")
    placed = plane.shown & np.isfinite(x.place) & np.isfinite(y.place)
    judged = placed & np.isin(verdict, VERDICTS)
    share = sweep.flat("touchdown_share")
    if plane.neighbours and (raster := regions(x, y, judged, verdict, share, plane.neighbours)) is not None:
        _draw_regions(ax, x, y, *raster)
    for word in VERDICTS:
        at = judged & (verdict == word)
        ax.plot(x.place[at], y.place[at], "o", ms=6, mec="black", mew=0.8, zorder=4, **FILLS[word])
    for word, is_marked in {
        "not converged": sweep.status == "not-converged",
        "under-resolved": sweep.is_under_resolved,
        "failed": sweep.status == "failed",
        "refused": sweep.status == "refused",
    }.items():
        marker, size = BESIDE[word]
        at = placed & is_marked
        is_beside = word in ("not converged", "under-resolved")
        ax.plot(x.place[at], y.place[at], marker, ms=size + 2 * is_beside, mfc="none", mec="black",
                mew=0.7 if is_beside else 1.3, zorder=5)  # fmt: skip
    set_axis(ax, x, "x")
    set_axis(ax, y, "y")
    # Room for the markers: otherwise the regions fix the limits.
    for axis, set_limits in ((x, ax.set_xlim), (y, ax.set_ylim)):
        even = axis.even[placed]
        ends = even.min() - 0.07 * np.ptp(even), even.max() + 0.07 * np.ptp(even)
        if ends[0] < ends[1]:
            set_limits(*(np.exp(ends) if axis.is_log else ends))
    if plane.title:
        ax.set_title(plane.title)


def _draw_regions(ax: Axes, x: Axis, y: Axis, across: np.ndarray, up: np.ndarray, rank: np.ndarray) -> None:
    """Tints and hatches; rank (ny, nx) counts along VERDICTS, NaN outside."""
    places = [np.exp(even) if axis.is_log else even for axis, even in ((x, across), (y, up))]
    with rc_context({"hatch.linewidth": 0.4, "hatch.color": "#8a8a8a"}):
        drawn = ax.contourf(
            *places, np.ma.masked_invalid(rank), levels=[-0.5, 0.5, 1.5, 2.5], colors=[TINTS[w] for w in VERDICTS],
            hatches=[HATCHES[w] for w in VERDICTS], zorder=1,
        )  # fmt: skip
        drawn.set_edgecolor("#8a8a8a")
        drawn.set_linewidth(0.0)


def regions(
    x: Axis, y: Axis, judged: np.ndarray, verdict: np.ndarray, share: np.ndarray, neighbours: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """The verdict between the variants, where there are variants all around.

    Parameters
    ----------
    x, y : Axis
    judged : ndarray of bool
        The variants to go by, (n,).
    verdict : ndarray of str
        yes, marginal or no, (n,).
    share : ndarray
        Share of time a column stands, 0 to 1, (n,).
    neighbours : int
        1: the verdict of the nearest variant. More: that of the mean share of time of so many nearest.

    Returns
    -------
    across, up, rank : ndarray
        Even places (nx,), (ny,) and the place in VERDICTS, (ny, nx), NaN where there is no data around;
        None where the variants span no area.
    """
    from scipy.spatial import Delaunay, QhullError, cKDTree

    at = np.column_stack([x.even[judged], y.even[judged]])
    if len(at) < 3 or not np.ptp(at, axis=0).all():
        return None
    low, size = at.min(axis=0), np.ptp(at, axis=0)
    scaled = (at - low) / size
    sides = [np.linspace(0.0, 1.0, n) for n in RASTER]
    raster = np.stack(np.meshgrid(*sides), axis=-1)
    try:
        triangles = Delaunay(scaled)
    except QhullError:
        return None
    inside = triangles.find_simplex(raster, tol=1e-9)
    if not _is_lattice(scaled):
        corner = scaled[triangles.simplices]
        longest = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2).max(axis=1)
        inside = np.where(longest[inside] > LONG_SIDE * np.median(longest), -1, inside)
    _, nearest = cKDTree(scaled).query(raster, k=[*range(1, min(neighbours, len(at)) + 1)])
    words = verdict[judged][nearest[..., 0]] if neighbours == 1 else _by_share(share[judged][nearest].mean(axis=-1))
    rank = np.select([words == word for word in VERDICTS], [0.0, 1.0, 2.0])
    across, up = (low[k] + size[k] * sides[k] for k in range(2))
    return across, up, np.where(inside >= 0, rank, np.nan)


_by_share = np.vectorize(by_share, otypes=[object])


def _is_lattice(scaled: np.ndarray) -> bool:
    """Whether the points are a full product of places in x and in y: then there are no holes, however uneven."""
    return len(np.unique(scaled[:, 0])) * len(np.unique(scaled[:, 1])) == len(np.unique(scaled, axis=0))
