"""What stands in a result file: every variable with dimensions, unit and meaning; the scales; the version.

The page that specifies the file is solver/RESULT_FILE.md; a change here changes that page and
FORMAT_VERSION.
"""

from __future__ import annotations

from dataclasses import dataclass

FORMAT = "swirlwright-result"
FORMAT_VERSION = "1.0"
# Readers accept every file of the same major version: a minor version only adds.
FORMAT_MAJOR = FORMAT_VERSION.split(".")[0]


@dataclass(frozen=True)
class Variable:
    """One variable of the file.

    Attributes
    ----------
    dims : tuple of str
        Dimensions, slowest first.
    units : str
        Unit in a file in SI.
    long_name : str
        What it is, for axis labels.
    powers : tuple of int
        Powers of length, velocity and density that make its scale; (0, 0, 0): the value has no dimension.
    """

    dims: tuple[str, ...]
    units: str
    long_name: str
    powers: tuple[int, int, int] = (0, 0, 0)


@dataclass(frozen=True)
class Scales:
    """The scales a file is divided by: SI when all are 1.

    Attributes
    ----------
    length, velocity, density : float
        In m, m/s and kg/m3.
    """

    length: float = 1.0
    velocity: float = 1.0
    density: float = 1.0

    @property
    def is_si(self) -> bool:
        """True when nothing is scaled."""
        return self.length == self.velocity == self.density == 1.0

    def of(self, powers: tuple[int, int, int]) -> float:
        """The scale, in SI, of a quantity of these powers of length, velocity and density."""
        return self.length ** powers[0] * self.velocity ** powers[1] * self.density ** powers[2]


SI = Scales()

_LENGTH = (1, 0, 0)
_TIME = (1, -1, 0)
_VELOCITY = (0, 1, 0)
_PRESSURE = (0, 2, 1)
_VISCOSITY = (1, 1, 0)
_VOLUME_FLOW = (2, 1, 0)
_MASS_FLOW = (2, 1, 1)
_TORQUE = (3, 2, 1)
_TORQUE_DENSITY = (0, 2, 1)
_MASS_SOURCE = (-1, 1, 1)

COORDINATES = {
    "time": Variable(("time",), "s", "time", _TIME),
    "z": Variable(("z",), "m", "height above the floor, cell centres", _LENGTH),
    "r": Variable(("r",), "m", "distance from the axis, cell centres", _LENGTH),
    "z_face": Variable(("z_face",), "m", "height above the floor, cell faces", _LENGTH),
    "r_face": Variable(("r_face",), "m", "distance from the axis, cell faces", _LENGTH),
}

_CENTRES = ("z", "r")
_FIELDS = {
    "radial_velocity": ("m s-1", "radial velocity, outward", _VELOCITY),
    "tangential_velocity": ("m s-1", "tangential velocity, counterclockwise from above", _VELOCITY),
    "axial_velocity": ("m s-1", "axial velocity, upward", _VELOCITY),
    "pressure": ("Pa", "pressure above the room's", _PRESSURE),
    "effective_viscosity": ("m2 s-1", "effective kinematic viscosity", _VISCOSITY),
    "fog_concentration": ("1", "fog concentration, share of that in the inlet", (0, 0, 0)),
}
FRAMES = {name: Variable(("time", *_CENTRES), *rest) for name, rest in _FIELDS.items()}
MEANS = {
    f"mean_{name}": Variable(_CENTRES, units, f"time average of: {text}", powers)
    for name, (units, text, powers) in _FIELDS.items()
} | {
    f"std_{name}": Variable(_CENTRES, units, f"standard deviation in time of: {text}", powers)
    for name, (units, text, powers) in _FIELDS.items()
}

_R_FACES = ("z", "r_face")
_Z_FACES = ("z_face", "r")
_AM = "angular momentum flux"
BUDGET = {
    "mass_flux_r": Variable(_R_FACES, "kg s-1", "mass flow outward through the ring face", _MASS_FLOW),
    "mass_flux_z": Variable(_Z_FACES, "kg s-1", "mass flow upward through the ring face", _MASS_FLOW),
    "angular_momentum_flux_r_advective": Variable(_R_FACES, "N m", f"{_AM} outward, carried", _TORQUE),
    "angular_momentum_flux_r_viscous": Variable(_R_FACES, "N m", f"{_AM} outward, by stress", _TORQUE),
    "angular_momentum_flux_z_advective": Variable(_Z_FACES, "N m", f"{_AM} upward, carried", _TORQUE),
    "angular_momentum_flux_z_viscous": Variable(_Z_FACES, "N m", f"{_AM} upward, by stress", _TORQUE),
    "mass_source": Variable(_CENTRES, "kg m-3 s-1", "mass from the jets, per volume", _MASS_SOURCE),
    "torque_source": Variable(_CENTRES, "N m m-3", "torque from the jets, per volume", _TORQUE_DENSITY),
    "angular_momentum_storage": Variable(
        _CENTRES, "N m m-3", "mean rate of change of angular momentum, per volume", _TORQUE_DENSITY
    ),
}

PLACES = {
    "side_open_fraction": Variable(("z",), "1", "open share of the side's perimeter"),
    "hole_tube": Variable(("hole",), "1", "tube the hole is in, counted from 0"),
    "hole_row": Variable(("hole",), "1", "row the hole is in, counted from 0"),
    "hole_height": Variable(("hole",), "m", "height of the hole above the floor", _LENGTH),
    "hole_radius": Variable(("hole",), "m", "distance of the hole from the chamber's axis", _LENGTH),
    "hole_aim": Variable(("hole",), "rad", "angle of the jet to the tangent, inward positive"),
    "hole_elevation": Variable(("hole",), "rad", "angle of the jet to the horizontal, upward positive"),
    "hole_diameter": Variable(("hole",), "m", "diameter of the hole", _LENGTH),
    "hole_speed": Variable(("hole",), "m s-1", "speed of the jet", _VELOCITY),
    "hole_mass_flow": Variable(("hole",), "kg s-1", "mass flow of the jet", _MASS_FLOW),
    "hole_moment_arm": Variable(("hole",), "m", "moment arm of the jet, counterclockwise positive", _LENGTH),
    "tube_x": Variable(("tube",), "m", "position of the tube on the plan, x", _LENGTH),
    "tube_y": Variable(("tube",), "m", "position of the tube on the plan, y", _LENGTH),
    "tube_flow": Variable(("tube",), "m3 s-1", "volume flow into the tube", _VOLUME_FLOW),
    "tube_inner_diameter": Variable(("tube",), "m", "inner diameter of the tube", _LENGTH),
    "tube_outer_diameter": Variable(("tube",), "m", "outer diameter of the tube", _LENGTH),
}

VARIABLES: dict[str, Variable] = COORDINATES | FRAMES | MEANS | BUDGET | PLACES

# Quantities of probes, history columns with one of these names or suffixes are scaled and labelled likewise.
SERIES = {
    "time": COORDINATES["time"],
    "step_size": Variable((), "s", "step in time", _TIME),
    "exhaust_flow": Variable((), "m3 s-1", "volume flow through the exhaust", _VOLUME_FLOW),
    "exhaust_plane_pressure": Variable((), "Pa", "mean total pressure at the exhaust plane", _PRESSURE),
    "core_pressure_deficit": Variable((), "Pa", "pressure deficit of the core at mid-height", _PRESSURE),
    **{name: Variable((), *rest) for name, rest in _FIELDS.items()},
}


def series_variable(name: str) -> Variable:
    """The unit and meaning of a history column or probe series: by its whole name, or by how it ends.

    A name that is not known has no unit and keeps its value.
    """
    for known, variable in SERIES.items():
        if name == known or name.endswith(f"_{known}"):
            return variable
    return Variable((), "1", name.replace("_", " "))


def frame_fields(has_fog: bool) -> tuple[str, ...]:
    """Names of the variables every frame carries."""
    return tuple(name for name in FRAMES if has_fog or name != "fog_concentration")
