"""Every configuration there is, in the order of the page."""

from __future__ import annotations

from swirlwright.verification import (
    air_network,
    budgets,
    chambers,
    closures,
    couette,
    ducts,
    end_wall,
    jets,
    layers,
    practice,
    vortices,
)
from swirlwright.verification.checks import Configuration

CATALOGUE: tuple[Configuration, ...] = (
    *vortices.CONFIGURATIONS,
    *layers.CONFIGURATIONS,
    *ducts.CONFIGURATIONS,
    *couette.CONFIGURATIONS,
    *end_wall.CONFIGURATIONS,
    *chambers.CONFIGURATIONS,
    *budgets.CONFIGURATIONS,
    *air_network.CONFIGURATIONS,
    *jets.CONFIGURATIONS,
    *closures.CONFIGURATIONS,
    *practice.CONFIGURATIONS,
)
