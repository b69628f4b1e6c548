"""Reading a table of measured points; the format is told in postproc/README.md, Measured chambers."""

from __future__ import annotations

import csv
import difflib
import hashlib
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from swirlwright.postproc.measured.points import QUANTITIES, MeasuredData, Point, Quantity
from swirlwright.solver.errors import InputError, Problem
from swirlwright.solver.quantities import Number, QuantityError, parse_quantity
from swirlwright.solver.textfile import read_text

# Bytes: a workshop's table has a few thousand.
LARGEST_FILE = 1_000_000
LONGEST_NOTE = 200
REQUIRED = ("quantity", "value", "uncertainty")
COLUMNS = ("quantity", "height", "radius", "tube", "value", "uncertainty", "note")
_PLACE = Number("m", ge=0, le=100)
_TUBE = Number(ge=1, le=10_000, whole=True)
_BARE = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_HEADING = re.compile(r"\s*(?P<name>[^\[\]()]*?)\s*(?:[\[(](?P<unit>[^\[\]()]*)[\])])?\s*")


def read_measured(path: str | Path) -> MeasuredData:
    """Read a table of measured points.

    Parameters
    ----------
    path : str or Path
        Comma-separated text in UTF-8; lines that begin with # are remarks.

    Raises
    ------
    InputError
        With every mistake: unknown columns and quantities, values without unit or out of range, missing
        uncertainties, missing places, the same thing measured twice at the same place.
    """
    path = Path(path)
    text, raw = read_text(path, LARGEST_FILE, "utf-8-sig")
    digest = hashlib.sha256(raw).hexdigest()
    rows = _rows(path, text)
    if not rows:
        raise InputError([Problem(str(path), 1, "", None, f"must have a heading: {', '.join(COLUMNS)}")])
    (line, heading), *body = rows
    columns = _columns(path, line, heading)
    problems: list[Problem] = []
    points: list[Point] = []
    for line, cells in body:
        row = _Row(path, line, columns, cells)
        if (point := row.point()) is not None:
            points.append(point)
        problems += row.problems
    data = MeasuredData(path, digest, tuple(points), {name: column.heading for name, column in columns.items()})
    problems += _twice(data)
    if not body:
        problems.append(Problem(str(path), line, "", None, "must have at least one measured point"))
    if problems:
        raise InputError(problems)
    return data


def _rows(path: Path, text: str) -> list[tuple[int, list[str]]]:
    """Cells of every row that is neither empty nor a remark, with its line."""
    # A remark keeps its line, so that lines are counted as an editor does.
    kept = ["" if line.lstrip().startswith("#") else line for line in text.splitlines()]
    reader = csv.reader(io.StringIO("\n".join(kept)), strict=True, skipinitialspace=True)
    rows = []
    try:
        for cells in reader:
            stripped = [cell.strip() for cell in cells]
            if any(stripped):
                rows.append((reader.line_num, stripped))
    except csv.Error as error:
        what = f"is no comma-separated text here: {error}"
        raise InputError([Problem(str(path), max(reader.line_num, 1), "", None, what)]) from error
    return rows


@dataclass(frozen=True)
class _Column:
    """A column: its heading as it stands, its number from 0, and the unit in its heading."""

    heading: str
    index: int
    unit: str


def _columns(path: Path, line: int, heading: Sequence[str]) -> dict[str, _Column]:
    """Columns by name.

    Raises
    ------
    InputError
        With every mistake in the heading: without a right one no row can be read.
    """
    problems: list[Problem] = []
    found: dict[str, _Column] = {}

    def wrong(key: str, allowed: str, value: object = None, hint: str = "") -> None:
        problems.append(Problem(str(path), line, key, value, allowed, hint))

    if len(heading) == 1 and ";" in heading[0]:
        wrong("", "must have its columns separated by commas, with a point as decimal sign", heading[0])
        raise InputError(problems)
    for index, text in enumerate(heading):
        match = _HEADING.fullmatch(text)
        name = "" if match is None else _spelled(match["name"])
        unit = (match["unit"] or "").strip() if match is not None else ""
        if name not in COLUMNS:
            hint = f"did you mean {close}?" if (close := _nearest(name, COLUMNS)) else f"known: {', '.join(COLUMNS)}"
            wrong(text or f"column {index + 1}", "unknown column", None, hint)
            continue
        if name in found:
            wrong(text, f"must stand once, also stands in column {found[name].index + 1}")
        found[name] = _Column(text, index, unit)
        if unit and name in ("quantity", "tube", "note"):
            wrong(text, "must have no unit", unit)
        elif unit and name in ("height", "radius"):
            try:
                parse_quantity(f"1 {unit}", "m")
            except QuantityError as error:
                wrong(text, f"must be {error}", unit)
    missing = [name for name in REQUIRED if name not in found]
    if missing and not problems:
        wrong("", f"must have the columns {', '.join(REQUIRED)}; missing: {', '.join(missing)}")
    if problems:
        raise InputError(problems)
    return found


def _spelled(name: str) -> str:
    """A name as it is spelled here: "Core diameter" is core_diameter."""
    return re.sub(r"[\s_-]+", "_", name.strip().lower())


def _nearest(name: str, names: Sequence[str]) -> str:
    close = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    return close[0] if close else ""


class _Row:
    """One row on its way to a point; mistakes are gathered in `problems`."""

    def __init__(self, path: Path, line: int, columns: dict[str, _Column], cells: Sequence[str]):
        self.path, self.line, self.columns, self.cells = path, line, columns, cells
        self.problems: list[Problem] = []

    def wrong(self, column: str, allowed: str, value: object = None, hint: str = "") -> None:
        key = self.columns[column].heading if column in self.columns else column
        self.problems.append(Problem(str(self.path), self.line, key, value, allowed, hint))

    def cell(self, column: str) -> str:
        return self.cells[self.columns[column].index] if column in self.columns else ""

    def point(self) -> Point | None:
        """The point; None with its problems."""
        if len(self.cells) != len(self.columns):
            self.wrong("", f"must have {len(self.columns)} cells as the heading has, got {len(self.cells)}")
            return None
        name = _spelled(self.cell("quantity"))
        quantity = QUANTITIES.get(name)
        if quantity is None:
            close = _nearest(name, tuple(QUANTITIES))
            hint = f"did you mean {close}?" if close else ""
            self.wrong("quantity", f"must be one of {', '.join(QUANTITIES)}", self.cell("quantity"), hint)
            return None
        places = {column: self.place(column, name, quantity) for column in ("height", "radius", "tube")}
        value = self.number("value", quantity.number)
        uncertainty = self.uncertainty(quantity.number, value)
        note = self.cell("note")
        if len(note) > LONGEST_NOTE or not note.isprintable():
            self.wrong("note", f"must be one line of at most {LONGEST_NOTE} printable characters")
        if self.problems or value is None or uncertainty is None:
            return None
        tube = None if places["tube"] is None else int(places["tube"])
        return Point(self.line, name, places["height"], places["radius"], tube, value, uncertainty, note)

    def place(self, column: str, name: str, quantity: Quantity) -> float | None:
        if self.cell(column) == "":
            if column in quantity.places:
                self.wrong(column, f"is required for {name} but missing")
            return None
        if column not in (*quantity.places, *quantity.may):
            self.wrong(column, f"must be empty for {name}", self.cell(column))
            return None
        return self.number(column, _TUBE if column == "tube" else _PLACE)

    def number(self, column: str, number: Number) -> float | None:
        """A cell in the unit of `number`: with its own unit, or with that of the heading."""
        cell = self.cell(column)
        if cell == "":
            self.wrong(column, "is required but missing")
            return None
        try:
            return number.convert(self.with_unit(column, number))
        except QuantityError as error:
            self.wrong(column, f"must be {error}", cell)
            return None

    def with_unit(self, column: str, number: Number) -> object:
        cell, unit = self.cell(column), self.columns[column].unit
        if number.whole:
            return int(cell) if len(cell) < 20 and cell.isascii() and cell.isdecimal() else cell
        if _BARE.fullmatch(cell) is None:
            return cell
        if unit:
            return f"{cell} {unit}"
        unit = number.unit
        raise QuantityError(f'a text with a unit ("{cell} {unit}"), or have one in the heading ("{column} [{unit}]")')

    def uncertainty(self, number: Number, value: float | None) -> float | None:
        """One standard deviation, as a quantity or as a share of the value."""
        cell, unit = self.cell("uncertainty"), self.columns["uncertainty"].unit
        is_share = cell.endswith("%") or (unit == "%" and _BARE.fullmatch(cell) is not None)
        kind = Number("1" if is_share else number.unit, gt=0, le=1 if is_share else number.le)
        found = self.number("uncertainty", kind)
        if found is None or value is None or not is_share:
            return found
        if value == 0.0:
            self.wrong("uncertainty", f"must be a quantity in {number.unit} where the value is 0", cell)
            return None
        return found * abs(value)


def _twice(data: MeasuredData) -> Iterator[Problem]:
    """Points that say the same as an earlier one: two readings are one point with their mean and its uncertainty."""
    seen: dict[tuple[object, ...], Point] = {}
    for point in data.points:
        key = (point.quantity, *(None if x is None else f"{x:.9g}" for x in (point.height, point.radius, point.tube)))
        first = seen.setdefault(key, point)
        if first is not point:
            allowed = f"must stand once at each place, stands in line {first.line} too; give the mean of both"
            yield data.problem(point, "quantity", allowed, " ".join([point.quantity, point.where()]).strip())
