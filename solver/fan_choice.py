"""Which fans of a folder serve a duty, how many of them, at which speed, and how far from stall they work."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

from swirlwright.solver.casefile import read_fan_file
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.fans import FanCurve, fan_curve, in_parallel
from swirlwright.solver.operating_points import chosen_point, operating_points

MOST_FANS = 4
# Motors on speed controllers hardly start below this share of their speed; our own limit.
SLOWEST = 0.4
# Flow at the operating point over that at stall, less 1: fans are kept about a tenth away (common practice, memory).
LEAST_MARGIN = 0.1
# A stretch of the curve less than this as steep as the one before it, towards less flow, is the dip of a stall.
DIP = 0.5
# A cone that narrows to the fan, on the head in the fan (Idelchik, Handbook of Hydraulic Resistance, from memory).
CONE_LOSS = 0.1


@dataclass(frozen=True)
class Duty:
    """What fans must give: flow [m3/s] at static pressure [Pa]."""

    flow: float
    pressure: float

    @property
    def power_air(self) -> float:
        """Power given to the air [W]."""
        return self.flow * self.pressure


@dataclass(frozen=True)
class FanChoice:
    """A fan of the folder on a duty.

    Attributes
    ----------
    file : Path
    title : str
    count : int
        Equal fans in parallel.
    speed_ratio : float or None
        Over the speed of the file; None where its curve cannot give the duty at any speed [1].
    flow, pressure : float
        Operating point of all of them [m3/s], [Pa].
    transition_loss : float
        K of the way from the opening to the fans, on the mean head in the opening [1].
    stall_margin : float or None
        Flow over that at stall, less 1; None where the curve shows no stall [1].
    power_electrical : float or None
        Of all of them, by the fan laws; None where it is not printed [W].
    reason : str
        Why they do not serve; empty where they do.
    """

    file: Path
    title: str
    count: int
    speed_ratio: float | None
    flow: float
    pressure: float
    transition_loss: float
    stall_margin: float | None
    power_electrical: float | None
    reason: str

    @property
    def serves(self) -> bool:
        return not self.reason

    def as_json(self) -> dict[str, Any]:
        """Plain values, SI."""
        return {
            "file": self.file.name,
            "title": self.title,
            "count": self.count,
            "speed_ratio": self.speed_ratio,
            "flow_m3_per_s": self.flow,
            "pressure_pa": self.pressure,
            "transition_loss": self.transition_loss,
            "stall_margin": self.stall_margin,
            "power_electrical_w": self.power_electrical,
            "serves": self.serves,
            "reason": self.reason,
        }


def fans_in(folder: Path) -> list[tuple[Path, FanCurve]]:
    """Return the fan curves of a folder, by file name.

    Raises
    ------
    InputError
        If there is none, or a file is wrong.
    """
    files = sorted(folder.glob("*.toml"))
    if not files:
        what = "holds no fan file (*.toml)" if folder.is_dir() else "must be a folder of fan files"
        raise InputError([Problem(str(folder), 0, "", None, what)])
    problems: list[Problem] = []
    found = []
    for file in files:
        try:
            found.append((file, fan_curve(read_fan_file(file))))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    return found


def stall_flow(curve: FanCurve) -> float | None:
    """Return the flow [m3/s] below which the curve rises or dips, as fans do that stall; None where it does not.

    The right end of the last stretch that does not fall with the flow, or that falls less than half as steeply as the
    one before it. Our own reading of a curve that makers print without saying where it stalls.
    """
    points = list(zip(curve.flow, curve.pressure, strict=True))
    slopes = [(p1 - p0) / (q1 - q0) for (q0, p0), (q1, p1) in pairwise(points)]
    for i in range(len(slopes) - 1, -1, -1):
        if slopes[i] >= 0.0 or (i > 0 and slopes[i - 1] < 0.0 and slopes[i] > DIP * slopes[i - 1]):
            return curve.flow[i + 1]
    return None


def transition_loss(opening: float, area: float, fan_diameter: float, count: int) -> float:
    """Return K of the way from the exhaust opening to fans of another size, on the mean head in the opening [1].

    A cone where the fans are narrower; where they are wider a sudden widening (Borda and Carnot) of the ring around the
    hub to the whole of their area. A fan as wide as the opening sits in it, its hub in place of the opening's.

    Parameters
    ----------
    opening : float
        Diameter [m].
    area : float
        Free area of the opening, around the hub [m2].
    fan_diameter : float
        [m]
    count : int
    """
    whole, fans = math.pi / 4 * opening**2, count * math.pi / 4 * fan_diameter**2
    # Diameters are printed in whole millimetres and scaled in floats: as wide is within a thousandth.
    if fans <= whole * (1.0 + 1e-3):
        return CONE_LOSS * max(1.0 - fans / whole, 0.0) * (area / fans) ** 2
    return (1.0 - area / fans) ** 2


def choose_fans(
    curves: Sequence[tuple[Path, FanCurve]],
    duty: Callable[[FanCurve, int], tuple[Duty, float]],
    density: float,
) -> tuple[FanChoice, ...]:
    """Return each fan in the least number that serves, those that serve first, by electrical power.

    Parameters
    ----------
    curves : sequence of (Path, FanCurve)
    duty : callable
        Duty, and its transition's loss, for a number of fans of a kind.
    density : float
        Of the air [kg/m3].
    """
    found = []
    for file, curve in curves:
        tried = [_on_duty(file, curve.scaled(density=density), n, *duty(curve, n)) for n in range(1, MOST_FANS + 1)]
        # Where none serves, the number that comes nearest is told: the most where weak, one where too strong.
        weak = [choice for choice in tried if choice.speed_ratio is None or choice.speed_ratio > 1.0]
        found.append(next((c for c in tried if c.serves), tried[-1] if len(weak) == len(tried) else tried[len(weak)]))
    return tuple(sorted(found, key=lambda c: (not c.serves, c.power_electrical or math.inf, c.count)))


def _on_duty(file: Path, curve: FanCurve, count: int, duty: Duty, loss: float) -> FanChoice:
    """A number of equal fans on a duty: the speed follows from the parabola through it (fan laws)."""
    joint = in_parallel([curve] * count)
    # At another speed every point of the curve moves along its parabola p ~ Q^2.
    point = chosen_point(operating_points(joint, lambda q: duty.pressure * (q / duty.flow) ** 2))
    ratio = margin = power = None
    reason = "its curve does not reach the duty"
    if point is not None and point.flow > 0.0 and not point.is_beyond:
        ratio = duty.flow / point.flow
        stall = stall_flow(joint)
        margin = None if stall is None else point.flow / stall - 1.0
        power = joint.scaled(speed_ratio=ratio).power
        reason = _lack(ratio, margin)
    return FanChoice(
        file=file,
        title=curve.title,
        count=count,
        speed_ratio=ratio,
        flow=duty.flow,
        pressure=duty.pressure,
        transition_loss=loss,
        stall_margin=margin,
        power_electrical=power,
        reason=reason,
    )


def _lack(ratio: float, margin: float | None) -> str:
    if ratio > 1.0:
        return f"too weak: would have to turn {ratio:.2f} times as fast as printed"
    if ratio < SLOWEST:
        return f"too strong: would turn at {ratio:.2f} of its speed, below {SLOWEST:g}"
    if margin is not None and margin < 0.0:
        return f"would stall: flow {-100 * margin:.0f} % below that of its stall"
    if margin is not None and margin < LEAST_MARGIN:
        return f"near stall: flow {100 * margin:.0f} % above that of its stall, {100 * LEAST_MARGIN:.0f} % is wanted"
    return ""
