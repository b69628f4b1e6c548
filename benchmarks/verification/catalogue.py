"""Every configuration there is, in the order of the page."""

from __future__ import annotations

from swirlwright.verification import air_network, end_wall, jets, vortices
from swirlwright.verification.checks import Configuration

CATALOGUE: tuple[Configuration, ...] = (
    *vortices.CONFIGURATIONS,
    *end_wall.CONFIGURATIONS,
    *air_network.CONFIGURATIONS,
    *jets.CONFIGURATIONS,
)
