"""Does the followed core have the radius, strength, foot and breakdown that the field was made with?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid

from swirlwright.postproc.core import breakdown, floor_layer, follow_core
from swirlwright.postproc.flow_numbers import measure_field

CIRCULATION = 0.4
PULL = 1.0  # a in u = -a r, w = 2 a z [1/s]
NU = 1.5e-5 * 4  # so that about a dozen cells lie inside the core


def burgers_v(r, z):
    """Burgers, A mathematical model illustrating the theory of turbulence, 1948."""
    return CIRCULATION / (2 * np.pi * r) * (1 - np.exp(-PULL * r**2 / (2 * NU))) + 0 * z


def test_burgers_core_has_its_radius_and_speed(make_field, chamber):
    """Radius and largest v of a Burgers vortex come out to 1e-2 and 1e-3 on cells of 1.3 mm."""
    m = measure_field(make_field(v=burgers_v, w=lambda r, z: 2 * PULL * z + 0 * r), chamber)
    # Analytic (maximum of 1 - exp(-x) over sqrt(x) at x = 1.25643). The parabola through cells of a tenth of
    # r_c errs by the profile's third derivative: some 1e-3 in place; the value errs at the next order.
    assert m.core_radius == pytest.approx(1.58520 * np.sqrt(NU / PULL), rel=1e-2)
    assert m.max_tangential_velocity == pytest.approx(
        0.638173 * CIRCULATION / (2 * np.pi * np.sqrt(2 * NU / PULL)), rel=1e-3
    )
    assert m.core_foot_height == 0.0


def test_place_of_the_maximum_is_finer_than_a_cell(make_field, chamber):
    """Halving the cells brings the radius of a Burgers core at least three times nearer to the exact one."""
    exact = 1.58520 * np.sqrt(NU / PULL)
    # The error depends on where the peak lies in its cell, so take the largest over a range of radii.
    errors = []
    for n in (40, 80, 160):
        worst = 0.0
        for stretch in np.linspace(1.0, 1.3, 7):
            field = make_field(n_r=n, v=lambda r, z, s=stretch: burgers_v(r / s, z))
            worst = max(worst, abs(measure_field(field, chamber).core_radius / stretch - exact))
        errors.append(worst)
    assert errors[1] < errors[0] / 3 and errors[2] < errors[1] / 3


def test_rankine_deficit(make_field, chamber):
    """The deficit of a Rankine vortex is rho v^2 (1 - r_c^2/(2 r_i^2)) up to r_i, its circulation 2 pi r_c v."""
    core, speed, rho = 0.03, 2.0, chamber.density

    def p(r, z):
        inner = rho * speed**2 * (0.5 * (r / core) ** 2 - 1)
        return np.where(r < core, inner, -0.5 * rho * speed**2 * (core / r) ** 2) + 0 * z

    field = make_field(v=lambda r, z: speed * np.minimum(r / core, core / r) + 0 * z, p=p)
    m = measure_field(field, chamber)
    inside = rho * speed**2 * (1 - 0.5 * (core / chamber.curtain_edge) ** 2)
    # Linear interpolation in r at r_i, cells of 3 mm: p'' h^2 / 8 there is 4e-5 of the whole.
    for value in (m.core_pressure_deficit, m.core_pressure_deficit_floor, m.core_pressure_deficit_largest):
        assert value == pytest.approx(inside, rel=1e-4)
    assert m.core_circulation == m.low_level_circulation == pytest.approx(2.0 * np.pi * core * speed)
    # The profile has a corner at r_c: the parabola is within a cell of it.
    assert m.core_radius == pytest.approx(core, abs=0.002)


def test_solid_body_rotation_has_no_core(make_field, chamber):
    """Solid-body rotation, whose v grows up to the wall, is not taken for a core."""
    m = measure_field(make_field(v=lambda r, z: 3.0 * r + 0 * z), chamber)
    assert m.core_radius is None and m.core_foot_height is None
    assert "no maximum" in m.reasons["core_foot_height"]


def test_curtain_maximum_is_not_a_core(make_field, chamber):
    """A maximum of v outside 0.85 of the curtain's inner edge is no core."""
    m = measure_field(make_field(v=lambda r, z: np.exp(-(((r - 0.14) / 0.01) ** 2)) + 0 * z), chamber)
    assert not m.core.exists.any()
    assert m.curtain_tangential_velocity == pytest.approx(1.0, rel=0.05)


@pytest.mark.parametrize("lift", [0.1, 0.17, 0.24])
def test_lifted_core_has_its_foot_where_v_falls_to_a_quarter(make_field, chamber, lift):
    """The foot of a core that fades downward is within a cell of where v is a quarter of its mid value."""
    width = 0.005

    def strength(z):
        return 1 / (1 + np.exp(-(z - lift) / width))

    field = make_field(v=lambda r, z: burgers_v(r, z) * strength(z))
    quarter = lift - width * np.log(4 / strength(0.3) - 1)
    assert follow_core(field, chamber).foot == pytest.approx(quarter, abs=np.diff(field.z_face).max())


def test_core_that_only_hangs_below_the_ceiling_is_found(make_field, chamber):
    """A core in the upper third, not reaching mid-height, has a foot but no radius at mid-height."""
    field = make_field(v=lambda r, z: burgers_v(r, z) * (z > 0.45))
    m = measure_field(field, chamber)
    assert m.core_foot_height == pytest.approx(0.45, abs=0.01)
    assert m.core_radius is None and m.reasons["core_radius"] == "the core does not reach mid-height"


def test_following_keeps_to_the_maximum_nearest_the_one_above(make_field, chamber):
    """Where a stronger ring stands farther out, the core stays with the maximum it came down with."""

    def v(r, z):
        ring = 2.0 * np.exp(-(((r - 0.1) / 0.01) ** 2)) * (z < 0.25)
        return np.exp(-(((r - 0.03) / 0.012) ** 2)) + ring

    core = follow_core(make_field(v=v), chamber)
    assert core.foot == 0.0
    assert np.nanmax(core.radius) < 0.04


def test_core_that_jumps_outward_ends(make_field, chamber):
    """A maximum that is suddenly 5 cm farther out is not the same core, and the sheet's reason says so."""

    def v(r, z):
        return np.exp(-(((r - np.where(z > 0.2, 0.03, 0.09)) / 0.012) ** 2))

    core = follow_core(make_field(v=v), chamber)
    assert core.foot == pytest.approx(0.2, abs=0.01)
    assert core.end == "its radius changes faster than its height"


def test_one_row_without_a_core_does_not_cut_the_column(make_field, chamber):
    """A gap of one row, far shorter than the core radius, is bridged; one of three core radii is not."""
    rows = {}
    for gap in (0.005, 0.06):
        field = make_field(v=lambda r, z, g=gap: burgers_v(r, z) * (abs(z - 0.2) > g / 2))
        rows[gap] = follow_core(field, chamber).foot
    assert rows[0.005] == 0.0
    assert rows[0.06] == pytest.approx(0.23, abs=0.01)


@pytest.mark.parametrize("place", [0.15, 0.25, 0.4])
def test_bubble_is_found_where_the_axis_flow_turns(make_field, chamber, place):
    """The breakdown height of a Gaussian bubble is where w passes -2 per cent of its largest value."""
    length = 0.04

    def w(r, z):
        return 1 - 1.3 * np.exp(-(((z - place) / length) ** 2)) * np.exp(-((r / 0.02) ** 2))

    m = measure_field(make_field(v=burgers_v, w=w), chamber)
    exact = place - length * np.sqrt(np.log(1.3 / 1.02))
    # Linear between cells of 7 mm: w'' h^2 / 8 over w' is below 0.3 mm here; the axis parabola adds little.
    assert m.breakdown_height == pytest.approx(exact, abs=5e-4)
    assert not m.reversed_to_mid_height


def test_short_reversal_is_no_breakdown(make_field, chamber):
    """Reversed flow over two cells only is not called breakdown."""
    field = make_field(v=burgers_v)
    w = np.ones_like(field.v)
    w[40:42] = -0.5
    field = type(field)(**(vars(field) | {"w": w}))
    core = follow_core(field, chamber)
    assert breakdown(field, chamber, core, floor_layer(field, chamber, core)) == (None, False)


def test_forward_is_the_main_direction_where_nothing_pulls_upward(make_field, chamber):
    """Without an exhaust a downdraught along the whole axis is no breakdown, and an upward bubble in it is one."""

    def w(r, z, bubble):
        return -1 + bubble * 1.3 * np.exp(-(((z - 0.25) / 0.04) ** 2))

    for bubble, expected in ((0.0, False), (1.0, True)):
        field = make_field(v=burgers_v, w=lambda r, z, b=bubble: w(r, z, b))
        m = measure_field(field, replace(chamber, exhaust_radius=None))
        assert (m.breakdown_height is not None) == expected


def test_sullivan_vortex_is_two_celled(make_field, chamber):
    """Sullivan's vortex has the core radius of its integral and reversed flow from the floor upward."""
    # Sullivan, A two-cell vortex solution of the Navier-Stokes equations, J. Aerosp. Sci. 26, 1959; analytic.
    x = np.linspace(1e-6, 60, 40_001)
    inner = cumulative_trapezoid((1 - np.exp(-x)) / x, x, initial=0.0)
    h = cumulative_trapezoid(np.exp(-x + 3 * inner), x, initial=0.0)
    h /= h[-1]

    def v(r, z):
        return CIRCULATION / (2 * np.pi * r) * np.interp(PULL * r**2 / (2 * NU), x, h) + 0 * z

    field = make_field(v=v, w=lambda r, z: 2 * PULL * z * (1 - 3 * np.exp(-PULL * r**2 / (2 * NU))))
    m = measure_field(field, chamber)
    exact = np.sqrt(2 * NU / PULL * x[np.argmax(h / np.sqrt(x))])
    assert m.core_radius == pytest.approx(exact, rel=5e-3)
    # On the axis w = -4 a z at every height, so its -2 per cent is passed at 2 per cent of the height.
    assert m.breakdown_height == pytest.approx(m.floor_layer, abs=0.01)
    assert m.reversed_to_mid_height


def test_mirrored_swirl_has_the_same_measures(make_field, chamber):
    """Turning the swirl round changes the sense and nothing else."""
    both = [measure_field(make_field(v=lambda r, z, s=s: s * burgers_v(r, z)), chamber) for s in (1, -1)]
    assert both[0].scalars() == both[1].scalars()
    assert (both[0].swirl_sense, both[1].swirl_sense) == (1.0, -1.0)
