"""What is kept while a march goes on: frames, probes, history, averages. Each looks at every step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from swirlwright.solver.averages import Averages
from swirlwright.solver.coupling import exhaust_plane_pressure
from swirlwright.solver.fields import centre_fields
from swirlwright.solver.grid import Array
from swirlwright.solver.results import ResultWriter
from swirlwright.solver.schema import Run
from swirlwright.solver.state import State
from swirlwright.solver.transient import Stepper


class Recorder(Protocol):
    """Called after every step with the states at both of its ends."""

    def after(self, stepper: Stepper, old: State, new: State, step: float) -> None: ...


@dataclass
class Frames:
    """Frames at fixed times, interpolated between the ends of a step so that they never change a step."""

    writer: ResultWriter
    interval: float
    n: int = 0

    @property
    def due(self) -> float:
        """Time of the next frame [s]: a multiple of the interval, free of the round-off of a running sum."""
        return self.n * self.interval

    def after(self, stepper: Stepper, old: State, new: State, step: float) -> None:
        # The small allowance keeps a frame at the very end of a run from being lost to round-off.
        while self.due <= new.time + 1e-9 * self.interval:
            share = min(1.0, (self.due - old.time) / step)
            self.write(stepper, between(old, new, share))

    def write(self, stepper: Stepper, s: State) -> None:
        """Write `s` as the frame that is due."""
        self.writer.append_frame(self.due, centre_fields(stepper.problem, stepper.with_pressure(s)))
        self.n += 1

    def write_last(self, stepper: Stepper, s: State) -> None:
        """Write where a run was stopped, off the interval and not counted; a run that goes on drops it."""
        if s.time > self.due - self.interval + 1e-9 * self.interval:
            self.writer.append_frame(s.time, centre_fields(stepper.problem, stepper.with_pressure(s)))


def between(old: State, new: State, share: float) -> State:
    """The state a share of the way from old to new; linear, so it is as free of divergence as they are."""
    parts = {
        name: (1.0 - share) * getattr(old, name) + share * getattr(new, name)
        for name in ("u", "v", "w", "p", "fog", "eddy", "duct_pressure", "time")
    }
    return replace(new, **parts)


@dataclass
class Averaging:
    """Feeds the averages of the present window."""

    averages: Averages

    def after(self, stepper: Stepper, old: State, new: State, step: float) -> None:
        self.averages.add(stepper.problem, new, step)


@dataclass
class MeanPressure:
    """Means over a stretch of what the air network asks of the flow: pressure [m2/s2] and plane pressure [Pa]."""

    pressure: Array
    plane: float = 0.0
    time: float = 0.0

    def after(self, stepper: Stepper, old: State, new: State, step: float) -> None:
        self.pressure += step * new.p
        self.plane += step * exhaust_plane_pressure(stepper.problem, new)
        self.time += step


@dataclass
class History:
    """One row a step: step size, exhaust flow and the core's pressure deficit at mid-height. Flushed by `flush`."""

    writer: ResultWriter
    edge: float
    rows: dict[str, list[float]] = field(default_factory=dict)

    def after(self, stepper: Stepper, old: State, new: State, step: float) -> None:
        problem = stepper.problem
        row = {
            "time": new.time,
            "step_size": step,
            "exhaust_flow": problem.flow_through_exhaust(new),
            "core_pressure_deficit": problem.density * mid_height_deficit(stepper, new, self.edge),
            "kinetic_energy": kinetic_energy(stepper, new),
        }
        for name, value in row.items():
            self.rows.setdefault(name, []).append(value)
        if len(self.rows["time"]) >= 500:
            self.flush()

    def flush(self) -> None:
        """Hand the rows so far to the file."""
        if self.rows:
            self.writer.append_history(self.rows)
            self.rows = {}


def mid_height_deficit(stepper: Stepper, s: State, edge: float) -> float:
    """Kinematic pressure [m2/s2] at radius `edge` less that on the axis, half way up."""
    grid = stepper.problem.grid
    j = int(np.searchsorted(grid.z, 0.5 * grid.height))
    return float(np.interp(edge, grid.r, s.p[j]) - s.p[j, 0])


def kinetic_energy(stepper: Stepper, s: State) -> float:
    """Kinetic energy of the chamber's air over its density [m5/s2]."""
    u, w = 0.5 * (s.u[:, 1:] + s.u[:, :-1]), 0.5 * (s.w[1:] + s.w[:-1])
    return float((0.5 * (u * u + s.v * s.v + w * w) * stepper.problem.grid.volume).sum())


@dataclass
class Probes:
    """Points and lines kept at every step. Velocities at centres and pressure, by linear interpolation."""

    writer: ResultWriter
    run: Run
    times: list[float] = field(default_factory=list)
    values: dict[str, list[Any]] = field(default_factory=dict)

    def after(self, stepper: Stepper, old: State, new: State, step: float) -> None:
        if not (self.run.probes or self.run.lines):
            return
        grid = stepper.problem.grid
        fields_now = centre_fields(stepper.problem, new)
        self.times.append(new.time)
        for name in ("radial_velocity", "tangential_velocity", "axial_velocity", "pressure"):
            value = fields_now[name]
            for probe in self.run.probes:
                along_z = np.array([np.interp(probe.r, grid.r, row) for row in value])
                self._keep(f"{probe.name}_{name}", float(np.interp(probe.z, grid.z, along_z)))
            for n, line in enumerate(self.run.lines, 1):
                label = line.name or f"line_{n}"
                if line.r is not None:
                    self._keep(f"{label}_{name}", np.array([np.interp(line.r, grid.r, row) for row in value]))
                elif line.z is not None:
                    self._keep(f"{label}_{name}", np.array([np.interp(line.z, grid.z, col) for col in value.T]))
        if len(self.times) >= 200:
            self.flush()

    def _keep(self, name: str, value: float | Array) -> None:
        self.values.setdefault(name, []).append(value)

    def flush(self) -> None:
        """Hand what is kept so far to the file."""
        if not self.times:
            return
        self.writer.append_probes(self.times, self._labelled(), self._places())
        self.times, self.values = [], {}

    def _labelled(self) -> dict[str, tuple[str | None, Array]]:
        """Each series with the dimension its line runs along."""
        along = {
            line.name or f"line_{n}": "z" if line.r is not None else "r" for n, line in enumerate(self.run.lines, 1)
        }
        out = {}
        for name, values in self.values.items():
            label = next((label for label in along if name.startswith(f"{label}_")), None)
            out[name] = (along[label] if label is not None else None, np.array(values))
        return out

    def _places(self) -> Mapping[str, Mapping[str, float]]:
        places = {}
        for name in self.values:
            for probe in self.run.probes:
                if name.startswith(f"{probe.name}_"):
                    places[name] = {"r": probe.r, "z": probe.z}
            for n, line in enumerate(self.run.lines, 1):
                if name.startswith(f"{line.name or f'line_{n}'}_"):
                    places[name] = {"r": line.r} if line.r is not None else {"z": line.z or 0.0}
        return places
