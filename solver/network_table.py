"""The air network as a table a builder can read, and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from swirlwright.solver.manifold import TubeState
    from swirlwright.solver.network import AirNetwork

# What each entry of a tube's pressure budget is called.
BUDGET_NAMES = {
    "inlet": "pressure before the tube",
    "entrance": "lost at the entrance",
    "velocity": "velocity behind the entrance",
    "friction": "lost by friction",
    "recovery": "regained as air leaves",
    "last_hole": "across the last hole",
    "chamber": "in the chamber there",
}


def network_table(network: AirNetwork) -> list[str]:
    """Return the network as lines of text, with the units of a workshop: m3/h, Pa, m/s, mm."""
    lines = ["Air network", ""]
    lines += [f"  {name:<44}{value:>10} {unit}".rstrip() for name, value, unit in _rows(network)]
    seen: list[TubeState] = []
    for number, state in enumerate(network.tubes):
        if state not in seen:
            seen.append(state)
            lines += ["", *_tube_lines(network, number, state)]
    if network.warnings:
        lines += ["", "Cautions", *(f"  - {warning}" for warning in network.warnings)]
    return lines


def _rows(network: AirNetwork) -> Iterator[tuple[str, str, str]]:
    """Name, value and unit of what holds for the whole network."""

    def flow(name: str, value: float) -> tuple[str, str, str]:
        return name, digits(3600.0 * value), "m3/h"

    if network.feeding is not None and network.source is not None:
        if network.source.fans is not None:
            yield f"supply: {network.source.fans.title}", "", ""
        yield flow("supply flow", network.supply_flow)
        yield "plenum pressure", digits(network.plenum_pressure), "Pa"
        lost = network.plenum_pressure - network.feeding.inlet_pressure
        yield "lost in the plenum", digits(lost), "Pa"
        yield "power given to the air", digits(network.supply_power_air), "W"
        if network.supply_power_electrical is not None:
            yield "power of the supply fans", digits(network.supply_power_electrical), "W"
    if network.room_flow:
        yield flow("flow of tubes fed from the room", network.room_flow)
    if network.inlet_flow:
        yield flow("inlet flow", network.inlet_flow)
    if network.fog_flow:
        yield flow("fog flow", network.fog_flow)
    about = " (estimate)" if network.is_estimate else ""
    yield f"chamber pressure{about}", digits(network.chamber_pressure), "Pa"
    if network.exhaust is not None:
        if network.exhaust.fans is not None:
            yield f"exhaust: {network.exhaust.fans.title}", "", ""
        yield flow(f"exhaust flow{about}", network.exhaust_flow)
        yield "mean speed in the opening", digits(network.exhaust_flow / network.exhaust.area), "m/s"
        yield "total pressure in the opening", digits(network.exhaust_plane_pressure), "Pa"
        yield "lost behind the opening", digits(network.exhaust.loss(network.exhaust_flow)), "Pa"
        if network.exhaust_power_electrical is not None:
            yield "power of the exhaust fans", digits(network.exhaust_power_electrical), "W"
    # Without open sides the net flow is the round-off of the balance.
    through = network.side_flow if abs(network.side_flow) > 1e-9 * max(network.exhaust_flow, 1e-9) else 0.0
    yield flow(f"net in through the sides{about}", through)
    if len(network.jets):
        yield "holes", str(len(network.jets)), ""
        yield "momentum of all jets", digits(network.momentum), "N"
        yield "torque of all jets", digits(network.torque), "N m"


def _tube_lines(network: AirNetwork, first: int, state: TubeState) -> Iterator[str]:
    alike = [str(i + 1) for i, other in enumerate(network.tubes) if other == state]
    tube = state.tube
    yield f"Tube {', '.join(alike)}: inside {1000 * tube.diameter:.4g} mm, fed from {_feed(tube.feed)}"
    yield f"  flow {digits(3600 * state.flow)} m3/h, {digits(state.entry_speed)} m/s behind the entrance"
    yield (
        f"  jet speed of the first hole over the last {state.first_over_last:.3f}; standard deviation"
        f" over mean {100 * state.unevenness:.2g} per cent"
    )
    yield f"  hole area over tube area {tube.hole_area / tube.area:.2f}"
    yield "  pressure, Pa"
    for key, text in zip(state.budget, column(list(state.budget.values())), strict=True):
        yield f"    {BUDGET_NAMES[key]:<42}{text:>10}"
    yield "  row  height  diameter  across hole    flow   speed  momentum    Re  elevation"
    yield "           mm        mm           Pa    m3/h     m/s        mN            deg"
    drop, speed = column(state.hole_drop), column(state.hole_speed)
    flow = column([3600.0 * q for q in state.hole_flow])
    pairs = zip(state.hole_flow, state.hole_speed, strict=True)
    momentum = column([1000.0 * network.density * q * u for q, u in pairs])
    for k, hole in enumerate(tube.holes):
        yield (
            f"  {hole.row + 1:>3}{1000 * hole.height:>8.0f}{1000 * hole.diameter:>10.2f}"
            f"{drop[k]:>13}{flow[k]:>8}{speed[k]:>8}{momentum[k]:>10}{state.hole_reynolds[k]:>6.0f}"
            f"{math.degrees(state.elevation[k]):>11.1f}"
        )


def _feed(feed: str) -> str:
    return "the room" if feed == "room" else feed


def digits(value: float) -> str:
    """A number as in a `column` of its own."""
    return column([value])[0]


def column(values: Sequence[float]) -> list[str]:
    """Numbers of one kind to four digits of the largest, all with the same decimals; without, if all are whole.

    No exponent where a builder would not write one; a dash for what is not finite.
    """
    largest = float(f"{max((abs(value) for value in values if math.isfinite(value)), default=0.0):.4g}")
    if largest == 0.0 or 1e-3 <= largest < 1e5:
        places = 3 - math.floor(math.log10(largest)) if largest else 0
        # Adding zero takes the sign from what is rounded to nothing.
        values = [round(value, places) + 0.0 if math.isfinite(value) else value for value in values]
        are_whole = all(float(value).is_integer() for value in values if math.isfinite(value))
        form = f".{0 if are_whole else max(0, places)}f"
    else:
        form = ".3e"
    return [format(value, form) if math.isfinite(value) else "–" for value in values]


def network_json(network: AirNetwork) -> dict[str, Any]:
    """Return the network as plain data: SI units, keys as `name_unit`."""
    exhaust = network.exhaust
    return {
        "supply_flow_m3_per_s": network.supply_flow,
        "room_flow_m3_per_s": network.room_flow,
        "inlet_flow_m3_per_s": network.inlet_flow,
        "fog_flow_m3_per_s": network.fog_flow,
        "side_flow_m3_per_s": network.side_flow,
        "exhaust_flow_m3_per_s": network.exhaust_flow,
        "plenum_pressure_pa": network.plenum_pressure,
        "supply_power_air_w": network.supply_power_air,
        "supply_power_electrical_w": network.supply_power_electrical,
        "exhaust_power_electrical_w": network.exhaust_power_electrical,
        "chamber_pressure_pa": network.chamber_pressure,
        "is_estimate": network.is_estimate,
        "exhaust_kind": None if exhaust is None else exhaust.kind,
        "exhaust_area_m2": None if exhaust is None else exhaust.area,
        "exhaust_plane_pressure_pa": None if exhaust is None else network.exhaust_plane_pressure,
        "exhaust_loss_pa": None if exhaust is None else exhaust.loss(network.exhaust_flow),
        "jet_momentum_n": network.momentum,
        "jet_torque_nm": network.torque,
        "tubes": [_tube_json(network, state) for state in network.tubes],
        "warnings": list(network.warnings),
    }


def _tube_json(network: AirNetwork, state: TubeState) -> dict[str, Any]:
    tube = state.tube
    return {
        "feed": tube.feed,
        "inner_diameter_m": tube.diameter,
        "flow_m3_per_s": state.flow,
        "entry_speed_m_per_s": state.entry_speed,
        "first_over_last": state.first_over_last,
        "unevenness": state.unevenness,
        "hole_area_over_tube_area": tube.hole_area / tube.area,
        "pressure_budget_pa": state.budget,
        "holes": [
            {
                "row": hole.row + 1,
                "height_m": hole.height,
                "diameter_m": hole.diameter,
                "pressure_drop_pa": state.hole_drop[k],
                "flow_m3_per_s": state.hole_flow[k],
                "speed_m_per_s": state.hole_speed[k],
                "momentum_n": network.density * state.hole_flow[k] * state.hole_speed[k],
                "reynolds_number": state.hole_reynolds[k],
                "elevation_rad": state.elevation[k],
            }
            for k, hole in enumerate(tube.holes)
        ],
    }
