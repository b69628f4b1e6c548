"""From the measures of a field to words: structure, breakdown, regime, and touchdown."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from swirlwright.postproc.core import TOO_NARROW, Chamber
from swirlwright.postproc.flow_numbers import RESOLVED_CELLS, FieldMeasures
from swirlwright.postproc.margins.bracket import SUFFICES
from swirlwright.postproc.margins.joint import Joint
from swirlwright.postproc.margins.values import Margins
from swirlwright.postproc.uncertainty import GridStudy, Spread, share_error

NO_VORTEX, ALOFT, TO_THE_FLOOR = "no vortex", "aloft", "to the floor"
NONE, AT_THE_FLOOR, TWO_CELLED = "none", "at the floor", "two-celled"
YES, MARGINAL, NO = "yes", "marginal", "no"
# Shares of time above and below which touchdown is yes and no.
OFTEN, SELDOM = 0.9, 0.1

# Structure and breakdown together; postproc/README.md has the table.
REGIMES = {
    (ALOFT, NONE): "hanging column",
    (ALOFT, ALOFT): "hanging column with breakdown",
    (ALOFT, AT_THE_FLOOR): "broken-down column that hangs",
    (ALOFT, TWO_CELLED): "two-celled vortex with sinking air at the floor",
    (TO_THE_FLOOR, NONE): "single-celled column",
    (TO_THE_FLOOR, ALOFT): "single-celled column with breakdown aloft",
    (TO_THE_FLOOR, AT_THE_FLOOR): "column with breakdown at the floor",
    (TO_THE_FLOOR, TWO_CELLED): "two-celled column",
}
NOT_EVALUATED = "not evaluated"
# A floor layer thicker than this share of the height makes "to the floor" an empty word; our own limit.
THICK_LAYER = 0.15


@dataclass(frozen=True)
class Verdict:
    """What the flow is, and whether the column touches down.

    Attributes
    ----------
    touchdown : str
        yes, marginal or no: the column stands on the floor.
    share_standing : float
        Share of time in which it does, 0 to 1.
    chance_standing : float or None
        Its standard error by chance; 0 for a single field, None where nothing tells it.
    share_to_floor : float
        Share of time in which a core reaches the floor, column or not, 0 to 1.
    breakdown_touchdown : str
        yes, marginal or no: the breakdown reaches the floor, which the laboratory literature calls touchdown.
    share_breakdown_at_floor : float
        Share of time in which it does, 0 to 1.
    structure, breakdown, regime : str
        Of the mean field.
    sentence : str
        The verdict with its reason.
    grid_study, spread : GridStudy or None, Spread or None
        The doubts that studies have found; None where there was no study.
    margins : Margins or None
        How far knobs may move before touchdown changes; None where `margin` was not run.
    joint : Joint or None
        Touchdown where everything uncertain varies at once; None where `margin --sample` was not run.
    """

    touchdown: str
    share_standing: float
    chance_standing: float | None
    share_to_floor: float
    breakdown_touchdown: str
    share_breakdown_at_floor: float
    structure: str
    breakdown: str
    regime: str
    sentence: str
    grid_study: GridStudy | None = None
    spread: Spread | None = None
    margins: Margins | None = None
    joint: Joint | None = None


@dataclass(frozen=True)
class Shares:
    """Shares of time, 0 to 1: a column on the floor, a core that reaches it, breakdown at the floor.

    chance_standing is the standard error of the first: 0 for a single field, None where nothing tells it.
    """

    standing: float
    to_floor: float
    breakdown_at_floor: float
    chance_standing: float | None

    @classmethod
    def of(cls, fields: list[FieldMeasures], weights: np.ndarray, span: float, chamber: Chamber) -> Shares:
        """From measures of single fields, their weights in time, (len(fields),), summing to 1, and the span [s]."""
        at_instants = np.array([stands(m, chamber) for m in fields])
        turns = np.array([turn_of(m, chamber) for m in fields])
        standing = lasting(at_instants, span * weights, turns)
        return cls(
            standing=float(weights @ standing),
            to_floor=float(weights @ [structure_of(m, chamber) == TO_THE_FLOOR for m in fields]),
            breakdown_at_floor=float(
                weights @ [breakdown_of(m, chamber) in (AT_THE_FLOOR, TWO_CELLED) for m in fields]
            ),
            chance_standing=share_error(standing, chamber.looks(span)) if span > 0.0 else 0.0,
        )


def near_floor(m: FieldMeasures, chamber: Chamber) -> float:
    """Height below which something counts as at the floor [m]: delta, but at least 0.03 H and at most 0.15 H."""
    return max(min(m.floor_layer or 0.0, THICK_LAYER * chamber.height), 0.03 * chamber.height)


def structure_of(m: FieldMeasures, chamber: Chamber) -> str:
    """No vortex, aloft, or to the floor: the foot near the floor with air rising inside the core there."""
    if m.core_foot_height is None:
        return NO_VORTEX
    rises = m.foot_axial_velocity is not None and m.foot_axial_velocity > 0.0
    return TO_THE_FLOOR if m.core_foot_height < near_floor(m, chamber) and rises else ALOFT


def why_no_column(m: FieldMeasures, chamber: Chamber) -> str:
    """Why a core that exists is no column, or nothing where it is one; postproc/README.md, "The column".

    A column is a concentrated vortex: faster than the curtain that drives it, narrower than the exhaust that draws it.
    """
    core, curtain = m.max_tangential_velocity or 0.0, m.curtain_tangential_velocity or 0.0
    if core <= curtain:
        return f"its v of {core:.2g} m/s is less than the curtain's {curtain:.2g} m/s"
    typical = m.core.typical(0.5 * chamber.height) if m.core is not None else None
    if typical is not None and chamber.exhaust_radius is not None and typical[0] >= chamber.exhaust_radius:
        return (
            f"its radius of {1e3 * typical[0]:.0f} mm is more than the exhaust's {1e3 * chamber.exhaust_radius:.0f} mm"
        )
    return ""


def stands(m: FieldMeasures, chamber: Chamber) -> bool:
    """Whether a column stands on the floor: a core that reaches it, and is a column."""
    return structure_of(m, chamber) == TO_THE_FLOOR and not why_no_column(m, chamber)


def turn_of(m: FieldMeasures, chamber: Chamber) -> float:
    """Time of one turn of the core at mid-height, 2 pi r_c/v_c [s]; 0 where there is none."""
    typical = m.core.typical(0.5 * chamber.height) if m.core is not None else None
    return 2.0 * math.pi * typical[0] / typical[1] if typical is not None else 0.0


def lasting(is_there: np.ndarray, seconds: np.ndarray, turns: np.ndarray) -> np.ndarray:
    """The instants that belong to a spell of at least one turn of the core, bool (n,).

    Parameters
    ----------
    is_there : ndarray of bool, (n,)
        Whether a column stands at the instant.
    seconds, turns : ndarray, (n,)
        The time that each instant stands for, and that of a turn of its core [s].

    Notes
    -----
    Spells at the ends of the window, of unknown length, count.
    """
    found = is_there.copy()
    for spell in np.split(np.arange(is_there.size), np.flatnonzero(np.diff(is_there)) + 1):
        is_cut = spell[0] == 0 or spell[-1] == is_there.size - 1
        if not is_cut and seconds[spell].sum() < turns[spell].mean():
            found[spell] = False
    return found


def breakdown_of(m: FieldMeasures, chamber: Chamber) -> str:
    """None, aloft, at the floor, or two-celled: reversed from the floor to mid-height."""
    if m.breakdown_height is None:
        return NONE
    if m.breakdown_height > near_floor(m, chamber):
        return ALOFT
    return TWO_CELLED if m.reversed_to_mid_height else AT_THE_FLOOR


def regime_of(structure: str, breakdown: str, *, is_column: bool) -> str:
    """The table of the two; a core too weak or too wide for a column is called a swirl."""
    if structure == NO_VORTEX:
        return NO_VORTEX
    name = REGIMES[structure, breakdown]
    return name if is_column else name.replace("column", "swirl").replace("vortex", "swirl")


def by_share(share: float) -> str:
    """Yes above 90 per cent of the time, no below 10, else marginal."""
    return YES if share > OFTEN else NO if share < SELDOM else MARGINAL


def verdict(m: FieldMeasures, chamber: Chamber, shares: Shares | None) -> Verdict:
    """Judge a field, and with it the time shares of a run that is not steady.

    Parameters
    ----------
    m : FieldMeasures
        Of the steady or of the mean field.
    chamber : Chamber
        The chamber.
    shares : Shares or None
        None for a single field, whose shares are 0 or 1.
    """
    of_time = shares or Shares.of([m], np.ones(1), 0.0, chamber)
    structure, breakdown = structure_of(m, chamber), breakdown_of(m, chamber)
    touchdown = by_share(of_time.standing)
    return Verdict(
        touchdown=touchdown,
        share_standing=of_time.standing,
        chance_standing=of_time.chance_standing,
        share_to_floor=of_time.to_floor,
        breakdown_touchdown=by_share(of_time.breakdown_at_floor),
        share_breakdown_at_floor=of_time.breakdown_at_floor,
        structure=structure,
        breakdown=breakdown,
        regime=regime_of(structure, breakdown, is_column=not why_no_column(m, chamber)),
        sentence=_sentence(touchdown, shares, structure, m, chamber),
    )


def in_doubt(
    v: Verdict,
    study: GridStudy | None,
    spread: Spread | None,
    margins: Margins | None = None,
    joint: Joint | None = None,
) -> Verdict:
    """The verdict with what studies found: marginal where grids or the model's constants disagree on touchdown, and
    where a small move of one knob changes it.
    """
    said: dict[str, list[str]] = {}
    if study is not None:
        said["grids"] = study.touchdown
    if spread is not None:
        said["the model's constants"] = list(spread.touchdown.values())
    if margins is not None:
        # Touchdown by the share alone, since that is how the margins' runs are judged.
        said["this run and the margins' coarser grid"] = [by_share(v.share_standing), margins.base.touchdown]
    split = [name for name, words in said.items() if len(set(words)) > 1]
    v = replace(v, grid_study=study, spread=spread, margins=margins, joint=joint)
    doubts, whys = [], []
    if split:
        doubts.append("Studies disagree: " + "; ".join(f"{name} say {_counted(said[name])}" for name in split) + ".")
        whys.append("studies disagree")
    if margins is not None and (near := margins.near_text()):
        doubts.append(f"A move of {100.0 * SUFFICES:.0f} % suffices: {near}.")
        whys.append(f"a move of {100.0 * SUFFICES:.0f} % suffices")
    if not doubts:
        return v
    rest = v.sentence if v.touchdown == MARGINAL else f"Marginal, since {' and '.join(whys)}. As given: {v.sentence}"
    return replace(v, touchdown=MARGINAL, sentence=" ".join([rest, *doubts]))


def _counted(words: list[str]) -> str:
    return ", ".join(f"{word} {words.count(word)} of {len(words)}" for word in (YES, MARGINAL, NO) if word in words)


def _sentence(touchdown: str, shares: Shares | None, structure: str, m: FieldMeasures, chamber: Chamber) -> str:
    head = {
        YES: "Yes: a column stands on the floor",
        MARGINAL: "Marginal: a column stands on the floor, but not always",
        NO: "No: no column stands on the floor",
    }[touchdown]
    time = field = ""
    if shares is not None:
        field = "in the mean field "
        chance = f" ± {100.0 * shares.chance_standing:.0f}" if shares.chance_standing else ""
        time = f" ({100.0 * shares.standing:.0f}{chance} % of the time)"
        # Percentages as printed, so that nobody reads the same number twice.
        if round(100.0 * shares.to_floor) != round(100.0 * shares.standing):
            all_cores = f"{100.0 * shares.to_floor:.0f} %"
            time = f"{time[:-1]}; a core too weak, too wide or too brief to be one included {all_cores})"
    return f"{head}{time}; {field}{_why(structure, m, chamber)}."


def _why(structure: str, m: FieldMeasures, chamber: Chamber) -> str:
    limit = near_floor(m, chamber)
    end = m.core.end if m.core is not None else "none was looked for"
    if structure == NO_VORTEX:
        return f"there is no core, since {end}"
    lack = why_no_column(m, chamber)
    no_column = f". It is no column: {lack}" if lack else ""
    if structure == TO_THE_FLOOR:
        return (
            f"the core reaches down to {1e3 * (m.core_foot_height or 0.0):.0f} mm, inside the lowest "
            f"{1e3 * limit:.0f} mm, and air rises in it there at {m.foot_axial_velocity:.2g} m/s{no_column}"
        )
    if (m.core_foot_height or 0.0) < limit:
        return f"the core reaches the floor, but the air inside it sinks there ({m.foot_axial_velocity:.2g} m/s)"
    foot = 1e3 * (m.core_foot_height or 0.0)
    return f"the core hangs with its foot {foot:.0f} mm above the floor: below, {end}{no_column}"


def cautions(m: FieldMeasures, v: Verdict, chamber: Chamber) -> tuple[str, ...]:
    """Marks that go with a verdict: under-resolved, thick floor layer, no exhaust, axisymmetry doubtful."""
    found = []
    if m.core is not None and m.core.end == TOO_NARROW:
        found.append(f"under-resolved: {TOO_NARROW}, so no core can be told there; refine the grid near the axis")
    elif m.cells_in_core is not None and m.cells_in_core < RESOLVED_CELLS:
        found.append(
            f"under-resolved: {m.cells_in_core:.1f} cells inside the core radius, "
            f"at least {RESOLVED_CELLS} are wanted; refine the grid near the axis"
        )
    if m.floor_layer is not None and m.floor_layer > THICK_LAYER * chamber.height:
        found.append(
            f"thick floor layer: {100.0 * m.floor_layer / chamber.height:.0f} % of the height counts as at "
            "the floor, so a foot inside it says little"
        )
    if chamber.exhaust_radius is None:
        found.append("no exhaust: nothing pulls a column upward, so the verdict says little here")
    swirl = m.swirl_ratio_at_exhaust_radius
    strong_inlet = chamber.has_inlet and swirl is not None and swirl > 0.8
    if v.breakdown == TWO_CELLED or strong_inlet:
        cause = "the core is two-celled down to the floor" if v.breakdown == TWO_CELLED else "S is above 0.8"
        found.append(f"axisymmetry doubtful: {cause}, where real vortices split in several and this model cannot")
    return tuple(found)
