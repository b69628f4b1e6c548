"""What a result file tells about the case, the network and the program that made it."""

from __future__ import annotations

import json
import platform
from importlib.metadata import version
from typing import Any

import numpy as np

from swirlwright.solver.casefile import fan_files
from swirlwright.solver.coupling import Chamber
from swirlwright.solver.network import AirNetwork, network_json
from swirlwright.solver.plan import tube_plan
from swirlwright.solver.result_layout import SI, Scales
from swirlwright.solver.schema import Case


def scales_of(case: Case, chamber: Chamber) -> Scales:
    if case.run.output == "si":
        return SI
    return Scales(case.model_radius, chamber.problem.speed, case.density)


def tubes_of(case: Case, network: AirNetwork) -> dict[str, Any]:
    plan = tube_plan(case)
    return {
        "x": plan.x,
        "y": plan.y,
        "flow": np.array([tube.flow for tube in network.tubes]),
        "inner_diameter": plan.inner_diameter,
        "outer_diameter": plan.outer_diameter,
    }


def attributes_of(case: Case, chamber: Chamber) -> dict[str, Any]:
    """Root attributes known at the start: the case, the air, the chamber, the jets, the versions."""
    exhaust, inlet = case.exhaust, case.inlet
    libraries = ("numpy", "scipy", "numba", "h5py", "fluids")
    return {
        "title": case.title,
        "case_text": case.text,
        "case_path": case.path.name,
        "fan_files_json": json.dumps(fan_files(case)),
        "closure": case.model.closure,
        "kinematic_viscosity": case.kinematic_viscosity,
        "density": case.density,
        "room_draught": case.air.draught,
        "chamber_radius": chamber.problem.grid.radius,
        "chamber_height": chamber.problem.grid.height,
        "chamber_width": case.chamber.width,
        "footprint": case.chamber.footprint,
        "wall_friction_factor": case.wall_friction_factor,
        "exhaust_radius": np.nan if exhaust is None else 0.5 * exhaust.diameter,
        "exhaust_hub_radius": np.nan if exhaust is None else 0.5 * exhaust.hub_diameter,
        "inlet_from": np.nan if inlet is None else inlet.from_height,
        "inlet_to": np.nan if inlet is None else inlet.to_height,
        "fog_on": int(case.fog is not None),
        "speed_scale": chamber.problem.speed,
        "versions": json.dumps(
            {"swirlwright": version("swirlwright"), "python": platform.python_version()}
            | {name: version(name) for name in libraries}
        ),
        **network_attributes(chamber),
    }


def network_attributes(chamber: Chamber) -> dict[str, Any]:
    """Root attributes that follow the network as it agrees with the flow."""
    jets, network = chamber.flow.jets, chamber.network
    return {
        "exhaust_flow": chamber.flow.exhaust_flow,
        "curtain_inner_edge": np.nan if jets is None else jets.curtain_inner_edge,
        "torque_input": network.torque,
        "torque_delivered": 0.0 if jets is None else jets.torque_delivered,
        "torque_lost": 0.0 if jets is None else jets.torque_lost,
        "network_json": json.dumps(network_json(network)),
        "warnings_json": json.dumps(list(network.warnings)),
    }
