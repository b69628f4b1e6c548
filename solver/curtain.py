"""The curtain the jets blend into: where it ends inside, and how wide it is at each height."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from swirlwright.solver.grid import Grid

Array = NDArray[np.float64]

# The curtain ends, inside, where the torque density has fallen to this share of its largest value.
EDGE_SHARE = 0.01


def curtain(density: Array, grid: Grid) -> tuple[float, Array]:
    """Return the curtain's inner edge [m] and its width at each height (nz,) [m].

    Parameters
    ----------
    density : (nz, nr)
        Magnitude of the jets' torque density, any unit, without what was put into the wall cells.
    grid : Grid

    Returns
    -------
    inner_edge : float
        From the torque density averaged over the height, so that it does not depend on where rows fall; NaN
        where there is no torque.
    width : (nz,)
        From the largest density at that height inward to a hundredth of it.
    """
    peak = density.max(axis=1, initial=0.0)
    if peak.max(initial=0.0) <= 0.0:
        return float("nan"), np.zeros(len(grid.z))
    mean = (density * grid.volume).sum(axis=0) / grid.volume.sum(axis=0)
    # Far from every hole only a Gaussian's last digits are left: take the nearest height that has a curtain.
    rows = np.flatnonzero(peak > EDGE_SHARE * peak.max())
    widths = [grid.r[np.argmax(density[j])] - inner_edge(density[j], grid.r) for j in rows]
    return inner_edge(mean, grid.r), np.interp(grid.z, grid.z[rows], widths)


def inner_edge(profile: Array, r: Array) -> float:
    """Return the radius [m] where `profile` (nr,), inside its peak, is a hundredth of it; 0 if never."""
    top = int(np.argmax(profile))
    target = EDGE_SHARE * profile[top]
    low = np.flatnonzero(profile[:top] < target)
    if len(low) == 0:
        return 0.0
    i = int(low[-1])
    inner, outer = profile[i], profile[i + 1]
    # A Gaussian's flank is straighter in the logarithm; below it may be exactly zero.
    if inner > 1e-6 * target:
        part = np.log(target / inner) / np.log(outer / inner)
    else:
        part = (target - inner) / (outer - inner)
    return float(r[i] + part * (r[i + 1] - r[i]))
