"""The smoothly mapped r-z grid and the metric arrays the kernels use."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class Metric(NamedTuple):
    """Grid arrays in the form the kernels take (numba reads named tuples of arrays).

    r, dr, a: (nr,) centres [m], widths [m], ring areas per radian r*dr [m2].
    rf, drc, ac: (nr+1,) faces [m], centre distances (half a cell at the wall) [m], areas of the u-volumes [m2].
    z, dz: (nz,) and zf, dzc: (nz+1,) likewise along the axis.
    """

    r: Array
    rf: Array
    dr: Array
    drc: Array
    a: Array
    ac: Array
    z: Array
    zf: Array
    dz: Array
    dzc: Array


@dataclass(frozen=True)
class Grid:
    """Faces of a structured axisymmetric grid; fields are indexed [j along z, i along r].

    r_face: (nr+1,) [m], r_face[0] = 0 is the axis, more an inner cylinder.
    z_face: (nz+1,) [m], z_face[0] = 0 is the floor.
    """

    r_face: Array
    z_face: Array

    @property
    def shape(self) -> tuple[int, int]:
        """Number of cells (nz, nr)."""
        return self.z_face.size - 1, self.r_face.size - 1

    @property
    def radius(self) -> float:
        return float(self.r_face[-1])

    @property
    def height(self) -> float:
        return float(self.z_face[-1])

    @cached_property
    def r(self) -> Array:
        """Cell centres: midpoints of the faces, so that the mean of two face values is exact there."""
        return 0.5 * (self.r_face[1:] + self.r_face[:-1])

    @cached_property
    def z(self) -> Array:
        return 0.5 * (self.z_face[1:] + self.z_face[:-1])

    @cached_property
    def volume(self) -> Array:
        """Cell volumes, whole rings, shape (nz, nr) [m3]."""
        ring = np.pi * np.diff(self.r_face**2)
        return np.diff(self.z_face)[:, None] * ring[None, :]

    @cached_property
    def metric(self) -> Metric:
        r, z, rf, zf = self.r, self.z, self.r_face, self.z_face
        drc = np.concatenate(([r[0] - rf[0]], np.diff(r), [rf[-1] - r[-1]]))
        dzc = np.concatenate(([z[0]], np.diff(z), [zf[-1] - z[-1]]))
        dr, dz = np.diff(rf), np.diff(zf)
        a = r * dr
        ac = np.concatenate(([0.5 * a[0]], 0.5 * (a[1:] + a[:-1]), [0.5 * a[-1]]))
        return Metric(r, rf, dr, drc, a, ac, z, zf, dz, dzc)


@dataclass(frozen=True)
class Cluster:
    """A place where cells are finer: spacing [m] there, over a Gaussian of the given width [m]."""

    place: float
    spacing: float
    width: float


def clustered_faces(length: float, cells: int, clusters: Sequence[Cluster], anchors: Sequence[float] = ()) -> Array:
    """Return `cells` + 1 faces on [0, length], fine at the clusters, with a face exactly on each anchor.

    The inverse spacing is a constant plus Gaussians, so the map from index to place is smooth; the constant is
    found such that the cells fill the length. Anchors are met by a monotone cubic correction of the index.
    """
    from scipy.interpolate import PchipInterpolator
    from scipy.optimize import brentq

    x = np.linspace(0.0, length, 4001)

    def index_of_place(background: float) -> Array:
        density = np.full_like(x, background)
        for c in clusters:
            density += max(0.0, 1.0 / c.spacing - background) * np.exp(-(((x - c.place) / c.width) ** 2))
        return np.concatenate(([0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(x))))

    def excess(log_background: float) -> float:
        return float(index_of_place(np.exp(log_background))[-1] - cells)

    coarsest, finest = np.log(1e-3 * cells / length), np.log(10.0 * cells / length)
    if excess(coarsest) > 0.0:
        # The clusters alone ask for more cells than there are: keep their proportions, stretch them all.
        raw = index_of_place(np.exp(coarsest))
    else:
        raw = index_of_place(np.exp(brentq(excess, coarsest, finest)))
    raw *= cells / raw[-1]
    inside = sorted(p for p in anchors if 0.0 < p < length)
    knots_raw, knots = [0.0], [0.0]
    for place in inside:
        at = float(np.interp(place, x, raw))
        target = float(max(round(at), knots[-1] + 1))
        # Two anchors nearer than a cell cannot both be faces: the later one is left where it falls.
        if at - knots_raw[-1] > 0.4 and target < cells:
            knots_raw.append(at)
            knots.append(target)
    knots_raw.append(float(cells))
    knots.append(float(cells))
    index = PchipInterpolator(knots_raw, knots)(raw)
    faces = np.interp(np.arange(cells + 1), index, x)
    for place in inside:
        nearest = int(np.argmin(np.abs(faces - place)))
        if 0 < nearest < cells and abs(faces[nearest] - place) < 1e-3 * length / cells:
            faces[nearest] = place
    return faces
