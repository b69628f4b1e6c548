"""What the fog's water would do in the room's air: an estimate beside the flow, in which droplets do not evaporate."""

from __future__ import annotations

import math
from dataclasses import dataclass

from swirlwright.solver.fog_law import WATER_DENSITY

GAS_CONSTANT_VAPOUR = 461.5  # [J/kg/K]
MOLAR_RATIO = 0.62198  # water over dry air
HEAT_CAPACITY = 1006.0  # of dry air [J/kg/K]
# Of water vapour in air at 20 degC: Montgomery 1947, J. Meteor. 4:193 (memory).
DIFFUSIVITY = 2.49e-5  # [m2/s]


def saturation_pressure(temperature: float) -> float:
    """Return the vapour pressure over water [Pa] at a temperature [K].

    Magnus' form: 611.2 Pa exp(17.62 t/(243.12 degC + t)), WMO-No. 8, Guide to Instruments, 2018, annex 4.B; within
    0.3 % from -45 to 60 degC.
    """
    t = temperature - 273.15
    return 611.2 * math.exp(17.62 * t / (243.12 + t))


@dataclass(frozen=True)
class Evaporation:
    """How much water air takes up until it is saturated and as cool as that makes it.

    Attributes
    ----------
    saturated_temperature : float
        Of that air [K].
    uptake : float
        Water per volume of air [kg/m3].
    droplet_life : float
        Of a droplet alone in the room's air [s]; 0 for fog without droplets, infinite in saturated air.
    """

    saturated_temperature: float
    uptake: float
    droplet_life: float


def evaporation(
    temperature: float, humidity: float, *, pressure: float, density: float, droplet_diameter: float
) -> Evaporation:
    """Return what the room's air does to water droplets.

    Adiabatic saturation, c_p (T - T_s) = L (x_s(T_s) - x), L = 2.501e6 - 2361 t J/kg; a droplet alone by the law of the
    square, rho_w d^2/(8 D (rho_s(T_s) - rho_v)): Rogers and Yau, A Short Course in Cloud Physics, 1989, chapters 2, 7.

    Parameters
    ----------
    temperature, humidity : float
        Of the room [K], relative [1].
    pressure, density : float
        Of the room's air [Pa], [kg/m3].
    droplet_diameter : float
        [m]
    """
    from scipy.optimize import brentq

    def ratio(vapour: float) -> float:
        return MOLAR_RATIO * vapour / (pressure - vapour)

    vapour = humidity * saturation_pressure(temperature)

    def excess(t: float) -> float:
        latent = 2.501e6 - 2361.0 * (t - 273.15)
        return latent * (ratio(saturation_pressure(t)) - ratio(vapour)) - HEAT_CAPACITY * (temperature - t)

    cool = temperature if humidity >= 1.0 else float(brentq(excess, temperature - 60.0, temperature))
    uptake = max(density * (ratio(saturation_pressure(cool)) - ratio(vapour)), 0.0)
    drive = saturation_pressure(cool) / (GAS_CONSTANT_VAPOUR * cool) - vapour / (GAS_CONSTANT_VAPOUR * temperature)
    life = WATER_DENSITY * droplet_diameter**2 / (8.0 * DIFFUSIVITY * drive) if drive > 0.0 else math.inf
    return Evaporation(cool, uptake, life)
