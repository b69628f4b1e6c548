"""Small flow problems without a case file: grids by an analytic map, edges that are all wall."""

from __future__ import annotations

from typing import Any

import numpy as np

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.kernels import Edges
from swirlwright.solver.state import FixedViscosity, FlowProblem, Sources


def stretched_faces(length: float, cells: int, fineness: float = 0.5, phase: float = 0.0) -> Array:
    """Faces by x = s + fineness sin(2 pi s + phase)/(2 pi), shifted to start at 0: one smooth map for every `cells`.

    The largest spacing is (1 + fineness)/(1 - fineness) times the smallest.
    """
    s = np.linspace(0.0, 1.0, cells + 1)
    x = s + fineness * (np.sin(2.0 * np.pi * s + phase) - np.sin(phase)) / (2.0 * np.pi)
    x[0], x[-1] = 0.0, 1.0
    return length * x


def wall_faces(length: float, cells: int, strength: float, both_ends: bool) -> Array:
    """Faces by a hyperbolic tangent, fine at the far end or at both ends."""
    t = np.linspace(-1.0 if both_ends else 0.0, 1.0, cells + 1)
    x = np.tanh(strength * t) / np.tanh(strength)
    return length * (0.5 * (1.0 + x) if both_ends else x)


def walls(grid: Grid, **changes: Any) -> Edges:
    """No-slip walls at rest on every side, an inner cylinder included; `changes` replace single entries of the edges.

    Scalars are spread out.
    """
    nz, nr = grid.shape
    side, side_faces, plan, plan_faces = (nz,), (nz + 1,), (nr,), (nr + 1,)
    shapes = {
        "side_kind": side,
        "side_u": side,
        "side_v": side,
        "side_w": side_faces,
        "side_stress_v": side,
        "side_stress_w": side_faces,
        "side_carry_v": side,
        "side_carry_w": side_faces,
        "side_open": side,
        "side_in": side,
        "side_out": side,
        "side_p": side,
        "top_kind": plan,
        "top_w": plan,
        "top_u": plan_faces,
        "top_v": plan,
        "top_stress_u": plan_faces,
        "top_stress_v": plan,
        "top_carry_u": plan_faces,
        "top_carry_v": plan,
        "top_loss": plan,
        "top_p": plan,
        "bottom_w": plan,
        "bottom_u": plan_faces,
        "bottom_v": plan,
        "bottom_stress_u": plan_faces,
        "bottom_stress_v": plan,
        "inner_v": side,
    }
    values: dict[str, Any] = {}
    for name, shape in shapes.items():
        usual = 1.0 if ("stress" in name or "carry" in name or name == "side_open") else 0.0
        dtype = np.int64 if name.endswith("kind") else np.float64
        values[name] = np.array(np.broadcast_to(changes.pop(name, usual), shape), dtype=dtype)
    values["inner_stress"] = changes.pop("inner_stress", 1.0)
    values["blend_speed"] = changes.pop("blend_speed", 1e-3)
    if changes:
        raise TypeError(f"no such edge: {sorted(changes)}")
    return Edges(**values)


def laminar(grid: Grid, edges: Edges, nu: float, sources: Sources | None = None, **more: Any) -> FlowProblem:
    """A flow of uniform viscosity with unit density and scales."""
    settings: dict[str, Any] = {"density": 1.0, "molecular": nu, "exhaust_flow": None, "speed": 1.0, "length": 1.0}
    settings.update(more)
    closure = FixedViscosity.uniform(grid, nu)
    return FlowProblem(grid=grid, edges=edges, sources=sources or Sources.none(grid), closure=closure, **settings)


def on_axis(w: Array) -> Array:
    """Axial velocity extrapolated to r = 0 from the two inner columns; even in r, exact on a uniform core."""
    return (9.0 * w[:, 0] - w[:, 1]) / 8.0


def peak_of(x: Array, y: Array) -> tuple[float, float]:
    """Place and size of the largest y, by a parabola through the three highest points."""
    i = int(np.argmax(y))
    a, b, c = np.polyfit(x[i - 1 : i + 2] - x[i], y[i - 1 : i + 2], 2)
    return float(x[i] - b / (2.0 * a)), float(c - b * b / (4.0 * a))
