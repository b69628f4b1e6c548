"""Budgets of whole runs, from the face fluxes in the result file and nothing else of the solver."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory

import h5py
import numpy as np

from swirlwright.solver.casefile import parse_case
from swirlwright.solver.grid import Array
from swirlwright.solver.solve import solve
from swirlwright.verification.checks import Check, Configuration, Findings, Picture, Series

GROUP = "budgets"
MASS = "conservation of mass"
MOMENT = "conservation of angular momentum: torque of the jets is the sum of m U d over the holes"

# Jets from four tubes, half of the sides open, a fan in the roof; so viscous that the flow is steady.
CHAMBER = """
title = "chamber for its budgets"
[chamber]
footprint = "square"
width = 0.4
height = 0.6
open_sides = ["front", "left"]
[exhaust]
diameter = 0.12
flow = 0.014
[supply]
pressure = 40.0
[[tubes]]
count = 4
place_radius = 0.24
first_angle = 45
inner_diameter = 0.02
wall_thickness = 0.001
feed = "below"
[[tubes.rows]]
hole_diameter = 0.004
lowest = 0.03
pitch = 0.06
count = 9
aim = 55
discharge_coefficient = 0.62
discharge_source = "sharp-edged hole, common practice"
[model]
closure = "constant"
viscosity_ratio = 400
[grid]
cells_r = 32
cells_z = 48
[run]
max_iterations = 100
"""

DRUM = """
title = "drum with a turning floor"
[chamber]
footprint = "round"
width = 2.0
height = 1.5
[walls]
floor_rotation = 1.0
[air]
density = 1.0
kinematic_viscosity = 0.005
[model]
closure = "laminar"
[grid]
cells_r = 32
cells_z = 48
"""


def solved(text: str) -> dict[str, Array]:
    """The fluxes and fields of a steady run, as its file holds them."""
    with TemporaryDirectory() as folder:
        result = solve(parse_case(text, Path(folder) / "case.toml"), Path(folder) / "run.h5")
        if result.outcome.label != "steady":
            raise ArithmeticError(f"no steady flow: {result.text}")
        with h5py.File(result.path) as file:
            found = {name: np.asarray(file[name]) for name in file if isinstance(file[name], h5py.Dataset)}
            return found | {"torque_lost": np.asarray(file.attrs["torque_lost"])}


def outward(file: dict[str, Array], name: str) -> dict[str, float]:
    """What of a flux (all its parts) leaves through floor, roof and side."""
    endings = [ending for ending in ("", "_advective", "_viscous") if f"{name}_flux_r{ending}" in file]
    radial = np.sum([file[f"{name}_flux_r{ending}"] for ending in endings], axis=0)
    axial = np.sum([file[f"{name}_flux_z{ending}"] for ending in endings], axis=0)
    return {"floor": -float(axial[0].sum()), "roof": float(axial[-1].sum()), "side": float(radial[:, -1].sum())}


def chamber() -> Findings:
    """Everything that the jets bring into a chamber leaves it."""
    file = solved(CHAMBER)
    # By hand from the case: corner tubes 0.24 m from the axis, 55 degrees inward of the tangent there.
    torque = float((file["hole_mass_flow"] * file["hole_speed"]).sum()) * 0.24 * np.cos(np.deg2rad(55.0))
    air = float(file["hole_mass_flow"].sum())
    mass, moment = outward(file, "mass"), outward(file, "angular_momentum")
    exhaust = mass["roof"]
    # What the jets carry out through the open sides before the air has taken it is told apart.
    taken = sum(moment.values()) + float(file["torque_lost"])
    spread = file["z"]
    by_height = file["angular_momentum_flux_z_advective"].sum(axis=1) + file["angular_momentum_flux_z_viscous"].sum(1)
    checks = (
        Check("air out less air in, over the exhaust's", (sum(mass.values()) - air) / exhaust, 0.0, 1e-10, MASS,
              "analytic", "round-off of the projection"),
        Check("torque taken by walls and openings over the jets'", taken / torque, 1.0, 1e-6, MOMENT,
              "analytic", "the steady solver's tolerance"),
        Check("air through the exhaust over that of the case", exhaust / (0.014 * 1.204), 1.0, 2e-3, MASS, "analytic",
              "density of air at 20 degrees C and sea level, to four digits"),
    )  # fmt: skip
    picture = Picture(
        "height z, m", "angular momentum upward, N m", (Series("computed", file["z_face"], by_height),),
        (Series("all that the jets bring", spread[::6], np.full(spread[::6].size, torque)),),
    )  # fmt: skip
    return Findings(checks, picture)


def drum() -> Findings:
    """The torque of a turning floor is that on the walls at rest, and reaches them through the air."""
    file = solved(DRUM)
    moment = outward(file, "angular_momentum")
    by_height = file["angular_momentum_flux_z_advective"].sum(axis=1) + file["angular_momentum_flux_z_viscous"].sum(1)
    checks = (
        Check("torque on the walls over that of the floor", -(moment["roof"] + moment["side"]) / moment["floor"], 1.0,
              1e-6, MOMENT, "analytic", "the steady solver's tolerance"),
        Check("largest air flux through any wall", max(abs(x) for x in outward(file, "mass").values()), 0.0, 1e-14,
              MASS, "analytic", "round-off"),
    )  # fmt: skip
    picture = Picture("height z/R", "angular momentum upward", (Series("computed", file["z_face"], by_height),))
    return Findings(checks, picture)


CONFIGURATIONS = (
    Configuration("chamber-budgets", GROUP, "a chamber with jets: what comes in goes out", chamber, 8.0),
    Configuration("drum-budgets", GROUP, "a drum with a turning floor: torque in is torque out", drum, 4.0),
)
