"""What a search found: the best variant, the limits it stands at, and how well the optimum is resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from swirlwright.postproc.searches.goal import Limit

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True)
class FoundParameter:
    """A parameter of the best variant.

    Attributes
    ----------
    name : str
    value : float
        SI.
    units : str
    lower, upper : float
        Ends of its range.
    at_end : str
        "lower" or "upper" where the value lies at that end within the resolution; else empty.
    spacing : float
        Largest difference from it among the nearest variants, one more than there are parameters.
    alike : tuple of float
        Least and largest value of the variants that may be as good; see `Resolution`.
    """

    name: str
    value: float
    units: str
    lower: float
    upper: float
    at_end: str
    spacing: float | None
    alike: tuple[float, float]


@dataclass(frozen=True)
class FoundLimit:
    """A limit at the best variant.

    Attributes
    ----------
    limit : Limit
    value, slack : float
        The number, and how far the limit is kept with its clearance.
    smoothed : float
        The slack that the models have there: what the neighbours say beside this one run.
    chance : float or None
        Standard error by chance of the number.
    model_error : float
        Root mean square of predicted less computed, over the last near proposals; where there are none, over all
        variants with one at a time left out.
    error : float
        One error: the larger of those two.
    is_active : bool
        Whether one of both slacks is no more than one error: a little further and the limit may be broken.
    """

    limit: Limit
    value: float
    slack: float
    smoothed: float
    chance: float | None
    model_error: float
    error: float
    is_active: bool

    def text(self) -> str:
        """The limit in a line."""
        units = "" if self.limit.units == "1" else f" {self.limit.units}"
        sign = ">=" if self.limit.is_least else "<="
        many = "" if self.limit.clearance == 1 else "s"
        by = f" by {self.limit.clearance:g} standard error{many}" if self.limit.clearance else ""
        chance = "" if self.chance is None else f" +- {self.chance:.2g} (standard error)"
        return f"{self.limit.of} {sign} {self.limit.bound:.4g}{units}{by}: {self.value:.4g}{chance}"


@dataclass(frozen=True)
class Best:
    """The best variant; its number is its place in the data set."""

    variant: int
    round: int
    is_converged: bool
    objective: float
    terms: Mapping[str, float]
    parameters: tuple[FoundParameter, ...]
    limits: tuple[FoundLimit, ...]
    measures: Mapping[str, float | None]
    words: Mapping[str, str]


@dataclass(frozen=True)
class Resolution:
    """How well the optimum is resolved.

    Attributes
    ----------
    within : float or None
        What the least objective is known to: the largest of the next three. None where `of_limits` is.
    of_limits : float or None
        What the errors of the limits make of it: least objective of the models with every limit kept by one error, less
        that with every limit just kept. None where the models keep no place's limits by one error.
    model_error : float
        Of the objective, as of a limit.
    chance : float or None
        Standard error by chance of the objective.
    next_best : int or None
        The next best variant that keeps every limit.
    next_difference : float or None
        Its objective less that of the best.
    alike : int
        How many variants, converged or not, may be as good, the best among them: they break no limit by more than one
        error, and their objective is no more than `within` above that of the best; with `within` None whatever it is.
    """

    within: float | None
    of_limits: float | None
    model_error: float
    chance: float | None
    next_best: int | None
    next_difference: float | None
    alike: int


@dataclass(frozen=True)
class Search:
    """What a search found; `data` holds every variant it ran."""

    title: str
    count: int
    statuses: Mapping[str, int]
    feasible: int
    rounds: int
    end: str
    is_settled: bool
    best: Best | None
    resolution: Resolution | None
    cautions: tuple[str, ...]
    data: xr.Dataset
    case_path: Path | None = None

    @property
    def is_converged(self) -> bool:
        """Whether there is a best variant and its run converged."""
        return self.best is not None and self.best.is_converged

    def text(self) -> str:
        """The answer as it is read."""
        from swirlwright.postproc.searches.sheet import sheet

        return "\n".join(sheet(self))

    def as_json(self) -> dict[str, Any]:
        """Plain data, SI; without the data set."""
        best = None
        if self.best is not None:
            best = asdict(self.best) | {"limits": [_limit_json(found) for found in self.best.limits]}
        return {
            "title": self.title,
            "variants": self.count,
            "statuses": dict(self.statuses),
            "feasible": self.feasible,
            "rounds": self.rounds,
            "end": self.end,
            "is_settled": self.is_settled,
            "best": best,
            "resolution": None if self.resolution is None else asdict(self.resolution),
            "cautions": list(self.cautions),
            "case": None if self.case_path is None else str(self.case_path),
        }


def _limit_json(found: FoundLimit) -> dict[str, Any]:
    plain = asdict(found)
    limit = plain.pop("limit")
    return {"of": limit["of"], "at_least" if limit["is_least"] else "at_most": limit["bound"]} | {
        "units": limit["units"], "clearance": limit["clearance"], **plain
    }  # fmt: skip
