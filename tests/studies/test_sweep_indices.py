"""Sobol indices of given data: are they those of the function, and are their errors honest?"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import qmc, sobol_indices, uniform

from swirlwright.postproc.sweeps.report_design import by_design
from swirlwright.postproc.sweeps.report_effects import of_range
from swirlwright.postproc.sweeps.report_indices import Input, first_by_bins, main_effect, surrogate
from swirlwright.solver.study_levels import between, drawn_share
from swirlwright.solver.variants import unit_sample

Function = Callable[[np.ndarray], np.ndarray]


def with_product(x: np.ndarray) -> np.ndarray:
    """A polynomial whose third parameter acts only together with the first; (n, 3)."""
    return x[:, 0] + 0.5 * x[:, 1] ** 2 + 2 * (x[:, 0] - 0.5) * (x[:, 2] - 0.5)


def steep(x: np.ndarray) -> np.ndarray:
    """A steep step, as a share of time has; (n, 3)."""
    return 1 / (1 + np.exp(-8 * (x[:, 0] + 0.3 * x[:, 1] - 0.6)))


def ishigami(x: np.ndarray) -> np.ndarray:
    """Ishigami and Homma (1990), from memory: far from any polynomial of degree 3; (n, 3)."""
    a = 2 * np.pi * (x - 0.5)
    return np.sin(a[:, 0]) + 7 * np.sin(a[:, 1]) ** 2 + 0.1 * a[:, 2] ** 4 * np.sin(a[:, 0])


def drawn(function: Function, n: int, seed: int, noise: float = 0.0) -> tuple[list[Input], np.ndarray]:
    """A Latin hypercube of a function of three parameters, with noise as a share of its deviation."""
    rng = np.random.default_rng(seed)
    x = qmc.LatinHypercube(3, seed=rng).random(n)
    y = function(x)
    return [Input(str(k), x[:, k]) for k in range(3)], y + noise * y.std() * rng.normal(size=n)


def true_indices(function: Function) -> tuple[np.ndarray, np.ndarray]:
    """First-order and total indices by the design of Saltelli, with scipy."""
    found = sobol_indices(func=lambda x: function(x.T), n=2**13, dists=[uniform()] * 3, random_state=1)
    return found.first_order, found.total_order


@pytest.mark.parametrize("function", [with_product, steep])
def test_surrogate_agrees_with_the_design_of_saltelli(function: Function) -> None:
    """From 200 random variants come the indices that scipy finds with 41000 designed ones, within 0.03."""
    first, total = true_indices(function)
    found = surrogate(*drawn(function, 200, 0))
    assert found is not None and found.is_telling
    assert [e.value for e in found.first] == pytest.approx(first, abs=0.03)
    assert [e.value for e in found.total] == pytest.approx(total, abs=0.03)


def test_the_design_of_a_study_has_the_indices_of_scipy() -> None:
    """Saltelli's points in the study's order give the indices that scipy finds with points of its own, of any function;
    their intervals hold them, and one variant without an answer leaves none.
    """
    first, total = true_indices(ishigami)
    y = ishigami(unit_sample("saltelli", 3, 1024, seed=2))
    found = by_design(y, 1024)
    assert found is not None and y.shape == (5 * 1024,)
    for estimates, truth in ((found.first, first), (found.total, total)):
        assert [e.value for e in estimates] == pytest.approx(truth, abs=0.05)
        assert all(
            abs(e.value - t) < 3.0 * e.error + 0.005 and e.error < 0.05 for e, t in zip(estimates, truth, strict=True)
        )
    assert by_design(np.where(np.arange(y.size) == 7, np.nan, y), 1024) is None


def test_chance_is_no_effect_of_a_parameter() -> None:
    """Of one input and chance with half its deviation the totals of the idle inputs hold 0, that of the input the rest
    of the variance; a surrogate leaves chance to nobody too.
    """
    x = unit_sample("saltelli", 3, 256, seed=4)
    chance = 0.5 * np.sqrt(1 / 12)
    y = x[:, 0] + chance * np.random.default_rng(4).normal(size=x.shape[0])
    found = by_design(y, 256, np.full(y.size, chance))
    fitted = surrogate([Input(str(k), x[:512, k]) for k in range(3)], y[:512])
    assert found is not None and fitted is not None and found.chance == pytest.approx(0.2, abs=0.03)
    for total in (found.total, fitted.total):
        assert [e.value for e in total] == pytest.approx([0.8, 0.0, 0.0], abs=0.06)
        assert all(abs(e.value) < 2.5 * e.error for e in total[1:])


@pytest.mark.parametrize("function", [with_product, steep])
def test_intervals_hold_the_true_indices(function: Function) -> None:
    """Over 100 noisy samples of 60 the 95 per cent intervals hold the true index in at least 88 per cent."""
    first, total = true_indices(function)
    held = {"bins": [], "first": [], "total": []}
    for seed in range(100):
        inputs, y = drawn(function, 60, seed, noise=0.15)
        found = surrogate(inputs, y)
        assert found is not None
        bins = [first_by_bins(given, y) for given in inputs]
        for name, estimates, truth in (
            ("bins", bins, first),
            ("first", found.first, first),
            ("total", found.total, total),
        ):
            held[name].append([abs(e.value - t) < 1.96 * e.error + 0.01 for e, t in zip(estimates, truth, strict=True)])
    for name, hits in held.items():
        assert np.mean(hits, axis=0).min() >= 0.88, name


def test_a_poor_surrogate_says_so() -> None:
    """A function that no polynomial of degree 3 follows is left without indices of a surrogate."""
    found = surrogate(*drawn(ishigami, 60, 0))
    assert found is not None and not found.is_telling


def test_listed_values_are_exact() -> None:
    """A full product of three numbers and two texts gives the shares of variance of the analysis of variance."""
    three, two = (part.ravel().astype(float) for part in np.meshgrid(np.repeat(np.arange(3), 4), np.arange(2)))
    y = np.array([0.0, 1.0, 5.0])[three.astype(int)] + np.array([0.0, 2.0])[two.astype(int)]
    inputs = [Input("three", three, 3), Input("two", two, 2, is_ordered=False)]
    found = surrogate(inputs, y)
    assert found is not None
    parts = np.array([np.var([0, 1, 5]), np.var([0, 2])])
    assert [e.value for e in found.first] == pytest.approx(parts / parts.sum(), abs=1e-9)
    assert [e.value for e in found.total] == pytest.approx(parts / parts.sum(), abs=1e-9)
    assert found.explained == pytest.approx(1.0)


@pytest.mark.parametrize("levels, spacing", [((9, 11), "linear"), ((10, 60), "linear"), ((2, 40), "log")])
def test_whole_numbers_of_a_range_count_as_much_as_what_lies_between(levels, spacing) -> None:
    """Beside an input of equal variance a drawn whole number has half of the variance, within 0.07 over 20 samples."""
    found = []
    for seed in range(20):
        x = qmc.LatinHypercube(2, seed=seed).random(96)
        ends = ((levels[0],), (levels[1],))
        whole = np.array([between(ends, drawn_share(ends, share, spacing), spacing)[0] for share in x[:, 0]])
        y = np.log(whole) if spacing == "log" else whole.astype(float)
        inputs = [of_range("whole", whole, levels, spacing == "log"), Input("free", x[:, 1])]
        model = surrogate(inputs, y / y.std() + np.sqrt(12.0) * x[:, 1])
        assert model is not None
        found.append([e.value for e in model.first])
    assert np.mean(found, axis=0) == pytest.approx([0.5, 0.5], abs=0.07)


def test_an_idle_parameter_is_nought_within_its_error() -> None:
    """A parameter of two values without effect has an index whose interval holds 0, however the variants fall."""
    for seed in range(50):
        rng = np.random.default_rng(seed)
        estimate = first_by_bins(
            Input("idle", rng.permutation(np.arange(60) % 2).astype(float), 2), rng.normal(size=60)
        )
        assert estimate is not None
        assert estimate.value - 1.96 * estimate.error <= 0.0 or estimate.value > 0.05


def test_main_effects_are_means_of_bins() -> None:
    """Of y = x the bins' means are their places, and their number is that of all variants."""
    inputs, _ = drawn(with_product, 80, 1)
    effect = main_effect(inputs[0], inputs[0].place, inputs[0].place)
    assert effect.mean == pytest.approx(effect.place)
    assert effect.mean.size == 10 and effect.mean.mean() == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize("n", [1, 4, 7])
def test_too_few_variants_have_no_surrogate(n: int) -> None:
    """Fewer than two variants for each coefficient make no surrogate, and a constant has no index."""
    inputs, y = drawn(with_product, n, 0)
    assert surrogate(inputs, y) is None
    assert first_by_bins(inputs[0], np.ones(n)) is None
