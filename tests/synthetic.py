"""Result files made by formula, not by the solver, so that readers can be tested without a flow solution.

The flow is a Burgers-like column in the table-top chamber: the axial mass flux and the swirl are prescribed,
and the radial mass flux and viscous torque follow from the cell budgets, which therefore close to round-off.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from swirlwright.solver.network import network_json, solve_network
from swirlwright.solver.result_layout import BUDGET, FRAMES
from swirlwright.solver.results import ResultWriter
from swirlwright.solver.schema import Case

CHAMBER = """\
title = "{title}"

[chamber]
footprint = "square"
width = 0.36
height = 0.60
open_sides = ["front", "left"]

[exhaust]
diameter = 0.08
hub_diameter = 0.03
flow = 0.02

[supply]
pressure = 30.0

[[tubes]]
count = 4
place_radius = 0.21
first_angle = 45
inner_diameter = 0.019
wall_thickness = 0.001
feed = "below"

  [[tubes.rows]]
  hole_diameter = 0.005
  lowest = 0.03
  pitch = 0.1
  count = 6
  aim = 45
  discharge_coefficient = 0.62
  discharge_source = "sharp-edged hole, common practice"

[fog]
radius = 0.02
flow = 2e-5
"""

CLOSED = """\
title = "{title}"

[chamber]
footprint = "round"
width = 0.2
height = 0.15

[walls]
floor_rotation = 10.0
"""

OUTCOME_TEXT = {
    "steady": "A steady state was found; its stability was tested.",
    "time-averaged": "No steady state is stable here; the numbers are averages over the window.",
    "not-converged": "Still changing when the iterations ran out; raise run.max_iterations.",
    "transient": "The run reached its end time.",
}


@dataclass
class Column:
    """What the synthetic flow is made of (SI)."""

    radius: float = 0.36 / np.sqrt(np.pi)
    height: float = 0.60
    exhaust_radius: float = 0.04
    exhaust_flow: float = 0.02
    circulation: float = 0.35
    core_radius: float = 0.014
    foot: float = 0.0
    density: float = 1.204
    viscosity: float = 1.506e-5
    n_r: int = 48
    n_z: int = 60


def stretched_faces(n: int, length: float, ratio: float) -> np.ndarray:
    """Faces of `n` cells on 0..length [m], the first narrower than the last by `ratio`."""
    s = np.linspace(0.0, 1.0, n + 1)
    return length * s * (1.0 + (ratio - 1.0) * s / 2.0) / (1.0 + (ratio - 1.0) / 2.0)


def holes(column: Column) -> dict[str, np.ndarray]:
    """Four corner tubes with six holes each, all firing along a wall: beta is 45 degrees."""
    tube, row = np.repeat(np.arange(4), 6), np.zeros(24, dtype=int)
    full = np.ones(24)
    speed, diameter, radius, aim = 6.5 * full, 0.005 * full, 0.21 * full, np.pi / 4 * full
    return {
        "hole_tube": tube,
        "hole_row": row,
        "hole_height": np.tile(0.03 + 0.1 * np.arange(6), 4),
        "hole_radius": radius,
        "hole_aim": aim,
        "hole_elevation": 0.0 * full,
        "hole_diameter": diameter,
        "hole_speed": speed,
        "hole_mass_flow": 0.62 * column.density * speed * np.pi / 4 * diameter**2,
        "hole_moment_arm": radius * np.cos(aim),
    }


def tubes() -> dict[str, np.ndarray]:
    """The same four tubes as plan positions [m] and flows [m3/s]."""
    angle = np.pi / 4 + np.pi / 2 * np.arange(4)
    return {
        "x": 0.21 * np.cos(angle),
        "y": 0.21 * np.sin(angle),
        "flow": np.full(4, 6 * 0.62 * 6.5 * np.pi / 4 * 0.005**2),
        "inner_diameter": np.full(4, 0.019),
        "outer_diameter": np.full(4, 0.021),
    }


def flow_fields(column: Column, *, with_jets: bool) -> dict[str, np.ndarray]:
    """Fields and budget terms of the column, shapes as in the result file without the time dimension."""
    c = column
    rf, zf = stretched_faces(c.n_r, c.radius, 4.0), stretched_faces(c.n_z, c.height, 1.5)
    r, z = (rf[1:] + rf[:-1]) / 2, (zf[1:] + zf[:-1]) / 2
    volume = np.pi * np.diff(rf**2)[None, :] * np.diff(zf)[:, None]
    jet = holes(c) if with_jets else None

    curtain = np.exp(-(((r - 0.155) / 0.016) ** 2))[None, :] * np.ones((c.n_z, 1)) * (1.0 if with_jets else 0.0)
    mass_in = float(jet["hole_mass_flow"].sum()) if jet else 0.0
    torque = float((jet["hole_mass_flow"] * jet["hole_speed"] * jet["hole_moment_arm"]).sum()) if jet else 0.0
    weight = curtain / max((curtain * volume).sum(), 1e-300)
    mass_source, torque_source = mass_in * weight, torque * weight

    width = c.exhaust_radius * (1.8 - 0.9 * (zf / c.height))[:, None]
    share = (1 - np.exp(-((rf / width) ** 2))) / (1 - np.exp(-((c.radius / width) ** 2)))
    # A hump that vanishes at floor and ceiling circulates in a closed chamber; a ramp feeds the exhaust.
    if c.exhaust_flow > 0:
        psi = c.density * c.exhaust_flow * (zf / c.height)[:, None] * share
    else:
        psi = (
            c.density
            * 2e-4
            * np.sin(np.pi * zf / c.height)[:, None]
            * (rf / c.radius)[None, :] ** 2
            * (1 - (rf / c.radius)[None, :] ** 2)
        )
    mass_z = np.diff(psi, axis=1)
    mass_r = np.zeros((c.n_z, c.n_r + 1))
    mass_r[:, 1:] = np.cumsum(mass_source * volume - np.diff(mass_z, axis=0), axis=1)

    core = c.core_radius * (1.6 - 0.6 * z / c.height)[:, None]
    layer = 1 - np.exp(-np.clip(z - c.foot, 0, None) / 0.012)[:, None]
    v = c.circulation / (2 * np.pi * r) * (1 - np.exp(-1.25643 * (r / core) ** 2)) * layer
    v = v * (1 - 0.7 * (r / c.radius) ** 4)
    u_face = mass_r / (c.density * 2 * np.pi * np.maximum(rf, 1e-12) * np.diff(zf)[:, None])
    w_face = mass_z / (c.density * np.pi * np.diff(rf**2))
    steps = np.diff(r, prepend=r[0], append=r[-1])[1:]
    deficit = np.cumsum((c.density * v**2 / r * steps)[:, ::-1], axis=1)[:, ::-1]

    rv_z = np.concatenate([np.zeros((1, c.n_r)), (r * v)[:-1] / 2 + (r * v)[1:] / 2, (r * v)[-1:]])
    rv_r = np.concatenate([np.zeros((c.n_z, 1)), (r * v)[:, :-1] / 2 + (r * v)[:, 1:] / 2, (r * v)[:, -1:]], axis=1)
    carried_z, carried_r = mass_z * rv_z, mass_r * rv_r
    viscous_z = np.zeros_like(carried_z)
    viscous_r = np.zeros_like(carried_r)
    rest = torque_source * volume - np.diff(carried_z, axis=0) - np.diff(carried_r, axis=1)
    viscous_r[:, 1:] = np.cumsum(rest, axis=1)

    return {
        "r": r,
        "z": z,
        "r_face": rf,
        "z_face": zf,
        "radial_velocity": (u_face[:, 1:] + u_face[:, :-1]) / 2,
        "tangential_velocity": v,
        "axial_velocity": (w_face[1:] + w_face[:-1]) / 2,
        "pressure": -0.4 - deficit,
        "effective_viscosity": c.viscosity * (1 + 15 * curtain),
        "fog_concentration": np.exp(-((r / 0.02) ** 2))[None, :] * np.exp(-z / c.height)[:, None],
        "mass_flux_r": mass_r,
        "mass_flux_z": mass_z,
        "angular_momentum_flux_r_advective": carried_r,
        "angular_momentum_flux_r_viscous": viscous_r,
        "angular_momentum_flux_z_advective": carried_z,
        "angular_momentum_flux_z_viscous": viscous_z,
        "mass_source": mass_source,
        "torque_source": torque_source,
        "angular_momentum_storage": np.zeros((c.n_z, c.n_r)),
        "side_open_fraction": np.full(c.n_z, 0.5 if c.exhaust_flow > 0 else 0.0),
    }


def write_result(
    path: Path,
    *,
    outcome: str = "steady",
    closed: bool = False,
    n_frames: int = 1,
    column: Column | None = None,
    title: str | None = None,
) -> Path:
    """Write a result file by formula.

    Parameters
    ----------
    path : Path
        File to write.
    outcome : str
        Outcome attribute; "time-averaged" adds the mean and spread fields.
    closed : bool
        A closed cylinder without jets, exhaust or fog in place of the table-top chamber.
    n_frames : int
        Number of frames; the swirl of later frames is a little weaker.
    column : Column, optional
        Strength and size of the column.
    title : str, optional
        Title of the case.
    """
    if column is None:
        column = (
            Column()
            if not closed
            else Column(
                radius=0.1,
                height=0.15,
                exhaust_radius=0.04,
                exhaust_flow=0.0,
                circulation=0.02,
                core_radius=0.03,
            )
        )
    title = title or ("Closed cylinder" if closed else "Table-top chamber")
    fields = flow_fields(column, with_jets=not closed)
    jet = None if closed else holes(column)
    times = 0.5 * np.arange(n_frames)
    with ResultWriter.create(
        path,
        **{name: fields[name] for name in ("r", "z", "r_face", "z_face")},
        attributes=attributes_of(column, jet, closed=closed, title=title),
        jets=jet and SimpleNamespace(**{name.removeprefix("hole_"): value for name, value in jet.items()}),
        tubes=None if closed else tubes(),
        side_open_fraction=fields["side_open_fraction"],
        has_fog=not closed,
    ) as writer:
        for i, time in enumerate(times):
            faded = {"tangential_velocity": (1 - 0.02 * i) * fields["tangential_velocity"]}
            writer.append_frame(time, fields | faded)
        if outcome == "time-averaged":
            mean = {name: fields[name] for name in FRAMES}
            std = {name: 0.1 * np.abs(value) for name, value in mean.items()}
            writer.write_means(mean, std, (times[0], times[-1]))
        writer.write_budget({name: fields[name] for name in BUDGET}, (times[0], times[-1]))
        writer.append_history(history_of(outcome))
        writer.finish(
            outcome,
            OUTCOME_TEXT[outcome],
            converged=outcome != "not-converged",
            exhaust_flow=column.exhaust_flow,
            exhaust_plane_pressure=-12.0,
            compile_seconds=4.2,
            solve_seconds=21.7,
            output_seconds=0.3,
        )
    return path


def attributes_of(c: Column, jet: dict[str, np.ndarray] | None, *, closed: bool, title: str) -> dict[str, object]:
    """Root attributes known before the run."""
    text = (CLOSED if closed else CHAMBER).format(title=title)
    torque = float((jet["hole_mass_flow"] * jet["hole_speed"] * jet["hole_moment_arm"]).sum()) if jet else 0.0
    return {
        "title": title,
        "case_text": text,
        "case_path": "made-up.toml",
        "closure": "mixing-length",
        "kinematic_viscosity": c.viscosity,
        "density": c.density,
        "chamber_radius": c.radius,
        "chamber_height": c.height,
        "footprint": "round" if closed else "square",
        "chamber_width": 2 * c.radius if closed else 0.36,
        "exhaust_radius": np.nan if closed else c.exhaust_radius,
        "exhaust_hub_radius": np.nan if closed else 0.015,
        "curtain_inner_edge": np.nan if closed else 0.121,
        "torque_input": torque,
        "torque_delivered": torque,
        "torque_lost": 0.0,
        "inlet_from": np.nan,
        "inlet_to": np.nan,
        "wall_friction_factor": 1.0 if closed else 1.128,
        "versions": {"swirlwright": "0.1.0", "numpy": np.__version__},
        "network_json": network_of(text),
        "warnings_json": [],
        "fog_on": not closed,
    }


def network_of(text: str) -> dict[str, object]:
    """The air network of a case, as the solver keeps it."""
    return network_json(solve_network(Case.model_validate(tomllib.loads(text))))


def history_of(outcome: str) -> dict[str, np.ndarray]:
    """A convergence history that reaches round-off, or does not."""
    fall = np.logspace(0, -2.5 if outcome == "not-converged" else -11, 40)
    return {
        "cells": np.repeat([720.0, 2880.0], 20),
        "iteration": np.tile(np.arange(20.0), 2),
        "momentum": fall,
        "mass": 1e-3 * fall,
    }
