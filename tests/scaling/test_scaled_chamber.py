"""Does the scaled chamber hold what it says, and can it be built and solved?"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from swirlwright.solver.casefile import parse_case, read_case, read_fan_file, to_toml, vary
from swirlwright.solver.drilling import LARGEST, drill, drilled_row
from swirlwright.solver.errors import InputError
from swirlwright.solver.fan_choice import Duty, choose_fans, stall_flow, transition_loss
from swirlwright.solver.fans import FanCurve, fan_curve
from swirlwright.solver.network import solve_network
from swirlwright.solver.scale_numbers import momentum_ratio, swirl_ratio
from swirlwright.solver.scaling import scale
from swirlwright.solver.schema import Case
from swirlwright.solver.similarity import HOLDS, Factors, similar_case

CASES = Path(__file__).parents[2] / "cases"
# A fan's speed is written with four digits, which moves pressures by up to twice half a unit of the last.
RATIO_HELD = 2e-3


@pytest.fixture(scope="module")
def table_top() -> Case:
    return read_case(CASES / "table-top.toml")


@pytest.mark.parametrize("hold", HOLDS)
@pytest.mark.parametrize("factor", [0.4, 1.0, 25 / 6])
def test_ratios_of_the_network_are_held(table_top: Case, factor: float, hold: str) -> None:
    """Momentum ratio and swirl ratio stay within 0.2 per cent, whatever is held and whatever the drills are."""
    scaled = scale(table_top, factor=factor, hold=hold)
    after = solve_network(parse_case(scaled.case.text, scaled.case.path))
    before = scaled.original_network
    assert momentum_ratio(after) == pytest.approx(momentum_ratio(before), rel=RATIO_HELD)
    assert swirl_ratio(scaled.case, after) == pytest.approx(swirl_ratio(table_top, before), rel=RATIO_HELD)
    assert after.exhaust_flow == pytest.approx(before.exhaust_flow * scaled.factors.flow, rel=RATIO_HELD)
    held = {number.key: number.is_held for number in scaled.numbers}
    assert held["radial_reynolds_number"] == (hold == "reynolds" or factor == 1.0)
    assert held["momentum_ratio"] and held["swirl_ratio_network"] and held["aspect_ratio"]


@pytest.mark.parametrize("path", sorted(CASES.glob("*.toml")), ids=lambda path: path.stem)
def test_every_shipped_case_scales_to_a_valid_case(path: Path) -> None:
    """Each shipped case, twice and half as large, passes its checks, and its sheet is one JSON object."""
    case = read_case(path)
    for factor in (0.5, 2.0):
        scaled = scale(case, factor=factor)
        again = parse_case(scaled.case.text, scaled.case.path)
        assert again.chamber.height == pytest.approx(factor * case.chamber.height, rel=1e-9)
        assert again.grid.cells_r == case.grid.cells_r
        json.dumps(scaled.as_json(), allow_nan=False)


def test_every_dimension_scales_with_its_unit() -> None:
    """Lengths, areas, flows, speeds, rotations, pressures and times get their powers; air, pipes and clocks none."""
    text = """
    title = "all of it"
    [chamber]
    footprint = "round"
    width = 1.0
    height = 2.0
    leak_area = 0.01
    [walls]
    floor_rotation = 3.0
    [exhaust]
    diameter = 0.2
    pressure = 5.0
    [inlet]
    to_height = 0.5
    flow = 0.02
    swirl_velocity = 0.3
    [air]
    altitude = 300
    kinematic_viscosity = 1e-5
    [[tubes]]
    positions = [[0.1, -0.2]]
    inner_diameter = 0.02
    wall_thickness = 0.001
    roughness = 1e-6
    feed = "room"
    [[tubes.rows]]
    hole_diameter = 0.004
    heights = [0.1, 0.3]
    aim = 20
    discharge_coefficient = 0.6
    discharge_source = "x"
    [run]
    mode = "transient"
    time_limit = 60
    max_step = 0.1
    probes = [{name = "a", r = 0.1, z = 0.2}]
    [[events]]
    at = 4
    exhaust = 0.5
    """
    data = similar_case(parse_case(text, "all.toml"), Factors(2.0, 3.0))
    assert data["chamber"] == {"footprint": "round", "width": 2.0, "height": 4.0, "leak_area": 0.04}
    assert data["walls"] == {"floor_rotation": 4.5}
    assert data["exhaust"] == {"diameter": 0.4, "pressure": 45.0}
    assert data["inlet"] == {"to_height": 1.0, "flow": 0.24, "swirl_velocity": pytest.approx(0.9)}
    assert data["air"] == {"altitude": 300.0, "kinematic_viscosity": 1e-5}
    assert data["tubes"][0]["positions"] == [[0.2, -0.4]] and data["tubes"][0]["roughness"] == 1e-6
    assert data["tubes"][0]["rows"][0]["heights"] == [0.2, 0.6] and data["tubes"][0]["rows"][0]["aim"] == 20.0
    assert data["run"]["time_limit"] == 60.0 and data["run"]["max_step"] == pytest.approx(0.2 / 3, rel=1e-11)
    # A default that is a time scales as well: 20 s and 0.1 s.
    assert data["run"]["end_time"] == pytest.approx(40 / 3) and data["run"]["frame_interval"] == pytest.approx(0.2 / 3)
    assert data["run"]["probes"] == [{"name": "a", "r": 0.2, "z": 0.4}]
    assert data["events"] == [{"at": pytest.approx(8 / 3), "exhaust": 0.5}]


@pytest.mark.parametrize("hold", HOLDS)
def test_similar_fans_serve_at_the_same_speed_ratio(table_top: Case, tmp_path: Path, hold: str) -> None:
    """The original's fans made larger by the fan laws, turning at V/L, serve at the original's speed ratio."""
    # Q ~ N D^3, p ~ rho N^2 D^2, P ~ rho N^3 D^5 (ISO 5801; AMCA 211; from memory).
    factors = Factors.holding(3.0, hold)
    turns = factors.velocity / factors.length
    (tmp_path / "fans").mkdir()
    for name in ("roof-120", "base-60"):
        one = read_fan_file(CASES / "fans" / f"{name}.toml")
        data = {
            "title": name,
            "speed_rpm": one.speed_rpm * turns,
            "diameter": one.diameter * 3.0,
            "flow": [q * turns * 3.0**3 for q in one.flow],
            "pressure": [p * turns**2 * 3.0**2 for p in one.pressure],
            "power": one.electrical_power * turns**3 * 3.0**5,
        }
        (tmp_path / "fans" / f"{name}.toml").write_text(to_toml(data))
    # 3.5 mm becomes 10.5 mm, a drill of its own: nothing is rounded but tube and heights.
    scaled = scale(table_top, factor=3.0, hold=hold, fans=tmp_path / "fans")
    roof = next(c for c in scaled.exhaust_fans if c.file.stem == "roof-120")
    base = next(c for c in scaled.plenum_fans if c.file.stem == "base-60")
    assert (roof.count, base.count) == (1, 2)
    before = scaled.original_network
    assert roof.speed_ratio == pytest.approx(table_top.exhaust.fan_speed_ratio, rel=2e-3)
    assert base.speed_ratio == pytest.approx(1.0, rel=5e-3)
    assert roof.flow == pytest.approx(before.exhaust_flow * factors.flow, rel=1e-6)
    assert base.pressure == pytest.approx(before.plenum_pressure * factors.pressure, rel=1e-2)
    assert roof.power_electrical == pytest.approx(before.exhaust_power_electrical * factors.power, rel=5e-3)


def test_a_chosen_fan_works_at_the_duty(table_top: Case) -> None:
    """The network of the written case has its fans at the flows and pressures that the sheet promises."""
    scaled = scale(table_top, height=2.5)
    assert scaled.exhaust_fans[0].serves and scaled.plenum_fans[0].serves
    network = solve_network(scaled.case)
    assert network.exhaust_flow == pytest.approx(scaled.exhaust_fans[0].flow, rel=1e-3)
    assert network.supply_flow == pytest.approx(scaled.plenum_fans[0].flow, rel=1e-3)
    assert network.plenum_pressure == pytest.approx(scaled.plenum_fans[0].pressure, rel=2e-3)
    assert network.exhaust_power_electrical == pytest.approx(scaled.exhaust_fans[0].power_electrical, rel=2e-3)


def test_without_a_fan_that_serves_the_duty_is_given(table_top: Case) -> None:
    """At held spin-up time nothing blows 950 Pa: the case has a plenum pressure instead, and every fan its reason."""
    scaled = scale(table_top, height=2.5, hold="spin-up")
    assert not any(choice.serves for choice in scaled.plenum_fans) and all(c.reason for c in scaled.plenum_fans)
    assert scaled.case.supply is not None and scaled.case.supply.fans == ()
    assert scaled.case.supply.pressure == pytest.approx(55 * (25 / 6) ** 2, rel=0.02)
    assert "none of the folder serves" in scaled.text()


def test_stall_is_where_a_curve_rises_or_dips() -> None:
    """The stall of a curve is the right end of its dip or rise; a curve that only falls has none."""
    curve = lambda p: FanCurve("a", 1000, 1.2, 0.1, (0.0, 1.0, 2.0, 3.0, 4.0), p)  # noqa: E731
    assert stall_flow(curve((50.0, 40.0, 45.0, 20.0, 0.0))) == 2.0
    assert stall_flow(curve((50.0, 40.0, 37.0, 20.0, 0.0))) == 2.0
    assert stall_flow(curve((50.0, 44.0, 34.0, 20.0, 0.0))) is None


def test_fans_too_weak_too_strong_and_stalling_say_so() -> None:
    """The reason of a fan that does not serve is its speed, or its stall."""
    path = Path("a.toml")
    curve = FanCurve("a", 1000, 1.2, 0.1, (0.0, 1.0, 2.0, 3.0, 4.0), (50.0, 40.0, 37.0, 20.0, 0.0), 10.0)
    of = lambda q, p: choose_fans([(path, curve)], lambda *_: (Duty(q, p), 0.0), 1.2)[0]  # noqa: E731
    assert of(3.0, 20.0).serves and of(3.0, 20.0).speed_ratio == pytest.approx(1.0)
    assert of(3.0, 20.0).stall_margin == pytest.approx(0.5)
    assert "too weak" in of(3.0, 2000.0).reason and of(3.0, 2000.0).count == 4
    assert "too strong" in of(0.3, 0.2).reason
    assert "would stall" in of(1.0, 37.0).reason


def test_the_way_to_a_fan_costs_nothing_where_it_is_as_wide() -> None:
    """The transition's loss is none for a fan as wide as the opening and grows both ways."""
    area = math.pi / 4 * 0.5**2
    loss = [transition_loss(0.5, area, d, 1) for d in (0.25, 0.4, 0.5, 0.7, 1.0)]
    assert loss[2] == 0.0 and loss[0] > loss[1] > 0.0 and loss[4] > loss[3] > 0.0
    # Borda and Carnot: (1 - 1/4)^2 for four times the area.
    assert loss[4] == pytest.approx(0.5625)
    # Of a ring of three quarters of the opening, 1 - 3/16; none for a fan as wide, which sits in the opening.
    assert transition_loss(0.5, 0.75 * area, 1.0, 1) == pytest.approx((13 / 16) ** 2)
    assert transition_loss(0.5, 0.75 * area, 0.5, 1) == 0.0


@pytest.mark.parametrize("given, wanted", [(3.54e-3, 3.5e-3), (5.96e-3, 6e-3), (14.58e-3, 14.5e-3), (6.3e-3, 6.5e-3)])
def test_drills_are_on_their_steps(given: float, wanted: float) -> None:
    """A hole takes the nearest drill: tenths of a millimetre up to six, halves above."""
    assert drill(given) == pytest.approx(wanted, abs=1e-12)


def test_wide_holes_become_more_holes_of_the_same_area(table_top: Case) -> None:
    """Where similar holes are wider than drills are, more of them stand over the same stretch; too fine ones, fewer."""
    row = table_top.tubes[0].rows[0]
    for factor in (12.0, 0.2):
        changed, similar = drilled_row(row, factor)
        area = changed["count"] * changed["hole_diameter"] ** 2
        assert (changed["count"] > row.count) == (factor > 1.0)
        assert 1e-3 <= changed["hole_diameter"] <= LARGEST
        # Drills of a millimetre come in tenths.
        assert area == pytest.approx(row.count * similar**2, rel=0.1)
        stretch = changed["pitch"] * (changed["count"] - 1)
        assert stretch == pytest.approx(0.5 * factor, abs=2.5e-4 * changed["count"])


def test_chosen_bores_feed_as_evenly(table_top: Case) -> None:
    """Jet speeds of the scaled network deviate as little as the original's, or by two hundredths of that more."""
    for factor in (0.5, 2.0, 25 / 6):
        scaled = scale(table_top, factor=factor)
        now, was = scaled.network.tubes[0].unevenness, scaled.original_network.tubes[0].unevenness
        assert scaled.tubes[0].is_as_even and now <= 1.025 * was
        # A millimetre less and it would not: the bore is no wider than it must be.
        step = 5e-4 if scaled.tubes[0].similar_bore < 0.02 else 1e-3
        narrow = vary(scaled.case, {"tubes.1.inner_diameter": scaled.tubes[0].bore - step})
        assert solve_network(narrow).tubes[0].unevenness > 1.01 * was
    # Below, friction cancels recovery: narrower bores are more even again, and would take a fifth more pressure.
    small = scale(table_top, factor=0.4)
    assert small.network.plenum_pressure == pytest.approx(small.original_network.plenum_pressure, rel=0.05)


def test_the_sheet_says_what_drills_leave(table_top: Case) -> None:
    """It tells that the plenum holds the momentum only where one does, and each row that no drill makes."""
    assert "makes up for the" in scale(table_top, factor=3.0).text()
    room = scale(vary(table_top, {"tubes.1.feed": "room", "supply": None}), factor=3.0)
    change = room.network.momentum / room.original_network.momentum / 9.0 - 1.0
    assert abs(change) > 0.01 and f"momentum\n  by {100 * change:+.0f} %, which nothing makes up for" in room.text()
    row = "tubes.1.rows.1."
    given = dict.fromkeys((f"{row}lowest", f"{row}pitch", f"{row}count")) | {f"{row}heights": [0.1, 0.3]}
    wide = scale(vary(table_top, given), factor=8.0)
    assert [h.count for h in wide.holes] == [2]
    assert "tubes.1.rows.1: no drill makes holes of 28 mm" in wide.notes[-1] and "given by heights" in wide.notes[-1]
    assert not any("no drill" in note for note in scale(table_top, factor=8.0).notes)


def test_what_cannot_be_scaled_is_refused_at_the_original_s_line(table_top: Case) -> None:
    """A chamber that would be too large for the schema is refused with the original's file, line and key."""
    with pytest.raises(InputError) as caught:
        scale(vary(table_top, {"chamber.height": 3.0}), factor=40.0)
    text = str(caught.value)
    assert "table-top.toml:" in text and "chamber.height: must be > 0 and <= 100 m, got 120" in text
    assert "after scaling by 40" in text
    with pytest.raises(
        InputError, match="rows.1.count: must be >= 1 and <= 1000, got 1213; that is after scaling by 60"
    ):
        scale(table_top, factor=60.0)
    for wrong in ({}, {"height": 1.0, "factor": 2.0}, {"factor": 0.0}, {"height": -1.0}, {"factor": math.nan}):
        with pytest.raises(InputError):
            scale(table_top, **wrong)
    with pytest.raises(InputError, match="^scale: hold: must be one of velocity, spin-up, reynolds"):
        scale(table_top, factor=2.0, hold="mach")


def test_closed_chamber_of_given_flows_still_agrees() -> None:
    """In a closed chamber with exhaust and supply given as flows, both scale alike, whatever the drills are."""
    case = vary(
        read_case(CASES / "table-top.toml"),
        {"chamber.open_sides": [], "exhaust.fan": None, "exhaust.fan_speed_ratio": None, "exhaust.flow": 2.02e-3,
         "supply": {"flow": 2e-3}, "fog.flow": 2e-5},
    )  # fmt: skip
    scaled = scale(case, factor=1.37)
    assert scaled.case.exhaust.flow == pytest.approx(2.02e-3 * 1.37**2, rel=1e-9)
    assert np.isclose(scaled.case.supply.flow, 2e-3 * 1.37**2, rtol=1e-9)


def test_fan_curves_of_a_folder_are_read(tmp_path: Path, table_top: Case) -> None:
    """A folder that is empty, missing or holds a wrong file is refused by name."""
    for folder in (tmp_path, tmp_path / "none"):
        with pytest.raises(InputError, match=folder.name):
            scale(table_top, factor=2.0, fans=folder)
    (tmp_path / "bad.toml").write_text("title = 'x'\n")
    with pytest.raises(InputError, match="bad.toml"):
        scale(table_top, factor=2.0, fans=tmp_path)
    assert fan_curve(read_fan_file(CASES / "fans" / "roof-120.toml")).free_flow == pytest.approx(90 / 3600)
