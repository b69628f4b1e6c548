"""A comparison as a picture or as one self-contained HTML page."""

from __future__ import annotations

from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup
from matplotlib import rc_context
from matplotlib.figure import Figure

from swirlwright.postproc.drawing import STYLE, as_svg
from swirlwright.postproc.measured.compare import OUTSIDE, Agreement, Comparison, Row
from swirlwright.postproc.measured.compare_figures import parity, profiles
from swirlwright.postproc.measured.compare_words import digits, p_text, shown
from swirlwright.postproc.pages import rendered, write_whole
from swirlwright.solver.errors import ResultError

TEMPLATE = Path(__file__).with_name("compare.html.j2")
DPI = 200
# What a file of each kind begins with; only its own kind is replaced.
KINDS = {".html": b"<!DOCTYPE html>", ".png": b"\x89PNG"}


def write_comparison(c: Comparison, output: Path) -> None:
    """Write a page (.html) or a picture (.png), whole or not at all.

    Raises
    ------
    ValueError
        If the name ends otherwise.
    ResultError
        If there is nothing to draw.
    """
    if output.suffix not in KINDS:
        raise ValueError(f"a comparison is written as {' or '.join(KINDS)}, not as {output.suffix!r}")
    if output.suffix == ".html":
        write_whole(_page(c), output)
        return
    part = output.with_name(f".{output.name}.part")
    try:
        part.write_bytes(_picture(c))
        part.replace(output)
    finally:
        part.unlink(missing_ok=True)


def _picture(c: Comparison) -> bytes:
    """Both figures, one above the other, as PNG; they are equally wide."""
    from matplotlib.image import imread, imsave

    drawn = [imread(BytesIO(_png(figure))) for figure in (parity(c), profiles(c)) if figure is not None]
    if not drawn:
        raise ResultError(f"{c.data.path}: has a computed value at none of the points, so there is nothing to draw")
    data = BytesIO()
    imsave(data, np.concatenate(drawn), format="png", dpi=DPI)
    return data.getvalue()


def _png(figure: Figure) -> bytes:
    data = BytesIO()
    with rc_context(STYLE):
        figure.savefig(data, format="png", dpi=DPI)
    return data.getvalue()


def _page(c: Comparison) -> str:
    pictures = {"parity": parity(c), "profiles": profiles(c)}
    every = c.agreements[-1] if c.agreements else None
    return rendered(
        TEMPLATE,
        title=c.title,
        result=c.data.path.name,
        measured=c.measured.path.name,
        not_converged="" if c.is_converged else c.ending,
        colour="marginal" if every is None or not c.is_converged or every.outside else "yes",
        sentence=_sentence(every),
        more=""
        if every is None
        else f"Chi-square per degree of freedom {every.per_degree:.3g}, {p_text(every.p_value)}.",
        cautions=c.cautions,
        unsteady=any(row.computed.spread > 0.0 for row in c.rows),
        agreements=[_agreement(a) for a in c.agreements],
        points=[_point(row) for row in c.rows],
        limit=f"{OUTSIDE:g}",
        grid_text=c.band.grid_text,
        model_text=c.band.model_text,
        sha256=c.measured.sha256,
        outcome=c.outcome,
        version=f"swirlwright {version('swirlwright')}",
        **{name: None if figure is None else Markup(as_svg(figure, name)) for name, figure in pictures.items()},
    )


def _sentence(every: Agreement | None) -> str:
    if every is None:
        return "Nothing could be compared."
    points = f"{every.number} measured point{'s' if every.number > 1 else ''}"
    if every.outside == 0:
        return f"None of {points} lies outside the band of {OUTSIDE:g} standard deviations."
    return f"{every.outside} of {points} lie outside the band of {OUTSIDE:g} standard deviations."


def _agreement(a: Agreement) -> list[str]:
    unit, factor = shown(a.quantity)
    bias = "–" if a.bias is None else f"{factor * a.bias:+.3g}"
    error = "" if a.bias_error is None else f" ± {factor * a.bias_error:.2g}"
    return [
        a.quantity.replace("_", " "),
        str(a.number),
        str(a.outside),
        f"{bias}{error} {unit}",
        "–" if a.scatter is None else f"{factor * a.scatter:.2g} {unit}",
        f"{a.chi_square:.3g}",
        f"{a.per_degree:.2g}",
        p_text(a.p_value).removeprefix("p ").removeprefix("= "),
    ]


def _point(row: Row) -> dict[str, Any]:
    unit, factor = shown(row.point.quantity)
    spreads = {"time": row.computed.spread, "grid": row.grid, "model": row.model}
    return {
        "line": row.point.line,
        "what": row.point.quantity.replace("_", " "),
        "where": row.point.where(),
        "measured": digits(factor * row.point.value),
        "uncertainty": digits(factor * row.point.uncertainty, 2),
        "computed": "" if row.computed.value is None else digits(factor * row.computed.value),
        "reason": row.computed.reason if row.computed.value is None else "",
        **{name: digits(factor * x, 2) if x > 0.0 else "–" for name, x in spreads.items()},
        "off": "" if row.score is None else f"{row.score:+.1f}",
        "outside": row.is_outside,
        "unit": unit,
        "note": row.point.note,
    }
