"""What builders of small chambers hold to be true, as directions and verdicts of whole runs on coarse grids.

A chamber of our own rounded dimensions. The facts have no printed source; where the model disagrees, the note says
which assumption seems to be responsible.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from swirlwright.postproc.measures import Measures, measure_data
from swirlwright.solver.casefile import parse_case, vary
from swirlwright.solver.grid import Array
from swirlwright.solver.network import AirNetwork, solve_network
from swirlwright.solver.results import load_result
from swirlwright.solver.schema import Case
from swirlwright.solver.solve import solve
from swirlwright.verification.checks import Check, Configuration, Findings, Picture, Series, band

GROUP = "common practice"
SOURCE = "common practice, no source"
DIRECTION = "only the direction is known"
# A window of 8 s: a run's share of time is off by chance by a tenth or more (2 to 5 points in 90 s).
CHANCE = 0.1

# Invented curves, usual for axial fans of these sizes (40 to 80 m3/h, 20 to 60 Pa at 80 mm; from memory).
FAN = """
title = "{title}"
speed_rpm = 3000
diameter = {diameter}
flow = {flow}
pressure = {pressure}
"""
BASE = ([0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 34.0], [58, 54, 48, 40, 33, 24, 12, 0])  # m3/h, Pa
ROOF = ([0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0], [36, 31, 27, 24, 19, 11, 0])
# The core's cells must be fine even here: at twice this spacing no column stands.
CHAMBER = """
title = "small chamber"
[chamber]
footprint = "square"
width = 0.36
height = 0.6
open_sides = ["front", "left"]
[exhaust]
diameter = 0.08
guard_loss = 0.3
fan = "roof.toml"
[supply]
fans = [{ file = "base.toml", count = 2 }]
[[tubes]]
count = 4
place_radius = 0.233
first_angle = 45
inner_diameter = 0.019
wall_thickness = 0.001
[[tubes.rows]]
hole_diameter = 0.005
lowest = 0.025
pitch = 0.1
count = 6
aim = 50
discharge_coefficient = 0.62
discharge_source = "sharp-edged hole, 0.60 to 0.65, common practice"
[fog]
radius = 0.02
flow = 2e-5
[grid]
cells_r = 24
cells_z = 36
core_spacing = 0.0018
[run]
max_iterations = 1
spin_up = 4
average = 8
"""
ROW = "tubes.1.rows.1."
# All lengths doubled.
DOUBLED = {
    "chamber.width": 0.72, "chamber.height": 1.2, "tubes.1.place_radius": 0.466, "tubes.1.inner_diameter": 0.038,
    "tubes.1.wall_thickness": 0.002, ROW + "hole_diameter": 0.01, ROW + "lowest": 0.05, ROW + "pitch": 0.2,
    "exhaust.diameter": 0.16, "fog.radius": 0.04,
}  # fmt: skip


@dataclass(frozen=True)
class Run:
    """A solved chamber: its measures, and the mean v at mid-height."""

    measures: Measures
    r: Array
    v: Array

    @property
    def standing(self) -> float:
        """Share of time in which a column stands on the floor."""
        return self.measures.verdict.share_standing

    def mean(self, name: str) -> float:
        """Mean of a measure over the window; nan where it never exists."""
        value = self.measures.over_time[name].mean
        return float("nan") if value is None else value

    def scatter(self, name: str) -> float:
        """Standard deviation of a measure over its mean."""
        return (self.measures.over_time[name].spread or 0.0) / self.mean(name)


def chamber(folder: Path, changes: Mapping[str, Any]) -> Case:
    """The chamber with some keys changed; its fans move "fans.times" as much at the same pressures."""
    rest = dict(changes)
    times = rest.pop("fans.times", 1.0)
    for name, size, (flow, pressure) in (("base", 0.06, BASE), ("roof", 0.08, ROOF)):
        flows = [q * times / 3600.0 for q in flow]
        text = FAN.format(title=name, diameter=size * times**0.5, flow=flows, pressure=pressure)
        (folder / f"{name}.toml").write_text(text)
    return vary(parse_case(CHAMBER, folder / "chamber.toml"), rest)


def network(changes: Mapping[str, Any]) -> AirNetwork:
    """The air network of the changed chamber."""
    with TemporaryDirectory() as folder:
        return solve_network(chamber(Path(folder), changes))


def run(changes: Mapping[str, Any]) -> Run:
    """Solve and measure the changed chamber."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "run.h5"
        solve(chamber(Path(folder), changes), path)
        data = load_result(path)
        middle = data.z.size // 2
        return Run(measure_data(data), data.r, data.mean["tangential_velocity"][middle])


def fact(quantity: str, computed: float, low: float, high: float, why: str, note: str = "") -> Check:
    """A check of a fact of the trade."""
    return replace(band(quantity, computed, low, high, source=SOURCE, kind="common practice", why=why), note=note)


def picture(**runs: Run) -> Picture:
    """The mean v at mid-height of some runs."""
    curves = tuple(Series(name.replace("_", " "), run.r, run.v) for name, run in runs.items())
    return Picture("r, m", "mean v at mid-height, m/s", curves)


def heights(*holes: float) -> dict[str, Any]:
    """The change to holes at these heights [m]."""
    return {ROW + "heights": list(holes), ROW + "lowest": None, ROW + "pitch": None, ROW + "count": None}


COARSE = (
    "the core is 5 to 15 mm in radius, too thin for so coarse a grid: single runs on 30 x 44 and 36 x 54 cells stood "
    "for 65 to 80 per cent of the time, with cells twice as wide in the core hardly ever"
)
MOSTLY = "half of the time, less the chance of a short window"


def it_works() -> Findings:
    """The chamber as it is, over a longer window; what one supply fan in place of two delivers."""
    two = run({"run.spin_up": 6.0, "run.average": 20.0})
    one_fan, two_fans = (network({"supply.fans": [{"file": "base.toml", "count": n}]}) for n in (1, 2))
    foot = two.measures.field.core_foot_height
    checks = (
        fact("share of time a column stands", two.standing, 0.5 - CHANCE, 1.0, MOSTLY, COARSE),
        fact("foot of the mean core over the height", 1.0 if foot is None else foot / 0.6, 0.0, 0.03,
             "on the floor: the lowest 3 per cent", COARSE),
        fact("jet speed, one supply fan over two", float(one_fan.jets.speed.mean() / two_fans.jets.speed.mean()),
             0.8, 1.0, "one is probably enough: the second adds less than a quarter"),
        fact("torque, one supply fan over two", one_fan.torque / two_fans.torque, 0.64, 1.0,
             "the square of the jets' speed"),
    )  # fmt: skip
    return Findings(checks, picture(as_it_is=two))


def other_heights() -> Findings:
    """A sixth taller and a sixth shorter, a row of holes more or less."""
    tall = run({"chamber.height": 0.7, ROW + "count": 7})
    short = run({"chamber.height": 0.5, ROW + "count": 5})
    checks = (
        fact("share of time a column stands, 0.7 m", tall.standing, 0.5 - CHANCE, 1.0, MOSTLY, COARSE),
        fact("share of time a column stands, 0.5 m", short.standing, 0.5 - CHANCE, 1.0, MOSTLY, COARSE),
    )
    return Findings(checks, picture(tall=tall, short=short))


def lowest_jets() -> Findings:
    """Without the lowest row of holes, and without the highest."""
    low = run(heights(0.125, 0.225, 0.325, 0.425, 0.525))
    high = run(heights(0.025, 0.125, 0.225, 0.325, 0.425))
    deficit = "core_pressure_deficit_floor"
    note = (
        "the sides stay open above what is then the highest row, and still air of the room goes straight over it into "
        "the exhaust; with the sides closed above 0.475 m the chamber without its highest row kept a deficit of 2.2 Pa "
        "in place of 0.1 and stood for a quarter of the time, so that the open side near the exhaust decides"
    )
    checks = (
        fact("standing, without the highest less without the lowest", high.standing - low.standing, 0.01, 1.0,
             DIRECTION, note),
        fact("deficit at the floor, no lowest over no highest row", low.mean(deficit) / high.mean(deficit), 0.0, 1.0,
             DIRECTION, note),
    )  # fmt: skip
    return Findings(checks, picture(no_lowest=low, no_highest=high))


def fog_spreader() -> Findings:
    """Fog at 2 m/s from a bare tube of 16 mm, and as much from a spreader of 120 mm."""
    fog = {"fog.radius": 0.008, "fog.flow": 4e-4}
    bare, spread = run(fog), run({**fog, "fog.diffuser_radius": 0.06})
    note = (
        "an axisymmetric jet on the axis neither wanders nor breaks up, and the damped mixing length keeps it laminar, "
        "so that it only adds to the rise in the core; the weight of fog is in the equations, a jet off the axis is not"
    )
    checks = (
        fact("standing, spreader less bare tube", spread.standing - bare.standing, 0.01, 1.0, DIRECTION, note),
        fact("scatter of the core radius, spreader over bare tube", spread.scatter("core_radius")
             / bare.scatter("core_radius"), 0.0, 1.0, DIRECTION, note),
    )  # fmt: skip
    return Findings(checks, picture(bare_tube=bare, spreader=spread))


def larger_chamber() -> Findings:
    """All lengths doubled: with the same fans, and with fans that move four times as much at the same pressure."""

    def drive(flow_factor: float) -> tuple[float, float]:
        """Jets' torque per volume, and exhaust flow per floor area, over those of the small chamber."""
        found = network({**DOUBLED, "fans.times": flow_factor})
        return found.torque / small.torque / 2.0**3, found.exhaust_flow / small.exhaust_flow / 2.0**2

    small = network({})
    same, more = drive(1.0), drive(4.0)
    why_same = "the same speeds in a chamber of twice the size: friction in the tubes alone differs"
    checks = (
        fact("torque per volume, same fans over small chamber", same[0], 0.0, 0.9, DIRECTION),
        fact("exhaust flow per floor area, same fans over small", same[1], 0.0, 0.9, DIRECTION),
        fact("torque per volume, four times the flow over small", more[0], 0.95, 1.05, why_same),
        fact("exhaust flow per floor area, four times over small", more[1], 0.95, 1.05, why_same),
    )
    factors = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
    pairs = np.array([drive(float(factor)) for factor in factors])
    curves = (Series("torque per volume", factors, pairs[:, 0]), Series("exhaust per area", factors, pairs[:, 1]))
    like_small = Series("small chamber", factors, np.ones(factors.size))
    return Findings(checks, Picture("flow of the fans over that of the small chamber's", "over the small chamber's",
                                    curves, (like_small,)))  # fmt: skip


CONFIGURATIONS = (
    Configuration("it-works", GROUP, "a small chamber of usual proportions; one supply fan", it_works, 80.0),
    Configuration("other-heights", GROUP, "somewhat taller, somewhat shorter", other_heights, 60.0),
    Configuration("lowest-jets", GROUP, "without the lowest or the highest jets", lowest_jets, 15.0),
    Configuration("fog-spreader", GROUP, "fog from a bare tube or a spreader", fog_spreader, 35.0),
    Configuration("larger-chamber", GROUP, "twice the size, with the same fans and larger ones", larger_chamber, 0.5),
)
