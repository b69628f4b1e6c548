"""Holes and tubes of a scaled chamber as a workshop makes them: drills that are on sale, bores that feed evenly."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from swirlwright.solver.manifold import TubeBackflowError, TubeState, drilled_tube, solve_tube
from swirlwright.solver.schema import Case, HoleRow, Tubes
from swirlwright.solver.similarity import rounded

# Drills: steps of 0.1 mm up to 6 mm and of 0.5 mm up to 20 mm (common sets and step drills; common practice). Thinner
# ones break in a hand drill, wider holes want a hole saw.
SMALLEST, LARGEST = 1e-3, 20e-3
FINE, COARSE, FINE_UP_TO = 1e-4, 5e-4, 6e-3
# Places along a tube are marked to half a millimetre.
MARK = 5e-4
# Bores looked at, over the similar one; steps of half a millimetre up to 20 mm, of one above.
NARROWEST, WIDEST = 0.7, 1.6
# How much more uneven than the original a tube may be, as a share of that; our own.
AS_EVEN = 0.02
# Least share of the similar bore's flow in a narrower one, at the same pressure: four per cent more pressure; our own.
LEAST_FLOW = 0.98


@dataclass(frozen=True)
class HoleChange:
    """A row of holes, tubes and rows counted from 1: similar, and as drilled. Lengths in m.

    Attributes
    ----------
    tubes, row : int
    original_diameter, similar_diameter, diameter : float
    original_count, count : int
    """

    tubes: int
    row: int
    original_diameter: float
    similar_diameter: float
    diameter: float
    original_count: int
    count: int


@dataclass(frozen=True)
class TubeChange:
    """A [[tubes]] entry, counted from 1: similar, and as chosen. Lengths in m.

    Attributes
    ----------
    tubes : int
    original_bore, similar_bore, bore : float
    original_unevenness, unevenness : float, float or None
        Standard deviation of the jet speeds over their mean; None where the tube is kept similar [1].
    is_as_even : bool
        Whether a bore was found that feeds as evenly as the original.
    """

    tubes: int
    original_bore: float
    similar_bore: float
    bore: float
    original_unevenness: float
    unevenness: float | None
    is_as_even: bool


def drill(diameter: float) -> float:
    """Return the drill nearest to a hole's diameter, both in m."""
    step = FINE if diameter <= FINE_UP_TO else COARSE
    return rounded(max(round(diameter / step), 1) * step)


def drilled_row(row: HoleRow, length: float) -> tuple[dict[str, Any], float]:
    """Return what a row becomes by whole drills, and its similar hole diameter [m].

    Where similar holes would be finer or wider than drills are, the row gets fewer or more of them over the same
    stretch, with the same area in all: jets of one row blend into a curtain a few pitches downstream. Rows given by
    their heights keep their holes, and a row of several keeps two; `drill_cautions` tells where no drill is left.

    Parameters
    ----------
    row : HoleRow
        Of the original.
    length : float
        Factor on lengths [1].
    """
    similar = row.hole_diameter * length
    heights = row.hole_heights()
    if row.heights or len(heights) < 2:
        places = [_marked(height * length) for height in heights]
        along = {"heights": places} if row.heights else {"lowest": places[0], "count": 1}
        return along | {"hole_diameter": drill(similar)}, similar
    count = len(heights)
    if similar > LARGEST:
        count = math.ceil(count * (similar / LARGEST) ** 2)
    elif similar < SMALLEST:
        count = max(2, math.floor(count * (similar / SMALLEST) ** 2))
    stretch = (heights[-1] - heights[0]) * length
    along = {"lowest": _marked(heights[0] * length), "pitch": _marked(stretch / (count - 1)), "count": count}
    return along | {"hole_diameter": drill(similar * math.sqrt(len(heights) / count))}, similar


def _marked(height: float) -> float:
    return rounded(max(round(height / MARK), 1) * MARK)


def drill_cautions(case: Case) -> tuple[str, ...]:
    """Return a sentence for each row whose holes no drill makes."""
    found = []
    for number, entry in enumerate(case.tubes, start=1):
        for k, row in enumerate(entry.rows, start=1):
            if SMALLEST <= row.hole_diameter <= LARGEST:
                continue
            why = "a single hole stays one" if len(row.hole_heights()) == 1 else "two holes of the row are left"
            if row.heights:
                why = "a row given by heights keeps its count, one given by lowest, pitch and count does not"
            found.append(
                f"tubes.{number}.rows.{k}: no drill makes holes of {1000 * row.hole_diameter:.4g} mm, drills go from "
                f"{1000 * SMALLEST:.4g} to {1000 * LARGEST:.4g} mm; {why}."
            )
    return tuple(found)


def even_bore(
    data: dict[str, Any],
    height: float,
    *,
    original: TubeState,
    pressure_factor: float,
    density: float,
    viscosity: float,
) -> tuple[float, TubeState | None, bool]:
    """Return the narrowest bore [m] that feeds as evenly as the original, its state, and whether there is one.

    Friction grows with length and shrinks with the Reynolds number, so a similar tube need not be as even. Bores are
    tried from wide to narrow, up to where speeds even out again: there friction happens to cancel recovery. A bore
    narrower than the similar one must not cost the jets more than `LEAST_FLOW` leaves.

    Parameters
    ----------
    data : dict
        The scaled [[tubes]] entry.
    height : float
        Of the chamber [m].
    original : TubeState
        Of the original's tube.
    pressure_factor : float
        On pressures [1].
    density, viscosity : float
        [kg/m3], kinematic [m2/s]
    """
    similar = float(data["inner_diameter"])
    outside = sum(original.chamber_pressure) / len(original.chamber_pressure) * pressure_factor

    def solved(bore: float) -> TubeState | None:
        try:
            # What a case may not have is left to the check of the whole, which knows the line.
            tube = drilled_tube(Tubes.model_validate({**data, "inner_diameter": bore}), height)
            inlet = original.inlet_pressure * pressure_factor
            return solve_tube(tube, inlet, [outside] * len(tube.holes), density=density, viscosity=viscosity)
        except (ValidationError, TubeBackflowError):
            return None

    most = original.unevenness * (1.0 + AS_EVEN)
    by_similar = solved(similar)
    least = math.inf if by_similar is None else LEAST_FLOW * by_similar.flow
    found: tuple[float, TubeState] | None = None
    for bore in _bores(similar):
        state = solved(bore)
        if state is None:
            continue
        is_past_most = found is not None and state.unevenness < found[1].unevenness
        if state.unevenness > most or is_past_most or (bore < similar and state.flow < least):
            break
        found = bore, state
    return (*found, True) if found is not None else (similar, None, False)


def _bores(similar: float) -> list[float]:
    """Bores on the steps, from wide to narrow [m]."""
    step = 5e-4 if similar < 0.02 else 1e-3
    first, last = math.ceil(WIDEST * similar / step), math.ceil(NARROWEST * similar / step)
    return [rounded(step * n) for n in range(first, last - 1, -1) if n > 0]
