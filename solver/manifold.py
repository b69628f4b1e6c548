"""One drilled tube: a dividing-flow manifold with a capped end.

Marched from the cap, where the tube's air stands still, to the entrance; the pressure at the cap is found
such that the entrance gets the pressure it is fed with. Equations in solver/README.md, section Air network.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from swirlwright.solver.errors import SwirlwrightError
from swirlwright.solver.losses import friction_factor

if TYPE_CHECKING:
    from swirlwright.solver.schema import Tubes

# Static pressure regained where flow leaves sideways, in dynamic heads of the tube's velocity before less
# after. 1 is Bernoulli's equation along the run, twice the momentum factor 0.5 that handbooks give for
# discharge manifolds (Perry's Chemical Engineers' Handbook, perforated-pipe distributors; Howland took
# unity too; from memory). A run loss of 0.4 (1 - V2/V1)^2 per junction (Idelchik, memory) is of second
# order in one small hole's share of the flow.
RECOVERY = 1.0
# From a wall this many hole diameters thick on, the stream fills the hole again behind its contraction
# (short thick holes: Bailey 1975, J. Mech. Eng. Sci. 17:338).
FILLED_FROM = 1.0


class TubeBackflowError(SwirlwrightError):
    """Chamber air would run into a tube through its holes. `entry`: the [[tubes]] entry, counted from 0."""

    entry = 0


@dataclass(frozen=True)
class Hole:
    """A hole of a drilled tube: lengths in m, lean in rad, or None where it follows from the pipe flow.

    row, order: which row of the tube it belongs to, and its number in the case file's order.
    """

    row: int
    order: int
    height: float
    distance: float  # from the tube's entrance
    diameter: float
    discharge_coefficient: float
    is_filled: bool
    lean: float | None

    @property
    def area(self) -> float:
        """Area of the drilled hole [m2]."""
        return math.pi / 4 * self.diameter**2


@dataclass(frozen=True)
class DrilledTube:
    """What a tube's flow depends on; holes in the order the air meets them. Lengths in m."""

    diameter: float
    roughness: float
    entrance_loss: float
    feed: str
    holes: tuple[Hole, ...]

    @property
    def area(self) -> float:
        """Cross-section inside [m2]."""
        return math.pi / 4 * self.diameter**2

    @property
    def hole_area(self) -> float:
        """Total area of the holes [m2]."""
        return sum(hole.area for hole in self.holes)

    @property
    def upward(self) -> float:
        """+1 where the air in the tube flows up, -1 where down."""
        return -1.0 if self.feed == "above" else 1.0


def drilled_tube(tubes: Tubes, chamber_height: float) -> DrilledTube:
    """Return one of a case's equal tubes; a tube fed from the room is open at its lower end."""
    from_above = tubes.feed == "above"
    holes: list[Hole] = []
    for index, row in enumerate(tubes.rows):
        lean = None if row.lean == "pipe-flow" else math.radians(0.0 if row.lean == "none" else float(row.lean))
        for height in row.hole_heights():
            holes.append(
                Hole(
                    row=index,
                    order=len(holes),
                    height=height,
                    distance=chamber_height - height if from_above else height,
                    diameter=row.hole_diameter,
                    discharge_coefficient=row.discharge_coefficient,
                    is_filled=tubes.wall_thickness >= FILLED_FROM * row.hole_diameter,
                    lean=lean,
                )
            )
    holes.sort(key=lambda hole: hole.distance)
    return DrilledTube(
        diameter=tubes.inner_diameter,
        roughness=tubes.roughness,
        entrance_loss=tubes.entrance_coefficient,
        feed=tubes.feed,
        holes=tuple(holes),
    )


@dataclass(frozen=True)
class TubeState:
    """A solved tube; tuples have one entry per hole, in the order of `tube.holes`.

    Attributes
    ----------
    tube : DrilledTube
    flow : float
        [m3/s]
    inlet_pressure : float
        Total pressure before the entrance, against the room [Pa].
    entry_speed : float
        In the tube behind its entrance [m/s].
    chamber_pressure, hole_drop : Pa
        Pressure outside each hole, and static pressure in the tube less that.
    hole_flow : m3/s
    hole_speed : m/s
        Speed U of the jet that carries the momentum: at the vena contracta, or in a filled hole.
    hole_reynolds : 1
        On the hole's diameter and mean speed.
    pipe_speed : m/s
        In the tube at each hole, mean of before and after.
    elevation : rad
    friction, recovery : float
        Pressure lost and regained between entrance and last hole [Pa].
    """

    tube: DrilledTube
    flow: float
    inlet_pressure: float
    entry_speed: float
    chamber_pressure: tuple[float, ...]
    hole_drop: tuple[float, ...]
    hole_flow: tuple[float, ...]
    hole_speed: tuple[float, ...]
    hole_reynolds: tuple[float, ...]
    pipe_speed: tuple[float, ...]
    elevation: tuple[float, ...]
    entry_head: float
    friction: float
    recovery: float

    @property
    def first_over_last(self) -> float:
        """Jet speed at the hole nearest the entrance over that at the capped end [1]."""
        return self.hole_speed[0] / self.hole_speed[-1]

    @property
    def unevenness(self) -> float:
        """Standard deviation of the jet speeds over their mean [1]."""
        mean = sum(self.hole_speed) / len(self.hole_speed)
        return math.sqrt(sum((u - mean) ** 2 for u in self.hole_speed) / len(self.hole_speed)) / mean

    @property
    def budget(self) -> dict[str, float]:
        """Where the inlet pressure goes on the way to the last hole [Pa]; all but `inlet` sum to `inlet`."""
        return {
            "inlet": self.inlet_pressure,
            "entrance": self.tube.entrance_loss * self.entry_head,
            "velocity": self.entry_head,
            "friction": self.friction,
            "recovery": -self.recovery,
            "last_hole": self.hole_drop[-1],
            "chamber": self.chamber_pressure[-1],
        }


@dataclass
class March:
    """One pass from cap to entrance; lists fill from the last hole to the first."""

    inlet: float
    speed: float
    friction: float
    flows: list[float]
    drops: list[float]
    pipe: list[float]


def march(tube: DrilledTube, cap: float, outside: Sequence[float], *, density: float, viscosity: float) -> March:
    """Pass along the tube with the static pressure `cap` [Pa] at its closed end.

    Across a hole the static pressure falls upstream by the recovery; the hole is driven by the mean of both
    sides, which makes its flow the root of a quadratic and the march second order in the number of holes.
    """
    area, head = tube.area, 0.5 * density
    pressure, speed, friction = cap, 0.0, 0.0
    flows, drops, pipe = [], [], []
    for k in range(len(tube.holes) - 1, -1, -1):
        hole = tube.holes[k]
        c = hole.discharge_coefficient * hole.area
        drive = pressure - outside[k]
        if drive > 0.0:
            a, b = 1.0 + 0.5 * RECOVERY * (c / area) ** 2, RECOVERY * c * c * speed / area
            g = c * c * drive / head
            # The form without a difference: near zero drive it keeps its digits.
            flow = 2.0 * g / (b + math.sqrt(b * b + 4.0 * a * g))
            drops.append(head * (flow / c) ** 2)
        else:
            flow = -c * math.sqrt(-drive / head)
            drops.append(drive)
        before = speed + flow / area
        pressure -= RECOVERY * head * (before * before - speed * speed)
        flows.append(flow)
        pipe.append(0.5 * (speed + before))
        speed = before
        length = hole.distance - (tube.holes[k - 1].distance if k > 0 else 0.0)
        if length > 0.0 and speed != 0.0:
            factor = friction_factor(abs(speed) * tube.diameter / viscosity, tube.roughness / tube.diameter)
            loss = factor * length / tube.diameter * head * speed * abs(speed)
            pressure += loss
            friction += loss
    inlet = pressure + head * speed * speed + tube.entrance_loss * head * speed * abs(speed)
    return March(inlet, speed, friction, flows, drops, pipe)


def solve_tube(
    tube: DrilledTube, inlet_pressure: float, outside: Sequence[float], *, density: float, viscosity: float
) -> TubeState:
    """Return the flow of a tube fed with a total pressure.

    Parameters
    ----------
    tube : DrilledTube
    inlet_pressure : float
        Total pressure before the entrance, against the room [Pa].
    outside : sequence of float
        Pressure of the chamber at each hole, against the room [Pa].
    density : float
        [kg/m3]
    viscosity : float
        Kinematic [m2/s].

    Raises
    ------
    TubeBackflowError
        If at some hole the chamber's pressure is not below the tube's.
    """
    from fluids.numerics import brenth

    lowest = min(outside)
    if inlet_pressure <= lowest:
        raise TubeBackflowError(
            f"cannot blow: it is fed with {inlet_pressure:.4g} Pa while the chamber has {lowest:.4g} Pa"
        )

    def shortfall(cap: float) -> float:
        return march(tube, cap, outside, density=density, viscosity=viscosity).inlet - inlet_pressure

    if shortfall(lowest) >= 0.0:
        raise TubeBackflowError("cannot blow against the highest pressure of the chamber at its holes")
    cap = brenth(shortfall, lowest, inlet_pressure, xtol=1e-13 * max(abs(inlet_pressure), abs(lowest)))
    passed = march(tube, cap, outside, density=density, viscosity=viscosity)
    return _state(tube, inlet_pressure, outside, passed, cap, density, viscosity)


def _state(
    tube: DrilledTube,
    inlet_pressure: float,
    outside: Sequence[float],
    passed: March,
    cap: float,
    density: float,
    viscosity: float,
) -> TubeState:
    """Put a finished march into the order of the holes and derive what the jets need."""
    flows, drops, pipe = passed.flows[::-1], passed.drops[::-1], passed.pipe[::-1]
    for hole, drop in zip(tube.holes, drops, strict=True):
        if not drop > 0.0:
            raise TubeBackflowError(
                f"cannot blow from its hole {hole.height:.4g} m above the floor: the tube's pressure there is"
                f" {drop:.3g} Pa over the chamber's; use a wider tube or fewer holes"
            )
    speeds, elevations, reynolds = [], [], []
    for hole, flow, drop, along in zip(tube.holes, flows, drops, pipe, strict=True):
        # At the vena contracta a stream has Bernoulli's speed within 1 to 3 % (velocity coefficient 0.97 to
        # 0.99, common practice); a filled hole has its discharge coefficient of it.
        bernoulli = math.sqrt(2.0 * drop / density)
        speeds.append(bernoulli * (hole.discharge_coefficient if hole.is_filled else 1.0))
        leaning = math.asin(min(along / speeds[-1], 0.999)) * tube.upward
        elevations.append(leaning if hole.lean is None else hole.lean)
        reynolds.append(flow / hole.area * hole.diameter / viscosity)
    entry_head = 0.5 * density * passed.speed**2
    # Half of the last hole's recovery lies behind the pressure that drives it.
    regained = RECOVERY * entry_head - (cap - (drops[-1] + outside[-1]))
    return TubeState(
        tube=tube,
        flow=sum(flows),
        inlet_pressure=inlet_pressure,
        entry_speed=passed.speed,
        chamber_pressure=tuple(outside),
        hole_drop=tuple(drops),
        hole_flow=tuple(flows),
        hole_speed=tuple(speeds),
        hole_reynolds=tuple(reynolds),
        pipe_speed=tuple(pipe),
        elevation=tuple(elevations),
        entry_head=entry_head,
        friction=passed.friction,
        recovery=regained,
    )
