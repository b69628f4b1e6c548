"""The report: one self-contained page for results and sweeps."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup

from swirlwright.postproc import report_words as words
from swirlwright.postproc.cautions import GENERAL, LAST_WORD, cautions
from swirlwright.postproc.drawing import as_png_uri, as_svg, length_unit, shown_name
from swirlwright.postproc.figures import along_the_axis, convergence, maps, profiles, record
from swirlwright.postproc.fog.words import let_in, rows
from swirlwright.postproc.margins.section import margin_sections
from swirlwright.postproc.margins.values import BASE
from swirlwright.postproc.measures import Measures, measure_data
from swirlwright.postproc.network_tables import network_tables
from swirlwright.postproc.pages import rendered, write_whole
from swirlwright.postproc.section import section
from swirlwright.postproc.sweeps.data import FORMAT as SWEEP
from swirlwright.postproc.sweeps.report import sweep_chapter
from swirlwright.postproc.sweeps.report_data import format_of
from swirlwright.postproc.sweeps.report_parts import Chapter
from swirlwright.postproc.visitor.picture import report_picture
from swirlwright.solver.errors import ResultError
from swirlwright.solver.outcome import alarm
from swirlwright.solver.result_reading import kept_case
from swirlwright.solver.results import ResultData, load_result
from swirlwright.solver.schema import Case, FanFile

TEMPLATE = Path(__file__).with_name("report.html.j2")
# What writes the chapter of a study's data set, by the attribute `format` of the file.
STUDIES: dict[str, Callable[[Path, int, Sequence[str], Sequence[str]], Chapter]] = {SWEEP: sweep_chapter}
COLUMNS = 4  # results side by side that A4 has room for


def write_report(
    paths: Path | str | Sequence[Path | str],
    output: Path | str,
    *,
    measures: Sequence[str] = (),
    against: Sequence[str] = (),
) -> Path:
    """Write a self-contained HTML page about results and sweeps.

    Parameters
    ----------
    paths : path, or sequence of paths
        Result files, folders of margins, and folders or data sets of sweeps. The page has the results first, each kind
        in this order.
    output : path
        The page.
    measures, against : sequence of str
        Measures of a sweep to draw, and one or two parameters or measures to draw them against; by default a choice.

    Returns
    -------
    Path
        `output`.

    Raises
    ------
    ResultError
        If there is no result, or one cannot be read or has nothing to show; or for names that a sweep does not have.
    """
    files = [_shown(Path(path)) for path in ([paths] if isinstance(paths, str | Path) else paths)]
    if not files:
        raise ResultError("a report needs at least one result file")
    chapters = [
        write_chapter(path, number, measures, against)
        for number, path in enumerate(files, start=1)
        if (write_chapter := _study_chapter(path)) is not None
    ]
    if (measures or against) and not chapters:
        raise ResultError(f"{files[0]}: is no sweep, and --measure and --against choose what is drawn of a sweep")
    results = [load_result(path) for path in files if _study_chapter(path) is None]
    page = _page([(result, measure_data(result)) for result in results], chapters)
    output = Path(output)
    write_whole(page, output)
    return output


def _shown(path: Path) -> Path:
    """What is shown of a path: of a margin's folder the result of the case as given, which carries the margins."""
    base = path / BASE
    return base if base.is_file() else path


def _study_chapter(path: Path) -> Callable[[Path, int, Sequence[str], Sequence[str]], Chapter] | None:
    """What writes the chapter of a study, by the kind of its data set; None for the result of one run."""
    return sweep_chapter if path.is_dir() else STUDIES.get(format_of(path))


def _page(measured: list[tuple[ResultData, Measures]], chapters: list[Chapter]) -> str:
    several = len(measured) > 1
    titles = [*(m.title or m.file for _, m in measured), *(chapter.title for chapter in chapters)]
    return rendered(
        TEMPLATE,
        page_title=f"{len(measured)} results side by side" if several else titles[0],
        summaries=_summaries(measured) if several else [],
        results=[_chapter(number, data, m) for number, (data, m) in enumerate(measured, start=1)],
        chapters=chapters,
        cautions=_cautions(
            [
                *((kept_case(data.attributes), _fans(data)) for data, _ in measured),
                *((study.case, study.fans) for study in chapters),
            ]
        ),
        last_word=LAST_WORD,
    )


def _cautions(chambers: Sequence[tuple[Case | None, Mapping[str, FanFile]]]) -> list[tuple[str, str]]:
    """Cautions of all chambers on the page, in their order, each text once: what holds for all, then what each adds."""
    found: dict[str, dict[str, None]] = {subject: {} for subject in GENERAL}
    for case, fans in chambers:
        for caution in cautions(case, fans):
            found[caution.subject] |= {text: None for text in (caution.general, caution.here) if text}
    return [(subject, " ".join(texts)) for subject, texts in found.items() if texts]


def _chapter(number: int, data: ResultData, m: Measures) -> dict[str, Any]:
    """All that the page says of one result."""
    network = json.loads(data.attributes.get("network_json") or "{}")
    return {
        "title": m.title or m.file,
        "facts": words.facts(data),
        "touchdown": m.verdict.touchdown if m.is_converged else "no",
        "sentence": words.sentence(m),
        "more": words.more(m),
        "marks": words.marks(m, data.attributes),
        "tiles": words.tiles(m, data.attributes),
        "network": network_tables(network),
        "measures": words.measure_rows(m),
        "measures_note": f"From the {m.field_text}. Definitions and their sources are in postproc/README.md.",
        "fog": None if m.fog is None else {"let_in": let_in(m.fog), "rows": rows(m.fog)},
        "has_time": bool(m.over_time),
        "grids": words.grid_table(m),
        "spread": words.spread_table(m),
        "margins": margin_sections(number, m.verdict),
        "budgets": [words.budget_table(budget) for budget in m.budgets],
        "torque": words.torque(m),
        "outcome": words.outcome(m),
        "warnings": m.warnings,
        "provenance": words.provenance(data),
        "case_text": data.attributes.get("case_text", ""),
        **_pictures(number, data, m),
    }


def _pictures(number: int, data: ResultData, m: Measures) -> dict[str, Any]:
    """The pictures with their captions; None for those that this result has no data for."""
    core = m.field.core
    heights = data.z if core is None else core.height
    core_radius = np.full(data.z.shape, np.nan) if core is None else core.radius
    drawn = {
        "profiles": profiles(data),
        "axis": along_the_axis(data, heights, core_radius),
        "record": record(data),
        "convergence": convergence(data),
    }
    case = kept_case(data.attributes)
    if case is not None:
        drawn["section"] = section(data, case, heights, core_radius)
    pictures: dict[str, Any] = {
        name: None if figure is None else Markup(as_svg(figure, f"{name}-{number}")) for name, figure in drawn.items()
    }
    pictures |= {"maps": as_png_uri(maps(data)), "visitor": report_picture(data, case)}
    return {"section": None, **pictures, **_captions(data, case)}


def _captions(data: ResultData, case: Case | None) -> dict[str, str]:
    """What stands under the pictures."""
    shown = shown_name(data)
    about = " Shaded: one standard deviation in time about {}." if data.std else ""
    middle = data.z[np.argmin(np.abs(data.z - data.z_face[-1] / 2))]
    at_middle = about.format(f"the line of z = {length_unit(data).text(middle)}")
    drawing = (
        "To scale. Arrows grow with the square root of the speed, so that slow air shows. The flow is "
        f"computed in a round chamber of the same floor area, radius {length_unit(data).text(data.r_face[-1])}."
    )
    return {
        "section_caption": drawing if case else "The case text in this file cannot be read, so nothing is drawn.",
        "maps_caption": f"The half plane from the axis (left) to the side, to scale ({shown}). The lines on "
        "the axial velocity are streamlines; between neighbours flows the same volume of air. Dotted: zero; "
        "hatched in white: below zero in a map of both signs.",
        "profiles_caption": f"Tangential velocity against radius at five heights ({shown}).{at_middle}",
        "axis_caption": f"The core where one was followed, and the flow on the axis ({shown})"
        f".{about.format('velocity and pressure')}",
        "record_caption": "The frames of the run." + (" Shaded: the averaging window." if data.mean else ""),
    }


def _fans(data: ResultData) -> dict[str, FanFile]:
    """The fan files of the case; none if they are of a form that this release does not know."""
    files = json.loads(data.attributes.get("fan_files_json") or "{}")
    try:
        return {name: FanFile.model_validate(file) for name, file in files.items()}
    except ValueError:
        return {}


def _summaries(measured: list[tuple[ResultData, Measures]]) -> list[dict[str, Any]]:
    """Results side by side, a few to a table: verdict, how each run ended, and the measures."""
    tables = []
    for first in range(0, len(measured), COLUMNS):
        group = measured[first : first + COLUMNS]
        columns = [f"{first + i}. {m.title or m.file}" for i, (_, m) in enumerate(group, start=1)]
        rows = [
            ("result file", [data.path.name for data, _ in group]),
            ("column on the floor", [_touchdown(m) for _, m in group]),
            ("outcome", [m.outcome if m.is_converged else alarm(m.outcome) for _, m in group]),
            (
                "marks",
                [", ".join(mark.name for mark in words.marks(m, data.attributes)) or "–" for data, m in group],
            ),
            ("regime", [m.verdict.regime for _, m in group]),
        ]
        listed = [words.measure_rows(m) for _, m in group]
        for same in zip(*listed, strict=True):
            rows.append((same[0].name, ["–" if row.is_none else row.value.split(" at ")[0] for row in same]))
        tables.append({"columns": columns, "rows": rows})
    return tables


def _touchdown(m: Measures) -> str:
    return m.verdict.touchdown if m.is_converged else f"{m.verdict.touchdown} (provisional)"
