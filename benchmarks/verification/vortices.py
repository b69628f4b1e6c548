"""Vortices with a closed form: what the swirl equation, the strain and the pressure must give."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.integrate import quad
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.special import j1, jn_zeros

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import solve_steady
from swirlwright.solver.transient import Stepper
from swirlwright.verification.checks import Check, Configuration, Findings, Picture, Series, within
from swirlwright.verification.domains import laminar, on_axis, peak_of, stretched_faces, walls

GROUP = "vortices"
BURGERS = "Burgers, Adv. Appl. Mech. 1 (1948) 171"
ROTT = "Rott, J. Appl. Math. Phys. (ZAMP) 9 (1958) 543"
SULLIVAN = "Sullivan, J. Aerosp. Sci. 26 (1959) 767"
LAMB = "Lamb, Hydrodynamics, 6th ed., 1932, art. 334a"
BATCHELOR = "Batchelor, J. Fluid Mech. 20 (1964) 645, far wake"
SECOND_ORDER = "second-order error on this grid, doubled"
ROUND_OFF = "round-off of a linear field"

STRAIN, HEIGHT = 1.0, 0.4
# v = (1 - exp(-x^2))/x is largest at x = 1.120907, the root of 2 x^2 = exp(x^2) - 1, and 0.638173 there.
PEAK_PLACE = float(brentq(lambda x: np.exp(x * x) - 1.0 - 2.0 * x * x, 0.5, 2.0))
PEAK = (1.0 - np.exp(-(PEAK_PLACE**2))) / PEAK_PLACE


def spread_swirl(r: Array, width: float) -> Array:
    """v of a vortex of circulation 2 pi spread over `width`."""
    return -np.expm1(-((r / width) ** 2)) / r


def strained(grid: Grid, nu: float, side_v: float, **changes: Any) -> FlowProblem:
    """Free-slip floor, inflow a R at the side, w = 2 a H at the top."""
    free = dict.fromkeys(("bottom_stress_u", "bottom_stress_v", "top_stress_u", "top_stress_v"), 0.0)
    sides = {"side_u": -STRAIN * grid.radius, "side_v": side_v, "side_carry_w": 0.0, "side_stress_w": 0.0}
    return laminar(grid, walls(grid, **{**free, **sides, "top_w": 2.0 * STRAIN * HEIGHT, **changes}), nu)


def steady(problem: FlowProblem, start: State | None = None) -> State:
    """The steady flow, or an error that says how far it came."""
    found = solve_steady(problem, start or State.at_rest(problem), tolerance=1e-9, max_iterations=80)
    if not found.is_converged:
        raise ArithmeticError(f"no steady state: residual {found.residual:.1e} after {len(found.record)} iterations")
    return found.state


def burgers() -> Findings:
    """A core of 24 cells in unit radius."""
    core = 0.25
    width = core / PEAK_PLACE
    nu = 0.5 * STRAIN * width**2
    grid = Grid(stretched_faces(1.0, 96, 0.0), np.linspace(0.0, HEIGHT, 9))
    s = steady(strained(grid, nu, float(spread_swirl(np.array([1.0]), width)[0])))
    place, peak = peak_of(grid.r, s.v[4])
    deficit = s.p[4, -1] - s.p[4, 0] + 0.5 * STRAIN**2 * (grid.r[-1] ** 2 - grid.r[0] ** 2)
    exact, _ = quad(lambda r: spread_swirl(np.array([r]), width)[0] ** 2 / r, grid.r[0], grid.r[-1])
    checks = (
        exactly("core radius r_c/R", place, core, BURGERS),
        exactly("largest v R 2 pi/Gamma", peak, PEAK / width, BURGERS),
        exactly("pressure deficit by swirl", deficit, exact, BURGERS),
        Check("error of w = 2 a z", float(np.abs(s.w - 2.0 * STRAIN * grid.z_face[:, None]).max()), 0.0, 1e-8,
              BURGERS, "analytic", ROUND_OFF),
    )  # fmt: skip
    return Findings(checks, swirl_picture(grid, s.v[4], spread_swirl(grid.r, width), BURGERS))


def exactly(quantity: str, computed: float, expected: float, source: str, rel: float = 2e-3) -> Check:
    """A check against a closed form that the grid meets but for its second-order error."""
    return within(quantity, computed, expected, rel=rel, source=source, kind="analytic", why=SECOND_ORDER)


def swirl_picture(grid: Grid, computed: Array, exact: Array, label: str, y: str = "v R 2 pi/Gamma") -> Picture:
    """v(r): the computed curve with the closed form at every fourth centre."""
    return Picture("r/R", y, (Series("computed", grid.r, computed),), (Series(label, grid.r[::4], exact[::4]),))


def rott() -> Findings:
    """A core that was four times as wide as Burgers', contracting under the strain."""
    width = 0.2
    nu = 0.5 * STRAIN * width**2
    wide = 0.5

    def width_at(t: float) -> float:
        return float(np.sqrt(width**2 + (wide**2 - width**2) * np.exp(-2.0 * STRAIN * t)))

    grid = Grid(stretched_faces(1.5, 120, 0.0), np.linspace(0.0, HEIGHT, 5))
    side = float(spread_swirl(np.array([1.5]), wide)[0])
    problem = strained(grid, nu, side)
    s = State.at_rest(problem)
    u = np.tile(-STRAIN * grid.r_face, (grid.z.size, 1))
    w = np.tile(2.0 * STRAIN * grid.z_face[:, None], (1, grid.r.size))
    stepper = Stepper.of(problem)
    s = State(u, np.tile(spread_swirl(grid.r, wide), (grid.z.size, 1)), w, s.p)
    s = stepper.with_pressure(s)
    found, times = [], (0.5, 1.0)
    for time in times:
        while s.time < time - 1e-9:
            s = stepper.advance(s, 0.01)
        found.append(peak_of(grid.r, s.v[2])[0])
    why = "second-order error in space and time, doubled; the side's v is that of the start"
    checks = tuple(
        within(f"core radius at a t = {time:g}", place, PEAK_PLACE * width_at(time), rel=5e-3, source=ROTT,
               kind="analytic", why=why)
        for place, time in zip(found, times, strict=True)
    )  # fmt: skip
    return Findings(checks, swirl_picture(grid, s.v[2], spread_swirl(grid.r, width_at(1.0)), ROTT))


def sullivan_swirl(x: Array) -> Array:
    """H(x)/H(inf), x = a r^2/(2 nu), of the two-celled vortex, by quadrature."""

    def exponent(t: float) -> float:
        return -t + 3.0 * quad(lambda s: -np.expm1(-s) / s, 0.0, t)[0]

    # exp(-t) t^3 at large t: nothing is left beyond 60.
    nodes = np.concatenate((np.linspace(0.0, 30.0, 601), [60.0]))
    values = np.exp([exponent(t) for t in nodes])
    integral = CubicSpline(nodes[:-1], values[:-1]).antiderivative()
    total = float(integral(30.0))
    return np.where(x < 30.0, integral(np.minimum(x, 30.0)) / total, 1.0)


def sullivan() -> Findings:
    """Two cells: air sinks on the axis and rises around it. Side and top impose the closed form."""
    nu = 0.01
    grid = Grid(stretched_faces(1.0, 96, 0.0), np.linspace(0.0, HEIGHT, 17))
    x, xf = (STRAIN * r**2 / (2.0 * nu) for r in (grid.r, grid.r_face))
    v = sullivan_swirl(x) / grid.r
    # The axial flow through each ring, integrated, so that what comes in goes out exactly.
    stream = STRAIN * grid.r_face**2 - 6.0 * nu * (-np.expm1(-xf))
    w_top = HEIGHT * np.diff(stream) / grid.metric.a
    side_u = -stream[-1]
    u = -np.divide(stream, grid.r_face, out=np.zeros_like(stream), where=grid.r_face > 0)
    top = {"top_w": w_top, "top_u": u, "top_v": v, "top_stress_u": 1.0, "top_stress_v": 1.0}
    problem = strained(grid, nu, 1.0, side_u=side_u, **top)
    start = State(
        np.tile(u, (16, 1)),
        np.tile(v, (16, 1)),
        np.outer(grid.z_face / HEIGHT, w_top),
        np.zeros(grid.shape),
    )
    s = steady(problem, start)
    fine = np.linspace(0.05, 0.95, 1801)
    exact = sullivan_swirl(STRAIN * fine**2 / (2.0 * nu)) / fine
    place, peak = peak_of(grid.r, s.v[8])
    axis = on_axis(s.w)[8] / grid.z_face[8]
    turn = np.interp(0.0, s.w[8][: 96 // 2], grid.r[: 96 // 2])
    turned = float(np.sqrt(2.0 * nu / STRAIN * np.log(3.0)))
    checks = (
        exactly("radius of the largest v", place, peak_of(fine, exact)[0], SULLIVAN),
        exactly("largest v R 2 pi/Gamma", peak, float(exact.max()), SULLIVAN),
        exactly("w on the axis over a z", axis, -4.0 * STRAIN, SULLIVAN, 1e-2),
        exactly("radius where w turns", turn, turned, SULLIVAN, 1e-2),
    )
    return Findings(checks, swirl_picture(grid, s.v[8], sullivan_swirl(x) / grid.r, SULLIVAN))


def swirl_alone(grid: Grid, nu: float, v: Array, side_v: float, time: float, steps: int) -> State:
    """Swirl decaying between free-slip floor and ceiling, after `time`."""
    free = dict.fromkeys(("bottom_stress_u", "bottom_stress_v", "top_stress_u", "top_stress_v"), 0.0)
    problem = laminar(grid, walls(grid, side_v=side_v, **free), nu)
    stepper = Stepper.of(problem)
    s = State.at_rest(problem)
    s = stepper.with_pressure(State(s.u, np.tile(v, (grid.z.size, 1)), s.w, s.p))
    for _ in range(steps):
        s = stepper.advance(s, time / steps)
    return s


def lamb_oseen() -> Findings:
    """A line vortex spreading by viscosity, from nu t = 0.005 to 0.015."""
    nu = 0.01
    grid = Grid(stretched_faces(1.0, 96, 0.3, np.pi), np.linspace(0.0, 0.2, 5))
    before, after = np.sqrt(4.0 * nu * 0.5), np.sqrt(4.0 * nu * 1.5)
    side = float(spread_swirl(np.array([1.0]), after)[0])
    s = swirl_alone(grid, nu, spread_swirl(grid.r, before), side, 1.0, 48)
    place, peak = peak_of(grid.r, s.v[2])
    checks = (
        within(
            "core radius r_c/R", place, PEAK_PLACE * after, rel=3e-3, source=LAMB, kind="analytic", why=SECOND_ORDER
        ),
        within("largest v", peak, PEAK / after, rel=3e-3, source=LAMB, kind="analytic", why=SECOND_ORDER),
    )
    return Findings(checks, swirl_picture(grid, s.v[2], spread_swirl(grid.r, after), LAMB))


def fixed_cylinder() -> Findings:
    """The slowest mode of swirl in a long cylinder at rest."""
    nu, zero = 0.01, float(jn_zeros(1, 1)[0])
    grid = Grid(stretched_faces(1.0, 64, 0.3, np.pi), np.linspace(0.0, 0.2, 5))
    s = swirl_alone(grid, nu, j1(zero * grid.r), 0.0, 5.0, 64)
    rate = -np.log(s.v[2] @ j1(zero * grid.r) / (j1(zero * grid.r) @ j1(zero * grid.r))) / (nu * 5.0)
    source = "zero of the Bessel function J1, by scipy; Batchelor, An Introduction to Fluid Dynamics, 1967, sec. 4.3"
    checks = (within("decay rate R^2/nu", rate, zero**2, rel=2e-3, source=source, kind="reference library",
                     why=SECOND_ORDER),)  # fmt: skip
    exact = j1(zero * grid.r) * np.exp(-(zero**2) * nu * 5.0)
    return Findings(checks, swirl_picture(grid, s.v[2], exact, "J1 mode", "v"))


def rigid_rotation() -> Findings:
    """A drum turning as a whole for thirty turns."""
    omega, cells = 2.0, 32
    grid = Grid(stretched_faces(1.0, cells, 0.4, 2.0), stretched_faces(1.2, cells, 0.4))
    turning = omega * grid.r
    problem = laminar(grid, walls(grid, side_v=omega, bottom_v=turning, top_v=turning), 0.01)
    s = State.at_rest(problem)
    stepper = Stepper.of(problem)
    s = stepper.with_pressure(State(s.u, np.tile(turning, (cells, 1)), s.w, s.p))
    for _ in range(1000):
        s = stepper.advance(s, 0.1)
    rise = s.p[cells // 2, -1] - s.p[cells // 2, 0]
    source = "rigid rotation: v = Omega r, p = Omega^2 r^2/2"
    checks = (
        Check("largest error of v over Omega R", float(np.abs(s.v - turning).max()) / omega, 0.0, 1e-12, source,
              "analytic", "round-off of a thousand steps"),
        within("pressure rise from axis to side", rise, 0.5 * omega**2 * (grid.r[-1] ** 2 - grid.r[0] ** 2), rel=2e-3,
               source=source, kind="analytic", why=SECOND_ORDER),
    )  # fmt: skip
    return Findings(checks, swirl_picture(grid, s.v[cells // 2], turning, source, "v"))


def trailing() -> Findings:
    """A weak vortex carried along by an even stream: it spreads with z as a line vortex does with time z/W."""
    nu, length, first = 2e-3, 4.0, 4.0
    # Weak, so that its pressure moves the stream by next to nothing.
    strength = 1e-3
    grid = Grid(stretched_faces(1.0, 64, 0.3, np.pi), np.linspace(0.0, length, 41))
    width = np.sqrt(4.0 * nu * (first + np.array([0.0, length])))
    free = {"side_stress_w": 0.0, "top_stress_u": 0.0, "top_stress_v": 0.0, "top_carry_v": 0.0, "bottom_u": 0.0}
    edges = walls(
        grid, bottom_w=1.0, top_w=1.0, bottom_v=strength * spread_swirl(grid.r, width[0]),
        side_v=strength, side_stress_v=1.0, **free,
    )  # fmt: skip
    s = steady(laminar(grid, edges, nu))
    at = grid.z[-2]
    here = float(np.sqrt(4.0 * nu * (first + at)))
    place, peak = peak_of(grid.r, s.v[-2])
    why = "second-order error, and the diffusion along z that the closed form leaves out (nu/(W z) = 2.5e-4)"
    checks = (
        within(
            "core radius downstream", place, PEAK_PLACE * here, rel=5e-3, source=BATCHELOR, kind="analytic", why=why
        ),
        within(
            "largest v downstream", peak / strength, PEAK / here, rel=5e-3, source=BATCHELOR, kind="analytic", why=why
        ),
    )
    picture = swirl_picture(grid, s.v[-2] / strength, spread_swirl(grid.r, here), BATCHELOR)
    return Findings(checks, picture)


CONFIGURATIONS = (
    Configuration("burgers", GROUP, "Burgers vortex: inflow against viscosity", burgers, 2.0),
    Configuration("rott", GROUP, "Rott vortex: a core contracting in time", rott, 3.0),
    Configuration("sullivan", GROUP, "Sullivan vortex: two cells", sullivan, 3.0),
    Configuration("lamb-oseen", GROUP, "Lamb-Oseen vortex: a core spreading in time", lamb_oseen, 1.0),
    Configuration("fixed-cylinder", GROUP, "slowest decay of swirl in a fixed cylinder", fixed_cylinder, 1.0),
    Configuration("rigid-rotation", GROUP, "a drum of air turning as a whole", rigid_rotation, 2.0),
    Configuration("trailing-vortex", GROUP, "a weak vortex spreading along a stream", trailing, 2.0),
)
