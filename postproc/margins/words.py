"""Margins as a table to read."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from swirlwright.postproc.margins.bracket import SUFFICES
from swirlwright.postproc.margins.joint import Input, Joint
from swirlwright.postproc.margins.values import AT_BOUND, BEYOND_BOUND, CHANGES, End, KnobMargin, Margins

HEADS = ("knob", "as given", "way", "stays to", "changes at", "to", "share of time")
INPUT_HEADS = ("input", "drawn from", "rank correlation with the share of time")


def margins_text(m: Margins) -> str:
    """The table, with what it rests on."""
    lines = [
        m.title,
        "",
        f"Touchdown as given: {m.base.touchdown} ({m.base.share_text()} of the time).",
        m.settings.text(),
        "",
    ]
    rows = [HEADS, *(row for knob in m.knobs for row in rows_of(knob))]
    widths = [max(len(row[n]) for row in rows) for n in range(len(HEADS))]
    lines += ["  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines += ["", *(line for text in notes(m) for line in wrap(text, 120, subsequent_indent="  "))]
    return "\n".join(lines)


def rows_of(knob: KnobMargin) -> Iterator[tuple[str, ...]]:
    """Two rows of cells for a knob, downward and upward."""
    for way, end in (("down", knob.down), ("up", knob.up)):
        head = (knob.words, knob.shown(knob.value)) if way == "down" else ("", "")
        yield (*head, way, *_cells(knob, end))


def _cells(knob: KnobMargin, end: End) -> tuple[str, str, str, str]:
    """How far the verdict stays, where it changes, what it becomes, and the shares of time there."""
    stays = f"{end.stays.percent}, {knob.shown(end.stays.value)}" if end.stays.factor != 1.0 else "as given"
    if end.kind == AT_BOUND:
        return stays, "cannot move", "", ""
    if end.kind == BEYOND_BOUND or end.beyond is None:
        return stays, "beyond bound", "", end.stays.share_text()
    beyond = f"{end.beyond.percent}, {knob.shown(end.beyond.value)}"
    if end.kind != CHANGES:
        return stays, end.beyond.percent, "no valid case" if end.kind == "no case" else "no answer", ""
    chance = " ?" if end.is_by_chance else ""
    return stays, beyond, end.beyond.touchdown + chance, f"{end.stays.share_text()} -> {end.beyond.share_text()}"


def notes(m: Margins) -> Iterator[str]:
    """What a reader must know beside the table."""
    yield (
        "Each knob was moved alone, the others as given, outward until touchdown changed and then halved until the "
        f"two runs beside the change were {_resolutions(m)} apart, or alike within twice their standard errors; beyond "
        "bound: no change as far as was tried."
    )
    for knob in m.knobs:
        yield f"{knob.words}: {knob.how}; tried from {knob.low:.3g} to {knob.high:.3g} times."
    for knob in m.knobs:
        for end in (knob.down, knob.up):
            if end.beyond is not None and end.kind != CHANGES:
                yield f"{knob.words} by {end.beyond.percent}: {end.beyond.reason}"
    for words, why in m.lacking.items():
        yield f"{words}: not moved, {why}."
    if any(end.is_by_chance for knob in m.knobs for end in (knob.down, knob.up)):
        yield (
            "?: the share of time there differs by no more than twice the standard error from that as given and from "
            "the limit it has passed (10 or 90 %), so the change is not sure and makes no verdict marginal."
        )
    if near := m.near_text():
        yield f"A move of {100 * SUFFICES:.0f} % suffices: {near}. Touchdown is marginal."
    yield f"{m.runs} runs{_loose(m)}."
    if m.rerun_cold:
        yield _cold(m.rerun_cold, m.differ_cold)


def _resolutions(m: Margins) -> str:
    found: dict[float, list[str]] = {}
    for knob in m.knobs:
        found.setdefault(knob.resolution, []).append(knob.words)
    usual = max(found, key=lambda resolution: len(found[resolution]))
    others = [f"{words} {100 * r:.0f} %" for r, names in found.items() if r != usual for words in names]
    return f"at most {100 * usual:.0f} %" + (f" ({', '.join(others)})" if others else "")


def _loose(m: Margins) -> str:
    text = f"; * {m.not_converged} did NOT CONVERGE" if m.not_converged else ""
    return text + (f"; {m.failed} gave no answer" if m.failed else "")


def _cold(rerun: int, differ: int) -> str:
    return (
        f"Run once more from rest: {rerun}, {differ} of them with a share of time that differs by more than twice the "
        "combined standard error."
    )


def joint_text(j: Joint) -> str:
    """Probability of touchdown and the table of inputs."""
    lines = [j.title, "", *joint_head(j), ""]
    rows = [INPUT_HEADS, *(input_row(i) for i in j.inputs)]
    widths = [max(len(row[n]) for row in rows) for n in range(3)]
    lines += ["  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines += ["", *(line for text in joint_notes(j) for line in wrap(text, 120, subsequent_indent="  "))]
    return "\n".join(lines)


def joint_head(j: Joint) -> list[str]:
    """The answer, and what it rests on, in sentences."""
    counts = ", ".join(f"{word} {j.counts[word]}" for word in ("yes", "marginal", "no") if j.counts.get(word))
    return [
        f"Touchdown has a probability of {j.probability.text()}: {counts} of {j.answers} draws.",
        f"As given: {j.base.touchdown} ({j.base.share_text()} of the time).",
        j.settings.text(),
    ]


def input_row(i: Input) -> tuple[str, str, str]:
    """Cells of an input."""
    if i.correlation is None:
        return i.words, i.distribution, "none"
    mark = "" if i.is_sure else "   may be none"
    return i.words, i.distribution, f"{i.correlation:+.2f} ({i.low:+.2f} to {i.high:+.2f}){mark}"


def joint_notes(j: Joint) -> Iterator[str]:
    """What a reader must know beside the table."""
    yield (
        "All inputs were drawn at once and independently (Latin hypercubes, "
        f"seed {j.seed}). A yes counts 1, a no 0, a marginal its share of time; intervals hold 95 %, those of the "
        "correlations all together."
    )
    nr, nz = j.settings.cells
    yield (
        "Not drawn: the closure, its other constants, the spread of jets and the grid. The probability is that of the "
        f"{j.settings.closure} closure on {nr} x {nz} cells; what others say, `solve --spread` tells."
    )
    if not any(i.name == "voltage" for i in j.inputs):
        yield "Fan curves and supply voltage: not drawn, the case names no fan."
    for i in j.inputs:
        yield f"{i.words}: {i.source}."
    lost = [f"{n} {word}" for n, word in ((j.refused, "no valid case"), (j.failed, "gave no answer")) if n]
    if lost:
        yield f"Of {j.drawn} draws {', '.join(lost)}; they are left out."
    if j.not_converged:
        yield f"{j.not_converged} of {j.answers} runs did NOT CONVERGE."
    if j.rerun_cold:
        yield _cold(j.rerun_cold, j.differ_cold)
