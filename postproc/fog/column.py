"""The column as what rises: how much fog is in it, how heavy that is, how much the foot stands."""

from __future__ import annotations

import math

import numpy as np

from swirlwright.postproc.core import Chamber, Field
from swirlwright.postproc.flow_numbers import FieldMeasures
from swirlwright.solver.fog_law import GRAVITY
from swirlwright.solver.schema import Case

# The column reaches this many core radii from the axis: a core's upward speed is gone there (a named choice).
COLUMN_RADII = 2.0


def column_radius(m: FieldMeasures, chamber: Chamber) -> float:
    """Radius of what is taken as the column [m]: twice the core's at mid-height, the exhaust's where there is none."""
    if m.core_radius is not None:
        return min(COLUMN_RADII * m.core_radius, chamber.curtain_edge)
    return chamber.exhaust_radius or 0.5 * chamber.curtain_edge


def rising_in_column(flow: Field, w: np.ndarray, fog: np.ndarray, radius: float) -> tuple[float, float]:
    """Air and fog that rise through the disc of `radius` at mid-height [m3/s]; rings cut by it count by their area.

    w, fog: (nz, nr), on the grid of `flow`.
    """
    area = math.pi * np.diff(np.minimum(flow.r_face, radius) ** 2)
    through = [flow.at_height(values, 0.5 * flow.z_face[-1]) for values in (w, w * fog)]
    return float(through[0] @ area), float(through[1] @ area)


def froude_number(updraught: float, excess: float, height: float, reasons: dict[str, str]) -> float | None:
    """w/sqrt(g' H), g' = g times the density excess [1]; None, with the reason, for fog that does not weigh or rise."""
    if excess <= 0.0:
        reasons["froude_number"] = "the fog is no heavier than air"
        return None
    if updraught <= 0.0:
        reasons["froude_number"] = "the air does not rise in the column at mid-height"
        return None
    return updraught / math.sqrt(GRAVITY * excess * height)


def disturbing_flow(case: Case, m: FieldMeasures, reasons: dict[str, str]) -> float | None:
    """Estimate the fog flow above which the foot is disturbed [m3/s]; None, with the reason, without a foot.

    The foot draws pi r_c^2 w, with the core's radius and mean upward speed there; fog beyond that pushes its air aside.
    A bare inlet disturbs it as well where its jet is faster than that rise, so the lesser of the two counts. Our
    reasoning, no source; not solved.
    """
    core, rise = m.core, m.foot_axial_velocity
    if core is None or not core.exists.any() or rise is None:
        reasons["disturbing_flow"] = "the core has no foot at the floor"
        return None
    if rise <= 0.0:
        reasons["disturbing_flow"] = "the air sinks at the core's foot"
        return None
    foot = float(core.radius[np.flatnonzero(core.exists)[0]])
    drawn = math.pi * foot**2 * rise
    fog = case.fog
    assert fog is not None
    return drawn if fog.diffuser_radius is not None else min(drawn, math.pi * fog.radius**2 * rise)
