"""A branch of steady flows against a parameter, followed past folds by pseudo-arclength.

Swirl in a chamber with prescribed inflow is the case in mind: the branch of single-celled vortices ends in a
fold, where a sweep that fixes the swirl has nothing to converge to. Here swirl and flow are unknowns together and
the step is measured along the branch (H. B. Keller, Numerical solution of bifurcation and nonlinear eigenvalue
problems, 1977), so the fold is a point like any other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.sparse.linalg import LinearOperator, gmres

from swirlwright.solver.grid import Array
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.steady import SteadyEquations, solve_steady

# Corrections a point may need before its step is halved, and below which the next step grows.
MOST_CORRECTIONS = 8
FEW_CORRECTIONS = 4
# Pseudo time over length/speed in the preconditioner: finite, so that it exists at the fold itself.
PRECONDITIONER_TIME = 1e4
LINEAR_TOLERANCE = 1e-4


@dataclass(frozen=True)
class BranchPoint:
    """One steady flow on the branch; direction is the sign of the parameter's change along it."""

    parameter: float
    state: State
    direction: int
    corrections: int


@dataclass(frozen=True)
class Branch:
    """Points in the order they were found, and why the branch was not followed further."""

    points: tuple[BranchPoint, ...]
    ending: str

    @property
    def folds(self) -> tuple[float, ...]:
        """Parameter at each turn of the branch, by a parabola through the three points around it."""
        found = []
        for k in range(1, len(self.points) - 1):
            one, two, three = (p.parameter for p in self.points[k - 1 : k + 2])
            if (two - one) * (three - two) < 0.0:
                curvature = one - 2.0 * two + three
                found.append(two - (three - one) ** 2 / (8.0 * curvature))
        return tuple(found)


class _Bordered:
    """The steady equations with the parameter as one more unknown and one more equation for the step length."""

    def __init__(self, problem_at: Callable[[float], FlowProblem], start: State, parameter_scale: float) -> None:
        self.problem_at = problem_at
        self.start = start
        self.scale = parameter_scale
        problem = problem_at(0.0)
        self.equations = SteadyEquations(problem, start)
        self.n = self.equations.unknowns.n_flow
        self.speed, self.time = problem.speed, PRECONDITIONER_TIME * problem.length / problem.speed

    def residual(self, y: Array) -> Array:
        """Residual of the steady equations at (x, parameter / scale) = y."""
        self.equations.problem = self.problem_at(float(y[-1]) * self.scale)
        return self.equations.residual(y[:-1])

    def size(self, residual: Array) -> float:
        return max(self.equations.norms(residual))

    def length(self, one: Array, other: Array) -> float:
        """Inner product of two steps: mean over the velocities, over speed squared, plus the parameter's."""
        flow = float(one[: self.n] @ other[: self.n]) / (self.n * self.speed**2)
        return flow + float(one[-1] * other[-1])

    def correct(self, y: Array, tangent: Array, tolerance: float) -> tuple[Array, int] | None:
        """Newton on the plane through y across the tangent; None if it does not get there."""
        start = y
        r = self.residual(y)
        size = self.size(r)
        for iteration in range(MOST_CORRECTIONS + 1):
            if size < tolerance:
                return y, iteration
            y = y + self.solve(y, np.append(r, -self.length(tangent, y - start)), tangent)
            r, before = self.residual(y), size
            size = self.size(r)
            if not np.isfinite(size) or size > 10.0 * before:
                return None
        return None

    def solve(self, y: Array, right: Array, tangent: Array) -> Array:
        """Solve -F' d = right[:-1], <tangent, d> = right[-1] by GMRES on the bordered system."""
        base = self.residual(y)
        precondition = self.equations.preconditioner(self.equations.unknowns.unpack(y[:-1], self.start), self.time)
        nudge = np.zeros_like(y)
        nudge[-1] = 1e-6
        column = -(self.residual(y + nudge) - base) / nudge[-1]
        response = precondition(column)
        row = tangent.copy()
        row[:-1] = 0.0
        row[: self.n] = tangent[: self.n] / (self.n * self.speed**2)
        pivot = row[-1] - row[:-1] @ response

        def inverse(b: Array) -> Array:
            flow = precondition(b[:-1])
            last = (b[-1] - row[:-1] @ flow) / pivot
            return np.append(flow - response * last, last)

        def operate(b: Array) -> Array:
            d = inverse(b)
            # Differences of the residual see the velocities; the scale keeps them a ten-millionth of the speed.
            step = 1e-7 * self.speed / (float(np.sqrt(np.mean(d[: self.n] ** 2))) + abs(d[-1]) * self.speed + 1e-300)
            return np.append(-(self.residual(y + step * d) - base) / step, row @ d)

        operator = LinearOperator((right.size, right.size), matvec=operate, dtype=float)
        b, _ = gmres(operator, right, rtol=LINEAR_TOLERANCE, atol=0.0, restart=60, maxiter=1)
        return inverse(b)

    def tangent(self, y: Array, before: Array) -> Array:
        """Unit tangent of the branch at y, pointing the same way as `before`."""
        right = np.zeros_like(y)
        right[-1] = 1.0
        t = self.solve(y, right, before)
        return t / np.sqrt(self.length(t, t))


def follow_branch(
    problem_at: Callable[[float], FlowProblem],
    start: State,
    *,
    first: float,
    limits: tuple[float, float],
    upward: bool = True,
    step: float = 0.05,
    largest_step: float = 0.1,
    smallest_step: float = 1e-4,
    parameter_scale: float = 1.0,
    max_points: int = 60,
    tolerance: float = 1e-8,
    watch: Callable[[BranchPoint], None] = lambda point: None,
) -> Branch:
    """Follow the branch through the steady flow at parameter `first` until it leaves `limits` or points run out.

    problem_at gives the flow problem at a parameter value (the same grid and kinds of faces throughout). start is
    a guess at `first`. Steps are lengths along the branch: root-mean-square change of velocity over the problem's
    speed and of the parameter over `parameter_scale` together. Never raises for a flow it cannot find: the branch
    then says why it ended, and holds what was found.
    """
    tried = solve_steady(problem_at(first), start, tolerance=tolerance, max_iterations=200)
    if not tried.is_converged:
        return Branch((), "no steady flow was found at the first value of the parameter")
    bordered = _Bordered(problem_at, tried.state, parameter_scale)
    s = tried.state
    y = np.append(bordered.equations.unknowns.pack(s.u, s.v, s.w, s.p, s.duct_pressure), first / parameter_scale)
    across = np.zeros_like(y)
    across[-1] = 1.0 if upward else -1.0
    tangent = bordered.tangent(y, across)

    def point(y: Array, corrections: int) -> BranchPoint:
        state = bordered.equations.unknowns.unpack(y[:-1], bordered.start)
        found = BranchPoint(float(y[-1]) * parameter_scale, state, int(np.sign(tangent[-1])), corrections)
        watch(found)
        return found

    points = [point(y, 0)]
    while len(points) < max_points:
        corrected = bordered.correct(y + step * tangent, tangent, tolerance)
        if corrected is None:
            step *= 0.5
            if step < smallest_step:
                return Branch(tuple(points), "the steps along the branch became too small")
            continue
        y, corrections = corrected
        tangent = bordered.tangent(y, tangent)
        points.append(point(y, corrections))
        if not limits[0] <= points[-1].parameter <= limits[1]:
            return Branch(tuple(points), "the parameter left its limits")
        if corrections < FEW_CORRECTIONS:
            step = min(1.5 * step, largest_step)
    return Branch(tuple(points), "all points asked for were found")
