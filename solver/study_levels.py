"""The values of a study's parameters in SI, and what lies between the two ends of a range."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from swirlwright.solver.case_keys import KeyKind, kind_of, to_plain
from swirlwright.solver.errors import Finding
from swirlwright.solver.quantities import QuantityError
from swirlwright.solver.tomllines import Location

if TYPE_CHECKING:
    from swirlwright.solver.study_file import Parameter, Study


def levels_of(study: Study, parameter: Parameter, at: Location) -> tuple[tuple[Any, ...], list[Finding]]:
    """The values of a parameter in SI, those of linked keys as tuples; and what is wrong with them."""
    kinds = [study.kind(parameter)] if parameter.of is not None else [kind_of(key) for key in parameter.moved]
    name, given = ("values", parameter.values) if parameter.range is None else ("range", parameter.range)
    found: list[tuple[Any, ...]] = []
    first_ones: set[Any] = set()
    wrong: list[Finding] = []
    for n, value in enumerate(given):
        parts = value if isinstance(value, list) and len(kinds) > 1 else [value] * len(kinds)
        place: Location = (*at, name, n)
        if len(parts) != len(kinds):
            wrong.append(Finding(place, f"must be one value, or a list of {len(kinds)}, one for each key", value))
            continue
        plain, mistakes = _plain_parts(kinds, parts, place, is_list=parts is value)
        if mistakes:
            wrong += mistakes
            continue
        if plain[0] in first_ones:
            wrong.append(Finding(place, "must differ, in its first key, from the values before it", value))
        first_ones.add(plain[0])
        found.append(plain)
    if parameter.range is None or wrong:
        return tuple(found), wrong
    return _ranged(parameter, found, at, is_sampled=study.sample is not None)


def _plain_parts(
    kinds: Sequence[KeyKind | None], parts: Sequence[Any], place: Location, *, is_list: bool
) -> tuple[tuple[Any, ...], list[Finding]]:
    """One value in SI for each key, or what is wrong with the first that is none."""
    found = []
    for k, (kind, part) in enumerate(zip(kinds, parts, strict=True)):
        try:
            found.append(part if kind is None else to_plain(kind, part))
        except QuantityError as error:
            return (), [Finding((*place, k) if is_list else place, f"must be {error}", part)]
    return tuple(found), []


def _ranged(
    parameter: Parameter, ends: list[tuple[Any, ...]], at: Location, *, is_sampled: bool
) -> tuple[tuple[Any, ...], list[Finding]]:
    numbers = [x for end in ends for x in end]
    if not all(isinstance(x, int | float) and not isinstance(x, bool) for x in numbers):
        return (), [Finding((*at, "range"), "must be two numbers")]
    if parameter.spacing == "log" and min(numbers) <= 0:
        return (), [Finding((*at, "spacing"), "must be linear where range comes down to 0", "log")]
    if is_sampled:
        return tuple(ends), []
    shares = [0.0] if parameter.count == 1 else [i / ((parameter.count or 2) - 1) for i in range(parameter.count or 2)]
    values = [between(ends, share, parameter.spacing) for share in shares]
    if len(set(values)) < len(values):
        return (), [Finding((*at, "count"), "makes equal values: these are whole numbers", parameter.count)]
    return tuple(values), []


def between(ends: Any, share: float, spacing: str) -> tuple[Any, ...]:
    """Values at a share, 0 to 1, of the way between two ends; rounded where both ends are whole numbers."""
    found: list[Any] = []
    for low, high in zip(*ends, strict=True):
        value = low * (high / low) ** share if spacing == "log" else low + share * (high - low)
        value = high if share == 1.0 else value
        found.append(round(value) if isinstance(low, int) and isinstance(high, int) else float(f"{value:.12g}"))
    return tuple(found)


def drawn_share(ends: Any, share: float, spacing: str) -> float:
    """The share for `between` to which a random share, 0 to 1, leads.

    Of whole numbers it is that of one of them: each has the draws up to half a step to either side of it, the ends too.
    Linked keys follow the first that takes whole numbers.
    """
    for low, high in zip(*ends, strict=True):
        if not (isinstance(low, int) and isinstance(high, int)) or low == high:
            continue
        step = 1 if high > low else -1
        place = between([(low - step / 2,), (high + step / 2,)], share, spacing)[0]
        number = min(max(math.floor(place + 0.5), min(low, high)), max(low, high))
        if spacing == "log":
            return math.log(number / low) / math.log(high / low)
        return (number - low) / (high - low)
    return share
