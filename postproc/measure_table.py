"""The measures of a result as plain columns: name, unit, meaning, value. What a sweep's data set is made of."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from swirlwright.postproc.fog.measures import FogMeasures
from swirlwright.postproc.measures import Measures

# Raised where a column of a record changes its meaning: part of the record's key.
RECORD = "2"

# Of the main field: the mean field of an unsteady run. Definitions are in postproc/README.md.
FIELD = {
    "core_radius": ("m", "core radius at mid-height"),
    "core_velocity": ("m/s", "largest v of the core at mid-height"),
    "core_circulation": ("m2/s", "2 pi times the largest r v inside the curtain"),
    "low_level_circulation": ("m2/s", "circulation in the lowest tenth of the height"),
    "max_tangential_velocity": ("m/s", "largest v of the core"),
    "max_tangential_velocity_r": ("m", "radius of the largest v of the core"),
    "max_tangential_velocity_z": ("m", "height of the largest v of the core"),
    "curtain_tangential_velocity": ("m/s", "largest v of the curtain"),
    "curtain_tangential_velocity_r": ("m", "radius of the largest v of the curtain"),
    "curtain_tangential_velocity_z": ("m", "height of the largest v of the curtain"),
    "peak_axial_velocity": ("m/s", "largest upward speed"),
    "peak_axial_velocity_r": ("m", "radius of the largest upward speed"),
    "peak_axial_velocity_z": ("m", "height of the largest upward speed"),
    "core_pressure_deficit": ("Pa", "pressure deficit of the core, mid-height"),
    "core_pressure_deficit_floor": ("Pa", "pressure deficit of the core, floor"),
    "core_pressure_deficit_largest": ("Pa", "pressure deficit of the core, largest"),
    "core_pressure_deficit_largest_z": ("m", "height of the largest pressure deficit"),
    "core_foot_height": ("m", "foot of the core above the floor"),
    "breakdown_height": ("m", "breakdown above the floor"),
    "floor_layer": ("m", "thickness of the floor layer"),
    "foot_axial_velocity": ("m/s", "mean upward speed inside the core at its foot"),
    "swirl_ratio_at_exhaust_radius": ("1", "swirl ratio S, r_0 = exhaust radius"),
    "swirl_ratio_at_curtain": ("1", "swirl ratio S, r_0 = 0.85 r_i"),
    "swirl_number": ("1", "swirl number at mid-height, without pressure"),
    "radial_reynolds_number": ("1", "radial Reynolds number, molecular"),
    "radial_reynolds_number_effective": ("1", "radial Reynolds number, effective"),
    "vortex_reynolds_number": ("1", "vortex Reynolds number, effective"),
    "cells_in_core": ("1", "cells inside the core radius"),
}
# Of the run as a whole.
RUN = {
    "touchdown_share": ("1", "share of time a column stands on the floor"),
    "touchdown_share_chance": ("1", "standard error of touchdown_share"),
    "core_to_floor_share": ("1", "share of time a core of any strength reaches the floor"),
    "breakdown_touchdown_share": ("1", "share of time the breakdown is at the floor"),
    "spin_up_time": ("s", "spin-up time"),
    "swirl_sense": ("1", "sense of the swirl, +1 counterclockwise from above"),
    "mass_imbalance": ("1", "imbalance of the budget of mass over what comes in"),
    "angular_momentum_imbalance": ("1", "imbalance of the budget of angular momentum over what comes in"),
    "jet_torque": ("N m", "torque of the jets"),
    "jet_torque_delivered": ("N m", "torque of the jets that the air receives"),
    "inflow_speed": ("m/s", "mean speed of the inflow through the open share of the sides"),
    "draught_ratio": ("1", "the room's draught over inflow_speed"),
    "column_offset": ("m", "estimated offset of the column, tubes as built"),
    "column_offset_one_blocked": ("m", "estimated offset of the column with one tube blocked"),
    "hole_count": ("1", "holes of all tubes"),
}
# Of the air network as it agrees with the flow: name in the result's network_json, unit, meaning.
NETWORK = {
    "network_exhaust_flow": ("exhaust_flow_m3_per_s", "m3/s", "exhaust flow"),
    "network_supply_flow": ("supply_flow_m3_per_s", "m3/s", "flow of the tubes fed by the plenum"),
    "network_side_flow": ("side_flow_m3_per_s", "m3/s", "flow through the sides"),
    "network_plenum_pressure": ("plenum_pressure_pa", "Pa", "plenum pressure above the room"),
    "network_exhaust_pressure": ("exhaust_plane_pressure_pa", "Pa", "total pressure in the exhaust above the room"),
    "network_jet_momentum": ("jet_momentum_n", "N", "momentum flux of the jets"),
    "network_supply_power": ("supply_power_electrical_w", "W", "electrical power of the supply fans"),
    "network_exhaust_power": ("exhaust_power_electrical_w", "W", "electrical power of the exhaust fans"),
}
# Of the fog; none in a chamber without it. What a search bounds, so that the column is seen.
FOG = {
    "fog_contrast": ("1", "contrast of the fog column at mid-height"),
    "fog_visible_share": ("1", "share of time the fog column is told at mid-height"),
    "fog_visible_radius": ("m", "visible radius of the fog column at mid-height"),
    "fog_column_share": ("1", "share of the fog that rises in the column at mid-height"),
    "fog_froude_number": ("1", "w/sqrt(g' H) of fog as diluted at mid-height"),
    "fog_show_time": ("s", "time until the fog column shows at mid-height"),
}
WORDS = {
    "touchdown": "touchdown: yes, marginal or no",
    "breakdown_touchdown": "breakdown at the floor: yes, marginal or no",
    "structure": "structure of the mean field",
    "breakdown": "breakdown of the mean field",
    "regime": "regime of the mean field",
    "verdict": "the verdict with its reason",
    "cautions": "cautions of the measures and of the run, a line each",
}
OVER_TIME = {
    "time_mean": "mean over time while it exists",
    "time_std": "standard deviation over time while it exists",
    "time_share": "share of time it exists",
    "time_chance": "standard error of the mean over time",
}


@dataclass(frozen=True)
class Column:
    """A number of every variant."""

    units: str
    long_name: str


def columns() -> dict[str, Column]:
    """All number columns, in their order."""
    found = {name: Column(*spec) for name, spec in (RUN | FIELD | FOG).items()}
    found |= {name: Column(units, words) for name, (_, units, words) in NETWORK.items()}
    for name, (units, words) in FIELD.items():
        for end, of_time in OVER_TIME.items():
            found[f"{name}_{end}"] = Column("1" if end == "time_share" else units, f"{words}: {of_time}")
    return found


def numbers_of(m: Measures, attributes: Mapping[str, Any]) -> dict[str, float | None]:
    """The number columns of a result.

    Parameters
    ----------
    m : Measures
    attributes : mapping
        Root attributes of the same result.

    Returns
    -------
    dict
        SI; None where a measure does not apply.
    """
    scalars, v = m.field.scalars(), m.verdict
    imbalance = {budget.quantity: budget.relative_imbalance for budget in m.budgets}
    network = json.loads(attributes.get("network_json", "{}"))
    found: dict[str, float | None] = {
        "touchdown_share": v.share_standing,
        "touchdown_share_chance": v.chance_standing,
        "core_to_floor_share": v.share_to_floor,
        "breakdown_touchdown_share": v.share_breakdown_at_floor,
        "spin_up_time": m.spin_up_time,
        "swirl_sense": m.field.swirl_sense,
        "mass_imbalance": imbalance.get("mass"),
        "angular_momentum_imbalance": imbalance.get("angular momentum"),
        "jet_torque": m.torque.get("input"),
        "jet_torque_delivered": m.torque.get("delivered"),
        "inflow_speed": m.asymmetry.inflow_speed,
        "draught_ratio": m.asymmetry.draught_ratio,
        "column_offset": m.asymmetry.offset,
        "column_offset_one_blocked": m.asymmetry.offset_one_blocked,
        "hole_count": sum(len(tube["holes"]) for tube in network.get("tubes", ())),
    }
    found |= {name: scalars[name] for name in FIELD}
    found |= _of_fog(m.fog)
    found |= {name: network.get(key) for name, (key, _, _) in NETWORK.items()}
    for name in FIELD:
        s = m.over_time.get(name)
        ends = (None,) * 4 if s is None else (s.mean, s.spread, s.share, s.chance)
        found |= {f"{name}_{end}": value for end, value in zip(OVER_TIME, ends, strict=True)}
    return found


def _of_fog(fog: FogMeasures | None) -> dict[str, float | None]:
    if fog is None:
        return dict.fromkeys(FOG)
    radius = fog.at_mid_height(fog.sight.radius)
    return {
        "fog_contrast": fog.at_mid_height(fog.sight.contrast),
        "fog_visible_share": None if fog.sight_over_time is None else fog.sight_over_time[2],
        "fog_visible_radius": radius if math.isfinite(radius) else None,
        "fog_column_share": fog.column_share,
        "fog_froude_number": fog.froude_number_diluted,
        "fog_show_time": fog.show_time,
    }


def words_of(m: Measures) -> dict[str, str]:
    """The text columns of a result."""
    v = m.verdict
    return {
        "touchdown": v.touchdown,
        "breakdown_touchdown": v.breakdown_touchdown,
        "structure": v.structure,
        "breakdown": v.breakdown,
        "regime": v.regime,
        "verdict": v.sentence,
        "cautions": "\n".join(m.warnings),
    }
