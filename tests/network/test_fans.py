"""Fan curves: laws, sums, and where they meet a system."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from swirlwright.solver.fans import FanCurve, fan_cautions, in_parallel, in_series
from swirlwright.solver.operating_points import chosen_point, operating_points

SMOOTH = FanCurve("smooth", 3000, 1.2, 0.08, (0.0, 0.005, 0.01, 0.015, 0.02), (50.0, 44.0, 36.0, 20.0, 0.0), 2.0)
# A stall dip: pressure falls, rises again and falls to free delivery.
DIP = FanCurve("dip", 3000, 1.2, 0.12, (0.0, 0.01, 0.02, 0.03, 0.04, 0.05), (60.0, 40.0, 42.0, 46.0, 30.0, 0.0))


@pytest.mark.parametrize("curve", [SMOOTH, DIP])
def test_curve_is_the_shape_preserving_cubic(curve):
    """Between its points the curve is the library's monotone cubic, to round-off."""
    flow = np.linspace(0.0, curve.free_flow, 401)
    expected = PchipInterpolator(curve.flow, curve.pressure)(flow)
    # 1e-12 of the largest pressure: two ways of evaluating one cubic.
    np.testing.assert_allclose([curve.pressure_at(q) for q in flow], expected, rtol=0, atol=6e-11)


def test_curve_goes_on_with_its_end_slope():
    """Beyond free delivery the pressure falls on along the last slope; short of the first point it is level."""
    slope = PchipInterpolator(SMOOTH.flow, SMOOTH.pressure).derivative()(0.02)
    assert SMOOTH.pressure_at(0.03) == pytest.approx(slope * 0.01, rel=1e-12)
    late = FanCurve("late", 3000, 1.2, 0.08, (0.01, 0.02), (30.0, 0.0))
    assert late.pressure_at(0.0) == 30.0


def test_fan_laws():
    """Q ~ N D^3, p ~ rho N^2 D^2, P ~ rho N^3 D^5 (ISO 5801, AMCA 210), point by point."""
    n, d, density = 1.3, 2.0, 0.9
    scaled = SMOOTH.scaled(speed_ratio=n, diameter_ratio=d, density=density)
    np.testing.assert_allclose(scaled.flow, np.array(SMOOTH.flow) * n * d**3, rtol=1e-14)
    np.testing.assert_allclose(scaled.pressure, np.array(SMOOTH.pressure) * density / 1.2 * n**2 * d**2, rtol=1e-14)
    assert scaled.power == pytest.approx(2.0 * density / 1.2 * n**3 * d**5, rel=1e-14)
    assert (scaled.speed, scaled.diameter, scaled.density) == (3900.0, 0.16, pytest.approx(0.9))


@pytest.mark.parametrize("flow", [0.003, 0.012, 0.018])
def test_scaled_curve_is_the_scaled_value_between_points_too(flow):
    """Scaling the points scales the whole curve."""
    assert SMOOTH.scaled(speed_ratio=1.5).pressure_at(1.5 * flow) == pytest.approx(
        2.25 * SMOOTH.pressure_at(flow), rel=1e-12
    )


def test_equal_fans_in_parallel_share_the_flow():
    """Three equal fans give at three times the flow the pressure of one."""
    three = in_parallel([SMOOTH] * 3)
    assert three.title == "3 x smooth"
    assert three.pressure_at(0.033) == pytest.approx(SMOOTH.pressure_at(0.011), rel=1e-13)
    assert three.power == 6.0


def test_unlike_fans_in_parallel_add_their_flows():
    """At any pressure both reach, the flow of two unlike fans is the sum of theirs on the falling branch."""
    both = in_parallel([SMOOTH, DIP])
    # Both curves read backwards at 25 Pa by a library interpolant inverted on a fine grid.
    fine = np.linspace(0.0, 0.05, 2_000_001)
    flows = []
    for curve, start in ((SMOOTH, 0.0), (DIP, 0.03)):
        x = fine[(fine >= start) & (fine <= curve.free_flow)]
        flows.append(np.interp(-25.0, -PchipInterpolator(curve.flow, curve.pressure)(x), x))
    # 0.2 Pa: the joint curve is a cubic through eight points per step of the curves.
    assert both.pressure_at(sum(flows)) == pytest.approx(25.0, abs=0.2)
    # Above the weaker fan's peak the sum is not defined: the joint curve starts there.
    assert both.shut_off == 46.0


def test_fans_in_series_add_their_pressures():
    """At equal flow the pressures add, up to the flow where the weaker fan's curve ends."""
    both = in_series([SMOOTH, DIP])
    assert both.pressure_at(0.015) == pytest.approx(SMOOTH.pressure_at(0.015) + DIP.pressure_at(0.015), rel=1e-3)
    assert both.free_flow == SMOOTH.free_flow
    assert in_series([SMOOTH] * 2).pressure_at(0.007) == pytest.approx(2 * SMOOTH.pressure_at(0.007), rel=1e-13)


def test_all_intersections_with_a_stall_dip_are_found():
    """A system through the dip meets the fan three times: stable, unstable, stable; the largest flow is used."""
    points = operating_points(DIP, lambda q: 41.0 + 60.0 * q)
    assert [p.is_stable for p in points] == [True, False, True]
    assert 0.005 < points[0].flow < 0.01 < points[1].flow < 0.03 < points[2].flow < 0.04
    assert chosen_point(points) == points[2]
    for point in points:
        assert point.pressure == pytest.approx(41.0 + 60.0 * point.flow, abs=1e-9)
        assert point.pressure == pytest.approx(DIP.pressure_at(point.flow), abs=1e-12)


def test_operating_point_of_a_straight_curve_and_a_parabola():
    """A line p = 40 (1 - q/0.02) meets k q^2 where the quadratic says."""
    line = FanCurve("line", 3000, 1.2, 0.08, (0.0, 0.01, 0.02), (40.0, 20.0, 0.0))
    k = 1.0e5
    (point,) = operating_points(line, lambda q: k * q * q)
    expected = (-2000.0 + np.sqrt(2000.0**2 + 4 * k * 40.0)) / (2 * k)
    assert point.flow == pytest.approx(expected, rel=1e-11)
    assert point.is_stable and not point.is_beyond


def test_point_beyond_free_delivery_is_marked():
    """A system that pushes (an exhaust fan on a pressurised chamber) meets the fan beyond its last point."""
    (point,) = operating_points(SMOOTH, lambda q: -10.0)
    assert point.is_beyond and point.flow > SMOOTH.free_flow


def test_system_above_shut_off_has_no_point():
    """Where the system takes more than the fan has at any flow there is no operating point."""
    assert chosen_point(operating_points(SMOOTH, lambda q: 70.0)) is None


def test_unusual_curves_are_cautioned():
    """A curve of an 80 mm fan with 72 m3/h and 50 Pa is usual; with its flows in litres a second it is not."""
    assert fan_cautions(SMOOTH) == []
    wrong = SMOOTH.scaled(diameter_ratio=1.0)
    wrong = FanCurve("wrong", 3000, 1.2, 0.08, tuple(1000 * q for q in wrong.flow), wrong.pressure)
    assert len(fan_cautions(wrong)) == 1
