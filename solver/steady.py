"""Steady flow: pseudo-transient continuation that turns into Newton's method, on one grid.

Every linear system is solved by GMRES on the true Jacobian (differences of the residual, the closure's response
included), preconditioned by one sparse factorisation of the momentum block with the pressure eliminated by an
augmented Lagrangian. The residual's kernel is the transient's own, so both find the same steady states.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import LinearOperator, gmres, splu

from swirlwright.solver.eddy import SpalartAllmaras
from swirlwright.solver.grid import Array
from swirlwright.solver.projection import Projection
from swirlwright.solver.state import FlowProblem, State, imposed

# Augmented-Lagrangian stiffness over speed times length: large enough that one application closes the mass
# to a thousandth, small enough that the factorisation keeps its digits (measured: 1e2..1e5 all converge).
STIFFNESS = 1e3
# Iterations without a new best residual after which the flow is taken to have no steady state in reach.
PATIENCE = 40
# A factorisation serves on as long as a linear system takes no more iterations than this: so many cost about as much as
# a factorisation.
KEPT_FOR = 8
# Relative error of the linear systems.
LINEAR = 1e-3
# Flow and eddy viscosity in turn: rounds at most, what counts as agreed, rounds remembered to foresee the next, and the
# steps of nu~ in a round, each this many times length over speed.
MOST_ROUNDS = 60
EDDY_AGREEMENT = 1e-3
EDDY_MEMORY = 5
EDDY_STEPS = 200
EDDY_STEP = 0.2


@dataclass(frozen=True)
class SteadyStep:
    """One row of the convergence record; momentum is the root mean square of the rates over speed**2/length, mass the
    largest divergence over speed/length.
    """

    iteration: int
    pseudo_step: float
    momentum: float
    mass: float
    linear_iterations: int


class Unknowns:
    """Maps between State and one vector: free faces of u and w, all of v and p, and the duct pressure if asked."""

    def __init__(self, problem: FlowProblem) -> None:
        nz, nr = problem.grid.shape
        e = problem.edges
        self.free_u = np.ones((nz, nr + 1), bool)
        self.free_u[:, 0] = False
        self.free_u[:, -1] = e.side_kind == 1
        self.free_w = np.ones((nz + 1, nr), bool)
        self.free_w[0] = False
        self.free_w[-1] = e.top_kind == 1
        self.n_u, self.n_v, self.n_w = int(self.free_u.sum()), nz * nr, int(self.free_w.sum())
        self.n_flow = self.n_u + self.n_v + self.n_w
        self.n_p = nz * nr
        self.has_duct = problem.exhaust_flow is not None
        self.size = self.n_flow + self.n_p + int(self.has_duct)

    def pack(self, u: Array, v: Array, w: Array, p: Array, duct: float) -> Array:
        tail = [np.array([duct])] if self.has_duct else []
        return np.concatenate((u[self.free_u], v.ravel(), w[self.free_w], p.ravel(), *tail))

    def unpack(self, x: Array, base: State) -> State:
        u, w = base.u.copy(), base.w.copy()
        a, b, c = self.n_u, self.n_u + self.n_v, self.n_flow
        u[self.free_u], w[self.free_w] = x[:a], x[b:c]
        duct = float(x[-1]) if self.has_duct else base.duct_pressure
        shape = base.p.shape
        return State(
            u, x[a:b].reshape(shape), w, x[c : c + self.n_p].reshape(shape), duct, base.time, base.fog, base.eddy
        )


class SteadyEquations:
    """Residual and preconditioner of the steady problem in packed form."""

    def __init__(self, problem: FlowProblem, start: State) -> None:
        self.problem = problem
        self.unknowns = Unknowns(problem)
        self.base = start
        self.stiffness = STIFFNESS * problem.speed * problem.length
        self._build_pressure_blocks()

    def residual(self, x: Array) -> Array:
        """Momentum rates [m/s2], then -(div u - q) [1/s], then the missing exhaust flow over its area [m/s]."""
        s = self.unknowns.unpack(x, self.base)
        rates = self.problem.rates(s, self.problem.viscosity(s))
        missing = 0.0
        if self.problem.exhaust_flow is not None:
            missing = self.problem.exhaust_flow - self.problem.flow_through_exhaust(s)
            missing /= self.problem.exhaust_areas.sum()
        return self.unknowns.pack(*rates, -self.problem.divergence(s), missing)

    def norms(self, r: Array) -> tuple[float, float]:
        """Root-mean-square momentum residual and largest mass residual, non-dimensional."""
        p, n = self.problem, self.unknowns.n_flow
        momentum = float(np.sqrt(np.mean(r[:n] ** 2))) / (p.speed**2 / p.length)
        return momentum, float(np.max(np.abs(r[n:]))) / (p.speed / p.length)

    def _build_pressure_blocks(self) -> None:
        """Gradient (as the momentum feels it) and divergence, with columns and rows of free faces only."""
        p, k = self.problem, self.unknowns
        m, e = p.grid.metric, p.edges
        nz, nr = p.grid.shape
        cell = np.arange(nz * nr).reshape(nz, nr)
        face_u = np.full((nz, nr + 1), -1)
        face_u[k.free_u] = np.arange(k.n_u)
        face_w = np.full((nz + 1, nr), -1)
        face_w[k.free_w] = k.n_u + k.n_v + np.arange(k.n_w)
        links = []  # (face, cell, gradient entry, divergence entry)
        dr = np.broadcast_to(m.drc, face_u.shape)
        dz = np.broadcast_to(m.dzc[:, None], face_w.shape)
        rf = np.broadcast_to(m.rf, face_u.shape)
        a = np.broadcast_to(m.a, cell.shape)
        depth = np.broadcast_to(m.dz[:, None], cell.shape)
        # A cell's pressure pushes its outer faces outward and holds back the flow through its inner ones.
        links.append((face_u[:, 1:], cell, 1.0 / dr[:, 1:], rf[:, 1:] / a))
        links.append((face_u[:, :-1], cell, -1.0 / dr[:, :-1], -rf[:, :-1] / a))
        links.append((face_w[1:], cell, 1.0 / dz[1:], 1.0 / depth))
        links.append((face_w[:-1], cell, -1.0 / dz[:-1], -1.0 / depth))
        face, where, grad, div = (np.concatenate([np.ravel(link[n]) for link in links]) for n in range(4))
        keep = face >= 0
        shape = (k.n_flow, k.n_p)
        self.gradient = sparse.csr_matrix((grad[keep], (face[keep], where[keep])), shape=shape)
        self.div = sparse.csr_matrix((div[keep], (where[keep], face[keep])), shape=shape[::-1])
        self.grad_div = (self.gradient @ self.div).tocsc()
        self.duct_pull = np.zeros(k.n_flow)
        self.duct_flow = np.zeros(k.n_flow)
        if k.has_duct:
            top = e.top_kind == 1
            self.duct_pull[face_w[-1, top]] = -1.0 / m.dzc[-1]
            self.duct_flow[face_w[-1, top]] = p.exhaust_areas[top] / p.exhaust_areas.sum()

    def momentum_jacobian(self, s: State) -> sparse.csc_matrix:
        """Derivative of the momentum rates by u, v, w with the viscosity frozen, from 27 coloured differences."""
        p, k = self.problem, self.unknowns
        nu = p.viscosity(s)
        base = p.rates(s, nu)
        epsilon = 1e-6 * p.speed
        number = [np.full(a.shape, -1) for a in (s.u, s.v, s.w)]
        number[0][k.free_u] = np.arange(k.n_u)
        number[1][:] = k.n_u + np.arange(k.n_v).reshape(s.v.shape)
        number[2][k.free_w] = k.n_u + k.n_v + np.arange(k.n_w)
        rows, columns, values = [], [], []
        for f in range(3):
            for cj in range(3):
                for ci in range(3):
                    fields = [s.u, s.v, s.w]
                    fields[f] = fields[f].copy()
                    mine = number[f][cj::3, ci::3] >= 0
                    fields[f][cj::3, ci::3] += np.where(mine, epsilon, 0.0)
                    moved = p.rates(replace(s, u=fields[0], v=fields[1], w=fields[2]), nu)
                    for g in range(3):
                        jj, ii = np.nonzero(moved[g] != base[g])
                        # The perturbed unknown of this colour within one index of the row is unique.
                        col_j = jj + (cj - jj + 1) % 3 - 1
                        col_i = ii + (ci - ii + 1) % 3 - 1
                        row = number[g][jj, ii]
                        col = number[f][col_j, col_i]
                        good = (row >= 0) & (col >= 0)
                        rows.append(row[good])
                        columns.append(col[good])
                        values.append((moved[g] - base[g])[jj, ii][good] / epsilon)
        entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
        return sparse.csc_matrix(entries, shape=(k.n_flow, k.n_flow))

    def preconditioner(self, s: State, pseudo_step: float) -> Callable[[Array], Array]:
        """Approximate inverse of the linear system at `s`: one factorisation, pressure by augmented Lagrangian."""
        k = self.unknowns
        n, damping = k.n_flow, self.stiffness
        system = sparse.identity(n, format="csc") / pseudo_step - self.momentum_jacobian(s) + damping * self.grad_div
        factor = splu(
            system.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.01, options={"SymmetricMode": True}
        )
        duct_response = factor.solve(self.duct_pull) if k.has_duct else None

        def apply(r: Array) -> Array:
            momentum, mass = r[:n], r[n : n + k.n_p]
            flow = factor.solve(momentum + damping * (self.gradient @ mass))
            out = np.empty_like(r)
            if duct_response is not None:
                out[-1] = (r[-1] - self.duct_flow @ flow) / (self.duct_flow @ duct_response)
                flow = flow + duct_response * out[-1]
            out[:n] = flow
            out[n : n + k.n_p] = damping * (mass - self.div @ flow)
            return out

        return apply

    def solve_linear(
        self, x: Array, r: Array, pseudo_step: float, precondition: Callable[[Array], Array], tolerance: float
    ) -> tuple[Array, int]:
        """Solve (1/pseudo_step - F'(x)) d = r by preconditioned GMRES; returns d and the iterations taken."""
        n = self.unknowns.n_flow
        size = float(np.sqrt(np.mean(x[:n] ** 2))) + 1e-3 * self.problem.speed

        def operate(y: Array) -> Array:
            d = precondition(y)
            scale = 1e-7 * size / (float(np.sqrt(np.mean(d[:n] ** 2))) + 1e-300)
            out = -(self.residual(x + scale * d) - r) / scale
            out[:n] += d[:n] / pseudo_step
            return out

        count = 0

        def counted(_: float) -> None:
            nonlocal count
            count += 1

        operator = LinearOperator((r.size, r.size), matvec=operate, dtype=float)
        y, _ = gmres(
            operator, r, rtol=tolerance, atol=0.0, restart=30, maxiter=1, callback=counted, callback_type="pr_norm"
        )
        return precondition(y), count


@dataclass(frozen=True)
class SteadyTry:
    """Where the iteration ended: the state, whether it met the tolerance, and the record of its steps."""

    state: State
    is_converged: bool
    residual: float
    record: tuple[SteadyStep, ...]


def solve_steady(
    problem: FlowProblem,
    start: State,
    *,
    tolerance: float,
    max_iterations: int,
    watch: Callable[[SteadyStep], None] = lambda step: None,
    first_step: float | None = None,
) -> SteadyTry:
    """Iterate until the non-dimensional residual is below `tolerance` or the iterations are used up.

    Where the eddy viscosity has an equation of its own, that and the flow are solved in turn, each with the other held,
    until a round changes the viscosity by less than `EDDY_AGREEMENT` of its largest value and nu~ would, marched on in
    the flow found, change by less than that of its own.
    """
    if not isinstance(problem.closure, SpalartAllmaras):
        return _newton(problem, start, tolerance, max_iterations, watch, first_step)
    s = imposed(problem, start)
    record: tuple[SteadyStep, ...] = ()
    viscosity = problem.viscosity(s)
    mixing = AndersonMixing(EDDY_MEMORY)
    settled = settled_eddy(problem, s).eddy
    for _ in range(MOST_ROUNDS):
        s = replace(s, eddy=mixing.next(s.eddy, settled))
        tried = _newton(problem, s, tolerance, max_iterations, watch, first_step)
        record, s = (*record, *tried.record), tried.state
        before, viscosity = viscosity, problem.viscosity(s)
        if not tried.is_converged:
            break
        settled = settled_eddy(problem, s).eddy
        # A nu~ below the molecular viscosity acts on nothing; without an inflow it decays for ever.
        left, scale = np.abs(settled - s.eddy).max(), max(np.abs(settled).max(), problem.molecular)
        if np.abs(viscosity - before).max() < EDDY_AGREEMENT * viscosity.max() and left < EDDY_AGREEMENT * scale:
            return replace(tried, record=record)
    return SteadyTry(s, False, tried.residual, record)


class AndersonMixing:
    """Speeds up x = g(x) by the last `memory` pairs of x and g (Anderson 1965, J. ACM 12:547; Walker and Ni 2011)."""

    def __init__(self, memory: int) -> None:
        self.memory = memory
        self.kept: list[tuple[Array, Array]] = []

    def next(self, x: Array, g: Array) -> Array:
        """The next x: the combination of the kept g whose change g - x is the least."""
        self.kept = [*self.kept[-self.memory :], (g.ravel(), (g - x).ravel())]
        goals, changes = (np.stack(part, axis=1) for part in zip(*self.kept, strict=True))
        if changes.shape[1] == 1:
            return g
        steps = np.diff(changes, axis=1)
        weights, *_ = np.linalg.lstsq(steps, changes[:, -1], rcond=1e-10)
        return np.asarray(goals[:, -1] - np.diff(goals, axis=1) @ weights).reshape(g.shape)


def settled_eddy(problem: FlowProblem, s: State) -> State:
    """`s` with nu~ marched on in its flow, held, for about as long as air needs to cross the chamber."""
    closure = problem.closure
    assert isinstance(closure, SpalartAllmaras)
    step = EDDY_STEP * problem.length / problem.speed
    eddy = s.eddy.copy()
    for _ in range(EDDY_STEPS):
        rate, decay = closure.rates(s.u, s.v, s.w, eddy, problem.sources.volume, problem.grid, problem.edges)
        rate *= step
        closure.sweep(s.u, s.w, eddy, decay, problem.grid, problem.edges, step, rate)
        eddy += rate
    return replace(s, eddy=eddy)


def _newton(
    problem: FlowProblem,
    start: State,
    tolerance: float,
    max_iterations: int,
    watch: Callable[[SteadyStep], None],
    first_step: float | None,
) -> SteadyTry:
    """The flow with nu~, if there is one, held.

    The pseudo time step [s] grows as the residual falls and shrinks when it rises or a trial fails
    (switched evolution relaxation, Mulder and van Leer 1985), so the last steps are Newton's.
    """
    # From the first step on mass is closed and the exhaust flow met, so that only the momentum is judged.
    start = _with_mass_closed(problem, start)
    equations = SteadyEquations(problem, start)
    k = equations.unknowns
    x = k.pack(start.u, start.v, start.w, start.p, start.duct_pressure)
    r = equations.residual(x)
    size = max(equations.norms(r))
    step = first_step if first_step is not None else 0.1 * problem.length / problem.speed
    record: list[SteadyStep] = []
    best, best_at = size, 0
    precondition, linear = None, 0
    was_met = size < tolerance
    for iteration in range(1, max_iterations + 1):
        # One step more once the tolerance is met: a test of stability has to see what is below it.
        is_met = size < tolerance
        if (is_met and was_met) or not np.isfinite(size) or iteration - best_at > PATIENCE:
            break
        was_met = is_met
        if precondition is None or linear > KEPT_FOR:
            precondition = equations.preconditioner(k.unpack(x, start), step)
        d, linear = equations.solve_linear(x, r, step, precondition, LINEAR)
        trial = x + d
        r_trial = equations.residual(trial)
        size_trial = max(equations.norms(r_trial))
        # A trial may raise the residual a little on its way out of a poor start, not throw the field away.
        if np.isfinite(size_trial) and size_trial < 3.0 * size:
            growth = min(max(size / max(size_trial, 1e-300), 0.3), 4.0)
            x, r, size = trial, r_trial, size_trial
            step *= growth * (1.5 if growth > 0.7 else 1.0)
        else:
            step *= 0.2
        if size < 0.9 * best:
            best, best_at = size, iteration
        momentum, mass = equations.norms(r)
        record.append(SteadyStep(iteration, step, momentum, mass, linear))
        watch(record[-1])
    # Newton leaves mass closed to the tolerance; the budgets are owed to round-off.
    return SteadyTry(_with_mass_closed(problem, k.unpack(x, start)), size < tolerance, size, tuple(record))


def _with_mass_closed(problem: FlowProblem, s: State) -> State:
    """The nearest field whose divergence is the sources' to round-off, with the exhaust flow met."""
    u, w = s.u.copy(), s.w.copy()
    Projection(problem).apply(u, w, 1.0, problem.sources.volume, problem.exhaust_flow)
    return replace(s, u=u, w=w)
