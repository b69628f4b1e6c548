"""Fits to synthetic data of known truth: are constants found within their own intervals, and which are left alone?"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.stats import norm, t

from swirlwright.postproc.measured.fit import Constant, Fit, ForwardModel, Known, Prediction, Steps
from swirlwright.postproc.measured.fitting import FitError, fit
from swirlwright.postproc.measured.models import AVERAGED_STEPS, NETWORK_STEPS, NetworkModel, constants_of
from swirlwright.postproc.measured.points import Point
from swirlwright.solver.casefile import parse_case

TRIALS = 100
LEAST_HITS = 90  # of 100 intervals of 95 per cent
STEPS = Steps(difference=0.02, tolerance=1e-6, most=50)
VISCOSITY = Constant("viscosity_ratio", 3.0, 0.5, 200.0, is_ratio=True)
CIRCULATION = Constant("circulation", 0.10, 0.05, 0.40)
RADII = np.array([0.01, 0.015, 0.02, 0.03, 0.04, 0.06, 0.08])
SUCTION = 0.5  # 1/s, of the vortex below
NARROW = """
title = "A narrow chamber"
[chamber]
footprint = "round"
width = 0.4
height = 0.6
open_fraction = 0.01
[exhaust]
diameter = 0.1
guard_loss = 1.0
pressure = 8.0
[supply]
flow = 2e-3
[[tubes]]
count = 4
place_radius = 0.15
inner_diameter = 0.019
wall_thickness = 0.001
[[tubes.rows]]
hole_diameter = 0.006
heights = [0.1, 0.3, 0.5]
aim = 50
discharge_coefficient = 0.62
discharge_source = "made up"
"""


def burgers(values: Mapping[str, float]) -> Prediction:
    """Tangential speed of a Burgers vortex (Burgers 1948, Adv. Appl. Mech. 1:171) at `RADII`."""
    viscosity = 1.5e-5 * values["viscosity_ratio"]
    v = values["circulation"] / (2.0 * np.pi * RADII) * (1.0 - np.exp(-SUCTION * RADII**2 / (2.0 * viscosity)))
    return Prediction(v, np.zeros_like(v))


def linear(slopes: np.ndarray) -> ForwardModel:
    """A model linear in its constants a, b, ..., slopes (n, k)."""

    def model(values: Mapping[str, float]) -> Prediction:
        found = slopes @ np.array([values[name] for name in "abc"[: slopes.shape[1]]])
        return Prediction(found, np.zeros_like(found))

    return model


def unit(name: str, start: float = 0.5) -> Constant:
    """A constant between 0 and 1."""
    return Constant(name, start, 0.0, 1.0)


def trials(
    constants: list[Constant], model: ForwardModel, truth: Mapping[str, float], share: float, steps: Steps
) -> list[Fit]:
    """Fits to the truth with seeded normal noise of a share of each value."""
    exact = model(truth).values
    sigma = share * np.abs(exact)
    noise = (np.random.default_rng(seed).standard_normal(exact.size) for seed in range(TRIALS))
    return [fit(constants, model, exact + sigma * z, sigma, steps) for z in noise]


def check_recovery(fits: list[Fit], truth: Mapping[str, float]) -> None:
    """Each constant is fitted in every trial, in 90 of 100 at least within its interval, which is no wider than due."""
    for n, name in enumerate(truth):
        estimates = [found.estimates[n] for found in fits]
        assert {e.constant.name for e in estimates} == {name}
        assert sum(e.low <= truth[name] <= e.high for e in estimates) >= LEAST_HITS
        shares = [e.constant.share_of(e.value) for e in estimates]
        widths = [e.constant.share_of(e.high) - e.constant.share_of(e.low) for e in estimates]
        # Half a 95 per cent interval is 1.96 of the scatter of the estimates; that is itself known to 7 per cent.
        assert np.median(widths) / 2 == pytest.approx(1.96 * np.std(shares), rel=0.25)


def test_a_vortex_gives_its_constants_back_within_their_intervals():
    """Viscosity and circulation of a Burgers vortex lie in their intervals in at least 90 of 100 noisy trials."""
    truth = {"viscosity_ratio": 6.0, "circulation": 0.15}
    check_recovery(trials([VISCOSITY, CIRCULATION], burgers, truth, 0.05, STEPS), truth)


@pytest.fixture(scope="module")
def network() -> ForwardModel:
    """The air network of a narrow chamber on a table of 9 x 9 constants: a hundred trials ask it thousands of times."""
    places = [("exhaust_flow", None), ("tube_pressure", None), ("tube_pressure", 0.1), ("tube_pressure", 0.5)]
    asked = [Point(1, name, height, None, None, 0.0, 1.0) for name, height in places]
    model = NetworkModel(parse_case(NARROW, Path("narrow.toml")), asked)
    axes = np.linspace(0.4, 1.0, 9), np.linspace(0.0, 3.0, 9)
    table = [[model({"discharge_coefficient": c, "inflow_loss": k}).values for k in axes[1]] for c in axes[0]]
    smooth = RegularGridInterpolator(axes, np.array(table), method="cubic")

    def tabulated(values: Mapping[str, float]) -> Prediction:
        found = smooth([values["discharge_coefficient"], values["inflow_loss"]])[0]
        return Prediction(found, np.zeros_like(found))

    return tabulated


def test_the_air_network_gives_its_constants_back_within_their_intervals(network):
    """Discharge and side loss, from exhaust flow and tube pressures, lie in their intervals in 90 of 100 trials."""
    constants = [c for c in constants_of(parse_case(NARROW, Path("narrow.toml"))) if c.name != "length_constant"]
    truth = {"discharge_coefficient": 0.7, "inflow_loss": 1.2}
    check_recovery(trials(constants, network, truth, 0.01, NETWORK_STEPS), truth)


def test_a_constant_that_no_point_depends_on_is_left():
    """It keeps its value and says why; the others are fitted as if it were not there."""
    exact = burgers({"viscosity_ratio": 6.0, "circulation": 0.15}).values
    found = fit([VISCOSITY, unit("idle"), CIRCULATION], burgers, exact, 0.05 * exact, STEPS)
    (held,) = found.held
    assert (held.constant.name, held.reason) == ("idle", "no measured point that was used depends on it")
    assert found.values == pytest.approx({"viscosity_ratio": 6.0, "circulation": 0.15, "idle": 0.5}, rel=1e-6)


def test_constants_that_the_data_cannot_tell_apart_are_not_both_fitted():
    """Of two constants of which only the product counts one is left, named together with the other."""
    exact = burgers({"viscosity_ratio": 6.0, "circulation": 0.15}).values

    def of_product(values: Mapping[str, float]) -> Prediction:
        return burgers({**values, "circulation": values["circulation"] * values["factor"]})

    factor = Constant("factor", 1.0, 0.5, 2.0)
    found = fit([VISCOSITY, CIRCULATION, factor], of_product, exact, 0.05 * exact, STEPS)
    (held,) = found.held
    (other,) = {"circulation", "factor"} - {held.constant.name}
    assert f"cannot tell it from {other}" in held.reason
    assert {e.constant.name for e in found.estimates} == {"viscosity_ratio", other}


def test_an_interval_as_wide_as_the_bounds_is_no_estimate():
    """A reading that knows a constant to half the way between its bounds leaves it; one ten times better fits it."""
    model = linear(np.array([[1.0]]))
    poor, good = (fit([unit("a")], model, np.array([0.4]), np.array([u]), STEPS) for u in (0.26, 0.026))
    assert not poor.estimates
    assert "its interval would cover 102 % of its bounds, 0 to 1" in poor.held[0].reason
    assert good.estimates[0].value == pytest.approx(0.4, abs=1e-6)


def test_intervals_and_correlation_are_those_of_linear_least_squares():
    """With points that scatter as stated, 1.96 roots of the diagonal of (J'J)^-1, and its correlation."""
    slopes = np.array([[1.0, 0.2], [0.3, 1.0], [0.5, 0.5], [1.0, 1.0]])
    measured, sigma = slopes @ [0.4, 0.6] + np.array([0.01, -0.01, 0.005, 0.0]), np.full(4, 0.02)
    found = fit([unit("a"), unit("b")], linear(slopes), measured, sigma, STEPS)
    covariance = np.linalg.inv(slopes.T @ slopes) * sigma[0] ** 2
    for k, e in enumerate(found.estimates):
        assert e.high - e.value == pytest.approx(norm.ppf(0.975) * np.sqrt(covariance[k, k]), rel=1e-5)
    assert found.correlation[0, 1] == pytest.approx(covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]))


def test_scatter_beyond_the_stated_uncertainties_widens_the_intervals():
    """Where chi-square contradicts them the width comes from the scatter, with the quantile of the t-distribution."""
    measured = 0.5 + 0.1 * np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    found = fit([unit("a")], linear(np.ones((6, 1))), measured, np.full(6, 0.01), STEPS)
    (e,) = found.estimates
    assert e.high - e.value == pytest.approx(t.ppf(0.975, 5) * np.std(measured, ddof=1) / np.sqrt(6), rel=1e-5)
    assert (found.degrees, found.chi_square) == (5, pytest.approx(600.0))


def test_doubt_about_constants_known_before_is_carried_on():
    """Two fits one after the other have the covariance of their points fitted together, the second given the first."""
    first_slopes, slopes = np.ones((4, 1)), np.array([[1.0, 0.5], [0.5, 1.0], [1.0, 1.0]])
    sigma = 0.02
    first = fit([unit("a")], linear(first_slopes), np.full(4, 0.4), np.full(4, sigma), STEPS)
    found = fit([unit("b")], linear(slopes), slopes @ [0.4, 0.6], np.full(3, sigma), STEPS, first.as_known)
    own, by_known = slopes[:, 1], slopes[:, 0]
    shift = -(own @ by_known) / (own @ own)
    known = sigma**2 / 4
    assert found.covariance[0, 0] == pytest.approx(known, rel=1e-5)
    assert found.covariance[1, 1] == pytest.approx(sigma**2 / (own @ own) + shift**2 * known, rel=1e-5)
    assert found.covariance[0, 1] == pytest.approx(shift * known, rel=1e-5)
    assert found.values == pytest.approx({"a": 0.4, "b": 0.6}, abs=1e-6)


def test_a_truth_beyond_the_bounds_ends_at_the_bound_and_says_so():
    """The estimate never leaves its bounds, and is marked."""
    found = fit([unit("a")], linear(np.ones((3, 1))), np.full(3, 1.04), np.full(3, 0.05), STEPS)
    (e,) = found.estimates
    assert e.is_at_bound
    assert e.value == pytest.approx(1.0, abs=1e-3)


def test_points_that_the_model_cannot_fit_are_named_as_the_reason():
    """Readings far beyond the bounds contradict the model; the constant is left, not forced to a bound."""
    found = fit([unit("a")], linear(np.ones((3, 1))), np.full(3, 1.3), np.full(3, 0.05), STEPS)
    assert not found.estimates
    assert "points that fit the model badly" in found.held[0].reason


def test_what_drowns_in_chance_errors_is_left():
    """A change of the model smaller than the chance errors of its time averages determines nothing."""

    def noisy(values: Mapping[str, float]) -> Prediction:
        return Prediction(np.full(20, 0.1 * values["a"]), np.full(20, 0.02))

    found = fit([unit("a")], noisy, np.full(20, 0.06), np.full(20, 0.001), AVERAGED_STEPS)
    assert "chance errors" in found.held[0].reason


def test_points_without_a_computed_value_are_left_out():
    """They count in no degree of freedom; trials that lose more points are turned from; without any there is no fit."""

    def with_gaps(values: Mapping[str, float]) -> Prediction:
        v = np.array([values["a"], np.nan, values["a"], np.nan if values["a"] > 0.8 else values["a"]])
        return Prediction(v, np.zeros(4))

    found = fit([unit("a")], with_gaps, np.array([0.7, 9.0, 0.7, 0.7]), np.full(4, 0.01), STEPS)
    assert (found.degrees, found.used.tolist()) == (2, [True, False, True, True])
    assert found.estimates[0].value == pytest.approx(0.7, abs=1e-6)
    with pytest.raises(FitError, match="at none of the measured points"):
        fit([unit("a")], lambda _: Prediction(np.full(2, np.nan), np.zeros(2)), np.ones(2), np.ones(2), STEPS, Known())
