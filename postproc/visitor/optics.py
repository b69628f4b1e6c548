"""What light makes of the fog: extinction from droplets, and the picture of a fog field on a screen of pixels.

The model, by name: single scattering of one upright lamp strip at the side. Each horizontal line of sight gathers

    L = L_fog F exp(-tau_lamp) (1 - exp(-tau)) + L_behind exp(-tau)

tau is the exact line integral of the extinction (the Abel transform, fog/line_of_sight.py), tau_lamp the optical depth
from the lamp to where the line of sight passes the axis, F the strip's light there relative to that on the axis at
mid-height. Light scattered twice is left out, so fog with tau above about 1 is brighter in truth, and softer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swirlwright.postproc.fog.line_of_sight import projection
from swirlwright.postproc.fog.sight import extinction_coefficient
from swirlwright.solver.results import ResultData
from swirlwright.solver.schema import Case

Array = NDArray[np.float64]

# Luminance of the dark panels as a share of that of fog nothing shows through: matt black paint reflects 2 to 5 per
# cent and stands off the lamp's axis (common practice, no source).
PANEL_LUMINANCE = 0.01
MOST_STOPS = 4  # a camera opened further shows the panels grey
# Luminance that the opened camera gives the column, at the height where it is of median brightness.
COLUMN_LUMINANCE = 0.2


@dataclass(frozen=True)
class Extinction:
    """Extinction coefficient of the fog as it comes in [1/m], and where it is from, in words."""

    value: float
    words: str


def inlet_extinction(case: Case) -> Extinction | None:
    """Extinction of undiluted fog; None where the case lets in none or gives its droplets no size."""
    fog = case.fog
    if fog is None or fog.droplet_diameter <= 0.0:
        return None
    value = extinction_coefficient(fog.liquid_content, fog.droplet_diameter)
    grams, microns = 1e3 * fog.liquid_content, 1e6 * fog.droplet_diameter
    return Extinction(
        value, f"{value:.3g} per metre undiluted, of {grams:.3g} g/m³ of water in {microns:.3g} µm droplets"
    )


class Screen:
    """Pixels that horizontal lines of sight end on, and the lamp beside them.

    Parameters
    ----------
    result : ResultData
        Its grid.
    offsets : (ny,)
        Distances of the columns of pixels from the axis, rightward positive [m].
    heights : (nz_pixels,)
        Heights of the rows [m].
    lamp : (2,)
        Place of the lamp strip: to the right of the axis, and nearer to the visitor than it [m].
    """

    def __init__(self, result: ResultData, offsets: Array, heights: Array, lamp: tuple[float, float]):
        self.offsets, self.heights = offsets, heights
        self._z = result.z
        self._top = float(result.z_face[-1])
        self._lamp = lamp
        self._through = projection(result.r_face, offsets)
        self._from_lamp = _depth_from_lamp(result, offsets, lamp)
        self.light = self.light_at(offsets, 0.0)

    def light_at(self, across: Array, depth: float) -> Array:
        """Light of the strip at places of the plan as seen [m], relative to that on the axis at mid-height.

        Shape (nz_pixels, n).
        """
        distances = np.hypot(across - self._lamp[0], depth - self._lamp[1])
        middle = strip_light(np.array([np.hypot(*self._lamp)]), np.array([self._top / 2]), self._top)
        return strip_light(distances, self.heights, self._top) / float(middle[0, 0])

    def see(self, extinction: Array) -> tuple[Array, Array]:
        """Luminance of the fog, as a share of opaque fog on the axis, and the share that passes from behind.

        Parameters
        ----------
        extinction : (nz, nr)
            Extinction coefficient in the cells [1/m].

        Returns
        -------
        luminance, transmission : (nz_pixels, ny)
        """
        # Undershoots of the fog's central fluxes would shine black; seen they are clear air, in the result they stay.
        rows = _at_heights(self._z, np.maximum(extinction, 0.0), self.heights)
        transmission = np.exp(-rows @ self._through)
        return self.light * np.exp(-rows @ self._from_lamp) * (1.0 - transmission), transmission


def strip_light(distances: Array, heights: Array, top: float) -> Array:
    """Light of an upright strip from the floor to `top` [m], shape (heights, distances), any unit.

    Each piece of the strip shines alike all round, so at distance d and height z the light from all sides sums to
    (atan(z/d) + atan((top - z)/d))/d.
    """
    d = distances[None, :]
    z = heights[:, None]
    return np.asarray((np.arctan(z / d) + np.arctan((top - z) / d)) / d)


def stops_of(luminance: Array) -> int:
    """How many times the camera's light must be doubled for the column to show well; 0 if it does anyhow.

    Judged by the median over the heights of the brightest pixel of each row: the foot alone is always bright.
    """
    column = float(np.median(luminance.max(axis=1)))
    return MOST_STOPS if column <= 0.0 else int(np.clip(np.ceil(np.log2(COLUMN_LUMINANCE / column)), 0, MOST_STOPS))


def encoded(luminance: Array) -> Array:
    """Luminance as a screen's code values, 0 to 1: IEC 61966-2-1 (sRGB). Above white it stays white."""
    linear = np.clip(luminance, 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055)


def _at_heights(z: Array, values: Array, heights: Array) -> Array:
    """Rows of `values` (nz, nr) linearly between the cells' heights, level beyond the first and last."""
    at = np.clip(heights, z[0], z[-1])
    j = np.clip(np.searchsorted(z, at) - 1, 0, z.size - 2)
    share = ((at - z[j]) / (z[j + 1] - z[j]))[:, None]
    return np.asarray((1.0 - share) * values[j] + share * values[j + 1])


def _depth_from_lamp(result: ResultData, offsets: Array, lamp: tuple[float, float]) -> Array:
    """Matrix (nr, ny) [m] from cell values to optical depths between the lamp and each offset beside the axis.

    By the trapezoidal rule on 400 pieces, the values linear between the cells' centres.
    """
    along = np.linspace(0.0, 1.0, 401)
    radius = np.hypot(offsets[:, None] + along * (lamp[0] - offsets[:, None]), along * lamp[1])
    length = np.hypot(offsets - lamp[0], lamp[1])
    quadrature = np.full(along.size, along[1])
    quadrature[[0, -1]] *= 0.5
    weight = length[:, None] * quadrature * (radius <= result.r_face[-1])
    at = np.clip(radius, result.r[0], result.r[-1])
    i = np.clip(np.searchsorted(result.r, at) - 1, 0, result.r.size - 2)
    share = (at - result.r[i]) / (result.r[i + 1] - result.r[i])
    columns = np.arange(offsets.size)[:, None]
    matrix = np.zeros((result.r.size + 1) * offsets.size)
    for cell, part in ((i, 1.0 - share), (i + 1, share)):
        place = (cell * offsets.size + columns).ravel()
        matrix += np.bincount(place, weights=(weight * part).ravel(), minlength=matrix.size)
    return matrix.reshape(-1, offsets.size)[: result.r.size]
