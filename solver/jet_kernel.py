"""One jet as shares of rings and layers: a Gaussian carried along a chord, in closed form across it.

Equations in solver/README.md, section Jets. Lengths in m, angles in rad.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Gaussian: half width at half height over standard deviation.
HALF_WIDTH_OVER_SIGMA = float(np.sqrt(2.0 * np.log(2.0)))


@dataclass(frozen=True)
class Chord:
    """Sample points along a jet, evenly spaced; every array (ns,).

    x: distance past the closest approach to the axis, s - s0 [m].   height [m].
    sigma: width of the Gaussian [m].   climb: sine of the jet's elevation there [1].
    """

    x: Array
    height: Array
    sigma: Array
    climb: Array


def sample_chord(
    *,
    height: float,
    diameter: float,
    closest: float,
    elevation: float,
    start: float,
    stop: float,
    spread: float,
    grows: bool,
    floor: float,
    ceiling: float,
) -> Chord:
    """Sample a jet from a hole at `height` between the plan distances `start` and `stop` [m].

    closest: distance from the hole to the closest approach, s0 [m].   spread: half width over distance [1].
    grows: whether the width follows the distance; otherwise it is the width at `stop` everywhere.
    """
    hole_radius = 0.5 * diameter
    narrowest = (spread * (start if grows else stop) + hole_radius) / HALF_WIDTH_OVER_SIGMA
    # Half a sigma resolves a Gaussian to all digits; the cap is for pin holes in halls, narrower than a cell.
    count = int(np.clip(np.ceil(2.0 * (stop - start) / narrowest), 16, 1024))
    s = start + (stop - start) * (np.arange(count) + 0.5) / count
    free = height + s * np.tan(elevation)
    held = np.clip(free, floor, ceiling)
    # A jet that has met floor or ceiling runs along it; the surface has taken its vertical momentum.
    climb = np.where(free == held, np.sin(elevation), 0.0)
    distance = (s if grows else np.full_like(s, stop)) / np.cos(elevation)
    return Chord(s - closest, held, (spread * distance + hole_radius) / HALF_WIDTH_OVER_SIGMA, climb)


def layer_shares(chord: Chord, edges: Array) -> Array:
    """Share of each sample in the layers between `edges` [m], (n_layers, ns), mirrored at floor and ceiling.

    edges: (n_layers + 1,), the first is the floor and the last the ceiling. The shares of a sample sum to 1.
    """
    from scipy.special import ndtr

    floor, ceiling = edges[0], edges[-1]
    below = np.zeros((len(edges), len(chord.x)))
    for centre in (chord.height, 2.0 * floor - chord.height, 2.0 * ceiling - chord.height):
        below += ndtr((edges[:, None] - centre) / chord.sigma)
    shares = np.diff(below, axis=0)
    # What second reflections would bring back is put where the rest is: mass and torque stay exact.
    return shares / shares.sum(axis=0)


def ring_shares(chord: Chord, arm: float, edges: Array) -> tuple[Array, Array]:
    """Share of each sample, and of its moment about the axis [m], in the rings between `edges`.

    At x along the chord a point n beside it lies at r^2 = (d + n)^2 + x^2 and has the moment arm d + n, so a
    disc of radius r holds the part |d + n| < sqrt(r^2 - x^2) of the Gaussian in n: closed form for both.
    arm: d [m], not negative.   edges: (n_rings + 1,) [m].   Returns two arrays (ns, n_rings).
    """
    from scipy.special import ndtr

    reach = np.sqrt(np.maximum(np.square(edges) - np.square(chord.x[:, None]), 0.0))
    sigma = chord.sigma[:, None]
    near, far = (reach - arm) / sigma, (-reach - arm) / sigma
    share = ndtr(near) - ndtr(far)
    bell = np.exp(-0.5 * np.square(near)) - np.exp(-0.5 * np.square(far))
    moment = arm * share - sigma / np.sqrt(2.0 * np.pi) * bell
    return np.diff(share, axis=1), np.diff(moment, axis=1)
