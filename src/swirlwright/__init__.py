"""Axisymmetric air flow of demonstration vortex chambers, from a case file to a touchdown verdict.

The same verbs as the command, on typed values::

    import swirlwright
    case = swirlwright.read_case("cases/table-top.toml")
    network = swirlwright.solve_network(case)
    swirlwright.solve(case, "table-top.h5")
    print(swirlwright.measure("table-top.h5").text())
    swirlwright.report(["table-top.h5"], "table-top.html")
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

# Name here -> (module, name there). Imported at first use, so that `--help` and `check` stay quick.
_FRONT_DOOR = {
    "read_case": ("swirlwright.solver.casefile", "read_case"),
    "vary": ("swirlwright.solver.casefile", "vary"),
    "solve_network": ("swirlwright.solver.network", "solve_network"),
    "check": ("swirlwright.solver.checksheet", "check_sheet"),
    "solve": ("swirlwright.solver.solve", "solve"),
    "open_result": ("swirlwright.solver.results", "open_result"),
    "measure": ("swirlwright.postproc.measures", "measure"),
    "report": ("swirlwright.postproc.report", "write_report"),
    "study_grids": ("swirlwright.postproc.grid_and_spread", "study_grids"),
    "study_spread": ("swirlwright.postproc.grid_and_spread", "study_spread"),
    "scale": ("swirlwright.solver.scaling", "scale"),
    "write_scaled": ("swirlwright.solver.scale_file", "write_scaled"),
    "solve_both": ("swirlwright.postproc.side_by_side", "solve_both"),
    "drill": ("swirlwright.postproc.workshop.drill_sheets", "drill"),
    "compare": ("swirlwright.postproc.measured.compare", "compare"),
    "calibrate": ("swirlwright.postproc.measured.calibrate", "calibrate"),
    "write_calibrated": ("swirlwright.postproc.measured.calibrate_file", "write_calibrated"),
    "write_comparison": ("swirlwright.postproc.measured.compare_page", "write_comparison"),
    "picture": ("swirlwright.postproc.visitor.picture", "picture"),
    "read_study": ("swirlwright.solver.study_file", "read_study"),
    "sweep": ("swirlwright.postproc.sweeps.sweep", "sweep"),
    "margin": ("swirlwright.postproc.margins.margin", "margin"),
    "margin_sample": ("swirlwright.postproc.margins.sample", "margin_sample"),
    "search": ("swirlwright.postproc.searches.search", "search"),
    "verify": ("swirlwright.verification.run", "verify"),
}

__all__ = ["__version__", *_FRONT_DOOR]


def __getattr__(name: str) -> Any:
    """Import a verb when it is first asked for."""
    if name not in _FRONT_DOOR:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, attribute = _FRONT_DOOR[name]
    value = getattr(import_module(module), attribute)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_FRONT_DOOR})
