"""What fog does besides being carried: its weight, its droplets' drift, where it enters. Numbers and arrays."""

from __future__ import annotations

from dataclasses import dataclass

from swirlwright.solver.grid import Array

GRAVITY = 9.81  # [m/s2]
WATER_DENSITY = 1000.0  # of the droplets [kg/m3]
# Ledger of the fog, cumulative [m3 of fog as it is in the inlet]: let in, and where it has gone.
LEDGER = ("in", "floor", "panels", "sides", "exhaust")


@dataclass(frozen=True)
class FogLaw:
    """The fog of one flow problem.

    Attributes
    ----------
    reduced_gravity : float
        Gravity times the density excess of undiluted fog [m/s2]; 0 without weight, negative for light fog.
    relaxation_time : float
        tau of the droplets [s]; they drift through the air at tau (v^2/r, 0, -g).
    closed : (nz,)
        Closed share of the side's perimeter, on which droplets land.
    source : (nz, nr)
        Fog from under a spreader disc, per volume [1/s]; its air is in the problem's sources.
    """

    reduced_gravity: float
    relaxation_time: float
    closed: Array
    source: Array

    @property
    def settling_speed(self) -> float:
        """Speed at which droplets fall through still air [m/s]."""
        return self.relaxation_time * GRAVITY


def relaxation_time(diameter: float, *, density: float, viscosity: float) -> float:
    """Return tau of a water droplet [s]: Stokes' drag, tau = (rho_p - rho) d^2/(18 mu).

    Stokes 1851 (Trans. Camb. Phil. Soc. 9:8). Slip of the gas (3 % at 5 um; Cunningham 1910) is left out; above 80 um,
    at a droplet Reynolds number of 1, the drag is larger than this.

    Parameters
    ----------
    diameter : float
        Of the droplets [m].
    density : float
        Of the air [kg/m3].
    viscosity : float
        Dynamic, of the air [Pa s].
    """
    return max(WATER_DENSITY - density, 0.0) * diameter**2 / (18.0 * viscosity)
