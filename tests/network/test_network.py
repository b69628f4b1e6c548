"""The whole air network of a case: balances, estimates, cautions, refusals, table."""

import json
import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from swirlwright.solver.casefile import parse_case, read_case
from swirlwright.solver.errors import InputError
from swirlwright.solver.network import AirNetwork, network_json, network_table, solve_network
from swirlwright.solver.network_table import column, digits
from swirlwright.solver.schema import Case

CASES = Path(__file__).parents[2] / "cases"

CHAMBER = """
title = "network test"
[chamber]
footprint = "round"
width = 0.4
height = 0.6
{chamber}
[air]
density = 1.2
kinematic_viscosity = 1.5e-5
"""
TUBES = """
[[tubes]]
count = 4
place_radius = 0.17
inner_diameter = 0.019
wall_thickness = 0.001
feed = "{feed}"
  [[tubes.rows]]
  hole_diameter = 0.005
  lowest = 0.03
  pitch = 0.1
  count = 6
  aim = 45
  discharge_coefficient = 0.62
  discharge_source = "test"
  lean = "{lean}"
"""
FAN = """
title = "{title}"
speed_rpm = 3000
density = 1.2
diameter = 0.08
flow = {flow}
pressure = {pressure}
power = 2.0
"""


def case_of(text: str, folder: Path = CASES, chamber: str = "", feed: str = "below", lean: str = "none") -> Case:
    filled = CHAMBER.format(chamber=chamber) + TUBES.format(feed=feed, lean=lean) + text
    return parse_case(filled, folder / "network-test.toml")


def fan(folder: Path, name: str, flow: list[float], pressure: list[float]) -> str:
    (folder / f"{name}.toml").write_text(FAN.format(title=name, flow=flow, pressure=pressure))
    return f"{name}.toml"


def inflow(network: AirNetwork) -> float:
    return network.supply_flow + network.room_flow + network.inlet_flow + network.fog_flow


@pytest.mark.parametrize("name", ["table-top", "hall", "start-up"])
def test_shipped_cases_balance(name):
    """Flows of holes, tubes and supply agree to round-off, and the torque is the sum of m U d of the case."""
    case = read_case(CASES / f"{name}.toml")
    network = solve_network(case)
    holes = float(network.jets.mass_flow.sum()) / case.density
    assert holes == pytest.approx(network.supply_flow, rel=1e-12)
    assert sum(state.flow for state in network.tubes) == pytest.approx(network.supply_flow, rel=1e-12)
    arm = case.tubes[0].place_radius * math.cos(math.radians(case.tubes[0].rows[0].aim))
    jets = network.jets
    assert network.torque == pytest.approx(float((jets.mass_flow * jets.speed).sum()) * arm, rel=1e-12)
    # The fans' curve at the flow is the plenum's pressure: the point lies on the curve.
    assert network.source.fans.pressure_at(network.supply_flow) == pytest.approx(network.plenum_pressure, rel=1e-9)


def test_supply_of_given_pressure_and_flow_are_one():
    """The flow found at a given pressure, given in turn, needs that pressure, plenum loss included."""
    open_side = "open_fraction = 0.5"
    one = solve_network(case_of("[supply]\npressure = 60.0\nplenum_loss = 1.5", chamber=open_side))
    flow = one.supply_flow
    two = solve_network(case_of(f"[supply]\nflow = {flow!r}\nplenum_loss = 1.5", chamber=open_side))
    assert two.plenum_pressure == pytest.approx(60.0, rel=1e-9)
    area = 4 * math.pi / 4 * 0.019**2
    lost = one.plenum_pressure - one.feeding.inlet_pressure
    assert lost == pytest.approx(1.5 * 0.6 * (flow / area) ** 2, rel=1e-12)


def test_estimate_of_the_chamber_is_the_inflow_loss_of_the_side():
    """Without a flow solution p = -(1 + K_in) rho/2 (Q_side / open area)^2, as the balance of flows says."""
    text = "[supply]\npressure = 60.0\n[exhaust]\ndiameter = 0.08\nflow = 0.02"
    network = solve_network(case_of(text, chamber="open_fraction = 0.1\ninflow_loss = 0.7"))
    area = 0.1 * math.pi * 0.4 * 0.6
    expected = -1.7 * 0.6 * (network.side_flow / area) ** 2
    assert network.is_estimate
    # The estimate uses a sampled load of the tubes, within a per cent of their 0.0027 of 0.02 m3/s.
    assert network.chamber_pressure == pytest.approx(expected, rel=0.01)
    assert network.side_flow == pytest.approx(0.02 - network.supply_flow, rel=1e-12)


def test_chamber_driven_by_suction_alone():
    """Tubes fed from the room and a closed chamber: the jets carry the exhaust's flow, slower than Bernoulli's."""
    network = solve_network(case_of("[exhaust]\ndiameter = 0.08\npressure = 50.0", feed="room"))
    assert network.chamber_pressure == -50.0
    assert network.supply_flow == 0.0
    assert network.exhaust_flow == pytest.approx(network.room_flow, rel=1e-12)
    limit = math.sqrt(2 * 50 / 1.2)
    assert 0.8 * limit < network.jets.speed.min() < network.jets.speed.max() < limit


@pytest.mark.parametrize("feed", ["room", "below"])
def test_closed_chamber_with_exhaust_fan_balances(tmp_path, feed):
    """In a closed chamber the exhaust draws what is let in, and its fan works within 2 per cent of that point."""
    name = fan(tmp_path, "roof", [0.0, 0.005, 0.01, 0.015], [60.0, 50.0, 35.0, 0.0])
    text = f'[exhaust]\ndiameter = 0.08\nfan = "{name}"\ngrille_loss = 2.0'
    text += "\n[supply]\npressure = 30.0" if feed == "below" else ""
    network = solve_network(case_of(text, tmp_path, feed=feed))
    assert network.exhaust_flow == pytest.approx(inflow(network), rel=1e-12)
    assert network.side_flow == pytest.approx(0.0, abs=1e-12)
    # The level comes from the sampled load, which is good to a per cent.
    assert network.exhaust.flow_for(network.chamber_pressure) == pytest.approx(network.exhaust_flow, rel=0.02)


def test_exhaust_duty_is_fan_less_losses(tmp_path):
    """The pressure needed in the opening is the loss less the fans' pressure at the case's speed and density."""
    name = fan(tmp_path, "roof", [0.0, 0.01, 0.02], [40.0, 20.0, 0.0])
    text = (
        f'[exhaust]\ndiameter = 0.1\nhub_diameter = 0.04\nfan = "{name}"\nfan_count = 2\n'
        "fan_speed_ratio = 1.5\nguard_loss = 0.3\ngrille_loss = 0.5\nduct_loss = 0.2"
    )
    duty = solve_network(case_of("[supply]\nflow = 0.002\n" + text, tmp_path, "open_fraction = 0.5")).exhaust
    flow, area = 0.03, math.pi / 4 * (0.1**2 - 0.04**2)
    # Two equal fans of a straight curve at 1.5 times the speed: 2.25 * 40 (1 - (q / 2 / 1.5) / 0.02).
    pressure = 2.25 * 40 * (1 - flow / 2 / 1.5 / 0.02)
    assert duty.area == pytest.approx(area, rel=1e-14)
    assert duty.plane_pressure(flow) == pytest.approx(1.0 * 0.6 * (flow / area) ** 2 - pressure, rel=1e-12)
    assert duty.flow_for(duty.plane_pressure(flow)) == pytest.approx(flow, rel=1e-9)


def test_exhaust_of_given_flow_has_no_pressure_of_its_own():
    """Its flow does not depend on the pressure, and asking for a pressure is refused."""
    text = "[supply]\nflow = 0.002\n[exhaust]\ndiameter = 0.08\nflow = 0.01"
    duty = solve_network(case_of(text, chamber="open_fraction = 0.5")).exhaust
    assert duty.flow_for(-100.0) == duty.flow_for(0.0) == 0.01
    with pytest.raises(ValueError, match="no pressure of its own"):
        duty.plane_pressure(0.01)


def test_pressure_of_the_solved_flow_reaches_the_holes():
    """A chamber pressure that falls with height speeds the upper jets up as sqrt of the larger difference."""
    case = case_of("[supply]\npressure = 60.0\n[exhaust]\ndiameter = 0.08\nflow = 0.02", chamber="open_fraction = 0.5")
    network = solve_network(case, chamber_pressure=lambda z: -20.0 * z, exhaust_flow=0.02)
    assert not network.is_estimate
    assert network.chamber_pressure == pytest.approx(-6.0)
    state = network.tubes[0]
    np.testing.assert_allclose(state.chamber_pressure, [-20.0 * hole.height for hole in state.tube.holes], rtol=1e-14)
    np.testing.assert_allclose(state.hole_speed, np.sqrt(2 * np.array(state.hole_drop) / 1.2), rtol=1e-12)
    still = solve_network(case, chamber_pressure=lambda z: 0.0, exhaust_flow=0.02).tubes[0]
    assert state.hole_speed[-1] / state.hole_speed[0] > 1.05 * still.hole_speed[-1] / still.hole_speed[0]


def test_backflow_is_refused_with_file_and_line():
    """A chamber at more than the supply's pressure is an input error that names the tubes' line."""
    case = case_of("[supply]\npressure = 60.0", chamber="open_fraction = 0.5")
    with pytest.raises(InputError) as caught:
        solve_network(case, chamber_pressure=lambda z: 100.0)
    (problem,) = caught.value.problems
    assert problem.key == "tubes.1"
    assert case.text.splitlines()[problem.line - 1] == "[[tubes]]"


def test_several_operating_points_are_told(tmp_path):
    """A supply fan with a stall dip that meets its tubes three times works at the largest flow, with a caution."""
    name = fan(tmp_path, "dip", [0.0, 0.0006, 0.0012, 0.0018, 0.003], [60.0, 12.0, 9.0, 45.0, 0.0])
    text = f'[supply]\nfans = [{{file = "{name}"}}]\nplenum_loss = 3'
    network = solve_network(case_of(text, tmp_path, "open_fraction = 0.5"))
    flows = [point.flow for point in network.feeding.points]
    assert len(flows) == 3
    # Points are reported from the sampled load, within a per cent.
    assert network.supply_flow == pytest.approx(max(flows), rel=0.01)
    assert any("more than one operating point" in warning for warning in network.warnings)


def test_fans_in_parallel_and_in_series(tmp_path):
    """Two fans in parallel give the plenum one fan's pressure at half the flow, in series twice that at the flow."""
    name = fan(tmp_path, "one", [0.0, 0.002, 0.004], [50.0, 30.0, 0.0])
    networks = {}
    for arrangement in ("parallel", "series"):
        text = f'[supply]\nfans = [{{file = "{name}", count = 2}}]\narrangement = "{arrangement}"'
        networks[arrangement] = solve_network(case_of(text, tmp_path, "open_fraction = 0.5"))
    one = networks["parallel"].source.fans.scaled()
    assert one.free_flow == 0.008 and networks["series"].source.fans.shut_off == 100.0
    series = networks["series"]
    half = series.plenum_pressure / 2
    assert half == pytest.approx(solve_curve(series.supply_flow), rel=1e-9)
    assert networks["parallel"].plenum_pressure == pytest.approx(
        solve_curve(networks["parallel"].supply_flow / 2), rel=1e-9
    )


def solve_curve(flow: float) -> float:
    """The fan of the test above by the library's monotone cubic [Pa]."""
    from scipy.interpolate import PchipInterpolator

    return float(PchipInterpolator([0.0, 0.002, 0.004], [50.0, 30.0, 0.0])(flow))


def test_cautions_name_what_a_builder_should_know():
    """Slow holes, uneven tubes, too much hole area and a chamber that blows out are each said in a sentence."""
    text = "[supply]\nflow = 0.002\n[exhaust]\ndiameter = 0.08\nflow = 0.001"
    crowded = CHAMBER.format(chamber="open_fraction = 0.5") + TUBES.format(feed="below", lean="none") + text
    crowded = crowded.replace("pitch = 0.1\n  count = 6", "pitch = 0.02\n  count = 25")
    warnings = " | ".join(solve_network(parse_case(crowded, CASES / "crowded.toml")).warnings)
    for part in ("Reynolds number of a hole", "differ by", "times the tube's own area", "leave through the sides"):
        assert part in warnings


def test_lean_follows_the_feed():
    """Jets that lean with the pipe flow point up from a tube fed from below, and the lowest leans most."""
    network = solve_network(case_of("[supply]\npressure = 60.0", chamber="open_fraction = 0.5", lean="pipe-flow"))
    elevation = network.jets.elevation[network.jets.tube == 0]
    assert np.all(np.diff(elevation) < 0.0) and elevation[-1] > 0.0
    above = solve_network(
        case_of("[supply]\npressure = 60.0", chamber="open_fraction = 0.5", lean="pipe-flow", feed="above")
    )
    assert above.jets.elevation.max() < 0.0


def test_cases_without_tubes_have_no_jets():
    """The closed cylinder has no network: no jets, no flows."""
    network = solve_network(read_case(CASES / "closed-cylinder.toml"))
    assert len(network.jets) == 0 and network.tubes == ()
    assert network.exhaust_flow == network.side_flow == 0.0
    assert network_table(network)[0] == "Air network"


@pytest.mark.parametrize("name", ["table-top", "hall"])
def test_table_and_plain_data_carry_units(name):
    """Every number of the table has its unit, and the plain data survive JSON unchanged."""
    network = solve_network(read_case(CASES / f"{name}.toml"))
    data = network_json(network)
    assert json.loads(json.dumps(data)) == data
    assert data["jet_torque_nm"] == network.torque
    text = "\n".join(network_table(network))
    for unit in ("m3/h", "Pa", "m/s", "N m", "mm"):
        assert unit in text
    assert max(len(line) for line in network_table(network) if not line.startswith("  - ")) <= 100


def test_network_loads_no_heavy_library():
    """Reading a case without unit strings and solving its network loads neither numba nor scipy's solvers."""
    script = (
        "import sys; from swirlwright.solver.casefile import parse_case;"
        "from swirlwright.solver.network import solve_network; solve_network(parse_case(sys.stdin.read(), 'c.toml'));"
        "print([m for m in ('numba', 'scipy.optimize', 'scipy.interpolate', 'matplotlib', 'pint') if m in sys.modules])"
    )
    text = CHAMBER.format(chamber="open_fraction = 0.5") + TUBES.format(feed="below", lean="none")
    text += "[supply]\npressure = 60.0"
    done = subprocess.run([sys.executable, "-c", script], input=text, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_column_has_one_number_of_decimals():
    """A whole number keeps the decimals of its neighbours, whole columns have none, and nothing is rounded to -0."""
    assert column([50.724, 51.0, 51.27]) == ["50.72", "51.00", "51.27"]
    assert column([54.77, 0.0, -7.6e-4]) == ["54.77", "0.00", "0.00"]
    assert column([30.0, 80.0, math.nan]) == ["30", "80", "–"]
    assert [digits(x) for x in (0.0, 51.0, 0.36, 9.99996, 11312.4, 2e-5)] == [
        "0", "51", "0.3600", "10", "11310", "2.000e-05",
    ]  # fmt: skip
