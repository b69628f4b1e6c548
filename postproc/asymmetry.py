"""What an axisymmetric flow cannot show, estimated: draughts, unequal tubes. Documented in postproc/README.md."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from swirlwright.postproc.core import Chamber
from swirlwright.postproc.flow_numbers import FieldMeasures
from swirlwright.solver.result_reading import ResultData

# The room's draught [m/s] of files that do not tell it: the default of air.draught.
COMMON_DRAUGHT = 0.15
# Above this ratio of the draught to the inflow speed a verdict carries a caution; our own limit.
STRONG = 0.5
# Jets whose pushes leave less than this share of their sum are equal but for round-off.
ROUND_OFF = 1e-6


@dataclass(frozen=True)
class Asymmetry:
    """Estimates beside a verdict; None where one does not apply, with the reason in `reasons`.

    Attributes
    ----------
    draught : float
        Of the room [m/s].
    inflow_speed : float or None
        Mean speed of the inflow through the open share of the sides [m/s].
    push, push_one_blocked : float or None
        Net sideways momentum flux of the jets as they are, and with the tube shut that leaves the most; the latter only
        where there are several tubes [N].
    push_sum : float or None
        Sum of what each tube pushes, in whatever direction [N].
    offset, offset_one_blocked : float or None
        Of the column from the axis, under those [m].
    reach : float or None
        Radius of the exhaust, beyond which its inflow does not hold the column [m].
    reasons : dict
    """

    draught: float
    inflow_speed: float | None
    push: float | None
    push_one_blocked: float | None
    push_sum: float | None
    offset: float | None
    offset_one_blocked: float | None
    reach: float | None
    reasons: dict[str, str]

    @property
    def draught_ratio(self) -> float | None:
        """The room's draught over the mean inflow speed at the sides [1]."""
        return None if self.inflow_speed is None else self.draught / self.inflow_speed

    def lines(self) -> list[str]:
        """What the sheet and the report say."""
        ratio = self.draught_ratio
        if ratio is None:
            draught = f"Draughts: none to name, {self.reasons['draught_ratio']}."
        else:
            draught = (
                f"Draughts: {self.draught:.2g} m/s in the room is {ratio:.2g} times the mean inflow at the sides, "
                f"{self.inflow_speed:.2g} m/s; not axisymmetric, so said, not solved."
            )
        if self.offset is None:
            return [draught, f"Offset of the column: not estimated, {self.reasons['column_offset']}."]
        built = self._said(self.offset) if self.is_pushed else "none, the tubes are equal"
        if self.offset_one_blocked is not None:
            built += f"; with one tube blocked {self._said(self.offset_one_blocked)}"
        return [draught, f"Offset of the column (estimate): as built {built}; a fan off centre moves it by as much."]

    @property
    def is_pushed(self) -> bool:
        """Whether the tubes as built leave a push: unequal ones, or one alone."""
        return bool(self.push and self.push_sum and self.push > ROUND_OFF * self.push_sum)

    def _said(self, offset: float) -> str:
        if self.reach is not None and offset > self.reach:
            return f"more than the exhaust's radius of {1e3 * self.reach:.0f} mm, so that it is not held"
        return f"{1e3 * offset:.0f} mm"

    def cautions(self) -> tuple[str, ...]:
        """Sentences that go with the verdict."""
        found = []
        ratio = self.draught_ratio
        if ratio is not None and ratio > STRONG:
            found.append(
                f"draughts: one of {self.draught:.2g} m/s is {ratio:.2g} times the mean inflow speed at the sides, "
                f"more than {STRONG:g}: shield the open sides, or expect a column that leans and wanders"
            )
        if self.is_pushed and self.offset is not None:
            tubes = "a single tube: its jets" if self.push_one_blocked is None else "unequal tubes: their jets"
            found.append(f"{tubes} push the column off the axis by {self._said(self.offset)} (estimate)")
        return tuple(found)

    def as_json(self) -> dict[str, Any]:
        """Plain values, SI."""
        return {
            "draught_ratio": self.draught_ratio,
            "draught_m_per_s": self.draught,
            "side_inflow_speed_m_per_s": self.inflow_speed,
            "column_offset": {
                "as_built_m": self.offset,
                "one_tube_blocked_m": self.offset_one_blocked,
                "jets_net_push_n": self.push,
                "jets_net_push_one_blocked_n": self.push_one_blocked,
            },
        }


def asymmetry_of(data: ResultData, chamber: Chamber, m: FieldMeasures) -> Asymmetry:
    """Estimate what a draught and unequal tubes would do to a result's column.

    Parameters
    ----------
    data : ResultData
    chamber : Chamber
    m : FieldMeasures
        Of the main field.
    """
    reasons: dict[str, str] = {}
    draught = data.attributes.get("room_draught")
    pushes = _pushes(data.places)
    push = blocked = push_sum = offset = offset_blocked = None
    if pushes is None:
        reasons["column_offset"] = "there are no jets"
    else:
        total = pushes.sum(axis=0)
        push = float(np.hypot(*total))
        push_sum = float(np.hypot(*pushes.T).sum())
        if len(pushes) > 1:
            blocked = float(np.max(np.hypot(*(total - pushes).T)))
        per_push = _offset_per_push(data, chamber, m)
        if per_push is None:
            reasons["column_offset"] = "there is no core at mid-height under an exhaust"
        else:
            offset = push * per_push
            offset_blocked = None if blocked is None else blocked * per_push
    return Asymmetry(
        draught=COMMON_DRAUGHT if draught is None else float(draught),
        inflow_speed=_inflow_speed(data, reasons),
        push=push,
        push_one_blocked=blocked,
        push_sum=push_sum,
        offset=offset,
        offset_one_blocked=offset_blocked,
        reach=chamber.exhaust_radius,
        reasons=reasons,
    )


def _inflow_speed(data: ResultData, reasons: dict[str, str]) -> float | None:
    """Inflow through the open sides over their true open area [m/s]."""
    share = data.places.get("side_open_fraction")
    if share is None or not np.any(share > 0.0):
        reasons["draught_ratio"] = "no side is open to the room"
        return None
    if "mass_flux_r" not in data.budget:
        reasons["draught_ratio"] = "the file has no face fluxes"
        return None
    width, footprint = data.attributes.get("chamber_width"), data.attributes.get("footprint")
    # The round model has less perimeter than a square box; the room's air comes in through the true one.
    perimeter = 4.0 * width if width and footprint == "square" else 2.0 * math.pi * data.r_face[-1]
    area = float(perimeter * np.sum(share * np.diff(data.z_face)))
    inflow = -float(np.minimum(data.budget["mass_flux_r"][:, -1], 0.0)[share > 0.0].sum())
    speed = inflow / float(data.attributes["density"]) / area
    if speed <= 0.0:
        reasons["draught_ratio"] = "no air comes in through the sides"
        return None
    return speed


def _pushes(places: dict[str, np.ndarray]) -> np.ndarray | None:
    """Sideways momentum flux of each tube's jets on the plan, (n_tubes, 2) [N]; None without jets."""
    if "hole_tube" not in places or places["hole_tube"].size == 0 or "tube_x" not in places:
        return None
    tube = places["hole_tube"].astype(int)
    x, y = places["tube_x"][tube], places["tube_y"][tube]
    radius = np.hypot(x, y)
    # A jet keeps its moment arm, so its angle to the tangent at the tube's axis has this cosine; inward positive.
    along = np.clip(places["hole_moment_arm"] / radius, -1.0, 1.0)
    inward = np.sqrt(1.0 - along**2)
    force = places["hole_mass_flow"] * places["hole_speed"] * np.cos(places["hole_elevation"])
    push = np.zeros((places["tube_x"].size, 2))
    np.add.at(push[:, 0], tube, force * (-along * y - inward * x) / radius)
    np.add.at(push[:, 1], tube, force * (along * x - inward * y) / radius)
    return push


def _offset_per_push(data: ResultData, chamber: Chamber, m: FieldMeasures) -> float | None:
    """Offset of the column over the jets' net push, 2 pi r_e^2/(rho Gamma Q) [m/N]; postproc/README.md."""
    flow = float(data.attributes.get("exhaust_flow") or 0.0)
    if chamber.exhaust_radius is None or m.core_circulation is None or not flow > 0.0:
        return None
    return 2.0 * math.pi * chamber.exhaust_radius**2 / (chamber.density * m.core_circulation * flow)
