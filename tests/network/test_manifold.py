"""One drilled tube against closed forms and handbook rules."""

import math

import numpy as np
import pytest

from swirlwright.solver.losses import friction_factor
from swirlwright.solver.manifold import DrilledTube, Hole, TubeBackflowError, solve_tube
from swirlwright.verification.air_network import DENSITY, VISCOSITY, solved, tube_of


# Colebrook's equation: smooth, Re 2e4, and e/D 1e-3, Re 1e5, to the digits printed (recomputed by iterating
# it).
@pytest.mark.parametrize(
    "reynolds, roughness, expected", [(2e4, 0.0, 0.025883), (1e5, 1e-3, 0.022175), (1000.0, 0.0, 0.064)]
)
def test_friction_factor(reynolds, roughness, expected):
    """Colebrook above Re 4000 and 64/Re below 2000, to half a unit of the last printed digit."""
    assert friction_factor(reynolds, roughness) == pytest.approx(expected, abs=5.1e-7)


@pytest.mark.parametrize("reynolds, roughness", [(1e4, 0.0), (5e5, 0.02)])
def test_friction_factor_solves_colebrook(reynolds, roughness):
    """1/sqrt(f) = -2 log10(e/(3.7 D) + 2.51/(Re sqrt(f))) (Colebrook 1939), to round-off."""
    f = friction_factor(reynolds, roughness)
    right = -2.0 * math.log10(roughness / 3.7 + 2.51 / (reynolds * math.sqrt(f)))
    assert 1.0 / math.sqrt(f) == pytest.approx(right, rel=1e-12)


def test_friction_factor_has_no_jump():
    """Through the critical zone steps of one in Re change the factor by less than 1e-4."""
    values = [friction_factor(re, 0.0) for re in range(1900, 4100)]
    assert np.abs(np.diff(values)).max() < 1e-4


def test_orifice_flow():
    """A single small hole in a wide tube passes Cd a sqrt(2 dp / rho) and its jet has sqrt(2 dp / rho)."""
    tube = tube_of(1, area_ratio=1e-5)
    state = solved(tube, 50.0, outside=-10.0)
    speed = math.sqrt(2.0 * 60.0 / DENSITY)
    # 1e-6: the tube's own dynamic head and friction at a hundred-thousandth of its area.
    assert state.flow == pytest.approx(0.62 * tube.hole_area * speed, rel=1e-6)
    assert state.hole_speed[0] == pytest.approx(speed, rel=1e-6)


def test_filled_hole_has_slower_jet():
    """In a wall at least one hole diameter thick the jet fills the hole: its speed is flow over hole area."""
    thin = tube_of(1, area_ratio=0.01, coefficient=0.8)
    hole = thin.holes[0]
    thick = DrilledTube(thin.diameter, 0.0, 0.0, "below", (Hole(**{**vars(hole), "is_filled": True}),))
    state = solved(thick, 50.0)
    assert state.hole_speed[0] == pytest.approx(state.flow / hole.area, rel=1e-12)
    assert state.hole_speed[0] == pytest.approx(0.8 * solved(thin, 50.0).hole_speed[0], rel=1e-12)


# Perforated pipe, closed end, no friction, full recovery: V = U sin(phi (1 - x/L)), hole speed U cos(phi (1
# - x/L)). Integrate dV/dx = -(phi/L) sqrt(U^2 - V^2), V(L) = 0.
@pytest.mark.parametrize("phi", [0.3176, 0.8, 1.3])
def test_perforated_pipe_closed_form(phi):
    """Total flow tends to A U sin(phi) with the square of the number of holes, hole speeds to U cos."""
    pressure = 60.0
    u = math.sqrt(2.0 * pressure / DENSITY)
    errors = []
    for count in (25, 50, 100):
        # A length of nothing leaves no friction.
        tube = tube_of(count, area_ratio=phi, length=1e-9)
        state = solved(tube, pressure)
        errors.append(abs(state.flow / (tube.area * u * math.sin(phi)) - 1.0))
        middle = u * np.cos(phi * (1.0 - (np.arange(count) + 0.5) / count))
        # phi^2/count^2 and a factor for the steep end at phi near pi/2.
        np.testing.assert_allclose(state.hole_speed, middle, rtol=2.0 / count**2)
    assert np.diff(np.log2(errors)) == pytest.approx([-2.0, -2.0], abs=0.05)


def test_five_per_cent_rule():
    """At phi 0.3176 the speeds spread by 5 per cent, with a kinetic head of a tenth of the last hole's drop."""
    # Perry's Chemical Engineers' Handbook, perforated-pipe distributors: ratio ten for five per cent (from
    # memory); exactly cos(phi) = 0.95 and sin(phi)^2 = 0.0975.
    state = solved(tube_of(400, area_ratio=0.3176, length=1e-9), 60.0)
    # The first hole stands half a share from the entrance: phi sin(phi) / 800 = 1.2e-4.
    assert state.first_over_last == pytest.approx(0.95, abs=2e-4)
    assert state.entry_head / state.hole_drop[-1] == pytest.approx(0.0975, abs=1e-4)


@pytest.mark.parametrize("length", [0.5, 2.0, 5.0])
def test_friction_against_recovery(length):
    """With uniform outflow the static pressure changes by rho V0^2 (k - f L / (6 D)), k = 1/2 (Wang 2001)."""
    # Wang, J. Eng. Gas Turb. Power 123:472: recovery rho V0^2 k against friction integrated over a linear
    # fall of V, f L / (3 D) dynamic heads; the unit is rho V0^2, two dynamic heads. Re-derived.
    tube = tube_of(400, area_ratio=1e-3, length=length, roughness=0.001)
    state = solved(tube, 60.0, viscosity=1e-12)  # fully rough: f does not depend on the flow
    f = friction_factor(1e9, 0.001 / 0.05)
    change = (state.recovery - state.friction) / (DENSITY * state.entry_speed**2)
    # 1/800 for the half share of pipe before the first hole at full speed.
    assert change == pytest.approx(0.5 - f * length / (6 * 0.05), abs=3 * f * length / (6 * 0.05) / 800 + 1e-4)


@pytest.mark.parametrize("feed", ["below", "above"])
def test_pressure_budget_closes(feed):
    """Entrance, velocity, friction, recovery, last hole and chamber add up to the inlet's pressure to round-off."""
    state = solved(tube_of(20, area_ratio=0.5, entrance_loss=0.5, feed=feed), 80.0, outside=-3.0)
    budget = dict(state.budget)
    inlet = budget.pop("inlet")
    assert inlet == 80.0
    assert sum(budget.values()) == pytest.approx(inlet, rel=1e-12)
    assert budget["friction"] > 0.0 > budget["recovery"]


def test_flow_is_the_sum_of_the_holes():
    """Entry speed times the tube's area is the flow of all holes to round-off."""
    state = solved(tube_of(20, area_ratio=0.5, entrance_loss=0.5), 80.0)
    assert state.entry_speed * state.tube.area == pytest.approx(sum(state.hole_flow), rel=1e-13)


def test_more_entrance_loss_less_flow():
    """A re-entrant entrance passes less than a sharp one, and that less than a rounded one."""
    flows = [solved(tube_of(20, area_ratio=0.5, entrance_loss=k), 80.0).flow for k in (0.9, 0.5, 0.04)]
    assert flows[0] < flows[1] < flows[2]


@pytest.mark.parametrize("feed, sign", [("below", 1.0), ("above", -1.0)])
def test_jets_lean_along_the_tube(feed, sign):
    """A jet leans by asin(V/U) along the tube's flow: up when fed from below, down from above, least at the cap."""
    state = solved(tube_of(10, area_ratio=0.4, feed=feed, lean=None), 80.0)
    expected = sign * np.arcsin(np.array(state.pipe_speed) / np.array(state.hole_speed))
    np.testing.assert_allclose(state.elevation, expected, rtol=1e-13)
    assert abs(state.elevation[0]) > abs(state.elevation[-1]) > 0.0


def test_backflow_is_refused():
    """A chamber at the feed's pressure, or above the tube's at one hole, is refused instead of solved."""
    with pytest.raises(TubeBackflowError, match="cannot blow: it is fed"):
        solved(tube_of(5, area_ratio=0.3), 10.0, outside=10.0)
    tube = tube_of(5, area_ratio=0.3)
    with pytest.raises(TubeBackflowError, match="cannot blow"):
        solve_tube(tube, 10.0, [9.9, 0.0, 0.0, 0.0, 0.0], density=DENSITY, viscosity=VISCOSITY)
