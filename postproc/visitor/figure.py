"""The picture as a figure: the chamber as a visitor sees it, streaklines beside it."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle, PathPatch, Rectangle

from swirlwright.postproc.drawing import GREY, INKS, PAGE_WIDTH, LengthUnit, length_unit, styled
from swirlwright.postproc.visitor.people import HAND_LENGTH, STATURE, hand, person
from swirlwright.postproc.visitor.scene import Scene
from swirlwright.postproc.visitor.streaks import Streaks
from swirlwright.solver.plan import tube_plan
from swirlwright.solver.results import ResultData
from swirlwright.solver.schema import Case

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.image import AxesImage

NIGHT, SLAB, RIM, LABEL, FIGURE = "#08090b", "#2a2e33", "#6d747c", "#c9ced4", "#565d66"
ALARM = "#ff9b54"
SCENE_HEIGHT = 4.7  # in
WIDEST_SCENE = 4.3  # in
# A chamber taller than this has a person beside it, a lower one a hand.
PERSON_FROM = 1.0  # m
TURNED_COPIES = 8  # of each line of the horizontal section


@styled
def picture_figure(
    result: ResultData, scene: Scene, image: np.ndarray, lines: Streaks, case: Case, title: str, note: str
) -> Figure:
    """Draw the picture: the scene, beside it the streaklines, below a note on what was assumed.

    Parameters
    ----------
    result : ResultData
    scene : Scene
    image : (rows, columns, 3)
        Of the scene.
    lines : Streaks
    case : Case
    title : str
        Of the scene.
    note : str
        What was assumed.
    """
    scene_width, scene_height = scene_size(scene, case)
    wrapped = textwrap.wrap(note, 150)
    foot, head = 0.14 * len(wrapped) + (0.12 if wrapped else 0.02), 0.3
    total = foot + scene_height + head
    figure = Figure(figsize=(PAGE_WIDTH, total))
    ax = figure.add_axes((0.0, foot / total, scene_width / PAGE_WIDTH, scene_height / total))
    draw_scene(ax, scene, image, case, length_unit(result), is_converged=_is_converged(result))
    figure.text(0.004, 1 - 0.07 / total, title, va="top", fontsize=8.5, fontweight="bold")
    for number, line in enumerate(wrapped):
        figure.text(0.004, (foot - 0.12 - 0.14 * number) / total, line, va="top", fontsize=6.3, color="#333333")
    _sections(figure, result, case, lines, (scene_width, foot, scene_height, total))
    return figure


def draw_scene(
    ax: Axes, scene: Scene, image: np.ndarray, case: Case, unit: LengthUnit, *, is_converged: bool
) -> AxesImage:
    """Draw the dark room with the chamber to scale; returns the image, which an animation replaces."""
    left, right, bottom, top = _bounds(scene, case)
    ax.set(xlim=(left, right), ylim=(bottom, top), aspect="equal", xticks=[], yticks=[], facecolor=NIGHT)
    for spine in ax.spines.values():
        spine.set_visible(False)
    shown = ax.imshow(image, origin="lower", extent=scene.extent, interpolation="bilinear", aspect="equal", zorder=1)
    ax.set(xlim=(left, right), ylim=(bottom, top))
    _slabs(ax, scene, case, unit)
    _lamp(ax, scene)
    outline = _for_scale(scene, case)
    ax.add_patch(PathPatch(outline, facecolor=FIGURE, edgecolor="none", zorder=3))
    _scale_bar(ax, scene, case, unit)
    if not is_converged:
        words = "NOT CONVERGED: this may change"
        ax.text(0.02, 0.985, words, transform=ax.transAxes, color=ALARM, fontsize=8, fontweight="bold", va="top")
    return shown


def scene_size(scene: Scene, case: Case) -> tuple[float, float]:
    """Width and height of the scene on paper [in]."""
    left, right, bottom, top = _bounds(scene, case)
    scale = min(SCENE_HEIGHT / (top - bottom), WIDEST_SCENE / (right - left))
    return scale * (right - left), scale * (top - bottom)


def has_person(case: Case) -> bool:
    """Whether a person stands beside the chamber, or a hand is held beside it."""
    return case.chamber.height >= PERSON_FROM


def _bounds(scene: Scene, case: Case) -> tuple[float, float, float, float]:
    """Left, right, bottom and top of the scene [m]."""
    height, half = case.chamber.height, scene.view.half_width
    tallest = max(height, STATURE if has_person(case) else 1.4 * HAND_LENGTH)
    beside = 0.86 if has_person(case) else 1.25 * HAND_LENGTH
    return -half - 0.17 * tallest, half + beside, -0.15 * tallest, tallest + 0.13 * height


def _for_scale(scene: Scene, case: Case) -> Any:
    half = scene.view.half_width
    if has_person(case):
        return person(half + 0.48, 0.0)
    return hand(half + 0.7 * HAND_LENGTH, max(0.22 * case.chamber.height, 0.3 * HAND_LENGTH))


def _slabs(ax: Axes, scene: Scene, case: Case, unit: LengthUnit) -> None:
    """Floor and ceiling cut open at the fog inlet and the exhaust, with their labels."""
    half, height = scene.view.half_width, case.chamber.height
    thick = 0.022 * height
    solid: dict[str, Any] = {"facecolor": SLAB, "edgecolor": RIM, "linewidth": 0.6, "zorder": 2}
    text: dict[str, Any] = {"color": LABEL, "fontsize": 6.5, "ha": "center"}
    openings = [(0.0 - thick, case.fog.radius if case.fog else 0.0, 0.0)]
    exhaust = case.exhaust
    openings += [(height, exhaust.diameter / 2, exhaust.hub_diameter / 2) if exhaust else (height, 0.0, 0.0)]
    for bottom, opening, hub in openings:
        for left, right in ((-half, -opening), (opening, half)) if opening else ((-half, half),):
            ax.add_patch(Rectangle((left, bottom), right - left, thick, **solid))
        if hub:
            ax.add_patch(Rectangle((-hub, bottom), 2 * hub, thick, **solid))
    if exhaust:
        ax.text(0, height + 2.0 * thick, f"exhaust ⌀ {unit.text(exhaust.diameter)}", va="bottom", **text)
    if case.fog:
        ax.text(0, -2.0 * thick, f"fog inlet ⌀ {unit.text(2 * case.fog.radius)}", va="top", **text)
        if case.fog.diffuser_radius:
            disc = case.fog.diffuser_radius
            ax.plot([-disc, disc], [case.fog.gap] * 2, color=RIM, linewidth=1.2, zorder=2)
    left = -half - 0.075 * height
    arrow = {"arrowstyle": "<|-|>", "color": LABEL, "linewidth": 0.6, "mutation_scale": 6, "shrinkA": 0, "shrinkB": 0}
    ax.annotate("", (left, 0), (left, height), arrowprops=arrow)
    ax.text(left - 0.02 * height, height / 2, unit.text(height), rotation=90, va="center", **{**text, "ha": "right"})


def _lamp(ax: Axes, scene: Scene) -> None:
    """The strip as a bright line with a glow."""
    place, top = scene.view.lamp[0], scene.extent[3]
    butt: dict[str, Any] = {"solid_capstyle": "butt"}
    for width, alpha in ((9, 0.05), (6, 0.08), (3.5, 0.16), (1.4, 1.0)):
        ax.plot(
            [place] * 2, [0.005 * top, 0.995 * top], color="#e9f4ff", linewidth=width, alpha=alpha, zorder=2.5, **butt
        )


def _scale_bar(ax: Axes, scene: Scene, case: Case, unit: LengthUnit) -> None:
    """A bar of a round length, and what the figure beside the chamber measures."""
    length = _round_length(0.4 * scene.view.half_width)
    half, low = scene.view.half_width, ax.get_ylim()[0]
    foot = 0.45 * low
    ax.plot([-half, -half + length], [foot] * 2, color=LABEL, linewidth=2.2, solid_capstyle="butt", zorder=3)
    style: dict[str, Any] = {"color": LABEL, "fontsize": 6.5, "va": "top", "ha": "center"}
    ax.text(-half + length / 2, foot + 0.16 * low, unit.text(length), **style)
    box = _for_scale(scene, case).get_extents()
    size = f"person {STATURE:.2f} m" if has_person(case) else f"hand {1000 * HAND_LENGTH:.0f} mm"
    ax.text((box.x0 + box.x1) / 2, box.y0 + 0.12 * low, size, **style)


def _round_length(about: float) -> float:
    """The largest of 1, 2 and 5 times a power of ten that is not above `about`."""
    power = 10.0 ** np.floor(np.log10(about))
    return float(max(step * power for step in (1, 2, 5) if step * power <= about * (1 + 1e-9)))


def _is_converged(result: ResultData) -> bool:
    return bool(result.attributes.get("converged", 0))


def _sections(
    figure: Figure, result: ResultData, case: Case, lines: Streaks, place: tuple[float, float, float, float]
) -> None:
    """Both sections at one scale, right of the scene: `place` is its width, foot, height, and the figure's height."""
    scene_width, foot, room, total = place
    height, radius = float(result.z_face[-1]), float(result.r_face[-1])
    unit = length_unit(result)
    across = PAGE_WIDTH - scene_width - 0.75
    gaps = 0.95
    scale = min((room - gaps) / (height + 2 * radius), across / (2 * radius))
    left = scene_width + 0.6 + (across - 2 * radius * scale) / 2
    size = (2 * radius * scale / PAGE_WIDTH, height * scale / total, 2 * radius * scale / total)
    bottom = foot + 0.32
    level = figure.add_axes((left / PAGE_WIDTH, bottom / total, size[0], size[2]))
    upper = foot + room - height * scale - 0.02
    upright = figure.add_axes((left / PAGE_WIDTH, upper / total, size[0], size[1]))
    _upright(upright, result, lines, unit)
    _level(level, result, case, lines, unit)
    middle = (scene_width + 0.25 + PAGE_WIDTH) / 2 / PAGE_WIDTH
    what = lines.words.split(" (")[0]
    style: dict[str, Any] = {"va": "top", "ha": "center", "fontsize": 8.5, "fontweight": "bold"}
    figure.text(middle, 1 - 0.07 / total, f"{what[0].upper()}{what[1:]}", **style)


def _upright(ax: Axes, result: ResultData, lines: Streaks, unit: LengthUnit) -> None:
    """The vertical section, both halves alike."""
    height, radius = float(result.z_face[-1]) * unit.factor, float(result.r_face[-1]) * unit.factor
    for group, ink, width in ((lines.air, INKS[0], 0.7), (lines.fog, INKS[1], 0.9)):
        for line in group:
            for side in (-1, 1):
                ax.plot(side * line[:, 0] * unit.factor, line[:, 1] * unit.factor, color=ink, linewidth=width)
                ax.plot(side * line[:1, 0] * unit.factor, line[:1, 1] * unit.factor, ".", color=ink, markersize=2.5)
    ax.set(xlim=(-radius, radius), ylim=(0, height), aspect="equal", xticks=[-radius, 0, radius])
    ax.set_xticklabels([f"{abs(x):.3g}" for x in (-radius, 0, radius)])
    ax.set_ylabel(f"height ({unit.name})", labelpad=1)
    ax.set_xlabel(f"radius ({unit.name})", labelpad=1)


def _level(ax: Axes, result: ResultData, case: Case, lines: Streaks, unit: LengthUnit) -> None:
    """The horizontal section with the chamber's sides and tubes."""
    radius, half = float(result.r_face[-1]) * unit.factor, case.chamber.width / 2 * unit.factor
    for number, line in enumerate(lines.level):
        copies = TURNED_COPIES if number else TURNED_COPIES // 2
        for turn in 2 * np.pi * np.arange(copies) / copies:
            angle, r = line[:, 1] + turn, line[:, 0] * unit.factor
            ax.plot(r * np.cos(angle), r * np.sin(angle), color=INKS[0], linewidth=0.6)
            ax.plot(r[:1] * np.cos(angle[:1]), r[:1] * np.sin(angle[:1]), ".", color=INKS[0], markersize=2.5)
    if case.chamber.footprint == "square":
        ax.add_patch(Rectangle((-half, -half), 2 * half, 2 * half, facecolor="none", edgecolor=GREY, linewidth=0.8))
    ax.add_patch(Circle((0, 0), radius, facecolor="none", edgecolor=GREY, linewidth=0.6, linestyle=(0, (3, 2))))
    tubes = tube_plan(case)
    for x, y, diameter in zip(tubes.x, tubes.y, tubes.outer_diameter, strict=True):
        place = (x * unit.factor, y * unit.factor)
        ax.add_patch(Circle(place, diameter / 2 * unit.factor, facecolor="#999999", edgecolor="black", linewidth=0.5))
    ax.set(xlim=(-1.03 * radius, 1.03 * radius), ylim=(-1.03 * radius, 1.03 * radius), aspect="equal")
    ax.axis("off")
    ax.text(0, -1.06 * radius, f"from above, at {unit.text(lines.height)}", ha="center", va="top", fontsize=7.5)
