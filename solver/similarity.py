"""What each key of a case becomes in a chamber of another size: the powers of length and velocity in its unit.

The equations keep their form where lengths go with L, velocities with V, times with L/V and pressures with rho V^2;
their solutions are the same where the Reynolds number V L/nu is, too. Source: dimensional analysis (Buckingham 1914,
Phys. Rev. 4:345).
"""

from __future__ import annotations

import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args

from swirlwright.solver.quantities import Number
from swirlwright.solver.schema import Case, Table

Hold = Literal["velocity", "spin-up", "reynolds"]
# Power of the length factor that velocities go with.
HOLDS: dict[Hold, int] = {"velocity": 0, "spin-up": 1, "reynolds": -1}
# Powers of length and velocity in each unit of the schema that scales; air of the same density.
POWERS = {
    "m": (1, 0),
    "m2": (2, 0),
    "m3/s": (2, 1),
    "m/s": (0, 1),
    "Pa": (0, 2),
    "rad/s": (-1, 1),
    "s": (1, -1),
}
# The air, droplets and the finish of a pipe stay what they are, and a wall clock knows no scale.
KEPT = (("air",), ("fog", "droplet_diameter"), ("tubes", "roughness"), ("run", "time_limit"))
# Times a run takes from defaults that know nothing of its size.
TIMES = {"steady": ("spin_up", "average", "frame_interval"), "transient": ("end_time", "frame_interval")}


@dataclass(frozen=True)
class Factors:
    """Factors from one chamber to a similar one.

    Attributes
    ----------
    length, velocity : float
        Scaled over original [1].
    """

    length: float
    velocity: float

    @classmethod
    def holding(cls, length: float, hold: Hold) -> Factors:
        """Those that hold the velocities, the spin-up time (velocities grow with length) or the Reynolds number."""
        return cls(length, length ** HOLDS[hold])

    def powers(self, length: float, velocity: float) -> float:
        """L^length V^velocity [1]."""
        return self.length**length * self.velocity**velocity

    def of_unit(self, unit: str) -> float:
        """Factor of a quantity of this unit [1]; 1 for what does not scale."""
        return self.powers(*POWERS.get(unit, (0, 0)))

    @property
    def time(self) -> float:
        """L/V."""
        return self.powers(1, -1)

    @property
    def flow(self) -> float:
        """L^2 V."""
        return self.powers(2, 1)

    @property
    def pressure(self) -> float:
        """V^2."""
        return self.powers(0, 2)

    @property
    def power(self) -> float:
        """L^2 V^3."""
        return self.powers(2, 3)

    @property
    def reynolds(self) -> float:
        """L V."""
        return self.powers(1, 1)


def similar_case(case: Case, factors: Factors) -> dict[str, Any]:
    """Return the case's keys as plain values with every dimension scaled, and the times its run takes by default.

    A start from an earlier result is left out: that is a flow of the old size.

    Parameters
    ----------
    case : Case
    factors : Factors
    """
    data = _scaled_table(case, factors, ())
    run = data.setdefault("run", {})
    for name in TIMES[case.run.mode]:
        run[name] = rounded(getattr(case.run, name) * factors.time)
    run.pop("start_from", None)
    return data


def rounded(value: float) -> float:
    """To 12 digits: nobody wants to read 1.5000000000000002."""
    return float(f"{value:.12g}")


def _scaled_table(table: Table, factors: Factors, place: tuple[str, ...]) -> dict[str, Any]:
    hints = typing.get_type_hints(type(table), include_extras=True)
    found = {}
    for name in type(table).model_fields:
        value = getattr(table, name)
        if name not in table.model_fields_set or value is None:
            continue
        here = (*place, name)
        factor = 1.0 if here in KEPT or place in KEPT else factors.of_unit(_unit(hints[name]))
        found[name] = _scaled(value, factor, factors, here)
    return found


def _scaled(value: Any, factor: float, factors: Factors, place: tuple[str, ...]) -> Any:
    if isinstance(value, Table):
        return _scaled_table(value, factors, place)
    if isinstance(value, tuple):
        return [_scaled(item, factor, factors, place) for item in value]
    return value if factor == 1.0 or not isinstance(value, float) else rounded(value * factor)


def _unit(annotation: Any) -> str:
    """The unit inside an annotation, however deep; "1" where there is none."""
    return next(_units(annotation), "1")


def _units(annotation: Any) -> Iterator[str]:
    for inner in (*getattr(annotation, "__metadata__", ()), *get_args(annotation)):
        if isinstance(inner, Number):
            yield inner.unit
        elif not isinstance(inner, type):
            yield from _units(inner)
