"""The flow problem as the solvers see it, and the state they move: plain arrays, no case file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.eddy import SpalartAllmaras
from swirlwright.solver.fog_law import LEDGER, FogLaw
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.kernels import Edges


@dataclass(frozen=True)
class Sources:
    """What the jets bring in. Kinematic: over density.

    volume: q (nz, nr) [1/s]; torque: (nz, nr) [m2/s2]; radial_force: (nz, nr+1) [m/s2];
    axial_force: (nz+1, nr) [m/s2].
    """

    volume: Array
    torque: Array
    radial_force: Array
    axial_force: Array

    @classmethod
    def none(cls, grid: Grid) -> Sources:
        nz, nr = grid.shape
        return cls(np.zeros((nz, nr)), np.zeros((nz, nr)), np.zeros((nz, nr + 1)), np.zeros((nz + 1, nr)))

    def plus(self, other: Sources) -> Sources:
        """Both together."""
        return Sources(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(self)))


@dataclass(frozen=True)
class FixedViscosity:
    """A viscosity field that does not depend on the flow; field: (nz+2, nr+2) with its rim [m2/s]."""

    field: Array

    def of(self, u: Array, v: Array, w: Array, grid: Grid, edges: Edges) -> Array:
        return self.field

    @classmethod
    def uniform(cls, grid: Grid, value: float) -> FixedViscosity:
        nz, nr = grid.shape
        return cls(np.full((nz + 2, nr + 2), value))


@dataclass(frozen=True)
class MixingLength:
    """Mixing-length viscosity with rotation damping; see `kernels.mixing_length_viscosity`.

    length: (nz, nr) undamped length [m]; molecular [m2/s]; rate_floor [1/s] regularises the strain rate at rest.
    """

    length: Array
    molecular: float
    damping: float
    unstable_cap: float
    rate_floor: float

    def of(self, u: Array, v: Array, w: Array, grid: Grid, edges: Edges) -> Array:
        nz, nr = grid.shape
        out = np.empty((nz + 2, nr + 2))
        kernels.mixing_length_viscosity(
            u, v, w, grid.metric, edges, self.length, self.molecular, self.damping, self.unstable_cap,
            self.rate_floor, out,
        )  # fmt: skip
        return out


@dataclass(frozen=True)
class FlowProblem:
    """Everything that determines the flow on one grid between two events.

    exhaust_flow [m3/s] is the flow through the pressure faces of the ceiling, met by the duct pressure; None
    where no ceiling face has a pressure condition or nothing else can let air in (then mass balance sets it).
    speed [m/s] and length [m] are scales of the problem, for tolerances and first steps only.
    fog_law: None where the fog is a passive tracer from the floor's inlet.
    """

    grid: Grid
    edges: Edges
    sources: Sources
    closure: FixedViscosity | MixingLength | SpalartAllmaras
    density: float
    molecular: float
    exhaust_flow: float | None
    speed: float
    length: float
    has_fog: bool = False
    fog_law: FogLaw | None = None

    @property
    def fog_weight(self) -> float:
        """Reduced gravity of undiluted fog [m/s2]; 0 where the fog does not act on the air."""
        return self.fog_law.reduced_gravity if self.has_fog and self.fog_law is not None else 0.0

    @cached_property
    def work(self) -> Work:
        return Work.allocate(self.grid)

    def edges_at(self, duct_pressure: float) -> Edges:
        """Edges with the duct's kinematic pressure [m2/s2] added in the exhaust plane."""
        return self.edges._replace(top_p=self.edges.top_p + duct_pressure)

    def viscosity(self, s: State) -> Array:
        if isinstance(self.closure, SpalartAllmaras):
            return self.closure.viscosity(s.eddy)
        return self.closure.of(s.u, s.v, s.w, self.grid, self.edges)

    def rates(self, s: State, nu: Array) -> tuple[Array, Array, Array]:
        """Rates of change of u, v, w [m/s2], pressure gradient included; fresh arrays."""
        out = np.empty_like(s.u), np.empty_like(s.v), np.empty_like(s.w)
        self.fill_rates(s, nu, corner(nu), *out)
        return out

    def fill_swirl_fluxes(self, s: State) -> None:
        """Fill adv_r, vis_r, adv_z, vis_z of `work` with the fluxes of angular momentum of one state."""
        k = self.work
        kernels.swirl_fluxes(
            s.u, s.v, s.v, s.v, s.w, self.viscosity(s), self.grid.metric, self.edges, k.adv_r, k.vis_r, k.adv_z, k.vis_z
        )

    def fill_rates(self, s: State, nu: Array, corners: Array, out_u: Array, out_v: Array, out_w: Array) -> None:
        """As `rates`, into the given arrays; corners: viscosity there, see `corner`."""
        k, src = self.work, self.sources
        kernels.momentum_rates(
            s.u, s.v, s.w, s.p, nu, corners, self.grid.metric, self.edges_at(s.duct_pressure),
            src.radial_force, src.torque, src.axial_force,
            k.adv_r, k.vis_r, k.adv_z, k.vis_z, k.flux_r, k.flux_z, out_u, out_v, out_w,
        )  # fmt: skip
        if self.fog_weight:
            kernels.add_fog_weight(s.fog, self.fog_weight, self.edges.top_kind, out_w)

    def divergence(self, s: State) -> Array:
        """div u - q [1/s], (nz, nr)."""
        out = np.empty_like(s.p)
        kernels.divergence(s.u, s.w, self.sources.volume, self.grid.metric, out)
        return out

    @cached_property
    def exhaust_areas(self) -> Array:
        """Areas of the ceiling faces with a pressure condition, (nr,) [m2]; 0 elsewhere."""
        return np.where(self.edges.top_kind == 1, 2.0 * np.pi * self.grid.metric.a, 0.0)

    def flow_through_exhaust(self, s: State) -> float:
        """Volume flow through the pressure faces of the ceiling [m3/s]."""
        return float(self.exhaust_areas @ s.w[-1])


def corner(nu: Array) -> Array:
    """Viscosity at the corners of the cells, (nz+1, nr+1), from that at centres with its rim [m2/s]."""
    out = np.empty((nu.shape[0] - 1, nu.shape[1] - 1))
    kernels.corner_viscosity(nu, out)
    return out


@dataclass(frozen=True)
class Work:
    """Scratch arrays of one problem; contents mean nothing between calls."""

    adv_r: Array
    vis_r: Array
    adv_z: Array
    vis_z: Array
    flux_r: Array
    flux_z: Array

    @classmethod
    def allocate(cls, grid: Grid) -> Work:
        nz, nr = grid.shape
        on_r, on_z = (nz, nr + 1), (nz + 1, nr)
        # Corner fluxes of u and centre fluxes of w share these two, so they hold the larger of both shapes.
        big = (nz + 1, nr + 1)
        return cls(np.zeros(on_r), np.zeros(on_r), np.zeros(on_z), np.zeros(on_z), np.zeros(big), np.zeros(big))


@dataclass(frozen=True)
class State:
    """Velocities [m/s] and pressure over density [m2/s2] on the staggered grid at `time` [s].

    fog and eddy (nz, nr): fog concentration, and nu~ [m2/s] where the closure has an equation for it; empty without.
    fog_ledger: fog let in and gone by each way since the run began, in the order of LEDGER [m3].
    """

    u: Array
    v: Array
    w: Array
    p: Array
    duct_pressure: float = 0.0
    time: float = 0.0
    fog: Array = field(default_factory=lambda: np.zeros((0, 0)))
    eddy: Array = field(default_factory=lambda: np.zeros((0, 0)))
    fog_ledger: Array = field(default_factory=lambda: np.zeros(len(LEDGER)))

    @classmethod
    def at_rest(cls, problem: FlowProblem) -> State:
        """No motion but what the boundary faces impose."""
        nz, nr = problem.grid.shape
        e = problem.edges
        u, w = np.zeros((nz, nr + 1)), np.zeros((nz + 1, nr))
        u[:, -1] = np.where(e.side_kind == 0, e.side_u, 0.0)
        w[0] = e.bottom_w
        w[-1] = np.where(e.top_kind == 0, e.top_w, 0.0)
        return cls(u, np.zeros((nz, nr)), w, np.zeros((nz, nr)), fog=np.zeros((nz, nr)), eddy=first_eddy(problem))

    def dump(self) -> dict[str, Any]:
        """All of it as a mapping, for the restart group."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    @classmethod
    def load(cls, saved: Mapping[str, Any]) -> State:
        """The state that `dump` gave."""
        return cls(**saved)

    @property
    def largest_speed(self) -> float:
        """Largest component of the velocity [m/s]."""
        return float(max(np.abs(self.u).max(), np.abs(self.v).max(), np.abs(self.w).max()))

    @property
    def is_finite(self) -> bool:
        # A sum is not finite if any of its terms is not.
        return bool(np.isfinite(sum(part.sum() for part in (self.u, self.v, self.w, self.p, self.fog, self.eddy))))


def first_eddy(problem: FlowProblem) -> Array:
    """nu~ to begin with; empty where the closure has no equation for it."""
    closure = problem.closure
    return closure.at_rest(problem.grid) if isinstance(closure, SpalartAllmaras) else np.zeros((0, 0))


def imposed(problem: FlowProblem, s: State) -> State:
    """`s` as a start for another problem: its given normal velocities put in, nu~ there where its closure wants it."""
    e = problem.edges
    u, w = s.u.copy(), s.w.copy()
    u[:, -1] = np.where(e.side_kind == 0, e.side_u, u[:, -1])
    w[0] = e.bottom_w
    w[-1] = np.where(e.top_kind == 0, e.top_w, w[-1])
    wanted = first_eddy(problem)
    return replace(s, u=u, w=w, eddy=s.eddy if s.eddy.shape == wanted.shape else wanted)
