"""How fast is the steady solver beside others, at a stated error? The textbook end wall, as a Markdown table.

python benchmarks/peers.py [--repeats REPEATS]
"""

from __future__ import annotations

import argparse
import os
import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from importlib.metadata import PackageNotFoundError, version

from printing import ONE_THREAD, machine, number, table

# Before numba and the linear algebra read them.
os.environ.update(ONE_THREAD)

from peer_solvers import HEIGHT, REYNOLDS, Answer, differences

from swirlwright.solver.grid import Grid
from swirlwright.solver.interpolation import onto
from swirlwright.solver.state import State
from swirlwright.solver.steady import solve_steady
from swirlwright.verification.domains import laminar, wall_faces, walls
from swirlwright.verification.end_wall import strongest_axial, to_no_cell_size

# Largest axial velocity on the axis over Omega R, converged: the finest grid or mesh of swirlwright, scikit-fem and
# NGSolve below, three methods, are within 0.1 % of it.
REFERENCE = 0.098567
# Largest error of a row that counts, and the share of the fastest peer's time that is the goal.
LIMIT, GOAL = 2e-3, 0.5
# Of the residual, on every grid. The tight one shows what the loose one leaves: extrapolation triples it.
TOLERANCE, TIGHT_TOLERANCE = 1e-4, 1e-6
# Pseudo time step over length/speed from a coarser grid's field: large, for that is near the answer.
NEAR_STEP = 30.0
OPTIONAL = ("scikit-fem", "ngsolve")


def swirlwright(
    sizes: Sequence[int], stretching: float, *, is_extrapolated: bool = False, tolerance: float = TOLERANCE
) -> Answer:
    """Steady flow on grids of so many cells a radius, each from the one before."""
    coarse: tuple[State, Grid] | None = None
    found = []
    for cells in sizes:
        z = wall_faces(HEIGHT, round(cells * HEIGHT), stretching, True)
        grid = Grid(wall_faces(1.0, cells, stretching, False), z)
        problem = laminar(grid, walls(grid, bottom_v=grid.r), 1.0 / REYNOLDS)
        start = State.at_rest(problem) if coarse is None else onto(grid, *coarse)
        step = None if coarse is None else NEAR_STEP
        tried = solve_steady(problem, start, tolerance=tolerance, max_iterations=80, first_step=step)
        if not tried.is_converged:
            raise ArithmeticError(f"no steady flow on {cells} cells a radius: residual {tried.residual:.1e}")
        coarse = (tried.state, grid)
        found.append(-float(strongest_axial(grid, tried.state)[0]))
    w = float(to_no_cell_size(sizes[-2:], *found[-2:])) if is_extrapolated else found[-1]
    return Answer(4 * grid.r.size * grid.z.size, w)


def scikit_fem(sizes: Sequence[int]) -> Answer:
    """As peer_scikit_fem.elements; imported here because it may be missing."""
    from peer_scikit_fem import elements

    return elements(sizes)


def ngsolve(sizes: Sequence[float]) -> Answer:
    """As peer_ngsolve.elements; imported here because it may be missing."""
    from peer_ngsolve import elements

    return elements(sizes)


@dataclass
class Row:
    """One solver with its settings; answer and processor and wall-clock seconds as they come."""

    who: str
    solve: Callable[[], Answer]
    is_peer: bool = True
    answer: Answer | None = None
    processor: list[float] = field(default_factory=list)
    wall: list[float] = field(default_factory=list)

    def run(self) -> None:
        """Solve once, timed."""
        begin = time.process_time(), time.perf_counter()
        self.answer = self.solve()
        self.processor.append(time.process_time() - begin[0])
        self.wall.append(time.perf_counter() - begin[1])

    @property
    def error(self) -> float:
        """Of the largest axial velocity on the axis, relative."""
        assert self.answer is not None
        return self.answer.w / REFERENCE - 1.0

    @property
    def seconds(self) -> float:
        """Median, of the processor."""
        return statistics.median(self.processor)


def rows() -> list[Row]:
    """What is compared; numbers are cells a radius, or the size of triangles over it."""
    own, scipy = "swirlwright", "psi-omega-Gamma differences, plain scipy"
    fem, ng = "P2/P1 elements, scikit-fem", "P3/P2 elements, NGSolve"
    extrapolated = partial(swirlwright, (10, 28, 40), 0.7, is_extrapolated=True)
    tight = partial(extrapolated, tolerance=TIGHT_TOLERANCE)
    return [
        Row(f"{own}: 10, 28, 40, extrapolated", extrapolated, False),
        Row(f"{own}: 10, 28, 40, extrapolated, to {TIGHT_TOLERANCE:g}", tight, False),
        Row(f"{own}: 16, 32, 64", partial(swirlwright, (16, 32, 64), 1.0), False),
        Row(f"{own}: 16, 32, 64, 96", partial(swirlwright, (16, 32, 64, 96), 1.0), False),
        Row(f"{scipy}: 92", partial(differences, (92,))),
        Row(f"{scipy}: 24, 48, 92", partial(differences, (24, 48, 92))),
        Row(f"{scipy}: 16, 32, 48, extrapolated", partial(differences, (16, 32, 48), is_extrapolated=True)),
        Row(f"{fem}: 8, 18", partial(scikit_fem, (8, 18))),
        Row(f"{ng}: 0.35, 0.15", partial(ngsolve, (0.35, 0.15))),
        Row(f"{ng}: 0.35, 0.11", partial(ngsolve, (0.35, 0.11))),
    ]


def timed(repeats: int) -> tuple[list[Row], list[str]]:
    """The rows that run, each timed `repeats` times in turns, and why others do not."""
    run, reasons = [], []
    for row in rows():
        try:
            row.solve()
        except (ImportError, ArithmeticError) as error:
            reasons.append(f"Not run: {row.who} ({error}).")
        else:
            run.append(row)
    for _ in range(repeats):
        for row in run:
            row.run()
    return run, reasons


def conclusion(run: list[Row], fastest: Row | None) -> str:
    """One sentence."""
    own = [row for row in run if not row.is_peer and abs(row.error) <= LIMIT]
    if not own or fastest is None:
        who = "the peers" if own else "swirlwright"
        return f"No comparison: nothing of {who} is within {100.0 * LIMIT:g} per cent."
    best = min(own, key=lambda row: row.seconds)
    return (
        f"At an error of at most {100.0 * LIMIT:g} per cent the fastest of swirlwright takes "
        f"{best.seconds / fastest.seconds:.2f} of the time of the fastest peer ({fastest.who}); the goal is {GOAL:g}."
    )


def cells(run: list[Row], fastest: Row | None) -> Iterator[list[str]]:
    """The rows of the table."""
    for row in run:
        assert row.answer is not None
        ratio = row.seconds / fastest.seconds if fastest else None
        yield [row.who, f"{row.answer.unknowns}", f"{100.0 * row.error:+.3f}", f"{row.seconds:.3f}",
               number(ratio, form=".2f")]  # fmt: skip


def versions() -> str:
    """Those of the peers that are installed."""
    found = []
    for name in OPTIONAL:
        try:
            found.append(f"{name} {version(name)}")
        except PackageNotFoundError:
            found.append(f"no {name}")
    return ", ".join(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=5, help="runs a median is taken from")
    repeats = parser.parse_args().repeats
    run, reasons = timed(repeats)
    within = [row for row in run if row.is_peer and abs(row.error) <= LIMIT]
    fastest = min(within, key=lambda row: row.seconds, default=None)
    wait = sum(sum(row.wall) for row in run) / sum(sum(row.processor) for row in run)
    print(conclusion(run, fastest))
    print(
        f"\n{machine()} Also {versions()}. Processor seconds, medians of {repeats} in turns after a warm-up; "
        f"the clock on the wall ran {wait:.2f} times as long.\n"
    )
    print(table(["who", "unknowns", "error %", "seconds", "over the fastest peer's"], cells(run, fastest)))
    if reasons:
        print("\n" + "\n".join(reasons))


if __name__ == "__main__":
    main()
