"""All measures of one flow field; definitions and sources are in postproc/README.md."""

from __future__ import annotations

import math
from dataclasses import dataclass
from dataclasses import field as _field

import numpy as np

from swirlwright.postproc.core import (
    OUTER_SHARE,
    Chamber,
    Core,
    Field,
    breakdown,
    core_viscosity,
    floor_layer,
    follow_core,
)

# Fewer cells than this inside the core radius: its shape is the grid's as much as the flow's.
RESOLVED_CELLS = 8
# Share of the height that counts as low level; ours.
LOW_LEVEL = 0.1


@dataclass(frozen=True)
class FieldMeasures:
    """The measures of one field, SI; None where a measure does not apply, with the reason in `reasons`.

    Speeds v are positive in the sense of the swirl, `swirl_sense` (+1 counterclockwise from above).
    """

    swirl_sense: float = 1.0
    swirl_ratio_at_exhaust_radius: float | None = None
    swirl_ratio_at_curtain: float | None = None
    swirl_number: float | None = None
    radial_reynolds_number: float | None = None
    radial_reynolds_number_effective: float | None = None
    vortex_reynolds_number: float | None = None
    core_radius: float | None = None
    core_velocity: float | None = None
    core_circulation: float | None = None
    low_level_circulation: float | None = None
    max_tangential_velocity: float | None = None
    max_tangential_velocity_r: float | None = None
    max_tangential_velocity_z: float | None = None
    curtain_tangential_velocity: float | None = None
    curtain_tangential_velocity_r: float | None = None
    curtain_tangential_velocity_z: float | None = None
    peak_axial_velocity: float | None = None
    peak_axial_velocity_r: float | None = None
    peak_axial_velocity_z: float | None = None
    core_pressure_deficit: float | None = None
    core_pressure_deficit_floor: float | None = None
    core_pressure_deficit_largest: float | None = None
    core_pressure_deficit_largest_z: float | None = None
    core_foot_height: float | None = None
    floor_layer: float | None = None
    foot_axial_velocity: float | None = None
    breakdown_height: float | None = None
    reversed_to_mid_height: bool = False
    cells_in_core: float | None = None
    core: Core | None = None
    reasons: dict[str, str] = _field(default_factory=dict)

    def scalars(self) -> dict[str, float | None]:
        """The plain numbers, by name."""
        return {
            name: value
            for name, value in vars(self).items()
            if name not in ("core", "reasons", "reversed_to_mid_height", "swirl_sense")
        }


def measure_field(flow: Field, chamber: Chamber) -> FieldMeasures:
    """Take all measures of one field.

    Parameters
    ----------
    flow : Field
        As in the file, either sense of swirl.
    chamber : Chamber
        What the measures need to know of the chamber.
    """
    sense = flow.swirl_sense(chamber.curtain_edge)
    flow = flow.turned(sense)
    core = follow_core(flow, chamber)
    values: dict[str, float | None] = {}
    reasons: dict[str, str] = {}
    values |= _swirl_and_reynolds(flow, chamber, reasons)
    values |= _extremes(flow, chamber, core)
    values |= _deficits(flow, chamber)
    values["low_level_circulation"] = _circulation(flow, chamber, LOW_LEVEL * chamber.height)
    values |= _core_values(flow, chamber, core, reasons)
    delta = floor_layer(flow, chamber, core)
    place, up_to_mid = breakdown(flow, chamber, core, delta)
    if place is None:
        reasons["breakdown_height"] = "no reversed flow on the axis inside a core"
    return FieldMeasures(
        swirl_sense=sense,
        floor_layer=delta,
        foot_axial_velocity=_rising_at_foot(flow, core, max(delta, 0.03 * chamber.height)),
        breakdown_height=place,
        reversed_to_mid_height=up_to_mid,
        core=core,
        reasons=reasons,
        **values,
    )


@dataclass(frozen=True)
class Inflow:
    """Inflow through the cylinder r = radius [m]: flow Q [m3/s], circulation [m2/s], height h [m], nu_eff."""

    radius: float
    flow: float
    circulation: float
    height: float
    viscosity: float

    @property
    def swirl_ratio(self) -> float:
        """S = r_0 Gamma / (2 Q), Q the total flow; equals tan(theta) / (2 h/r_0) for uniform inflow."""
        return self.radius * self.circulation / (2.0 * self.flow)

    def radial_reynolds_number(self, viscosity: float) -> float:
        """Q / (2 pi h nu) for a kinematic viscosity [m2/s]."""
        return self.flow / (2.0 * math.pi * self.height * viscosity)


def inflow_at(flow: Field, radius: float) -> Inflow | None:
    """Inflow through r = radius [m]; None where nothing flows inward there."""
    inward = np.maximum(-flow.at_radius(flow.u, radius), 0.0)
    dz = np.diff(flow.z_face)
    through = inward * dz
    total = float(through.sum())
    if total <= 0.0:
        return None
    circulation = 2.0 * math.pi * radius * flow.at_radius(flow.v, radius)
    return Inflow(
        radius=radius,
        flow=2.0 * math.pi * radius * total,
        circulation=float(np.sum(circulation * through)) / total,
        height=total**2 / float(np.sum(inward**2 * dz)),
        viscosity=float(np.sum(flow.at_radius(flow.nu, radius) * through)) / total,
    )


def _swirl_and_reynolds(flow: Field, chamber: Chamber, reasons: dict[str, str]) -> dict[str, float | None]:
    values: dict[str, float | None] = {}
    if chamber.exhaust_radius is None:
        reasons["swirl_ratio_at_exhaust_radius"] = "the chamber has no exhaust"
    elif chamber.exhaust_radius >= 0.99 * chamber.radius:
        reasons["swirl_ratio_at_exhaust_radius"] = "the exhaust is as wide as the chamber"
    elif (inflow := inflow_at(flow, chamber.exhaust_radius)) is None:
        reasons["swirl_ratio_at_exhaust_radius"] = "nothing flows inward there"
    else:
        values["swirl_ratio_at_exhaust_radius"] = inflow.swirl_ratio
    at_curtain = inflow_at(flow, OUTER_SHARE * chamber.curtain_edge)
    if at_curtain is None:
        for name in ("swirl_ratio_at_curtain", "radial_reynolds_number", "radial_reynolds_number_effective"):
            reasons[name] = "nothing flows inward at 0.85 of the curtain's inner edge"
    else:
        values["swirl_ratio_at_curtain"] = at_curtain.swirl_ratio
        values["radial_reynolds_number"] = at_curtain.radial_reynolds_number(chamber.viscosity)
        values["radial_reynolds_number_effective"] = at_curtain.radial_reynolds_number(at_curtain.viscosity)
    values["swirl_number"] = swirl_number(flow, chamber)
    if values["swirl_number"] is None:
        reasons["swirl_number"] = "nothing moves along the axis at mid-height"
    return values


def swirl_number(flow: Field, chamber: Chamber) -> float | None:
    """Flux of angular momentum over radius times flux of axial momentum, at mid-height, without pressure.

    The radius is the exhaust's, or 0.85 r_i without an exhaust; the fluxes are taken over r < r_i.
    """
    inside = flow.r < chamber.curtain_edge
    v, w = (flow.at_height(values, 0.5 * chamber.height)[inside] for values in (flow.v, flow.w))
    area, r = flow.ring_area[inside], flow.r[inside]
    radius = chamber.exhaust_radius or OUTER_SHARE * chamber.curtain_edge
    axial = float(np.sum(w * w * area))
    return float(np.sum(w * v * r * area)) / (radius * axial) if axial > 0.0 else None


def _extremes(flow: Field, chamber: Chamber, core: Core) -> dict[str, float | None]:
    """Largest speeds with their places."""
    values: dict[str, float | None] = {}
    if core.exists.any():
        j = int(np.nanargmax(core.velocity))
        values["max_tangential_velocity"] = float(core.velocity[j])
        values["max_tangential_velocity_r"] = float(core.radius[j])
        values["max_tangential_velocity_z"] = float(flow.z[j])
    outside = flow.r >= OUTER_SHARE * chamber.curtain_edge
    places = {"curtain_tangential_velocity": (flow.v, outside), "peak_axial_velocity": (flow.w, flow.r > 0)}
    for name, (speed, mask) in places.items():
        if mask.any():
            j, i = divmod(int(np.argmax(np.where(mask, speed, -np.inf))), speed.shape[1])
            values[name] = float(speed[j, i])
            values[f"{name}_r"] = float(flow.r[i])
            values[f"{name}_z"] = float(flow.z[j])
    return values


def pressure_deficit(flow: Field, chamber: Chamber) -> np.ndarray:
    """p at r_i less p on the axis at the same height [Pa], shape (nz,)."""
    return flow.at_radius(flow.p, chamber.curtain_edge) - flow.on_axis(flow.p)


def _deficits(flow: Field, chamber: Chamber) -> dict[str, float | None]:
    deficit = pressure_deficit(flow, chamber)
    j = int(np.argmax(deficit))
    return {
        "core_pressure_deficit": float(flow.at_height(deficit, 0.5 * chamber.height)),
        "core_pressure_deficit_floor": float(deficit[0]),
        "core_pressure_deficit_largest": float(deficit[j]),
        "core_pressure_deficit_largest_z": float(flow.z[j]),
    }


def _circulation(flow: Field, chamber: Chamber, top: float) -> float:
    """2 pi times the largest r v inside the curtain below `top` [m2/s]."""
    below, inside = flow.z < max(top, flow.z[1]), flow.r < chamber.curtain_edge
    return 2.0 * math.pi * float(np.max((flow.r * flow.v)[np.ix_(below, inside)]))


def _core_values(flow: Field, chamber: Chamber, core: Core, reasons: dict[str, str]) -> dict[str, float | None]:
    names = ("core_radius", "core_velocity", "core_circulation", "vortex_reynolds_number", "cells_in_core")
    typical = core.typical(0.5 * chamber.height)
    if typical is None:
        absent = (*names, "max_tangential_velocity", "core_foot_height")
        reasons |= dict.fromkeys(absent, f"there is no core: {core.end}")
        return {}
    values: dict[str, float | None] = {
        "core_foot_height": core.foot,
        "cells_in_core": flow.cells_inside(typical[0]),
    }
    at_mid = core.at(0.5 * chamber.height)
    if at_mid is None:
        reasons |= dict.fromkeys(names[:4], "the core does not reach mid-height")
        return values
    circulation = _circulation(flow, chamber, chamber.height)
    values["core_radius"], values["core_velocity"] = at_mid
    values["core_circulation"] = circulation
    values["vortex_reynolds_number"] = circulation / core_viscosity(flow, chamber, at_mid[0])
    return values


def _rising_at_foot(flow: Field, core: Core, top: float) -> float | None:
    """Mean axial velocity inside the core, from its foot up to `top` [m]; None if it ends above that [m/s].

    A mean over the floor layer and not the foot's own cell, where w is close to nothing on a wall.
    """
    rows = np.flatnonzero(core.exists & (flow.z_face[:-1] < top))
    if rows.size == 0:
        return None
    weight = np.diff(flow.z_face)[rows, None] * flow.ring_area * (flow.r < core.radius[rows, None])
    return float(np.sum(flow.w[rows] * weight) / np.sum(weight))
