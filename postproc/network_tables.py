"""The air network kept in a result file, as tables for a page."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from swirlwright.solver.network_table import BUDGET_NAMES, column, digits

# Key in the file, words, unit, factor from SI.
ROWS = (
    ("supply_flow_m3_per_s", "supply flow", "m³/h", 3600.0),
    ("plenum_pressure_pa", "plenum pressure", "Pa", 1.0),
    ("supply_power_air_w", "power the supply gives to the air", "W", 1.0),
    ("supply_power_electrical_w", "electrical power of the supply fans", "W", 1.0),
    ("room_flow_m3_per_s", "flow of tubes fed from the room", "m³/h", 3600.0),
    ("inlet_flow_m3_per_s", "inlet flow", "m³/h", 3600.0),
    ("fog_flow_m3_per_s", "fog flow", "m³/h", 3600.0),
    ("side_flow_m3_per_s", "net in through the sides", "m³/h", 3600.0),
    ("chamber_pressure_pa", "chamber pressure at mid-height", "Pa", 1.0),
    ("exhaust_flow_m3_per_s", "exhaust flow", "m³/h", 3600.0),
    ("exhaust_plane_pressure_pa", "total pressure in the exhaust opening", "Pa", 1.0),
    ("exhaust_loss_pa", "lost behind the opening", "Pa", 1.0),
    ("exhaust_power_electrical_w", "electrical power of the exhaust fans", "W", 1.0),
    ("jet_momentum_n", "momentum of all jets", "mN", 1000.0),
    ("jet_torque_nm", "torque of all jets", "mN m", 1000.0),
)
HOLES = (
    ("row", "row", 1),
    ("height_m", "height, mm", 1000),
    ("diameter_m", "⌀, mm", 1000),
    ("pressure_drop_pa", "across, Pa", 1),
    ("flow_m3_per_s", "flow, m³/h", 3600),
    ("speed_m_per_s", "speed, m/s", 1),
    ("momentum_n", "momentum, mN", 1000),
    ("reynolds_number", "Re", 1),
    ("elevation_rad", "elevation, °", math.degrees(1)),
)


@dataclass(frozen=True)
class TubeTable:
    """One kind of tube: heading, facts in a line, pressure budget and a row per hole, all as text."""

    name: str
    facts: str
    budget: list[tuple[str, str]]
    heads: list[str]
    holes: list[list[str]]


@dataclass(frozen=True)
class NetworkTables:
    """The network as text: what holds for the whole, then each kind of tube."""

    rows: list[tuple[str, str]]
    tubes: list[TubeTable]


def network_tables(network: dict[str, Any]) -> NetworkTables | None:
    """Make the tables from the plain data of the network; None where there is no network worth a table."""
    rows = [(words, f"{digits(factor * network[key])} {unit}") for key, words, unit, factor in ROWS if network.get(key)]
    if not rows:
        return None
    if network.get("is_estimate"):
        rows.append(("chamber pressure and exhaust flow", "estimate"))
    kinds: list[dict[str, Any]] = []
    for tube in network.get("tubes", []):
        if tube not in kinds:
            kinds.append(tube)
    return NetworkTables(rows, [_tube(tube, network["tubes"]) for tube in kinds])


def _tube(tube: dict[str, Any], tubes: list[dict[str, Any]]) -> TubeTable:
    alike = [str(i + 1) for i, other in enumerate(tubes) if other == tube]
    feed = "the room" if tube["feed"] == "room" else tube["feed"]
    flow, speed = digits(3600 * tube["flow_m3_per_s"]), digits(tube["entry_speed_m_per_s"])
    share, evenness = tube["hole_area_over_tube_area"], tube["first_over_last"]
    facts = (
        f"Inside ⌀ {digits(1000 * tube['inner_diameter_m'])} mm, fed from {feed}; flow {flow} m³/h, {speed} "
        f"m/s behind the entrance; hole area over tube area {share:.2f}; jet speed of the first hole over the "
        f"last {evenness:.3f}, deviation over mean {100 * tube['unevenness']:.2g} %."
    )
    budget = tube["pressure_budget_pa"]
    columns = [column([factor * hole[key] for hole in tube["holes"]]) for key, _, factor in HOLES]
    return TubeTable(
        name=f"Tube{'s' if len(alike) > 1 else ''} {', '.join(alike)}{', each' if len(alike) > 1 else ''}",
        facts=facts,
        budget=list(zip((BUDGET_NAMES.get(key, key) for key in budget), column(list(budget.values())), strict=True)),
        heads=[head for _, head, _ in HOLES],
        holes=[list(row) for row in zip(*columns, strict=True)],
    )
