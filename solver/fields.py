"""Fields of the result file from the staggered state: centres for people, face fluxes for budgets."""

from __future__ import annotations

import numpy as np

from swirlwright.solver.grid import Array
from swirlwright.solver.state import FlowProblem, State
from swirlwright.solver.transient import SwirlBudget

CENTRE_NAMES = (
    "radial_velocity",
    "tangential_velocity",
    "axial_velocity",
    "pressure",
    "effective_viscosity",
    "fog_concentration",
)


def centre_names(problem: FlowProblem) -> tuple[str, ...]:
    """Names of the frame variables of a problem; the fog comes last and only where there is some."""
    return CENTRE_NAMES if problem.has_fog else CENTRE_NAMES[:-1]


def centre_fields(problem: FlowProblem, s: State) -> dict[str, Array]:
    """Frame variables at the cell centres in SI, (nz, nr): velocities averaged from the faces, pressure in Pa."""
    values = (
        0.5 * (s.u[:, 1:] + s.u[:, :-1]),
        s.v,
        0.5 * (s.w[1:] + s.w[:-1]),
        problem.density * s.p,
        problem.viscosity(s)[1:-1, 1:-1],
        s.fog,
    )
    return dict(zip(centre_names(problem), values, strict=False))


def steady_budget(problem: FlowProblem, s: State) -> dict[str, Array]:
    """Budget variables of one state in SI, with nothing stored."""
    k, src = problem.work, problem.sources
    problem.fill_swirl_fluxes(s)
    parts = SwirlBudget(
        k.adv_r.copy(), k.vis_r.copy(), k.adv_z.copy(), k.vis_z.copy(), s.u, s.w, src.volume, src.torque, 1.0
    )
    return budget_fields(problem, parts, np.zeros(problem.grid.shape))


def mean_budget(problem: FlowProblem, budget: SwirlBudget, start: State, end: State) -> dict[str, Array]:
    """Budget variables in SI averaged over a window, with the mean rate of change of r*v."""
    r = problem.grid.r[None, :]
    storage = problem.density * r * (end.v - start.v) / budget.time
    return budget_fields(problem, budget, storage)


def budget_fields(problem: FlowProblem, budget: SwirlBudget, storage: Array) -> dict[str, Array]:
    """Divide the integrals by their time and turn them from per radian and density to whole rings."""
    m = problem.grid.metric
    ring = 2.0 * np.pi * problem.density / budget.time
    return {
        "mass_flux_r": ring * budget.u * m.rf[None, :] * m.dz[:, None],
        "mass_flux_z": ring * budget.w * m.a[None, :],
        "angular_momentum_flux_r_advective": ring * budget.adv_r,
        "angular_momentum_flux_r_viscous": ring * budget.vis_r,
        "angular_momentum_flux_z_advective": ring * budget.adv_z,
        "angular_momentum_flux_z_viscous": ring * budget.vis_z,
        "mass_source": problem.density * budget.volume / budget.time,
        "torque_source": problem.density * budget.torque / budget.time,
        "angular_momentum_storage": storage,
    }
