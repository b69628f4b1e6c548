"""The scaled case as a file, with comments that tell where it came from."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path
from textwrap import wrap

from swirlwright.solver.casefile import fan_file, parse_case, to_toml
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.scale_sheet import HELD_BY
from swirlwright.solver.scaling import Scaled
from swirlwright.solver.schema import Case
from swirlwright.solver.whole_file import write_whole

# First words of a file that `scale` wrote; only such a file is replaced.
MARK = "# Scaled by swirlwright from "


def write_scaled(scaled: Scaled, output: Path) -> tuple[Case, list[Path]]:
    """Write the scaled case; fan files that lie outside its folder tree are copied into `fans` beside it.

    Parameters
    ----------
    scaled : Scaled
    output : Path
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
    if output.exists() and not output.read_bytes().startswith(MARK.encode()):
        raise _refusal(output, "exists, was not written by scale and is not replaced")
    return write_moved(scaled.case, output, _comments(scaled))


def write_moved(case: Case, output: Path, comments: Iterable[str]) -> tuple[Case, list[Path]]:
    """Write a case to another place; fan files that lie outside its folder tree are copied into `fans` beside it.

    Parameters
    ----------
    case : Case
        Without a start: `run.start_from` would lead elsewhere.
    output : Path
        Replaced if it is there.
    comments : iterable of str
        First lines of the file.

    Returns
    -------
    case : Case
        As it stands in the file.
    copied : list of Path
        The copies of fan files.

    Raises
    ------
    InputError
        If another fan file of the same name stands beside it.
    """
    data = case.model_dump(mode="json", exclude_unset=True)
    copies: dict[Path, Path] = {}
    if data.get("exhaust", {}).get("fan"):
        data["exhaust"]["fan"] = _fan_name(case, data["exhaust"]["fan"], output, copies)
    for fan in data.get("supply", {}).get("fans", ()):
        fan["file"] = _fan_name(case, fan["file"], output, copies)
    text = "\n".join([*comments, "", to_toml(data)])
    for source, target in copies.items():
        target.parent.mkdir(exist_ok=True)
        shutil.copyfile(source, target)
    moved = parse_case(text, output)
    write_whole(output, text.encode("utf-8"))
    return moved, list(copies.values())


def _refusal(path: Path, what: str) -> InputError:
    return InputError([Problem(str(path), 1, "", None, what)])


def _fan_name(case: Case, name: str, output: Path, copies: dict[Path, Path]) -> str:
    """A fan file's name as seen from the output; `copies` gets the file where it must be copied first."""
    source, folder = fan_file(case, name).resolve(), output.parent.resolve()
    if source.is_relative_to(folder):
        return source.relative_to(folder).as_posix()
    target = output.parent / "fans" / source.name
    if not target.exists():
        copies[source] = target
    elif target.read_bytes() != source.read_bytes():
        raise _refusal(target, f"stands where {source} would be copied to, and is another file")
    return f"fans/{source.name}"


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
