"""The words at the head of a sweep's chapter: what was found, and what limits it."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from typing import Any

from swirlwright.postproc.report_words import Mark
from swirlwright.postproc.sweeps.data import hysteresis
from swirlwright.postproc.sweeps.report_data import Sweep
from swirlwright.postproc.verdict import MARGINAL, NO, YES
from swirlwright.solver.result_reading import kept_case
from swirlwright.solver.schema import Case, FanFile


def facts(sweep: Sweep) -> str:
    """The study in one line."""
    sample = sweep.study.get("sample", {})
    kind = "full product"
    if sweep.is_sample:
        kind = f"{sample['method']} sample" if "method" in sample else "one by one"
        kind += f", seed {sample['seed']}" if "seed" in sample else ""
        if "round" in sweep.data:
            kind += f", {int(sweep.is_random.sum())} variants, then a search"
    base = _table(str(sweep.data.attrs.get("base_case_text", "")))
    parts = [f"{sweep.size} variants", kind, f"base case: {base.get('title', 'unknown')}"]
    grid, model = base.get("grid", {}), base.get("model", {})
    if "closure" in model:
        parts.append(f"closure {model['closure']}")
    fixed = sweep.study.get("fixed", {})
    grid = {**grid, **fixed.get("grid", {})} if isinstance(fixed.get("grid", {}), dict) else grid
    if {"cells_r", "cells_z"} <= grid.keys() and not _is_varied(sweep, "grid."):
        parts.append(f"{grid['cells_r']} x {grid['cells_z']} cells")
    return " · ".join([*parts, sweep.path.name])


def _is_varied(sweep: Sweep, prefix: str) -> bool:
    keys = ", ".join(str(sweep.data[name].attrs.get("long_name", "")) for name in sweep.parameters)
    return any(key.startswith(prefix) for key in keys.split(", "))


def sentence(sweep: Sweep) -> str:
    """In how many variants a column stands."""
    number = Counter(sweep.words("touchdown")[sweep.is_solved].tolist())
    lost = int((~sweep.is_solved).sum())
    text = f"A column stands on the floor in {number[YES]} of {sweep.size} variants, at times in {number[MARGINAL]}, "
    text += f"not in {number[NO]}."
    text += f" {_of(lost)} no answer." if lost else ""
    provisional = int((sweep.status == "not-converged").sum())
    return text + (f" Not converged, so provisional: {provisional} of these verdicts." if provisional else "")


def more(sweep: Sweep) -> str:
    """What was varied, and how the verdict was found."""
    names = []
    for name in sweep.parameters:
        shown = sweep.shown(name)
        levels = sweep.levels(name)
        if sweep.data[name].dtype.kind in "fiu":
            ends = f"{shown.factor * min(levels):.4g} to {shown.factor * max(levels):.4g} {shown.unit}".rstrip()
            number = f", {len(levels)} values" if len(levels) > 2 else ""
            names.append(f"{shown.words} ({ends}{number})")
        else:
            names.append(f"{shown.words} ({', '.join(levels)})")
    return (
        f"Varied: {'; '.join(names)}. Yes: a column stands more than 90 % of the time; marginal: 10 to 90 %; no: less. "
        "Grid error and spread of the model were not evaluated variant by variant."
    )


def tiles(sweep: Sweep) -> list[tuple[str, str]]:
    """The counts."""
    number = Counter(sweep.status.tolist())
    verdict = Counter(sweep.words("touchdown")[sweep.is_solved].tolist())
    found = [(str(verdict[word]), f"column on the floor: {word}") for word in (YES, MARGINAL, NO)]
    words = {"not-converged": "not converged", "failed": "failed", "refused": "refused"}
    others = [text for status, text in words.items() if number[status]]
    found.append((str(number["done"]), f"done, of {sweep.size}"))
    if others:
        found.append(
            (str(sweep.size - number["done"]), " or ".join(filter(None, [", ".join(others[:-1]), others[-1]])))
        )
    return found


def marks(sweep: Sweep) -> list[Mark]:
    """What limits the verdicts of the sweep."""
    number = Counter(sweep.status.tolist())
    found = []
    if count := number["not-converged"]:
        found.append(
            Mark("not converged", f"{_of(count)} measures of a run that did not converge: provisional.", is_alarm=True)
        )
    if count := number["failed"]:
        found.append(Mark("failed", f"{_of(count)} no answer: the reasons are in a table below.", is_alarm=True))
    if count := number["refused"]:
        found.append(Mark("refused", f"{_of(count)} no valid case: the reasons are in a table below."))
    if count := int(sweep.is_under_resolved.sum()):
        text = f"{_of(count)} fewer than 8 cells inside the core radius, or a core too narrow for the grid."
        found.append(Mark("under-resolved", text, is_alarm=True))
    for name, what in (
        ("axisymmetry doubtful", "a flow that a real chamber would not keep axisymmetric."),
        ("thick floor layer", "so thick a floor layer that a foot inside it says little."),
        ("draughts", "sides so open that a room's draught matters; the variants' cautions are in the CSV."),
        ("unequal tubes", "tubes that push the column off the axis."),
    ):
        if count := int((sweep.has_caution(name) & sweep.is_solved).sum()):
            found.append(Mark(name, f"{_of(count)} {what}"))
    if "cold_touchdown" in sweep.data:
        rerun = hysteresis(sweep.data)
        text = f"Variants rerun cold: {rerun.rerun}; of these {rerun.text()}."
        found.append(Mark("hysteresis", text, is_alarm=rerun.beyond_chance > 0))
    return found


def _of(count: int) -> str:
    return f"{count} variant has" if count == 1 else f"{count} variants have"


def base_case(sweep: Sweep) -> Case | None:
    """The base case; None if it is of a form that this release does not know."""
    return kept_case(sweep.data.attrs, "base_case_text")


def fans(sweep: Sweep) -> dict[str, FanFile]:
    """The base case's fan files; none if they are of a form that this release does not know."""
    try:
        texts = json.loads(sweep.data.attrs.get("fan_files_json") or "{}")
        return {name: FanFile.model_validate(tomllib.loads(text)) for name, text in texts.items()}
    except (ValueError, TypeError, AttributeError):
        return {}


def _table(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return {}
