"""A comparison in words: a table to read, and one JSON object."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from swirlwright.postproc.measured.points import QUANTITIES
from swirlwright.solver.outcome import alarm

if TYPE_CHECKING:
    from swirlwright.postproc.measured.compare import Agreement, Comparison, Row


class Shown(NamedTuple):
    """The unit a quantity is shown in, and its factor on SI."""

    unit: str
    factor: float


SHOWN = {
    "m/s": Shown("m/s", 1.0),
    "Pa": Shown("Pa", 1.0),
    "m": Shown("mm", 1e3),
    "s": Shown("s", 1.0),
    "m3/s": Shown("m3/h", 3600.0),
}


def shown(quantity: str) -> Shown:
    """How values of a quantity are shown; of all quantities together in standard deviations."""
    return Shown("sd", 1.0) if quantity == "all" else SHOWN[QUANTITIES[quantity].number.unit]


def as_text(c: Comparison) -> str:
    """The table, how well each kind agrees, and the cautions."""
    head = f"{c.title}: {c.data.path.name} against {c.measured.path.name}"
    lines = [head, "=" * len(head), ""]
    if not c.is_converged:
        lines += [f"{alarm(c.outcome)}: {c.ending}", ""]
    width = max(len(row.point.quantity) for row in c.rows)
    place = max(len(row.point.where()) for row in c.rows)
    columns = f"{'measured':>11}{'+-':>9}{'computed':>11}{'+- time':>9}{'+- grid':>9}{'+- model':>9}{'off':>7}"
    lines += [f"line  {'what':<{width}}  {'where':<{place}}  unit{columns}", ""]
    lines += [_line(row, width, place) for row in c.rows]
    lines += ["", *agreement_lines(c.agreements), ""]
    lines.append(f"+- are standard deviations; off = (computed - measured)/combined; * outside the band of {_limit()}")
    lines += [f"Grid error: {c.band.grid_text}.", f"Model spread: {c.band.model_text}.", ""]
    lines += [f"Caution: {caution}" for caution in c.cautions]
    return "\n".join(lines).rstrip() + "\n"


def _limit() -> str:
    from swirlwright.postproc.measured.compare import OUTSIDE

    return f"{OUTSIDE:g} sd"


def _line(row: Row, width: int, place: int) -> str:
    unit, factor = shown(row.point.quantity)
    head = f"{row.point.line:>4}  {row.point.quantity:<{width}}  {row.point.where():<{place}}  {unit:<4}"
    measured = f"{digits(factor * row.point.value):>11}{digits(factor * row.point.uncertainty, 2):>9}"
    if row.computed.value is None or row.score is None:
        return f"{head}{measured}  nothing computed: {row.computed.reason}"
    spreads = (row.computed.spread, row.grid, row.model)
    told = "".join(f"{digits(factor * x, 2) if x > 0.0 else '-':>9}" for x in spreads)
    mark = " *" if row.is_outside else ""
    return f"{head}{measured}{digits(factor * row.computed.value):>11}{told}{row.score:>+7.1f}{mark}"


def agreement_lines(agreements: tuple[Agreement, ...]) -> list[str]:
    """One line for each kind of point, and one for all."""
    if not agreements:
        return ["Nothing could be compared."]
    return [f"{a.quantity.replace('_', ' ')}: {agreement_text(a)}" for a in agreements]


def agreement_text(a: Agreement) -> str:
    """How well points agree, in one sentence without their name."""
    unit, factor = shown(a.quantity)
    points = f"{a.number} point{'s' if a.number > 1 else ''}"
    text = f"{points}, {a.outside} outside"
    if a.bias is not None:
        text += f"; bias {factor * a.bias:+.3g}"
        text += f" +- {factor * a.bias_error:.2g}" if a.bias_error is not None else ""
        text += f" {unit}"
    if a.scatter is not None:
        text += f", scatter {factor * a.scatter:.2g} {unit}"
    return f"{text}; chi-square {a.chi_square:.3g} over {a.number} = {a.per_degree:.2g}, {p_text(a.p_value)}"


def p_text(p_value: float) -> str:
    """A p-value; the tails of a distribution are not known any closer than that."""
    return "p < 1e-6" if p_value < 1e-6 else f"p = {p_value:.2g}"


def digits(value: float, significant: int = 4) -> str:
    """A number with few digits, without an exponent where a builder would not write one."""
    if value == 0.0 or not 1e-3 <= abs(value) < 1e5:
        return f"{value:.{significant}g}"
    return f"{float(f'{value:.{significant}g}'):.6g}"


def as_json(c: Comparison) -> dict[str, Any]:
    """Plain values, SI."""
    return {
        "title": c.title,
        "result": c.data.path.name,
        "data": c.measured.path.name,
        "data_sha256": c.measured.sha256,
        "outcome": c.outcome,
        "outcome_text": c.ending,
        "converged": c.is_converged,
        "points": [_point_json(row) for row in c.rows],
        "agreement": {a.quantity: _agreement_json(a) for a in c.agreements},
        "grid_error": c.band.grid_text,
        "model_spread": c.band.model_text,
        "warnings": list(c.cautions),
    }


def _point_json(row: Row) -> dict[str, Any]:
    p = row.point
    return {
        "line": p.line,
        "quantity": p.quantity,
        "unit": QUANTITIES[p.quantity].number.unit,
        "height_m": p.height,
        "radius_m": p.radius,
        "tube": p.tube,
        "measured": p.value,
        "uncertainty": p.uncertainty,
        "computed": row.computed.value,
        "spread_in_time": row.computed.spread,
        "chance": row.computed.chance,
        "grid": row.grid,
        "model": row.model,
        "combined": row.deviation,
        "score": row.score,
        "outside": row.is_outside,
        "reason": row.computed.reason or None,
        "note": p.note or None,
    }


def _agreement_json(a: Agreement) -> dict[str, Any]:
    return {
        "unit": "1" if a.quantity == "all" else QUANTITIES[a.quantity].number.unit,
        "points": a.number,
        "outside": a.outside,
        "bias": a.bias,
        "bias_error": a.bias_error,
        "scatter": a.scatter,
        "chi_square": a.chi_square,
        "degrees_of_freedom": a.number,
        "chi_square_per_degree": a.per_degree,
        "p_value": a.p_value,
    }
