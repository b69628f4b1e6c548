"""Air network and flow made to agree: exhaust flow and jets follow the pressure the flow solver finds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from swirlwright.solver import kernels
from swirlwright.solver.exhaust import ExhaustDuty
from swirlwright.solver.flow import Blowing, ChamberFlow, build_flow
from swirlwright.solver.grid import Array, Grid
from swirlwright.solver.network import AirNetwork, solve_network
from swirlwright.solver.schema import Case
from swirlwright.solver.state import FlowProblem, State

# Flow and network agree when the exhaust flow moves by less than this share from one round to the next.
AGREEMENT = 1e-4


@dataclass(frozen=True)
class Chamber:
    """A case with the network that now feeds it and the flow problem that follows."""

    case: Case
    network: AirNetwork
    flow: ChamberFlow

    @property
    def problem(self) -> FlowProblem:
        return self.flow.problem

    @classmethod
    def of(cls, case: Case, grid: Grid, network: AirNetwork, blowing: Blowing = Blowing()) -> Chamber:
        return cls(case, network, build_flow(case, grid, network.jets, network.exhaust_flow, blowing))

    def on(self, grid: Grid) -> Chamber:
        """The same chamber on another grid."""
        return Chamber.of(self.case, grid, self.network)

    def agreed_with(self, pressure: Array, plane_pressure: float, blowing: Blowing) -> Chamber:
        """The chamber with its network solved against the flow's pressure.

        pressure: (nz, nr) [Pa]; plane_pressure: flow-weighted mean total pressure in the exhaust opening [Pa].
        """
        if not self.is_coupled:
            return self
        z, at_tubes = self.problem.grid.z, pressure[:, -1]
        flow = self.network.exhaust_flow
        if self.network.exhaust is not None:
            flow = exhaust_flow_against(self.network.exhaust, plane_pressure, flow)
        network = solve_network(
            self.case, chamber_pressure=lambda height: float(np.interp(height, z, at_tubes)), exhaust_flow=flow
        )
        return Chamber.of(self.case, self.problem.grid, network, blowing)

    @property
    def is_coupled(self) -> bool:
        """Whether the flow can change the network: air must have another way in or out than both of them."""
        return self.problem.exhaust_flow is not None or (
            bool(np.any(self.problem.edges.side_kind == 1)) and len(self.network.jets) > 0
        )


def exhaust_flow_against(duty: ExhaustDuty, plane_pressure: float, flow: float) -> float:
    """Flow [m3/s] at which the duty meets the chamber, whose suction [Pa] is taken to grow with the flow squared.

    plane_pressure: what the chamber asked for at `flow`. The largest crossing is taken, as in the network.
    """
    if duty.given_flow is not None:
        return duty.given_flow
    from scipy.optimize import brentq

    def excess(q: float) -> float:
        return duty.plane_pressure(q) - plane_pressure * (q / flow) ** 2

    trial = np.linspace(0.0, 3.0 * flow, 121)
    values = np.array([excess(q) for q in trial])
    crossings = np.nonzero((values[:-1] < 0.0) & (values[1:] >= 0.0))[0]
    if crossings.size == 0:
        return flow
    k = int(crossings[-1])
    return float(brentq(excess, trial[k], trial[k + 1], xtol=1e-12 * flow, rtol=1e-12))


def exhaust_plane_pressure(problem: FlowProblem, s: State) -> float:
    """Flow-weighted mean total pressure in the exhaust opening without swirl energy [Pa]; 0 without outflow."""
    w = s.w[-1]
    leaving = np.where(w > 0.0, w * problem.grid.metric.a, 0.0)
    if leaving.sum() == 0.0:
        return 0.0
    static = np.empty_like(w)
    kernels.exhaust_pressures(s.w, s.p, problem.edges_at(s.duct_pressure), static)
    return problem.density * float((leaving * (static + 0.5 * w * w)).sum() / leaving.sum())
