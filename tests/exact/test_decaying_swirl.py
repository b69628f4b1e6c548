"""Swirl alone, decaying in time: closed forms that the transient meets to second order on three grids."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import j1, jn_zeros

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import State
from swirlwright.solver.transient import Stepper
from swirlwright.verification.domains import laminar, stretched_faces, walls

NU = 0.01


def lamb_oseen(r: Array, time: float) -> Array:
    """Lamb, Hydrodynamics, 1932, art. 334a: a line vortex of circulation 2 pi spreading by viscosity."""
    return (1.0 - np.exp(-(r**2) / (4.0 * NU * time))) / r


def marched(cells: int, start: Array, side_v: float, span: float, first_time: float = 0.0) -> tuple[Grid, State]:
    """Free-slip floor and ceiling, so nothing but radial viscosity acts; steps shrink with the cells."""
    grid = Grid(stretched_faces(1.0, cells, 0.3, np.pi), np.linspace(0.0, 0.2, 5))
    edges = walls(
        grid,
        side_v=side_v,
        **dict.fromkeys(("bottom_stress_u", "bottom_stress_v", "top_stress_u", "top_stress_v"), 0.0),
    )
    problem = laminar(grid, edges, NU)
    stepper = Stepper.of(problem)
    s = State.at_rest(problem)
    s = stepper.with_pressure(State(s.u, np.tile(start(grid.r), (4, 1)), s.w, s.p, time=first_time))
    steps = cells // 2
    for _ in range(steps):
        s = stepper.advance(s, span / steps)
    assert max(np.abs(s.u).max(), np.abs(s.w).max()) < 1e-12 * np.abs(s.v).max()
    return grid, s


def observed(error_of) -> float:
    errors = [error_of(cells) for cells in (24, 48, 96)]
    return float(min(-np.diff(np.log2(errors))))


def test_lamb_oseen_vortex_spreads_at_second_order():
    """From t = 0.5 to 1.5 s the error of v(r) in L2 falls by 2**1.9 as cells and steps are halved together."""

    def error_of(cells: int) -> float:
        grid, s = marched(cells, lambda r: lamb_oseen(r, 0.5), lamb_oseen(1.0, 1.5), 1.0, 0.5)
        error = s.v - lamb_oseen(grid.r, 1.5)
        return float(np.sqrt(np.sum(error**2 * grid.volume) / np.sum(grid.volume)))

    assert observed(error_of) >= 1.9


def test_lamb_oseen_core_grows_as_it_should():
    """At t = 1.5 s the core radius is sqrt(1.25643 * 4 nu t) within half a per cent."""
    grid, s = marched(96, lambda r: lamb_oseen(r, 0.5), lamb_oseen(1.0, 1.5), 1.0, 0.5)
    i = int(np.argmax(s.v[2]))
    a, b, _ = np.polyfit(grid.r[i - 1 : i + 2], s.v[2, i - 1 : i + 2], 2)
    assert -b / (2.0 * a) == pytest.approx(np.sqrt(1.25643 * 4.0 * NU * 1.5), rel=5e-3)


def test_slowest_mode_in_a_fixed_cylinder_decays_at_its_rate():
    """v = J1(3.8317 r) decays as exp(-14.682 nu t) with an error that falls by 2**1.9 per halving."""
    zero = jn_zeros(1, 1)[0]

    def error_of(cells: int) -> float:
        grid, s = marched(cells, lambda r: j1(zero * r), 0.0, 5.0)
        return float(np.abs(s.v - j1(zero * grid.r) * np.exp(-(zero**2) * NU * 5.0)).max())

    assert observed(error_of) >= 1.9
