"""The section of a sweep's chapter with the answer of the search that chose its variants."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from swirlwright.postproc.sweeps.report_data import Sweep
from swirlwright.postproc.sweeps.report_parts import Listing, Section


def answer_section(sweep: Sweep) -> Iterator[Section]:
    """What a search found, from attribute `answer_json` of its data set; nothing for another sweep."""
    if "answer_json" not in sweep.data.attrs:
        return
    answer = json.loads(sweep.data.attrs["answer_json"])
    listings = []
    if (best := answer["best"]) is not None:
        listings = [_parameters(sweep, best)]
        if best["limits"]:
            rows = [[limit["text"], limit["standing"]] for limit in best["limits"]]
            listings.append(Listing(["limit", "how it is kept"], rows, 2))
        lines = answer["resolution"]["lines"]
        listings.append(Listing(["how well it is resolved"], [[line] for line in lines]))
    if answer["cautions"]:
        listings.append(Listing(["cautions"], [[caution] for caution in answer["cautions"]]))
    yield Section("What the search found", _lead(sweep, answer), [], listings)


def _lead(sweep: Sweep, answer: Mapping[str, Any]) -> str:
    formula, best = sweep.data["objective"].attrs["long_name"], answer["best"]
    kept = f"{answer['feasible']} of {answer['variants']} variants keep every limit."
    ended = f"The search ended because {answer['end']}."
    if best is None:
        return f"Sought: the least {formula}. No variant keeps every limit: loosen one, or widen a range. {ended}"
    where = "of the sample" if best["round"] == 0 else f"of round {best['round']}"
    status = "" if best["is_converged"] else ", NOT CONVERGED"
    found = f"{best['objective']:.4g}, variant {best['variant']} {where}{status}"
    return f"Least {formula} with every limit kept: {found}. {kept} {ended}"


def _parameters(sweep: Sweep, best: Mapping[str, Any]) -> Listing:
    """Parameters of the best variant, their ranges, and what may be as good."""
    rows = []
    for p in best["parameters"]:
        shown = sweep.shown(p["name"])
        value, low, high, least, most = (
            f"{shown.factor * x:.4g}" for x in (p["value"], p["lower"], p["upper"], *p["alike"])
        )
        end = f", at its {p['at_end']} end" if p["at_end"] else ""
        rows.append([shown.label, value, f"{low} to {high}{end}", least if least == most else f"{least} to {most}"])
    return Listing(["best variant", "value", "range", "may be as good"], rows)
