"""Keys of a study that are multiples of other numbers of the same variant, in an order that sets before it reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from swirlwright.solver.errors import Finding
from swirlwright.solver.tomllines import Location

if TYPE_CHECKING:
    from swirlwright.solver.study_file import Study


@dataclass(frozen=True)
class Multiple:
    """A key of the case that is a multiple of another number.

    Attributes
    ----------
    key : str
        The dotted key that it sets.
    of : str
        Name of a parameter, or path in the variant's case.
    factor : float or str
        The factor, or the name of the parameter whose value it is.
    at : Location
        Place of `of` in the study.
    """

    key: str
    of: str
    factor: float | str
    at: Location


def multiples_of(study: Study) -> list[Multiple]:
    """All of a study, in the order of the file: parameters with `of`, then `[[derived]]`."""
    found: list[Multiple] = []
    for n, p in enumerate(study.parameters):
        if p.of is not None:
            found += [Multiple(key, p.of, p.name, ("parameters", n, "of")) for key in p.moved]
    return found + [Multiple(d.key, d.of, d.factor, ("derived", n, "of")) for n, d in enumerate(study.derived)]


def in_order(multiples: Sequence[Multiple]) -> tuple[list[Multiple], list[Finding]]:
    """Put multiples so that a key is set before another is a multiple of it; and what leads round in a circle.

    What a property of the case, such as chamber.open_area, is computed from is not known here.
    """
    by_key = {m.key: m for m in multiples}
    try:
        keys = [*TopologicalSorter({m.key: [m.of] * (m.of in by_key) for m in multiples}).static_order()]
    except CycleError as error:
        first = next(m for m in by_key.values() if m.key in error.args[1])
        chain, key = [first.key], first.of
        while key != first.key:
            chain.append(key)
            key = by_key[key].of
        told = " of ".join([*chain, first.key])
        return [], [Finding(first.at, f"must not lead back to its own key ({told})", first.of)]
    return [by_key[key] for key in keys], []
