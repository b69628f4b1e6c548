"""Fields made by formula for the tests of the measures."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from swirlwright.postproc.core import Chamber, Field
from swirlwright.solver.result_layout import BUDGET, FRAMES
from swirlwright.solver.results import ResultWriter

RADIUS, HEIGHT, DENSITY, VISCOSITY = 0.2, 0.6, 1.2, 1.5e-5


def stretched(n: int, length: float, ratio: float) -> np.ndarray:
    """Faces of n cells over a length [m], the last cell about `ratio` times the first."""
    s = np.linspace(0.0, 1.0, n + 1)
    return length * s * (1.0 + (ratio - 1.0) * s / 2.0) / (1.0 + (ratio - 1.0) / 2.0)


@pytest.fixture
def chamber() -> Chamber:
    """A chamber of 0.2 m radius and 0.6 m height, exhaust of 0.04 m radius, curtain's edge at 0.15 m."""
    return Chamber(HEIGHT, RADIUS, 0.04, 0.15, True, False, DENSITY, VISCOSITY)


@pytest.fixture
def make_field() -> Callable[..., Field]:
    """A field from functions of (r, z), on a stretched grid; what is not given is zero, nu molecular."""

    def make(*, n_r: int = 80, n_z: int = 90, **speeds: Callable[..., np.ndarray]) -> Field:
        r_face, z_face = stretched(n_r, RADIUS, 3.0), stretched(n_z, HEIGHT, 1.5)
        r, z = 0.5 * (r_face[1:] + r_face[:-1]), 0.5 * (z_face[1:] + z_face[:-1])
        shape = (z.size, r.size)
        values = {name: np.zeros(shape) for name in ("u", "v", "w", "p")} | {"nu": np.full(shape, VISCOSITY)}
        for name, formula in speeds.items():
            values[name] = np.broadcast_to(formula(r[None, :], z[:, None]), shape).astype(float)
        return Field(r, z, r_face, z_face, **values)

    return make


def write(path: Path, fields: list[Field], times: list[float], **end: object) -> Path:
    """A result file of these frames, its budget fields all zero but those given in `end["budget"]`."""
    f = fields[0]
    sizes = {"z": f.z.size, "r": f.r.size, "z_face": f.z.size + 1, "r_face": f.r.size + 1}
    budget = {name: np.zeros([sizes[d] for d in variable.dims]) for name, variable in BUDGET.items()}
    budget |= end.pop("budget", {})  # type: ignore[call-overload]
    window = end.pop("window", (times[0], times[-1]))
    attributes = {
        "title": "made up",
        "chamber_radius": RADIUS,
        "chamber_height": HEIGHT,
        "exhaust_radius": 0.04,
        "curtain_inner_edge": 0.15,
        "density": DENSITY,
        "kinematic_viscosity": VISCOSITY,
        "torque_input": 1e-3,
    }
    with ResultWriter.create(path, r=f.r, z=f.z, r_face=f.r_face, z_face=f.z_face, attributes=attributes) as writer:
        for time, field in zip(times, fields, strict=True):
            values = zip(FRAMES, (field.u, field.v, field.w, field.p, field.nu), strict=False)
            writer.append_frame(time, dict(values))
        writer.write_budget(budget, window)  # type: ignore[arg-type]
        writer.finish(**({"outcome": "steady", "outcome_text": "fine", "converged": True} | end))  # type: ignore[arg-type]
    return path


@pytest.fixture
def write_fields() -> Callable[..., Path]:
    """The function `write` above."""
    return write
