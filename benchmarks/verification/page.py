"""The page of `verify`: every check beside its source, with a figure for each configuration."""

from __future__ import annotations

import platform
from importlib.metadata import version
from itertools import groupby
from pathlib import Path
from textwrap import fill
from typing import Any

from markupsafe import Markup
from matplotlib.figure import Figure

from swirlwright.postproc.drawing import DASHES, INKS, PAGE_WIDTH, as_svg, styled
from swirlwright.postproc.pages import rendered, write_whole
from swirlwright.verification.checks import Check, Picture
from swirlwright.verification.run import Outcome, Verification

TEMPLATE = Path(__file__).with_name("verification.html.j2")
MARKERS = ("o", "s", "^", "D", "v")


def write_page(found: Verification, output: Path) -> None:
    """Write one self-contained HTML page."""
    page = rendered(
        TEMPLATE,
        summary=found.summary(),
        passed=found.passed,
        versions=f"swirlwright {version('swirlwright')}, Python {platform.python_version()}, "
        + ", ".join(f"{name} {version(name)}" for name in ("numpy", "scipy", "numba", "fluids")),
        failed=[(o.configuration.title, *_texts(c), c.note) for o in found.outcomes for c in o.checks if not c.passed],
        groups=[
            (group, [_chapter(outcome) for outcome in outcomes])
            for group, outcomes in groupby(found.outcomes, key=lambda outcome: outcome.configuration.group)
        ],
    )
    write_whole(page, output)


def _chapter(outcome: Outcome) -> dict[str, Any]:
    name = outcome.configuration.name
    findings = outcome.findings
    return {
        "name": name,
        "title": outcome.configuration.title,
        "failure": outcome.failure,
        "checks": [{"texts": _texts(check), **vars(check), "passed": check.passed} for check in outcome.checks],
        "picture": Markup(as_svg(drawn(findings.picture), name)) if findings is not None else "",
    }


def _texts(check: Check) -> tuple[str, str, str, str, str]:
    """Quantity, computed, from outside, difference and tolerance as text."""
    difference = check.computed - check.expected
    return (
        check.quantity,
        f"{check.computed:.6g}",
        f"{check.expected:.6g}",
        f"{difference:+.2g}",
        f"{check.tolerance:.2g}",
    )


# Letters in a line of a legend: longer sources would push the axes off the figure.
LEGEND = 34


@styled
def drawn(picture: Picture) -> Figure:
    """Computed curves as lines, what comes from outside as open points."""
    figure = Figure(figsize=(PAGE_WIDTH * 0.78, 2.3), layout="constrained")
    ax = figure.subplots()
    for k, curve in enumerate(picture.curves):
        ax.plot(curve.x, curve.y, color=INKS[k % 5], linestyle=DASHES[k % 5], label=fill(curve.label, LEGEND))
    for k, points in enumerate(picture.points):
        ax.plot(
            points.x, points.y, linestyle="", marker=MARKERS[k % 5], markerfacecolor="none", markersize=4.5,
            color=INKS[(k + 1) % 5], label=fill(points.label, LEGEND),
        )  # fmt: skip
    ax.set_xlabel(picture.x_label)
    ax.set_ylabel(picture.y_label)
    ax.grid(True)
    if ax.get_legend_handles_labels()[1]:
        figure.legend(loc="outside right upper")
    return figure
