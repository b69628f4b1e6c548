"""A closed cylinder of fluid driven by one rotating end wall: circulation, breakdown bubbles, onset of oscillation.

Lengths by the radius R, speeds by Omega R, Re = Omega R^2/nu, z from the rotating disk; the streamfunction is the
integral of w r dr. Flow along the axis is towards the disk, so w < 0 there outside a bubble. The jump of v at the
disk's rim makes convergence a little slower than second order, hence the tolerances on extrapolated values.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from scipy import sparse
from scipy.interpolate import RectBivariateSpline
from scipy.optimize import minimize
from scipy.sparse.linalg import LinearOperator, eigs, splu

from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import SteadyEquations, solve_steady
from swirlwright.verification.checks import Check, Configuration, Findings, Picture, Series, band, within
from swirlwright.verification.domains import laminar, on_axis, peak_of, wall_faces, walls

GROUP = "rotating end wall"
OTHER_CODE = "independent computation for this project by another code, +-2e-6 on psi, 0.3 % on w, 0.002 on places"
SPECTRAL = f"{OTHER_CODE}; also by a spectral method"
HAJABDOLLAHI = "Hajabdollahi, Premnath and Welch, arXiv 1806.10241, 2018, quoting experiments"
FUJIMURA = "Fujimura, Koyama and Hyun, measurement in a differentially rotating cylinder, 2001"
ESCUDIER = "Escudier, Exp. Fluids 2 (1984) 189"
STEVENS = "Stevens, Lopez and Cantwell, J. Fluid Mech. 389 (1999) 1; Gelfgat et al., J. Fluid Mech. 311 (1996) 1"

# Cells per radius: a pair from which values are extrapolated to no cell size as if of second order.
PAIR = (32, 48)
# The oscillation is spread thinly along the side and needs more.
FINE_PAIR = (48, 64)


@dataclass(frozen=True)
class EndWall:
    """One row: height over radius, Reynolds number, psi_min with its place, strongest axial w and its place."""

    height: float
    reynolds: float
    psi: float
    psi_r: float
    psi_z: float
    w: float
    w_z: float
    source: str = OTHER_CODE


ROWS = (
    EndWall(1.0, 100.0, -0.011720, 0.670, 0.297, -0.0880, 0.361),
    EndWall(1.5, 300.0, -0.013714, 0.735, 0.275, -0.1017, 0.536),
    EndWall(1.5, 990.0, -0.009663, 0.826, 0.200, -0.0986, 1.190, SPECTRAL),
    EndWall(2.5, 1010.0, -0.009487, 0.830, 0.191, -0.1030, 1.388),
)


def cylinder(height: float, reynolds: float, cells: int, start: State | None = None) -> tuple[FlowProblem, State]:
    """Steady flow on `cells` by `cells` * height cells, finer at the walls."""
    grid = Grid(wall_faces(1.0, cells, 1.0, False), wall_faces(height, round(cells * height), 1.0, True))
    problem = laminar(grid, walls(grid, bottom_v=grid.r), 1.0 / reynolds)
    found = solve_steady(problem, start or State.at_rest(problem), tolerance=1e-11, max_iterations=80)
    if not found.is_converged:
        raise ArithmeticError(f"no steady flow at H/R {height:g}, Re {reynolds:g}: residual {found.residual:.1e}")
    return problem, found.state


def streamfunction_minimum(grid: Grid, s: State) -> Array:
    """Smallest streamfunction and its place (psi, r, z), between the grid points by a spline."""
    psi = np.zeros((grid.z_face.size, grid.r_face.size))
    psi[:, 1:] = np.cumsum(s.w * grid.metric.a, axis=1)
    j, i = np.unravel_index(psi.argmin(), psi.shape)
    spline = RectBivariateSpline(grid.z_face, grid.r_face, 100.0 * psi)
    start = [grid.z_face[j], grid.r_face[i]]
    found = minimize(lambda q: spline(*q)[0, 0], start, method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-9})
    return np.array([found.fun / 100.0, found.x[1], found.x[0]])


def strongest_axial(grid: Grid, s: State) -> Array:
    """Strongest flow towards the disk on the axis and its z, by a parabola through three faces."""
    place, size = peak_of(grid.z_face, -on_axis(s.w))
    return np.array([-size, place])


def bubbles(s: State) -> int:
    """Number of stretches of the axis where the flow is away from the disk."""
    away = on_axis(s.w)[2:-2] > 1e-5
    return int(np.sum(np.diff(away.astype(int)) == 1))


def to_no_cell_size(pair: tuple[int, int], coarse: Array | float, fine: Array | float) -> Array:
    """Value at no cell size from those on a pair of grids, as if of second order."""
    return np.asarray(fine) + (np.asarray(fine) - np.asarray(coarse)) / ((pair[1] / pair[0]) ** 2 - 1.0)


@cache
def pair_of(height: float, reynolds: float) -> tuple[tuple[FlowProblem, State], ...]:
    """The flow on both grids of the pair."""
    return tuple(cylinder(height, reynolds, cells) for cells in PAIR)


def extrapolated(height: float, reynolds: float, measure: Callable[[Grid, State], Array]) -> Array:
    """A measure at no cell size."""
    coarse, fine = (measure(problem.grid, s) for problem, s in pair_of(height, reynolds))
    return to_no_cell_size(PAIR, coarse, fine)


def axis_picture(flows: dict[str, tuple[FlowProblem, State]], *points: Series) -> Picture:
    """w on the axis over the height."""
    curves = (Series(label, p.grid.z_face / p.grid.height, on_axis(s.w)) for label, (p, s) in flows.items())
    return Picture("z/H from the disk", "w on the axis / (Omega R)", tuple(curves), points)


def circulation(row: EndWall) -> Findings:
    """The four numbers of one row."""
    psi, r, z = extrapolated(row.height, row.reynolds, streamfunction_minimum)
    w, w_z = extrapolated(row.height, row.reynolds, strongest_axial)
    distance = float(np.hypot(r - row.psi_r, z - row.psi_z))
    checks = (
        within("smallest streamfunction/(Omega R^3)", psi, row.psi, rel=1.5e-3, source=row.source, kind="published",
               why="the rim's jump leaves 0.1 % after extrapolation, and the source's own error"),
        Check("distance of its place from the source's, over R", distance, 0.0, 4e-3, row.source, "published",
              "twice the source's 0.002 on places"),
        within("strongest w on the axis/(Omega R)", w, row.w, rel=5e-3, source=row.source, kind="published",
               why="0.3 % of the source, and as much left after extrapolation"),
        Check("its z/R from the disk", float(w_z), row.w_z, 6e-3, row.source, "published",
              "0.002 of the source, and the flatness of the maximum"),
    )  # fmt: skip
    point = Series(row.source, np.array([row.w_z / row.height]), np.array([row.w]))
    return Findings(checks, axis_picture({"computed": pair_of(row.height, row.reynolds)[1]}, point))


def counted(cases: tuple[tuple[float, float, int], ...], source: str, *, is_from_memory: bool) -> Findings:
    """Bubbles on the axis, for each (H/R, Re, number seen)."""
    flows = {f"H/R {height:g}, Re {re:g}": pair_of(height, re)[1] for height, re, _ in cases}
    checks = tuple(
        Check(f"bubbles at {label}", float(bubbles(s)), float(number), 0.5, source,
              "from memory" if is_from_memory else "published", "a number of bubbles is whole")
        for (label, (_, s)), (*_, number) in zip(flows.items(), cases, strict=True)
    )  # fmt: skip
    return Findings(checks, axis_picture(flows))


def measured(cases: tuple[tuple[float, float, float, float], ...]) -> Findings:
    """Strongest w and its distance from the fixed end, for each (H/R, Re, speed, distance over H)."""
    checks: list[Check] = []
    points = []
    for height, re, speed, place in cases:
        w, z = extrapolated(height, re, strongest_axial)
        label = f"H/R {height:g}, Re {re:g}"
        checks += (
            within(f"|w|max/(Omega R), {label}", -w, speed, rel=0.05, source=FUJIMURA, kind="from memory",
                   why="printed to two digits; their uncertainty is not at hand"),
            Check(f"its distance from the fixed end/H, {label}", 1.0 - z / height, place, 0.02, FUJIMURA, "from memory",
                  "printed to two digits; their uncertainty is not at hand"),
        )  # fmt: skip
        points.append(Series(f"measured, {label}", np.array([1.0 - place]), np.array([-speed])))
    flows = {f"computed, H/R {height:g}, Re {re:g}": pair_of(height, re)[1] for height, re, *_ in cases}
    return Findings(tuple(checks), axis_picture(flows, *points))


def slowest_approach(s: State) -> float:
    """Largest w at a maximum along the axis: below 0 while all the air still goes to the disk."""
    w = on_axis(s.w)[2:-2]
    tops = [k for k in range(1, w.size - 1) if w[k] >= w[k - 1] and w[k] > w[k + 1]]
    return max(peak_of(np.arange(3.0), w[k - 1 : k + 2])[1] for k in tops)


def first_bubble(height: float, cells: int, numbers: tuple[float, ...]) -> float:
    """Re at which w at its maximum along the axis becomes 0, by a parabola through three Re."""
    s, values = None, []
    for re in numbers:
        _, s = cylinder(height, re, cells, s)
        values.append(slowest_approach(s))
    return float(np.polyval(np.polyfit(values, numbers, 2), 0.0))


# H/R, three Re around the onset, and the band in which Escudier's curve lies there as far as memory serves.
ONSETS = (
    (1.5, (1030.0, 1080.0, 1130.0), (1000.0, 1100.0)),
    (2.0, (1400.0, 1440.0, 1480.0), (1400.0, 1492.0)),
    (2.5, (1850.0, 1900.0, 1950.0), (1820.0, 1960.0)),
)


def breakdown_onset() -> Findings:
    """The Reynolds number of the first bubble at three heights."""
    checks, found = [], []
    for height, numbers, (low, high) in ONSETS:
        onset = float(to_no_cell_size(PAIR, *(first_bubble(height, cells, numbers) for cells in PAIR)))
        found.append(onset)
        checks.append(
            band(f"Re of the first bubble at H/R {height:g}", onset, low, high, source=f"{ESCUDIER}, diagram",
                 kind="from memory", why="how well the diagram is remembered and can be read")
        )  # fmt: skip
    heights = np.array([height for height, *_ in ONSETS])
    middles = np.array([0.5 * sum(limits) for *_, limits in ONSETS])
    curve = Series("computed", heights, np.array(found))
    return Findings(
        tuple(checks), Picture("H/R", "Re of the first bubble", (curve,), (Series(ESCUDIER, heights, middles),))
    )


def rightmost(problem: FlowProblem, s: State, near: complex, number: int = 6) -> complex:
    """Fastest-growing of the modes (growth rate, angular frequency) nearest to `near`, disturbances axisymmetric.

    Modes of M dx/dt = A x with x = (u, v, w, p): the rates linearised about s, and div u = 0 without a rate. Shift and
    invert on the sparse A; the pressure of the last cell is held, for in a closed chamber only differences matter.
    """
    equations = SteadyEquations(problem, s)
    n, size = equations.unknowns.n_flow, equations.unknowns.size - 1
    system = sparse.bmat([[equations.momentum_jacobian(s), equations.gradient], [equations.div, None]], format="csc")
    mass = sparse.diags(np.repeat([1.0, 0.0], [n, size - n]), format="csc")
    factor = splu((system[:size, :size] - near * mass).tocsc())
    inverse = LinearOperator((size, size), matvec=lambda x: factor.solve(mass @ x.astype(complex)), dtype=complex)
    # A fixed start makes the answer the same in every run.
    values = eigs(inverse, k=number, v0=mass @ np.ones(size, complex), tol=1e-8, return_eigenvectors=False)
    modes = near + 1.0 / values
    return complex(modes[np.argmax(modes.real)])


def oscillation() -> Findings:
    """Where the steady flow with two bubbles begins to pulsate, and how fast."""
    height, numbers, period = 2.5, (2600.0, 2680.0, 2760.0), 36.0
    onsets, periods, curves = [], [], []
    for cells in FINE_PAIR:
        _, s = cylinder(height, 2200.0, cells)
        modes = []
        for re in numbers:
            problem, s = cylinder(height, re, cells, s)
            modes.append(rightmost(problem, s, 2j * np.pi / period))
        growth, frequency = np.real(modes), np.imag(modes)
        onset = float(np.polyval(np.polyfit(growth, numbers, 2), 0.0))
        onsets.append(onset)
        periods.append(2.0 * np.pi / float(np.interp(onset, numbers, frequency)))
        curves.append(Series(f"computed, {cells} cells per radius", np.array(numbers), growth))
    onset, slowness = (float(to_no_cell_size(FINE_PAIR, *values)) for values in (onsets, periods))
    checks = (
        within("Re of the first axisymmetric oscillation, H/R 2.5", onset, 2707.0, rel=0.02, source=STEVENS,
               kind="from memory",
               why="growth is so flat in Re that 1e-4 Omega moves the onset by 10; half a per cent between the grids"),
        within("its period times Omega", slowness, period, rel=0.03, source=STEVENS,
               kind="from memory", why="given as about 36"),
    )  # fmt: skip
    point = Series(f"onset: {STEVENS}", np.array([2707.0]), np.array([0.0]))
    return Findings(checks, Picture("Re", "growth rate/Omega", tuple(curves), (point,)))


SEEN = ((1.5, 990.0, 0), (1.5, 1290.0, 1), (2.5, 1010.0, 0), (2.5, 2200.0, 2))
PHOTOGRAPHS = ((1.75, 1850.0, 1), (2.0, 1002.0, 0), (2.0, 1492.0, 1), (2.0, 1854.0, 2))
# H/R, Re, |w|max, its distance from the fixed end over H.
SHORT = ((1.5, 990.0, 0.097, 0.21), (1.5, 1290.0, 0.068, 0.14))
TALL = ((2.5, 1010.0, 0.103, 0.46),)

CONFIGURATIONS = (
    *(
        Configuration(
            f"end-wall-{row.height:g}-{row.reynolds:g}", GROUP,
            f"circulation at H/R {row.height:g}, Re {row.reynolds:g}", partial(circulation, row), seconds,
        )
        for row, seconds in zip(ROWS, (3.0, 2.0, 2.0, 3.0), strict=True)
    ),
    Configuration("bubbles", GROUP, "breakdown bubbles present and absent",
                  partial(counted, SEEN, HAJABDOLLAHI, is_from_memory=False), 6.0),
    Configuration("bubble-photographs", GROUP, "breakdown bubbles in the classical photographs",
                  partial(counted, PHOTOGRAPHS, f"{ESCUDIER}, photographs", is_from_memory=True), 8.0),
    Configuration("measured-axis-1.5", GROUP, "measured flow along the axis at H/R 1.5", partial(measured, SHORT), 3.0),
    Configuration("measured-axis-2.5", GROUP, "measured flow along the axis at H/R 2.5", partial(measured, TALL), 2.0),
    Configuration("breakdown-onset", GROUP, "the first bubble as Re grows", breakdown_onset, 13.0),
    Configuration("oscillation-onset", GROUP, "onset of axisymmetric oscillation", oscillation, 32.0),
)  # fmt: skip
