"""The next variants of a search: least values of the models, some of them kept off what is computed already."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from swirlwright.postproc.searches.model import Surface, surface
from swirlwright.postproc.searches.space import Place, Space
from swirlwright.solver.study_goal import Refinement

# Distance kept from all computed places, over the largest such distance there is, from one far proposal to the next:
# the cycle of Regis and Shoemaker 2005, J. Global Optimization 31:153.
REACHES = (0.9, 0.75, 0.25, 0.05, 0.03, 0.0)
# Every so many proposals: the least value; that with clearance from the limits; and two that keep their distance.
KINDS = 4
# Places at which the largest distance from computed ones is looked for.
PROBES = 512
# A proposal is no further from a variant with an answer than this times its distance from one without.
BESIDE_BARREN = 0.5
# Proposals that cannot be built are given up after so many.
ATTEMPTS = 8
GENERATIONS = 150


@dataclass(frozen=True)
class Models:
    """What is believed of objective and slacks.

    Attributes
    ----------
    places : ndarray
        All that were asked for, (n, parameters).
    is_whole : ndarray of bool
        Which of them lack no number, (n,).
    surfaces : tuple of Surface
        Of the objective, then of each slack.
    scales : tuple of float
        Range of each over the places.
    doubts : tuple of float
        How far each may be off: over the last predictions, else with one value left out.
    """

    places: np.ndarray
    is_whole: np.ndarray
    surfaces: tuple[Surface, ...]
    scales: tuple[float, ...]
    doubts: tuple[float, ...]

    @classmethod
    def fitted(
        cls, places: np.ndarray, values: np.ndarray, is_whole: np.ndarray, missed: Sequence[float | None]
    ) -> Models:
        """Fit each column of values, (n, 1 + limits), where it is a number."""
        surfaces, scales = [], []
        for column in values.T:
            known = np.isfinite(column)
            surfaces.append(surface(places[known], column[known]))
            scales.append(float(np.ptp(column[known])) or 1.0)
        doubts = [s.error if error is None else error for s, error in zip(surfaces, missed, strict=True)]
        return cls(places, is_whole, tuple(surfaces), tuple(scales), tuple(doubts))

    def predict(self, places: np.ndarray) -> np.ndarray:
        """Objective and slacks, (n, 1 + limits)."""
        return np.stack([s.predict(places) for s in self.surfaces], axis=1)


@dataclass(frozen=True)
class Proposal:
    """A place to ask for, with what the models say of it; near: the best place, rather than one far from others."""

    place: Place
    objective: float
    slacks: tuple[float, ...]
    is_near: bool


@dataclass
class Proposer:
    """Makes the proposals of one round."""

    space: Space
    models: Models
    rules: Refinement
    seed: int
    round: int
    is_buildable: Callable[[Place], bool] = lambda place: True
    _barren: list[Place] = field(default_factory=list)

    def least(self, clear: Sequence[float] = ()) -> Place:
        """Where the models have their least objective with every limit kept, or come nearest to that.

        clear: for each limit how far it is to be kept; 0 where nothing is given.
        """
        return self._minimum(0, 0, (), clear=np.array(clear or self._no_clearance()), reach=0.0)

    def _no_clearance(self) -> tuple[float, ...]:
        return (0.0,) * (len(self.models.surfaces) - 1)

    def proposals(self) -> list[Proposal]:
        """As many as a round has; fewer where no more can be built."""
        found: list[Place] = []
        near: list[bool] = []
        widest = self._widest()
        for slot in range(self.rules.per_round):
            number = (self.round - 1) * self.rules.per_round + slot
            kind, turn = number % KINDS, number // KINDS
            far = REACHES[(turn + 3 * (kind - 2)) % len(REACHES)] if kind > 1 else 0.0
            reach = max(self.rules.resolution / 2, far * widest)
            clear = self.models.doubts[1:] if kind == 1 else self._no_clearance()
            place = self._built(slot, found, clear=np.array(clear), reach=reach)
            if place is not None:
                found.append(place)
                near.append(far == 0.0)
        if not found:
            return []
        rows = [[float(x) for x in row] for row in self.models.predict(np.array(found))]
        return [
            Proposal(place, row[0], tuple(row[1:]), is_near)
            for place, row, is_near in zip(found, rows, near, strict=True)
        ]

    def _built(self, slot: int, found: Sequence[Place], *, clear: np.ndarray, reach: float) -> Place | None:
        """A place that can be built and was not asked for yet."""
        asked = {*map(tuple, self.models.places.tolist()), *found}
        for attempt in range(ATTEMPTS):
            place = self._minimum(slot + 1, attempt, found, clear=clear, reach=reach)
            if place in asked:
                return None
            if self.is_buildable(place):
                return place
            self._barren.append(place)
        return None

    def _minimum(self, slot: int, attempt: int, found: Sequence[Place], *, clear: np.ndarray, reach: float) -> Place:
        """Least objective of the models, limits kept, at a distance from computed places, by differential evolution."""
        from scipy.optimize import Bounds, NonlinearConstraint, differential_evolution

        models, axes = self.models, self.space.axes
        taken = np.array([*models.places.tolist(), *found])
        whole = models.places[models.is_whole]
        barren = np.array([*models.places[~models.is_whole].tolist(), *self._barren]).reshape(-1, len(axes))

        def violations(coordinates: np.ndarray) -> np.ndarray:
            places = self.space.at(_columns(coordinates))
            slacks = np.stack([s.predict(places) for s in models.surfaces[1:]], axis=1) if len(clear) else 0.0
            kept = (clear - slacks) / models.scales[1:] if len(clear) else np.empty((len(places), 0))
            off = reach - _nearest(places, taken) if reach > 0 else np.full(len(places), -1.0)
            wild = np.full(len(places), -1.0)
            if len(barren):
                wild = _nearest(places, whole) - BESIDE_BARREN * _nearest(places, barren)
            return _shaped(np.column_stack([kept, off, wild]), coordinates)

        def objective(coordinates: np.ndarray) -> np.ndarray:
            return _shaped(models.surfaces[0].predict(self.space.at(_columns(coordinates)))[:, None], coordinates)[0]

        result = differential_evolution(
            objective,
            Bounds(np.zeros(len(axes)), np.array([axis.upper for axis in axes])),
            constraints=NonlinearConstraint(violations, -np.inf, 0.0),
            integrality=np.array([axis.is_whole for axis in axes]),
            rng=np.random.default_rng([self.seed, self.round, slot, attempt]),
            maxiter=GENERATIONS,
            tol=1e-6,
            polish=False,
            updating="deferred",
            vectorized=True,
        )
        return self.space.snapped(self.space.at(result.x[:, None]))[0]

    def _widest(self) -> float:
        """Largest distance of a place from all that were asked for."""
        from scipy.stats import qmc

        probes = qmc.Sobol(len(self.space.axes), scramble=False).random_base2(int(math.log2(PROBES)))
        return float(np.max(_nearest(np.asarray(probes), self.models.places)))


def _columns(coordinates: np.ndarray) -> np.ndarray:
    """One place or many as columns."""
    return coordinates if coordinates.ndim == 2 else coordinates[:, None]


def _shaped(rows: np.ndarray, coordinates: np.ndarray) -> np.ndarray:
    """Values of places, (n, m), as the optimiser wants them: (m, n), or (m,) for one place."""
    return rows.T if coordinates.ndim == 2 else rows[0]


def _nearest(places: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Distance of each place from the nearest of others."""
    from scipy.spatial.distance import cdist

    return np.min(cdist(places, others), axis=1)
