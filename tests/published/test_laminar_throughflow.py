"""A laminar chamber with throughflow and swirl, beside the values of an independent code for this project."""

from __future__ import annotations

import pytest

from swirlwright.verification import chambers

THROUGHFLOW = [c for c in chambers.CONFIGURATIONS if c.name.startswith("throughflow")]


@pytest.mark.parametrize("configuration", THROUGHFLOW, ids=lambda c: c.name)
def test_chamber_matches_the_independent_code(configuration):
    """Extrapolated speeds lie within the other code's +-0.001, the inflow of angular momentum is 5 S/7, order 2."""
    failed = [(c.quantity, c.computed, c.expected) for c in configuration.run().checks if not c.passed]
    assert not failed
