"""Properties of dry air by the `fluids` library."""

from __future__ import annotations

_GAS_CONSTANT = 287.05287  # dry air, U.S. Standard Atmosphere 1976 [J/kg/K]


def air_properties(temperature: float, altitude: float) -> tuple[float, float]:
    """Density and dynamic viscosity of dry air.

    Pressure at the altitude and the viscosity law are those of the U.S. Standard Atmosphere 1976; the density
    follows from the case's own temperature.

    Parameters
    ----------
    temperature : float
        [K]
    altitude : float
        Above sea level [m].

    Returns
    -------
    density : float
        [kg/m3]
    dynamic_viscosity : float
        [Pa s]
    """
    from fluids.atmosphere import ATMOSPHERE_1976

    density = ATMOSPHERE_1976(altitude).P / (_GAS_CONSTANT * temperature)
    return density, ATMOSPHERE_1976.viscosity(temperature)
