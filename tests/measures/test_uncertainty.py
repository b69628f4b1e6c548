"""Grid convergence index against its authors' own example; what is done where three grids show no trend."""

from __future__ import annotations

import numpy as np
import pytest

from swirlwright.postproc.uncertainty import CHANCE, NO_TREND, TREND, chance_error, grid_error, share_error

SIZES = (1.0, 1.5, 2.0)


def test_the_guidelines_own_example():
    """Order 1.53 and an index of 2.2 per cent, as printed.

    I. B. Celik and others, Procedure for estimation and reporting of uncertainty due to discretization in CFD
    applications, J. Fluids Eng. 130 (2008) 078001, table 1, first column: dimensionless reattachment length.
    """
    found = grid_error([6.063, 5.972, 5.863], SIZES, [0.0, 0.0, 0.0])
    assert found.kind == TREND
    assert found.order == pytest.approx(1.53, abs=0.005)
    assert found.uncertainty / 6.063 == pytest.approx(0.022, abs=0.0005)


@pytest.mark.parametrize("order", [0.7, 1.0, 2.0])
def test_an_exact_power_law_is_recovered(order):
    """Values 3 + h^p give back p (1e-6) and an uncertainty of 1.25 times the true error of the finest grid."""
    found = grid_error([3.0 + h**order for h in SIZES], SIZES, [0.0] * 3)
    assert found.order == pytest.approx(order, rel=1e-6)
    assert found.uncertainty == pytest.approx(1.25, rel=1e-6)


def test_a_higher_order_than_the_schemes_does_not_flatter():
    """A trend of fourth order is reported, and its uncertainty taken with the formal second."""
    found = grid_error([3.0 + h**4 for h in SIZES], SIZES, [0.0] * 3)
    assert found.order == pytest.approx(4.0, rel=1e-6)
    assert found.uncertainty == pytest.approx(1.25 * (1.5**4 - 1.0) / (1.5**2 - 1.0), rel=1e-6)


@pytest.mark.parametrize("values", [[1.0, 1.2, 0.9], [1.0, 1.2, 1.21]])
def test_without_a_trend_three_times_the_range(values):
    """Values that swing, or whose order is absurd, get three times their range over the change of the spacing."""
    found = grid_error(values, SIZES, [0.0] * 3)
    assert found.kind == NO_TREND
    assert found.uncertainty == pytest.approx(3.0 * (max(values) - min(values)))


def test_differences_within_chance_are_said_to_be():
    """Three averages that differ by less than twice their chance errors show no grid error but that."""
    found = grid_error([1.00, 1.02, 0.99], SIZES, [0.02] * 3)
    assert found.kind == CHANCE and found.order is None
    assert found.uncertainty == pytest.approx(2.0 * np.hypot(0.02, 0.02))


def test_a_mean_over_part_of_the_time_is_as_uncertain_as_its_spells():
    """Three spells at 20, 30, 40: the error is that of three independent values within a third, not of all instants."""
    series = np.full(600, np.nan)
    for first, value in ((50, 20.0), (250, 30.0), (450, 40.0)):
        series[first : first + 40] = value
    assert chance_error(series, None) == pytest.approx(10.0 / np.sqrt(3.0), rel=0.12)
    assert chance_error(np.arange(600.0) % 2, 12.0) == pytest.approx(0.5 / np.sqrt(12.0))
    assert chance_error(np.where(np.arange(600) < 70, 1.0, np.nan), None) is None


def test_a_share_of_time_is_never_exact():
    """With 12 changes of air, none seen leaves 5 points, half is at least that of 14 looks, and parts may say more."""
    assert share_error(np.zeros(600, bool), 12.0) == pytest.approx(0.051, abs=0.001)
    quick = np.arange(600) % 2 == 0
    assert share_error(quick, 12.0) == pytest.approx(0.5 / np.sqrt(14.0))
    assert share_error(np.arange(600) < 300, 1e4) == chance_error((np.arange(600) < 300).astype(float), None) > 0.2
    assert share_error(quick, None) == chance_error(quick.astype(float), None)


def test_the_chance_error_of_independent_values():
    """For independent values it is their deviation over the square root of their number (5 per cent, 400 series)."""
    rng = np.random.default_rng(5)
    found = [chance_error(rng.normal(size=600), None) for _ in range(400)]
    assert np.sqrt(np.mean(np.square(found))) == pytest.approx(600**-0.5, rel=0.05)
    assert chance_error(np.zeros(11), 12.0) is None
