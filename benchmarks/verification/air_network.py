"""Drilled tubes, fans, holes and losses: closed forms, handbook rules and the `fluids` library."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from swirlwright.solver.casefile import parse_case
from swirlwright.solver.fans import FanCurve, in_parallel, in_series
from swirlwright.solver.losses import friction_factor
from swirlwright.solver.manifold import DrilledTube, Hole, TubeState, solve_tube
from swirlwright.solver.network import AirNetwork, solve_network
from swirlwright.solver.operating_points import chosen_point, operating_points
from swirlwright.solver.schema import Tubes
from swirlwright.verification.checks import Check, Configuration, Findings, Picture, Series, band, within

GROUP = "air network"
DENSITY, VISCOSITY = 1.2, 1.5e-5
BERNOULLI = "Bernoulli and continuity, integrated: V = U sin(phi (1 - x/L)), hole speed U cos(phi (1 - x/L))"
PERRY = "Perry's Chemical Engineers' Handbook, perforated-pipe distributors"
WANG = "Wang, J. Eng. Gas Turb. Power 123 (2001) 472, uniform outflow; re-derived"
COLEBROOK = "Colebrook, J. Inst. Civ. Eng. 11 (1939) 133, iterated to the printed digits"
FAN_LAWS = "ISO 5801, AMCA 210: Q ~ N D^3, p ~ rho N^2 D^2, P ~ rho N^3 D^5"
ROUND_OFF = "round-off"


def tube_of(
    count: int,
    *,
    area_ratio: float,
    diameter: float = 0.05,
    length: float = 1.0,
    coefficient: float = 0.62,
    entrance_loss: float = 0.0,
    roughness: float = 0.0,
    feed: str = "below",
    lean: float | None = 0.0,
) -> DrilledTube:
    """Equal holes, each in the middle of its share of the length; area_ratio: Cd times hole area over tube area."""
    hole = diameter * math.sqrt(area_ratio / (coefficient * count))
    holes = tuple(
        Hole(0, k, 0.1 + length * (k + 0.5) / count, length * (k + 0.5) / count, hole, coefficient, False, lean)
        for k in range(count)
    )
    return DrilledTube(diameter, roughness, entrance_loss, feed, holes)


def solved(tube: DrilledTube, pressure: float, *, outside: float = 0.0, viscosity: float = VISCOSITY) -> TubeState:
    """The tube fed with a total pressure [Pa], with one pressure outside [Pa]."""
    return solve_tube(tube, pressure, [outside] * len(tube.holes), density=DENSITY, viscosity=viscosity)


def perforated_pipe() -> Findings:
    """A closed pipe with so many holes that it is a slot; a length of nothing leaves no friction."""
    count, pressure = 200, 60.0
    u = math.sqrt(2.0 * pressure / DENSITY)
    why = "second order in the number of holes; the first hole stands half a share from the entrance"
    checks: list[Check] = []
    curves: list[Series] = []
    points: list[Series] = []
    for phi in (0.8, 1.3):
        state = solved(tube_of(count, area_ratio=phi, length=1e-9), pressure)
        flow, ratio = state.flow / (state.tube.area * u), state.first_over_last
        place = (np.arange(count) + 0.5) / count
        # What half a share changes: d(cos(phi x))/dx over half a hole, and as much again.
        half = phi * math.sin(phi) / count / math.cos(phi)
        checks += [
            within(f"flow over A U, phi = {phi}", flow, math.sin(phi), rel=1e-4, source=BERNOULLI, kind="analytic",
                   why=why),
            within(f"hole speed first over last, phi = {phi}", ratio, math.cos(phi), rel=half, source=BERNOULLI,
                   kind="analytic", why=why),
        ]  # fmt: skip
        curves.append(Series(f"phi = {phi}", place, np.array(state.hole_speed) / u))
        points.append(Series("cos", place[::10], np.cos(phi * (1.0 - place[::10]))))
    return Findings(tuple(checks), Picture("x/L", "hole speed over U", tuple(curves), tuple(points)))


def ten_to_one() -> Findings:
    """Where the speeds of the holes differ by five per cent, and what the handbook says there."""
    state = solved(tube_of(400, area_ratio=math.acos(0.95), length=1e-9), 60.0)
    head = state.entry_head / state.hole_drop[-1]
    checks = (
        Check("hole speed first over last at phi = 0.3176", state.first_over_last, 0.95, 2e-4, BERNOULLI, "analytic",
              "the first hole stands half a share from the entrance: 1.2e-4"),
        Check("kinetic head of the pipe over the last hole's drop", head, 0.0975, 1e-4, BERNOULLI, "analytic",
              "second order in 400 holes"),
        within("hole drop over kinetic head, for five per cent", 1.0 / head, 10.0, rel=0.05, source=PERRY,
               kind="from memory", why="a rule of thumb of one digit"),
    )  # fmt: skip
    ratios = np.linspace(0.05, 1.2, 24)
    spread = [1.0 - solved(tube_of(100, area_ratio=phi, length=1e-9), 60.0).first_over_last for phi in ratios]
    rule = Series("ten to one", np.array([math.acos(0.95)]), np.array([0.05]))
    picture = Picture(
        "Cd times hole area over pipe area", "spread of hole speeds", (Series("computed", ratios, np.array(spread)),),
        (rule,),
    )  # fmt: skip
    return Findings(checks, picture)


def friction_and_recovery() -> Findings:
    """Nearly uniform outflow from a fully rough pipe: what is regained along it, less what friction takes."""
    count, rough = 400, 0.001
    f = friction_factor(1e9, rough / 0.05)

    def change(length: float) -> float:
        # So little viscosity that f does not depend on the flow; so few holes that the outflow is uniform.
        tube = tube_of(count, area_ratio=1e-3, length=length, roughness=rough)
        state = solved(tube, 60.0, viscosity=1e-12)
        return (state.recovery - state.friction) / (DENSITY * state.entry_speed**2)

    lengths = np.linspace(0.2, 5.0, 13)
    computed = np.array([change(float(length)) for length in lengths])
    why = "the first half share of pipe carries the whole flow: 3/800 of the friction, and 1e-4"
    checks = tuple(
        Check(f"static change over rho V0^2, L = {length:g} D", change(length * 0.05), 0.5 - f * length / 6.0,
              3.0 * f * length / 6.0 / (2 * count) + 1e-4, WANG, "analytic", why)
        for length in (10.0, 40.0, 100.0)
    )  # fmt: skip
    exact = Series("k - f L/(6 D)", lengths / 0.05, 0.5 - f * lengths / 0.3)
    return Findings(
        checks, Picture("L/D", "static change over rho V0^2", (Series("computed", lengths / 0.05, computed),), (exact,))
    )


def mckeon(reynolds: float) -> float:
    """Friction factor of a smooth pipe, the fit of the high-pressure pipe of Princeton."""
    f = 0.02
    for _ in range(40):
        f = (1.930 * math.log10(reynolds * math.sqrt(f)) - 0.537) ** -2
    return f


def pipe_friction() -> Findings:
    """Friction factors of straight pipes."""
    source = "McKeon, Swanson, Zagarola, Donnelly and Smits, J. Fluid Mech. 511 (2004) 41, fit"
    checks = (
        Check("f, smooth, Re 2e4", friction_factor(2e4, 0.0), 0.025883, 5.1e-7, COLEBROOK, "analytic",
              "half a unit of the last digit"),
        Check("f, e/D 1e-3, Re 1e5", friction_factor(1e5, 1e-3), 0.022175, 5.1e-7, COLEBROOK, "analytic",
              "half a unit of the last digit"),
        Check("f, Re 1000", friction_factor(1e3, 0.0), 0.064, 1e-12, "Hagen and Poiseuille: f = 64/Re", "analytic",
              ROUND_OFF),
        within("f, smooth, Re 1e5", friction_factor(1e5, 0.0), mckeon(1e5), rel=0.02, source=source,
               kind="from memory", why="the smooth-pipe laws agree within two per cent"),
    )  # fmt: skip
    re = np.geomspace(500.0, 1e6, 60)
    curve = Series("smooth", re, np.array([friction_factor(float(x), 0.0) for x in re]))
    some = np.geomspace(3.1e4, 1e6, 8)
    points = Series("McKeon et al. 2004", some, np.array([mckeon(float(x)) for x in some]))
    return Findings(checks, Picture("Re", "Darcy friction factor", (curve,), (points,)))


def straight_fan(flow: float, pressure: float) -> FanCurve:
    """A fan whose pressure falls along a straight line from `pressure` to 0 at `flow`."""
    return FanCurve("line", 3000, DENSITY, 0.08, (0.0, 0.5 * flow, flow), (pressure, 0.5 * pressure, 0.0), power=2.0)


def straight_meets_parabola(flow: float, pressure: float, k: float) -> float:
    """Where p (1 - Q/flow) meets k Q^2: the root of a quadratic."""
    slope = pressure / flow
    return (-slope + math.sqrt(slope**2 + 4.0 * k * pressure)) / (2.0 * k)


def flow_against(fan: FanCurve, k: float) -> float:
    """Flow at which the fan meets k Q^2."""
    point = chosen_point(operating_points(fan, lambda q: k * q * q))
    assert point is not None
    return point.flow


def fan_laws() -> Findings:
    """A fan with a stall dip, driven faster and made larger, against one and the same opening."""
    fan = FanCurve(
        "dip", 3000, DENSITY, 0.12, (0.0, 0.01, 0.02, 0.03, 0.04, 0.05), (60.0, 40.0, 42.0, 46.0, 30.0, 0.0), 3.0
    )
    k, speed, size = 3e4, 1.3, 1.5
    before = flow_against(fan, k)
    faster = fan.scaled(speed_ratio=speed)
    # An opening whose area grows with the fan's: k falls with the fourth power of the size.
    larger = fan.scaled(diameter_ratio=size)
    ratio = flow_against(faster, k) / before
    assert faster.power is not None and fan.power is not None
    why = "the system's parabola scales as the fan does; round-off of the root"
    checks = (
        within("flow, 1.3 times the speed", ratio, speed, rel=1e-9, source=FAN_LAWS, kind="published", why=why),
        within("pressure, 1.3 times the speed", faster.pressure_at(speed * before) / fan.pressure_at(before),
               speed**2, rel=1e-9, source=FAN_LAWS, kind="published", why=why),
        within("power, 1.3 times the speed", faster.power / fan.power, speed**3, rel=1e-12, source=FAN_LAWS,
               kind="published", why=ROUND_OFF),
        within("flow, 1.5 times the size", flow_against(larger, k / size**4) / before, size**3, rel=1e-9,
               source=FAN_LAWS, kind="published", why=why),
    )  # fmt: skip
    q = np.linspace(0.0, 0.065, 100)
    curves = tuple(
        Series(name, q, np.array([max(f.pressure_at(float(x)), 0.0) for x in q]))
        for name, f in (("3000 rpm", fan), ("3900 rpm", faster))
    )
    scaled = Series("fan laws", np.array(fan.flow) * speed, np.array(fan.pressure) * speed**2)
    return Findings(checks, Picture("Q, m3/s", "p, Pa", curves, (scaled,)))


def fans_together() -> Findings:
    """One, two side by side and two in a row of a fan with a straight curve, against a quadratic resistance."""
    flow, pressure, k = 0.02, 40.0, 1e5
    one = straight_fan(flow, pressure)
    source = "intersection of a straight line with a parabola: flows add side by side, pressures in a row"
    cases = (
        ("one fan", one, flow, pressure),
        ("two in parallel", in_parallel([one, one]), 2.0 * flow, pressure),
        ("two in series", in_series([one, one]), flow, 2.0 * pressure),
    )
    checks = tuple(
        within(f"flow, {name} [m3/s]", flow_against(fan, k), straight_meets_parabola(q, p, k), rel=1e-10,
               source=source, kind="analytic", why="round-off of the root")
        for name, fan, q, p in cases
    )  # fmt: skip
    q = np.linspace(0.0, 0.04, 81)
    curves = tuple(Series(name, q, np.array([fan.pressure_at(float(x)) for x in q])) for name, fan, _, _ in cases)
    flows = np.array([flow_against(fan, k) for _, fan, _, _ in cases])
    return Findings(checks, Picture("Q, m3/s", "p, Pa", curves, (Series("operating points", flows, k * flows**2),)))


def holes_and_entrances() -> Findings:
    """A hole by itself, and the entrances' losses beside those of handbooks."""
    from fluids.fittings import entrance_distance, entrance_rounded, entrance_sharp

    tube = tube_of(1, area_ratio=1e-5)
    state = solved(tube, 50.0, outside=-10.0)
    orifice = 0.62 * tube.hole_area * math.sqrt(2.0 * 60.0 / DENSITY)
    coefficients = {kind: entrance(kind) for kind in ("sharp", "re-entrant", "rounded")}
    library = "`fluids`, fittings: "
    re_entrant = entrance_distance(0.02, 0.001, method="Crane")
    sharp = [entrance_sharp(method=m) for m in ("Crane", "Idelchik", "Miller", "Rennels")]
    checks = (
        within("flow of one small hole [m3/s]", state.flow, orifice, rel=1e-6, source="Torricelli: Cd a sqrt(2 dp/rho)",
               kind="analytic", why="dynamic head of the tube at a hundred-thousandth of its area"),
        band("loss of a sharp entrance", coefficients["sharp"], min(sharp), max(sharp),
             source=library + "Crane TP-410, Idelchik, Miller, Rennels", kind="reference library",
             why="band of the four handbooks"),
        band("loss of a re-entrant entrance", coefficients["re-entrant"], re_entrant, 1.0,
             source=library + "Crane TP-410; upper end Borda's 1", kind="reference library",
             why="from a wall of some thickness to a knife edge"),
        within("loss of a rounded entrance", coefficients["rounded"], entrance_rounded(0.02, 0.003, method="Crane"),
               rel=1e-9, source=library + "Crane TP-410, radius 0.15 D", kind="reference library", why="printed"),
    )  # fmt: skip
    drops = np.linspace(5.0, 100.0, 20)
    flows = np.array([solved(tube, float(p)).flow for p in drops])
    exact = 0.62 * tube.hole_area * np.sqrt(2.0 * drops / DENSITY)
    picture = Picture(
        "pressure drop, Pa", "flow of one hole, m3/s", (Series("computed", drops, flows),),
        (Series("Torricelli", drops[::2], exact[::2]),),
    )  # fmt: skip
    return Findings(checks, picture)


def entrance(kind: str) -> float:
    """Entrance loss that a case's tubes get."""
    row = {"hole_diameter": 0.005, "heights": (0.1,), "aim": 45, "discharge_coefficient": 0.62, "discharge_source": "-"}
    tubes = {"count": 1, "place_radius": 0.1, "inner_diameter": 0.02, "wall_thickness": 0.001, "rows": [row]}
    return Tubes.model_validate(tubes | {"entrance": kind}).entrance_coefficient


CHAMBER = """
title = "network"
[chamber]
footprint = "round"
width = 0.4
height = 0.6
{chamber}
[air]
density = 1.2
kinematic_viscosity = 1.5e-5
[exhaust]
diameter = 0.08
{exhaust}
[[tubes]]
count = 4
place_radius = 0.17
inner_diameter = 0.019
wall_thickness = 0.0005
feed = "room"
entrance_loss = 0
[[tubes.rows]]
hole_diameter = 0.001
lowest = 0.03
pitch = 0.1
count = 6
aim = 45
discharge_coefficient = 0.62
discharge_source = "sharp-edged hole"
"""


def network_of(chamber: str, exhaust: str) -> AirNetwork:
    """The network of a round chamber with four tubes of small holes that draw from the room."""
    return solve_network(parse_case(CHAMBER.format(chamber=chamber, exhaust=exhaust), Path("network.toml")))


def whole_network() -> Findings:
    """An exhaust that draws through open sides, or through the holes alone."""
    area, loss = 0.1 * math.pi * 0.4 * 0.6, 0.7

    def level(flow: float) -> tuple[float, float]:
        found = network_of(f"open_fraction = 0.1\ninflow_loss = {loss}", f"flow = {flow}")
        return found.chamber_pressure, -(1.0 + loss) * 0.5 * DENSITY * (found.side_flow / area) ** 2

    computed, expected = level(0.05)
    sealed = network_of("", "pressure = 50.0")
    holes = 24 * math.pi / 4 * 0.001**2
    torricelli = 0.62 * holes * math.sqrt(2.0 * 50.0 / DENSITY)
    source = "Bernoulli with a loss K on the side's own dynamic head: p = -(1 + K) rho/2 (Q/A)^2"
    checks = (
        within("pressure of an open chamber [Pa]", computed, expected, rel=0.01, source=source, kind="analytic",
               why="the level is found with the tubes' load sampled to a per cent"),
        within("flow drawn through the holes alone [m3/s]", sealed.exhaust_flow, torricelli, rel=0.005,
               source="Torricelli: Cd a sqrt(2 dp/rho), 24 holes", kind="analytic",
               why="dynamic head and friction in the tubes, at a sixtieth of their area in holes"),
        Check("exhaust less all inflows, over the exhaust", 1.0 - sealed.room_flow / sealed.exhaust_flow, 0.0, 1e-12,
              "conservation of mass", "analytic", ROUND_OFF),
    )  # fmt: skip
    flows = np.linspace(0.01, 0.05, 9)
    pairs = np.array([level(float(q)) for q in flows])
    picture = Picture(
        "exhaust flow, m3/s", "chamber pressure, Pa", (Series("computed", flows, pairs[:, 0]),),
        (Series("Bernoulli", flows, pairs[:, 1]),),
    )  # fmt: skip
    return Findings(checks, picture)


CONFIGURATIONS = (
    Configuration("perforated-pipe", GROUP, "closed pipe with many holes, no friction", perforated_pipe, 0.1),
    Configuration("ten-to-one", GROUP, "five per cent spread and the handbook's ten to one", ten_to_one, 0.1),
    Configuration("friction-and-recovery", GROUP, "pressure along a rough drilled pipe", friction_and_recovery, 0.1),
    Configuration("pipe-friction", GROUP, "friction factors of straight pipes", pipe_friction, 0.1),
    Configuration("fan-laws", GROUP, "a fan driven faster and made larger", fan_laws, 0.1),
    Configuration("fans-together", GROUP, "fans in parallel and in series on a resistance", fans_together, 0.1),
    Configuration("holes-and-entrances", GROUP, "a single hole; entrance losses", holes_and_entrances, 0.1),
    Configuration("whole-network", GROUP, "exhaust, open side and holes in balance", whole_network, 0.1),
)
