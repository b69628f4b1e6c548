"""The tables of a sweep's chapter: counts, variants, what failed and why, every measure, indices, hysteresis."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from swirlwright.postproc.measure_table import OVER_TIME
from swirlwright.postproc.sweeps.data import CHANCE, differs_cold
from swirlwright.postproc.sweeps.figures_effects import CONFIDENCE
from swirlwright.postproc.sweeps.report_data import Sweep
from swirlwright.postproc.sweeps.report_design import Designed
from swirlwright.postproc.sweeps.report_indices import Estimate, Input, Surrogate
from swirlwright.postproc.sweeps.report_parts import Listing, Section
from swirlwright.postproc.verdict import MARGINAL, NO, YES

MOST_ROWS = 200  # the CSV in the page has all
MOST_COLUMNS = 5  # parameters in the table of variants that A4 has room for


def counts(sweep: Sweep) -> list[Listing]:
    """Variants by how they ended and by verdict; by regime."""
    verdict = sweep.words("touchdown")
    words = {"done": "done", "not-converged": "not converged", "failed": "failed", "refused": "refused"}
    rows = []
    for status, text in words.items():
        at = sweep.status == status
        if at.any():
            rows.append(
                [text, *(str(int((at & (verdict == word)).sum())) for word in (YES, MARGINAL, NO)), str(at.sum())]
            )
    total = [str(int((verdict == word).sum())) for word in (YES, MARGINAL, NO)]
    rows.append(["all", *total, str(sweep.size)])
    found = [Listing(["variants", "yes", "marginal", "no", "in all"], rows)]
    if "regime" in sweep.data and any(sweep.words("regime")):
        regimes = Counter(word for word in sweep.words("regime").tolist() if word)
        found.append(Listing(["regime of the mean field", "variants"], [[k, str(n)] for k, n in regimes.most_common()]))
    return found


def sections(sweep: Sweep, measures: Sequence[str]) -> Iterator[Section]:
    """What failed, the variants, every measure, the parameters."""
    lost = np.flatnonzero(sweep.status != "done")
    if lost.size:
        yield Section("Variants without a sound answer", "", [], [_lost(sweep, lost)])
    yield Section("The variants", "", [], [_variants(sweep, measures)])
    yield Section("Every measure", "", [], [_measures(sweep)])
    yield Section("Parameters", "", [], [_parameters(sweep)])


def _values(sweep: Sweep, names: Sequence[str]) -> list[list[str]]:
    """Columns as text, (len(names), n)."""
    found = []
    for name in names:
        values, shown = sweep.flat(name), sweep.shown(name)
        is_number = values.dtype.kind in "fiu"
        found.append(
            [_number(shown.factor * float(v)) if is_number else ("–" if str(v) == "" else str(v)) for v in values]
        )
    return found


def _number(value: float) -> str:
    return f"{value:.4g}" if np.isfinite(value) else "–"


def _lost(sweep: Sweep, lost: np.ndarray) -> Listing:
    names = sweep.parameters[:MOST_COLUMNS]
    columns = _values(sweep, names)
    reasons = sweep.words("reason")
    numbers = sweep.flat("variant") if "variant" in sweep.data else np.arange(sweep.size)
    rows = [
        [str(numbers[k]), sweep.status[k].replace("-", " "), reasons[k] or "–", *(column[k] for column in columns)]
        for k in lost[:MOST_ROWS]
    ]
    note = f"The first {MOST_ROWS} of {lost.size}; all are in the CSV below." if lost.size > MOST_ROWS else ""
    return Listing(
        ["variant", "status", "reason", *(sweep.shown(name).label for name in names)], rows, len(names) + 3, note
    )


def _variants(sweep: Sweep, measures: Sequence[str]) -> Listing:
    names, drawn = sweep.parameters[:MOST_COLUMNS], measures[: max(2, 7 - min(len(sweep.parameters), MOST_COLUMNS))]
    columns = _values(sweep, names)
    numbers = sweep.flat("variant") if "variant" in sweep.data else np.arange(sweep.size)
    words = sweep.words("touchdown")
    beside = _values(sweep, drawn)
    rows = [
        [
            str(numbers[k]), *(column[k] for column in columns), words[k] or "–", _ended(sweep, k),
            *(column[k] for column in beside),
        ]
        for k in range(min(sweep.size, MOST_ROWS))
    ]  # fmt: skip
    notes = [f"The first {MOST_ROWS} of {sweep.size} variants." if sweep.size > MOST_ROWS else ""]
    notes.append(f"{len(names)} of {len(sweep.parameters)} parameters." if len(names) < len(sweep.parameters) else "")
    notes.append("All variants with every measure are in the CSV below.")
    heads = ["variant", *(sweep.shown(name).label for name in names), "on the floor", "marks"]
    return Listing(
        [*heads, *(sweep.shown(name).label for name in drawn)], rows, len(heads), " ".join(filter(None, notes))
    )


def _ended(sweep: Sweep, k: int) -> str:
    """The marks of a variant."""
    found = [] if sweep.status[k] == "done" else [sweep.status[k].replace("-", " ")]
    return ", ".join([*found, *(["under-resolved"] if sweep.is_under_resolved[k] else [])]) or "–"


def _measures(sweep: Sweep) -> Listing:
    """Every measure: smallest, middle and largest over the variants; those over time are in the CSV."""
    rows, without = [], []
    for name in sweep.measures:
        if name.startswith("cold_") or any(name.endswith(f"_{end}") for end in OVER_TIME):
            continue
        shown, values = sweep.shown(name), sweep.flat(name)
        values = shown.factor * values[np.isfinite(values)]
        if values.size:
            three = (_number(f(values)) for f in (np.min, np.median, np.max))
            rows.append([name, shown.words, shown.unit, str(values.size), *three])
        else:
            without.append(name)
    note = (
        "Over the variants that have the measure. The CSV below has them variant by variant, most also as mean, "
        "deviation, share and standard error over time. Definitions and their sources are in postproc/README.md."
    )
    note += f" No variant has {', '.join(without)}." if without else ""
    return Listing(["name", "measure", "unit", "variants", "smallest", "median", "largest"], rows, 3, note)


def _parameters(sweep: Sweep) -> Listing:
    rows = []
    for name in sweep.parameters:
        column, shown = sweep.data[name], sweep.shown(name)
        if column.dtype.kind in "fiu":
            between = " to " if sweep.is_sample and "values" not in sweep.parameter_table(name) else ", "
            text = between.join(_number(shown.factor * float(v)) for v in sweep.levels(name))
        else:
            text = ", ".join(sweep.levels(name))
        rows.append([name, str(column.attrs.get("long_name", "")).replace(".", ".\u200b"), text, shown.unit])
    return Listing(["parameter", "keys of the case", "values", "unit"], rows, 4)


def indices(
    sweep: Sweep,
    inputs: Sequence[Input],
    measures: Sequence[str],
    finite: Mapping[str, np.ndarray],
    by_bins: Mapping[str, Sequence[Estimate | None]],
    modelled: Mapping[str, Surrogate | Designed | None],
) -> Listing:
    """Sobol indices with half their 95 per cent interval, and what the surrogate is worth."""
    rows, source = [], "surrogate" if sweep.pairs is None else "design"
    for name in measures:
        model = modelled[name]
        is_telling = model is not None and model.is_telling
        for k, given in enumerate(inputs):
            first = (model.first[k], model.total[k]) if model is not None and is_telling else (None, None)
            head = [sweep.shown(name).words if k == 0 else "", sweep.shown(given.name).words]
            predicts = _number(model.explained) if isinstance(model, Surrogate) else "–"
            estimates = [_estimate(e) for e in (by_bins[name][k], *first)]
            rows.append([*head, *estimates, predicts, str(int(finite[name].sum()))])
    heads = [
        "measure",
        "parameter",
        "first order, bins",
        f"first order, {source}",
        f"total, {source}",
        "predicts",
        "variants",
    ]
    return Listing(heads, rows, 2, "± half of the 95 % interval. Predicts: share of the variance of variants left out.")


def _estimate(estimate: Estimate | None) -> str:
    # Adding nought turns -0.0 into 0.0.
    return "–" if estimate is None else f"{round(estimate.value, 2) + 0.0:.2f} ± {CONFIDENCE * estimate.error:.2f}"


def hysteresis_section(sweep: Sweep) -> Iterator[Section]:
    """Variants rerun cold beside their runs from a neighbour; nothing where the study asked for none."""
    if "cold_touchdown" not in sweep.data:
        return
    cold, warm = sweep.words("cold_touchdown"), sweep.words("touchdown")
    names = sweep.parameters[:MOST_COLUMNS]
    columns = _values(sweep, names)
    pairs = [name for name in ("touchdown_share", CHANCE, "core_radius") if f"cold_{name}" in sweep.data]
    values = _values(sweep, [column for name in pairs for column in (name, f"cold_{name}")])
    beyond = differs_cold(sweep.data).ravel()
    rows = [
        [*(column[k] for column in columns), warm[k] or "–", cold[k], "yes" if beyond[k] else "no",
         _ended(sweep, k), *(column[k] for column in values)]
        for k in np.flatnonzero(cold != "").tolist()
    ]  # fmt: skip
    heads = [*(sweep.shown(name).label for name in names), "from a neighbour", "cold", "beyond chance", "marks"]
    short = {"touchdown_share": "share of time (%)", CHANCE: "± (%)", "core_radius": "core radius"}
    heads += [text for name in pairs for text in (_head(sweep, name, short[name]), "cold")]
    lead = (
        "A variant started from its neighbour's field may keep a state that a start from rest would not reach. These "
        "were rerun from rest. Beyond chance: the shares of time differ by more than twice the combined standard "
        "error (±)."
    )
    yield Section("From a neighbour and from rest", lead, [], [Listing(heads, rows, len(names) + 4)])


def _head(sweep: Sweep, name: str, words: str) -> str:
    unit = sweep.shown(name).unit
    return words if "(" in words or not unit else f"{words} ({unit})"
