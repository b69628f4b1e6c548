"""The search on formulas whose constrained optimum is known, in place of chambers."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from swirlwright.postproc.searches.model import SMOOTHINGS, surface
from swirlwright.postproc.searches.proposals import Proposer
from swirlwright.postproc.searches.resolution import Errors, cost_of_limits
from swirlwright.postproc.searches.rounds import Answer, Exploration, explore, models_of, prediction_errors
from swirlwright.postproc.searches.space import Axis, Place, Space
from swirlwright.solver.study_goal import Refinement
from swirlwright.solver.variants import unit_sample

Formula = Callable[[Place], Answer]
PLANE = Space((Axis("a"), Axis("b")))


def two_valleys(place: Place) -> Answer:
    """Feasible in two separate regions, both limits active at the optimum.

    Floudas and Pardalos, A Collection of Test Problems for Constrained Global Optimization, 1990; as problem G24 in
    Liang et al., Problem Definitions and Evaluation Criteria for the CEC 2006 Special Session, 2006 (from memory).
    """
    x, y = 3 * place[0], 4 * place[1]
    first = -2 * x**4 + 8 * x**3 - 8 * x**2 + y - 2
    second = -4 * x**4 + 32 * x**3 - 88 * x**2 + 96 * x + y - 36
    return Answer(-x - y, (-first, -second))


TWO_VALLEYS = (-5.50801, 2.32952 / 3, 3.17849 / 4)


def one_whole_number(place: Place) -> Answer:
    """Least 2 x + y with y 0 or 1.

    Kocis and Grossmann, Global Optimization of Nonconvex Mixed-Integer Nonlinear Programming Problems in Process
    Synthesis, 1988, first example (from memory). The optimum, 2 at (0.5, 1), follows by hand.
    """
    x, y = 1.6 * place[0], round(place[1])
    return Answer(2 * x + y, (x * x + y - 1.25, 1.6 - x - y))


class Counted:
    """A formula with its values kept, like the records of a search, and counted; interrupted after `stop` of them."""

    def __init__(self, formula: Formula, stop: int | None = None):
        self.formula, self.stop = formula, stop
        self.known: dict[Place, Answer] = {}
        self.calls = 0

    def __call__(self, places: Sequence[Place]) -> list[Answer]:
        for place in places:
            if place not in self.known:
                if self.calls == self.stop:
                    raise KeyboardInterrupt
                self.known[place] = self.formula(place)
                self.calls += 1
        return [self.known[place] for place in places]


def found(formula: Formula | Counted, space: Space = PLANE, *, seed: int = 0, count: int = 12, **rules) -> Exploration:
    evaluate = formula if isinstance(formula, Counted) else Counted(formula)
    first = space.snapped(unit_sample("latin-hypercube", len(space.axes), count, seed))
    return explore(space, first, Refinement(**rules), evaluate, seed=seed)


def best_of(exploration: Exploration) -> tuple[float, Place]:
    best = exploration.best()
    assert best is not None
    trial = exploration.trials[best]
    assert trial.answer.objective is not None
    return trial.answer.objective, trial.place


@pytest.mark.parametrize("seed", [1, 2])
def test_the_better_of_two_valleys_is_found(seed: int) -> None:
    """After at most 52 values the best is within 1 per cent of the known optimum, and keeps both limits."""
    exploration = found(two_valleys, seed=seed, rounds=10, resolution=0.01)
    objective, place = best_of(exploration)
    assert len(exploration.trials) <= 52
    assert TWO_VALLEYS[0] <= objective < 0.99 * TWO_VALLEYS[0]
    assert place == pytest.approx(TWO_VALLEYS[1:], abs=0.02)


def test_the_end_says_whether_the_models_agree() -> None:
    """A search ends settled, its last near predictions good to a hundredth, or says that the rounds are used up."""
    exploration = found(two_valleys, seed=0, rounds=20, resolution=0.01)
    assert exploration.is_settled and "fell on the best variant" in exploration.end
    assert max(error for error in prediction_errors(exploration.trials) if error is not None) < 0.05
    short = found(two_valleys, seed=0, rounds=1)
    assert not short.is_settled and short.end == "all rounds are used up"


def test_whole_numbers_stay_whole() -> None:
    """Of a parameter that counts only its steps are asked for, and the optimum over both kinds is found."""
    space = Space((Axis("x"), Axis("y", (0.0, 1.0))))
    exploration = found(one_whole_number, space, count=8, rounds=6, resolution=0.01)
    objective, place = best_of(exploration)
    assert {trial.place[1] for trial in exploration.trials} == {0.0, 1.0}
    assert objective == pytest.approx(2.0, abs=0.04) and place[1] == 1.0


def test_a_search_over_steps_alone_asks_for_each_once() -> None:
    """Where there is nothing left to ask for, the search ends and has asked for no place twice."""
    space = Space((Axis("n", tuple(np.linspace(0, 1, 5))), Axis("m", (0.0, 1.0))))
    exploration = found(lambda p: Answer((p[0] - 0.75) ** 2 + p[1]), space, count=4, rounds=30, resolution=0.0005)
    places = [trial.place for trial in exploration.trials]
    assert len(set(places)) == len(places) <= 10
    assert best_of(exploration)[1] == (0.75, 0.0)


def test_an_interrupted_search_goes_on_as_if_nothing_had_been() -> None:
    """Stopped after any number of values and begun again with those, it asks for the same places in the same order."""
    whole = found(two_valleys, rounds=4)
    for stop in (5, 21):
        evaluate = Counted(two_valleys, stop)
        with pytest.raises(KeyboardInterrupt):
            found(evaluate, rounds=4)
        evaluate.stop = None
        assert found(evaluate, rounds=4) == whole
        assert evaluate.calls == len(whole.trials)


def test_more_rounds_begin_with_the_same_ones() -> None:
    """A search that is given more rounds first asks for what the shorter one asked for."""
    short, long = found(two_valleys, rounds=2), found(two_valleys, rounds=4)
    assert long.trials[: len(short.trials)] == short.trials


def test_noise_is_smoothed_over() -> None:
    """A surface through exact values is not smoothed; one through noise is, and is nearer the truth than the noise."""
    rng = np.random.default_rng(3)
    places = unit_sample("sobol", 2, 40, 3)
    exact = np.sum((places - 0.4) ** 2, axis=1)
    noisy = surface(places, exact + 0.1 * rng.standard_normal(40))
    grid = np.stack(np.meshgrid(*[np.linspace(0.1, 0.9, 17)] * 2), axis=-1).reshape(-1, 2)
    truth = np.sum((grid - 0.4) ** 2, axis=1)
    assert noisy.smoothing > 0.0 and surface(places, exact).smoothing == min(SMOOTHINGS)
    assert np.std(noisy.predict(grid) - truth) < 0.06
    assert 0.05 < noisy.error < 0.2


def test_a_limit_known_by_chance_only_is_found_all_the_same() -> None:
    """With one limit noisy, the best lies within 5 per cent of the optimum, whichever side the noise has put it on."""
    rng = np.random.default_rng(0)

    def noisy(place: Place) -> Answer:
        exact = two_valleys(place)
        return Answer(exact.objective, (exact.slacks[0] + 0.1 * rng.standard_normal(), exact.slacks[1]))  # type: ignore[operator]

    assert best_of(found(noisy, rounds=10))[0] == pytest.approx(TWO_VALLEYS[0], rel=0.05)


def test_what_has_no_answer_is_kept_off_and_never_the_best() -> None:
    """Where a third of the box has no answer the best is found at its edge; where all has none the search says so."""

    def holed(place: Place) -> Answer:
        return Answer(None, ()) if place[0] < 0.33 else Answer(place[0] + (place[1] - 0.5) ** 2)

    exploration = found(holed, rounds=6)
    assert best_of(exploration)[1] == pytest.approx((0.33, 0.5), abs=0.06)
    nothing = found(lambda place: Answer(None, (None,)), rounds=6)
    assert nothing.best() is None and nothing.end.startswith("no variant has all the numbers")
    assert len(nothing.trials) == 12


def test_what_did_not_converge_is_the_best_only_on_request() -> None:
    """A trial that did not converge is not the best, even where its objective is least."""

    def half(place: Place) -> Answer:
        return Answer(place[0], (), is_converged=place[0] > 0.5)

    exploration = found(half, rounds=2)
    converged, any_best = exploration.best(), exploration.best(is_converged=False)
    assert converged is not None and any_best is not None
    assert exploration.trials[converged].place[0] > 0.5 > exploration.trials[any_best].place[0]


def test_a_search_that_settles_on_what_did_not_converge_is_not_settled() -> None:
    """Where the models' least value stays on a variant that did not converge, the end names it and is not settled."""

    def sloped(place: Place) -> Answer:
        return Answer(place[0] + 0.1 * place[1], (place[0] - 0.2,), is_converged=place[0] > 0.5)

    exploration = found(sloped, rounds=8)
    other = exploration.best(is_converged=False)
    assert not exploration.is_settled and exploration.reported() == exploration.best() != other
    assert exploration.end.endswith(f"2 rounds on end on variant {other}, which did not converge")


def test_one_proposal_at_a_time_settles_after_each_kind() -> None:
    """With one proposal a round a search settles only after the least value and one of each kind besides were run."""
    exploration = found(lambda p: Answer((p[0] - 0.4) ** 2 + p[1]), rounds=30, per_round=1)
    assert exploration.is_settled and "5 rounds on end" in exploration.end
    assert not all(trial.is_near for trial in exploration.trials[-4:])


def test_an_error_of_a_limit_is_one_of_the_objective() -> None:
    """Where the objective rises 2 for 1 of slack, a limit known to 0.1 leaves the least objective known to 0.2."""
    exploration = found(lambda p: Answer(2 * p[0] + p[1], (p[0] - 0.3,)), rounds=0)
    proposer = Proposer(PLANE, models_of(exploration), Refinement(), 0, 1)
    known = [cost_of_limits(proposer, Errors(proposer.models, (error,), ())) for error in (0.1, 0.0)]
    assert known == pytest.approx([0.2, 0.0], abs=2e-3)
    assert cost_of_limits(proposer, Errors(proposer.models, (0.8,), ())) is None


def test_what_cannot_be_built_is_not_asked_for() -> None:
    """A place that cannot be built is never proposed, and the optimum beside it is found."""
    first = PLANE.snapped(unit_sample("latin-hypercube", 2, 12, 0))
    wall = 0.4
    evaluate = Counted(lambda place: Answer(place[0] + place[1]))
    exploration = explore(
        PLANE, first, Refinement(rounds=8), evaluate, is_buildable=lambda place: place[0] + place[1] >= wall
    )
    assert all(sum(trial.place) >= wall for trial in exploration.trials if trial.round)
    assert best_of(exploration)[0] == pytest.approx(wall, abs=0.1)
