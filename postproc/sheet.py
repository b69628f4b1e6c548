"""Measures as a sheet to read and as one JSON object."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import numpy as np

from swirlwright.postproc.budgets import Budget
from swirlwright.postproc.verdict import NOT_EVALUATED, Verdict
from swirlwright.solver.outcome import alarm, ending

if TYPE_CHECKING:
    from swirlwright.postproc.measures import Measures

# Line of the sheet: name of the scalar, words, unit, factor from SI, decimals as a format.
LINES = (
    ("core_foot_height", "foot of the core above the floor", "mm", 1e3, ".1f"),
    ("core_radius", "core radius at mid-height", "mm", 1e3, ".2f"),
    ("core_velocity", "largest v of the core at mid-height", "m/s", 1.0, ".3f"),
    ("max_tangential_velocity", "largest v of the core", "m/s", 1.0, ".3f"),
    ("curtain_tangential_velocity", "largest v of the curtain", "m/s", 1.0, ".3f"),
    ("peak_axial_velocity", "largest upward speed", "m/s", 1.0, ".3f"),
    ("core_pressure_deficit", "pressure deficit of the core, mid-height", "Pa", 1.0, ".4g"),
    ("core_pressure_deficit_floor", "pressure deficit of the core, floor", "Pa", 1.0, ".4g"),
    ("core_pressure_deficit_largest", "pressure deficit of the core, largest", "Pa", 1.0, ".4g"),
    ("low_level_circulation", "circulation, lowest tenth of the height", "m2/s", 1.0, ".3g"),
    ("breakdown_height", "breakdown above the floor", "mm", 1e3, ".1f"),
    ("floor_layer", "thickness of the floor layer", "mm", 1e3, ".1f"),
    ("swirl_ratio_at_exhaust_radius", "swirl ratio S, r_0 = exhaust radius", "", 1.0, ".3f"),
    ("swirl_ratio_at_curtain", "swirl ratio S, r_0 = 0.85 r_i", "", 1.0, ".3f"),
    ("swirl_number", "swirl number at mid-height, without pressure", "", 1.0, ".3f"),
    ("radial_reynolds_number", "radial Reynolds number, molecular", "", 1.0, ".1f"),
    ("radial_reynolds_number_effective", "radial Reynolds number, effective", "", 1.0, ".1f"),
    ("vortex_reynolds_number", "vortex Reynolds number, effective", "", 1.0, ".1f"),
    ("cells_in_core", "cells inside the core radius", "", 1.0, ".1f"),
)


def as_text(m: Measures) -> str:
    """The sheet."""
    lines = [m.title or m.file, "=" * len(m.title or m.file), ""]
    if not m.is_converged:
        lines += [f"{alarm(m.outcome)}: {_ending(m)}", ""]
    v = m.verdict
    lines += [
        f"Touchdown? {v.sentence}",
        f"Structure: {v.structure}; breakdown: {v.breakdown}; regime: {v.regime}.",
        f"Breakdown at the floor (touchdown of the laboratory literature): {v.breakdown_touchdown}.",
        *doubt_lines(v),
        *m.asymmetry.lines(),
        "",
        f"Run: {m.outcome}; {_ending(m)}" if m.is_converged else f"Run: {m.outcome}",
        f"Measures from: {m.field_text}; the swirl is {_sense(m)} seen from above",
        "",
    ]
    lines += [_line(m, *spec) for spec in LINES]
    spin_up = "none: " + m.spin_up_reason if m.spin_up_time is None else f"{m.spin_up_time:.2f} s"
    lines += [f"  {'spin-up time':<48}{spin_up}", ""]
    for budget in m.budgets:
        lines += [*_budget_lines(budget), ""]
    if m.chamber.has_jets:
        parts = ", ".join(f"{name} {value:.4g}" for name, value in m.torque.items() if value is not None)
        lines += [f"Torque of the jets [N m]: {parts}", ""]
    if m.fog is not None:
        lines += [*m.fog.lines(), ""]
    if not m.budgets:
        lines += ["Budgets: the file has no face fluxes", ""]
    lines += [f"Caution: {warning}" for warning in m.warnings]
    lines += ["", "What the words mean: postproc/README.md, The words of the sheet"]
    return "\n".join(lines).rstrip() + "\n"


def doubt_lines(v: Verdict) -> list[str]:
    """What the verdict says of margins, spread of the model and grid error."""
    study, spread = v.grid_study, v.spread
    grid = f"Grid error: {NOT_EVALUATED} (solve --grid-study)."
    if study is not None:
        cells = ", ".join(f"{nr} x {nz}" for nr, nz in study.cells)
        found = study.errors.get("touchdown_share")
        share = ""
        if found is not None:
            shares = ", ".join(f"{100 * value:.0f}" for value in found.values)
            share = f" ({shares} % of the time, grid error {100 * found.uncertainty:.0f} points)"
        grid = f"Grid error: as printed, from grids of {cells} cells; column on the floor: "
        grid += f"{', '.join(study.touchdown)}{share}."
        grid += _not_converged(study.not_converged)
    model = f"Model spread: {NOT_EVALUATED} (solve --spread)."
    if spread is not None:
        words = ", ".join(f"{name} {word}" for name, word in spread.touchdown.items())
        low, high = spread.bands.get("touchdown_share", (None, None))
        share = "" if low is None or high is None else f" ({100 * low:.0f} to {100 * high:.0f} % of the time)"
        model = f"Model spread: as printed, over {len(spread.touchdown)} runs; column on the floor: {words}{share}."
        model += _not_converged(spread.not_converged)
    margins = f"Margins: {NOT_EVALUATED} (margin)." if v.margins is None else v.margins.line()
    return [grid, model, margins, *([] if v.joint is None else [v.joint.line()])]


def _not_converged(names: list[str]) -> str:
    return f" NOT CONVERGED: {', '.join(names)}." if names else ""


def two_digits(value: float) -> str:
    """A number to two significant digits, without an exponent where people write none."""
    return f"{float(f'{value:.2g}'):g}"


def doubt_text(v: Verdict, name: str, unit: str, factor: float, form: str) -> str:
    """The grid's +- and the model's band of one measure, or nothing."""
    text = ""
    if v.grid_study is not None and name in v.grid_study.errors:
        text += f" +- {two_digits(factor * v.grid_study.errors[name].uncertainty)} {unit}".rstrip() + " (grid)"
    if v.spread is not None and name in v.spread.bands:
        low, high = (factor * end for end in v.spread.bands[name])
        text += f", {low:{form}} to {high:{form}} {unit}".rstrip() + " (model)"
    return text


def _ending(m: Measures) -> str:
    """How the run ended, without the outcome's name in front."""
    return ending(m.outcome, m.outcome_text)


def _sense(m: Measures) -> str:
    return "counterclockwise" if m.field.swirl_sense > 0 else "clockwise"


def _line(m: Measures, name: str, words: str, unit: str, factor: float, form: str) -> str:
    value = m.field.scalars()[name]
    head = f"  {words:<48}"
    if value is None:
        text = f"none: {m.field.reasons.get(name, 'does not apply')}"
    else:
        doubt = doubt_text(m.verdict, name, unit, factor, form)
        text = f"{factor * value:{form}} {unit}".rstrip() + doubt + _place(m, name)
    over_time = m.over_time.get(name)
    if over_time is not None and over_time.mean is not None and over_time.spread is not None:
        text += f"   in time {factor * over_time.mean:{form}} +- {factor * over_time.spread:{form}}"
        text += "" if over_time.share > 0.999 else f", {100.0 * over_time.share:.0f} % of the time"
    return head + text


def _place(m: Measures, name: str) -> str:
    scalars = m.field.scalars()
    r, z = scalars.get(f"{name}_r"), scalars.get(f"{name}_z")
    parts = [f"{axis} = {1e3 * value:.1f} mm" for axis, value in (("r", r), ("z", z)) if value is not None]
    return f" at {', '.join(parts)}" if parts else ""


def _budget_lines(budget: Budget) -> list[str]:
    lines = [f"Budget of {budget.quantity} [{budget.unit}], positive into the chamber"]
    lines += [f"  {name:<48}{value: .6e}" for name, value in budget.rows.items()]
    relative = budget.relative_imbalance
    share = "" if relative is None else f" ({relative:.1e} of what comes in)"
    lines.append(f"  {'imbalance':<48}{budget.imbalance: .1e}{share}")
    return lines


def as_json(m: Measures) -> dict[str, Any]:
    """Plain values, SI; a number that is not finite becomes None."""
    f, v = m.field, m.verdict
    core = (
        None
        if f.core is None
        else {
            "height_m": f.core.height[f.core.exists],
            "radius_m": f.core.radius[f.core.exists],
            "velocity_m_per_s": f.core.velocity[f.core.exists],
            "end": f.core.end,
        }
    )
    found = {
        "file": m.file,
        "title": m.title,
        "outcome": m.outcome,
        "outcome_text": m.outcome_text,
        "converged": m.is_converged,
        "field": m.field_text,
        "swirl_sense": _sense(m),
        "swirl_ratio": {
            "at_exhaust_radius": f.swirl_ratio_at_exhaust_radius,
            "at_curtain": f.swirl_ratio_at_curtain,
        },
        "swirl_number": {"value": f.swirl_number, "height_m": 0.5 * m.chamber.height, "with_pressure": False},
        "radial_reynolds_number": {
            "molecular": f.radial_reynolds_number,
            "effective": f.radial_reynolds_number_effective,
        },
        "vortex_reynolds_number": f.vortex_reynolds_number,
        "core": core,
        "core_radius": f.core_radius,
        "core_velocity_m_per_s": f.core_velocity,
        "core_circulation_m2_per_s": f.core_circulation,
        "low_level_circulation_m2_per_s": f.low_level_circulation,
        "max_tangential_velocity": _with_place(m, "max_tangential_velocity", "core")
        | _with_place(m, "curtain_tangential_velocity", "curtain"),
        "peak_axial_velocity_m_per_s": _with_place(m, "peak_axial_velocity", "value"),
        "core_pressure_deficit": {
            "floor": f.core_pressure_deficit_floor,
            "mid_height": f.core_pressure_deficit,
            "largest": f.core_pressure_deficit_largest,
            "largest_height_m": f.core_pressure_deficit_largest_z,
        },
        "core_foot_height": f.core_foot_height,
        "floor_layer_m": f.floor_layer,
        "breakdown_height": f.breakdown_height,
        "structure": v.structure,
        "breakdown": v.breakdown,
        "regime": v.regime,
        "touchdown": v.touchdown,
        "touchdown_share": v.share_standing,
        "touchdown_share_chance": v.chance_standing,
        "core_to_floor_share": v.share_to_floor,
        "breakdown_touchdown": v.breakdown_touchdown,
        "breakdown_touchdown_share": v.share_breakdown_at_floor,
        **m.asymmetry.as_json(),
        "fog": None if m.fog is None else m.fog.as_json(),
        "margins": None if v.margins is None else v.margins.as_json(),
        "joint_uncertainty": None if v.joint is None else v.joint.as_json(),
        "closure_spread": None if v.spread is None else asdict(v.spread),
        "grid_error": None if v.grid_study is None else asdict(v.grid_study),
        "verdict": v.sentence if m.is_converged else f"{alarm(m.outcome)}: {v.sentence}",
        "spin_up_time": m.spin_up_time,
        "budgets": {budget.quantity.replace(" ", "_"): budget.as_json() for budget in m.budgets},
        "jet_torque_N_m": m.torque,
        "cells_in_core": f.cells_in_core,
        "over_time": {
            name: {"mean": s.mean, "spread": s.spread, "share": s.share, "chance": s.chance}
            for name, s in m.over_time.items()
        },
        "frames": m.n_frames,
        "not_applicable": f.reasons
        | m.asymmetry.reasons
        | ({"spin_up_time": m.spin_up_reason} if m.spin_up_reason else {}),
        "warnings": list(m.warnings),
    }
    return _plain(found)


def _with_place(m: Measures, name: str, key: str) -> dict[str, Any]:
    scalars = m.field.scalars()
    return {key: scalars[name], f"{key}_r_m": scalars[f"{name}_r"], f"{key}_z_m": scalars[f"{name}_z"]}


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [_plain(item) for item in value]
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return value
