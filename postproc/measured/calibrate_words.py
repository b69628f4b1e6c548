"""A calibration in words: a sheet to read, one JSON object, and the comments of the case it leaves."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from swirlwright.postproc.measured.compare_words import digits, p_text, shown
from swirlwright.postproc.measured.models import DISCHARGE, key_of

if TYPE_CHECKING:
    from swirlwright.postproc.measured.calibrate import Calibration, Stage
    from swirlwright.postproc.measured.fit import Estimate, Held

# First words of a file that `calibrate` wrote; only such a file is replaced.
MARK = "# Calibrated by swirlwright from "


def as_text(c: Calibration) -> str:
    """The sheet: constants, what was left, how well they fit, the points before and after."""
    head = f"{c.case.title}: fitted to {c.measured.path.name}"
    lines = [head, "=" * len(head), ""]
    if not c.is_converged:
        lines += [f"NOT CONVERGED: {_not_converged(c)}", ""]
    if not c.estimates:
        lines += ["The data determine none of the constants: all are left as they are.", ""]
    lines += [f"  {_estimate_text(c, e)}" for e in c.estimates]
    lines += [f"  {_held_text(c, h)}" for h in c.held]
    lines += ["", *(f"{name}: {text}" for name, text in _stages(c)), *_correlations(c), ""]
    lines += [*_points(c), ""]
    lines += [f"Not fitted to: line {line}, {reason}" for line, reason in sorted(c.unused.items())]
    if c.folder is not None:
        lines.append(f"Flows solved: {c.runs}, taken from an earlier call: {c.reused}; kept in {c.folder}")
    lines += [f"Caution: {caution}" for caution in c.cautions]
    return "\n".join(lines).rstrip() + "\n"


def _not_converged(c: Calibration) -> str:
    runs = ", ".join(c.not_converged)
    return f"runs {runs}" if runs else "the search had not ended after its most trials"


def _estimate_text(c: Calibration, e: Estimate) -> str:
    rest = "; rows that differ keep their ratio to it" if e.constant.name == DISCHARGE and _has_ratios(c) else ""
    bound = ", AT ITS BOUND" if e.is_at_bound else ""
    return (
        f"{key_of(e.constant.name)} = {e.value:.4g} (was {e.constant.start:.4g}), 95 % interval {e.low:.4g} to "
        f"{e.high:.4g}, looked for in {e.constant.low:.4g} to {e.constant.high:.4g}{bound}{rest}"
    )


def _has_ratios(c: Calibration) -> bool:
    return len({row.discharge_coefficient for tubes in c.case.tubes for row in tubes.rows}) > 1


def _held_text(c: Calibration, held: Held) -> str:
    return f"{key_of(held.constant.name)} = {held.constant.start:.4g} left as it is: {held.reason}"


def _stages(c: Calibration) -> Iterator[tuple[str, str]]:
    for stage in c.stages:
        fit = stage.fit
        used = int(fit.used.sum())
        text = f"{used} point{'s' if used > 1 else ''}, chi-square {fit.chi_square:.3g}"
        if fit.degrees > 0:
            text += f" over {fit.degrees} = {fit.chi_square / fit.degrees:.2g}, {p_text(fit.p_value)}"
        if fit.estimates and fit.scale > 1.0:
            text += f"; intervals {fit.scale:.2g} times as wide as the stated uncertainties alone make them"
        yield f"Fit by the {stage.name}", text


def _correlations(c: Calibration) -> Iterator[str]:
    names = [e.constant.name for e in c.estimates]
    for i, one in enumerate(names):
        for j in range(i):
            yield f"Correlation of {names[j]} and {one}: {c.correlation[i, j]:+.2f}"


def _points(c: Calibration) -> Iterator[str]:
    yield f"line  {'what':<20}{'where':<26}unit{'measured':>10}{'+-':>9}{'before':>10}{'after':>10}{'off':>7}"
    for stage in c.stages:
        for row in _rows(stage):
            unit, factor = shown(row["quantity"])
            shown_values = [digits(factor * row[name]) for name in ("measured", "before", "after")]
            yield (
                f"{row['line']:>4}  {row['quantity']:<20}{row['where']:<26}{unit:<4}{shown_values[0]:>10}"
                f"{digits(factor * row['uncertainty'], 2):>9}{shown_values[1]:>10}{shown_values[2]:>10}"
                f"{row['score']:>+7.1f}"
            )


def _rows(stage: Stage) -> Iterator[dict[str, Any]]:
    """The points that a stage was fitted to."""
    fit = stage.fit
    for k, point in enumerate(stage.points):
        if not fit.used[k]:
            continue
        chance = float(fit.before.noise[k])
        yield {
            "line": point.line,
            "quantity": point.quantity,
            "where": point.where(),
            "measured": point.value,
            "uncertainty": point.uncertainty,
            "chance": chance,
            "before": float(fit.before.values[k]),
            "after": float(fit.after.values[k]),
            "score": (float(fit.after.values[k]) - point.value) / math.hypot(point.uncertainty, chance),
        }


def as_json(c: Calibration) -> dict[str, Any]:
    """Plain values, SI."""
    return {
        "title": c.case.title,
        "case": c.case.path.name,
        "data": c.measured.path.name,
        "data_sha256": c.measured.sha256,
        "converged": c.is_converged,
        "constants": {key_of(e.constant.name): _estimate_json(e) for e in c.estimates},
        "left": {key_of(h.constant.name): {"value": h.constant.start, "reason": h.reason} for h in c.held},
        "correlation": c.correlation.tolist(),
        "chi_square": c.chi_square,
        "degrees_of_freedom": c.degrees,
        "p_value": c.p_value,
        "stages": [
            {
                "name": stage.name,
                "chi_square": stage.fit.chi_square,
                "degrees_of_freedom": stage.fit.degrees,
                "p_value": stage.fit.p_value if stage.fit.degrees > 0 else None,
                "interval_factor": stage.fit.scale,
                "points": list(_rows(stage)),
            }
            for stage in c.stages
        ],
        "not_used": [{"line": line, "reason": reason} for line, reason in sorted(c.unused.items())],
        "runs": c.runs,
        "runs_reused": c.reused,
        "runs_not_converged": list(c.not_converged),
        "warnings": list(c.cautions),
    }


def _estimate_json(e: Estimate) -> dict[str, Any]:
    return {
        "value": e.value,
        "interval_95": [e.low, e.high],
        "was": e.constant.start,
        "bounds": [e.constant.low, e.constant.high],
        "at_bound": e.is_at_bound,
    }


def comments(c: Calibration) -> Iterator[str]:
    """First lines of the calibrated case: where its constants come from."""
    told = [
        f"{c.case.path.name} on {datetime.date.today().isoformat()}: constants fitted to the measured points of "
        f"{c.measured.path.name}, SHA-256 of that file below.",
        c.measured.sha256,
        *([] if c.is_converged else [f"NOT CONVERGED: {_not_converged(c)}"]),
        *(_estimate_text(c, e) for e in c.estimates),
        *(_held_text(c, h) for h in c.held),
        *(f"{name}: {text}" for name, text in _stages(c)),
        *_correlations(c),
        *(f"Caution: {caution}" for caution in c.cautions),
    ]
    for k, text in enumerate(told):
        yield from wrap(text, 116, initial_indent=MARK if k == 0 else "# ", subsequent_indent="# ")
