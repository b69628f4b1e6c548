"""The picture's pixels: dark panels and tubes behind, the fog in the lamp's light, tubes in front."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swirlwright.postproc.visitor.optics import PANEL_LUMINANCE, Screen, encoded, inlet_extinction, stops_of
from swirlwright.postproc.visitor.view import SeenTube, View, rear_panels, seen_tubes, view_of
from swirlwright.solver.results import ResultData
from swirlwright.solver.schema import Case

Array = NDArray[np.float64]

# Colours as linear shares of red, green and blue: light of a cool white lamp strip, and what it makes of things.
FOG_TINT = np.array([0.86, 0.95, 1.0])
PANEL_TINT = np.array([0.80, 0.92, 1.0])
TUBE_TINT = np.array([0.95, 0.97, 1.0])
# Luminances as shares of that of fog nothing shows through. Where the room lies behind an open side it is darker than
# a panel; dark grey tubes show a little brighter; all three are assumptions of the picture.
ROOM_LUMINANCE = 0.003
TUBE_LUMINANCE = 0.05
EDGE_LUMINANCE = 0.02


@dataclass(frozen=True)
class Scene:
    """A chamber as seen, ready for any fog field.

    Attributes
    ----------
    view : View
    screen : Screen
    extinction : float
        Of undiluted fog [1/m]; 0 without fog.
    extent : (4,)
        Left, right, bottom and top of the pixels [m].
    """

    view: View
    screen: Screen
    extinction: float
    extent: tuple[float, float, float, float]
    _behind: Array
    _before: Array
    _cover: Array

    def luminance(self, concentration: Array) -> Array:
        """Luminance of the fog alone, a share of opaque fog's, of a concentration (nz, nr)."""
        return self.screen.see(self.extinction * concentration)[0]

    def image(self, concentration: Array, stops: int) -> Array:
        """Code values (rows, columns, 3) from the floor up, the camera opened by `stops`.

        Negative concentrations, which central differences make in traces, scatter as they stand: a darker spot.
        """
        fog, passing = self.screen.see(self.extinction * concentration)
        light = fog[..., None] * FOG_TINT + passing[..., None] * self._behind
        light = light * (1.0 - self._cover) + self._before
        return np.asarray(encoded(light * 2.0**stops))


def build_scene(result: ResultData, case: Case, rows: int) -> Scene:
    """The chamber of a result on `rows` pixels of height."""
    view = view_of(case)
    top = float(result.z_face[-1])
    pixel = top / rows
    columns = 2 * round(view.half_width / pixel)
    offsets = np.asarray((np.arange(columns) - (columns - 1) / 2) * pixel, dtype=np.float64)
    heights = np.asarray((np.arange(rows) + 0.5) * pixel, dtype=np.float64)
    screen = Screen(result, offsets, heights, view.lamp)
    extinction = inlet_extinction(case)
    behind = _panels(case, view, screen)
    before, covered = np.zeros_like(behind), np.zeros((*behind.shape[:2], 1))
    for tube in seen_tubes(case, view):
        across, paint, cover = _tube(tube, view, screen, pixel)
        layer = behind if tube.depth <= 0 else before
        layer[:, across] = layer[:, across] * (1 - cover) + paint
        if tube.depth > 0:
            covered[:, across] += cover - covered[:, across] * cover
    half = columns * pixel / 2
    value = 0.0 if extinction is None or "fog_concentration" not in result.frames else extinction.value
    return Scene(view, screen, value, (-half, half, 0.0, top), behind, before, covered)


def stops_for(scene: Scene, concentration: Array) -> int:
    """The camera's opening for a concentration (nz, nr); 0 without fog."""
    return stops_of(scene.luminance(concentration)) if scene.extinction else 0


def _panels(case: Case, view: View, screen: Screen) -> Array:
    """Rear panels in the lamp's light, with their edges; the room behind open sides."""
    y = screen.offsets
    strength = np.full((1, y.size), ROOM_LUMINANCE)
    for number, panel in enumerate(rear_panels(case, view)):
        inside = (y >= panel.left) & (y < panel.right)
        if not panel.is_open:
            # Neighbouring panels stand at different angles to the lamp: a quarter tells them apart.
            strength[0, inside] = PANEL_LUMINANCE * (1.0 if number % 2 == 0 else 0.75)
        edge = 0.75 * (y[1] - y[0])
        for place in (panel.left, panel.right):
            strength[0, np.abs(y - place) < edge] = EDGE_LUMINANCE
    return np.asarray((strength * screen.light_at(y, -case.chamber.width / 2))[..., None] * PANEL_TINT)


def _tube(tube: SeenTube, view: View, screen: Screen, pixel: float) -> tuple[slice, Array, Array]:
    """Columns of one tube, its paint (rows, n, 3) and cover (n, 1) there: a round bar lit from the lamp's side."""
    radius = tube.diameter / 2
    ends = np.searchsorted(screen.offsets, (tube.across - radius - pixel, tube.across + radius + pixel))
    across = slice(int(ends[0]), int(ends[1]))
    y, z = screen.offsets[across], screen.heights
    cover = np.clip((radius - np.abs(y - tube.across)) / pixel + 0.5, 0.0, 1.0)
    # Lambert's cosine for light from the lamp's direction, and a tenth as much from all round.
    to_lamp = np.array([view.lamp[0] - tube.across, view.lamp[1] - tube.depth])
    to_lamp /= np.hypot(*to_lamp)
    outward = np.clip((y - tube.across) / radius, -1.0, 1.0)
    lit = 0.1 + 0.9 * np.maximum(outward * to_lamp[0] + np.sqrt(1.0 - outward**2) * to_lamp[1], 0.0)
    # A tube beside the lamp would outshine the picture; a builder would screen it.
    falloff = np.minimum(screen.light_at(np.array([tube.across]), tube.depth), 1.5)
    dark = np.zeros((z.size, y.size))
    for place, height, diameter, breadth in tube.holes:
        inside = np.hypot((y[None, :] - place) / max(breadth, pixel), (z[:, None] - height) / max(diameter, pixel))
        dark = np.maximum(dark, np.clip((0.5 - inside) * diameter / pixel + 0.5, 0.0, 1.0))
    shade = TUBE_LUMINANCE * lit * cover * falloff * (1.0 - 0.9 * dark)
    return across, shade[..., None] * TUBE_TINT, cover[:, None]
