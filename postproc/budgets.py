"""Budgets of mass and angular momentum, closed from the face fluxes in the file and nothing else."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from swirlwright.solver.result_layout import BUDGET
from swirlwright.solver.result_reading import ResultData


@dataclass(frozen=True)
class Budget:
    """One balanced account.

    Attributes
    ----------
    quantity, unit : str
        What is balanced.
    entries : dict
        What comes in by each way (out: negative), in `unit`.
    stored : float
        What the chamber gained meanwhile, in `unit`.
    """

    quantity: str
    unit: str
    entries: dict[str, float]
    stored: float
    largest_cell_imbalance: float

    @property
    def total_in(self) -> float:
        """Sum of all that comes in."""
        return sum(value for value in self.entries.values() if value > 0.0)

    @property
    def rows(self) -> dict[str, float]:
        """What is told of it: the entries that are not zero and, negative as what goes out, what is stored.

        They add up to the imbalance.
        """
        told = {name: value for name, value in self.entries.items() if value != 0.0}
        return told if self.stored == 0.0 else {**told, "taken up by the chamber (stored)": -self.stored}

    @property
    def imbalance(self) -> float:
        """Entries less what is stored."""
        return sum(self.entries.values()) - self.stored

    @property
    def relative_imbalance(self) -> float | None:
        """Imbalance over what comes in; None where nothing does."""
        return self.imbalance / self.total_in if self.total_in > 0.0 else None

    def as_json(self) -> dict[str, Any]:
        """Plain values; the unit is in `unit`."""
        return {
            "unit": self.unit,
            "entries": self.entries,
            "stored": self.stored,
            "total_in": self.total_in,
            "imbalance": self.imbalance,
            "relative_imbalance": self.relative_imbalance,
            "largest_cell_imbalance": self.largest_cell_imbalance,
        }


def budgets(data: ResultData) -> tuple[Budget, ...]:
    """Budgets of mass [kg/s] and angular momentum [N m], the latter positive in the sense of the swirl.

    Empty where the file has no face fluxes.
    """
    if any(name not in data.budget for name in BUDGET):
        return ()
    return (_mass(data), _angular_momentum(data))


def cell_volume(data: ResultData) -> np.ndarray:
    """Volumes of the ring cells [m3], shape (nz, nr)."""
    return math.pi * np.diff(data.r_face**2) * np.diff(data.z_face)[:, None]


def _exhaust(data: ResultData) -> np.ndarray:
    """True for the rings of the ceiling that are the exhaust's opening, shape (nr,)."""
    outer = float(data.attributes.get("exhaust_radius") or math.nan)
    hub = float(data.attributes.get("exhaust_hub_radius") or 0.0)
    if not outer > 0.0:
        return np.zeros(data.r.size, dtype=bool)
    hub = hub if hub > 0.0 else 0.0
    return (data.r < outer) & (data.r > hub)


def _outgoing(flux_r: np.ndarray, flux_z: np.ndarray) -> np.ndarray:
    """Sum of the fluxes out of each cell."""
    return np.diff(flux_r, axis=1) + np.diff(flux_z, axis=0)


def _mass(data: ResultData) -> Budget:
    flux_r, flux_z = data.budget["mass_flux_r"], data.budget["mass_flux_z"]
    source = data.budget["mass_source"] * cell_volume(data)
    side, top, opening = flux_r[:, -1], flux_z[-1], _exhaust(data)
    entries = {
        "jets": float(source.sum()),
        "sides, inward": float(-side[side < 0.0].sum()),
        "sides, outward": float(-side[side > 0.0].sum()),
        "floor": float(flux_z[0].sum()),
        "exhaust": float(-top[opening].sum()),
        "ceiling": float(-top[~opening].sum()),
    }
    worst = float(np.max(np.abs(source - _outgoing(flux_r, flux_z))))
    return Budget("mass", "kg/s", entries, 0.0, worst)


def _angular_momentum(data: ResultData) -> Budget:
    name = "angular_momentum_flux"
    carried_r, carried_z = data.budget[f"{name}_r_advective"], data.budget[f"{name}_z_advective"]
    stress_r, stress_z = data.budget[f"{name}_r_viscous"], data.budget[f"{name}_z_viscous"]
    volume = cell_volume(data)
    source = data.budget["torque_source"] * volume
    storage = data.budget["angular_momentum_storage"] * volume
    opening = _exhaust(data)
    entries = {
        "jets": float(source.sum()),
        "sides, carried": float(-carried_r[:, -1].sum()),
        "sides, friction": float(-stress_r[:, -1].sum()),
        "floor, carried": float(carried_z[0].sum()),
        "floor, friction": float(stress_z[0].sum()),
        "exhaust, carried": float(-carried_z[-1, opening].sum()),
        "exhaust, stress": float(-stress_z[-1, opening].sum()),
        "ceiling, carried": float(-carried_z[-1, ~opening].sum()),
        "ceiling, friction": float(-stress_z[-1, ~opening].sum()),
    }
    # In the sense of the swirl, so that what drives it counts as coming in, whichever way it turns.
    v = data.mean.get("tangential_velocity", data.frames["tangential_velocity"][-1])
    sign = -1.0 if float(np.sum(data.r * v * volume)) < 0.0 else 1.0
    entries = {key: sign * value + 0.0 for key, value in entries.items()}
    worst = float(np.max(np.abs(source - storage - _outgoing(carried_r + stress_r, carried_z + stress_z))))
    return Budget("angular momentum", "N m", entries, sign * float(storage.sum()), worst)
