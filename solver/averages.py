"""Time averages of a march, weighted by the step, and what a restart needs of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.fields import centre_fields, centre_names
from swirlwright.solver.grid import Array
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.transient import SwirlBudget


@dataclass
class Averages:
    """Running integrals over time of the fields at cell centres, of their squares, and of the face fluxes.

    start: the state at the window's beginning.   weight: seconds so far.
    """

    start: State
    budget: SwirlBudget
    sums: dict[str, Array]
    squares: dict[str, Array]
    weight: float = 0.0
    _last: dict[str, Array] = field(default_factory=dict, repr=False)

    @classmethod
    def begin(cls, problem: FlowProblem, s: State) -> Averages:
        shape = problem.grid.shape
        sums, squares = ({name: np.zeros(shape) for name in centre_names(problem)} for _ in range(2))
        averages = cls(s, SwirlBudget.empty(problem), sums, squares)
        averages._last = centre_fields(problem, s)
        return averages

    def add(self, problem: FlowProblem, s: State, step: float) -> None:
        """Add one step [s] that ended at `s`, by the trapezoidal rule."""
        new = centre_fields(problem, s)
        for name, value in new.items():
            kernels.add_trapezoid(step, self._last[name], value, self.sums[name], self.squares[name])
        self._last = new
        self.weight += step

    def mean(self) -> dict[str, Array]:
        return {name: total / self.weight for name, total in self.sums.items()}

    def deviation(self) -> dict[str, Array]:
        """Standard deviations in time."""
        mean = self.mean()
        return {name: np.sqrt(np.maximum(self.squares[name] / self.weight - mean[name] ** 2, 0.0)) for name in mean}

    def dump(self) -> dict[str, Any]:
        """Everything, as nested mappings of arrays, for the restart group."""
        return {
            "start": self.start.dump(),
            "budget": self.budget.dump(),
            "sums": self.sums,
            "squares": self.squares,
            "last": self._last,
            "weight": self.weight,
        }

    @classmethod
    def load(cls, saved: Mapping[str, Any]) -> Averages:
        averages = cls(
            State.load(saved["start"]), SwirlBudget(**saved["budget"]), saved["sums"], saved["squares"], saved["weight"]
        )
        averages._last = saved["last"]
        return averages
