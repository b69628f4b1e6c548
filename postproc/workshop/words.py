"""Fans, supplies, sound and room in words, for paper and screen alike."""

from __future__ import annotations

import math

from swirlwright.postproc.workshop.power import INRUSH, MARGIN, FanDuty, Power
from swirlwright.postproc.workshop.units import Unit
from swirlwright.solver.network_table import digits


def fan_rows(power: Power, unit: Unit) -> list[list[str]]:
    """A row for each set of equal fans: title, count, speed, flow, pressure, power, power at full speed, voltage."""
    return [
        [
            f"{fan.place}: {fan.title}",
            str(fan.count),
            digits(round(fan.speed)),
            "none" if fan.flow is None else unit.flow_number(fan.flow),
            "none" if fan.pressure is None else unit.pressure_number(fan.pressure),
            "not stated" if fan.power is None else digits(fan.power),
            "not stated" if fan.full_power is None else digits(fan.full_power),
            "not stated" if fan.voltage is None else digits(fan.voltage),
        ]
        for fan in power.fans
    ]


def fan_line(fan: FanDuty, unit: Unit) -> str:
    """One set of equal fans in a line."""
    duty = "no operating point"
    if fan.flow is not None and fan.pressure is not None:
        duty = f"{unit.flow(fan.flow)} at {unit.pressure(fan.pressure)} each"
    power = "power not stated" if fan.power is None else f"{digits(fan.power)} W each"
    return f"{fan.place}: {fan.count} x {fan.title}, {fan.speed:.0f} rpm: {duty}, {power}"


def amperes(current: float) -> float:
    """A current up to the next tenth, below 1 A hundredth [A]; a division's last digit is no reason for one more."""
    parts = 10 if current >= 1.0 else 100
    return math.ceil(parts * current - 1e-9) / parts


def load_lines(power: Power) -> list[str]:
    """Electrical load and the rating of each supply."""
    lines = []
    for supply in power.supplies:
        volts = "voltage not stated" if supply.voltage is None else f"{supply.voltage:g} V"
        current = "" if supply.current is None else f", {amperes(supply.current):g} A"
        lines.append(
            f"Supply, {volts}: fans take {digits(supply.load)} W at the speeds of the case and"
            f" {digits(supply.full_load)} W at full speed; rate it for {supply.rating:.3g} W{current} or more: a"
            f" margin of {100 * (MARGIN - 1):.0f} % (NEC 210.20(A) for loads of three hours and more, and common"
            " practice; from memory). Lamps and fogger come on top."
        )
    if power.unknown:
        lines.append(f"Power is not stated for {', '.join(power.unknown)}: read it off their plates and add it.")
    return [*lines, f"Inrush: {INRUSH}"] if power.fans else lines


def sound_line(power: Power, unit: Unit) -> str:
    """The sound estimate, where the fan files give one."""
    if power.sound_level is None:
        why = "not every fan file has a sound_level" if power.fans else "the case names no fan"
        return f"Sound: no estimate, since {why}."
    return (
        f"Sound: about {power.sound_level:.0f} dB(A) {unit.long(1.0)} from all fans together, from the levels of their"
        " files by the fan laws (50 lg of the speed ratio); jets, grilles and the echo of the room come on top."
    )


def room_line(power: Power, unit: Unit) -> str:
    """Heat and air change of the room."""
    room = power.room
    parts = [
        f"Room: {unit.volume(room.volume)}{'' if room.is_given else ' for example (air.room_volume is not given)'}."
    ]
    if power.load:
        parts.append(
            f"The fans' {digits(power.load)} W all become heat: at most {room.warming:.2g} K an hour if none left."
        )
    if power.exhaust_flow:
        parts.append(
            f"The exhaust moves {unit.flow(power.exhaust_flow)}, {room.air_changes:.3g} times the room's air"
            " an hour: led outdoors, as much must come in from elsewhere; blown back into the room it changes no air,"
            " and fog and heat stay."
        )
    return " ".join(parts)


def power_lines(power: Power, unit: Unit) -> list[str]:
    """Everything in lines, fans first."""
    fans = (fan_line(fan, unit) for fan in power.fans)
    return [*fans, *load_lines(power), sound_line(power, unit), room_line(power, unit)]
