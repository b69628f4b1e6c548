"""The report's chapter about a sweep. Read `sweep_chapter` first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from swirlwright.postproc.sweeps import report_tables as tables
from swirlwright.postproc.sweeps.data import csv_text
from swirlwright.postproc.sweeps.figures import MOST_LINES, View, lines, points, spread_over
from swirlwright.postproc.sweeps.figures_maps import maps
from swirlwright.postproc.sweeps.figures_regime import Plane, regime_map
from swirlwright.postproc.sweeps.report_data import Sweep, open_sweep, refuse_unknown
from swirlwright.postproc.sweeps.report_effects import effects_sections, strongest
from swirlwright.postproc.sweeps.report_parts import Chapter, Download, Section, picture_of
from swirlwright.postproc.sweeps.report_search import answer_section
from swirlwright.postproc.sweeps.report_words import base_case, facts, fans, marks, more, sentence, tiles

# Drawn unless the command names others.
MEASURES = (
    "touchdown_share",
    "core_radius",
    "swirl_ratio_at_exhaust_radius",
    "max_tangential_velocity",
    "core_foot_height",
    "low_level_circulation",
    "breakdown_height",
    "objective",  # of a search
)
SWIRL, REYNOLDS = "swirl_ratio_at_exhaust_radius", "radial_reynolds_number"
MOST_PANELS = 4  # values of a third parameter that are drawn
NEIGHBOURS = 5  # variants whose mean share of time makes a region where more than two parameters vary


def sweep_chapter(path: Path, number: int, measures: Sequence[str] = (), against: Sequence[str] = ()) -> Chapter:
    """All that a page says of a sweep.

    Parameters
    ----------
    path : Path
        Its folder or data set.
    number : int
        Of the chapter, so that ids in its pictures differ from others'.
    measures, against : sequence of str
        The measures to draw, and one or two columns to draw them against; by default a choice.

    Raises
    ------
    ResultError
        If there is no data set, or a name is none of its columns.
    """
    return chapter_of(open_sweep(path), number, measures, against)


def chapter_of(sweep: Sweep, number: int, measures: Sequence[str] = (), against: Sequence[str] = ()) -> Chapter:
    """As `sweep_chapter`, of a data set in memory."""
    refuse_unknown(sweep, measures, against)
    wanted = [name for name in (measures or MEASURES) if name in sweep.measures]
    drawn = [name for name in wanted if np.isfinite(sweep.flat(name)).any()]
    left_out = [sweep.shown(name).words for name in wanted if name not in drawn]
    sections = [
        _regimes(sweep, number, against),
        *_against(sweep, number, drawn, against),
        *(effects_sections(sweep, number, drawn) if sweep.is_random.any() else ()),
        *tables.hysteresis_section(sweep),
        *tables.sections(sweep, wanted),
    ]
    if left_out:
        sections[1:1] = [Section("Not drawn", f"No variant has a value of: {'; '.join(left_out)}.")]
    return Chapter(
        kicker="Vortex chamber study",
        title=str(sweep.data.attrs.get("title") or sweep.path.name),
        facts=facts(sweep),
        sentence=sentence(sweep),
        more=more(sweep),
        marks=marks(sweep),
        tiles=tiles(sweep),
        sections=[*answer_section(sweep), *sections],
        downloads=[Download.of("sweep.csv", "Every measure of every variant", csv_text(sweep.data))],
        texts=[
            ("The study, as it was read", str(sweep.data.attrs.get("study_text", ""))),
            ("The base case", str(sweep.data.attrs.get("base_case_text", ""))),
        ],
        case=base_case(sweep),
        fans=fans(sweep),
    )


def _varied(sweep: Sweep) -> list[str]:
    """Parameters that vary, those with more values first, texts last."""
    found = [name for name in sweep.parameters if sweep.data[name].size > 1]
    return sorted(found, key=lambda name: (bool(sweep.axis(name).ticks), -np.unique(sweep.flat(name)).size))


def _roles(sweep: Sweep, against: Sequence[str]) -> tuple[list[str], list[str]]:
    """Parameters of a product in the order they are drawn along: x, second; and the others."""
    order = [*against, *(name for name in _varied(sweep) if name not in against)]
    return order[:2], order[2:]


def _views(sweep: Sweep, against: Sequence[str]) -> Iterator[View]:
    """A view for each value of a third parameter; further ones are held at the middle of their values."""
    drawn, others = _roles(sweep, against)
    single = {name: 0 for name in sweep.parameters if name not in drawn and name not in others}
    further = {name: sweep.data.sizes[name] // 2 for name in others[1:]}
    second = drawn[1] if len(drawn) > 1 else None
    if not others:
        yield View(drawn[0], second, single)
        return
    for level in spread_over(range(sweep.data.sizes[others[0]]), MOST_PANELS):
        yield View(drawn[0], second, single | {others[0]: level} | further)


def _is_product_of(sweep: Sweep, against: Sequence[str]) -> bool:
    return not sweep.is_sample and bool(_varied(sweep)) and all(name in _varied(sweep) for name in against)


def _against(sweep: Sweep, number: int, names: Sequence[str], against: Sequence[str]) -> Iterator[Section]:
    """Measures against parameters."""
    if not names:
        return
    if not _is_product_of(sweep, against):
        if against:
            yield _points_section(sweep, number, names, against)
        return
    pictures = []
    for k, view in enumerate(_views(sweep, against)):
        held = f"Here {view.title(sweep)}. " if view.title(sweep) else ""
        pictures.append(picture_of(lines(sweep, names, view), f"lines-{k}", number, held + _of_lines(sweep, view)))
        sizes = [sweep.data.sizes[name] for name in (view.x, view.second) if name is not None]
        if len(against) == 2 or (len(sizes) == 2 and min(sizes) >= 3):
            caption = f"{held}Each cell is one variant; hatched: no such measure there."
            pictures.append(picture_of(maps(sweep, names, view), f"maps-{k}", number, caption))
    yield Section("Measures against the parameters", "", pictures)


def _of_lines(sweep: Sweep, view: View) -> str:
    """What stands under lines: what is shaded, and which lines there are."""
    text = "A measure of the mean field on the line; shaded: its mean and standard deviation in time; bars: standard"
    text += " error. A break in a line: no such measure there."
    levels = 1 if view.second is None else sweep.data.sizes[view.second]
    if levels > MOST_LINES:
        text += f" {MOST_LINES} of {levels} values of {sweep.shown(str(view.second)).words} are drawn."
    return text


def _points_section(sweep: Sweep, number: int, names: Sequence[str], against: Sequence[str]) -> Section:
    others = "the other parameters vary from point to point"
    words = " and ".join(sweep.shown(name).words for name in against)
    y = against[1] if len(against) > 1 else None
    return Section(
        f"Measures against {words}",
        "",
        [picture_of(points(sweep, names, against[0], y), "points", number, f"A point for each variant; {others}.")],
    )


def _regimes(sweep: Sweep, number: int, against: Sequence[str]) -> Section:
    """Where a column stands: the regime map, and the counts."""
    planes = [plane for plane in _planes(sweep, against) if _is_placed(sweep, plane)]
    pictures = []
    if planes:
        caption = "Each point is a variant. " + _of_regions({plane.neighbours for plane in planes})
        lost = int((~sweep.is_solved).sum())
        if lost:
            caption += f" {lost} of {sweep.size} variants have no answer, and no place where an axis is a measure."
        pictures.append(picture_of(regime_map(sweep, planes), "regimes", number, caption))
    return Section("Where a column stands on the floor", "", pictures, tables.counts(sweep))


def _of_regions(neighbours: set[int]) -> str:
    """What regions are, by how many neighbours those of the planes are made of."""
    mean = f"the verdict of the mean share of time of the {NEIGHBOURS} nearest"
    others = "; parameters that no axis shows vary from point to point."
    if neighbours == {1}:
        return "Regions: the verdict of the nearest variant, between variants only."
    if neighbours == {NEIGHBOURS}:
        return f"Regions: {mean} variants, between variants only{others}"
    if NEIGHBOURS in neighbours:
        return f"Regions: the verdict of the nearest variant, over measures {mean}, between variants only{others}"
    return f"No regions{others}"


def _planes(sweep: Sweep, against: Sequence[str]) -> Iterator[Plane]:
    varied = _varied(sweep)
    everything = np.ones(sweep.size, dtype=bool)
    # Of variants moved one by one a plane through the others would say nothing.
    near = (NEIGHBOURS if not sweep.is_sample or sweep.is_random.any() else 0) if len(varied) > 2 else 1
    if len(against) == 2:
        yield Plane("", against[0], against[1], everything, near)
    elif against or len(varied) < 2:
        for name in (*against, *varied)[:1]:
            yield Plane("", REYNOLDS if name == SWIRL else name, SWIRL, everything, near)
    elif sweep.is_sample:
        x, y = strongest(sweep, varied)
        yield Plane("", x, y, everything, near)
    else:
        for view in _views(sweep, against):
            shown = np.all([everything, *(_at_level(sweep, *level) for level in view.held.items())], axis=0)
            yield Plane(view.title(sweep), view.x, str(view.second), shown)
    if REYNOLDS not in against and SWIRL not in against:
        yield Plane("", REYNOLDS, SWIRL, everything, near)


def _at_level(sweep: Sweep, name: str, level: int) -> np.ndarray:
    return sweep.flat(name) == sweep.data[name].values[level]


def _is_placed(sweep: Sweep, plane: Plane) -> bool:
    """Whether any variant has a place in it."""
    if not {plane.x, plane.y} <= {*sweep.parameters, *sweep.measures}:
        return False
    places = [np.isfinite(sweep.axis(name).place) for name in (plane.x, plane.y)]
    return bool(np.any(plane.shown & places[0] & places[1]))
