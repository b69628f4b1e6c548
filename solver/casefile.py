"""Read a case file: schema, relations and plan checked at once, every mistake with its line."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from swirlwright.solver.buildable import impossible
from swirlwright.solver.errors import Finding, InputError, Problem
from swirlwright.solver.filekinds import CASE, FAN, refuse_other_kind
from swirlwright.solver.relations import relations
from swirlwright.solver.schema import Case, FanFile
from swirlwright.solver.tomlfile import Document, parse_document, read_document, validate
from swirlwright.solver.tomllines import Location

__all__ = [
    "Case",
    "changed",
    "fan_file",
    "fan_texts",
    "fans_named",
    "parse_case",
    "read_case",
    "read_fan_file",
    "to_toml",
    "vary",
]


def read_case(path: str | Path) -> Case:
    """Read and check a case file.

    Parameters
    ----------
    path : str or Path
        A TOML file; fan files are looked for beside it.

    Returns
    -------
    Case

    Raises
    ------
    InputError
        With every mistake: in the keys, in how they go together, in the geometry, in the fan files.
    """
    document = read_document(Path(path))
    refuse_other_kind(document.path, document.data, CASE)
    return _case(document)


def parse_case(text: str, path: str | Path) -> Case:
    """Check case text as if it stood in the file `path`, which need not exist.

    Raises
    ------
    InputError
        As `read_case`.
    """
    return _case(parse_document(text, Path(path)))


def vary(case: Case, changes: Mapping[str, Any]) -> Case:
    """Return the case with some keys changed, checked like any other.

    Parameters
    ----------
    case : Case
    changes : mapping
        From dotted key, list items counted from 1, to the new value, for instance
        {"model.length_constant": 0.18, "tubes.1.rows.1.aim": 60}; None takes a key out.

    Returns
    -------
    Case
        Its text is written anew and holds the changes.

    Raises
    ------
    InputError
        If a key leads nowhere or the changed case is wrong; lines are those of the new text.
    """
    return parse_case(to_toml(changed(case, changes)), case.path)


def changed(case: Case, changes: Mapping[str, Any]) -> dict[str, Any]:
    """Plain data of a case with some keys changed as in `vary`, not yet checked.

    Raises
    ------
    InputError
        If a key leads nowhere.
    """
    data = case.model_dump(mode="json", exclude_unset=True)
    for key, value in changes.items():
        *tables, last = key.split(".")
        place: Any = data
        try:
            for part in tables:
                place = place[_number(part)] if isinstance(place, list) else place.setdefault(part, {})
            if isinstance(place, list):
                place[_number(last)] = value
            elif value is None:
                place.pop(last, None)
            else:
                place[last] = value
        except (IndexError, ValueError, AttributeError, TypeError) as error:
            problem = Problem(str(case.path), 1, key, value, "leads to no key of the case")
            raise InputError([problem]) from error
    return data


def _number(part: str) -> int:
    """Place in a list of the item that a key counts from 1."""
    if int(part) < 1:
        raise IndexError(part)
    return int(part) - 1


def fan_file(case: Case, name: str) -> Path:
    """Path of a fan file named in a case.

    Raises
    ------
    InputError
        If it lies outside the folder tree of the case file.
    """
    reason = _outside(case.path, name)
    if reason is not None:
        raise InputError([Problem(str(case.path), 1, "", name, reason)])
    return case.path.parent / name


def fan_files(case: Case) -> dict[str, Any]:
    """The fan files a case names, each as plain values under its name, for a result's provenance.

    Raises
    ------
    InputError
        With every mistake in them.
    """
    return {name: read_fan_file(fan_file(case, name)).model_dump(mode="json") for _, name in fans_named(case)}


def fan_texts(case: Case) -> dict[str, str]:
    """The fan files a case names, as they stand, under their names."""
    return {name: fan_file(case, name).read_text(encoding="utf-8") for _, name in fans_named(case)}


def fans_named(case: Case) -> list[tuple[Location, str]]:
    """The fan files a case names with the keys that name them; one that two keys name comes twice."""
    named: list[tuple[Location, str]] = []
    if case.exhaust is not None and case.exhaust.fan is not None:
        named.append((("exhaust", "fan"), case.exhaust.fan))
    if case.supply is not None:
        named += [(("supply", "fans", i, "file"), fan.file) for i, fan in enumerate(case.supply.fans)]
    return named


def read_fan_file(path: Path) -> FanFile:
    """Read and check a fan file.

    Raises
    ------
    InputError
        With every mistake in it.
    """
    document = read_document(path)
    refuse_other_kind(path, document.data, FAN)
    fan, problems, bad = validate(document, FanFile)
    if fan is not None:
        problems += _judged(document, _fan_findings(fan), bad)
    if problems or fan is None:
        raise InputError(problems)
    return fan


def _case(document: Document) -> Case:
    case, problems, bad = validate(document, Case)
    if case is not None:
        findings = [*relations(case), *impossible(case)]
        problems += _judged(document, findings, bad)
        problems += _file_problems(document, case)
    if problems or case is None:
        raise InputError(problems)
    case._text, case._path = document.text, document.path
    return case


def _judged(document: Document, findings: Iterable[Finding], bad: list[Location]) -> list[Problem]:
    """Findings as problems of the file, without those that rest on a mistaken key."""

    wrong = set(bad)
    above = {place[:n] for place in wrong for n in range(len(place))}

    def rests_on_mistake(finding: Finding) -> bool:
        places = (finding.location, *finding.needs)
        return any(place in above or any(place[:n] in wrong for n in range(len(place) + 1)) for place in places)

    return [
        document.problem(finding.location, finding.allowed, finding.value, finding.hint)
        for finding in findings
        if not rests_on_mistake(finding)
    ]


def _file_problems(document: Document, case: Case) -> list[Problem]:
    """Mistakes in the files a case names."""
    problems: list[Problem] = []
    read: set[Path] = set()
    for location, name in fans_named(case):
        reason = _outside(document.path, name)
        if reason is None and not (document.path.parent / name).is_file():
            reason = f"must name a fan file relative to the case file; there is no {document.path.parent / name}"
        if reason is not None:
            problems.append(document.problem(location, reason, name))
            continue
        path = document.path.parent / name
        if path.resolve() in read:
            continue
        read.add(path.resolve())
        try:
            read_fan_file(path)
        except InputError as error:
            problems += error.problems
    if (start := case.run.start_from) is not None:
        reason = _outside(document.path, start)
        if reason is None and not (document.path.parent / start).is_file():
            reason = "must name a result file that exists"
        if reason is not None:
            problems.append(document.problem(("run", "start_from"), reason, start))
    return problems


def _outside(case_path: Path, name: str) -> str | None:
    """Why a name does not lead into the folder tree of the case file; None if it does."""
    allowed = "must be a path relative to the case file, inside its folder tree"
    if "\0" in name or Path(name).is_absolute():
        return allowed
    folder = case_path.parent.resolve()
    try:
        target = (folder / name).resolve()  # follows links, so that none leads out
        target.is_file()  # a name that is too long is an error, not an answer
    except (OSError, RuntimeError):
        return allowed
    return None if target.is_relative_to(folder) else allowed


def _fan_findings(fan: FanFile) -> Iterable[Finding]:
    if len(fan.flow) != len(fan.pressure):
        allowed = f"must have as many items as flow, {len(fan.flow)}, got {len(fan.pressure)}"
        yield Finding(("pressure",), allowed, needs=(("flow",),))
    for index, (before, after) in enumerate(zip(fan.flow, fan.flow[1:], strict=False), start=1):
        if after <= before:
            yield Finding(("flow", index), f"must be larger than the flow before it, {before:g} m3/s", after)


def to_toml(data: Mapping[str, Any]) -> str:
    """Write plain data (tables, lists, texts, numbers) as TOML."""
    lines: list[str] = []
    _write_table(data, "", lines)
    return "\n".join(lines) + "\n"


def _write_table(data: Mapping[str, Any], prefix: str, lines: list[str]) -> None:
    tables = {key: value for key, value in data.items() if isinstance(value, Mapping)}
    arrays = {
        key: value
        for key, value in data.items()
        if isinstance(value, list) and value and all(isinstance(item, Mapping) for item in value)
    }
    lines += [f"{key} = {_toml_value(value)}" for key, value in data.items() if key not in (tables | arrays)]
    for key, value in tables.items():
        lines += ["", f"[{prefix}{key}]"]
        _write_table(value, f"{prefix}{key}.", lines)
    for key, items in arrays.items():
        for item in items:
            lines += ["", f"[[{prefix}{key}]]"]
            _write_table(item, f"{prefix}{key}.", lines)


def _toml_value(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        # JSON's escapes are TOML's, but for DEL, which TOML wants escaped too.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return f"[{', '.join(_toml_value(item) for item in value)}]"
    return repr(value)
