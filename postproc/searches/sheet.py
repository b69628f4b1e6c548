"""The answer of a search as lines of text."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from swirlwright.postproc.measure_table import columns
from swirlwright.postproc.searches.answer import Best, FoundLimit, FoundParameter, Resolution, Search

WIDTH = 116
# Measures of the best variant that are printed; all of them are in the JSON object and the data set.
SHOWN = (
    "touchdown_share",
    "core_radius",
    "max_tangential_velocity",
    "core_pressure_deficit",
    "network_exhaust_flow",
    "network_supply_flow",
)


def sheet(answer: Search) -> Iterator[str]:
    """Lines of the answer."""
    yield answer.title
    yield ""
    counts = ", ".join(f"{n} {status}" for status, n in answer.statuses.items())
    kept = f"{answer.feasible} of them keep" if answer.feasible != 1 else "1 of them keeps"
    yield from wrap(
        f"{answer.count} variants in a sample and {answer.rounds} rounds: {counts}; {kept} every constraint. "
        f"The search ended because {answer.end}.",
        WIDTH,
    )
    if answer.best is None or answer.resolution is None:
        yield ""
        yield "No variant keeps every constraint: loosen one, or widen a range."
        return
    yield ""
    yield from _best(answer.best)
    yield ""
    yield "How well it is resolved"
    for line in resolution_lines(answer.best, answer.resolution):
        yield from wrap(line, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if answer.cautions:
        yield ""
        yield "Cautions"
        for caution in answer.cautions:
            yield from wrap(f"- {caution}", WIDTH, initial_indent="  ", subsequent_indent="    ")


def _best(best: Best) -> Iterator[str]:
    where = "of the sample" if best.round == 0 else f"of round {best.round}"
    yield f"Best: variant {best.variant}, {where}{'' if best.is_converged else ', NOT CONVERGED'}"
    yield f"  {'objective':<30}{best.objective:>12.5g}"
    for name, value in best.terms.items():
        yield f"    {name:<28}{value:>12.5g}"
    for p in best.parameters:
        end = f", at its {p.at_end} end" if p.at_end else ""
        yield f"  {p.name:<30}{p.value:>12.5g}{_units(p.units)}   of {p.lower:.4g} to {p.upper:.4g}{end}"
    for limit in best.limits:
        yield from wrap(f"{limit.text()}, {standing(limit)}", WIDTH, initial_indent="  ", subsequent_indent="    ")
    shown = [name for name in SHOWN if best.measures.get(name) is not None and name not in best.terms]
    for name in shown:
        units = columns()[name].units
        yield f"  {name:<30}{best.measures[name]:>12.4g}{'' if units == '1' else f' {units}'}"
    if (verdict := best.words.get("verdict")) is not None:
        yield from wrap(verdict, WIDTH, initial_indent="  ", subsequent_indent="  ")


def standing(limit: FoundLimit) -> str:
    """Whether the limit is clear or active, and by how much it is kept: by this run, and by the models there."""
    distance = limit.limit.distance(limit.value)
    text = f"{'ACTIVE, kept' if limit.is_active else 'clear'} by {distance:.3g}"
    if limit.chance:
        text += f", {distance / limit.chance:.1f} standard errors"
    clearance = ", clearance taken off" if limit.limit.clearance else ""
    return f"{text}; by the models {limit.smoothed:.3g}{clearance}"


def resolution_lines(best: Best, resolution: Resolution) -> Iterator[str]:
    """How well the optimum is resolved, the objective first; lines of any length."""
    yield _objective_line(best, resolution)
    if resolution.alike > 1:
        spans = ", ".join(_span(p) for p in best.parameters)
        yield f"{resolution.alike} variants may be as good within these errors: {spans}"
    if resolution.next_best is not None and resolution.next_difference is not None:
        yield f"the next best, variant {resolution.next_best}, is worse by {resolution.next_difference:.3g}"
    near = ", ".join(_spacing(p) for p in best.parameters)
    yield f"nearest variants, {len(best.parameters) + 1} of them, lie within: {near}"
    errors = [f"{found.limit.of} {found.model_error:.3g}{_units(found.limit.units)}" for found in best.limits]
    errors = [f"objective {resolution.model_error:.3g}", *errors]
    yield f"the models' predictions were off by, root mean square: {', '.join(errors)}"


def _objective_line(best: Best, resolution: Resolution) -> str:
    """What the least objective is known to, and what that follows from."""
    errors = ", ".join(f"{found.limit.of} {found.error:.2g}{_units(found.limit.units)}" for found in best.limits)
    if resolution.within is None or resolution.of_limits is None:
        return f"no telling how well the least objective is known: the models nowhere keep the limits by {errors}"
    parts = []
    if best.limits:
        parts.append(f"{resolution.of_limits:.2g} more, by the models, keeps every limit by one error ({errors})")
    parts.append(f"the models' own error is {resolution.model_error:.2g}")
    if resolution.chance is not None:
        parts.append(f"its standard error is {resolution.chance:.2g}")
    return f"the least objective is known to about {resolution.within:.2g}: {'; '.join(parts)}"


def _span(p: FoundParameter) -> str:
    least, most = (f"{value:.4g}" for value in p.alike)
    return f"{p.name} {least if least == most else f'{least} to {most}'}{_units(p.units)}"


def _spacing(p: FoundParameter) -> str:
    return f"{p.name} none" if p.spacing is None else f"{p.name} {p.spacing:.3g}{_units(p.units)}"


def _units(units: str) -> str:
    return "" if units == "1" else f" {units}"
