"""Measured points of a chamber: what was measured, where, its value and its uncertainty."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.quantities import Number


@dataclass(frozen=True)
class Quantity:
    """A kind of measured value.

    Attributes
    ----------
    words : str
        What it is called on a picture.
    number : Number
        Unit and range of its value.
    places : tuple of str
        Columns that say where: all are required.
    may : tuple of str
        Columns that may say where.
    """

    words: str
    number: Number
    places: tuple[str, ...] = ()
    may: tuple[str, ...] = ()


_SPEED = Number("m/s", ge=-100, le=100)
_PRESSURE = Number("Pa", ge=-2e4, le=2e4)
_POINT = ("height", "radius")
QUANTITIES = {
    "tangential_velocity": Quantity("tangential velocity", _SPEED, _POINT),
    "axial_velocity": Quantity("axial velocity", _SPEED, _POINT),
    "radial_velocity": Quantity("radial velocity", _SPEED, _POINT),
    "pressure": Quantity("pressure above the room's", _PRESSURE, _POINT),
    "pressure_deficit": Quantity("pressure deficit of the core", _PRESSURE, ("height",)),
    "core_diameter": Quantity("core diameter", Number("m", gt=0, le=100), ("height",)),
    "spin_up_time": Quantity("spin-up time", Number("s", gt=0, le=1e6)),
    "exhaust_flow": Quantity("exhaust flow", Number("m3/s", gt=0, le=1e4)),
    "supply_flow": Quantity("flow into the tubes", Number("m3/s", gt=0, le=1e4)),
    "tube_pressure": Quantity("pressure in a tube", _PRESSURE, (), ("height", "tube")),
}
# The flow's own fields, known at every point of the chamber.
FIELDS = ("tangential_velocity", "axial_velocity", "radial_velocity", "pressure")
# What the air network knows without a solved flow.
NETWORK = ("exhaust_flow", "supply_flow", "tube_pressure")


@dataclass(frozen=True)
class Point:
    """One measured value, SI.

    Attributes
    ----------
    line : int
        Line of the file, from 1.
    quantity : str
        One of `QUANTITIES`.
    height, radius : float or None
        [m]
    tube : int or None
        From 1, in the order of the plan.
    value, uncertainty : float
        Uncertainty: one standard deviation.
    note : str
    """

    line: int
    quantity: str
    height: float | None
    radius: float | None
    tube: int | None
    value: float
    uncertainty: float
    note: str = ""

    def where(self) -> str:
        """Its place in words, "" if it has none."""
        parts = [f"{name} {1e3 * at:.4g} mm" for name, at in (("z", self.height), ("r", self.radius)) if at is not None]
        return ", ".join(([f"tube {self.tube}"] if self.tube is not None else []) + parts)


@dataclass(frozen=True)
class MeasuredData:
    """A file of measured points.

    Attributes
    ----------
    path : Path
    sha256 : str
        Of the file's bytes.
    points : tuple of Point
    columns : dict
        Column's heading as it stands in the file, by name.
    """

    path: Path
    sha256: str
    points: tuple[Point, ...]
    columns: dict[str, str] = field(default_factory=dict)

    def problem(self, point: Point, column: str, allowed: str, value: object = None) -> Problem:
        """A mistake in a point, with its line and column."""
        return Problem(str(self.path), point.line, self.columns.get(column, column), value, allowed)


@dataclass(frozen=True)
class Extent:
    """Where points may lie.

    Attributes
    ----------
    height, radius : float
        Of the flow's domain [m].
    tubes : tuple
        A mark for each tube in the order of the plan; equal tubes have equal marks.
    """

    height: float
    radius: float
    tubes: tuple[object, ...]


def check_places(data: MeasuredData, extent: Extent) -> None:
    """Refuse points that lie outside a chamber, or that do not say which of its tubes they mean.

    Raises
    ------
    InputError
        With every such point.
    """
    limits = {
        "height": (extent.height, "the chamber's height"),
        "radius": (extent.radius, "the radius of the round domain in which the flow is solved"),
    }
    problems = []
    for point in data.points:
        for column, (limit, words) in limits.items():
            at = getattr(point, column)
            if at is not None and at > limit * (1.0 + 1e-9):
                problems.append(data.problem(point, column, f"must be at most {limit:.6g} m, {words}", f"{at:.6g} m"))
        problems += _tube_problems(data, point, extent)
    if problems:
        raise InputError(problems)


def _tube_problems(data: MeasuredData, point: Point, extent: Extent) -> Iterator[Problem]:
    if point.quantity not in ("tube_pressure", "supply_flow"):
        return
    number = len(extent.tubes)
    if number == 0:
        yield data.problem(point, "quantity", "cannot be compared: this chamber has no tubes", point.quantity)
    elif point.quantity == "supply_flow":
        return
    elif point.tube is not None and point.tube > number:
        yield data.problem(point, "tube", f"must be at most {number}, the number of tubes", point.tube)
    elif point.tube is None and any(mark != extent.tubes[0] for mark in extent.tubes):
        yield data.problem(point, "tube", f"must say which of the {number} tubes: they are not alike")
