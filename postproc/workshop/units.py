"""Units on the workshop's sheets: millimetres and metres, or inches, with the flows and pressures that go with them."""

from __future__ import annotations

import math
from typing import NamedTuple

from swirlwright.solver.network_table import digits

INCH, FOOT = 0.0254, 0.3048  # m
INCH_OF_WATER = 249.08891  # Pa; conventional, NIST SP 811, appendix B
SIXTY_FOURTH = INCH / 64  # m; steps of drills by fractions


class Unit(NamedTuple):
    """The unit of lengths on paper: `factor` times metres, so many decimals. Other units go with it."""

    name: str
    factor: float
    decimals: int

    @property
    def is_metric(self) -> bool:
        """Whether lengths are in millimetres."""
        return self.name == "mm"

    def number(self, length: float) -> str:
        """A length [m] without its unit, no zeros at the end."""
        text = f"{self.factor * length:.{self.decimals}f}".rstrip("0").rstrip(".")
        return "0" if text == "-0" else text

    def text(self, length: float) -> str:
        """A length [m] with its unit."""
        return f"{self.number(length)} {self.name}"

    def long(self, length: float) -> str:
        """A length of a chamber or a room [m] with its unit: metres beside millimetres."""
        return f"{length:.3g} m" if self.is_metric else f"{self.factor * length:.0f} in"

    def area(self, area: float) -> str:
        """An area [m2] with its unit."""
        return f"{area:.3g} m²" if self.is_metric else f"{area / FOOT**2:.3g} ft²"

    def volume(self, volume: float, figures: int = 4) -> str:
        """A volume [m3] with its unit, to so many figures."""
        return f"{volume:.{figures}g} m³" if self.is_metric else f"{volume / FOOT**3:.{figures}g} ft³"

    @property
    def flow_name(self) -> str:
        """Unit of `flow_number`."""
        return "m³/h" if self.is_metric else "cfm"

    def flow_number(self, flow: float) -> str:
        """A volume flow [m3/s] without its unit."""
        return digits(3600.0 * flow if self.is_metric else 60.0 * flow / FOOT**3)

    def flow(self, flow: float) -> str:
        """A volume flow [m3/s] with its unit."""
        return f"{self.flow_number(flow)} {self.flow_name}"

    @property
    def pressure_name(self) -> str:
        """Unit of `pressure_number`."""
        return "Pa" if self.is_metric else "inH₂O"

    def pressure_number(self, pressure: float) -> str:
        """A pressure [Pa] without its unit."""
        return digits(pressure if self.is_metric else pressure / INCH_OF_WATER)

    def pressure(self, pressure: float) -> str:
        """A pressure [Pa] with its unit."""
        return f"{self.pressure_number(pressure)} {self.pressure_name}"


MILLIMETRES, INCHES = Unit("mm", 1000.0, 1), Unit("in", 1.0 / INCH, 3)


def fraction_drill(diameter: float) -> str:
    """The drill by 64ths of an inch nearest to a diameter [m], and by how much it is wider: "9/64 in, +0.003"."""
    parts = max(1, round(diameter / SIXTY_FOURTH))
    whole, rest = divmod(parts, 64)
    common = math.gcd(rest, 64)
    fraction = f"{rest // common}/{64 // common}" if rest else ""
    more = (parts * SIXTY_FOURTH - diameter) / INCH
    return f"{' '.join(word for word in (str(whole) if whole else '', fraction) if word)} in, {more:+.3f}"
