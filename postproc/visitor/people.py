"""Outlines for scale: a person beside a tall chamber, a hand beside a small one."""

from __future__ import annotations

import numpy as np
from matplotlib.path import Path
from numpy.typing import NDArray

Array = NDArray[np.float64]
Place = tuple[float, float]
Limb = tuple[Place, Place, float, float]

# Medians of adults, women and men: stature and length of the hand. Pheasant and Haslegrave, Bodyspace, 3rd ed., 2005,
# from memory, rounded.
STATURE = 1.68  # m
HAND_LENGTH = 0.18  # m

# Tapered limbs: from, to, radius at each end; in shares of the stature, x from the middle, right half.
_FIGURE: list[Limb] = [
    ((0.000, 0.953), (0.000, 0.912), 0.047, 0.038),  # head
    ((0.000, 0.890), (0.000, 0.830), 0.026, 0.029),  # neck
    ((0.000, 0.835), (0.085, 0.790), 0.018, 0.020),  # shoulder
    ((0.000, 0.800), (0.095, 0.783), 0.036, 0.026),
    ((0.000, 0.775), (0.000, 0.640), 0.075, 0.075),  # chest
    ((0.048, 0.755), (0.040, 0.640), 0.054, 0.048),
    ((0.040, 0.640), (0.046, 0.515), 0.050, 0.056),  # hip
    ((0.000, 0.600), (0.000, 0.530), 0.060, 0.062),
    ((0.098, 0.780), (0.122, 0.620), 0.028, 0.022),  # arm
    ((0.122, 0.620), (0.138, 0.480), 0.022, 0.015),
    ((0.138, 0.475), (0.140, 0.430), 0.018, 0.012),
    ((0.052, 0.500), (0.054, 0.285), 0.052, 0.032),  # leg
    ((0.054, 0.285), (0.056, 0.050), 0.033, 0.020),
    ((0.055, 0.022), (0.078, 0.016), 0.022, 0.015),  # foot
]
# In shares of the hand's length, from the wrist's middle up to the tip of the middle finger, thumb to the right.
_HAND: list[Limb] = [
    ((0.000, -0.16), (0.000, 0.02), 0.140, 0.135),  # wrist
    ((-0.095, 0.16), (-0.130, 0.42), 0.110, 0.070),  # palm
    ((0.000, 0.10), (0.000, 0.40), 0.140, 0.120),
    ((0.095, 0.16), (0.130, 0.43), 0.110, 0.075),
    ((-0.155, 0.42), (-0.235, 0.745), 0.056, 0.040),  # little finger
    ((-0.055, 0.46), (-0.085, 0.900), 0.060, 0.043),
    ((0.050, 0.47), (0.055, 0.955), 0.062, 0.045),
    ((0.148, 0.45), (0.200, 0.880), 0.060, 0.043),  # forefinger
    ((0.120, 0.16), (0.265, 0.350), 0.095, 0.065),  # thumb
    ((0.265, 0.350), (0.345, 0.560), 0.064, 0.046),
]


def person(x: float, floor: float) -> Path:
    """Outline of a standing person of median stature, the middle at `x`, the feet at `floor` [m]."""
    mirrored: list[Limb] = [((-x0, z0), (-x1, z1), a, b) for (x0, z0), (x1, z1), a, b in _FIGURE]
    return _outline(_FIGURE + mirrored, STATURE, x, floor)


def hand(x: float, wrist: float) -> Path:
    """Outline of an open hand of median length held upright, the wrist's middle at `x`, `wrist` [m]."""
    return _outline(_HAND, HAND_LENGTH, x, wrist)


def _outline(limbs: list[Limb], size: float, x: float, z: float) -> Path:
    """All limbs as one path; they overlap, and one fill hides that."""
    return Path.make_compound_path(*(Path(size * _limb(*limb) + (x, z), closed=True) for limb in limbs))


def _limb(start: Place, end: Place, a: float, b: float) -> Array:
    """A limb's outline, counterclockwise: two circles of radius a and b and their common tangents."""
    p, q = np.array(start), np.array(end)
    length = float(np.hypot(*(q - p)))
    around = np.arctan2(q[1] - p[1], q[0] - p[0])
    lean = np.arccos(np.clip((a - b) / length, -1.0, 1.0))
    near = around + np.linspace(lean, 2 * np.pi - lean, 40)
    far = around + np.linspace(-lean, lean, 40)
    circles = (
        p + a * np.column_stack((np.cos(near), np.sin(near))),
        q + b * np.column_stack((np.cos(far), np.sin(far))),
    )
    outline = np.vstack(circles)
    return np.vstack((outline, outline[:1]))
