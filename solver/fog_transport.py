"""The fog carried by a flow: rates of change, and a ledger of where it goes. Serves steady and unsteady flow."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.fog_law import LEDGER
from swirlwright.solver.grid import Array
from swirlwright.solver.state import FlowProblem, State

# Turbulent Schmidt number of the fog; 0.7 to 0.9 in free flows (Launder 1978, Topics in Applied Physics 12, memory).
SCHMIDT = 0.7


class Carriers(NamedTuple):
    """Velocities that carry droplets: u (nz, nr+1) and w (nz+1, nr), and that at which they land on panels (nz,)."""

    u: Array
    w: Array
    onto_panels: Array


def carriers(problem: FlowProblem, s: State) -> Carriers:
    """The air's velocity plus the droplets' drift tau (v^2/r, 0, -g); on openings only outward [m/s].

    Left out: what the air's own acceleration in u and w does to droplets, which is smaller than v^2/r.
    """
    law = problem.fog_law
    if law is None or law.relaxation_time == 0.0:
        return Carriers(s.u, s.w, np.zeros(s.v.shape[0]))
    u, w, onto = np.empty_like(s.u), np.empty_like(s.w), np.empty(s.v.shape[0])
    kernels.droplet_velocities(
        s.u, s.v, s.w, law.relaxation_time, law.settling_speed, law.closed, problem.grid.metric, u, w, onto
    )
    return Carriers(u, w, onto)


def fill_fog_rates(problem: FlowProblem, c: Array, by: Carriers, nu: Array, out: Array) -> None:
    """Fill `out` (nz, nr) with the rate of change of the fog c [1/s], which is affine in c."""
    kernels.scalar_rates(by.u, c, by.w, nu, SCHMIDT, problem.grid.metric, out)
    if problem.fog_law is not None:
        out += problem.fog_law.source


def inflow(problem: FlowProblem, by: Carriers) -> float:
    """Fog let in [m3/s]."""
    through_floor = 2.0 * np.pi * float(problem.grid.metric.a @ np.maximum(by.w[0], 0.0))
    if problem.fog_law is None:
        return through_floor
    return through_floor + float((problem.fog_law.source * problem.grid.volume).sum())


def outflows(problem: FlowProblem, along_r: Array, along_z: Array, by: Carriers) -> Array:
    """Fog that leaves by each way of LEDGER [m3/s], 0 for "in"; linear in the fog.

    along_r, along_z: (nz, nr) fog in the fluxes along r and along z; the same but in a factorised step.
    """
    out = np.empty(len(LEDGER))
    kernels.fog_outflows(by.u, by.w, by.onto_panels, along_r, along_z, problem.grid.metric, out)
    return out


def ledger_rates(problem: FlowProblem, c: Array, by: Carriers) -> Array:
    """Rate of change of the ledger [m3/s], in the order of LEDGER."""
    rates = outflows(problem, c, c, by)
    rates[LEDGER.index("in")] = inflow(problem, by)
    return rates


def fog_held(problem: FlowProblem, s: State) -> float:
    """Fog in the chamber [m3 of fog as it is in the inlet]."""
    return float((s.fog * problem.grid.volume).sum())
