"""What the measures of a sample hang on, as sections of the report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from swirlwright.postproc.sweeps import report_tables as tables
from swirlwright.postproc.sweeps.figures_effects import main_effects, sobol_bars
from swirlwright.postproc.sweeps.report_data import Sweep
from swirlwright.postproc.sweeps.report_design import Designed, by_design
from swirlwright.postproc.sweeps.report_indices import MOST_BINS, Estimate, Input, Surrogate, first_by_bins, surrogate
from swirlwright.postproc.sweeps.report_parts import Section, picture_of

MOST_EFFECTS = 5  # parameters whose main effects are drawn side by side
# A measure that fewer variants have than this share is there on a part of the ranges only, which no index is made for.
ENOUGH = 0.9


def effects_sections(sweep: Sweep, number: int, names: Sequence[str]) -> Iterator[Section]:
    """Main effects and Sobol indices of a sample."""
    inputs = inputs_of(sweep)
    finite = {name: np.isfinite(sweep.flat(name)) & sweep.is_random for name in names}
    varying = [name for name in names if finite[name].any() and np.ptp(sweep.flat(name)[finite[name]]) > 0]
    if not inputs or not varying:
        return
    by_bins: dict[str, list[Estimate | None]] = {}
    modelled: dict[str, Surrogate | Designed | None] = {}
    for name in varying:
        use, y = finite[name], sweep.flat(name)[finite[name]]
        by_bins[name] = [first_by_bins(given.kept(use), y) for given in inputs]
        is_whole = use.sum() >= ENOUGH * sweep.is_random.sum()
        if sweep.pairs is not None:
            do_all_vary = len(inputs) == len(sweep.parameters)
            modelled[name] = by_design(sweep.flat(name), sweep.pairs, sweep.chance(name)) if do_all_vary else None
        else:
            modelled[name] = surrogate([given.kept(use) for given in inputs], y) if is_whole else None
    strength = [
        sum(max(e.value, 0.0) for e in (by_bins[name][k] for name in varying) if e is not None)
        for k in range(len(inputs))
    ]
    strongest = sorted(sorted(range(len(inputs)), key=lambda k: -strength[k])[:MOST_EFFECTS])
    caption = (
        "Points: variants. Lines: means in equal parts of a parameter's range, with 95 % of confidence (Student's t); "
        "the other parameters vary."
    )
    if len(strongest) < len(inputs):
        caption += f" The {MOST_EFFECTS} strongest of {len(inputs)} parameters."
    pictures = [
        picture_of(main_effects(sweep, varying, [inputs[k] for k in strongest]), "effects", number, caption),
        picture_of(
            sobol_bars(sweep, [given.name for given in inputs], by_bins, modelled),
            "indices",
            number,
            _of_indices(sweep),
        ),
    ]
    yield Section(
        "What the measures hang on", "", pictures, [tables.indices(sweep, inputs, varying, finite, by_bins, modelled)]
    )


def _of_indices(sweep: Sweep) -> str:
    """What stands under the Sobol indices: how they were estimated."""
    if sweep.pairs is not None:
        text = (
            f"Sobol indices: first order by bins from the {2 * sweep.pairs} variants of the two samples; first order "
            f"and total from Saltelli's design of {sweep.pairs} pairs, where every variant has the measure "
            "(scipy.stats.sobol_indices). Bars of error: 95 %, by the jackknife and by the bootstrap. An index below "
            "zero is zero within its error. Chance adds its share of the variance to the total of every parameter; "
            "where the measure has a standard error, that share is told and taken off."
        )
        doubtful = int((sweep.status == "not-converged").sum())
        return text + (f" {doubtful} of the variants used are not converged." if doubtful else "")
    text = (
        "Sobol indices estimated from the variants as they are: first order by bins without a model, first order and "
        "total from a polynomial fitted to them, its degree chosen by leaving variants out; all as shares of the whole "
        "variance, chance included. Bars of error: 95 %, 1.96 standard errors by the jackknife. An index below zero is "
        "zero within its error. "
        f"No surrogate is used that predicts less than half of the variance, or where fewer than {100 * ENOUGH:.0f} % "
        "of the variants have the measure: there the bins too see a part of the ranges only."
    )
    doubtful = int(((sweep.status == "not-converged") & sweep.is_random).sum())
    text += f" {doubtful} of the variants used are not converged." if doubtful else ""
    chosen = int((~sweep.is_random).sum())
    if "round" in sweep.data and chosen:
        return f"{text} The {chosen} variants that the search chose are left out: they are not random."
    return text + (" The case as given is left out: it is no draw." if chosen else "")


def inputs_of(sweep: Sweep) -> list[Input]:
    """The parameters of a sample that vary, as places in their ranges or among their listed values.

    Where the data set has the quantiles of draws, these are the places: uniform, whatever the distribution.
    """
    found = []
    for name in sweep.parameters:
        values = sweep.flat(name)
        levels = sweep.levels(name)
        table = sweep.parameter_table(name)
        if len(set(values.tolist())) < 2:
            continue
        if (drawn := sweep.quantiles(name)) is not None:
            found.append(Input(name, drawn))
        elif values.dtype.kind not in "fiu":
            found.append(Input(name, np.array([levels.index(str(v)) for v in values], dtype=float), len(levels), False))
        elif "values" in table:
            ordered = np.sort(np.array(levels, dtype=float))
            place = np.argmin(np.abs(values[:, None] - ordered), axis=1)
            found.append(Input(name, place.astype(float), ordered.size))
        else:
            found.append(of_range(name, values, levels, table.get("spacing") == "log"))
    return found


def of_range(name: str, values: np.ndarray, ends: Sequence[float], is_log: bool) -> Input:
    """A parameter of a range; whole numbers, each as likely as the others, are listed values, if many the middles of
    their steps.
    """
    low, high = float(min(ends)), float(max(ends))
    if values.dtype.kind not in "iu":
        return Input(name, _in_range(values, low, high, is_log))
    number = round(high - low) + 1
    if number <= MOST_BINS and not is_log:
        return Input(name, values - low, number)
    begin, end = (_in_range(values + half, low - 0.5, high + 0.5, is_log) for half in (-0.5, 0.5))
    return Input(name, 0.5 * (begin + end))


def _in_range(values: np.ndarray, low: float, high: float, is_log: bool) -> np.ndarray:
    """Places of values between the ends of their range, 0 to 1."""
    if is_log and min(low, high) > 0:
        values, low, high = np.log(values), float(np.log(low)), float(np.log(high))
    return np.asarray(np.clip((values - low) / (high - low), 0.0, 1.0))


def strongest(sweep: Sweep, varied: Sequence[str]) -> list[str]:
    """The two parameters of a sample that the share of time hangs on most, by its random variants."""
    share = sweep.flat("touchdown_share")
    use = np.isfinite(share) & sweep.is_random
    found = {given.name: first_by_bins(given.kept(use), share[use]) for given in inputs_of(sweep)}
    strength = {name: estimate.value for name, estimate in found.items() if estimate is not None}
    return sorted(varied, key=lambda name: -strength.get(name, -1.0))[:2]
