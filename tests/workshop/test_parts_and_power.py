"""Parts and power: sums against the case and the air network."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import pytest
from workshop_cases import CASES, mixed, shipped

from swirlwright.postproc.workshop.parts import Part, parts_of
from swirlwright.postproc.workshop.power import MARGIN, Power, power_of
from swirlwright.postproc.workshop.template import templates
from swirlwright.postproc.workshop.units import MILLIMETRES, fraction_drill
from swirlwright.postproc.workshop.words import amperes, power_lines
from swirlwright.solver.casefile import read_case, vary
from swirlwright.solver.network import solve_network
from swirlwright.solver.schema import Case


def power(case: Case) -> Power:
    """Power of a case."""
    return power_of(case, solve_network(case))


def parts(case: Case) -> dict[str, Part]:
    """Parts of a case by name; of several alike the last."""
    return {part.name: part for part in parts_of(case, templates(case), power(case), MILLIMETRES)}


def test_panels_and_openings_make_up_the_sides():
    """Closed panels and open area together are the sides of the chamber, square and round, with a band or without."""
    for case in (
        shipped("hall"),
        shipped("hall", {"chamber.side_opening": 0.6, "chamber.open_from": 0.3, "chamber.open_to": 2.0}),
        mixed(),
    ):
        closed = sum(part.area or 0.0 for name, part in parts(case).items() if "side" in name)
        sides = case.chamber.perimeter * case.chamber.height
        assert closed + case.chamber.open_area == pytest.approx(sides, rel=1e-12)


def test_tubes_caps_holes_and_fans_are_counted():
    """The hall takes 4 tubes of 2.5 m with a cap each, 44 holes of 14 mm, one exhaust fan and two supply fans."""
    found = parts(shipped("hall"))
    assert (found["tube, template A"].quantity, dict(found["tube, template A"].sizes)["length"]) == (4, 2.5)
    assert found["cap, tube end at the ceiling"].quantity == 4
    assert (found["drilled hole"].quantity, dict(found["drilled hole"].sizes)["diameter"]) == (44, 0.014)
    assert (found["exhaust fan"].quantity, found["supply fan"].quantity) == (1, 2)


def test_a_hood_leads_to_a_fan_narrower_than_its_opening():
    """The hall's opening of 500 mm needs a reducer to its fan of 250 mm; the table-top's fan fills its opening."""
    sizes = dict(parts(shipped("hall"))["hood or reducer"].sizes)
    assert sizes == {"wide end": 0.5, "narrow end": 0.25}
    assert "hood or reducer" not in parts(shipped("table-top"))


def test_fans_not_chosen_are_asked_for():
    """A case that gives flows instead of fans still lists the fans that are needed, with the flow."""
    found = parts(mixed())
    assert "360 m³/h" in found["exhaust fan"].note
    assert found["supply fan"].note.startswith("not chosen")


def test_the_fans_together_move_what_the_network_says():
    """Flows of all exhaust fans and of all supply fans add up to those of the network, at its pressures."""
    for case in (shipped("table-top"), shipped("hall", {"exhaust.fan_count": 2})):
        network = solve_network(case)
        fans = power_of(case, network).fans
        for place, flow in (("exhaust", network.exhaust_flow), ("supply", network.supply_flow)):
            assert sum(f.count * f.flow for f in fans if f.place == place) == pytest.approx(flow, rel=1e-6)
        assert next(f.pressure for f in fans if f.place == "supply") == network.plenum_pressure


@pytest.fixture
def own_fans(tmp_path: Path) -> Path:
    """The hall with its fans in a folder of its own."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    shutil.copy(CASES / "hall.toml", tmp_path / "hall.toml")
    return tmp_path / "hall.toml"


def test_unlike_fans_in_parallel_share_the_flow(own_fans):
    """Two unlike fans on one plenum each give what their curve has at the plenum's pressure; the sum is the supply."""
    text = (own_fans.parent / "fans" / "hall-base-160.toml").read_text()
    text = text.replace("140, 132, 121, 107, 88, 64, 33, 0", "160, 150, 140, 125, 104, 78, 44, 4")
    (own_fans.parent / "fans" / "stronger.toml").write_text(text)
    fans = [{"file": "fans/hall-base-160.toml"}, {"file": "fans/stronger.toml"}]
    case = vary(read_case(own_fans), {"supply.fans": fans})
    network = solve_network(case)
    flows = [f.flow for f in power_of(case, network).fans if f.place == "supply"]
    assert flows[1] > flows[0]
    assert sum(flows) == pytest.approx(network.supply_flow, rel=2e-3)  # the sum curve is sampled between its points


def test_fans_in_series_share_the_pressure():
    """Two fans one behind the other each pass the whole flow, at pressures that add up to the plenum's."""
    case = shipped("hall", {"supply.arrangement": "series"})
    network = solve_network(case)
    (fan,) = (f for f in power_of(case, network).fans if f.place == "supply")
    assert fan.flow == network.supply_flow
    assert fan.count * fan.pressure == pytest.approx(network.plenum_pressure, rel=1e-9)


def test_power_and_supply_have_the_margin():
    """A fan at half its speed takes an eighth of its power (fan laws); the supply has a quarter over full speed."""
    found = power(shipped("table-top", {"exhaust.fan_speed_ratio": 0.5, "air.density": 1.2}))
    exhaust = found.fans[0]
    assert exhaust.power == pytest.approx(exhaust.full_power / 8)
    (supply,) = found.supplies
    assert supply.full_load == pytest.approx(1.44 + 2 * 1.68)
    assert supply.rating == pytest.approx(MARGIN * supply.full_load)
    assert supply.current == pytest.approx(supply.rating / 12.0)


def test_at_full_speed_a_fan_takes_what_it_takes_at_a_speed_ratio_of_one():
    """Both powers are of the air of the case: in thinner air than the fan file's neither is larger than the other."""
    fan = power(shipped("table-top", {"exhaust.fan_speed_ratio": 1.0, "air.density": 1.1})).fans[0]
    assert fan.power == fan.full_power == pytest.approx(1.44 * 1.1 / 1.2)


def test_a_current_is_not_rounded_up_for_the_last_digit_of_a_division():
    """6 W at 12 V are 0.5 A even where the quotient ends above it; 0.502 A are 0.51 A, 1.02 A are 1.1 A."""
    assert amperes(0.5000000000000001) == 0.5
    assert amperes(0.502) == 0.51
    assert amperes(1.02) == 1.1


@pytest.mark.parametrize(
    ("inches", "words"),
    [(0.138, "9/64 in, +0.003"), (0.5, "1/2 in, +0.000"), (1.12, "1 1/8 in, +0.005"), (1e-3, "1/64 in, +0.015")],
)
def test_the_nearest_drill_is_a_reduced_fraction(inches, words):
    """A diameter in inches is named by the nearest 64th, reduced, none below the first, with what that is wider."""
    assert fraction_drill(0.0254 * inches) == words


def test_sound_is_said_only_where_every_fan_gives_it(own_fans):
    """Without levels no estimate; two equal fans are 3 dB over one; half the speed takes 50 lg 2 = 15 dB off."""
    for path in (own_fans.parent / "fans").glob("hall-*.toml"):
        path.write_text("".join(line for line in path.read_text().splitlines(True) if "sound_level" not in line))
    case = read_case(own_fans)
    assert power(case).sound_level is None
    assert any("no estimate" in line for line in power_lines(power(case), MILLIMETRES))
    for name, level in (("hall-base-160", 40.0), ("hall-roof-250", -1.0)):
        path = own_fans.parent / "fans" / f"{name}.toml"
        path.write_text(path.read_text() + (f"sound_level = {level}\n" if level > 0 else 'sound_level = "0 dB"\n'))
    found = power(case)
    assert found.sound_level == pytest.approx(
        40.0 + 10.0 * math.log10(2.0), abs=0.01
    )  # the roof fan of 0 dB adds nothing
    slower = vary(case, {"supply.fans": [{"file": "fans/hall-base-160.toml", "count": 1, "speed_ratio": 0.5}]})
    assert power(slower).fans[1].sound_level == pytest.approx(40.0 - 15.05, abs=0.01)


def test_fans_that_do_not_state_their_power_are_named(own_fans):
    """A fan file without power is left out of the load and named, not taken for nothing."""
    path = own_fans.parent / "fans" / "hall-roof-250.toml"
    path.write_text("\n".join(line for line in path.read_text().splitlines() if not line.startswith("power")))
    found = power(read_case(own_fans))
    assert found.unknown == ("250 mm axial fan, 230 V (invented curve)",)
    assert found.load == pytest.approx(2 * 38.0, rel=0.01)
    assert any("Power is not stated for 250 mm" in line for line in power_lines(found, MILLIMETRES))


def test_air_changes_and_heat_follow_the_room():
    """In a room of ten times its hourly flow the exhaust makes a tenth of an air change; heat is the fans' power."""
    case = shipped("hall")
    flow = solve_network(case).exhaust_flow
    found = power(shipped("hall", {"air.room_volume": 36000.0 * flow}))
    assert found.room.is_given
    assert found.room.air_changes == pytest.approx(0.1)
    joules = found.room.warming * 1.2041 * 1006.0 * found.room.volume
    assert joules == pytest.approx(3600.0 * found.load, rel=1e-3)
    assert any("air.room_volume is not given" in line for line in power_lines(power(case), MILLIMETRES))
