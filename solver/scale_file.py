"""The scaled case as a file, with comments that tell where it came from."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from textwrap import wrap

from swirlwright.solver.moved_case import refuse_other, write_moved
from swirlwright.solver.scale_sheet import HELD_BY
from swirlwright.solver.scaling import Scaled
from swirlwright.solver.schema import Case

# First words of a file that `scale` wrote; only such a file is replaced.
MARK = "# Scaled by swirlwright from "


def write_scaled(scaled: Scaled, output: str | Path) -> tuple[Case, list[Path]]:
    """Write the scaled case; fan files that lie outside its folder tree are copied into `fans` beside it.

    Parameters
    ----------
    scaled : Scaled
    output : path
        Replaced if `scale` wrote it.

    Returns
    -------
    case : Case
        As it stands in the file.
    copied : list of Path
        The copies of fan files.

    Raises
    ------
    InputError
        If another file stands there, or another fan file of the same name beside it.
    """
    output = Path(output)
    refuse_other(output, MARK, "scale")
    return write_moved(scaled.case, output, _comments(scaled))


def _comments(s: Scaled) -> Iterator[str]:
    f, original = s.factors, s.original
    told = [
        f"{original.path.name}, {original.chamber.height:.4g} m high: {f.length:.6g} times as large, held besides the "
        f"shape: {HELD_BY[s.hold]}. Velocities x {f.velocity:.4g}, times x {f.time:.4g}, Reynolds numbers x "
        f"{f.reynolds:.4g}. Grid spacings, fog inlet and run times are scaled as well; the number of cells is not.",
    ]
    told += [
        f"tubes.{h.tubes}.rows.{h.row}: holes of {1000 * h.similar_diameter:.4g} mm would be similar, "
        f"{1000 * h.diameter:.4g} mm is the drill; {h.count} a tube, {h.original_count} in the original."
        for h in s.holes
    ]
    told += [f"tubes.{t.tubes}: a bore of {1000 * t.similar_bore:.4g} mm would be similar." for t in s.tubes]
    found = {"exhaust": s.exhaust_fans, "supply": s.plenum_fans}
    serving = [name for name, choices in found.items() if choices and choices[0].serves]
    lacking = [name for name, choices in found.items() if choices and not choices[0].serves]
    if serving:
        told.append(f"Fans of {' and '.join(serving)}: those of least power that serve, of the folder given.")
    if "exhaust" in serving:
        told.append("exhaust.duct_loss holds the way from the opening to the fan.")
    if lacking:
        told.append(f"Fans of {' and '.join(lacking)}: none of the folder serves, so the duty is given as a number.")
    for k, text in enumerate(told):
        yield from wrap(text, 116, initial_indent=MARK if k == 0 else "# ", subsequent_indent="# ")
