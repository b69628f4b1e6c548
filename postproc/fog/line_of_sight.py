"""What a horizontal line of sight gathers on its way through an axisymmetric field: the Abel transform."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def optical_depth(radius_faces: ArrayLike, extinction: ArrayLike, offsets: ArrayLike) -> Array:
    """Return the line integrals of `extinction` along horizontal lines that pass the axis at `offsets`.

    The field is taken as linear in r between cell centres, level from the axis to the first centre and from the last
    centre to the outer face, and zero outside; of that field the integrals are exact. Second order in the cell width.

    Parameters
    ----------
    radius_faces : (nr + 1,)
        Faces of the cells [m], rising.
    extinction : (nz, nr)
        Extinction coefficient at the cell centres [1/m].
    offsets : (ny,)
        Distances of the lines from the axis [m]; the sign does not matter.

    Returns
    -------
    (nz, ny)
        Optical depths; that share exp(-depth) of the light gets through is the law of Bouguer, Lambert and Beer.

    Raises
    ------
    ValueError
        Where the faces do not rise or the numbers of cells differ.
    """
    faces, values = np.asarray(radius_faces, dtype=float), np.atleast_2d(np.asarray(extinction, dtype=float))
    if values.shape[1] != faces.size - 1:
        raise ValueError(f"extinction has {values.shape[1]} cells along r, radius_faces has {faces.size - 1}")
    return np.asarray(values @ projection(faces, offsets))


def projection(radius_faces: ArrayLike, offsets: ArrayLike) -> Array:
    """Return the matrix (nr, ny) [m] that turns cell values into their line integrals; see `optical_depth`."""
    faces, y = np.asarray(radius_faces, dtype=float), np.abs(np.atleast_1d(np.asarray(offsets, dtype=float)))
    if faces.ndim != 1 or faces.size < 2 or np.any(np.diff(faces) <= 0.0) or faces[0] < 0.0:
        raise ValueError("radius_faces must rise from 0 or more")
    centres = 0.5 * (faces[1:] + faces[:-1])
    nodes = np.concatenate((faces[:1], centres, faces[-1:]))
    length, moment = _piece_integrals(nodes, y)
    width = np.diff(nodes)[:, None]
    # On a piece the value is that of its inner node times (outer - r)/width and that of its outer one times the rest.
    from_outer = (moment - nodes[:-1, None] * length) / width
    by_node = np.zeros((nodes.size, y.size))
    by_node[:-1] += length - from_outer
    by_node[1:] += from_outer
    # The rims of the grid have the value of the nearest centre.
    by_node[1] += by_node[0]
    by_node[-2] += by_node[-1]
    return by_node[1:-1]


def _piece_integrals(nodes: Array, y: Array) -> tuple[Array, Array]:
    """Integrals of 1 and of r along a line at distance y between each two nodes, both sides, (pieces, ny) [m, m2].

    With r^2 = y^2 + s^2: s, and (r s + y^2 arsinh(s/y))/2.
    """
    s = np.sqrt(np.maximum(nodes[:, None] ** 2 - y**2, 0.0))
    # The logarithm is multiplied by y^2, so a line through the axis needs only some finite value there.
    away = np.where(y > 0.0, y, 1.0)
    first = nodes[:, None] * s + y**2 * np.arcsinh(s / away)
    return 2.0 * np.diff(s, axis=0), np.diff(first, axis=0)
