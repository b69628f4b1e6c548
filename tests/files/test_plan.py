"""The true plan: where holes stand, where jets go, and what cannot be built."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from swirlwright.solver.buildable import cautions
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.errors import InputError
from swirlwright.solver.plan import hole_plan, tube_plan
from swirlwright.solver.schema import Case

TABLE_TOP = read_case(Path(__file__).parents[2] / "cases" / "table-top.toml")
ROUND = vary(TABLE_TOP, {"chamber.footprint": "round", "chamber.open_sides": None, "tubes.1.place_radius": 0.16})


def test_corner_tubes_stand_in_the_corners() -> None:
    """Four tubes from 45 degrees on stand at (+-a, +-a), counterclockwise from the back right."""
    plan = tube_plan(TABLE_TOP)
    a = 0.233 / math.sqrt(2)
    assert plan.x == pytest.approx([a, -a, -a, a], rel=1e-12)
    assert plan.y == pytest.approx([a, a, -a, -a], rel=1e-12)


def test_a_corner_tube_at_45_degrees_fires_along_the_wall() -> None:
    """At 45 degrees a corner tube fires parallel to a wall, with the axis' distance as its moment arm."""
    holes = hole_plan(vary(TABLE_TOP, {"tubes.1.rows.1.aim": 45}))
    a = 0.233 / math.sqrt(2)
    # From the back right corner counterclockwise: along the back wall, to the left.
    assert holes.heading[0] == pytest.approx(math.pi, rel=1e-12)
    assert holes.moment_arm[0] == pytest.approx(a, rel=1e-12)
    assert (holes.x[0], holes.y[0]) == pytest.approx((a - 0.0105, a), rel=1e-12)
    assert holes.chord[0] == pytest.approx(0.18 + a - 0.0105, rel=1e-12)


@pytest.mark.parametrize("case", [TABLE_TOP, ROUND], ids=["square", "round"])
@pytest.mark.parametrize("aim", [50, 70, 89, 91, 130])
def test_the_moment_arm_is_the_cross_product_at_the_hole(case: Case, aim: float) -> None:
    """Place times direction equals both the moment arm and radius times cos(aim) at the hole."""
    holes = hole_plan(vary(case, {"tubes.1.rows.1.aim": aim}))
    cross = holes.x * np.sin(holes.heading) - holes.y * np.cos(holes.heading)
    assert holes.moment_arm == pytest.approx(cross, abs=1e-15)
    assert holes.radius * np.cos(holes.aim) == pytest.approx(cross, abs=1e-15)
    assert np.hypot(holes.x, holes.y) == pytest.approx(holes.radius, rel=1e-12)


@pytest.mark.parametrize("case", [TABLE_TOP, ROUND], ids=["square", "round"])
def test_a_chord_ends_on_the_side(case: Case) -> None:
    """The end of every jet's path lies on the side, to round-off."""
    holes = hole_plan(case)
    x = holes.x + holes.chord * np.cos(holes.heading)
    y = holes.y + holes.chord * np.sin(holes.heading)
    reach = np.hypot(x, y) if case is ROUND else np.maximum(abs(x), abs(y))
    assert reach == pytest.approx(0.18, rel=1e-12)


def test_jets_end_at_the_open_sides_they_meet() -> None:
    """With the left side open, the jets that meet it leave there, and only those in the open band."""
    case = vary(TABLE_TOP, {"chamber.open_sides": ["left"], "chamber.open_from": 0.2})
    holes = hole_plan(case)
    meets_left = holes.x + holes.chord * np.cos(holes.heading) < -0.18 + 1e-9
    assert meets_left.any()
    assert np.array_equal(holes.ends_open, meets_left & (holes.height >= 0.2))


def test_aiming_at_the_axis_gives_no_moment_arm_at_all() -> None:
    """At 90 degrees the moment arm is exactly zero, and supplementary aims have opposite arms."""
    assert np.all(hole_plan(vary(TABLE_TOP, {"tubes.1.rows.1.aim": 90})).moment_arm == 0.0)
    one = hole_plan(vary(TABLE_TOP, {"tubes.1.rows.1.aim": 60})).moment_arm
    other = hole_plan(vary(TABLE_TOP, {"tubes.1.rows.1.aim": 120})).moment_arm
    assert other == pytest.approx(-one, rel=1e-14)


TWO = {"tubes.1.count": None, "tubes.1.place_radius": None, "tubes.1.first_angle": None}


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"chamber.height": 0.53}, "tubes.1.rows.1.count"),
        ({"tubes.1.rows.1.lowest": 0.0015}, "tubes.1.rows.1.lowest"),
        ({"tubes.1.rows.1.pitch": 0.003}, "tubes.1.rows.1.pitch"),
        ({"tubes.1.rows.1.hole_diameter": 0.02}, "tubes.1.rows.1.hole_diameter"),
        ({"tubes.1.place_radius": 0.25}, "tubes.1.place_radius"),
        ({"tubes.1.place_radius": 0.01, "tubes.1.count": 1}, "tubes.1.place_radius"),
        ({"tubes.1.first_angle": 0}, "tubes.1.place_radius"),
        ({"tubes.1.count": 50, "tubes.1.place_radius": 0.1}, "tubes.1"),
        ({**TWO, "tubes.1.positions": [[0.1, 0.1], [0.1, 0.11]]}, "tubes.1.positions.2"),
        ({**TWO, "tubes.1.positions": [[0.1, 0.1], [0.1, 0.18]]}, "tubes.1.positions.2"),
        # Outward on the plan: on the tangent, a tube in the corner of a square fires into the wall beside it.
        ({"tubes.1.rows.1.aim": 0, "tubes.1.place_radius": 0.2385}, "tubes.1.rows.1.aim"),
        ({"tubes.1.rows.1.aim": 180, "tubes.1.place_radius": 0.2385}, "tubes.1.rows.1.aim"),
        ({"exhaust.diameter": 0.37}, "exhaust.diameter"),
        ({"exhaust.hub_diameter": 0.12}, "exhaust.hub_diameter"),
        ({"fog.radius": 0.18}, "fog.radius"),
        ({"fog.diffuser_radius": 0.02}, "fog.diffuser_radius"),
        ({"chamber.open_to": 0.61}, "chamber.open_to"),
        ({"chamber.open_from": 0.6}, "chamber.open_from"),
    ],
)
def test_impossible_geometry_is_refused(changes: dict[str, object], key: str) -> None:
    """Each impossible chamber is refused at the key that makes it so, with a line."""
    with pytest.raises(InputError) as caught:
        vary(TABLE_TOP, changes)
    assert [problem.key for problem in caught.value.problems] == [key]
    assert caught.value.problems[0].line > 1


def test_holes_of_two_rows_may_not_cut_into_each_other() -> None:
    """On a tube of 21 mm ten degrees are 1.83 mm of wall: 3.5 mm holes must be 2.98 mm apart in height."""
    row = TABLE_TOP.tubes[0].rows[0].model_dump(exclude_none=True, exclude={"heights", "lean"})
    apart = math.sqrt(0.0035**2 - (0.0105 * math.radians(10.0)) ** 2)
    for more, is_refused in ((1e-5, False), (-1e-5, True)):
        second = {**row, "lowest": row["lowest"] + apart + more, "aim": row["aim"] + 10.0}
        changes = {"tubes.1.rows": [row, second]}
        if is_refused:
            with pytest.raises(InputError, match="into one of row 1; their centres must be 0.0035 m apart") as caught:
                vary(TABLE_TOP, changes)
            assert [problem.key for problem in caught.value.problems] == ["tubes.1.rows.2.hole_diameter"]
        else:
            assert len(vary(TABLE_TOP, changes).tubes[0].rows) == 2


def test_an_outward_aim_is_refused_in_any_chamber() -> None:
    """Aims outside 0 to 180 degrees are refused in a round chamber too, where a tangential one is not."""
    vary(ROUND, {"tubes.1.rows.1.aim": 0})
    for aim in (-1, 181):
        with pytest.raises(InputError):
            vary(ROUND, {"tubes.1.rows.1.aim": aim})


def test_more_hole_area_than_tube_area_is_a_caution() -> None:
    """Holes larger together than the tube are read with a caution, and without one below."""
    assert cautions(TABLE_TOP) == ()
    wide = vary(TABLE_TOP, {"tubes.1.rows.1.hole_diameter": 0.008})
    assert [text.split(":")[0] for text in cautions(wide)] == ["tubes.1"]
