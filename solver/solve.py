"""The main path: a case becomes a result file. Read `solve` first."""

from __future__ import annotations

import json
import platform
import time
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

from swirlwright.solver.coupling import AGREEMENT, Chamber, exhaust_plane_pressure
from swirlwright.solver.errors import ResultError
from swirlwright.solver.fields import centre_fields, steady_budget
from swirlwright.solver.flow import Blowing, build_grid
from swirlwright.solver.fog import with_steady_fog
from swirlwright.solver.grid import Grid
from swirlwright.solver.interpolation import onto
from swirlwright.solver.march import Control, Stopped, march
from swirlwright.solver.network import AirNetwork, network_json, solve_network
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.plan import tube_plan
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.result_layout import SI, Scales
from swirlwright.solver.results import ResultWriter, read_restart
from swirlwright.solver.schema import Case
from swirlwright.solver.stability import stability_of
from swirlwright.solver.state import FlowProblem, State, imposed
from swirlwright.solver.steady import SteadyStep, solve_steady
from swirlwright.solver.transient import Stepper
from swirlwright.solver.unsteady import (
    UnsteadyRun,
    averaging_legs,
    edge_radius,
    judge_windows,
    transient_legs,
)

# Grids of a steady solution, coarse to fine, as divisors of the cells; none below this many cells a side.
SEQUENCE = (4, 2, 1)
FEWEST_CELLS = 16
# The march that begins the search on the coarsest grid lasts this many times length over speed.
APPROACH = 5.0
# Rounds in which network and steady flow take each other into account.
MOST_ROUNDS = 8


@dataclass(frozen=True)
class Result:
    """What `solve` leaves: how it ended, in words too, and the file."""

    outcome: Outcome
    text: str
    path: Path


def solve(case: Case, output: str | Path, watch: Watch = SILENT, *, resume: bool = False) -> Result:
    """Solve the flow of a case and write one result file.

    Parameters
    ----------
    case : Case
        From `read_case`.
    output : path
        The result file; an older result of this name is replaced.
    watch : Watch
        Told of the progress.
    resume : bool
        Go on with the unsteady run that `output` holds instead of beginning anew.

    Raises
    ------
    InputError
        If the air network has no balance.
    ResultError
        If the output cannot be written, or the run in it cannot be resumed or started from.
    """
    clock = _Clock()
    network = solve_network(case)
    grid = build_grid(case)
    chamber = Chamber.of(case, grid, network)
    saved = _saved_run(case, Path(output)) if resume else None
    start = _start_state(case, chamber)
    watch.message(f"{case.title}: {grid.shape[1]} x {grid.shape[0]} cells, R = {grid.radius:.4g} m")
    warm_up()
    clock.compiled()
    control = Control(case.run.time_limit)
    if saved is None:
        writer = ResultWriter.create(
            output, r=grid.r, z=grid.z, r_face=grid.r_face, z_face=grid.z_face, jets=network.jets,
            tubes=_tubes(case, network), side_open_fraction=chamber.flow.open_share, has_fog=case.fog is not None,
            scales=_scales(case, chamber), attributes=_attributes(case, chamber),
        )  # fmt: skip
    else:
        writer = ResultWriter.resume(output, float(saved["state"]["time"]))
    with writer, control.catching_interrupt():
        if case.run.mode == "steady" and saved is None:
            steady = _Steady(case, writer, control, watch, grid)
            if (result := steady.find(chamber, start, clock)) is not None:
                return result
            watch.message("marching on to time averages")
            return _march(case, chamber, start, writer, control, watch, clock, saved, steady.note)
        return _march(case, chamber, start, writer, control, watch, clock, saved, "")


@dataclass
class _Steady:
    """The search for a steady state: grid sequencing inside, agreement with the network outside."""

    case: Case
    writer: ResultWriter
    control: Control
    watch: Watch
    grid: Grid
    record: dict[str, list[float]] = field(default_factory=dict)
    note: str = ""

    def find(self, chamber: Chamber, start: State, clock: _Clock) -> Result | None:
        """Write and return the steady result; None if there is none or the one found is unstable."""
        try:
            found = self._search(chamber, start)
            if found is None:
                return None
            chamber, s = found
            test = stability_of(chamber.problem, s, self.control, self.watch)
        except Stopped as stop:
            return self._end(chamber, stop.state, stop.outcome, clock, text=str(stop))
        growth = f"a disturbance grows at {test.growth_rate:.3g} per s over {test.duration:.3g} s"
        if not test.is_stable:
            self.note = f"a steady state was found but is unstable: {growth}"
            self.watch.message(self.note)
            return None
        return self._end(chamber, s, Outcome.STEADY, clock, disturbance_growth_rate=test.growth_rate)

    def _end(self, chamber: Chamber, s: State, outcome: Outcome, clock: _Clock, **more: Any) -> Result:
        """Write the one frame, its budget and the record."""
        s = with_steady_fog(chamber.problem, s)
        if self.record:
            self.writer.append_history(self.record)
        self.writer.append_frame(0.0, centre_fields(chamber.problem, s))
        self.writer.write_budget(steady_budget(chamber.problem, s), (0.0, 0.0))
        self.writer.write_restart({"state": s.dump(), **_faces(chamber.problem.grid)})
        return _finish(self.writer, chamber, s, outcome, clock, **more)

    def _search(self, chamber: Chamber, start: State) -> tuple[Chamber, State] | None:
        fine = chamber.problem.grid
        s, old = start, fine
        for cells in _sequence(fine):
            here = chamber if cells == fine.shape else chamber.on(build_grid(self.case, cells))
            grid = here.problem.grid
            s = imposed(here.problem, onto(grid, s, old))
            if old is fine:
                s = self._approach(here.problem, s)
            found = self._solve(here, s)
            if found is None:
                return None
            s, old = found, grid
        for _ in range(MOST_ROUNDS):
            pressure = chamber.problem.density * s.p
            agreed = chamber.agreed_with(pressure, exhaust_plane_pressure(chamber.problem, s), Blowing())
            if _has_settled(chamber.network, agreed.network):
                return chamber, s
            found = self._solve(agreed, imposed(agreed.problem, s))
            if found is None:
                return None
            chamber, s = agreed, found
        self.watch.message(f"air network and flow do not agree after {MOST_ROUNDS} rounds")
        return None

    def _approach(self, problem: FlowProblem, s: State) -> State:
        """A short march on the coarsest grid: Newton's method goes astray from rest, not from a flow that has begun."""
        stepper = Stepper.of(problem)
        end = APPROACH * problem.length / problem.speed
        try:
            s = march(stepper, stepper.clean(s), end, largest=end, recorders=(), control=self.control, watch=SILENT)
        except Stopped as stop:
            raise Stopped(stop.outcome, onto(self.grid, stop.state, problem.grid), str(stop)) from None
        return replace(s, time=0.0)

    def _solve(self, chamber: Chamber, s: State) -> State | None:
        nz, nr = chamber.problem.grid.shape
        # Progress in orders of magnitude of the residual, from 1 to the tolerance.
        orders = -np.log10(self.case.run.tolerance)
        self.watch.start(f"steady flow on {nr} x {nz} cells", orders)

        def tell(step: SteadyStep) -> None:
            if (reason := self.control.stop_reason()) is not None:
                raise Stopped(reason, onto(self.grid, s, chamber.problem.grid))
            residual = max(step.momentum, step.mass, 1e-300)
            done = min(max(0.0, -np.log10(residual)), orders)
            self.watch.update(done, f"step {step.iteration}, residual {residual:.1e}")
            for name, value in {"cells": nr * nz, **vars(step)}.items():
                self.record.setdefault(name, []).append(float(value))

        run = self.case.run
        tried = solve_steady(chamber.problem, s, tolerance=run.tolerance, max_iterations=run.max_iterations, watch=tell)
        if not tried.is_converged:
            self.note = f"residual {tried.residual:.1e} after {len(tried.record)} iterations on {nr} x {nz} cells"
            self.watch.message(f"no steady state: {self.note}")
        return tried.state if tried.is_converged else None


def _sequence(grid: Grid) -> list[tuple[int, int]]:
    """Cells (nz, nr) of the grids to solve on in turn, the last being the grid itself."""
    nz, nr = grid.shape
    return [(nz // d, nr // d) for d in SEQUENCE if d == 1 or min(nz, nr) // d >= FEWEST_CELLS]


def _has_settled(before: AirNetwork, after: AirNetwork) -> bool:
    """Whether neither the exhaust flow nor the jets' torque moved by more than AGREEMENT."""
    moved = abs(after.exhaust_flow - before.exhaust_flow) / max(abs(before.exhaust_flow), 1e-30)
    turned = abs(after.momentum - before.momentum) / max(abs(before.momentum), 1e-30)
    return max(moved, turned) < AGREEMENT


def _march(
    case: Case, chamber: Chamber, start: State, writer: ResultWriter, control: Control, watch: Watch, clock: _Clock,
    saved: dict[str, Any] | None, note: str,
) -> Result:  # fmt: skip
    """The unsteady run of the case, from `start` or from where `saved` left it."""
    is_averaged = case.run.mode == "steady"
    legs = averaging_legs(case) if is_averaged else transient_legs(case)
    run = UnsteadyRun(
        case=case, grid=chamber.problem.grid, network=chamber.network, writer=writer, control=control, watch=watch,
        state=start, edge=edge_radius(chamber),
    )  # fmt: skip
    if saved is not None:
        run.load(saved)
    outcome, text = Outcome.TRANSIENT, ""
    try:
        run.follow(legs)
        if is_averaged:
            change = run.half_window_change()
            outcome = judge_windows(change)
            text = f"{outcome.text} (to {100 * change:.1f} %)"
    except Stopped as stop:
        outcome, text = stop.outcome, str(stop)
    run.write_windows()
    ended = Chamber.of(case, chamber.problem.grid, run.network)
    more = {"steady_attempt": note} if note else {}
    return _finish(writer, ended, run.state, outcome, clock, text=text, **more)


def _finish(
    writer: ResultWriter, chamber: Chamber, s: State, outcome: Outcome, clock: _Clock, *, text: str = "", **more: Any
) -> Result:  # fmt: skip
    """Mark the end in the file, with what is known only now."""
    clock.solved()
    network = chamber.network
    writer.finish(
        outcome.label,
        text or outcome.text,
        converged=outcome.exit_status == 0,
        exhaust_flow=chamber.flow.exhaust_flow,
        exhaust_plane_pressure=exhaust_plane_pressure(chamber.problem, s),
        network_json=json.dumps(network_json(network)),
        compile_seconds=clock.compile_seconds,
        solve_seconds=clock.solve_seconds,
        **more,
    )
    return Result(outcome, text or outcome.text, writer.path)


class _Clock:
    """Wall-clock seconds of compiling and of solving."""

    def __init__(self) -> None:
        self._began = time.perf_counter()
        self.compile_seconds = self.solve_seconds = 0.0

    def compiled(self) -> None:
        self.compile_seconds = time.perf_counter() - self._began

    def solved(self) -> None:
        self.solve_seconds = time.perf_counter() - self._began - self.compile_seconds


def warm_up() -> None:
    """Compile the kernels, or load them from numba's cache, on a problem of a few cells."""
    from swirlwright.solver.casefile import parse_case

    case = parse_case(_TINY, "tiny.toml")
    network = solve_network(case)
    problem = Chamber.of(case, build_grid(case), network).problem
    start = State.at_rest(problem)
    solve_steady(problem, start, tolerance=1e-3, max_iterations=1)
    stepper = Stepper.of(problem)
    s = stepper.advance(stepper.clean(start), 1e-3)
    stepper.step_size(s, 1.0)


def _start_state(case: Case, chamber: Chamber) -> State:
    """Rest, or the field of an earlier result carried onto this grid."""
    problem = chamber.problem
    if case.run.start_from is None:
        return State.at_rest(problem)
    saved = read_restart(case.path.parent / case.run.start_from)
    old = Grid(saved["r_face"], saved["z_face"])
    s = State.load(saved["state"])
    if not (np.array_equal(old.r_face, problem.grid.r_face) and np.array_equal(old.z_face, problem.grid.z_face)):
        s = onto(problem.grid, s, old)
    return imposed(problem, replace(s, time=0.0))


def _saved_run(case: Case, output: Path) -> dict[str, Any]:
    """The restart state in `output`, if it is of this case (its [run] table may differ)."""
    from swirlwright.solver.casefile import parse_case
    from swirlwright.solver.results import load_result

    saved = read_restart(output)
    made_by = parse_case(load_result(output).attributes["case_text"], case.path)
    free = {"run": {"end_time", "time_limit"}}
    if made_by.model_dump(exclude=free) != case.model_dump(exclude=free):
        raise ResultError(
            f"{output}: was made by another case, so it cannot be resumed with {case.path.name}; only run.end_time "
            "and run.time_limit may differ"
        )
    if "leg" not in saved:
        raise ResultError(f"{output}: holds a steady solution; there is nothing to resume")
    return saved


def _faces(grid: Grid) -> dict[str, Any]:
    return {"r_face": grid.r_face, "z_face": grid.z_face}


def _scales(case: Case, chamber: Chamber) -> Scales:
    if case.run.output == "si":
        return SI
    return Scales(case.model_radius, chamber.problem.speed, case.density)


def _tubes(case: Case, network: AirNetwork) -> dict[str, Any]:
    plan = tube_plan(case)
    return {
        "x": plan.x,
        "y": plan.y,
        "flow": np.array([tube.flow for tube in network.tubes]),
        "inner_diameter": plan.inner_diameter,
        "outer_diameter": plan.outer_diameter,
    }


def _attributes(case: Case, chamber: Chamber) -> dict[str, Any]:
    """Root attributes known at the start: the case, the air, the chamber, the jets, the versions."""
    jets, network = chamber.flow.jets, chamber.network
    exhaust, inlet = case.exhaust, case.inlet
    libraries = ("numpy", "scipy", "numba", "h5py", "fluids")
    return {
        "title": case.title,
        "case_text": case.text,
        "case_path": case.path.name,
        "closure": case.model.closure,
        "kinematic_viscosity": case.kinematic_viscosity,
        "density": case.density,
        "chamber_radius": chamber.problem.grid.radius,
        "chamber_height": chamber.problem.grid.height,
        "chamber_width": case.chamber.width,
        "footprint": case.chamber.footprint,
        "wall_friction_factor": case.wall_friction_factor,
        "exhaust_radius": np.nan if exhaust is None else 0.5 * exhaust.diameter,
        "exhaust_hub_radius": np.nan if exhaust is None else 0.5 * exhaust.hub_diameter,
        "curtain_inner_edge": np.nan if jets is None else jets.curtain_inner_edge,
        "torque_input": network.torque,
        "torque_delivered": 0.0 if jets is None else jets.torque_delivered,
        "torque_lost": 0.0 if jets is None else jets.torque_lost,
        "inlet_from": np.nan if inlet is None else inlet.from_height,
        "inlet_to": np.nan if inlet is None else inlet.to_height,
        "fog_on": int(case.fog is not None),
        "speed_scale": chamber.problem.speed,
        "versions": json.dumps(
            {"swirlwright": version("swirlwright"), "python": platform.python_version()}
            | {name: version(name) for name in libraries}
        ),
        "warnings_json": json.dumps(list(network.warnings)),
    }


_TINY = """
title = "kernels"
[chamber]
footprint = "round"
width = 1.0
height = 1.0
open_fraction = 0.5
[exhaust]
diameter = 0.5
flow = 0.1
[grid]
cells_r = 8
cells_z = 8
"""
