"""Margins and joint uncertainty as sections of the report."""

from __future__ import annotations

from swirlwright.postproc.margins.figure import sensitivities, tornado
from swirlwright.postproc.margins.joint import Joint
from swirlwright.postproc.margins.values import Margins
from swirlwright.postproc.margins.words import HEADS, INPUT_HEADS, input_row, joint_head, joint_notes, notes, rows_of
from swirlwright.postproc.sweeps.report_parts import Listing, Section, picture_of
from swirlwright.postproc.verdict import Verdict


def margin_sections(number: int, v: Verdict) -> list[Section]:
    """The sections that a verdict has margins for; `number` of its result on the page."""
    found = [] if v.margins is None else [_margins(number, v.margins)]
    return found if v.joint is None else [*found, _joint(number, v.joint)]


def _margins(number: int, m: Margins) -> Section:
    caption = (
        "How far each knob moves alone before touchdown changes; marks are runs, hatched is between the "
        "two runs beside a change. ?: by chance perhaps. *: not converged."
    )
    return Section(
        "Margins",
        f"Touchdown as given: {m.base.touchdown} ({m.base.share_text()} of the time). {m.settings.text()}",
        [picture_of(tornado(m), "margins", number, caption)],
        [Listing(list(HEADS), [list(row) for knob in m.knobs for row in rows_of(knob)], len(HEADS))],
        list(notes(m)),
    )


def _joint(number: int, j: Joint) -> Section:
    is_drawn = any(i.correlation is not None for i in j.inputs)
    caption = (
        "What the share of time hangs on: rank correlations, with lines over their intervals, which hold 95 % together."
    )
    return Section(
        "Joint uncertainty",
        " ".join(joint_head(j)),
        [picture_of(sensitivities(j), "joint", number, caption)] if is_drawn else [],
        [Listing(list(INPUT_HEADS), [list(input_row(i)) for i in j.inputs], len(INPUT_HEADS))],
        list(joint_notes(j)),
    )
