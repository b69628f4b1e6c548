"""Friction of pipes by the `fluids` library, with its range checked."""

from __future__ import annotations

LAMINAR_LIMIT = 2000.0
TURBULENT_LIMIT = 4000.0
# Moody's chart ends at a relative roughness of 0.05.
LARGEST_ROUGHNESS = 0.05


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy friction factor of a straight round pipe.

    64/Re below Re 2000, Colebrook above 4000. Between them nothing is known; a smooth blend keeps the
    network's equations free of jumps.

    Parameters
    ----------
    reynolds : float
        On the inner diameter, positive [1].
    relative_roughness : float
        Roughness over inner diameter [1].

    Raises
    ------
    ValueError
        If the Reynolds number is not positive or the roughness outside 0 to 0.05.
    """
    from fluids.friction import Clamond  # Colebrook's equation solved to round-off

    if not reynolds > 0.0:
        raise ValueError(f"Reynolds number must be > 0, got {reynolds}")
    if not 0.0 <= relative_roughness <= LARGEST_ROUGHNESS:
        raise ValueError(f"relative roughness must be 0 to {LARGEST_ROUGHNESS}, got {relative_roughness}")
    laminar = 64.0 / reynolds
    if reynolds <= LAMINAR_LIMIT:
        return laminar
    turbulent: float = Clamond(reynolds, relative_roughness)
    if reynolds >= TURBULENT_LIMIT:
        return turbulent
    x = (reynolds - LAMINAR_LIMIT) / (TURBULENT_LIMIT - LAMINAR_LIMIT)
    return laminar + (turbulent - laminar) * x * x * (3.0 - 2.0 * x)
