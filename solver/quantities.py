"""Numbers with units: "18 in" becomes 0.4572 where a length is expected.

pint costs a third of a second to load, so it is imported only when a string with a unit comes along.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

_NUMBER_AND_UNIT = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")
# Drills and pipes in inches come as fractions: 9/64 in, 1 1/2 in.
_FRACTION_AND_UNIT = re.compile(r"\s*(?:(\d{1,4})\s+)?(\d{1,4})/([1-9]\d{0,3})\s+([A-Za-z].*?)\s*")
# Names joined by * / and spaces, one-digit powers only: nothing that makes pint compute large powers.
_FACTOR = r"[A-Za-zµμ°%][A-Za-z0-9µμ°_]*(?:\s*(?:\^|\*\*)\s*-?\d)?"
_UNIT = re.compile(rf"(?:1\s*/\s*)?{_FACTOR}(?:(?:\s*[*/·]\s*|\s+){_FACTOR})*")
_POWER_WITHOUT_SIGN = re.compile(r"\b(mm|cm|dm|m|in|inch|ft)([23])\b")
_LONGEST_UNIT = 40
# In any unit here: what is smaller is nothing that anybody has measured, and its inverse overflows in a power or two.
_SMALLEST = 1e-20


class QuantityError(ValueError):
    """A text that is no quantity of the expected dimension; the message is what to tell the user."""


@cache
def _registry() -> Any:
    """The unit registry, with the builder's units that pint does not know."""
    import pint

    registry: Any = pint.UnitRegistry(cache_folder=None)
    # Always defined, not only where missing: the registry would read "cfm" as centi-fermi, a length.
    for name, definition in {
        "cfm": "foot ** 3 / minute",
        "lpm": "liter / minute",
        "mmH2O": "9.80665 * pascal",
        "mmWC": "9.80665 * pascal",
        "CFM": "foot ** 3 / minute",
        "inWG": "inH2O",
        "inWC": "inH2O",
    }.items():
        registry.define(f"{name} = {definition}")
    return registry


def _spelled_for_pint(unit: str) -> str:
    """m3/h -> m**3/h, degree sign -> deg."""
    unit = unit.replace("°C", "degC").replace("°F", "degF").replace("°", "degree").replace("·", "*")
    return _POWER_WITHOUT_SIGN.sub(r"\1**\2", unit)


def parse_quantity(text: str, unit: str) -> float:
    """Return a text such as "18 in" in the wanted unit.

    Parameters
    ----------
    text : str
        A number and a unit.
    unit : str
        The unit wanted, for instance "m", "m3/s", "deg"; "1" for a plain ratio ("5 %" is 0.05).

    Raises
    ------
    QuantityError
        If there is no number, no unit, an unknown unit or one of another dimension.
    """
    fraction = _FRACTION_AND_UNIT.fullmatch(text)
    if fraction is not None:
        whole, above, below, given = fraction.groups()
        return parse_quantity(f"{int(whole or 0) + int(above) / int(below)!r} {given}", unit)
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if match is None:
        raise QuantityError(f'a number in {unit} or a text with a unit such as "2 {unit}"')
    number, given = match.groups()
    if not given:
        raise QuantityError(f'a number in {unit} without quotes, or a text with a unit ("{number} {unit}")')
    if re.match(r",\d", given):
        raise QuantityError(
            f'a quantity convertible to {unit}; write the decimal sign as a point, "{number}.{given[1:]}"'
        )
    given = given.replace("²", "2").replace("³", "3")
    if unit == "K" and given in ("C", "F"):
        raise QuantityError(f'a quantity convertible to {unit}; degrees are written "{number} deg{given}"')
    if len(given) > _LONGEST_UNIT or _UNIT.fullmatch(given) is None:
        raise QuantityError(f'a quantity convertible to {unit}; "{given}" is no unit')
    import pint

    registry = _registry()
    target = "dimensionless" if unit == "1" else _spelled_for_pint(unit)
    try:
        # Quantity(number, unit), not a product: only so do offset units such as degC work.
        return float(registry.Quantity(float(number), _spelled_for_pint(given)).to(target).magnitude)
    except pint.UndefinedUnitError as error:
        raise QuantityError(f'a quantity convertible to {unit}; "{given}" is no known unit') from error
    except (pint.PintError, OverflowError, ValueError) as error:
        raise QuantityError(f'a quantity convertible to {unit}; "{given}" is not') from error


@dataclass(frozen=True)
class Number:
    """Annotation of a field: a finite number of a unit within bounds, or a text with a unit.

    Attributes
    ----------
    unit : str
        Unit of a plain number; SI, but for angles ("deg") and fan speeds ("rpm").
    gt, ge, lt, le : float or None
        Bounds, in that unit.
    whole : bool
        Whether only whole numbers without units are allowed.
    """

    unit: str = "1"
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    whole: bool = False

    def range_text(self) -> str:
        """The bounds, as in "> 0 and <= 100 m"."""
        bounds = [(">", self.gt), (">=", self.ge), ("<", self.lt), ("<=", self.le)]
        text = " and ".join(f"{sign} {bound:g}" for sign, bound in bounds if bound is not None)
        return f"{text} {self.unit}" if self.unit != "1" else text

    def hint(self, value: object) -> str:
        """For a plain number too large in m that would do in mm, how that is written."""
        if self.unit != "m" or self.le is None or not isinstance(value, int | float):
            return ""
        return f'millimetres are written "{value:g} mm"' if self.le < value <= 1000.0 * self.le else ""

    def convert(self, value: object) -> float:
        """Return a value from the file in `unit`.

        Raises
        ------
        QuantityError
            With what is allowed, if the value is not.
        """
        if isinstance(value, str) and not self.whole:
            number = parse_quantity(value, self.unit)
        elif isinstance(value, bool) or not isinstance(value, int if self.whole else (int, float)):
            kind = "a whole number" if self.whole else "a number"
            raise QuantityError(f"{kind} {self.range_text()}".rstrip())
        else:
            number = float(value) if abs(value) < 1e300 else math.inf
        inside = (
            math.isfinite(number)
            and (self.gt is None or number > self.gt)
            and (self.ge is None or number >= self.ge)
            and (self.lt is None or number < self.lt)
            and (self.le is None or number <= self.le)
        )
        if not inside:
            raise QuantityError(self.range_text() or "a finite number")
        if 0.0 < abs(number) < _SMALLEST:
            raise QuantityError(
                f"{self.range_text() or 'a number'}, and not so small: at least {_SMALLEST:g}".lstrip(", ")
            )
        return int(number) if self.whole else number

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        def validate(value: object) -> float:
            try:
                return self.convert(value)
            except QuantityError as error:
                raise PydanticCustomError(
                    "quantity", "must be {allowed}", {"allowed": str(error), "hint": self.hint(value)}
                ) from error

        return core_schema.no_info_plain_validator_function(validate)
