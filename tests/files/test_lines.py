"""The line of every key."""

from __future__ import annotations

import tomllib

import pytest

from swirlwright.solver.tomllines import Location, key_lines, line_of

TEXT = '''# comment = [1]
title = "a # b = [c]"

[chamber]  # [not.a.table]
width = 1 # x = 2
"quoted key" = 2
note = """
fake = 1
[fake]
"""
raw = \'\'\'
x = 1\'\'\'
sides = [
  "front",   # one
  "left",
]
dotted.inner.deep = 3

[[tubes]]
count = 4
  [[tubes.rows]]
  pitch = 1
  [[tubes.rows]]
  pitch = 2
  heights = [0.1, [0.2,
     0.3], { a = 1, b = [2] }]
[[tubes]]
  [[tubes.rows]]
  pitch = 3
[supply]
fans = [{ file = "a}", count = 2 },
        { file = 'b' }]
'''
EXPECTED: list[tuple[Location, int]] = [
    (("title",), 2),
    (("chamber",), 4),
    (("chamber", "width"), 5),
    (("chamber", "quoted key"), 6),
    (("chamber", "note"), 7),
    (("chamber", "raw"), 11),
    (("chamber", "sides"), 13),
    (("chamber", "sides", 1), 15),
    (("chamber", "dotted", "inner", "deep"), 17),
    (("tubes", 0), 19),
    (("tubes", 0, "rows", 0, "pitch"), 22),
    (("tubes", 0, "rows", 1, "pitch"), 24),
    (("tubes", 0, "rows", 1, "heights", 1, 1), 26),
    (("tubes", 0, "rows", 1, "heights", 2, "b", 0), 26),
    (("tubes", 1, "rows", 0, "pitch"), 29),
    (("supply", "fans", 0, "count"), 31),
    (("supply", "fans", 1, "file"), 32),
]


@pytest.mark.parametrize(("location", "line"), EXPECTED)
def test_a_key_stands_where_it_is_written(location: Location, line: int) -> None:
    """Tables, items, inline tables and values over several lines each have the line they begin on."""
    assert key_lines(TEXT)[location] == line


def test_every_value_has_a_line() -> None:
    """Every place that tomllib finds in a text has a line."""

    def places(data: object, at: Location = ()) -> list[Location]:
        found = [at]
        items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
        for key, value in items:
            found += places(value, (*at, key))
        return found

    lines = key_lines(TEXT)
    assert [place for place in places(tomllib.loads(TEXT)) if place not in lines] == []


def test_a_missing_key_has_the_line_of_its_table() -> None:
    """What is not written is reported where its table begins."""
    assert line_of(key_lines(TEXT), ("tubes", 1, "rows", 0, "aim")) == 28
    assert line_of(key_lines(TEXT), ("exhaust", "fan")) == 1
