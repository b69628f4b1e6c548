"""The tables of a study that is searched for its best variant: what is least, what must hold, how many rounds."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from swirlwright.solver.quantities import Number
from swirlwright.solver.schema import Table, Text

PerRound = Annotated[int, Number(ge=1, le=100, whole=True)]
Rounds = Annotated[int, Number(ge=0, le=1000, whole=True)]
Resolution = Annotated[float, Number(ge=0.0005, le=0.2)]
Clearance = Annotated[float, Number(ge=0, le=10)]


class Objective(Table):
    """What is to be least: the sum of some numbers of a variant, in SI, each times its weight."""

    terms: dict[str, Any] = Field(min_length=1, max_length=50)


class Constraint(Table):
    """Bounds of a number of a variant, with units as the number has them; clearance in standard errors by chance."""

    of: Text
    at_least: Any = None
    at_most: Any = None
    clearance: Clearance = 0.0


class Refinement(Table):
    """How the search goes on after its sample."""

    rounds: Rounds = 8
    per_round: PerRound = 4
    resolution: Resolution = 0.02
