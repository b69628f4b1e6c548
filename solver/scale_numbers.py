"""The numbers of similarity of a chamber and its scaled copy: what is held, and what cannot be."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from swirlwright.solver.network import AirNetwork
from swirlwright.solver.schema import Case
from swirlwright.solver.similarity import Factors

# A number counts as held where it changes by less than this share; whole drills cost some thousandths.
HELD = 0.01


@dataclass(frozen=True)
class Compared:
    """A number of both chambers.

    Attributes
    ----------
    key, name, unit : str
        key: as in the JSON object, `name_unit`.
    original, scaled : float or None
        SI; None where only the change is known.
    change : float
        Scaled over original [1].
    note : str
        What it means that it changes.
    """

    key: str
    name: str
    unit: str
    original: float | None
    scaled: float | None
    change: float
    note: str = ""

    @property
    def is_held(self) -> bool:
        return abs(self.change - 1.0) < HELD


def compared(case: Case, before: AirNetwork, scaled: Case, after: AirNetwork, factors: Factors) -> tuple[Compared, ...]:
    """Return every number of similarity that the two chambers have, from their air networks alone.

    Parameters
    ----------
    case, before : Case, AirNetwork
        The original.
    scaled, after : Case, AirNetwork
    factors : Factors
        Those that made it.
    """
    found = []
    for key, name, unit, value, note in VALUES:
        old, new = value(case, before), value(scaled, after)
        if old and new:
            found.append(Compared(key, name, unit, old, new, new / old, note))
    changes = ((key, name, change(case, factors), note) for key, name, change, note in CHANGES)
    found += [Compared(key, name, "", None, None, change, note) for key, name, change, note in changes if change]
    return tuple(found)


def swirl_ratio(case: Case, network: AirNetwork) -> float | None:
    """S = r_0 Gamma/(2 Q) at the exhaust's radius, if all torque put in left with its air [1]; None without exhaust.

    Gamma = 2 pi T/(rho Q), T the torque of jets and inlet. Walls and open sides take most of it, so the solved flow's
    is lower; similar chambers lose the same share.
    """
    if network.exhaust is None or network.exhaust_flow <= 0.0:
        return None
    torque = network.torque
    if case.inlet is not None and network.inlet_flow > 0.0:
        area = 2.0 * math.pi * case.model_radius * (case.inlet.to_height - case.inlet.from_height)
        swirl = case.inlet.swirl_velocity
        if swirl is None:
            swirl = network.inlet_flow / area * math.tan(math.radians(case.inlet.angle or 0.0))
        torque += network.density * network.inlet_flow * case.model_radius * swirl
    return math.pi * network.exhaust.radius * torque / (network.density * network.exhaust_flow**2)


def momentum_ratio(network: AirNetwork) -> float | None:
    """Momentum flux of all jets over that of the exhaust, rho Q^2/A [1]; None where one is missing."""
    if network.exhaust is None or network.exhaust_flow <= 0.0 or len(network.jets) == 0:
        return None
    return network.momentum * network.exhaust.area / (network.density * network.exhaust_flow**2)


def inflow_speed(case: Case, network: AirNetwork) -> float | None:
    """Mean speed of the room's air through the open sides [m/s]; None where none flows in."""
    if case.chamber.open_area == 0.0 or network.side_flow <= 0.0:
        return None
    return network.side_flow / case.chamber.open_area


def _flow_ratio(_: Case, network: AirNetwork) -> float | None:
    jets = network.supply_flow + network.room_flow
    return jets / network.exhaust_flow if network.exhaust_flow > 0.0 else None


def _exhaust_speed(_: Case, network: AirNetwork) -> float | None:
    return None if network.exhaust is None else network.exhaust_flow / network.exhaust.area


def _jet_speed(_: Case, network: AirNetwork) -> float | None:
    """Momentum flux over mass flow [m/s]."""
    return network.momentum / float(network.jets.mass_flow.sum()) if len(network.jets) else None


def _radial_reynolds(case: Case, network: AirNetwork) -> float:
    """Q/(2 pi H nu), as if the air came in over the full height [1]."""
    return network.exhaust_flow / (2.0 * math.pi * case.chamber.height * case.kinematic_viscosity)


def _hole_reynolds(_: Case, network: AirNetwork) -> float | None:
    return min((min(state.hole_reynolds) for state in network.tubes), default=None)


def _draught_ratio(case: Case, network: AirNetwork) -> float | None:
    inflow = inflow_speed(case, network)
    return None if inflow is None else case.air.draught / inflow


# What both air networks tell: key, name, unit, value, what it means that it changes.
VALUES: tuple[tuple[str, str, str, Callable[[Case, AirNetwork], float | None], str], ...] = (
    (
        "aspect_ratio",
        "aspect ratio, height over width",
        "",
        lambda case, _: case.chamber.height / case.chamber.width,
        "",
    ),
    ("swirl_ratio_network", "swirl ratio of the air network", "", swirl_ratio, ""),
    ("momentum_ratio", "momentum, jets over exhaust", "", lambda _, network: momentum_ratio(network), ""),
    ("flow_ratio", "flow, jets over exhaust", "", _flow_ratio, ""),
    ("exhaust_speed_m_per_s", "speed in the exhaust", "m/s", _exhaust_speed, ""),
    ("jet_speed_m_per_s", "mean speed of the jets", "m/s", _jet_speed, ""),
    ("radial_reynolds_number", "radial Reynolds number", "", _radial_reynolds, "sets the core's share of the width"),
    (
        "hole_reynolds_number",
        "Reynolds number of the slowest hole",
        "",
        _hole_reynolds,
        "jets spread faster below 4000",
    ),
    ("side_inflow_speed_m_per_s", "mean inflow speed at the sides", "m/s", inflow_speed, ""),
    ("draught_ratio", "room draught over that", "", _draught_ratio, "above one half: shield the sides"),
)
# Numbers of which similarity tells the change alone: key, name, factor or None where the chamber has none, meaning.
CHANGES: tuple[tuple[str, str, Callable[[Case, Factors], float | None], str], ...] = (
    ("spin_up_time", "spin-up time", lambda _, f: f.time, ""),
    (
        "relative_roughness",
        "roughness of tubes and holes",
        lambda case, f: 1.0 / f.length if case.tubes else None,
        "over their diameter",
    ),
    (
        "fog_settling",
        "settling of fog droplets",
        lambda case, f: None if case.fog is None else 1.0 / f.velocity,
        "over the air's speed; droplets stay as they are",
    ),
    (
        "fog_froude_number",
        "fog Froude number w/sqrt(g' H)",
        lambda case, f: None if case.fog is None else f.powers(-0.5, 1.0),
        "heavy fog lies down below about 3",
    ),
)


def _unlike(case: Case) -> list[str]:
    """What keeps two chambers of equal Reynolds numbers from being similar."""
    fog = [] if case.fog is None else ["fog (neither its weight nor its droplets scale)"]
    return fog + (["what drills and the roughness of tubes change"] if case.tubes else [])


def notes(case: Case, scaled: Case, factors: Factors) -> tuple[str, ...]:
    """What else a builder should know."""
    found = []
    if factors.reynolds > 1.05 or factors.reynolds < 0.95:
        share = factors.reynolds**-0.5
        word = "narrower" if share < 1 else "wider"
        advice = "So touchdown is not carried over by itself: solve the scaled case (--solve does both)."
        found.append(
            f"Reynolds numbers change by {factors.reynolds:.3g}: a core that stays laminar, of a radius like "
            f"sqrt(nu L/V), is {word} relative to the chamber, by about {share:.2g}. "
            + ("Solve the scaled case (--solve does both)." if case.lacks_for_touchdown else advice)
        )
        if share < 1:
            found.append("The grid has as many cells as before; refine it if `measure` finds fewer than 8 in the core.")
    elif factors.length != 1.0 and (unlike := _unlike(case)):
        found.append(f"At equal Reynolds numbers the flows are the same but for {' and '.join(unlike)}.")
    if case.tubes:
        found.append(
            "The discharge coefficient is the original's, so the wall of a tube is kept in hole diameters: pipes with "
            "thicker walls hold other coefficients, where a wall is as thick as its holes are wide."
        )
    if case.exhaust is not None and case.exhaust.hub_diameter > 0.0 and scaled.exhaust is not None:
        found.append(
            f"The hub is kept similar, {1000 * scaled.exhaust.hub_diameter:.0f} mm: put a disc of that size into the "
            "opening where the fan's own is smaller, or take out exhaust.hub_diameter and solve."
        )
    if case.run.start_from is not None:
        found.append("run.start_from is left out: that result is a flow of the old size.")
    return tuple(found)
