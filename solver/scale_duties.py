"""Duties of a scaled chamber's fans, and the fans put into its case."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from swirlwright.solver.casefile import fan_file, read_fan_file
from swirlwright.solver.exhaust import exhaust_duty
from swirlwright.solver.fan_choice import Duty, FanChoice, transition_loss
from swirlwright.solver.fans import FanCurve
from swirlwright.solver.network import AirNetwork
from swirlwright.solver.schema import Case
from swirlwright.solver.similarity import rounded

# Digits of a fan's speed ratio: a controller sets no more.
SPEED_DIGITS = 4


def own_fans(case: Case) -> Path | None:
    """The folder of the first fan file a case names; None where it names none."""
    names = [fan.file for fan in case.supply.fans] if case.supply is not None else []
    if case.exhaust is not None and case.exhaust.fan is not None:
        names.insert(0, case.exhaust.fan)
    return fan_file(case, names[0]).parent if names else None


def exhaust_duty_of(network: AirNetwork) -> Duty | None:
    """What the exhaust must draw through its own opening and losses; None without one that needs a fan."""
    if network.exhaust is None or network.exhaust_flow <= 0.0:
        return None
    pressure = network.exhaust.loss(network.exhaust_flow) - network.exhaust_plane_pressure
    return Duty(network.exhaust_flow, max(pressure, 0.0))


def is_pressure_free(case: Case) -> bool:
    """Whether there is a plenum whose pressure can be chosen; a closed chamber's flows are bound to the exhaust's."""
    return case.supply is not None and case.chamber.open_area + case.chamber.leak_area > 0.0


def plenum_duty_of(network: AirNetwork) -> Duty | None:
    return None if network.feeding is None else Duty(network.supply_flow, network.plenum_pressure)


def with_transition(original: Case, case: Case, duty: Duty) -> Callable[[FanCurve, int], tuple[Duty, float]]:
    """The exhaust's duty with the way to a number of fans, as far as that is longer than the original's."""
    assert case.exhaust is not None and original.exhaust is not None
    there, here = exhaust_duty(original), exhaust_duty(case)
    assert there is not None and here is not None
    own = 0.0
    if original.exhaust.fan is not None:
        diameter = read_fan_file(fan_file(original, original.exhaust.fan)).diameter
        own = transition_loss(original.exhaust.diameter, there.area, diameter, original.exhaust.fan_count)
    opening = case.exhaust.diameter
    head = 0.5 * case.density * (duty.flow / here.area) ** 2

    def with_fans(curve: FanCurve, count: int) -> tuple[Duty, float]:
        loss = max(transition_loss(opening, here.area, curve.diameter, count) - own, 0.0)
        return Duty(duty.flow, duty.pressure + loss * head), loss

    return with_fans


def put_fans(
    case: Case,
    data: dict[str, Any],
    exhaust_fans: tuple[FanChoice, ...],
    plenum_fans: tuple[FanChoice, ...],
    folder: Path | None,
) -> None:
    """Put the first fans that serve in the place of the duties, where the original has fans."""
    if folder is None:
        return
    name = folder.resolve().name
    if case.exhaust is not None and case.exhaust.fan is not None and exhaust_fans and exhaust_fans[0].serves:
        best = exhaust_fans[0]
        exhaust = data["exhaust"]
        del exhaust["flow"]
        exhaust["fan"] = f"{name}/{best.file.name}"
        exhaust["fan_count"] = best.count
        exhaust["fan_speed_ratio"] = _speed(best)
        exhaust["duct_loss"] = rounded(round(exhaust.get("duct_loss", 0.0) + best.transition_loss, 3))
    if case.supply is not None and case.supply.fans and plenum_fans and plenum_fans[0].serves:
        best = plenum_fans[0]
        del data["supply"]["pressure"]
        fan = {"file": f"{name}/{best.file.name}", "count": best.count, "speed_ratio": _speed(best)}
        data["supply"] = {"fans": [fan], **data["supply"]}


def _speed(choice: FanChoice) -> float:
    assert choice.speed_ratio is not None
    return float(f"{choice.speed_ratio:.{SPEED_DIGITS}g}")
