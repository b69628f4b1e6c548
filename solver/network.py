"""The air network: fans, plenum, drilled tubes and exhaust in balance with the pressure of the chamber."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from swirlwright.solver.chamber_level import Balance, balance_of, chamber_level
from swirlwright.solver.exhaust import ExhaustDuty, exhaust_duty
from swirlwright.solver.jets import Jets
from swirlwright.solver.losses import LARGEST_ROUGHNESS
from swirlwright.solver.manifold import DrilledTube, TubeBackflowError, TubeState, drilled_tube
from swirlwright.solver.network_cautions import network_cautions
from swirlwright.solver.network_table import network_json, network_table
from swirlwright.solver.plan import HolePlan, TubePlan, hole_plan, tube_plan
from swirlwright.solver.relations import inlet_flow
from swirlwright.solver.schema import Case
from swirlwright.solver.supply import Feeding, Source, TubeBank, TubeGroup, feed, refusal, supply_source

__all__ = ["AirNetwork", "ExhaustDuty", "TubeState", "network_json", "network_table", "solve_network"]


@dataclass(frozen=True)
class AirNetwork:
    """The solved network. Pressures against the room [Pa], flows in m3/s.

    Attributes
    ----------
    jets : Jets
        All holes, in the order of the plan.
    tubes : tuple of TubeState
        One per tube, in the order of the plan; equal tubes share one state.
    density, kinematic_viscosity : kg/m3, m2/s
    source : Source or None
        What feeds the plenum.
    feeding : Feeding or None
        The plenum's balance with its tubes.
    supply_flow, room_flow : float
        Through the tubes fed by the plenum, and through those fed from the room.
    inlet_flow, fog_flow : float
    exhaust : ExhaustDuty or None
    exhaust_flow : float
    exhaust_plane_pressure : float
        Total pressure in the opening; with an exhaust of given flow, the chamber's pressure.
    chamber_pressure : float
        At mid-height.
    is_estimate : bool
        Whether the chamber's pressure is the network's own estimate instead of the solved flow's.
    warnings : tuple of str
    """

    jets: Jets
    tubes: tuple[TubeState, ...]
    density: float
    kinematic_viscosity: float
    source: Source | None
    feeding: Feeding | None
    supply_flow: float
    room_flow: float
    inlet_flow: float
    fog_flow: float
    exhaust: ExhaustDuty | None
    exhaust_flow: float
    exhaust_plane_pressure: float
    chamber_pressure: float
    is_estimate: bool
    warnings: tuple[str, ...]

    @property
    def plenum_pressure(self) -> float:
        """Static pressure in the plenum [Pa]; 0 without a supply."""
        return 0.0 if self.feeding is None else self.feeding.plenum_pressure

    @property
    def supply_power_air(self) -> float:
        """Power the supply gives to the air, static pressure times flow [W]."""
        return self.plenum_pressure * self.supply_flow

    @property
    def supply_power_electrical(self) -> float | None:
        """Electrical power of the supply fans as printed, scaled by the fan laws [W]; None if not printed."""
        return None if self.source is None or self.source.fans is None else self.source.fans.power

    @property
    def exhaust_power_electrical(self) -> float | None:
        """Electrical power of the exhaust fans, as `supply_power_electrical` [W]."""
        return None if self.exhaust is None or self.exhaust.fans is None else self.exhaust.fans.power

    @property
    def side_flow(self) -> float:
        """Flow in through open sides and leaks by the mass balance [m3/s]; negative where air leaves."""
        return self.exhaust_flow - self.supply_flow - self.room_flow - self.inlet_flow - self.fog_flow

    @property
    def torque(self) -> float:
        """Torque of all jets about the chamber's axis, the sum of m U d [N m]."""
        return float(self.jets.torque.sum())

    @property
    def momentum(self) -> float:
        """Momentum flux of all jets, the sum of m U [N]."""
        return float((self.jets.mass_flow * self.jets.speed).sum())


def solve_network(
    case: Case,
    *,
    chamber_pressure: Callable[[float], float] | None = None,
    exhaust_flow: float | None = None,
) -> AirNetwork:
    """Solve the air network of a case.

    Parameters
    ----------
    case : Case
    chamber_pressure : callable, optional
        Pressure of the chamber at the tubes against the room [Pa] by height [m]. Without it, one pressure
        for the whole chamber is estimated from its balance of flows.
    exhaust_flow : float, optional
        Flow of the exhaust [m3/s], where the flow in the chamber is known.

    Raises
    ------
    InputError
        If no balance exists (chamber air would run into a tube, or nothing lets the air in or out), or a tube is
        rougher than any friction factor is known for.
    """
    duty, source = exhaust_duty(case), supply_source(case)
    _refuse_rough_tubes(case)
    tubes = [drilled_tube(entry, case.chamber.height) for entry in case.tubes]
    balance = balance_of(
        case,
        duty=duty,
        source=source,
        fed=_bank(case, tubes, _no_pressure, from_room=False),
        drawn=_bank(case, tubes, _no_pressure, from_room=True),
        exhaust_flow=exhaust_flow,
    )
    pressure = chamber_pressure
    if pressure is None:
        level = chamber_level(case, balance)
        pressure = lambda height: level  # noqa: E731
    feeding, states = _solve_tubes(case, tubes, source, pressure)
    plan, holes = tube_plan(case), hole_plan(case)
    flows = np.array([states[g].flow for g in plan.group], dtype=float)
    from_room = np.array([tubes[g].feed == "room" for g in plan.group], dtype=bool)
    supply_flow, room_flow = float(flows[~from_room].sum()), float(flows[from_room].sum())
    middle, top = pressure(0.5 * case.chamber.height), pressure(case.chamber.height)
    drawn = _exhaust_flow(balance, supply_flow + room_flow, top)
    plane = top if duty is None or duty.kind == "flow" else duty.plane_pressure(drawn)
    fog_flow = case.fog.flow if case.fog is not None else 0.0
    warnings = network_cautions(
        case,
        states=sorted(states.items()),
        supply_points=feeding.points if feeding is not None else (),
        duty=duty,
        plane_pressure=plane,
        exhaust_flow=drawn,
        side_flow=drawn - supply_flow - room_flow - balance.given_flow,
    )
    return AirNetwork(
        jets=_jets(plan, holes, states, case.density),
        tubes=tuple(states[g] for g in plan.group),
        density=case.density,
        kinematic_viscosity=case.kinematic_viscosity,
        source=source,
        feeding=feeding,
        supply_flow=supply_flow,
        room_flow=room_flow,
        inlet_flow=inlet_flow(case),
        fog_flow=fog_flow,
        exhaust=duty,
        exhaust_flow=drawn,
        exhaust_plane_pressure=plane,
        chamber_pressure=middle,
        is_estimate=chamber_pressure is None,
        warnings=warnings,
    )


def _refuse_rough_tubes(case: Case) -> None:
    """Refuse a roughness for which no friction factor is known."""
    for index, entry in enumerate(case.tubes):
        largest = LARGEST_ROUGHNESS * entry.inner_diameter
        if entry.roughness > largest:
            allowed = f"must be at most {LARGEST_ROUGHNESS:g} inner diameters, {largest:.3g} m"
            raise refusal(case, ("tubes", index, "roughness"), allowed, entry.roughness)


def _no_pressure(height: float) -> float:
    return 0.0


def _bank(
    case: Case, tubes: Sequence[DrilledTube], pressure: Callable[[float], float], *, from_room: bool
) -> TubeBank | None:
    """Return the tubes fed from the room, or those fed by the plenum; None where there are none."""
    groups = tuple(
        TubeGroup(index, entry.number, tube, tuple(pressure(hole.height) for hole in tube.holes))
        for index, (entry, tube) in enumerate(zip(case.tubes, tubes, strict=True))
        if (entry.feed == "room") is from_room
    )
    return TubeBank(groups, case.density, case.kinematic_viscosity) if groups else None


def _solve_tubes(
    case: Case, tubes: Sequence[DrilledTube], source: Source | None, pressure: Callable[[float], float]
) -> tuple[Feeding | None, dict[int, TubeState]]:
    """Return the plenum's balance and the state of each [[tubes]] entry's tube."""
    fed = _bank(case, tubes, pressure, from_room=False)
    drawn = _bank(case, tubes, pressure, from_room=True)
    feeding = None
    states: dict[int, TubeState] = {}
    try:
        if fed is not None and source is not None:
            feeding = feed(source, fed)
            states.update(zip((g.entry for g in fed.groups), feeding.states, strict=True))
        if drawn is not None:
            states.update(zip((g.entry for g in drawn.groups), drawn.states(0.0), strict=True))
    except TubeBackflowError as error:
        raise refusal(case, ("tubes", error.entry), str(error)) from error
    return feeding, states


def _exhaust_flow(balance: Balance, tubes_flow: float, top_pressure: float) -> float:
    """Return the flow of the exhaust [m3/s], exact where the mass balance alone gives it."""
    duty = balance.duty
    if balance.exhaust_flow is not None:
        return balance.exhaust_flow
    if duty is None:
        return 0.0
    if duty.given_flow is not None:
        return duty.given_flow
    inflow = tubes_flow + balance.given_flow
    if balance.open_area == 0.0:
        return inflow
    if duty.suction is not None and duty.losses == 0.0:
        return max(inflow + balance.side_flow(top_pressure), 0.0)
    return duty.flow_for(top_pressure)


def _jets(plan: TubePlan, holes: HolePlan, states: Mapping[int, TubeState], density: float) -> Jets:
    """Return all jets, holes in the order of the plan."""
    speed, flow, elevation = (np.zeros(len(holes)) for _ in range(3))
    for tube, group in enumerate(plan.group):
        mine = np.flatnonzero(holes.tube == tube)
        state = states[int(group)]
        # A state has its holes in the order the air meets them, the plan in that of the case file.
        places = mine[[hole.order for hole in state.tube.holes]]
        speed[places], flow[places], elevation[places] = state.hole_speed, state.hole_flow, state.elevation
    return Jets(
        tube=holes.tube,
        row=holes.row,
        height=holes.height,
        diameter=holes.diameter,
        radius=holes.radius,
        aim=holes.aim,
        elevation=elevation,
        speed=speed,
        mass_flow=density * flow,
        moment_arm=holes.moment_arm,
    )
