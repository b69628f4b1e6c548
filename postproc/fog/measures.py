"""Measures of the fog; definitions and sources are in postproc/README.md, section Fog."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from swirlwright.postproc.core import Chamber, Field
from swirlwright.postproc.flow_numbers import FieldMeasures
from swirlwright.postproc.fog.column import column_radius, disturbing_flow, froude_number, rising_in_column
from swirlwright.postproc.fog.evaporation import Evaporation, evaporation
from swirlwright.postproc.fog.sight import LEAST_CONTRAST, Eyes, Sight, extinction_coefficient
from swirlwright.postproc.fog.words import cautions, lines
from swirlwright.solver.fog_law import GRAVITY, LEDGER, relaxation_time
from swirlwright.solver.result_reading import ResultData, kept_case
from swirlwright.solver.schema import Case


@dataclass(frozen=True)
class FogMeasures:
    """The measures of the fog, SI; None where one does not apply, with the reason in `reasons`.

    Attributes
    ----------
    flow : float
        Fog let in, as the case asks [m3/s].
    column_radius : float
        Within it at mid-height is the column [m].
    column_share, updraught, dilution : float or None
        Share of the fog that rises within it at mid-height [1]; mean upward speed there [m/s]; concentration there by
        what rises, as a share of the inlet's [1].
    froude_number, froude_number_diluted : float or None
        w/sqrt(g' H) of undiluted fog and of that at mid-height [1]; None for fog that is not heavy.
    sight : Sight
        The column as it is seen in the main field, by height `z` [m].
    sight_over_time : tuple of float or None
        Contrast at mid-height: mean, standard deviation, share of time in which the column is told there.
    show_time : float or None
        [s]
    flows : dict or None
        Where fog goes, by name of the solver's ledger and "stored" [m3/s of undiluted fog].
    disturbing_flow : float or None
        An estimate [m3/s].
    evaporation : Evaporation
    liquid_content : float
        Of undiluted fog [kg/m3].
    stokes_number : float
        Largest tau v/r of the droplets [1].
    settling_speed, inlet_speed : float
        [m/s]
    reasons : dict
    """

    case: Case
    flow: float
    z: np.ndarray
    column_radius: float
    column_share: float | None
    updraught: float
    dilution: float | None
    froude_number: float | None
    froude_number_diluted: float | None
    sight: Sight
    sight_over_time: tuple[float, float, float] | None
    show_time: float | None
    flows: dict[str, float] | None
    disturbing_flow: float | None
    evaporation: Evaporation
    liquid_content: float
    stokes_number: float
    settling_speed: float
    inlet_speed: float
    reasons: dict[str, str]

    def at_mid_height(self, values: np.ndarray) -> float:
        """The value of a column of rows half way up."""
        return float(np.interp(0.5 * self.case.chamber.height, self.z, values))

    @property
    def wetting(self) -> dict[str, float] | None:
        """Liquid that lands on floor and panels, leaves by the open sides, and passes the fan [kg/s]."""
        if self.flows is None:
            return None
        return {name: self.liquid_content * self.flows[name] for name in LEDGER if name != "in"}

    @property
    def uptake_ratio(self) -> float:
        """Water that the air rising in the column could take up, over the fog's water [1]."""
        air = math.pi * self.column_radius**2 * max(self.updraught, 0.0)
        return air * self.evaporation.uptake / (self.flow * self.liquid_content)

    def lines(self) -> list[str]:
        """What the sheet says."""
        return lines(self)

    def cautions(self) -> tuple[str, ...]:
        """What goes with these numbers."""
        return cautions(self)

    def as_json(self) -> dict[str, Any]:
        """Plain values, SI; NaN where the column is not seen."""
        seen = self.sight_over_time or (None, None, None)
        return {
            "flow_m3_per_s": self.flow,
            "column_radius_m": self.column_radius,
            "column_share": self.column_share,
            "column_dilution": self.dilution,
            "updraught_m_per_s": self.updraught,
            "froude_number": self.froude_number,
            "froude_number_diluted": self.froude_number_diluted,
            "height_m": self.z,
            "optical_depth": self.sight.depth,
            "contrast": self.sight.contrast,
            "visible_radius_m": self.sight.radius,
            "contrast_mid_height": self.at_mid_height(self.sight.contrast),
            "contrast_mid_height_over_time": {"mean": seen[0], "std": seen[1], "visible_share": seen[2]},
            "show_time_s": self.show_time,
            "flows_m3_per_s": self.flows,
            "wetting_kg_per_s": self.wetting,
            "disturbing_flow_m3_per_s": self.disturbing_flow,
            "uptake_kg_per_m3": self.evaporation.uptake,
            "uptake_ratio": self.uptake_ratio,
            "droplet_life_s": self.evaporation.droplet_life,
            "stokes_number": self.stokes_number,
            "settling_speed_m_per_s": self.settling_speed,
            "reasons": self.reasons,
        }


def fog_of(
    data: ResultData, fog: np.ndarray | None, flow: Field, m: FieldMeasures, chamber: Chamber,
    frames: np.ndarray, window: np.ndarray, weights: np.ndarray,
) -> FogMeasures | None:  # fmt: skip
    """Take the measures of the fog; None where there is none, or its case cannot be read.

    Parameters
    ----------
    data : ResultData
    fog : (nz, nr) or None
        Concentration that goes with the main field.
    flow, m : Field, FieldMeasures
        The main field and its measures.
    chamber : Chamber
    frames, window : int arrays
        Numbers of all frames, and of those in the averaging window.
    weights : array
        Of the window's frames in time, summing to 1.
    """
    case = kept_case(data.attributes)
    if fog is None or case is None or case.fog is None or not np.isfinite(fog).all():
        return None
    reasons: dict[str, str] = {}
    table = case.fog
    radius = column_radius(m, chamber)
    w, c = data.frames["axial_velocity"], data.frames["fog_concentration"]
    pairs = [(w[n], c[n]) for n in window] if len(window) > 1 else [(flow.w, fog)]
    rising = np.array([rising_in_column(flow, speed, share, radius) for speed, share in pairs])
    air, carried = (float(total) for total in weights @ rising)
    updraught = air / (math.pi * radius**2)
    flows = json.loads(data.attributes.get("fog_flows_json", "null"))
    let_in = flows["in"] if flows is not None else table.flow
    share = carried / let_in if let_in > 0.0 else None
    if share is None:
        reasons["column_share"] = "no fog comes in"
    dilution = carried / air if air > 0.0 else None
    tau = relaxation_time(
        table.droplet_diameter, density=case.density, viscosity=case.density * case.kinematic_viscosity
    )
    undiluted = extinction_coefficient(table.liquid_content, table.droplet_diameter)
    eyes = Eyes(flow.r_face, chamber.curtain_edge)
    series = np.array([_mid_contrast(eyes, undiluted * c[n], flow) for n in frames])
    return FogMeasures(
        case=case,
        flow=table.flow,
        z=flow.z,
        column_radius=radius,
        column_share=share,
        updraught=updraught,
        dilution=dilution,
        froude_number=froude_number(updraught, table.density_excess, chamber.height, reasons),
        froude_number_diluted=froude_number(updraught, table.density_excess * (dilution or 0.0), chamber.height, {}),
        sight=eyes.look(undiluted * fog),
        sight_over_time=_over_time(series[np.isin(frames, window)], weights),
        show_time=_show_time(data.time[frames], series, reasons),
        flows=flows,
        disturbing_flow=disturbing_flow(case, m, reasons),
        evaporation=_evaporation(case),
        liquid_content=table.liquid_content,
        stokes_number=tau * float(np.abs(flow.v / flow.r).max()),
        settling_speed=tau * GRAVITY,
        inlet_speed=table.flow / (math.pi * table.radius**2),
        reasons=reasons,
    )


def _mid_contrast(eyes: Eyes, extinction: np.ndarray, flow: Field) -> float:
    """Contrast half way up."""
    height = flow.z_face[-1]
    return float(eyes.look(flow.at_height(extinction, 0.5 * height)[None, :]).contrast[0])


def _over_time(contrast: np.ndarray, weights: np.ndarray) -> tuple[float, float, float] | None:
    if contrast.size < 2:
        return None
    mean = float(weights @ contrast)
    return mean, math.sqrt(float(weights @ (contrast - mean) ** 2)), float(weights @ (contrast >= LEAST_CONTRAST))


def _show_time(time: np.ndarray, contrast: np.ndarray, reasons: dict[str, str]) -> float | None:
    """First time of a frame in which the column is told at mid-height [s]."""
    if time.size < 2:
        reasons["show_time"] = "a single field"
        return None
    seen = np.flatnonzero(contrast >= LEAST_CONTRAST)
    if seen.size == 0:
        reasons["show_time"] = f"the column does not show at mid-height within {time[-1]:.4g} s"
        return None
    if seen[0] == 0:
        reasons["show_time"] = "the column shows from the first frame"
        return None
    return float(time[seen[0]])


def _evaporation(case: Case) -> Evaporation:
    from fluids.atmosphere import ATMOSPHERE_1976

    fog = case.fog
    assert fog is not None
    return evaporation(
        case.air.temperature,
        fog.room_humidity,
        pressure=float(ATMOSPHERE_1976(case.air.altitude).P),
        density=case.density,
        droplet_diameter=fog.droplet_diameter,
    )
