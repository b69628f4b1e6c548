"""Closed cylinder with one end wall rotating: the sources' numbers, and the modes behind the onset of oscillation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from swirlwright.solver.transient import Stepper
from swirlwright.verification import end_wall

SHORT = [c for c in end_wall.CONFIGURATIONS if c.seconds < 10.0]


@pytest.mark.parametrize("configuration", SHORT, ids=lambda c: c.name)
def test_end_wall_matches_its_sources(configuration):
    """Circulation, bubbles and flow along the axis lie within the tolerances of their sources."""
    failed = [(c.quantity, c.computed, c.expected) for c in configuration.run().checks if not c.passed]
    assert not failed


def test_disturbances_of_a_steady_flow_decay():
    """At H/R 2.5, Re 2200, well below the onset of oscillation, the modes nearest the known frequency all decay."""
    problem, s = end_wall.cylinder(2.5, 2200.0, 24)
    assert end_wall.rightmost(problem, s, 2j * np.pi / 36.0).real < 0.0


def test_modes_are_those_of_the_march():
    """A disturbance of the flow at H/R 1, Re 100 decays in time at the rate of the slowest mode, within 2 per cent."""
    problem, s = end_wall.cylinder(1.0, 100.0, 16)
    rate = end_wall.rightmost(problem, s, 0.0 + 0.0j).real
    stepper = Stepper.of(problem)
    rng = np.random.default_rng(1)
    x = stepper.clean(replace(s, v=s.v + 1e-6 * rng.standard_normal(s.v.shape)))
    sizes = []
    for step in range(1, 801):
        x = stepper.advance(x, 0.05)
        if step in (600, 800):
            sizes.append(float(np.abs(x.v - s.v).max()))
    assert np.log(sizes[1] / sizes[0]) / 10.0 == pytest.approx(rate, rel=0.02)
