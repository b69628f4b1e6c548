"""A case written to another place, with the fan files it names."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path

from swirlwright.solver.casefile import fan_file, parse_case, to_toml
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.schema import Case
from swirlwright.solver.whole_file import write_whole


def refuse_other(output: Path, mark: str, verb: str) -> None:
    """Refuse to replace a file that a verb did not write.

    Parameters
    ----------
    output : Path
    mark : str
        First words of every file the verb writes.
    verb : str
        As in the message.

    Raises
    ------
    InputError
        If such a file stands there.
    """
    if output.exists() and not output.read_bytes().startswith(mark.encode()):
        raise _refusal(output, f"exists, was not written by {verb} and is not replaced")


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
    targets: dict[Path, Path] = {}
    if data.get("exhaust", {}).get("fan"):
        data["exhaust"]["fan"] = _fan_name(case, data["exhaust"]["fan"], output, targets)
    for fan in data.get("supply", {}).get("fans", ()):
        fan["file"] = _fan_name(case, fan["file"], output, targets)
    text = "\n".join([*comments, "", to_toml(data)])
    copies = {source: target for source, target in targets.items() if not _is_there(source, target)}
    for source, target in copies.items():
        target.parent.mkdir(exist_ok=True)
        shutil.copyfile(source, target)
    moved = parse_case(text, output)
    write_whole(output, text.encode("utf-8"))
    return moved, list(copies.values())


def _refusal(path: Path, what: str) -> InputError:
    return InputError([Problem(str(path), 0, "", None, what)])


def _fan_name(case: Case, name: str, output: Path, targets: dict[Path, Path]) -> str:
    """A fan file's name as seen from the output; `targets` gets the place of a file that lies elsewhere."""
    source, folder = fan_file(case, name).resolve(), output.parent.resolve()
    if source.is_relative_to(folder):
        return source.relative_to(folder).as_posix()
    if source not in targets:
        # Files of one name from different folders are numbered, in the order of the case, which every run repeats.
        target, number = output.parent / "fans" / source.name, 2
        while target in targets.values():
            target, number = target.with_name(f"{source.stem}-{number}{source.suffix}"), number + 1
        targets[source] = target
    return f"fans/{targets[source].name}"


def _is_there(source: Path, target: Path) -> bool:
    """Whether the copy stands there already.

    Raises
    ------
    InputError
        If another file does.
    """
    if not target.exists():
        return False
    if target.read_bytes() != source.read_bytes():
        raise _refusal(target, f"stands where {source} would be copied to, and is another file")
    return True
