"""The key for partly closed sides, `chamber.side_opening`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.errors import InputError
from swirlwright.solver.flow import build_grid, open_share

TABLE_TOP = read_case(Path(__file__).parents[2] / "cases" / "table-top.toml")


@pytest.mark.parametrize(
    ("sides", "opening", "share"),
    [(["front"], 1.0, 0.25), (["front", "left"], 0.8, 0.4), (["front", "left", "right"], 0.8, 0.6)],
)
def test_each_open_side_counts_by_its_open_part(sides: list[str], opening: float, share: float) -> None:
    """Open share, open area and the flow's boundary all take sides/4 times side_opening (round-off)."""
    case = vary(TABLE_TOP, {"chamber.open_sides": sides, "chamber.side_opening": opening})
    assert case.chamber.open_share == pytest.approx(share, rel=1e-14)
    # Table-top: 0.36 m wide, 0.6 m tall, open over its whole height.
    assert case.chamber.open_area == pytest.approx(share * 4 * 0.36 * 0.6, rel=1e-14)
    np.testing.assert_allclose(open_share(case, build_grid(case)), share, rtol=1e-12)


def test_narrowing_sides_of_a_closed_box_is_refused() -> None:
    """side_opening without an open side is a mistake that names its key, not a key without effect."""
    with pytest.raises(InputError, match=r"chamber\.side_opening.* no side is open"):
        vary(TABLE_TOP, {"chamber.open_sides": [], "chamber.side_opening": 0.8})
