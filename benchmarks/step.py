"""What does a step in time cost, and which kernel takes it? The table-top chamber on two grids, as a Markdown table.

python benchmarks/step.py [--steps STEPS]
"""

from __future__ import annotations

import argparse
import inspect
import os
import statistics
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from printing import CASES, ONE_THREAD, machine, table

# Before numba and the linear algebra read them.
os.environ.update(ONE_THREAD)

import numpy as np
from numba import njit

from swirlwright.solver import kernels
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.flow import build_grid
from swirlwright.solver.network import solve_network
from swirlwright.solver.solve import warm_up
from swirlwright.solver.state import State
from swirlwright.solver.transient import Stepper, SwirlBudget

GRIDS = ((36, 54), (64, 96), (128, 320))  # cells along r and z: of the shipped studies, a chamber, a large one
# Called by a step from Python, and what stands inside two of them.
CALLED = (
    "momentum_rates", "mixing_length_viscosity", "corner_viscosity", "sweep_momentum", "divergence",
    "subtract_gradient", "scalar_rates", "sweep_scalar", "fog_outflows", "droplet_velocities", "add_fog_weight",
    "largest_rate", "combine",
)  # fmt: skip
INSIDE = {
    "momentum_rates": ("swirl_fluxes", "radial_rates", "axial_rates"),
    "sweep_momentum": ("sweep_u", "sweep_v", "sweep_w"),
}
PRESSURE = "pressure equation"
# Kernels that do little but move numbers, with the arrays of one number a cell that a call reads or writes. `combine`
# is called nine times a step on u, v, w and fog: for each increment, stage and end with the earlier ones, 30 in all.
STREAMS = {"combine": 4 * 30 / 9, "subtract_gradient": 5.0, "divergence": 4.0}
# The fog and the wiggles of the start have spread by then: no times of numbers near the smallest one.
SPIN_UP_STEPS = 150


class Clock:
    """Collects the seconds of calls by name, and the last arguments of each."""

    def __init__(self) -> None:
        self.seconds: dict[str, list[float]] = defaultdict(list)
        self.arguments: dict[str, tuple[Any, ...]] = {}

    def around(self, name: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """`function`, timed."""

        def timed(*arguments: Any) -> Any:
            begin = time.perf_counter()
            answer = function(*arguments)
            self.seconds[name].append(time.perf_counter() - begin)
            self.arguments[name] = arguments
            return answer

        return timed


@contextmanager
def timed_calls(stepper: Stepper) -> Iterator[Clock]:
    """Time the kernels and the pressure equation where a step calls them: warm caches as in a run, no copies."""
    clock, equation = Clock(), stepper.projection.equation
    solve, before = equation.solve, {name: getattr(kernels, name) for name in CALLED}
    try:
        equation.solve = clock.around(PRESSURE, solve)
        for name, kernel in before.items():
            setattr(kernels, name, clock.around(name, kernel))
        yield clock
    finally:
        equation.solve = solve
        for name, kernel in before.items():
            setattr(kernels, name, kernel)


@dataclass(frozen=True)
class Cost:
    """Medians on one grid: a step [s], one with running budgets [s]; calls a step and seconds a call, by name."""

    cells: int
    step: float
    step_with_budget: float
    calls: dict[str, float]
    seconds: dict[str, float]

    def rate(self, name: str) -> float:
        """Bytes a second that a kernel of STREAMS moves."""
        return STREAMS[name] * 8.0 * self.cells / self.seconds[name]

    @property
    def rest(self) -> float:
        """Seconds of a step outside kernels and pressure equation: array arithmetic and calls."""
        return self.step - sum(self.calls[name] * self.seconds[name] for name in (*CALLED, PRESSURE))


def cost(nr: int, nz: int, steps: int) -> Cost:
    """Measure on one grid, from a flow that has begun to turn."""
    changes = {"grid.cells_r": nr, "grid.cells_z": nz, "grid.core_spacing": None}
    case = vary(read_case(CASES / "table-top.toml"), changes)
    problem = Chamber.of(case, build_grid(case), solve_network(case)).problem
    stepper = Stepper.of(problem)
    s = stepper.clean(State.at_rest(problem))
    # Gently at first: the fan's sudden pull makes a jump at the exhaust's lip that fine grids resolve in smaller steps.
    s, _ = march(stepper, s, SPIN_UP_STEPS, share=0.2)
    s, plain = march(stepper, s, steps)
    s, budgeted = march(stepper, s, steps, SwirlBudget.empty(problem))
    with timed_calls(stepper) as clock:
        march(stepper, s, steps)
    seconds = {name: statistics.median(times) for name, times in clock.seconds.items()}
    calls = {name: len(times) / steps for name, times in clock.seconds.items()}
    return Cost(nr * nz, plain, budgeted, calls, seconds | inner_seconds(clock, steps))


def march(
    stepper: Stepper, s: State, steps: int, budget: SwirlBudget | None = None, share: float = 1.0
) -> tuple[State, float]:
    """Take steps of free choice, or a share of those; the last state and the median seconds of one."""
    largest = 0.05 * stepper.problem.length / stepper.problem.speed
    times = []
    for _ in range(steps):
        begin = time.perf_counter()
        s = stepper.advance(s, share * stepper.step_size(s, largest), budget)
        times.append(time.perf_counter() - begin)
    if not s.is_finite:
        raise RuntimeError("the flow ran away, so its times mean nothing")
    return s, statistics.median(times)


def inner_seconds(clock: Clock, repeats: int) -> dict[str, float]:
    """Median seconds of the kernels of INSIDE, called by themselves with the arguments of what they stand in.

    A sweep gets its right-hand side anew each time: swept again and again it would sink to the smallest numbers.
    """
    found = {}
    for outer, parts in INSIDE.items():
        names = inspect.signature(getattr(kernels, outer).py_func).parameters
        known = dict(zip(names, clock.arguments[outer], strict=True))
        if outer == "momentum_rates":
            known |= {"v_r": known["v"], "v_z": known["v"]}
        for name in parts:
            kernel, inner = getattr(kernels, name), Clock()
            if outer == "sweep_momentum":
                known["rhs"] = np.empty_like(known["rhs_" + name.removeprefix("sweep_")])
            arguments = [known[key] for key in inspect.signature(kernel.py_func).parameters]
            kernel(*arguments)
            timed = inner.around(name, kernel)
            for _ in range(repeats):
                if outer == "sweep_momentum":
                    known["rhs"][:] = known["rhs_" + name.removeprefix("sweep_")]
                timed(*arguments)
            found[name] = statistics.median(inner.seconds[name])
    return found


@njit(cache=True)
def triad(a, b, factor, out):
    """The measure of a memory's speed: out = a + factor b."""
    for i in range(a.size):
        out[i] = a[i] + factor * b[i]


def triad_rate(size: int, repeats: int) -> float:
    """Bytes a second of `triad` on arrays of `size` numbers, the median of `repeats`."""
    a, b, out = np.ones(size), np.ones(size), np.ones(size)
    triad(a, b, 0.5, out)
    clock = Clock()
    timed = clock.around("triad", triad)
    for _ in range(repeats):
        timed(a, b, 0.5, out)
    return 3 * 8.0 * size / statistics.median(clock.seconds["triad"])


def streams(costs: list[Cost], repeats: int) -> Iterator[list[str]]:
    """The rows of the second table: GB/s of the kernels that do little but move numbers, beside the triad's."""
    triads = [triad_rate(4 * c.cells, repeats) for c in costs]
    for name in STREAMS:
        pairs = [(c.rate(name), by) for c, by in zip(costs, triads, strict=True)]
        yield [name, *(text for rate, by in pairs for text in (f"{1e-9 * rate:.0f}", f"{rate / by:.2f}"))]
    yield ["triad on arrays of u, v, w and fog", *(text for by in triads for text in (f"{1e-9 * by:.0f}", "1"))]


def lines(costs: list[Cost]) -> Iterator[list[str]]:
    """The rows of the table, dearest part of the largest grid first; per cent are of a step."""
    last = costs[-1]
    for name in sorted((*CALLED, PRESSURE), key=lambda name: -last.calls[name] * last.seconds[name]):
        yield [name, f"{last.calls[name]:.0f}", *_pairs(costs, [(c.seconds[name], c.calls[name]) for c in costs])]
        for part in INSIDE.get(name, ()):
            inside = [(c.seconds[part], c.calls[name]) for c in costs]
            yield [f"of it {part}", f"{last.calls[name]:.0f}", *_pairs(costs, inside)]
    yield ["array arithmetic and calls", "", *_pairs(costs, [(c.rest, 1.0) for c in costs])]
    yield ["**one step**", "1", *_pairs(costs, [(c.step, 1.0) for c in costs])]
    yield ["one step with budgets, as while averaging", "1", *_pairs(costs, [(c.step_with_budget, 1.0) for c in costs])]


def _pairs(costs: list[Cost], times: list[tuple[float, float]]) -> Iterator[str]:
    """Microseconds a call and per cent of a step on each grid, from seconds a call and calls a step."""
    for c, (seconds, calls) in zip(costs, times, strict=True):
        yield f"{1e6 * seconds:.0f}"
        yield f"{100 * seconds * calls / c.step:.0f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=100, help="steps a median is taken from")
    steps = parser.parse_args().steps
    begin = time.perf_counter()
    warm_up("mixing-length")
    compiling = time.perf_counter() - begin
    costs = [cost(*cells, steps) for cells in GRIDS]
    shares = {name: costs[-1].calls[name] * costs[-1].seconds[name] / costs[-1].step for name in (*CALLED, PRESSURE)}
    dearest = max(shares, key=lambda name: shares[name])
    speeds = ", ".join(f"{1e-6 * c.cells / c.step:.2f}" for c in costs)
    names = [f"{nr} x {nz}" for nr, nz in GRIDS]
    print(
        f"A step of the table-top chamber, fog included, takes {', '.join(f'{1e3 * c.step:.2g}' for c in costs)} ms "
        f"on {', '.join(names)} cells, {speeds} million cells a second; the dearest part on the largest grid is "
        f"{dearest} ({100 * shares[dearest]:.0f} per cent)."
    )
    print(f"\n{machine()} Compiling or loading the kernels: {compiling:.1f} s. Medians of {steps} steps.\n")
    print(
        table(
            ["part", "calls a step", *(f"{n}: {x}" for n in names for x in ("us a call", "% of a step"))], lines(costs)
        )
    )
    print("\nKernels that do little but move numbers, in bytes they must move, beside a triad of the same machine:\n")
    heads = ["kernel", *(f"{n}: {x}" for n in names for x in ("GB/s", "over the triad"))]
    print(table(heads, streams(costs, steps)))


if __name__ == "__main__":
    main()
