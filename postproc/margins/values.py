"""What `margin` finds, as values that a result file carries: how far each knob may move before the verdict changes."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any, Final, Literal

from swirlwright.postproc.margins.bracket import SUFFICES

if TYPE_CHECKING:
    import xarray as xr

Kind = Literal["changes", "beyond bound", "at bound", "no case", "failed"]
CHANGES: Final = "changes"
BEYOND_BOUND: Final = "beyond bound"
AT_BOUND: Final = "at bound"
NO_CASE: Final = "no case"
FAILED: Final = "failed"
# Of a margin's folder, the result of the case as given.
BASE = "base.h5"
# Units of values as they are printed: SI unit to factor and unit.
PRINTED = {"m": (1e3, "mm"), "m3/s": (1e3, "L/s"), "m2/s": (1e6, "mm2/s"), "N": (1e3, "mN"), "1": (1.0, "")}


@dataclass(frozen=True)
class Point:
    """A chamber that was tried.

    Attributes
    ----------
    factor : float
        Of the knob on the case.
    value : float or None
        SI, as it came out; None where the run gave none.
    touchdown : str
        yes, marginal or no by its share of time; empty where there was no answer.
    share, chance : float or None
        Share of time a column stands, and its standard error by chance.
    is_converged : bool
        Whether the run was.
    reason : str
        Why it was not, or gave no answer.
    """

    factor: float
    value: float | None
    touchdown: str
    share: float | None
    chance: float | None
    is_converged: bool
    reason: str = ""

    @property
    def percent(self) -> str:
        """The move."""
        return f"{100.0 * (self.factor - 1.0):+.0f} %" if abs(self.factor - 1.0) > 1e-9 else "0 %"

    def is_within_chance_of(self, other: Point) -> bool:
        """Whether two shares of time differ by no more than twice their chance error."""
        if self.share is None or other.share is None:
            return False
        return abs(self.share - other.share) <= 2.0 * math.hypot(self.chance or 0.0, other.chance or 0.0)

    def share_text(self) -> str:
        """Share of time with its chance error, starred where the run did not converge."""
        if self.share is None:
            return "no answer"
        chance = f" ± {100.0 * self.chance:.0f}" if self.chance else ""
        return f"{100.0 * self.share:.0f}{chance} %{'' if self.is_converged else ' *'}"


@dataclass(frozen=True)
class End:
    """How far a knob may go one way.

    Attributes
    ----------
    kind : str
        changes; beyond bound: no change as far as was tried; at bound: cannot move; no case: what lies beyond cannot be
        built or solved; failed: a run beyond gave no answer.
    stays : Point
        The furthest that keeps the verdict, next to the change; the case itself if nothing does.
    beyond : Point or None
        The nearest that has another verdict, or no answer.
    is_by_chance : bool
        Whether its share of time differs by no more than twice the standard error from that of the case as given, and
        from the limit, 10 or 90 %, that it has passed.
    """

    kind: Kind
    stays: Point
    beyond: Point | None
    is_by_chance: bool = False

    @property
    def is_near(self) -> bool:
        """Whether a move of 15 % suffices, and not by chance: of a dozen runs near a limit one passes it anyhow."""
        is_small = self.beyond is not None and abs(self.beyond.factor - 1.0) < SUFFICES + 1e-9
        return self.kind == CHANGES and is_small and not self.is_by_chance


@dataclass(frozen=True)
class KnobMargin:
    """The margin of one knob; `points`: all that was tried, by factor, the case included. Others as in `Knob`."""

    name: str
    words: str
    how: str
    unit: str
    value: float | None
    low: float
    high: float
    resolution: float
    down: End
    up: End
    points: tuple[Point, ...]

    def shown(self, value: float | None) -> str:
        """A value with its unit for people."""
        if value is None:
            return "?"
        factor, unit = PRINTED.get(self.unit, (1.0, self.unit))
        return f"{factor * value:.3g} {unit}".rstrip()

    def range_text(self) -> str:
        """The range in which the verdict stays: "-12 to +40 % or more"."""
        low, high = self.down.stays.percent, self.up.stays.percent
        less = " or less" if self.down.kind == BEYOND_BOUND else ""
        more = " or more" if self.up.kind == BEYOND_BOUND else ""
        return f"{low}{less} to {high}{more}"


@dataclass(frozen=True)
class Settings:
    """How the runs were made: all on the same grid, `average` of the moved ones beside that of the case as given."""

    closure: str
    cells: tuple[int, int]
    spin_up: float
    average: float
    base_average: float
    is_transient: bool

    def text(self) -> str:
        """In a sentence."""
        nr, nz = self.cells
        run = "the case's own run, from its beginning"
        if not self.is_transient:
            run = (
                f"averages over {self.average:g} s ({self.base_average:g} s as given) after {self.spin_up:g} s from "
                "the field as given, where there is no steady state"
            )
        return f"Closure {self.closure} on {nr} x {nz} cells; {run}."


@dataclass(frozen=True)
class Margins:
    """How far each knob moves alone before touchdown, judged by its share of time, changes.

    Attributes
    ----------
    title : str
    settings : Settings
    base : Point
        The case as given, under these settings.
    knobs : tuple of KnobMargin
    lacking : dict
        Knobs that the case does not have, and why.
    runs : int
        Variants that were run, the case as given included.
    not_converged, failed : int
        How many of them did not converge, and how many gave no answer.
    rerun_cold, differ_cold : int
        Variants that were run once more from rest, and how many of them then had another share of time, beyond chance.
    data : xarray.Dataset or None
        All runs, as in margin.h5; None where the values were read back.
    """

    title: str
    settings: Settings
    base: Point
    knobs: tuple[KnobMargin, ...]
    lacking: Mapping[str, str]
    runs: int
    not_converged: int
    failed: int
    rerun_cold: int = 0
    differ_cold: int = 0
    data: xr.Dataset | None = field(default=None, compare=False, repr=False)

    def near(self) -> list[tuple[KnobMargin, End]]:
        """Ends that a move of 15 % passes."""
        return [(knob, end) for knob in self.knobs for end in (knob.down, knob.up) if end.is_near]

    def near_text(self) -> str:
        """Those ends in words: "exhaust flow by -12 % makes it no"."""
        return ", ".join(
            f"{knob.words} by {end.beyond.percent} makes it {end.beyond.touchdown}"
            for knob, end in self.near()
            if end.beyond is not None
        )

    def line(self) -> str:
        """One line for the sheet of a result."""
        nr, nz = self.settings.cells
        ranges = "; ".join(f"{knob.words} {knob.range_text()}" for knob in self.knobs)
        loose = f" NOT CONVERGED: {self.not_converged} of {self.runs} runs." if self.not_converged else ""
        loose += f" {self.failed} runs gave no answer." if self.failed else ""
        return (
            f"Margins: touchdown stays {self.base.touchdown} ({nr} x {nz} cells, {self.settings.closure}) while one of "
            f"these moves alone: {ranges}.{loose}"
        )

    def text(self) -> str:
        """The table."""
        from swirlwright.postproc.margins.words import margins_text

        return margins_text(self)

    def as_json(self) -> dict[str, Any]:
        """Plain values, SI; factors on the case."""
        found: dict[str, Any] = json.loads(json.dumps(asdict(replace(self, data=None))))
        del found["data"]
        found["move_that_suffices"] = SUFFICES
        return found

    @classmethod
    def of_json(cls, data: Mapping[str, Any]) -> Margins:
        """Read back what `as_json` gave."""
        plain = {name: value for name, value in data.items() if name in cls.__dataclass_fields__}
        settings = {**data["settings"], "cells": tuple(data["settings"]["cells"])}
        plain |= {
            "settings": Settings(**settings),
            "base": Point(**data["base"]),
            "knobs": tuple(_knob(knob) for knob in data["knobs"]),
        }
        return cls(**plain)


def _knob(data: Mapping[str, Any]) -> KnobMargin:
    ends = {way: _end(data[way]) for way in ("down", "up")}
    return KnobMargin(**{**data, **ends, "points": tuple(Point(**point) for point in data["points"])})


def _end(data: Mapping[str, Any]) -> End:
    beyond = data["beyond"]
    return End(data["kind"], Point(**data["stays"]), None if beyond is None else Point(**beyond), data["is_by_chance"])


def margins_in(attributes: Mapping[str, Any]) -> Margins | None:
    """The margins that a result file carries."""
    text = attributes.get("margins_json")
    return Margins.of_json(json.loads(text)) if isinstance(text, str) else None
