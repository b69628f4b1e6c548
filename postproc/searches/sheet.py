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
    yield from _resolved(answer.best, answer.resolution)
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
        units = "" if p.units == "1" else f" {p.units}"
        yield f"  {p.name:<30}{p.value:>12.5g}{units}   of {p.lower:.4g} to {p.upper:.4g}{end}"
    for limit in best.limits:
        yield f"  {limit.text()}, {_standing(limit)}"
    shown = [name for name in SHOWN if best.measures.get(name) is not None and name not in best.terms]
    for name in shown:
        units = columns()[name].units
        yield f"  {name:<30}{best.measures[name]:>12.4g}{'' if units == '1' else f' {units}'}"
    if (verdict := best.words.get("verdict")) is not None:
        yield from wrap(verdict, WIDTH, initial_indent="  ", subsequent_indent="  ")


def _standing(limit: FoundLimit) -> str:
    if not limit.is_active:
        return f"clear by {limit.slack:.3g}"
    if limit.chance:
        return f"ACTIVE, kept by {limit.slack:.3g}, {limit.slack / limit.chance:.1f} standard errors"
    return f"ACTIVE, kept by {limit.slack:.3g}"


def _resolved(best: Best, resolution: Resolution) -> Iterator[str]:
    yield "How well it is resolved"
    near = ", ".join(_spacing(p) for p in best.parameters)
    yield from _item(f"nearest variants, {len(best.parameters) + 1} of them, lie within: {near}")
    if resolution.model_error is not None:
        errors = [f"objective {resolution.model_error:.3g}"]
        errors += [
            f"{found.limit.of} {found.model_error:.3g}" for found in best.limits if found.model_error is not None
        ]
        yield from _item(f"the models' last predictions were off by, root mean square: {', '.join(errors)}")
    if resolution.chance is not None:
        yield from _item(f"the objective's standard error: {resolution.chance:.3g}")
    if resolution.next_best is not None and resolution.next_difference is not None:
        yield from _item(f"the next best, variant {resolution.next_best}, is worse by {resolution.next_difference:.3g}")
    if resolution.alike > 1:
        spans = ", ".join(f"{p.name} {p.alike[0]:.4g} to {p.alike[1]:.4g}{_units(p)}" for p in best.parameters)
        yield from _item(f"{resolution.alike} variants are as good within these errors: {spans}")


def _spacing(p: FoundParameter) -> str:
    return f"{p.name} none" if p.spacing is None else f"{p.name} {p.spacing:.3g}{_units(p)}"


def _units(p: FoundParameter) -> str:
    return "" if p.units == "1" else f" {p.units}"


def _item(text: str) -> list[str]:
    return wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
