"""Fields carried from one grid to another, for grid sequencing and starts from an earlier result."""

from __future__ import annotations

import numpy as np

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import State


def onto(grid: Grid, s: State, old: Grid) -> State:
    """`s` on another grid by linear interpolation, held constant beyond the outermost points.

    The result is not free of divergence; project it before marching.
    """
    return State(
        u=_resample(s.u, (old.z, old.r_face), (grid.z, grid.r_face)),
        v=_resample(s.v, (old.z, old.r), (grid.z, grid.r)),
        w=_resample(s.w, (old.z_face, old.r), (grid.z_face, grid.r)),
        p=_resample(s.p, (old.z, old.r), (grid.z, grid.r)),
        duct_pressure=s.duct_pressure,
        time=s.time,
        fog=_resample(s.fog, (old.z, old.r), (grid.z, grid.r)),
        eddy=_resample(s.eddy, (old.z, old.r), (grid.z, grid.r)) if s.eddy.size else s.eddy,
    )


def _resample(values: Array, old: tuple[Array, Array], new: tuple[Array, Array]) -> Array:
    along_r = np.stack([np.interp(new[1], old[1], row) for row in values])
    return np.stack([np.interp(new[0], old[0], column) for column in along_r.T], axis=1)
