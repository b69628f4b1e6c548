"""The exhaust: opening, losses and fan, as the duty the flow in the chamber must meet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from swirlwright.solver.casefile import fan_file, read_fan_file
from swirlwright.solver.fans import FanCurve, fan_curve, in_parallel
from swirlwright.solver.operating_points import OperatingPoint, chosen_point, operating_points
from swirlwright.solver.schema import Case


@dataclass(frozen=True)
class ExhaustDuty:
    """What draws air through the opening in the ceiling.

    The fan sees the flow-weighted mean total pressure at the opening, without the energy of the swirl, less
    the losses behind it; what pre-swirl does to the fan itself is neglected.

    Attributes
    ----------
    kind : "flow", "pressure" or "fan"
    radius, hub_radius : m
    losses : float
        Guard, grille and duct together, on the mean dynamic head in the opening [1].
    density : kg/m3
    given_flow : float or None
        Where the case gives the flow [m3/s].
    suction : float or None
        Where the case gives it: pressure behind the losses below the room's, positive [Pa].
    fans : FanCurve or None
        All exhaust fans as one curve, at the case's speed and density.
    """

    kind: Literal["flow", "pressure", "fan"]
    radius: float
    hub_radius: float
    losses: float
    density: float
    given_flow: float | None = None
    suction: float | None = None
    fans: FanCurve | None = None

    @property
    def area(self) -> float:
        """Area of the opening around the hub [m2]."""
        return math.pi * (self.radius**2 - self.hub_radius**2)

    def loss(self, flow: float) -> float:
        """Return the pressure lost behind the opening [Pa] at a flow [m3/s]."""
        return self.losses * 0.5 * self.density * (flow / self.area) ** 2

    def plane_pressure(self, flow: float) -> float:
        """Return the total pressure needed in the opening, against the room [Pa]; negative is suction.

        Flow-weighted mean over the opening, without the energy of the swirl.

        Parameters
        ----------
        flow : float
            [m3/s]

        Raises
        ------
        ValueError
            If the case gives the flow: then the pressure is whatever the chamber takes.
        """
        if self.fans is not None:
            return self.loss(flow) - self.fans.pressure_at(flow)
        if self.suction is not None:
            return self.loss(flow) - self.suction
        raise ValueError("an exhaust of given flow has no pressure of its own")

    def flow_for(self, plane_pressure: float) -> float:
        """Return the flow [m3/s] the exhaust draws at a total pressure in the opening [Pa].

        With fans the stable operating point of largest flow; 0 where the pressure is too low for them. An
        exhaust of given suction without losses takes any flow at that one pressure: infinite above it.
        """
        if self.given_flow is not None:
            return self.given_flow
        if self.suction is not None:
            excess = plane_pressure + self.suction
            if excess <= 0.0:
                return 0.0
            if self.losses == 0.0:
                return math.inf
            return self.area * math.sqrt(2.0 * excess / (self.density * self.losses))
        point = chosen_point(self.points(plane_pressure))
        return 0.0 if point is None else point.flow

    def points(self, plane_pressure: float) -> tuple[OperatingPoint, ...]:
        """Return all operating points of the fans at a total pressure in the opening [Pa]."""
        if self.fans is None:
            return ()
        return operating_points(self.fans, lambda flow: self.loss(flow) - plane_pressure)


def exhaust_duty(case: Case) -> ExhaustDuty | None:
    """Return the duty of a case's exhaust; None where it has none.

    Raises
    ------
    InputError
        If the fan file cannot be read.
    """
    exhaust = case.exhaust
    if exhaust is None:
        return None
    fans = None
    if exhaust.fan is not None:
        one = fan_curve(read_fan_file(fan_file(case, exhaust.fan)))
        one = one.scaled(speed_ratio=exhaust.fan_speed_ratio, density=case.density)
        fans = in_parallel([one] * exhaust.fan_count)
    return ExhaustDuty(
        kind="fan" if fans is not None else "pressure" if exhaust.pressure is not None else "flow",
        radius=exhaust.diameter / 2,
        hub_radius=exhaust.hub_diameter / 2,
        losses=exhaust.guard_loss + exhaust.grille_loss + exhaust.duct_loss,
        density=case.density,
        given_flow=exhaust.flow,
        suction=exhaust.pressure,
        fans=fans,
    )
