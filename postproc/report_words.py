"""The words and tables of the report: verdict, marks, measures, budgets, provenance, cautions."""

from __future__ import annotations

import json
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from swirlwright.postproc.budgets import Budget
from swirlwright.postproc.drawing import flow_text
from swirlwright.postproc.measures import Measures
from swirlwright.postproc.sheet import LINES, doubt_lines, doubt_text, two_digits
from swirlwright.solver.outcome import ending
from swirlwright.solver.results import ResultData

# What the measures' warnings begin with when they concern the verdict itself.
MARKED = ("under-resolved", "thick floor layer", "axisymmetry doubtful", "draughts", "unequal tubes")


@dataclass(frozen=True)
class Mark:
    """A warning beside the verdict; an alarm says that the numbers must not be relied on."""

    name: str
    text: str
    is_alarm: bool = False


@dataclass(frozen=True)
class MeasureRow:
    """One line of the table of measures, as text."""

    name: str
    value: str
    over_time: str
    share: str
    is_none: bool


@dataclass(frozen=True)
class BudgetTable:
    """One budget as text."""

    name: str
    unit: str
    rows: list[tuple[str, str, str]]
    imbalance: str
    relative: str


def sentence(m: Measures) -> str:
    """The verdict, marked as provisional where the run did not converge."""
    text = m.verdict.sentence
    return text if m.is_converged else f"Not converged, so the verdict is provisional. {text}"


def more(m: Measures) -> str:
    """What stands under the verdict."""
    v = m.verdict
    text = f"Structure: {v.structure}. Breakdown: {v.breakdown}. Regime: {v.regime}."
    if m.over_time:
        text += (
            f" A column stands on the floor {100 * v.share_standing:.0f} % of the time, "
            f"a core of any strength {100 * v.share_to_floor:.0f} %."
        )
    return (
        f"{text} Breakdown at the floor (touchdown in the laboratory literature): {v.breakdown_touchdown}. "
        + " ".join([*doubt_lines(v), *m.asymmetry.lines()])
    )


def marks(m: Measures, attributes: dict[str, Any]) -> list[Mark]:
    """How the run ended where that limits the verdict, then what the measures warn about."""
    found = []
    if not m.is_converged:
        name = "not converged" if m.outcome == "not-converged" else f"not converged ({m.outcome})"
        found.append(Mark(name, _ending(m), is_alarm=True))
    elif m.outcome == "time-averaged":
        window = [attributes.get(f"window_{end}") for end in ("start", "end")]
        times = "" if None in window else f"Averaged from {window[0]:.4g} s to {window[1]:.4g} s. "
        found.append(Mark("time-averaged", times + _ending(m)))
    for warning in m.warnings:
        name, _, rest = warning.partition(": ")
        if name in MARKED:
            found.append(Mark(name, rest[:1].upper() + rest[1:], is_alarm=name == "under-resolved"))
    return found


def _ending(m: Measures) -> str:
    """What the outcome means, as a sentence of its own: without the label it may begin with."""
    text = ending(m.outcome, m.outcome_text)
    return text[:1].upper() + text[1:]


def outcome(m: Measures) -> str:
    """How the run ended."""
    return f"{m.outcome.capitalize().replace('Not-', 'Not ')}. {_ending(m)}"


def facts(data: ResultData) -> str:
    """The chamber and the run in one line."""
    a = data.attributes
    size = f"{a.get('footprint', '')} {1000 * float(a['chamber_width']):.0f} mm" if "chamber_width" in a else ""
    parts = [
        f"{size}, {1000 * data.z_face[-1]:.0f} mm high".lstrip(", "),
        f"closure {a.get('closure', 'unknown')}",
        f"{data.r.size} x {data.z.size} cells",
        f"outcome: {a.get('outcome', 'unknown')}",
        data.path.name,
    ]
    return " · ".join(parts)


def tiles(m: Measures, attributes: dict[str, Any]) -> list[tuple[str, str]]:
    """The handful of numbers that most readers look for."""
    f = m.field
    flow = float(attributes.get("exhaust_flow") or 0.0)
    wanted = (
        (f.core_radius, 1e3, "mm", ".1f", "core radius at mid-height"),
        (f.max_tangential_velocity, 1.0, "m/s", ".2f", "largest tangential velocity of the core"),
        (f.peak_axial_velocity, 1.0, "m/s", ".2f", "largest upward velocity"),
        (f.core_foot_height, 1e3, "mm", ".0f", "foot of the core above the floor"),
        (f.core_pressure_deficit, 1.0, "Pa", ".3g", "pressure deficit of the core, mid-height"),
    )
    found = [("none" if value is None else f"{k * value:{form}} {u}", words) for value, k, u, form, words in wanted]
    return [*found, (flow_text(flow), "through the exhaust")] if flow else found


def measure_rows(m: Measures) -> list[MeasureRow]:
    """Every measure of the sheet."""
    rows = [_measure_row(m, *line) for line in LINES]
    value = f"none: {m.spin_up_reason}" if m.spin_up_time is None else f"{m.spin_up_time:.2f} s"
    return [*rows, MeasureRow("spin-up time", value, "", "", m.spin_up_time is None)]


def _measure_row(m: Measures, name: str, words: str, unit: str, factor: float, form: str) -> MeasureRow:
    scalars = m.field.scalars()
    value = scalars[name]
    if value is None:
        text = f"none: {m.field.reasons.get(name, 'does not apply')}"
    else:
        text = f"{factor * value:{form}} {unit}".rstrip() + doubt_text(m.verdict, name, unit, factor, form)
        places = ((axis, scalars.get(f"{name}_{axis}")) for axis in "rz")
        at = [f"{axis} = {1e3 * place:.1f} mm" for axis, place in places if place is not None]
        text += f" at {', '.join(at)}" if at else ""
    over_time, share = "", ""
    s = m.over_time.get(name)
    if s is not None:
        share = f"{100 * s.share:.0f} %"
        if s.mean is not None and s.spread is not None:
            over_time = f"{factor * s.mean:{form}} ± {factor * s.spread:{form}} {unit}".rstrip()
    words = words.replace("r_0", "r₀").replace("r_i", "rᵢ")
    return MeasureRow(words, text, over_time, share, value is None)


def grid_table(m: Measures) -> tuple[list[str], list[tuple[str, ...]]] | None:
    """Heads and rows of the grid study: each measure on the three grids, its order and uncertainty."""
    study = m.verdict.grid_study
    if study is None:
        return None
    heads = [f"{nr} x {nz}" for nr, nz in study.cells]
    rows = []
    for name, words, unit, factor, form in LINES:
        error = study.errors.get(name)
        if error is not None:
            order = "" if error.order is None else f"{error.order:.1f}"
            values = [f"{factor * value:{form}}" for value in error.values]
            head, off = f"{words} ({unit})" if unit else words, f"± {two_digits(factor * error.uncertainty)}"
            rows.append((head, *values, order, off, error.kind))
    return heads, [*rows, ("column on the floor", *study.touchdown, "", "", "")]


def spread_table(m: Measures) -> list[tuple[str, str]] | None:
    """The band of each measure over the model's variants, then touchdown by variant."""
    spread = m.verdict.spread
    if spread is None:
        return None
    rows = []
    for name, words, unit, factor, form in LINES:
        if name in spread.bands:
            low, high = (factor * end for end in spread.bands[name])
            rows.append((words, f"{low:{form}} to {high:{form}} {unit}".rstrip()))
    return [*rows, *((f"column on the floor: {name}", word) for name, word in spread.touchdown.items())]


def budget_table(budget: Budget) -> BudgetTable:
    """A budget with the share of each way in or out."""
    total = budget.total_in
    return BudgetTable(
        name=budget.quantity.capitalize(),
        unit=budget.unit,
        rows=[(name, f"{v:.5e}", f"{100 * v / total:.2f} %" if total else "") for name, v in budget.rows.items()],
        imbalance=f"{budget.imbalance:.1e}",
        relative="" if budget.relative_imbalance is None else f"{budget.relative_imbalance:.1e}",
    )


def torque(m: Measures) -> str:
    """Where the jets' torque went, in a sentence; empty without jets."""
    given = m.torque["input"]
    if not given or m.torque["delivered"] is None or m.torque["lost"] is None:
        return ""
    return (
        f"The jets put in {1e3 * given:.4g} mN m (the sum of m U d over the holes): "
        f"{1e3 * m.torque['delivered']:.4g} mN m to the air of the chamber, {1e3 * m.torque['lost']:.4g} "
        "mN m lost where their paths leave through open sides."
    )


def provenance(data: ResultData) -> list[tuple[str, str]]:
    """Where the numbers come from."""
    a = data.attributes
    digest = sha256(data.path.read_bytes()).hexdigest()
    seconds = [(name, a.get(f"{name}_seconds")) for name in ("compile", "solve", "output")]
    versions = a.get("versions", "{}")
    listed = json.loads(versions) if isinstance(versions, str) else {}
    rows = [
        ("Result file", f"{data.path.name} (SHA-256 {digest})"),
        ("Format", f"{a.get('format', '')} {a.get('format_version', '')}, run {a.get('run_id', 'unknown')}"),
        ("Case file", str(a.get("case_path", "unknown"))),
        ("Versions", ", ".join(f"{name} {version}" for name, version in listed.items())),
        ("Closure", str(a.get("closure", "unknown"))),
        (
            "Grid",
            f"{data.r.size} cells in r, {data.z.size} in z; first cell {1e3 * data.r_face[1]:.2f} mm wide",
        ),
        ("Air", f"{a.get('density', 0):.4g} kg/m³, {a.get('kinematic_viscosity', 0):.4g} m²/s"),
        ("Wall time", ", ".join(f"{name} {value:.1f} s" for name, value in seconds if value is not None)),
    ]
    return [(name, value) for name, value in rows if value]
