"""cases/README.md against the schema."""

from __future__ import annotations

import re
import typing
from pathlib import Path

import pytest
from pydantic import BaseModel

from swirlwright.solver import schema
from swirlwright.solver.quantities import Number

README = (Path(__file__).parents[2] / "cases" / "README.md").read_text()
TABLES = {
    "At the top": schema.Case,
    "`[chamber]`": schema.Chamber,
    "`[walls]`": schema.Walls,
    "`[exhaust]`": schema.Exhaust,
    "`[supply]`": schema.Supply,
    "`supply.fans`": schema.SupplyFan,
    "`[[tubes]]`": schema.Tubes,
    "`[[tubes.rows]]`": schema.HoleRow,
    "`[inlet]`": schema.Inlet,
    "`[fog]`": schema.Fog,
    "`[air]`": schema.AirTable,
    "`[model]`": schema.Model,
    "`[grid]`": schema.GridTable,
    "`[run]`": schema.Run,
    "`run.probes`": schema.Probe,
    "`run.lines`": schema.Line,
    "`[[events]]`": schema.Event,
    "Fan files": schema.FanFile,
}


def documented(heading: str) -> dict[str, list[str]]:
    """Rows of the table under a heading: key -> unit, default, allowed."""
    section = README.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in section.splitlines() if "|" in line]
    return {row[0].strip("`"): row[1:4] for row in rows if row[0].startswith("`")}


def number(annotation: object) -> Number | None:
    """The range inside an annotation, however deep."""
    for inner in (*getattr(annotation, "__metadata__", ()), *typing.get_args(annotation)):
        found = inner if isinstance(inner, Number) else number(inner)
        if found is not None:
            return found
    return None


@pytest.mark.parametrize("heading", TABLES)
def test_every_key_is_documented_as_it_is(heading: str) -> None:
    """Each key of the schema, and no other, stands in cases/README.md with its unit, default and range."""
    model: type[BaseModel] = TABLES[heading]
    hints = typing.get_type_hints(model, include_extras=True)
    rows = documented(heading)
    nested = {
        "chamber",
        "walls",
        "exhaust",
        "supply",
        "tubes",
        "inlet",
        "fog",
        "air",
        "model",
        "grid",
        "run",
        "events",
    }
    expected = set(model.model_fields) - (nested if model is schema.Case else set())
    assert set(rows) == expected
    for name in expected:
        field, (unit, default, allowed) = model.model_fields[name], rows[name]
        if (bounds := number(hints[name])) is not None:
            assert unit == bounds.unit, name
            limits = [float(text) for text in re.findall(r"[<>]=? ([-+.\de]+)", allowed)]
            assert limits == [x for x in (bounds.gt, bounds.ge, bounds.lt, bounds.le) if x is not None], name
        if field.is_required():
            assert default == "required", name
        elif isinstance(field.default, int | float):
            assert float(default) == field.default, name
        elif isinstance(field.default, str):
            assert default == field.default, name
