"""The chamber to scale, seen from the front and from above, with the column the solver found."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from swirlwright.postproc.drafting import CORE, FLOW, FOG, INLET, JET, OPEN, PLENUM, TUBE, WALL, Sheet, arrow
from swirlwright.postproc.drawing import PAGE_WIDTH, LengthUnit, flow_text, length_unit, shown_field, styled
from swirlwright.postproc.planview import draw_plan, signs_of
from swirlwright.postproc.workshop.paper import INCH, text_width
from swirlwright.solver.plan import hole_plan, tube_plan
from swirlwright.solver.results import ResultData
from swirlwright.solver.schema import Case

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TALLEST = 4.3  # in; verdict and picture then share a page
HANDLE = 2.2  # of the legend, over its font
LINES_ON_PAGE = 28  # of text in the chamber's height or twice its width, whichever is larger


@styled
def section(result: ResultData, case: Case, heights: np.ndarray, core_radius: np.ndarray) -> Figure:
    """Draw a section through the axis and, beside it at the same scale, the plan.

    Parameters
    ----------
    result : ResultData
        The result: velocities, jets.
    case : Case
        The chamber as it was written down.
    heights, core_radius : ndarray
        The followed core [m], shape (n,); NaN in `core_radius` where there is no core.
    """
    width, height = case.chamber.width, case.chamber.height
    core = float(np.nanmedian(core_radius)) if np.isfinite(core_radius).any() else 0.0
    signs = signs_of(case, has_core=core > 0)
    step = max(2 * width, height) / LINES_ON_PAGE
    foot = -(5.6 if _has_room_below(case) else 4.0) * step
    up = max(height + 5 * step, width + (len(signs) + 2) * step) - foot
    captions = ("section, seen from the front", "plan, seen from above")
    per_inch = max(up / TALLEST, (2 * width + 14 * step) / PAGE_WIDTH)
    beside = step + sum(per_inch * text_width(words, 8) / (2 * INCH) for words in captions)
    plan_x = max(width + 7.5 * step, beside)
    left, right = _ends(case, length_unit(result), [words for _, words in signs], step, plan_x, per_inch)
    across = right - left
    page_width = min(PAGE_WIDTH, TALLEST * across / up)
    figure = Figure(figsize=(page_width, page_width * up / across))
    ax = figure.add_axes((0, 0, 1, 1))
    ax.set_aspect("equal")
    ax.axis("off")
    ax.set_xlim(left, right)
    ax.set_ylim(foot, foot + up)
    sheet = Sheet(ax, length_unit(result), step)
    _core(ax, heights, core_radius)
    _vectors(ax, result, case)
    _box(sheet, case)
    _tubes(sheet, result, case)
    _exhaust(sheet, result, case)
    _below(sheet, case, per_inch)
    _dimensions(sheet, case)
    draw_plan(sheet, case, (plan_x, width / 2), core)
    for x, words in zip((0.0, plan_x), captions, strict=True):
        ax.text(x, foot + 0.7 * step, words, va="center", ha="center", fontsize=8)
    ax.legend(
        *zip(*signs, strict=True),
        loc="upper right",
        fontsize=7,
        handlelength=HANDLE,
        labelspacing=0.45,
        borderpad=0.2,
    )
    return figure


def _ends(
    case: Case, unit: LengthUnit, words: list[str], step: float, plan_x: float, per_inch: float
) -> tuple[float, float]:
    """Left and right end of the drawing [m]: beside a narrow chamber labels and legend reach further than the lines.

    Parameters
    ----------
    words : list of str
        Of the legend.
    step, plan_x : float
        A line of text; where the plan's middle is [m].
    per_inch : float
        Of the chamber on an inch of paper [m].
    """
    half = case.chamber.width / 2
    left, right = -half - 5 * step, plan_x + half + 1.5 * step
    if case.exhaust:
        opening, hub = case.exhaust.diameter, case.exhaust.hub_diameter
        exhaust, at_hub = (_label(what, size, unit) for what, size in (("exhaust", opening), ("hub", hub)))
        legend = HANDLE * 7 / 72 + (max(text_width(line, 7) for line in words) + 4.0) / INCH
        beside = opening / 2 + 2.2 * step
        right = max(right, beside + per_inch * (text_width(exhaust, 7) / INCH + legend))
        if hub:
            left = min(left, -beside - per_inch * text_width(at_hub, 7) / INCH)
    return left, right


def _label(what: str, diameter: float, unit: LengthUnit) -> str:
    return f"{what} ⌀ {unit.text(diameter)}"


def _has_room_below(case: Case) -> bool:
    """Whether a plenum or a fog inlet is drawn under the floor."""
    return case.fog is not None or any(tubes.feed == "below" for tubes in case.tubes)


def _core(ax: Axes, heights: np.ndarray, core_radius: np.ndarray) -> None:
    """The core as a filled region, broken where there is none."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.isfinite(core_radius), [0]]).astype(int)))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        z, r = heights[begin:end], core_radius[begin:end]
        if begin == 0:
            z, r = np.append(0.0, z), np.append(r[0], r)
        outline = np.concatenate([np.stack([r, z], axis=1), np.stack([-r, z], axis=1)[::-1]])
        ax.add_patch(Polygon(outline, zorder=2, **CORE))


def _vectors(ax: Axes, result: ResultData, case: Case) -> None:
    """Flow on an even raster, both halves alike; lengths by the root of the speed, so that slow air shows."""
    half, height = min(case.chamber.width / 2, result.r_face[-1]), case.chamber.height
    pitch = max(half / 7, height / 16)
    r, z = np.arange(pitch / 2, half, pitch), np.arange(pitch / 2, height, pitch)
    u, w = (_at(result, shown_field(result, name), r, z) for name in ("radial_velocity", "axial_velocity"))
    speed = np.hypot(u, w)
    largest = np.nanmax(speed, initial=0.0)
    if largest == 0:
        return
    shown = speed > 4e-4 * largest
    r, z = (places[shown] for places in np.meshgrid(r, z))
    length = 0.9 * pitch / np.sqrt(speed[shown] * largest)
    u, w = u[shown] * length, w[shown] * length
    ax.quiver(
        np.concatenate([r, -r]), np.tile(z, 2), np.concatenate([u, -u]), np.tile(w, 2),
        angles="xy", scale_units="xy", scale=1, pivot="mid", color=FLOW, zorder=5,
        width=0.0016, headwidth=4, headlength=5, headaxislength=4.5,
    )  # fmt: skip


def _at(result: ResultData, field: np.ndarray, r: np.ndarray, z: np.ndarray) -> np.ndarray:
    """A field at the places of a raster, linear between cell centres."""
    along_r = np.stack([np.interp(r, result.r, row) for row in field])
    return np.stack([np.interp(z, result.z, column) for column in along_r.T], axis=1)


def _box(sheet: Sheet, case: Case) -> None:
    """Floor, ceiling and side walls; dashed where the side is open; what turns."""
    ax, chamber, walls = sheet.ax, case.chamber, case.walls
    half, height = chamber.width / 2, chamber.height
    opening = case.exhaust.diameter / 2 if case.exhaust else 0.0
    ax.plot([-half, half], [0, 0], **WALL)
    for side in (-1, 1):
        ax.plot([side * half, side * opening], [height, height], **WALL)
    sides = {-half: "left" in chamber.open_sides, half: "right" in chamber.open_sides}
    for x, is_open in sides.items():
        is_open = is_open or chamber.open_fraction > 0
        low, high = (chamber.open_from, chamber.open_top) if is_open else (height, height)
        ax.plot([x, x], [0, low], **WALL)
        ax.plot([x, x], [high, height], **WALL)
        ax.plot([x, x], [low, high], **OPEN)
        if case.inlet:
            band = [case.inlet.from_height, case.inlet.to_height]
            ax.plot([x, x], band, color="white", linewidth=3, zorder=6)
            ax.plot([x, x], band, **INLET)
    turning = {
        "floor": (walls.floor_rotation, (0.0, -0.9 * sheet.step)),
        "ceiling": (walls.ceiling_rotation, (0.0, height + 0.9 * sheet.step)),
        "side": (walls.side_rotation, (half + 1.1 * sheet.step, height / 2)),
    }
    for name, (speed, place) in turning.items():
        if speed:
            sheet.note(f"{name} turns, {speed:.3g} rad/s", place, rotation=90 if name == "side" else 0)


def _tubes(sheet: Sheet, result: ResultData, case: Case) -> None:
    """Tubes as they stand behind the section, and the jet of every hole as it looks from the front."""
    tubes, holes = tube_plan(case), hole_plan(case)
    height, ax = case.chamber.height, sheet.ax
    for x, diameter, group in zip(tubes.x, tubes.outer_diameter, tubes.group, strict=True):
        feed = case.tubes[group].feed
        bottom = -1.2 * sheet.step if feed == "below" else 0.0
        top = height + (1.2 * sheet.step if feed == "above" else 0.0)
        ax.add_patch(Rectangle((x - diameter / 2, bottom), diameter, top - bottom, zorder=3, **TUBE))
    if len(holes) == 0:
        return
    elevation = result.places.get("hole_elevation", np.zeros(len(holes)))
    reach = 2.2 * sheet.step
    along, up = reach * np.cos(holes.heading) * np.cos(elevation), reach * np.sin(elevation)
    style: dict[str, Any] = {
        "angles": "xy",
        "scale_units": "xy",
        "scale": 1,
        "width": 0.0028,
        "color": JET,
        "zorder": 7,
    }
    ax.quiver(holes.x, holes.height, along, up, minlength=0, **style)
    ax.plot(holes.x, holes.height, "o", color=JET, markersize=2.2, zorder=7)


def _exhaust(sheet: Sheet, result: ResultData, case: Case) -> None:
    """The opening with its hub and blades, or the bare opening where a flow or a pressure is given."""
    exhaust, ax, step = case.exhaust, sheet.ax, sheet.step
    if exhaust is None:
        return
    height, radius = case.chamber.height, exhaust.diameter / 2
    for side in (-1, 1):
        ax.plot([side * radius] * 2, [height, height + 1.3 * step], **{**WALL, "linewidth": 1.4})
    hub = max(exhaust.hub_diameter / 2, 0.12 * radius if exhaust.fan else 0.0)
    solid: dict[str, Any] = {"edgecolor": "black", "linewidth": 0.6, "zorder": 6}
    if hub:
        ax.add_patch(Rectangle((-hub, height), 2 * hub, 0.9 * step, facecolor="#777777", **solid))
    if exhaust.fan:
        profile = np.array([(hub, 0.15), (0.96 * radius, 0.45), (0.96 * radius, 0.65), (hub, 0.7)])
        for side in (-1, 1):
            blade = profile * (side, step) + (0, height)
            ax.add_patch(Polygon(blade, facecolor="#bbbbbb", **solid))
    flow = float(result.attributes.get("exhaust_flow", np.nan))
    if np.isfinite(flow):
        sheet.arrow((0, height + 1.3 * step), (0, height + 3.0 * step), arrow("-|>", "black", width=1.2, size=10))
        fans = f"{exhaust.fan_count} fans, " if exhaust.fan_count > 1 else "fan, "
        sheet.note(f"{fans if exhaust.fan else ''}{flow_text(flow)}", (0, height + 3.7 * step))


def _below(sheet: Sheet, case: Case, per_inch: float) -> None:
    """Plenum and fog inlet, their names beside a chamber that has no room for them; `per_inch` as in `_ends`."""
    ax, step, half = sheet.ax, sheet.step, case.chamber.width / 2
    feeds, middle = {tubes.feed for tubes in case.tubes}, -1.65 * step
    radius, name = case.fog.radius if case.fog else 0.0, "supply plenum"
    has_room = per_inch * text_width(name, 7) / INCH < half - radius - 0.8 * step
    outside = half + 1.2 * step
    if "below" in feeds:
        ax.add_patch(Rectangle((-half, -2.4 * step), 2 * half, 1.5 * step, **PLENUM))
        if has_room:
            ax.text(-half + 0.4 * step, middle, name, fontsize=7, va="center")
        else:
            sheet.label(name, (outside, middle), (half, middle))
    if "above" in feeds:
        # Two boxes: the plenum runs round the exhaust.
        for left in (-half, 0.4 * half):
            corner = (left, case.chamber.height + 0.9 * step)
            ax.add_patch(Rectangle(corner, 0.6 * half, 1.1 * step, **PLENUM))
    if case.fog:
        ax.add_patch(Rectangle((-radius, -2.4 * step), 2 * radius, 2.4 * step, zorder=5, **FOG))
        x, z = (radius + 1.2 * step, middle) if has_room else (outside, -0.5 * step)
        sheet.label(_label("fog", 2 * radius, sheet.unit), (x, z), (radius, z))


def _dimensions(sheet: Sheet, case: Case) -> None:
    """Width, height, exhaust, hub and lowest jet."""
    chamber, step, text = case.chamber, sheet.step, sheet.unit.text
    half, height = chamber.width / 2, chamber.height
    foot = -(3.4 if _has_room_below(case) else 2.2) * step
    for x in (-half, half):
        sheet.witness((x, 0), (x, foot - 0.4 * step))
    sheet.dimension((-half, foot), (half, foot), ("⌀ " if chamber.footprint == "round" else "") + text(chamber.width))
    left = -half - 3.4 * step
    for z in (0, height):
        sheet.witness((-half, z), (left - 0.4 * step, z))
    sheet.dimension((left, 0), (left, height), text(height))
    if case.exhaust:
        opening, hub, top = case.exhaust.diameter / 2, case.exhaust.hub_diameter / 2, height + 2.0 * step
        place, thing = (opening + 1.2 * step, top), (opening, height + 1.1 * step)
        sheet.label(_label("exhaust", 2 * opening, sheet.unit), place, thing)
        if hub:
            place, thing = (-opening - 1.2 * step, top), (-hub, height + 0.8 * step)
            sheet.label(_label("hub", 2 * hub, sheet.unit), place, thing, ha="right")
    holes = hole_plan(case)
    if len(holes):
        lowest, near = float(holes.height.min()), -half - 1.4 * step
        sheet.witness((-half, lowest), (near - 0.4 * step, lowest))
        sheet.arrow((near, lowest + 1.2 * step), (near, lowest), arrow("-|>"))
        sheet.note(f"lowest jet {text(lowest)}", (near, lowest + 1.3 * step), rotation=90, va="bottom")
