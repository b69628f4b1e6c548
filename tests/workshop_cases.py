"""Cases for the workshop's tests: two kinds of tube, rows of different aims, one kind fed from above."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from swirlwright.solver.casefile import parse_case, read_case, vary
from swirlwright.solver.schema import Case

CASES = Path(__file__).parents[1] / "cases"
MIXED = """
title = "A chamber of $two$ kinds of tube"
[chamber]
footprint = "round"
width = 1.6
height = 1.1
open_fraction = 0.4
open_from = 0.1
open_to = 1.0
[exhaust]
diameter = 0.3
hub_diameter = 0.1
flow = 0.1
[supply]
flow = 0.03
[[tubes]]
count = 3
place_radius = 0.6
first_angle = 10
inner_diameter = 0.1
wall_thickness = 0.005
feed = "above"
[[tubes.rows]]
hole_diameter = 0.008
lowest = 0.05
pitch = 0.012
count = 40
aim = 0
discharge_coefficient = 0.62
discharge_source = "made up"
[[tubes.rows]]
hole_diameter = 0.012
heights = [0.9, 0.2, 0.6]
aim = 130
discharge_coefficient = 0.62
discharge_source = "made up"
[[tubes]]
positions = [[0.3, -0.4]]
inner_diameter = 0.03
wall_thickness = 0.002
[[tubes.rows]]
hole_diameter = 0.004
heights = [0.3]
aim = 90
discharge_coefficient = 0.62
discharge_source = "made up"
[fog]
radius = 0.05
flow = 1e-4
diffuser_radius = 0.08
"""


def mixed(changes: dict[str, Any] | None = None) -> Case:
    """The chamber above with some keys changed."""
    case = parse_case(MIXED, Path("mixed.toml"))
    return vary(case, changes) if changes else case


def shipped(name: str, changes: dict[str, Any] | None = None) -> Case:
    """A shipped case with some keys changed."""
    case = read_case(CASES / f"{name}.toml")
    return vary(case, changes) if changes else case
