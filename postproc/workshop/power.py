"""What the fans of a case do and take: operating points, electrical load, sound, heat and air of the room."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from swirlwright.solver.casefile import fan_file, read_fan_file
from swirlwright.solver.fans import FanCurve, fan_curve
from swirlwright.solver.network import AirNetwork
from swirlwright.solver.operating_points import chosen_point, operating_points
from swirlwright.solver.schema import Case, FanFile

# A supply is rated for so much more than what runs on it: NFPA 70 (NEC) 210.20(A), 125 per cent of loads that run three
# hours and more; common practice for power supplies too. Both from memory.
MARGIN = 1.25
# Room looked at where the case names none [m3].
EXAMPLE_ROOM = 100.0
HEAT_CAPACITY = 1006.0  # of dry air at constant pressure [J/kg/K]
INRUSH = (
    "Motors take more while they start: two to three times their current for brushless 12 and 24 V fans, up to six to"
    " eight times for mains induction motors, for a second or so, and the input of a switched supply more for some"
    " milliseconds (common practice, from memory). Switch fans on one after another and take fuses and breakers that"
    " bear it."
)


@dataclass(frozen=True)
class FanDuty:
    """Equal fans at work. Flow, pressure, powers, current and sound are of each one.

    Attributes
    ----------
    place : str
        "exhaust" or "supply".
    title : str
    count : int
    diameter : float
        [m]
    speed : float
        [rpm]
    speed_ratio : float
        Over that of the fan file [1].
    flow, pressure : float or None
        Operating point [m3/s], [Pa]; None where there is none.
    power : float or None
        Electrical, at this speed by the fan laws; None where the file gives none [W].
    full_power : float or None
        At the speed of the file, in the air of the case like `power` [W].
    voltage : float or None
        [V]
    sound_level : float or None
        A-weighted, 1 m away, at this speed: 50 lg of the speed ratio added (fan laws; AMCA 301, from memory) [dB].
    """

    place: str
    title: str
    count: int
    diameter: float
    speed: float
    speed_ratio: float
    flow: float | None
    pressure: float | None
    power: float | None
    full_power: float | None
    voltage: float | None
    sound_level: float | None


@dataclass(frozen=True)
class SupplyRating:
    """What a supply of one voltage must give; None for a voltage the fan files do not give.

    load: of its fans at the speeds of the case [W].   full_load: at the speeds of their files, in the same air [W].
    rating: of the supply, MARGIN over the larger [W].   current: that, over the voltage [A].
    """

    voltage: float | None
    load: float
    full_load: float
    rating: float
    current: float | None


@dataclass(frozen=True)
class Room:
    """The room around the chamber.

    Attributes
    ----------
    volume : float
        [m3]
    is_given : bool
        Whether the case gives it.
    air_changes : float
        Per hour, if all exhaust air is led outdoors.
    warming : float
        By the fans in an hour if no heat were carried away: an upper bound [K].
    """

    volume: float
    is_given: bool
    air_changes: float
    warming: float


@dataclass(frozen=True)
class Power:
    """Fans, supplies, sound and room of a case.

    Attributes
    ----------
    fans : tuple of FanDuty
    supplies : tuple of SupplyRating
        By voltage.
    load : float
        Of all fans whose files give their power; all of it ends as heat in the room [W].
    unknown : tuple of str
        Fans whose files give no power.
    sound_level : float or None
        Of all fans together, A-weighted, 1 m from each; None unless every fan file gives it [dB].
    exhaust_flow : float
        [m3/s]
    air_power : float
        Given to the air by supply and exhaust, static pressure times flow [W].
    room : Room
    """

    fans: tuple[FanDuty, ...]
    supplies: tuple[SupplyRating, ...]
    load: float
    unknown: tuple[str, ...]
    sound_level: float | None
    exhaust_flow: float
    air_power: float
    room: Room


def fan_files_of(case: Case) -> dict[str, FanFile]:
    """Return the fan files a case names, under their names.

    Raises
    ------
    InputError
        If one is wrong.
    """
    names = [] if case.supply is None else [entry.file for entry in case.supply.fans]
    if case.exhaust is not None and case.exhaust.fan is not None:
        names.append(case.exhaust.fan)
    return {name: read_fan_file(fan_file(case, name)) for name in names}


def power_of(case: Case, network: AirNetwork) -> Power:
    """Return what the fans do and take.

    Raises
    ------
    InputError
        If a fan file is wrong.
    """
    files = fan_files_of(case)
    fans = (*_exhaust_fans(case, network, files), *_supply_fans(case, network, files))
    load = sum(fan.count * fan.power for fan in fans if fan.power is not None)
    volume = EXAMPLE_ROOM if case.air.room_volume is None else case.air.room_volume
    room = Room(
        volume=volume,
        is_given=case.air.room_volume is not None,
        air_changes=3600.0 * network.exhaust_flow / volume,
        warming=3600.0 * load / (network.density * HEAT_CAPACITY * volume),
    )
    exhaust_power = 0.0
    if network.exhaust is not None:
        behind = network.exhaust.loss(network.exhaust_flow) - network.exhaust_plane_pressure
        exhaust_power = max(behind, 0.0) * network.exhaust_flow
    return Power(
        fans=fans,
        supplies=tuple(_ratings(fans)),
        load=load,
        unknown=tuple(fan.title for fan in fans if fan.power is None),
        sound_level=_total_sound(fans),
        exhaust_flow=network.exhaust_flow,
        air_power=network.supply_power_air + exhaust_power,
        room=room,
    )


def _exhaust_fans(case: Case, network: AirNetwork, files: dict[str, FanFile]) -> Iterator[FanDuty]:
    exhaust = case.exhaust
    if exhaust is None or exhaust.fan is None or network.exhaust is None or network.exhaust.fans is None:
        return
    point = chosen_point(network.exhaust.points(network.exhaust_plane_pressure))
    flow = None if point is None else point.flow / exhaust.fan_count
    pressure = None if point is None else point.pressure
    yield _duty(case, "exhaust", files[exhaust.fan], exhaust.fan_count, exhaust.fan_speed_ratio, flow, pressure)


def _supply_fans(case: Case, network: AirNetwork, files: dict[str, FanFile]) -> Iterator[FanDuty]:
    if case.supply is None or network.feeding is None:
        return
    for entry in case.supply.fans:
        file = files[entry.file]
        curve = fan_curve(file).scaled(speed_ratio=entry.speed_ratio, density=case.density)
        if case.supply.arrangement == "series":
            flow: float | None = network.supply_flow
            pressure: float | None = curve.pressure_at(network.supply_flow)
        else:
            flow, pressure = _flow_at(curve, network.plenum_pressure), network.plenum_pressure
            if len(case.supply.fans) == 1:  # equal fans share the flow evenly
                flow = network.supply_flow / entry.count
        yield _duty(case, "supply", file, entry.count, entry.speed_ratio, flow, pressure)


def _flow_at(curve: FanCurve, pressure: float) -> float | None:
    point = chosen_point(operating_points(curve, lambda flow: pressure))
    return None if point is None else point.flow


def _duty(
    case: Case, place: str, file: FanFile, count: int, ratio: float, flow: float | None, pressure: float | None
) -> FanDuty:
    curve = fan_curve(file).scaled(density=case.density)
    return FanDuty(
        place=place,
        title=file.title,
        count=count,
        diameter=file.diameter,
        speed=file.speed_rpm * ratio,
        speed_ratio=ratio,
        flow=flow,
        pressure=pressure,
        power=curve.scaled(speed_ratio=ratio).power,
        full_power=curve.power,
        voltage=file.voltage,
        sound_level=None if file.sound_level is None else file.sound_level + 50.0 * math.log10(ratio),
    )


def _ratings(fans: tuple[FanDuty, ...]) -> Iterator[SupplyRating]:
    voltages = {fan.voltage for fan in fans if fan.power is not None}
    for voltage in sorted(voltages, key=lambda v: math.inf if v is None else v):
        mine = [fan for fan in fans if fan.voltage == voltage and fan.power is not None]
        load = sum(fan.count * (fan.power or 0.0) for fan in mine)
        full = sum(fan.count * (fan.full_power or 0.0) for fan in mine)
        rating = MARGIN * max(load, full)
        yield SupplyRating(voltage, load, full, rating, None if voltage is None else rating / voltage)


def _total_sound(fans: tuple[FanDuty, ...]) -> float | None:
    """Sum of sound powers [dB]."""
    levels = [fan.sound_level for fan in fans for _ in range(fan.count)]
    known = [level for level in levels if level is not None]
    if not known or len(known) < len(levels):
        return None
    return 10.0 * math.log10(sum(10.0 ** (level / 10.0) for level in known))


def power_json(power: Power) -> dict[str, Any]:
    """Plain values, SI, keys as `name_unit`."""
    return {
        "fans": [
            {
                "place": fan.place,
                "title": fan.title,
                "count": fan.count,
                "speed_rpm": fan.speed,
                "speed_ratio": fan.speed_ratio,
                "flow_m3_per_s": fan.flow,
                "pressure_pa": fan.pressure,
                "power_electrical_w": fan.power,
                "power_electrical_full_speed_w": fan.full_power,
                "voltage_v": fan.voltage,
                "sound_level_db": fan.sound_level,
            }
            for fan in power.fans
        ],
        "supplies": [
            {
                "voltage_v": supply.voltage,
                "load_w": supply.load,
                "full_speed_load_w": supply.full_load,
                "rating_w": supply.rating,
                "rating_current_a": supply.current,
            }
            for supply in power.supplies
        ],
        "margin": MARGIN,
        "load_w": power.load,
        "fans_without_power": list(power.unknown),
        "sound_level_db": power.sound_level,
        "exhaust_flow_m3_per_s": power.exhaust_flow,
        "air_power_w": power.air_power,
        "room": {
            "volume_m3": power.room.volume,
            "is_given": power.room.is_given,
            "air_changes_per_hour": power.room.air_changes,
            "warming_k_per_hour": power.room.warming,
        },
    }
