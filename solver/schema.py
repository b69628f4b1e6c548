"""The case as frozen values: attribute names are the keys of the file, with units, defaults and ranges.

Checks that need more than one key are in relations.py, those of the plan in plan.py.
"""

from __future__ import annotations

import math
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

from swirlwright.solver.quantities import Number

# Result files cannot hold a NUL, and a message is one line.
Text = Annotated[str, Field(min_length=1, max_length=300, pattern=r"^[^\x00-\x1f\x7f]*$")]
Length = Annotated[float, Number("m", gt=0, le=100)]
LengthOrZero = Annotated[float, Number("m", ge=0, le=100)]
Coordinate = Annotated[float, Number("m", ge=-100, le=100)]
Flow = Annotated[float, Number("m3/s", gt=0, le=1e4)]
Pressure = Annotated[float, Number("Pa", gt=0, le=2e4)]
Speed = Annotated[float, Number("m/s", ge=-100, le=100)]
Loss = Annotated[float, Number(ge=0, le=1000)]
Rotation = Annotated[float, Number("rad/s", ge=-1000, le=1000)]
Seconds = Annotated[float, Number("s", gt=0, le=1e6)]
SecondsOrZero = Annotated[float, Number("s", ge=0, le=1e6)]
Degrees = Annotated[float, Number("deg", ge=-360, le=360)]
Share = Annotated[float, Number(ge=0, le=1)]
Factor = Annotated[float, Number(ge=0, le=100)]
SpeedRatio = Annotated[float, Number(gt=0, le=10)]
FanCount = Annotated[int, Number(ge=1, le=100, whole=True)]
FanFlow = Annotated[float, Number("m3/s", ge=0, le=1e4)]
FanPressure = Annotated[float, Number("Pa", ge=-2e4, le=2e4)]
Slip = Literal["no-slip", "free-slip"]
Side = Literal["front", "right", "back", "left"]


class Lean(Number):
    """Elevation of a jet: "none", "pipe-flow" or an angle; read as text or number."""

    def convert(self, value: object) -> float | str:  # type: ignore[override]
        if value in ("none", "pipe-flow"):
            return str(value)
        try:
            return super().convert(value)
        except ValueError as error:
            raise type(error)(f'"none", "pipe-flow" or an angle {self.range_text()}') from error


class Table(BaseModel):
    """A table of the file: unknown keys are mistakes, values never change."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=False)


class Chamber(Table):
    """The box of air and what its sides are."""

    footprint: Literal["square", "round"]
    width: Length
    height: Length
    open_sides: tuple[Side, ...] = ()
    open_fraction: Share = 0.0
    side_opening: Annotated[float, Number(gt=0, le=1)] = 1.0
    open_from: LengthOrZero = 0.0
    open_to: Length | None = None
    inflow_loss: Loss = 0.5  # sharp edge; Idelchik, Handbook of Hydraulic Resistance, from memory
    outflow_loss: Loss = 0.0
    leak_area: Annotated[float, Number("m2", ge=0, le=100)] = 0.0
    wall_friction_factor: Factor | None = None

    @property
    def open_share(self) -> float:
        """Open share of the perimeter within the open band, 0 to 1."""
        share = len(set(self.open_sides)) / 4 if self.footprint == "square" else self.open_fraction
        return share * self.side_opening

    @property
    def open_top(self) -> float:
        """Upper end of the open band [m]."""
        return self.height if self.open_to is None else self.open_to

    @property
    def floor_area(self) -> float:
        """Area of the true footprint [m2]."""
        return self.width**2 * (1.0 if self.footprint == "square" else math.pi / 4)

    @property
    def perimeter(self) -> float:
        """Length of the true perimeter [m]."""
        return self.width * (4.0 if self.footprint == "square" else math.pi)

    @property
    def open_area(self) -> float:
        """Open area of the true sides [m2], without leaks."""
        return self.open_share * self.perimeter * (self.open_top - self.open_from)


class Walls(Table):
    """Slip and rotation of the solid surfaces."""

    floor: Slip = "no-slip"
    ceiling: Slip = "no-slip"
    side: Slip = "no-slip"
    floor_rotation: Rotation = 0.0
    ceiling_rotation: Rotation = 0.0
    side_rotation: Rotation = 0.0


class Exhaust(Table):
    """The round opening in the middle of the ceiling and what draws through it."""

    diameter: Length
    hub_diameter: LengthOrZero = 0.0
    guard_loss: Loss = 0.0
    grille_loss: Loss = 0.0
    duct_loss: Loss = 0.0
    fan: Text | None = None
    flow: Flow | None = None
    pressure: Pressure | None = None
    fan_count: FanCount = 1
    fan_speed_ratio: SpeedRatio = 1.0
    outlet_profile: Literal["pressure", "uniform", "parabolic"] = "pressure"


class SupplyFan(Table):
    """Some equal fans on the supply plenum."""

    file: Text
    count: FanCount = 1
    speed_ratio: SpeedRatio = 1.0


class Supply(Table):
    """What presses air into the tubes."""

    fans: tuple[SupplyFan, ...] = Field(default=(), max_length=20)
    pressure: Pressure | None = None
    flow: Flow | None = None
    arrangement: Literal["parallel", "series"] = "parallel"
    plenum_loss: Loss = 0.0


class HoleRow(Table):
    """Holes of one size and aim along a tube."""

    hole_diameter: Length
    lowest: Length | None = None
    pitch: Length | None = None
    count: Annotated[int, Number(ge=1, le=1000, whole=True)] | None = None
    heights: tuple[Length, ...] = Field(default=(), max_length=1000)
    aim: Annotated[float, Number("deg", ge=0, le=180)]
    discharge_coefficient: Annotated[float, Number(gt=0, le=1)]
    discharge_source: Text
    lean: Annotated[float | str, Lean("deg", ge=-80, le=80)] = "none"

    def hole_heights(self) -> tuple[float, ...]:
        """Heights of the hole centres above the floor [m]."""
        if self.heights or self.lowest is None or self.count is None:
            return self.heights
        return tuple(self.lowest + i * (self.pitch or 0.0) for i in range(self.count))


class Tubes(Table):
    """Equal drilled upright tubes."""

    count: Annotated[int, Number(ge=1, le=100, whole=True)] | None = None
    place_radius: Length | None = None
    first_angle: Degrees = 0.0
    positions: tuple[tuple[Coordinate, Coordinate], ...] = Field(default=(), max_length=100)
    inner_diameter: Length
    wall_thickness: Length
    roughness: Annotated[float, Number("m", ge=0, le=0.01)] = 1.5e-6  # drawn tubing; common practice
    entrance: Literal["sharp", "re-entrant", "rounded"] = "sharp"
    entrance_loss: Loss | None = None
    feed: Literal["below", "above", "room"] = "below"
    rows: tuple[HoleRow, ...] = Field(min_length=1, max_length=50)

    @property
    def outer_diameter(self) -> float:
        """Outer diameter [m]."""
        return self.inner_diameter + 2 * self.wall_thickness

    @property
    def number(self) -> int:
        """How many tubes."""
        return len(self.positions) or self.count or 0

    @property
    def entrance_coefficient(self) -> float:
        """Loss of the entrance on the dynamic head in the tube (Idelchik; Crane TP-410; from memory)."""
        if self.entrance_loss is not None:
            return self.entrance_loss
        return {"sharp": 0.5, "re-entrant": 0.9, "rounded": 0.04}[self.entrance]


class Inlet(Table):
    """A band of the side through which air of prescribed direction comes in."""

    from_height: LengthOrZero = 0.0
    to_height: Length
    flow: Flow | None = None
    radial_velocity: Annotated[float, Number("m/s", gt=0, le=100)] | None = None
    angle: Annotated[float, Number("deg", gt=-89.9, lt=89.9)] | None = None
    swirl_velocity: Speed | None = None
    profile: Literal["uniform", "smooth"] = "uniform"
    axial: Literal["no-slip", "free"] = "no-slip"


class Fog(Table):
    """Fog let in through the middle of the floor."""

    radius: Length
    flow: Flow
    diffuser_radius: Length | None = None
    diffuser_gap: Length | None = None
    buoyancy: Literal["on", "off"] = "on"
    density_excess: Annotated[float, Number(ge=-0.2, le=0.6)] = 0.02  # 20 g of water in a cubic metre of air
    droplet_diameter: Annotated[float, Number("m", ge=0, le=8e-5)] = 5e-6
    liquid_content: Annotated[float, Number("kg/m3", gt=0, le=1)] = 0.02
    room_humidity: Share = 0.5

    @property
    def gap(self) -> float:
        """Height of the gap under the disc [m]; by default the inlet's area again, all round its lip."""
        return 0.5 * self.radius if self.diffuser_gap is None else self.diffuser_gap


class AirTable(Table):
    """State of the air."""

    temperature: Annotated[float, Number("K", ge=223, le=373)] = 293.15
    altitude: Annotated[float, Number("m", ge=-500, le=9000)] = 0.0
    kinematic_viscosity: Annotated[float, Number("m2/s", gt=0, le=1000)] | None = None
    density: Annotated[float, Number("kg/m3", gt=0, le=1e4)] | None = None
    draught: Annotated[float, Number("m/s", ge=0, le=10)] = 0.15  # EN ISO 7730, category B, from memory
    room_volume: Annotated[float, Number("m3", gt=0, le=1e7)] | None = None


class Model(Table):
    """The closure and its constants."""

    closure: Literal["laminar", "constant", "mixing-length", "spalart-allmaras"] = "mixing-length"
    viscosity_ratio: Annotated[float, Number(ge=0.01, le=1e5)] = 1.0
    length_constant: Annotated[float, Number(gt=0, le=1)] = 0.09
    damping_beta: Annotated[float, Number(ge=0, le=100)] = 7.0  # Bradshaw 1969, J. Fluid Mech. 36:177, memory
    unstable_cap: Annotated[float, Number(ge=1, le=10)] = 2.0
    radius_factor: Annotated[float, Number(ge=0.5, le=2)] = 1.0
    jet_spread: Annotated[float, Number(ge=0.02, le=0.3)] = 0.096  # Panchapakesan and Lumley 1993


class GridTable(Table):
    """Cells and their finest spacings."""

    cells_r: Annotated[int, Number(ge=8, le=2000, whole=True)] = 64
    cells_z: Annotated[int, Number(ge=8, le=2000, whole=True)] = 96
    core_spacing: Length | None = None
    floor_spacing: Length | None = None


class Probe(Table):
    """A point whose velocities and pressure are kept at every step."""

    name: Text
    r: LengthOrZero
    z: LengthOrZero


class Line(Table):
    """A line along z (r given) or along r (z given) kept at every step."""

    name: Text | None = None
    r: LengthOrZero | None = None
    z: LengthOrZero | None = None


class Run(Table):
    """Steady or transient, when to stop, what to keep."""

    mode: Literal["steady", "transient"] = "steady"
    max_iterations: Annotated[int, Number(ge=1, le=100_000, whole=True)] = 200
    tolerance: Annotated[float, Number(gt=0, le=0.1)] = 1e-9
    end_time: Seconds = 20.0
    spin_up: SecondsOrZero = 8.0
    average: Seconds = 10.0
    frame_interval: Seconds = 0.1
    max_step: Seconds | None = None
    time_limit: Seconds | None = None
    probes: tuple[Probe, ...] = Field(default=(), max_length=100)
    lines: tuple[Line, ...] = Field(default=(), max_length=20)
    start_from: Text | None = None
    output: Literal["si", "dimensionless"] = "si"


class Event(Table):
    """What changes at one time of a transient run: factors on the flows, or the sides."""

    at: SecondsOrZero
    exhaust: Factor | None = None
    supply: Factor | None = None
    fog: Factor | None = None
    sides: Literal["open", "closed"] | None = None


class Case(Table):
    """A whole case. Read one with `swirlwright.solver.casefile.read_case`."""

    title: Text
    chamber: Chamber
    walls: Walls = Walls()
    exhaust: Exhaust | None = None
    supply: Supply | None = None
    tubes: tuple[Tubes, ...] = Field(default=(), max_length=20)
    inlet: Inlet | None = None
    fog: Fog | None = None
    air: AirTable = AirTable()
    model: Model = Model()
    grid: GridTable = GridTable()
    run: Run = Run()
    events: tuple[Event, ...] = Field(default=(), max_length=100)

    _text: str = PrivateAttr(default="")
    _path: Path = PrivateAttr(default=Path("case.toml"))

    @property
    def text(self) -> str:
        """The case as TOML, as it was read."""
        return self._text

    @property
    def path(self) -> Path:
        """The file it was read from; fan files stand relative to its folder."""
        return self._path

    @property
    def model_radius(self) -> float:
        """Radius of the round domain of the flow [m]: equal floor area, times model.radius_factor."""
        return math.sqrt(self.chamber.floor_area / math.pi) * self.model.radius_factor

    @property
    def lacks_for_touchdown(self) -> str:
        """What it lacks for a column that could touch down, in words; empty where it lacks nothing.

        Touchdown is asked of a vortex that jets drive and an exhaust draws up.
        """
        lacking = [name for name, part in (("jets", self.tubes), ("exhaust", self.exhaust)) if not part]
        return " and no ".join(lacking)

    @property
    def wall_friction_factor(self) -> float:
        """Factor on the sides' friction; by default the true perimeter over that of the equal circle."""
        if self.chamber.wall_friction_factor is not None:
            return self.chamber.wall_friction_factor
        return 2 / math.sqrt(math.pi) if self.chamber.footprint == "square" else 1.0

    @cached_property
    def _air(self) -> tuple[float, float]:
        from swirlwright.solver.air import air_properties

        return air_properties(self.air.temperature, self.air.altitude)

    @property
    def density(self) -> float:
        """Density of the air [kg/m3]."""
        return self._air[0] if self.air.density is None else self.air.density

    @property
    def kinematic_viscosity(self) -> float:
        """Molecular kinematic viscosity of the air [m2/s]."""
        if self.air.kinematic_viscosity is not None:
            return self.air.kinematic_viscosity
        return self._air[1] / self._air[0] if self.air.density is None else self._air[1] / self.air.density


class FanFile(Table):
    """A fan file: the curve as its maker prints it, at one speed and density."""

    title: Text
    speed_rpm: Annotated[float, Number("rpm", gt=0, le=1e5)]
    density: Annotated[float, Number("kg/m3", gt=0, le=10)] = 1.2
    diameter: Length
    flow: tuple[FanFlow, ...] = Field(min_length=2, max_length=500)
    pressure: tuple[FanPressure, ...] = Field(min_length=2, max_length=500)
    power: Annotated[float, Number("W", gt=0, le=1e6)] | None = None
    voltage: Annotated[float, Number("V", gt=0, le=1000)] | None = None
    current: Annotated[float, Number("A", gt=0, le=1000)] | None = None
    sound_level: Annotated[float, Number("dB", ge=0, le=150)] | None = None

    @property
    def electrical_power(self) -> float | None:
        """Power taken at the printed speed [W], from voltage times current where it is not given."""
        if self.power is None and self.voltage is not None and self.current is not None:
            return self.voltage * self.current
        return self.power
