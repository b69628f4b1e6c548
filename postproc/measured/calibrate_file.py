"""The calibrated case as a file that names its data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from swirlwright.postproc.measured.calibrate import Calibration
from swirlwright.postproc.measured.calibrate_words import MARK, comments
from swirlwright.postproc.measured.models import DISCHARGE, changes_of
from swirlwright.solver.casefile import vary
from swirlwright.solver.moved_case import refuse_other, write_moved
from swirlwright.solver.schema import Case


def write_calibrated(c: Calibration, output: str | Path) -> tuple[Case, list[Path]]:
    """Write the case with its fitted constants; comments name data, date and intervals, `discharge_source` the data.

    Parameters
    ----------
    c : Calibration
    output : path
        Replaced if `calibrate` wrote it.

    Returns
    -------
    case : Case
        As it stands in the file.
    copied : list of Path
        Copies of fan files that lay outside the output's folder tree.

    Raises
    ------
    InputError
        If another file stands there.
    """
    output = Path(output)
    refuse_other(output, MARK, "calibrate")
    changes: dict[str, Any] = changes_of(c.case, {name: float(f"{v:.6g}") for name, v in c.values.items()})
    for e in c.estimates:
        if e.constant.name == DISCHARGE:
            source = f"fitted to {c.measured.path.name}, 95 % interval {e.low:.3g} to {e.high:.3g} of the first row's"
            for key in [key for key in changes if key.endswith(DISCHARGE)]:
                changes[key.replace(DISCHARGE, "discharge_source")] = source[:300]
    # A start would lead elsewhere from another folder.
    changes["run.start_from"] = None
    return write_moved(vary(c.case, changes), output, comments(c))
