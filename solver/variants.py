"""From a study to its variants: the values of the parameters, the case, and the neighbour each may start from."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from pydantic import ValidationError

from swirlwright.solver.case_keys import kind_of, to_plain, value_at
from swirlwright.solver.casefile import changed, parse_case, to_toml
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.quantities import QuantityError
from swirlwright.solver.schema import Case
from swirlwright.solver.study_file import Study
from swirlwright.solver.study_levels import between, drawn_share


@dataclass(frozen=True)
class Variant:
    """One point of a study.

    Attributes
    ----------
    index : int
        Its place in the order of the study, from 0.
    values : dict
        Value of each parameter by name, in SI: that of its first key, or the share.
    case : Case or None
        The case; None where the values make no valid one.
    reason : str
        Why they make none.
    neighbour : int or None
        The earlier variant whose field it starts from; None if it starts cold.
    """

    index: int
    values: Mapping[str, Any]
    case: Case | None
    reason: str
    neighbour: int | None


def variants_of(study: Study) -> list[Variant]:
    """All variants of a study, in its order: of a product the last parameter changes fastest.

    Raises
    ------
    InputError
        If not one of them is a valid case.
    """
    points, places = _product(study) if study.sample is None else _sampled(study)
    neighbours = _neighbours(study, places)
    found, first_error = [], None
    for index, point in enumerate(points):
        values = {p.name: value[0] for p, value in zip(study.parameters, point, strict=True)}
        try:
            case, reason = case_of(study, point), ""
        except InputError as error:
            first_error = first_error or error
            case, reason = None, reason_of(error)
        found.append(Variant(index, values, case, reason, neighbours[index]))
    if first_error is not None and all(variant.case is None for variant in found):
        raise no_case(study, first_error)
    return found


def no_case(study: Study, first: InputError) -> InputError:
    """That no variant of a study makes a valid case, with the mistakes of the first."""
    return InputError([study.problem(("parameters",), f"make no valid case, the first: {reason_of(first)}")])


def case_of(study: Study, point: Sequence[tuple[Any, ...]]) -> Case:
    """The case at a point of the study.

    Parameters
    ----------
    study : Study
    point : sequence of tuple
        For each parameter a value for each key it moves, SI; of a share just the one.

    Raises
    ------
    InputError
        If these values make no valid case.
    """
    changes = dict(study.changes)
    for p, values in zip(study.parameters, point, strict=True):
        if p.of is None:
            changes |= dict(zip(p.moved, values, strict=True))
    named = {p.name: values[0] for p, values in zip(study.parameters, point, strict=True)}
    _set_multiples(study, changes, named)
    return parse_case(to_toml(changed(study.base_case, changes)), study.base_case.path)


def _set_multiples(study: Study, changes: dict[str, Any], named: Mapping[str, Any]) -> None:
    """Add the keys that are multiples of other numbers, until each is so of the numbers as they end up.

    Once is enough where they follow from keys, which are in order; a property may hang on keys that are set after it.
    """
    base = study.base_case
    for _ in range(len(study.multiples) + 1):
        moved = None
        for m in study.multiples:
            factor = named[m.factor] if isinstance(m.factor, str) else m.factor
            number = named[m.of] if m.of in named else _looked_up(base, changes, m.of)
            value = _multiple(base, m.key, factor * number)
            if changes.get(m.key) != value:
                changes[m.key], moved = value, m
        if moved is None:
            return
    assert moved is not None
    raise InputError([study.problem(moved.at, "must not hang on its own key, by way of a property", moved.of)])


def _looked_up(base: Case, changes: Mapping[str, Any], path: str) -> float:
    """A number of the changed case, whose keys need not go together yet."""
    try:
        return value_at(Case.model_validate(changed(base, changes)), path)
    except (ValidationError, AttributeError, IndexError, ValueError, TypeError) as error:
        raise InputError([Problem(str(base.path), 1, path, None, "leads to no number of this variant")]) from error


def _multiple(base: Case, key: str, value: float) -> Any:
    kind = kind_of(key)
    assert kind is not None and kind.number is not None
    plain = round(value) if kind.number.whole else float(f"{value:.12g}")
    try:
        return to_plain(kind, plain)
    except QuantityError as error:
        raise InputError([Problem(str(base.path), 1, key, plain, f"must be {error}")]) from error


def _product(study: Study) -> tuple[list[tuple[Any, ...]], np.ndarray]:
    """Points of the full product and their places among the values of each parameter."""
    points = list(product(*study.levels))
    places = np.array(list(product(*(range(len(values)) for values in study.levels))), dtype=float)
    return points, places


def _sampled(study: Study) -> tuple[list[tuple[Any, ...]], np.ndarray]:
    """Points of a sample and their places in the unit cube."""
    assert study.sample is not None
    places = unit_sample(study.sample.method, len(study.parameters), study.sample.count, study.sample.seed)
    points = []
    for row in drawn(study, places):
        point = []
        for p, levels, share in zip(study.parameters, study.levels, row, strict=True):
            if p.range is None:
                point.append(levels[min(int(share * len(levels)), len(levels) - 1)])
            else:
                point.append(between(levels, float(share), p.spacing))
        points.append(tuple(point))
    return points, places


def drawn(study: Study, places: np.ndarray) -> np.ndarray:
    """Shares of the parameters' ranges at random places in the unit cube, both (n, parameters).

    They are the same but in ranges of whole numbers, each of which is as likely as the others, the ends too.
    """
    columns = [
        column if p.range is None else [drawn_share(levels, float(share), p.spacing) for share in column]
        for p, levels, column in zip(study.parameters, study.levels, places.T, strict=True)
    ]
    return np.stack([np.asarray(column, dtype=float) for column in columns], axis=1)


def unit_sample(method: str, dimensions: int, count: int, seed: int | np.random.Generator) -> np.ndarray:
    """Points in the unit cube, (count, dimensions); of saltelli (count (dimensions + 2), dimensions).

    Saltelli's are two independent samples A and B, then for each dimension A with that of B put in (Saltelli et al.
    2010, Comput. Phys. Commun. 181:259): the order that `scipy.stats.sobol_indices` takes.
    """
    from scipy.stats import qmc

    rng = np.random.default_rng(seed)
    if method == "latin-hypercube":
        return np.asarray(qmc.LatinHypercube(dimensions, seed=rng).random(count))
    if method == "saltelli":
        both = np.asarray(qmc.Sobol(2 * dimensions, seed=rng).random(count))
        a, b = both[:, :dimensions], both[:, dimensions:]
        mixed = [np.where(np.arange(dimensions) == k, b, a) for k in range(dimensions)]
        return np.concatenate([a, b, *mixed])
    # The sequence is balanced in powers of two only; the head of the next one is as good as it gets.
    return np.asarray(qmc.Sobol(dimensions, seed=rng).random_base2(math.ceil(math.log2(count))))[:count]


def _neighbours(study: Study, places: np.ndarray) -> list[int | None]:
    """The variant each starts from: of a product one step back along the last parameter that can, of a sample the
    nearest earlier one.
    """
    if study.start == "cold":
        return [None] * len(places)
    return list(_steps_back(study) if study.sample is None else _nearest_earlier(places))


def _steps_back(study: Study) -> Iterator[int | None]:
    sizes = [len(values) for values in study.levels]
    for place in product(*(range(size) for size in sizes)):
        last = max((axis for axis, n in enumerate(place) if n > 0), default=None)
        if last is None:
            yield None
            continue
        back = tuple(n - (axis == last) for axis, n in enumerate(place))
        yield int(np.ravel_multi_index(back, sizes))


def _nearest_earlier(places: np.ndarray) -> Iterator[int | None]:
    for n in range(len(places)):
        yield None if n == 0 else int(np.argmin(np.sum((places[:n] - places[n]) ** 2, axis=1)))


def reason_of(error: InputError) -> str:
    """What is wrong with a variant's case, without the lines of a text that nobody has written."""
    return "; ".join(str(problem).split(": ", 1)[-1] for problem in error.problems)
