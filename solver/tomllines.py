"""On which line of a TOML text each key stands. tomllib keeps no positions."""

from __future__ import annotations

import re

Location = tuple[str | int, ...]

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\n]*")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\]|\\.)*"'),
    re.compile(r"'[^']*'"),
)


class _Scanner:
    """Walks a text that tomllib has already accepted, so it need not look for mistakes."""

    def __init__(self, text: str):
        self.text = text
        self.at = 0
        self.counted_to = 0
        self.line = 1
        self.lines: dict[Location, int] = {(): 1}
        self.last_item: dict[Location, int] = {}  # array of tables -> index of its newest item

    def note(self, location: Location) -> None:
        self.line += self.text.count("\n", self.counted_to, self.at)
        self.counted_to = self.at
        self.lines.setdefault(location, self.line)

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            return ""
        self.at = match.end()
        return match.group()

    def string(self) -> str | None:
        for pattern in _STRINGS:
            if found := self.skip(pattern):
                return found
        return None

    def dotted_key(self) -> list[str]:
        parts = []
        while True:
            self.skip(_SPACE)
            quoted = self.string()
            parts.append(quoted[1:-1] if quoted is not None else self.skip(_BARE))
            self.skip(_SPACE)
            if self.text[self.at : self.at + 1] != ".":
                return parts
            self.at += 1

    def document(self) -> None:
        table: Location = ()
        while True:
            self.skip(_BLANK)
            if self.at >= len(self.text):
                return
            if self.text.startswith("[", self.at):
                table = self.header()
            else:
                self.assignment(table)

    def header(self) -> Location:
        is_item = self.text.startswith("[[", self.at)
        start = self.at
        self.at += 2 if is_item else 1
        *parents, last = self.dotted_key()
        end = self.at + (2 if is_item else 1)
        self.at = start  # the line of the bracket
        table: Location = ()
        for part in parents:
            table = self.newest((*table, part))
        table = (*table, last)
        self.note(table)
        if is_item:
            self.last_item[table] = self.last_item.get(table, -1) + 1
        table = self.newest(table)
        self.note(table)
        self.at = end
        return table

    def newest(self, table: Location) -> Location:
        self.note(table)
        return (*table, self.last_item[table]) if table in self.last_item else table

    def assignment(self, table: Location) -> None:
        start = self.at
        parts = self.dotted_key()
        end, self.at = self.at, start
        for part in parts:
            table = (*table, part)
            self.note(table)
        self.at = end + 1  # the equals sign
        self.skip(_SPACE)
        self.value(table)

    def value(self, location: Location) -> None:
        opening = self.text[self.at : self.at + 1]
        if opening not in ("[", "{"):
            if self.string() is None:
                self.skip(_SCALAR)
            return
        self.at += 1
        index = 0
        while True:
            self.skip(_BLANK)
            mark = self.text[self.at : self.at + 1]
            if mark in ("]", "}", ""):
                self.at += 1
                return
            if mark == ",":
                self.at += 1
            elif opening == "[":
                self.note((*location, index))
                self.value((*location, index))
                index += 1
            else:
                self.assignment(location)


def key_lines(text: str) -> dict[Location, int]:
    """Map the place of every table, key and list item to its line.

    Parameters
    ----------
    text : str
        TOML that tomllib accepts.

    Returns
    -------
    dict
        From ("tubes", 0, "rows", 1, "pitch") to the line, counted from 1; () is line 1.
    """
    scanner = _Scanner(text)
    scanner.document()
    return scanner.lines


def line_of(lines: dict[Location, int], location: Location) -> int:
    """Line of a place, or of the nearest thing around it that stands in the file."""
    while location not in lines:
        location = location[:-1]
    return lines[location]
