"""What of the fog is seen: contrast and visible radius of the column by height, along horizontal lines of sight."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swirlwright.postproc.fog.line_of_sight import projection
from swirlwright.solver.fog_law import WATER_DENSITY

Array = NDArray[np.float64]

# Droplets well above the wavelength of light take out twice their cross-section: Bohren and Huffman, Absorption and
# Scattering of Light by Small Particles, 1983, section 4.4.3.
EXTINCTION_EFFICIENCY = 2.0
# Least contrast the eye tells: Koschmieder 1924, Beitr. Phys. freien Atm. 12:33; Middleton, Vision through the
# Atmosphere, 1952 (both from memory). Of large dim things, by well-lit fog before black; a bright room asks for more.
LEAST_CONTRAST = 0.02
# Lines of sight between the axis and the curtain.
LINES = 161
# The haze around the column is taken between this share of the curtain's inner edge and the edge.
HAZE_FROM = 0.85


def extinction_coefficient(liquid_content: float, droplet_diameter: float) -> float:
    """Return the extinction coefficient of fog [1/m]: 3 Q W/(2 rho d), Hinds, Aerosol Technology, 1999, section 16.1.

    Parameters
    ----------
    liquid_content : float
        Liquid in a volume of fog [kg/m3].
    droplet_diameter : float
        Sauter mean [m]; 0 has no extinction that could be told, and returns 0.
    """
    if droplet_diameter <= 0.0:
        return 0.0
    return 1.5 * EXTINCTION_EFFICIENCY * liquid_content / (WATER_DENSITY * droplet_diameter)


@dataclass(frozen=True)
class Sight:
    """The column as it is seen, a value for each row of the grid.

    Attributes
    ----------
    depth : (nz,)
        Optical depth of the column on the axis, without the haze around it [1].
    contrast : (nz,)
        Largest contrast over the lines of sight [1]; negative where the column is thinner than the haze.
    radius : (nz,)
        Outermost distance from the axis where the contrast is half of that [m]; NaN where it is below LEAST_CONTRAST.
    """

    depth: Array
    contrast: Array
    radius: Array

    @property
    def is_visible(self) -> NDArray[np.bool_]:
        """Where the column is told from what is around it."""
        return self.contrast >= LEAST_CONTRAST


class Eyes:
    """Looks at fog fields on one grid, past a curtain whose inner edge is at `edge` [m]."""

    def __init__(self, r_face: Array, edge: float) -> None:
        r = 0.5 * (r_face[1:] + r_face[:-1])
        inside = r < edge
        self._is_column = inside if inside.any() else r <= r[0]
        ring = (r >= HAZE_FROM * edge) & self._is_column
        self._haze = ring if ring.any() else np.arange(r.size) == int(np.flatnonzero(self._is_column)[-1])
        self._area = np.diff(r_face**2)
        self.offsets = np.linspace(0.0, edge, LINES)
        self._through = projection(r_face, self.offsets)
        self._chords = 2.0 * np.sqrt(np.maximum(r_face[-1] ** 2 - self.offsets**2, 0.0))

    def look(self, extinction: Array) -> Sight:
        """See the column in a field of extinction coefficients (nz, nr) [1/m].

        The contrast is the light that a line of sight gathers from evenly lit fog, less what it would gather were the
        column as thin as the haze around it, over that of fog nothing shows through: exp(-haze) (1 - exp(-column)).
        Single scattering, black behind.
        """
        weight = self._area * self._haze
        around = extinction @ weight / weight.sum()
        column = np.where(self._is_column, extinction - around[:, None], 0.0) @ self._through
        contrast = np.exp(-around[:, None] * self._chords) * (1.0 - np.exp(-column))
        largest = contrast.max(axis=1)
        outermost = self.offsets.size - 1 - np.argmax(contrast[:, ::-1] >= 0.5 * largest[:, None], axis=1)
        radius = np.where(largest >= LEAST_CONTRAST, self.offsets[outermost], np.nan)
        return Sight(column[:, 0], largest, radius)
