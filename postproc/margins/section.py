"""Margins and joint uncertainty as sections of the report."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from swirlwright.postproc.drawing import as_svg
from swirlwright.postproc.margins.figure import sensitivities, tornado
from swirlwright.postproc.margins.joint import Joint
from swirlwright.postproc.margins.values import Margins
from swirlwright.postproc.margins.words import HEADS, INPUT_HEADS, input_row, joint_head, joint_notes, notes, rows_of
from swirlwright.postproc.verdict import Verdict


@dataclass(frozen=True)
class Section:
    """A section of the page: lead, picture, table and what stands under it."""

    heading: str
    lead: str
    picture: Markup | None
    caption: str
    heads: tuple[str, ...]
    rows: list[tuple[str, ...]]
    notes: list[str]


def margin_sections(number: int, v: Verdict) -> list[Section]:
    """The sections that a verdict has margins for; `number` of its result on the page."""
    found = [] if v.margins is None else [_margins(number, v.margins)]
    return found if v.joint is None else [*found, _joint(number, v.joint)]


def _margins(number: int, m: Margins) -> Section:
    return Section(
        heading="Margins",
        lead=f"Touchdown as given: {m.base.touchdown} ({m.base.share_text()} of the time). {m.settings.text()}",
        picture=Markup(as_svg(tornado(m), f"margins-{number}")),
        caption="How far each knob moves alone before touchdown changes; marks are runs, hatched is between the "
        "two runs beside a change. ?: by chance perhaps. *: not converged.",
        heads=HEADS,
        rows=[row for knob in m.knobs for row in rows_of(knob)],
        notes=list(notes(m)),
    )


def _joint(number: int, j: Joint) -> Section:
    is_drawn = any(i.correlation is not None for i in j.inputs)
    return Section(
        heading="Joint uncertainty",
        lead=" ".join(joint_head(j)),
        picture=Markup(as_svg(sensitivities(j), f"joint-{number}")) if is_drawn else None,
        caption="What the share of time hangs on: rank correlations, with lines over their 95 % intervals.",
        heads=INPUT_HEADS,
        rows=[input_row(i) for i in j.inputs],
        notes=list(joint_notes(j)),
    )
