"""Chambers with prescribed inflow: a laminar one computed elsewhere, the fold in swirl, and vortex chambers as built
in laboratories, whose structure is judged by the package's own measures.

The swirl ratio is S = r0 Gamma/(2 Q) = tan(theta)/(2 a), a = h/r0, with r0 the radius of the updraught hole and h the
height of the inflow. Lengths of the laboratory chambers are by r0, speeds by the mean radial speed at r0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from swirlwright.postproc.core import Chamber, Field
from swirlwright.postproc.flow_numbers import FieldMeasures, measure_field
from swirlwright.postproc.verdict import ALOFT, AT_THE_FLOOR, NONE, TWO_CELLED, breakdown_of, near_floor
from swirlwright.solver.averages import Averages
from swirlwright.solver.casefile import parse_case
from swirlwright.solver.continuation import Branch, follow_branch
from swirlwright.solver.fields import centre_fields
from swirlwright.solver.flow import build_flow, build_grid
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.march import Control, march
from swirlwright.solver.network import solve_network
from swirlwright.solver.progress import SILENT
from swirlwright.solver.recording import Averaging
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import solve_steady
from swirlwright.solver.transient import Stepper
from swirlwright.verification.checks import Check, Configuration, Findings, Kind, Picture, Series, band, within
from swirlwright.verification.domains import laminar, on_axis, peak_of, stretched_faces, walls

GROUP = "laboratory chambers"
OTHER_CODE = "independent computation for this project by another code, +-0.001"
JING = "Jing et al., 2025, doi 10.1016/j.awe.2025.100038: Ward-type rig, one cell at S 0.18, downdraught aloft at 0.42"
JING_TWO = f"{JING}, two-celled at 0.87"
TOUCHDOWN = "Church et al., J. Atmos. Sci. 36 (1979) 1755: 0.45; Refan and Hangan, J. Wind Eng. 175 (2018) 120: 0.57"
BAKER = "Baker 1981; Wilson and Rotunno, Phys. Fluids 29 (1986) 3993: laminar vortex at S 0.28"
LEWELLEN = "Lewellen, Lewellen and Xia, J. Atmos. Sci. 57 (2000) 527: v near the floor up to 2.5 times that aloft"
ORDER = "Davies-Jones, J. Atmos. Sci. 30 (1973) 1427; Church et al., J. Atmos. Sci. 36 (1979) 1755: order of events"
WIDER = "Snow, Rev. Geophys. 20 (1982) 953: core against swirl"
HOLLOW = "Binnie and Hookings, 1948: S = sqrt(2) X/(1-X)^1.5, X = (r_c/r0)^2, potential vortex around a hollow core"
KELLER = "a fold: past it the branch has no flow (Keller, 1977), so a sweep must jump"


# The laminar chamber. Lengths by R, speeds by the mean outlet speed W, Re = W R/nu = 50, height 2. Inlet on the side
# for z < 0.5: u = -phi, v = S phi, w = 0, phi = 30 s^2 (1-s)^2, s = z/0.5. Floor and side above: no slip. Outlet at
# the top: w = 2 (1 - r^2), u = 0, dv/dz = 0.
INLET = 0.5
THROUGHFLOW_CELLS = (20, 40, 80)


def throughflow(cells: int, swirl: float) -> FlowProblem:
    """The laminar chamber on `cells` over the radius."""
    grid = Grid(np.linspace(0.0, 1.0, cells + 1), np.linspace(0.0, 2.0, 3 * cells // 2 + 1))
    s = np.clip(grid.z_face / INLET, 0.0, 1.0)
    # Means over the cells, so that the inflow equals the outflow exactly.
    phi = np.diff(INLET * (10.0 * s**3 - 15.0 * s**4 + 6.0 * s**5)) / np.diff(grid.z_face)
    outlet = np.diff(grid.r_face**2 - 0.5 * grid.r_face**4) / grid.metric.a
    edges = walls(grid, side_u=-phi, side_v=swirl * phi, top_w=outlet, top_stress_v=0.0)
    return laminar(grid, edges, 1.0 / 50.0)


def steady(problem: FlowProblem, start: State | None = None) -> State:
    """The steady flow, or an error that says how far it came."""
    found = solve_steady(problem, start or State.at_rest(problem), tolerance=1e-8, max_iterations=60)
    if not found.is_converged:
        raise ArithmeticError(f"no steady state: residual {found.residual:.1e} after {len(found.record)} iterations")
    return found.state


@cache
def throughflow_solved(cells: int, swirl: float) -> tuple[FlowProblem, State]:
    """The laminar chamber and its flow."""
    problem = throughflow(cells, swirl)
    return problem, steady(problem)


HEIGHTS = (0.25, 0.5, 1.0, 1.5)


def axial_speeds(cells: int) -> Array:
    """w on the axis at four heights, without swirl."""
    problem, s = throughflow_solved(cells, 0.0)
    return CubicSpline(problem.grid.z_face, on_axis(s.w))(HEIGHTS)


def largest_swirl(cells: int) -> Array:
    """Largest v and its radius at z = 0.5 and z = 1 for S 0.25."""
    problem, s = throughflow_solved(cells, 0.25)
    peaks = (peak_of(problem.grid.r, v) for v in CubicSpline(problem.grid.z, s.v)([0.5, 1.0]))
    return np.array([x for place, size in peaks for x in (size, place)])


def extrapolated(measure: Callable[[int], Array]) -> Array:
    """A measure at no cell size from the two finer grids, as of second order."""
    coarse, fine = measure(THROUGHFLOW_CELLS[1]), measure(THROUGHFLOW_CELLS[2])
    return fine + (fine - coarse) / 3.0


def against_other_code(
    names: tuple[str, ...], measure: Callable[[int], Array], values: tuple[float, ...]
) -> list[Check]:
    """Extrapolated values beside the other code's."""
    why = "the other code's own error"
    rows = zip(names, extrapolated(measure), values, strict=True)
    return [Check(name, float(found), value, 1e-3, OTHER_CODE, "published", why) for name, found, value in rows]


def without_swirl() -> Findings:
    """w on the axis."""
    values = (0.2232, 0.8137, 1.7257, 1.9177)
    names = tuple(f"w/W on the axis at z/R {z:g}" for z in HEIGHTS)
    checks = against_other_code(names, axial_speeds, values)
    problem, s = throughflow_solved(80, 0.0)
    curve = Series("computed", problem.grid.z_face, on_axis(s.w))
    point = Series(OTHER_CODE, np.array(HEIGHTS), np.array(values))
    return Findings(tuple(checks), Picture("z/R", "w/W on the axis", (curve,), (point,)))


def with_swirl() -> Findings:
    """Largest v at two heights, S 0.25."""
    values = (0.6930, 0.4435, 0.7976, 0.3451)
    names = tuple(f"{name} at z/R {z:g}" for z in (0.5, 1.0) for name in ("largest v/W", "its radius/R"))
    checks = against_other_code(names, largest_swirl, values)
    problem, s = throughflow_solved(80, 0.25)
    profiles = CubicSpline(problem.grid.z, s.v)([0.5, 1.0])
    curves = (Series(f"computed, z/R {z:g}", problem.grid.r, v) for z, v in zip((0.5, 1.0), profiles, strict=True))
    point = Series(OTHER_CODE, np.array(values[1::2]), np.array(values[::2]))
    return Findings(tuple(checks), Picture("r/R", "v/W", tuple(curves), (point,)))


def inflow_of_swirl() -> Findings:
    """What the inlet brings in, and how it and the flow converge."""
    swirl, exact = 0.25, 5.0 * 0.25 / 7.0
    brought = []
    for cells in THROUGHFLOW_CELLS:
        problem = throughflow(cells, swirl)
        brought.append(-float(np.sum(problem.edges.side_u * problem.edges.side_v * problem.grid.metric.dz)))
    errors = np.abs(np.array(brought) - exact)
    limit = brought[2] + (brought[2] - brought[1]) / 3.0
    w = [axial_speeds(cells) for cells in THROUGHFLOW_CELLS]
    first, second = float(np.abs(w[1] - w[0]).sum()), float(np.abs(w[2] - w[1]).sum())
    order = "second-order scheme"
    integral = "integral of 900 S s^4 (1-s)^4 over the inlet, 5 S/7"
    checks = (
        within("inflow of angular momentum/(2 pi), extrapolated", limit, exact, rel=1e-5, source=integral,
               kind="analytic", why="fourth-order remainder of the finer grids"),
        Check("order of its error", float(np.log2(errors[1] / errors[2])), 2.0, 0.1, order, "analytic",
              "the next term of the error"),
        Check("order of w on the axis", float(np.log2(first / second)), 2.0, 0.3, order, "analytic",
              "the inlet's edge meets no-slip walls, and three grids from 20 cells on"),
    )  # fmt: skip
    cell = 1.0 / np.array(THROUGHFLOW_CELLS)
    curve = Series("computed", cell, errors / exact)
    slope = Series("second order", cell, errors[0] / exact * (cell / cell[0]) ** 2)
    return Findings(checks, Picture("cell/R", "error of the inflow of angular momentum", (curve,), (slope,)))


# The fold. Radius 1, height 2, even inflow through the lower half of the side (aspect ratio 1), radial Reynolds
# number 200, even outflow through the whole ceiling. The parameter is v/|u| at the inlet, twice the swirl ratio S.
FOLD_CELLS = 24
FOLD_LIMITS = (0.0, 1.3)


def folding(swirl: float) -> FlowProblem:
    """The chamber whose branch of single cells folds."""
    grid = Grid(stretched_faces(1.0, FOLD_CELLS, 0.3, np.pi), np.linspace(0.0, 2.0, 2 * FOLD_CELLS + 1))
    inflow = (grid.z < 1.0).astype(float)
    edges = walls(grid, side_u=-inflow, side_v=swirl * inflow, top_w=2.0, top_stress_v=0.0)
    return laminar(grid, edges, 1.0 / 200.0)


@cache
def branch(first: float, upward: bool) -> Branch:
    """The branch from `first` on."""
    start = State.at_rest(folding(first))
    return follow_branch(
        folding, start, first=first, limits=FOLD_LIMITS, upward=upward, largest_step=0.15, max_points=60
    )


def jump(start: State, swirls: Array) -> float:
    """Swirl at which a plain sweep jumps: half-way along the step in which w on the axis changes most."""
    s, changes = start, []
    for swirl in swirls:
        before, s = s, steady(folding(float(swirl)), s)
        changes.append(float(np.abs(on_axis(s.w) - on_axis(before.w)).max()))
    k = int(np.argmax(changes[1:])) + 1
    return float(0.5 * (swirls[k - 1] + swirls[k]))


def hysteresis() -> Findings:
    """The branch past its folds from both ends, and sweeps that jump at one fold going up, at the other going down."""
    up, down = branch(0.0, True), branch(1.2, False)
    if len(up.folds) != 2 or len(down.folds) != 2:
        raise ArithmeticError(f"two folds were expected from either end, got {up.folds} and {down.folds}")
    upper, lower, step = *up.folds, 0.005
    before = max(
        (p for p in up.points if p.parameter < upper and p.direction > 0), key=lambda p: -abs(p.parameter - lower)
    )
    beyond = down.points[0]
    raised = jump(before.state, np.arange(lower - 4 * step, upper + 4 * step, step))
    lowered = jump(beyond.state, np.arange(upper + 4 * step, lower - 4 * step, -step))
    why = "half a step of the sweep, and the delay of Newton's method beside a fold"
    checks = (
        Check("lower fold met downward, v/|u|", down.folds[0], lower, 2e-3, "the same branch met from the other end",
              "analytic", "the parabola through three points at a fold"),
        Check("upper fold met downward, v/|u|", down.folds[1], upper, 2e-3, "the same branch met from the other end",
              "analytic", "the parabola through three points at a fold"),
        Check("v/|u| where a sweep upward jumps", raised, upper, 2 * step, KELLER, "analytic", why),
        Check("v/|u| where a sweep downward jumps", lowered, lower, 2 * step, KELLER, "analytic", why),
    )  # fmt: skip
    curves = tuple(
        Series(label, np.array([p.parameter for p in b.points]), np.array([on_axis(p.state.w).min() for p in b.points]))
        for label, b in (("branch, upward", up), ("branch, downward", down))
    )
    jumps = Series("jumps of plain sweeps", np.array([raised, lowered]), np.zeros(2))
    return Findings(checks, Picture("v/|u| at the inlet", "least w on the axis", curves, (jumps,)))


# The laboratory chambers: vanes around the lower part of a round chamber twice as wide as the hole in its roof.
CASE = """
title = "Vortex chamber with vanes"
[chamber]
footprint = "round"
width = 4.0
height = 2.0
[inlet]
to_height = {depth}
flow = {flow}
angle = {angle}
axial = "free"
[exhaust]
diameter = 2.0
flow = {flow}
[air]
kinematic_viscosity = {viscosity}
density = 1.0
[model]
closure = "{closure}"
[grid]
cells_r = 44
cells_z = 48
"""
# Nominal swirl ratios at the vanes; each flow starts from the one before.
SWIRLS = (0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6, 0.7, 0.8, 0.9, 1.0)
# A mean is taken over this many times the time to flush the chamber, after as many to let the start be forgotten.
FLUSHES = 2.0


@dataclass(frozen=True)
class Rig:
    """A vortex chamber: radial Reynolds number Q/(2 pi h nu), aspect ratio h/r0, closure, steady or not."""

    reynolds: float
    aspect: float
    closure: str
    is_unsteady: bool

    def problem(self, swirl: float) -> FlowProblem:
        """The flow problem at a nominal swirl ratio, as a case file would give it."""
        text = CASE.format(
            depth=self.aspect,
            flow=2.0 * np.pi * self.aspect,
            angle=np.rad2deg(np.arctan(2.0 * self.aspect * swirl)),
            viscosity=1.0 / self.reynolds,
            closure=self.closure,
        )
        case = parse_case(text, Path("vanes.toml"))
        network = solve_network(case)
        return build_flow(case, build_grid(case), network.jets, network.exhaust_flow).problem


@dataclass(frozen=True)
class Stage:
    """One flow of a sweep: its mean field with the measures of it."""

    flow: Field
    chamber: Chamber
    measures: FieldMeasures

    @classmethod
    def of(cls, problem: FlowProblem, fields: dict[str, Array]) -> Stage:
        g = problem.grid
        names = ("radial_velocity", "tangential_velocity", "axial_velocity", "pressure", "effective_viscosity")
        flow = Field(g.r, g.z, g.r_face, g.z_face, *(fields[name] for name in names))
        chamber = Chamber(
            height=g.height, radius=g.radius, exhaust_radius=1.0, curtain_edge=0.95 * g.radius, has_jets=False,
            has_inlet=True, density=problem.density, viscosity=problem.molecular,
        )  # fmt: skip
        return cls(flow, chamber, measure_field(flow, chamber))

    @property
    def swirl(self) -> float:
        """S from the inflow through r = r0, a little less than at the vanes: the floor holds the air back."""
        return self.measures.swirl_ratio_at_exhaust_radius or 0.0

    @property
    def breakdown(self) -> str:
        return breakdown_of(self.measures, self.chamber)


def mean_flow(problem: FlowProblem, start: State) -> tuple[State, dict[str, Array]]:
    """March from `start` and average; returns where it ended and the mean fields."""
    stepper = Stepper.of(problem)
    flush = float(problem.grid.volume.sum()) / -float((problem.edges.side_u * problem.grid.metric.dz).sum())
    flush /= 2.0 * np.pi * problem.grid.radius
    # Steps resolve the turning of the inflow where nothing faster limits them.
    go_on = partial(march, stepper, largest=0.1, control=Control(), watch=SILENT)
    s = go_on(stepper.clean(replace(start, time=0.0)), FLUSHES * flush, recorders=())
    averages = Averages.begin(problem, s)
    s = go_on(s, 2.0 * FLUSHES * flush, recorders=(Averaging(averages),))
    return s, averages.mean()


def swept(rig: Rig, swirls: tuple[float, ...]) -> list[Stage]:
    """The flows of a sweep to more and more swirl."""
    s: State | None = None
    stages = []
    for swirl in swirls:
        problem = rig.problem(swirl)
        start = s or State.at_rest(problem)
        if rig.is_unsteady:
            s, fields = mean_flow(problem, start)
        else:
            s = steady(problem, start)
            fields = centre_fields(problem, s)
        stages.append(Stage.of(problem, fields))
    return stages


def transition(stages: list[Stage], kinds: tuple[str, ...]) -> tuple[float, float, str]:
    """S half-way to the first flow whose breakdown is one of `kinds`, half the step, and a note where none is."""
    k = next((k for k, stage in enumerate(stages) if stage.breakdown in kinds), None)
    if k is None:
        return stages[-1].swirl, 0.0, f"not reached: S = {stages[-1].swirl:.2f} is the largest tried; "
    low, high = stages[max(k - 1, 0)].swirl, stages[k].swirl
    return 0.5 * (low + high), 0.5 * (high - low), ""


def hollow_core(swirl: float) -> float:
    """r_c/r0 of the hollow core of greatest flux."""
    return float(np.sqrt(brentq(lambda x: np.sqrt(2.0) * x / (1.0 - x) ** 1.5 - swirl, 0.0, 0.99)))


def succession(rig: Rig, note: str = "") -> Findings:
    """S at which breakdown appears aloft, reaches the floor, and leaves two cells; and the core's radius then."""
    stages = swept(rig, SWIRLS)
    events = (
        ("breakdown appears aloft", (ALOFT, AT_THE_FLOOR, TWO_CELLED), 0.18, 0.42, JING),
        ("breakdown reaches the floor", (AT_THE_FLOOR, TWO_CELLED), 0.45, 0.57, TOUCHDOWN),
        ("two cells", (TWO_CELLED,), 0.42, 0.87, JING_TWO),
    )
    checks = []
    for name, kinds, low, high, source in events:
        found, half_step, missing = transition(stages, kinds)
        checks.append(
            Check(f"S where {name}" if name != "two cells" else "S where there are two cells", found,
                  0.5 * (low + high), 0.5 * (high - low) + half_step, source,
                  "from memory" if source == TOUCHDOWN else "published",
                  "a published band, and half a step of the sweep", missing + note)
        )  # fmt: skip
    last = stages[-1]
    checks.append(
        within(f"core radius/r0 at S {last.swirl:.2f}", last.measures.core_radius or np.nan, hollow_core(last.swirl),
               rel=0.2, source=HOLLOW, kind="analytic", why="a guide: cores are not hollow, vortices not potential",
               note=note)
    )  # fmt: skip
    return Findings(tuple(checks), core_picture(stages))


def trends(rig: Rig) -> Findings:
    """Order of events, descent of the breakdown and widening of the core as swirl grows, by counting exceptions."""
    stages = swept(rig, SWIRLS)
    ranks = [(NONE, ALOFT, AT_THE_FLOOR, TWO_CELLED).index(stage.breakdown) for stage in stages]
    broken = [stage for stage in stages if stage.breakdown != NONE]
    heights = np.array([stage.measures.breakdown_height or 0.0 for stage in broken])
    radii = np.array([stage.measures.core_radius or np.nan for stage in broken])
    whole = np.array([stage.measures.max_tangential_velocity or np.nan for stage in stages if stage.breakdown == NONE])
    why = "a number of exceptions; by more than 1 %, for a place is found to a fraction of a cell"
    rows: tuple[tuple[str, NDArray[np.bool_], str, Kind], ...] = (
        ("steps back in the order of events", np.diff(ranks) < 0, ORDER, "published"),
        ("steps at which the breakdown rises", np.diff(heights) > 0.01 * heights[:-1], ORDER, "published"),
        ("steps at which the broken-down core narrows", ~(np.diff(radii) > -0.01 * radii[:-1]), WIDER, "from memory"),
        ("steps at which the unbroken core slows down", ~(np.diff(whole) > -0.01 * whole[:-1]), WIDER, "from memory"),
    )
    checks = tuple(Check(name, float(np.sum(no)), 0.0, 0.5, source, kind, why) for name, no, source, kind in rows)
    return Findings(checks, core_picture(stages))


def core_picture(stages: list[Stage]) -> Picture:
    """Core radius, the largest v, and the height of the breakdown against S."""
    swirl = np.array([stage.swirl for stage in stages])

    def curve(label: str, values: list[float | None]) -> Series:
        return Series(label, swirl, np.array([np.nan if value is None else value for value in values]))

    curves = (
        curve("core radius/r0 at mid-height", [stage.measures.core_radius for stage in stages]),
        curve("height of the breakdown/r0", [stage.measures.breakdown_height for stage in stages]),
        curve("largest v in the core", [stage.measures.max_tangential_velocity for stage in stages]),
    )
    guide = Series(HOLLOW, swirl, np.array([hollow_core(s) for s in swirl]))
    return Picture("S at r0", "length/r0, speed/u(r0)", curves, (guide,))


def end_wall_vortex() -> Findings:
    """The laminar vortex at S 0.28: one cell at the floor, breakdown above it, fastest where the floor layer erupts."""
    stages = swept(Rig(1000.0, 1.0, "laminar", is_unsteady=True), (0.2, 0.28))
    stage, m = stages[-1], stages[-1].measures
    height = m.breakdown_height if m.breakdown_height is not None else np.nan
    w = stage.flow.on_axis(stage.flow.w)
    sinking = float(stage.flow.z[int(np.argmax(w < 0.0))]) if np.any(w < 0.0) else np.nan
    fastest = m.max_tangential_velocity or np.nan
    aloft = m.core_velocity or np.nan
    why = "told in words: the breakdown is between the floor layer and the roof"
    checks = (
        band("height of the breakdown/H", height / stage.chamber.height, near_floor(m, stage.chamber) / 2.0, 1.0,
             source=BAKER, kind="published", why=why),
        Check("lowest sinking air on the axis over that height", sinking / height, 1.0, 0.1, BAKER, "published",
              "one cell below the breakdown; the measure counts reversal from 2 % of the largest w on"),
        band("height of the largest v over the breakdown's", (m.max_tangential_velocity_z or np.nan) / height, 0.0, 1.0,
             source=BAKER, kind="published", why="in the eruption of the floor layer, so below the breakdown"),
        band("largest v over that at mid-height", fastest / aloft, 1.0, 2.5, source=LEWELLEN, kind="from memory",
             why="the largest ratio of many flows"),
    )  # fmt: skip
    return Findings(checks, Picture("z/r0", "w on the axis/u(r0)", (Series("computed, mean", stage.flow.z, w),)))


LOW = (
    "the published rigs are turbulent, at radial Reynolds numbers of 1e4 and more; here the breakdown descends all the "
    "same, but its point stays just above a floor layer nearly a tenth of the height thick"
)
DAMPED = (
    "the rotation damping of the mixing length leaves the core at 1 to 4 times the molecular viscosity, so that it is "
    "thinner and breaks down earlier than a turbulent one; undamped (damping_beta 0), breakdown reaches the floor at "
    "S 0.35 and two cells stand from 0.45 on. An opening with an even outflow, not a pressure, shows none up to 0.9"
)
CONFIGURATIONS = (
    Configuration("throughflow", GROUP, "laminar chamber without swirl", without_swirl, 4.0),
    Configuration("throughflow-swirl", GROUP, "laminar chamber with swirl", with_swirl, 4.0),
    Configuration("throughflow-inflow", GROUP, "what the inlet brings in", inflow_of_swirl, 3.0),
    Configuration("fold", GROUP, "hysteresis at the folds of the single-celled branch", hysteresis, 16.0),
    Configuration("end-wall-vortex", GROUP, "laminar vortex at S 0.28", end_wall_vortex, 8.0),
    Configuration("vanes-200", GROUP, "more and more swirl, laminar, radial Re 200, aspect ratio 1",
                  partial(succession, Rig(200.0, 1.0, "laminar", is_unsteady=False), LOW), 10.0),
    Configuration("vanes-500-trends", GROUP, "the order of events, laminar, radial Re 500, aspect ratio 0.5",
                  partial(trends, Rig(500.0, 0.5, "laminar", is_unsteady=False)), 10.0),
    Configuration("vanes-500", GROUP, "more and more swirl, laminar, radial Re 500, aspect ratio 0.5",
                  partial(succession, Rig(500.0, 0.5, "laminar", is_unsteady=False), LOW), 10.0),
    Configuration("vanes-1000-mixing", GROUP, "more and more swirl, mixing length, radial Re 1000, aspect ratio 0.5",
                  partial(succession, Rig(1000.0, 0.5, "mixing-length", is_unsteady=True)), 50.0),
    Configuration("vanes-10000-mixing", GROUP, "more and more swirl, mixing length, radial Re 1e4, aspect ratio 0.5",
                  partial(succession, Rig(1e4, 0.5, "mixing-length", is_unsteady=True), DAMPED), 30.0),
)  # fmt: skip
