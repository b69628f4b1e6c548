"""The fog's part of the sheet, and the cautions that go with it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from swirlwright.postproc.fog.sight import LEAST_CONTRAST

if TYPE_CHECKING:
    from swirlwright.postproc.fog.measures import FogMeasures

# Heavy fog lies down below about this w/sqrt(g' H): design of this package, common practice, no source.
LOWEST_FROUDE = 3.0
# Of the droplets: above it they do not follow bends by drift alone (common practice, no source).
LARGEST_STOKES = 0.1
# Boussinesq's approximation is off by about the density excess, so by a tenth here.
LARGEST_EXCESS = 0.1
# Of the fog let in; less is the rounding of the flow's balance.
LEAST_SHARE = 1e-4

WAYS = {"floor": "floor", "panels": "panels", "sides": "out of the open sides", "exhaust": "past the exhaust's fan"}


def lines(f: FogMeasures) -> list[str]:
    """What the sheet says of the fog."""
    return [f"Fog: {let_in(f)}", *(f"  {words:<48}{text}" for words, text in rows(f))]


def let_in(f: FogMeasures) -> str:
    """How much of it there is."""
    return f"{3600 * f.flow:.3g} m³/h, {3.6e6 * f.flow * f.liquid_content:.3g} g/h of liquid"


def rows(f: FogMeasures) -> list[tuple[str, str]]:
    """Its measures in words, each with its value."""
    found: list[tuple[str, str]] = []

    def line(words: str, text: str) -> None:
        found.append((words, text))

    def number(name: str, words: str, text: str) -> None:
        line(words, text if getattr(f, name) is not None else f"none: {f.reasons.get(name, 'does not apply')}")

    within = f"within {1000 * f.column_radius:.1f} mm at mid-height"
    number("column_share", "share of the fog in the column", f"{100 * (f.column_share or 0.0):.0f} % rises {within}")
    diluted = "" if f.froude_number_diluted is None else f", {f.froude_number_diluted:.3g} as diluted there"
    number("froude_number", "fog Froude number w/sqrt(g' H)", f"{f.froude_number or 0.0:.2f} undiluted{diluted}")
    mid = f.at_mid_height(f.sight.contrast)
    line("contrast of the column at mid-height", f"{mid:.2g}{_over_time(f)}; the eye tells {LEAST_CONTRAST:g}")
    line("heights at which it is told", _heights(f))
    line("visible radius", _radius(f))
    number("show_time", "time until it shows at mid-height", f"{f.show_time or 0.0:.2f} s")
    estimate = f"{3600 * (f.disturbing_flow or 0.0):.2g} m³/h (estimate)"
    number("disturbing_flow", "fog flow above which the foot is disturbed", estimate)
    air = f"the column's air could take up {f.uptake_ratio:.2g} times the fog's water (estimate)"
    line("evaporation", air)
    if f.wetting is not None and f.flows is not None and f.flows["in"] > 0.0:
        for name, words in WAYS.items():
            share = f.flows[name] / f.flows["in"]
            mass = f"{3.6e6 * f.wetting[name]:.2g} g/h, " if abs(share) >= LEAST_SHARE else ""
            line(f"liquid: {words}", f"{mass}{_share(share)}")
        line("fog gained by the chamber meanwhile", _share(f.flows["stored"] / f.flows["in"]))
    return found


def _share(share: float) -> str:
    """A share of the fog let in; what is less than any balance could tell is no number."""
    return f"{100 * share:.2g} % of the fog" if abs(share) >= LEAST_SHARE else f"< {100 * LEAST_SHARE:g} % of the fog"


def _over_time(f: FogMeasures) -> str:
    if f.sight_over_time is None:
        return ""
    mean, spread, share = f.sight_over_time
    return f" in the mean field; in time {mean:.2g} +- {spread:.1g}, told {100 * share:.0f} % of the time"


def _heights(f: FogMeasures) -> str:
    share = float(np.mean(f.sight.is_visible * np.gradient(f.z)) / np.mean(np.gradient(f.z)))
    return f"{100 * share:.0f} % of the height, brightest at {1000 * f.z[int(np.argmax(f.sight.contrast))]:.0f} mm"


def _radius(f: FogMeasures) -> str:
    """At a quarter, half and three quarters of the height."""
    texts = []
    for part in (0.25, 0.5, 0.75):
        j = int(np.argmin(np.abs(f.z - part * f.case.chamber.height)))
        radius = f.sight.radius[j]
        texts.append("not told" if np.isnan(radius) else f"{1000 * radius:.1f} mm")
    return f"{', '.join(texts)} at 1/4, 1/2, 3/4 of the height"


def cautions(f: FogMeasures) -> tuple[str, ...]:
    """Cautions for the fog of a case."""
    return tuple(_cautions(f))


def _cautions(f: FogMeasures) -> Iterator[str]:
    fog = f.case.fog
    assert fog is not None
    if f.froude_number is not None and f.froude_number < LOWEST_FROUDE:
        in_flow = "its weight is in the flow" if fog.buoyancy == "on" else "its weight is not in this flow"
        yield (
            f"heavy fog: w/sqrt(g' H) is {f.froude_number:.2g} undiluted, below {LOWEST_FROUDE:g}: fog that is not "
            f"thinned lies down ({in_flow})"
        )
    if fog.buoyancy == "on" and abs(fog.density_excess) > LARGEST_EXCESS:
        yield (
            f"fog.density_excess {fog.density_excess:g}: the weight is Boussinesq's, off by about as much where the "
            "fog is undiluted"
        )
    if f.stokes_number > LARGEST_STOKES:
        yield (
            f"droplets: tau v/r comes to {f.stokes_number:.2g}, above {LARGEST_STOKES:g}: so large ones do not follow "
            "bends as the drift here has it"
        )
    if f.settling_speed > f.inlet_speed and fog.diffuser_radius is None:
        yield "droplets settle faster than the fog comes in: none of them rise from the inlet"
    if f.disturbing_flow is not None and f.flow > f.disturbing_flow:
        yield (
            f"fog flow: {3600 * f.flow:.2g} m³/h is above the {3600 * f.disturbing_flow:.2g} m³/h from which it "
            "disturbs the foot (an estimate)"
        )
    if f.uptake_ratio > 1.0 and fog.droplet_diameter > 0.0:
        yield (
            f"evaporation: at {100 * fog.room_humidity:.0f} % humidity the air that rises in the column could take up "
            f"{f.uptake_ratio:.2g} times the fog's water, and a lone droplet lasts {f.evaporation.droplet_life:.2g} s; "
            "droplets do not evaporate here, so a column of water mist may show less or not at all"
        )
    if not f.sight.is_visible.any():
        yield "the column is too thin to be told anywhere: more fog, or droplets with more liquid"
