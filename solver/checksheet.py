"""What `check` prints: the chamber as it will be solved, its derived numbers and its air network."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from swirlwright.solver.network import AirNetwork, network_json, network_table, solve_network
from swirlwright.solver.plan import HolePlan, hole_plan
from swirlwright.solver.schema import Case


@dataclass(frozen=True)
class CheckSheet:
    """A checked case with its air network; no flow has been solved."""

    case: Case
    network: AirNetwork
    holes: HolePlan

    @property
    def radial_reynolds_number_estimate(self) -> float:
        """Exhaust flow over 2 pi H nu, as if the air came in over the full height [1]."""
        height = self.case.chamber.height
        return self.network.exhaust_flow / (2 * math.pi * height * self.case.kinematic_viscosity)

    def as_json(self) -> dict[str, Any]:
        """The sheet as plain data, SI units, keys as `name_unit`."""
        case, chamber = self.case, self.case.chamber
        return {
            "title": case.title,
            "footprint": chamber.footprint,
            "chamber_width_m": chamber.width,
            "chamber_height_m": chamber.height,
            "model_radius_m": case.model_radius,
            "floor_area_m2": chamber.floor_area,
            "open_area_m2": chamber.open_area,
            "density_kg_per_m3": case.density,
            "kinematic_viscosity_m2_per_s": case.kinematic_viscosity,
            "tube_count": sum(tubes.number for tubes in case.tubes),
            "hole_count": len(self.holes),
            "hole_area_m2": float(np.sum(np.pi / 4 * self.holes.diameter**2)),
            "hole_rows": [self._row_json(first) for first in self._first_of_rows()],
            "radial_reynolds_number_estimate": self.radial_reynolds_number_estimate,
            "cells_r": case.grid.cells_r,
            "cells_z": case.grid.cells_z,
            "network": network_json(self.network),
        }

    def text(self) -> str:
        """The sheet as a builder reads it, lengths in mm."""
        rows = [f"  {name:<44}{value:>10} {unit}".rstrip() for name, value, unit in self._facts()]
        if len(self.holes):
            rows += ["", "Jets on the plan (angles to the tangent at the hole, inward positive)"]
            rows += ["  tube  row  from the axis  angle  moment arm  path to the side"]
            rows += ["                        mm    deg          mm                mm"]
            rows += [self._row_text(first) for first in self._first_of_rows()]
        return "\n".join([self.case.title, "", *rows, "", *network_table(self.network)])

    def _facts(self) -> Iterator[tuple[str, str, str]]:
        case, chamber = self.case, self.case.chamber
        yield f"{chamber.footprint} chamber, width", f"{1000 * chamber.width:.0f}", "mm"
        yield "height", f"{1000 * chamber.height:.0f}", "mm"
        yield "radius of the round domain it is solved in", f"{1000 * case.model_radius:.1f}", "mm"
        yield "open area of the sides", f"{chamber.open_area:.4g}", "m2"
        yield "density of the air", f"{case.density:.4g}", "kg/m3"
        yield "kinematic viscosity of the air", f"{case.kinematic_viscosity:.4g}", "m2/s"
        yield "radial Reynolds number (estimate)", f"{self.radial_reynolds_number_estimate:.0f}", ""
        yield "cells r x z", f"{case.grid.cells_r} x {case.grid.cells_z}", ""

    def _first_of_rows(self) -> list[int]:
        """Index of the first hole of every row of every tube."""
        pairs = np.stack([self.holes.tube, self.holes.row], axis=1)
        return [int(i) for i in np.sort(np.unique(pairs, axis=0, return_index=True)[1])]

    def _row_json(self, first: int) -> dict[str, Any]:
        holes = self.holes
        return {
            "tube": int(holes.tube[first]) + 1,
            "row": int(holes.row[first]) + 1,
            "hole_radius_m": float(holes.radius[first]),
            "aim_at_hole_rad": float(holes.aim[first]),
            "moment_arm_m": float(holes.moment_arm[first]),
            "path_to_side_m": float(holes.chord[first]),
            "ends_at_open_side": bool(holes.ends_open[first]),
        }

    def _row_text(self, first: int) -> str:
        row = self._row_json(first)
        end = " (open side)" if row["ends_at_open_side"] else ""
        return (
            f"  {row['tube']:>4}{row['row']:>5}{1000 * row['hole_radius_m']:>15.1f}"
            f"{math.degrees(row['aim_at_hole_rad']):>7.1f}{1000 * row['moment_arm_m']:>12.1f}"
            f"{1000 * row['path_to_side_m']:>18.0f}{end}"
        )


def check_sheet(case: Case) -> CheckSheet:
    """Solve the air network of a case and put it beside the derived numbers.

    Raises
    ------
    InputError
        If the network has no balance.
    """
    return CheckSheet(case, solve_network(case), hole_plan(case))
