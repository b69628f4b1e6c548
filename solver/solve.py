"""The main path: a case becomes a result file. Read `solve` first."""

from __future__ import annotations

import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from swirlwright.solver.beginning import begins_steady, first_state, left_off
from swirlwright.solver.coupling import Chamber, exhaust_plane_pressure
from swirlwright.solver.fields import centre_fields, steady_budget
from swirlwright.solver.flow import build_grid
from swirlwright.solver.fog import fog_flows, with_steady_fog
from swirlwright.solver.interrupts import raising_interrupt
from swirlwright.solver.march import Control, Stopped
from swirlwright.solver.network import solve_network
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.provenance import attributes_of, network_attributes, scales_of, tubes_of
from swirlwright.solver.results import ResultWriter
from swirlwright.solver.schema import Case
from swirlwright.solver.state import State
from swirlwright.solver.steady import solve_steady
from swirlwright.solver.steady_search import SteadySearch
from swirlwright.solver.transient import Stepper
from swirlwright.solver.unsteady import (
    UnsteadyRun,
    averaging_legs,
    edge_radius,
    judge_windows,
    transient_legs,
)


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
        Go on with the run that `output` holds; it begins anew if that was ended before its first checkpoint.

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
    saved = left_off(case, Path(output)) if resume else None
    start = first_state(case, chamber) if saved is None else State.load(saved["state"])
    if resume and saved is None:
        watch.message(f"{output}: was ended before its first checkpoint, so the run begins anew")
    watch.message(f"{case.title}: {grid.shape[1]} x {grid.shape[0]} cells, R = {grid.radius:.4g} m")
    with raising_interrupt():
        warm_up(case.model.closure)
    clock.compiled()
    control = Control(case.run.time_limit)
    attributes = attributes_of(case, chamber)
    if saved is None:
        writer = ResultWriter.create(
            output, r=grid.r, z=grid.z, r_face=grid.r_face, z_face=grid.z_face, jets=network.jets,
            tubes=tubes_of(case, network), side_open_fraction=chamber.flow.open_share, has_fog=case.fog is not None,
            scales=scales_of(case, chamber), attributes=attributes,
        )  # fmt: skip
    else:
        writer = ResultWriter.resume(output, start.time, int(saved["n_frames"]), attributes)
    with writer, control.catching_interrupt():
        if case.run.mode == "steady" and saved is None:
            search = SteadySearch(case, control, watch, grid, begins_steady(case))
            if (result := _steady(search, chamber, start, writer, clock)) is not None:
                return result
            watch.message("marching on to time averages")
            writer.note(steady_attempt=search.note)
        return _march(case, chamber, start, writer, control, watch, clock, saved)


def _steady(search: SteadySearch, chamber: Chamber, start: State, writer: ResultWriter, clock: _Clock) -> Result | None:
    """Write and return the steady result; None if there is no stable steady state."""
    more: dict[str, Any] = {}
    try:
        found = search.find(chamber, start)
        if found is None:
            return None
        chamber, s, outcome = found.chamber, found.state, Outcome.STEADY
        more["disturbance_growth_rate"] = found.test.growth_rate
        remarks = [found.test.text] if found.test.by_modes else []
        if found.tested_on != s.p.shape:
            remarks.append(f"tested on {found.tested_on[1]} x {found.tested_on[0]} cells")
        if remarks:
            more["text"] = f"{outcome.text} ({'; '.join(remarks)})"
    except Stopped as stop:
        s, outcome, more["text"] = stop.state, stop.outcome, str(stop)
    s = with_steady_fog(chamber.problem, s)
    if search.record:
        writer.append_history(search.record)
    writer.append_frame(0.0, centre_fields(chamber.problem, s))
    writer.write_budget(steady_budget(chamber.problem, s), (0.0, 0.0))
    if chamber.problem.has_fog:
        writer.note(fog_flows_json=json.dumps(fog_flows(chamber.problem, s, s)))
    writer.write_restart({"state": s.dump(), "r_face": search.grid.r_face, "z_face": search.grid.z_face})
    return _finish(writer, chamber, s, outcome, clock, **more)


def _march(
    case: Case, chamber: Chamber, start: State, writer: ResultWriter, control: Control, watch: Watch, clock: _Clock,
    saved: dict[str, Any] | None,
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
            text = outcome.with_difference(change)
    except Stopped as stop:
        outcome, text = stop.outcome, str(stop)
    run.write_windows()
    ended = Chamber.of(case, chamber.problem.grid, run.network)
    return _finish(writer, ended, run.state, outcome, clock, text=text)


def _finish(
    writer: ResultWriter, chamber: Chamber, s: State, outcome: Outcome, clock: _Clock, *, text: str = "", **more: Any
) -> Result:  # fmt: skip
    """Mark the end in the file, with what is known only now."""
    clock.solved()
    writer.write_network(chamber.network.jets, tubes_of(chamber.case, chamber.network))
    writer.finish(
        outcome.label,
        text or outcome.text,
        converged=outcome.exit_status == 0,
        exhaust_plane_pressure=exhaust_plane_pressure(chamber.problem, s),
        **network_attributes(chamber),
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


def warm_up(closure: str) -> None:
    """Compile the kernels that a closure wants, or load them from numba's cache, on a problem of a few cells."""
    from swirlwright.solver.casefile import parse_case

    case = parse_case(f'{_TINY}[model]\nclosure = "{closure}"\n', "tiny.toml")
    network = solve_network(case)
    problem = Chamber.of(case, build_grid(case), network).problem
    start = State.at_rest(problem)
    solve_steady(problem, start, tolerance=1e-3, max_iterations=1)
    stepper = Stepper.of(problem)
    s = stepper.advance(stepper.clean(start), 1e-3)
    stepper.step_size(s, 1.0)


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
[fog]
radius = 0.1
flow = 0.01
[grid]
cells_r = 8
cells_z = 8
"""
