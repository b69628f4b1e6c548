"""Numbers with units."""

from __future__ import annotations

import pytest

from swirlwright.solver.quantities import Number, QuantityError, parse_quantity

# By definition: 1 in = 25.4 mm, 1 ft = 0.3048 m; an inch of water at 4 degC is 249.089 Pa (NIST SP 811, 2008,
# table B.9: 2.490 89 E+02, six digits).
EXACT = [
    ("18 in", "m", 0.4572),
    ("45 cfm", "m3/s", 45 * 0.3048**3 / 60),
    ("3 m3/h", "m3/s", 3 / 3600),
    ("2 l/min", "m3/s", 2e-3 / 60),
    ("20 degC", "K", 293.15),
    ("20 °C", "K", 293.15),
    ("0.5 rad", "deg", 28.64788975654116),
    ("3000 rpm", "rpm", 3000.0),
    ("60 rpm", "rad/s", 6.283185307179586),
    ("5 %", "1", 0.05),
    ("2.5e-1 mm", "m", 2.5e-4),
    ("9/64 in", "m", 9 / 64 * 0.0254),
    ("1 1/2 in", "m", 1.5 * 0.0254),
    ("3 m³/h", "m3/s", 3 / 3600),
    ("45 CFM", "m3/s", 45 * 0.3048**3 / 60),
]


@pytest.mark.parametrize(("text", "unit", "value"), EXACT)
def test_a_text_with_a_unit_becomes_si(text: str, unit: str, value: float) -> None:
    """A quantity in a text has the value of its definition, to round-off."""
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-12)


def test_an_inch_of_water_is_that_of_the_handbook() -> None:
    """0.12 inH2O is 0.12 times 249.089 Pa, to the six digits printed (water at 4 degC)."""
    assert parse_quantity("0.12 inH2O", "Pa") == pytest.approx(0.12 * 249.089, rel=2e-5)


@pytest.mark.parametrize(
    ("text", "unit", "hint"),
    [("20 C", "K", '"20 degC"'), ("68 F", "K", '"68 degF"'), ("3,5 mm", "m", '"3.5 mm"'), ("3/0 in", "m", "no unit")],
)
def test_a_slip_with_a_unit_is_told_how_to_write_it(text: str, unit: str, hint: str) -> None:
    """Degrees without their sign and a decimal comma are refused with the spelling that works."""
    with pytest.raises(QuantityError, match=hint):
        parse_quantity(text, unit)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "m",
        "3",
        "3 kg",
        "3 blobs",
        "3 m/s",
        "1e400 m",
        "9**9**9 m",
        "3 m**99",
        "3 m; import os",
        "3 m" + "m" * 99,
    ],
)
def test_a_text_that_is_no_length_is_refused(text: str) -> None:
    """No text but a number with a unit of length passes for a length."""
    with pytest.raises(QuantityError):
        Number("m", gt=0).convert(text)


@pytest.mark.parametrize("value", [True, None, [1], {"m": 1}, 10**400, float("nan"), float("inf"), 0, -1])
def test_a_value_that_is_no_positive_number_is_refused(value: object) -> None:
    """Neither a truth value, a list, an infinite nor a non-positive number passes for a length."""
    with pytest.raises(QuantityError):
        Number("m", gt=0).convert(value)


@pytest.mark.parametrize("value", [2.5, "3", 4.0, True])
def test_a_count_is_whole(value: object) -> None:
    """A count is a whole number as TOML writes it, nothing else."""
    with pytest.raises(QuantityError):
        Number(ge=1, whole=True).convert(value)


@pytest.mark.parametrize("value", [5e-324, -1e-21, "1e-18 mm"])
def test_a_number_too_small_to_be_meant_is_refused(value: object) -> None:
    """What is neither nothing nor measurable is refused: its inverse overflows somewhere on the way."""
    with pytest.raises(QuantityError, match="not so small: at least 1e-20"):
        Number("m", ge=-1, le=1).convert(value)
    assert Number("m", ge=0).convert(0) == 0.0
