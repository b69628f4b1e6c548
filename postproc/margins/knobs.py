"""The knobs of `margin`: what each moves in a case, and within which bounds."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from swirlwright.solver.schema import Case, HoleRow

Changes = Mapping[str, Any]

# How far a knob is tried, as factors on the case; our own choice. An eddy viscosity may be off by far more than a fan.
HALF_TO_DOUBLE = (0.5, 2.0)
VISCOSITY = (0.5, 16.0)
# The lowest jet is tried up to this share of the chamber's height.
HIGHEST_JET = 0.5
# A bracket is halved until its ends differ by less than this; moves of a jet that sits near the floor are small against
# the chamber, so its bracket may be wider.
RESOLUTION, RESOLUTION_OF_HEIGHT = 0.05, 0.15


@dataclass(frozen=True)
class Knob:
    """Something that is moved alone.

    Attributes
    ----------
    name, words : str
    how : str
        Which keys are moved, and how.
    unit : str
        SI unit of the value.
    value : float or str
        Of the case [unit]; or the number of a run's record that tells it, where the air network decides.
    low, high : float
        Bounds, as factors on the case.
    resolution : float
        Least step, relative.
    changes : callable
        From a factor to the keys it changes.
    """

    name: str
    words: str
    how: str
    unit: str
    value: float | str
    low: float
    high: float
    resolution: float
    changes: Callable[[float], Changes]


def knobs_of(case: Case) -> tuple[tuple[Knob, ...], dict[str, str]]:
    """The knobs that a case has, and why it lacks the others, by their words."""
    found: list[Knob] = []
    lacking: dict[str, str] = {}
    for words, make in (
        ("jet momentum", _jet_momentum),
        ("exhaust flow", _exhaust_flow),
        ("height of the lowest jet", _lowest_jet),
        ("effective viscosity", _viscosity),
        ("side opening", _side_opening),
        ("fog flow", _fog_flow),
    ):
        knob = make(case)
        if isinstance(knob, Knob):
            found.append(knob)
        else:
            lacking[words] = knob
    return tuple(found), lacking


def _jet_momentum(case: Case) -> Knob | str:
    supply = case.supply
    if supply is None:
        return "no supply feeds jets"
    # Momentum goes as the square of the speed in the holes: as the plenum's pressure, as a fan's speed squared.
    if supply.pressure is not None:
        given = {"supply.pressure": (supply.pressure, 1.0)}
        how = "supply.pressure"
    elif supply.flow is not None:
        given = {"supply.flow": (supply.flow, 0.5)}
        how = "supply.flow as its square root"
    else:
        given = {f"supply.fans.{n}.speed_ratio": (fan.speed_ratio, 0.5) for n, fan in enumerate(supply.fans, start=1)}
        how = "speed_ratio of all supply fans as its square root"
    return _powers("jet_momentum", "jet momentum", how, "N", "network_jet_momentum", HALF_TO_DOUBLE, given)


def _exhaust_flow(case: Case) -> Knob | str:
    exhaust, inlet = case.exhaust, case.inlet
    if exhaust is None:
        return "no exhaust"
    if exhaust.flow is not None:
        given = {"exhaust.flow": (exhaust.flow, 1.0)}
        how = "exhaust.flow"
    elif exhaust.pressure is not None:
        given = {"exhaust.pressure": (exhaust.pressure, 2.0)}
        how = "exhaust.pressure as its square"
    else:
        given = {"exhaust.fan_speed_ratio": (exhaust.fan_speed_ratio, 1.0)}
        how = "exhaust.fan_speed_ratio"
    is_closed = case.chamber.open_share == 0.0 and case.chamber.leak_area == 0.0
    if is_closed and inlet is not None:
        key = "flow" if inlet.flow is not None else "radial_velocity"
        given[f"inlet.{key}"] = (getattr(inlet, key), 1.0)
        how += f" with inlet.{key}, since the chamber is closed"
    return _powers("exhaust_flow", "exhaust flow", how, "m3/s", "network_exhaust_flow", HALF_TO_DOUBLE, given)


def _viscosity(case: Case) -> Knob | str:
    nu = case.kinematic_viscosity
    given = {"air.kinematic_viscosity": (nu, 1.0)}
    how = "air.kinematic_viscosity, in the tubes too, where it takes some of the jets' momentum"
    if case.model.closure == "constant":
        given = {"model.viscosity_ratio": (case.model.viscosity_ratio, 1.0)}
        how, nu = "model.viscosity_ratio", nu * case.model.viscosity_ratio
    elif case.model.closure == "mixing-length":
        # The eddy viscosity goes as the length squared; near a wall the length is not this constant's.
        given["model.length_constant"] = (case.model.length_constant, 0.5)
        how += "; model.length_constant as its square root"
    elif case.model.closure == "spalart-allmaras":
        how += " alone: the closure has no constant to move"
    how += " (value: without eddies)"
    return _powers("effective_viscosity", "effective viscosity", how, "m2/s", nu, VISCOSITY, given)


def _side_opening(case: Case) -> Knob | str:
    chamber = case.chamber
    share = chamber.open_share
    if share == 0.0:
        return "no side is open"
    name = "side_opening" if chamber.footprint == "square" else "open_fraction"
    value = getattr(chamber, name)
    low, high = HALF_TO_DOUBLE
    return _powers("side_opening", "side opening", f"chamber.{name}", "1", share, (low, min(high, 1.0 / value)),
                   {f"chamber.{name}": (value, 1.0)})  # fmt: skip


def _fog_flow(case: Case) -> Knob | str:
    if case.fog is None:
        return "no fog"
    flow = case.fog.flow
    return _powers("fog_flow", "fog flow", "fog.flow", "m3/s", flow, HALF_TO_DOUBLE, {"fog.flow": (flow, 1.0)})


def _powers(
    name: str, words: str, how: str, unit: str, value: float | str, bounds: tuple[float, float],
    given: Mapping[str, tuple[float, float]],
) -> Knob:  # fmt: skip
    """A knob that multiplies keys, each value by the factor to a power."""

    def changes(factor: float) -> Changes:
        return {key: _plain(number * factor**power) for key, (number, power) in given.items()}

    return Knob(name, words, how, unit, value, *bounds, RESOLUTION, changes)


def _lowest_jet(case: Case) -> Knob | str:
    """All rows are squeezed or stretched below the highest hole, so that holes, flow and momentum stay."""
    heights = [h for tubes in case.tubes for row in tubes.rows for h in row.hole_heights()]
    if not heights:
        return "no jets"
    low, top = min(heights), max(heights)
    highest = min(HIGHEST_JET * case.chamber.height, top)
    if highest <= low:
        return "the lowest jet is above half the height already, or the only one"

    def changes(factor: float) -> Changes:
        shrink = (top - factor * low) / (top - low)
        found: dict[str, Any] = {}
        for i, tubes in enumerate(case.tubes, start=1):
            for j, row in enumerate(tubes.rows, start=1):
                found |= {f"tubes.{i}.rows.{j}.{key}": value for key, value in _squeezed(row, top, shrink).items()}
        return found

    how = "heights of all holes, squeezed towards the highest"
    return Knob("lowest_jet", "height of the lowest jet", how, "m", low, HALF_TO_DOUBLE[0], highest / low,
                RESOLUTION_OF_HEIGHT, changes)  # fmt: skip


def _squeezed(row: HoleRow, top: float, shrink: float) -> Changes:
    """Keys of a row whose distances to the height `top` shrink."""
    if row.heights:
        return {"heights": [_plain(top - shrink * (top - h)) for h in row.heights]}
    assert row.lowest is not None
    pitch = {} if row.pitch is None else {"pitch": _plain(shrink * row.pitch)}
    return {"lowest": _plain(top - shrink * (top - row.lowest)), **pitch}


def _plain(value: float) -> float:
    """A number without the digits of round-off, so that the case's text and with it its record's name stays."""
    return float(f"{value:.9g}") if math.isfinite(value) else value
