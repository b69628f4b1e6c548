"""The chamber's pressure before any flow is solved: the one level at which all its flows balance."""

from __future__ import annotations

import math
from dataclasses import dataclass

from swirlwright.solver.exhaust import ExhaustDuty
from swirlwright.solver.relations import inlet_flow
from swirlwright.solver.schema import Case
from swirlwright.solver.supply import Source, TubeBank, nearly_fed, refusal

# Highest pressure looked for [Pa]: beyond any fan of the schema.
HIGHEST = 1e5
# Flows that agree to this share of their size balance at any pressure: the room's is taken.
AGREE = 1e-6


@dataclass(frozen=True)
class Balance:
    """What lets air into and out of a chamber of uniform pressure.

    fed, drawn: tubes fed by the source and from the room, outside pressure 0.   open_area: sides and leaks
    [m2]. given_flow: inlet and fog [m3/s].   exhaust_flow: where known [m3/s].
    """

    duty: ExhaustDuty | None
    source: Source | None
    fed: TubeBank | None
    drawn: TubeBank | None
    open_area: float
    inflow_loss: float
    outflow_loss: float
    density: float
    given_flow: float
    exhaust_flow: float | None

    def side_flow(self, level: float) -> float:
        """Return the flow in through the sides [m3/s] at a chamber pressure [Pa]; negative outward."""
        loss = 1.0 + (self.inflow_loss if level < 0.0 else self.outflow_loss)
        return math.copysign(self.open_area * math.sqrt(2.0 * abs(level) / (self.density * loss)), -level)

    def tubes_flow(self, level: float) -> float:
        """Return the flow in through all tubes [m3/s], within a per cent or so."""
        flow = 0.0
        if self.fed is not None and self.source is not None:
            flow += nearly_fed(self.source, self.fed, level)
        if self.drawn is not None:
            flow += self.drawn.nearly_flow(-level)
        return flow

    def drawn_out(self, level: float) -> float:
        """Return the flow of the exhaust [m3/s]."""
        if self.exhaust_flow is not None:
            return self.exhaust_flow
        return 0.0 if self.duty is None else self.duty.flow_for(level)

    def excess(self, level: float) -> float:
        """Return the flow in less the flow out [m3/s]; it falls as the level rises."""
        return self.side_flow(level) + self.tubes_flow(level) + self.given_flow - self.drawn_out(level)


def balance_of(
    case: Case,
    *,
    duty: ExhaustDuty | None,
    source: Source | None,
    fed: TubeBank | None,
    drawn: TubeBank | None,
    exhaust_flow: float | None,
) -> Balance:
    """Gather what the balance of a case depends on."""
    return Balance(
        duty=duty,
        source=source,
        fed=fed,
        drawn=drawn,
        open_area=case.chamber.open_area + case.chamber.leak_area,
        inflow_loss=case.chamber.inflow_loss,
        outflow_loss=case.chamber.outflow_loss,
        density=case.density,
        given_flow=inlet_flow(case) + (case.fog.flow if case.fog is not None else 0.0),
        exhaust_flow=exhaust_flow,
    )


def chamber_level(case: Case, balance: Balance) -> float:
    """Return the pressure of the whole chamber against the room at which its flows balance [Pa].

    The dynamic head of the chamber's air is not counted: this is where an iteration with the flow starts,
    and what `check` prints.

    Raises
    ------
    InputError
        If no pressure balances them.
    """
    from fluids.numerics import brenth

    duty = balance.duty
    if duty is not None and duty.suction is not None and duty.losses == 0.0 and balance.exhaust_flow is None:
        return -duty.suction

    # The square root's variable: flows are nearly linear in it, and its slope is finite at no flow.
    def excess(root: float) -> float:
        return balance.excess(math.copysign(root * root, root))

    at_room = excess(0.0)
    if abs(at_room) <= AGREE * max(balance.drawn_out(0.0), balance.given_flow, 1e-12):
        return 0.0
    end = math.copysign(1.0, at_room)
    while excess(end) * at_room > 0.0:
        end *= 2.0
        if end * end > HIGHEST:
            if at_room < 0.0:
                raise refusal(case, ("exhaust",), "draws more than the chamber can take in at any pressure")
            raise refusal(case, ("chamber",), "lets more air in than it can let out at any pressure")
    root = brenth(excess, min(0.0, end), max(0.0, end), xtol=1e-9 * abs(end))
    return math.copysign(root * root, root)
