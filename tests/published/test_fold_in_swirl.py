"""A sweep over swirl in a chamber with prescribed inflow passes the fold of the single-celled branch.

Radius 1, height 2, even inflow through the lower half of the side (aspect ratio 1), radial Reynolds number 200, even
outflow through the whole ceiling. The swirl is v/|u| at the inlet, twice the swirl ratio S.

An earlier computation, whose outlet and height are not recorded, had this branch end at S = 0.334 on coarse grids.
That is not reproduced: here the first fold is at S = 0.490, 0.472, 0.461 on 24, 32, 48 cells, and of 30 chambers tried
on 24 cells (heights 1 to 3, even, parabolic or free outflow through all or part of the ceiling, four inlet profiles,
walls with and without slip, the inlet outside the updraught, another Re) 21 fold first at S = 0.42 to 0.85 and 9 do
not fold below 0.7. So no place is asserted, only that the folds are the same from both ends.
"""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

from swirlwright.solver.continuation import follow_branch
from swirlwright.solver.state import State
from swirlwright.solver.steady import SteadyEquations, solve_steady
from swirlwright.verification.chambers import FOLD_LIMITS as LIMITS
from swirlwright.verification.chambers import branch, hysteresis
from swirlwright.verification.chambers import folding as chamber
from swirlwright.verification.domains import on_axis


def test_branch_from_no_swirl_passes_the_fold():
    """From no swirl the branch turns back once, turns forth again, and goes on to more swirl than at the fold."""
    up = branch(0.0, True)
    assert up.ending == "the parameter left its limits"
    assert len(up.folds) == 2
    assert up.folds[1] < up.folds[0] < up.points[-1].parameter
    assert up.points[0].parameter == 0.0
    assert {p.direction for p in up.points} == {1, -1}


def test_branch_from_strong_swirl_passes_the_same_folds():
    """From beyond the fold, downward, the branch meets the same two folds (within 0.002) and ends without swirl."""
    up, down = branch(0.0, True), branch(1.2, False)
    assert down.ending == "the parameter left its limits"
    assert down.points[-1].parameter < 0.0
    assert down.folds == pytest.approx(up.folds[::-1], abs=2e-3)


def test_every_point_of_the_branch_is_a_steady_flow():
    """Newton started from points of the branch, those beside the fold included, has nothing left to do."""
    up = branch(0.0, True)
    at_fold = int(np.argmin([abs(p.parameter - up.folds[0]) for p in up.points]))
    for k in (3, at_fold - 1, at_fold, at_fold + 1, len(up.points) - 1):
        p = up.points[k]
        assert solve_steady(chamber(p.parameter), p.state, tolerance=1e-7, max_iterations=0).is_converged


def test_three_flows_between_the_folds():
    """Half-way between the folds the branch crosses one swirl three times, each time with another w on the axis."""
    up = branch(0.0, True)
    middle = 0.5 * (up.folds[0] + up.folds[1])
    axes = []
    for one, two in pairwise(up.points):
        if (one.parameter - middle) * (two.parameter - middle) < 0.0:
            share = (middle - one.parameter) / (two.parameter - one.parameter)
            axes.append((1.0 - share) * on_axis(one.state.w) + share * on_axis(two.state.w))
    assert len(axes) == 3
    for one, two in combinations(axes, 2):
        assert np.abs(one - two).max() > 0.05 * np.abs(one).max()


@pytest.mark.parametrize("direction", [1, -1], ids=["upward", "downward"])
def test_a_plain_sweep_across_the_folds_tells_the_truth(direction):
    """Newton at fixed swirls across both folds never raises; what it says of convergence is so, recomputed."""
    s, tolerance = None, 1e-8
    for swirl in (0.0, 0.4, 0.8, 0.9, 0.95, 0.97, 1.0, 1.05, 1.2)[::direction]:
        problem = chamber(swirl)
        for iterations in (3, 60):  # too few on purpose, then enough for most
            found = solve_steady(problem, s or State.at_rest(problem), tolerance=tolerance, max_iterations=iterations)
            s = found.state
            equations = SteadyEquations(problem, s)
            x = equations.unknowns.pack(s.u, s.v, s.w, s.p, s.duct_pressure)
            residual = max(equations.norms(equations.residual(x)))
            assert np.isfinite(x).all()
            assert found.is_converged == (residual < tolerance)
        if not 0.9 <= swirl <= 1.05:  # where there is one flow only
            assert found.is_converged


def test_a_branch_without_a_start_says_so():
    """With no iterations' worth of steady flow at the first swirl the branch is empty and its ending a sentence."""
    broken = State.at_rest(chamber(0.5))
    broken = State(broken.u, broken.v + np.nan, broken.w, broken.p)
    result = follow_branch(chamber, broken, first=0.5, limits=LIMITS)
    assert result.points == ()
    assert "no steady flow" in result.ending


def test_sweeps_jump_at_the_folds():
    """A plain sweep upward jumps at the upper fold, one downward at the lower, within two steps."""
    failed = [(c.quantity, c.computed, c.expected) for c in hysteresis().checks if not c.passed]
    assert not failed
