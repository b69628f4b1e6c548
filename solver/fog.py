"""The fog of a steady flow: linear once the flow is known, solved in turn with it where the fog has weight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from swirlwright.solver.eddy import SpalartAllmaras
from swirlwright.solver.fog_law import LEDGER
from swirlwright.solver.fog_transport import carriers, fill_fog_rates, fog_held, ledger_rates
from swirlwright.solver.grid import Array
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import EDDY_AGREEMENT, AndersonMixing, SteadyStep, SteadyTry, solve_steady

# Flow and fog in turn: rounds at most, and rounds remembered to foresee the next.
MOST_ROUNDS = 40
MEMORY = 5


def with_steady_fog(problem: FlowProblem, s: State) -> State:
    """`s` with the fog concentration that its flow keeps up, as a share of that in the inlet, (nz, nr).

    The rate of change is affine in the concentration with a five-point stencil, so nine evaluations give its
    matrix; the same kernel as the transient's, so both keep the same fog.
    """
    if not problem.has_fog:
        return s
    nz, nr = problem.grid.shape
    nu, by = problem.viscosity(s), carriers(problem, s)

    def rate(c: Array) -> Array:
        out = np.empty((nz, nr))
        fill_fog_rates(problem, c, by, nu, out)
        return out

    inflow = rate(np.zeros((nz, nr)))
    rows, columns, values = [], [], []
    for cj in range(3):
        for ci in range(3):
            c = np.zeros((nz, nr))
            c[cj::3, ci::3] = 1.0
            change = rate(c) - inflow
            row_j, row_i = np.nonzero(change)
            # The cell of this colour within one index of the row is unique.
            col_j, col_i = row_j + (cj - row_j + 1) % 3 - 1, row_i + (ci - row_i + 1) % 3 - 1
            rows.append(row_j * nr + row_i)
            columns.append(col_j * nr + col_i)
            values.append(change[row_j, row_i])
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    matrix = sparse.csc_matrix(entries, shape=(nz * nr, nz * nr))
    return replace(s, fog=splu(matrix).solve(-inflow.ravel()).reshape(nz, nr))


def solve_steady_with_fog(
    problem: FlowProblem,
    start: State,
    *,
    tolerance: float,
    max_iterations: int,
    watch: Callable[[SteadyStep], None] = lambda step: None,
    first_step: float | None = None,
) -> SteadyTry:
    """As `solve_steady`, with the fog that the flow keeps up; where it has weight, fog and flow are solved in turn.

    Each with the other held, the next fog foreseen from the last rounds (Anderson mixing), until the fog's change moves
    the flow's residual by less than `tolerance`; with an equation for the eddy viscosity, which is not known so
    closely, until the fog changes by less than `EDDY_AGREEMENT`.
    """
    s = start
    record: tuple[SteadyStep, ...] = ()
    mixing = AndersonMixing(MEMORY)
    for _ in range(MOST_ROUNDS):
        tried = solve_steady(
            problem, s, tolerance=tolerance, max_iterations=max_iterations, watch=watch, first_step=first_step
        )
        record = (*record, *tried.record)
        if not tried.is_converged:
            return replace(tried, record=record)
        settled = with_steady_fog(problem, tried.state)
        if not problem.fog_weight or _has_settled(problem, s.fog, settled.fog, tolerance):
            return replace(tried, state=settled, record=record)
        s = replace(settled, fog=mixing.next(s.fog, settled.fog))
        # Where the first round ended, not where it began: the flow is nearly there.
        first_step = tried.record[-1].pseudo_step if tried.record else first_step
    return SteadyTry(s, False, tried.residual, record)


def _has_settled(problem: FlowProblem, before: Array, after: Array, tolerance: float) -> bool:
    """Whether the change of the fog is one that the flow does not feel."""
    if isinstance(problem.closure, SpalartAllmaras):
        return bool(np.abs(after - before).max() < EDDY_AGREEMENT)
    force = abs(problem.fog_weight) * float(np.sqrt(np.mean((after - before) ** 2)))
    return force * problem.length / problem.speed**2 < tolerance


def fog_flows(problem: FlowProblem, start: State, end: State) -> dict[str, float]:
    """Where the fog goes, by name of LEDGER, and what the chamber gains ("stored") [m3/s of fog as in the inlet].

    Between two states of a run, means over the time between them; of one steady state given twice, its own flows. "in"
    is the sum of the rest: to round-off over time, to that of the linear solution of a steady state.
    """
    seconds = end.time - start.time
    if seconds > 0.0:
        rates = (end.fog_ledger - start.fog_ledger) / seconds
        stored = (fog_held(problem, end) - fog_held(problem, start)) / seconds
    else:
        rates, stored = ledger_rates(problem, end.fog, carriers(problem, end)), 0.0
    return {**dict(zip(LEDGER, rates.tolist(), strict=True)), "stored": stored}
