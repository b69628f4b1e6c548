"""Are swirl ratio, Reynolds numbers, swirl number and spin-up time what their definitions say?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from swirlwright.postproc.core import Field
from swirlwright.postproc.flow_numbers import inflow_at, measure_field, swirl_number
from swirlwright.postproc.measures import spin_up_time, time_weights


def uniform_inflow(n_z: int = 40) -> Field:
    """|u| = 0.5, v = 0.6 m/s at r = 0.10 m over a height of 0.20 m; linear in r: exact to interpolate."""
    r_face, z_face = np.linspace(0, 0.15, 31), np.linspace(0, 0.2, n_z + 1)
    r, z = 0.5 * (r_face[1:] + r_face[:-1]), 0.5 * (z_face[1:] + z_face[:-1])
    full = np.ones((n_z, 1))
    zero, nu = 0 * full * r, np.full((n_z, r.size), 3e-5)
    return Field(r, z, r_face, z_face, u=-5.0 * r * full, v=6.0 * r * full, w=zero, p=zero, nu=nu)


def test_swirl_ratio_takes_the_total_flow():
    """S = r_0 Gamma / (2 Q) with the total flow Q in m3/s equals tan(theta) / (2 a), here 0.3."""
    found = inflow_at(uniform_inflow(), 0.10)
    # Arithmetic of the definition (Davies-Jones, J. Atmos. Sci. 30:1427, 1973), exact up to round-off.
    assert found.flow == pytest.approx(2 * np.pi * 0.1 * 0.2 * 0.5, rel=1e-12)
    assert found.circulation == pytest.approx(2 * np.pi * 0.1 * 0.6, rel=1e-12)
    assert found.height == pytest.approx(0.2, rel=1e-12)
    assert found.swirl_ratio == pytest.approx((0.6 / 0.5) / (2 * 0.2 / 0.1), rel=1e-12)
    assert found.radial_reynolds_number(1.5e-5) == pytest.approx(0.5 * 0.1 / 1.5e-5, rel=1e-12)
    assert found.viscosity == pytest.approx(3e-5, rel=1e-12)


def test_swirl_ratio_counts_inflow_only():
    """Outflow through part of the height adds neither to Q nor to the circulation nor to h."""
    field = uniform_inflow()
    half = field.z[:, None] < 0.1
    found = inflow_at(replace(field, u=np.where(half, field.u, 2.0), v=np.where(half, field.v, 50.0)), 0.10)
    assert found.height == pytest.approx(0.1, rel=1e-12)
    assert found.swirl_ratio == pytest.approx(1.2 / 2.0, rel=1e-12)


def test_parabolic_inflow_is_five_sixths_as_high_as_its_band():
    """h = (int |u| dz)^2 / int u^2 dz is 5/6 of the band for a parabolic profile."""
    field = uniform_inflow(400)
    s = (field.z / 0.2)[:, None]
    found = inflow_at(replace(field, u=field.u * s * (1 - s)), 0.10)
    # (1/6)^2 / (1/30) = 5/6; midpoint sums over 400 cells err by 1e-5.
    assert found.height == pytest.approx(0.2 * 5 / 6, rel=2e-5)


def test_the_two_swirl_ratios_differ_by_their_radius(make_field, chamber):
    """With constant r v and r u, S at the exhaust over S at the curtain is the ratio of the two radii."""
    field = make_field(u=lambda r, z: -0.02 / r + 0 * z, v=lambda r, z: 0.05 / r + 0 * z)
    m = measure_field(field, chamber)
    ratio = m.swirl_ratio_at_exhaust_radius / m.swirl_ratio_at_curtain
    # Linear interpolation of 1/r between cells of 2 mm at 40 mm: h^2/(4 r^2) below 1e-3.
    assert ratio == pytest.approx(0.04 / (0.85 * 0.15), rel=1e-3)


def test_chamber_without_exhaust_or_inflow_says_why(make_field, chamber):
    """Measures that do not apply are None, each with a reason."""
    m = measure_field(make_field(v=lambda r, z: 0.02 / (r + 0.02) + 0 * z), replace(chamber, exhaust_radius=None))
    for name in (
        "swirl_ratio_at_exhaust_radius",
        "swirl_ratio_at_curtain",
        "radial_reynolds_number",
        "swirl_number",
    ):
        assert getattr(m, name) is None and m.reasons[name]


def test_vortex_reynolds_number_of_a_burgers_vortex(make_field, chamber):
    """Gamma / nu_eff, with nu_eff averaged over the core and not over the chamber."""
    nu_core = 6e-5
    field = make_field(
        v=lambda r, z: 0.4 / (2 * np.pi * r) * (1 - np.exp(-(r**2) / (2 * nu_core))) + 0 * z,
        nu=lambda r, z: np.where(r < 0.06, nu_core, 1e-2) + 0 * z,
    )
    assert measure_field(field, chamber).vortex_reynolds_number == pytest.approx(0.4 / nu_core, rel=1e-6)


def test_swirl_number_of_solid_rotation_in_plug_flow(make_field, chamber):
    """Solid rotation in plug flow over r < r_i: flux ratio Omega r_i^2 / (2 W) over the exhaust radius."""
    field = make_field(n_r=200, v=lambda r, z: 4.0 * r + 0 * z, w=lambda r, z: 2.0 + 0 * r * z)
    edge = field.r_face[np.searchsorted(field.r_face, chamber.curtain_edge)]
    exact = 4.0 * edge**2 / (2 * 2.0) / chamber.exhaust_radius
    # Midpoint rule over 160 rings.
    assert swirl_number(field, replace(chamber, curtain_edge=edge)) == pytest.approx(exact, rel=1e-4)


def test_spin_up_time_of_an_exponential():
    """For 1 - exp(-t/tau) it is where the running mean, in closed form, reaches 0.9 of its last value."""
    tau, window, end = 3.0, 2.0, 40.0
    time = np.linspace(0, end, 4001)

    def running(t):
        return 1 - tau / window * (np.exp(window / tau) - 1) * np.exp(-t / tau)

    exact = brentq(lambda t: running(t) - 0.9 * running(end), 2, 40)
    assert spin_up_time(time, 1 - np.exp(-time / tau))[0] == pytest.approx(exact, abs=0.011)


@pytest.mark.parametrize(
    "time, deficit",
    [
        (np.linspace(0, 3, 31), np.ones(31)),
        (np.linspace(0, 40, 401), np.exp(np.linspace(0, 8, 401))),
        (np.zeros(1), np.ones(1)),
    ],
)
def test_no_spin_up_time_when_too_short_or_never_settled(time, deficit):
    """A run shorter than two windows, or one still growing, has none, with the reason."""
    found, reason = spin_up_time(time, deficit)
    assert found is None and reason


def test_time_weights_are_trapezoidal():
    """Uneven instants are weighted by the time they stand for."""
    assert time_weights(np.array([0.0, 1.0, 4.0])) == pytest.approx([0.125, 0.5, 0.375])
