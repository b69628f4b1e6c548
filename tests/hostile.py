"""Hostile input, made up at random but from a seed, and what must hold of the answer to it.

Structure-aware: tables, keys and units come from the schema and from the shipped files, values from their bounds and
from beyond them. Raw: bytes of shipped files changed, and texts built to make a reader slow. `benchmarks/fuzz.py` and
`tests/files/test_fuzz.py` both run it.
"""

from __future__ import annotations

import math
import re
import tomllib
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import DrawFn, SearchStrategy
from pydantic.fields import FieldInfo

from swirlwright.postproc.measured.points import QUANTITIES
from swirlwright.solver.casefile import to_toml
from swirlwright.solver.quantities import Number
from swirlwright.solver.schema import Case, FanFile
from swirlwright.solver.study_file import Study
from swirlwright.solver.tomlfile import table_in

CASES = Path(__file__).parents[1] / "cases"
UNITS = (
    "m", "mm", "in", "ft", "m3/s", "m3/h", "cfm", "l/min", "Pa", "mmH2O", "inH2O", "deg", "rad", "degC", "degF", "K",
    "rpm", "s", "min", "%", "kg/m3", "m2/s", "GB", "parsec", "kg", "m**9", "m/0", "1/s", "°", "furlong/fortnight",
)  # fmt: skip
# Names of files that lead out of the folder of the case, to no file, or to something that is none. `Folder` lays them.
STRANGE_NAMES = (
    "../outside.toml", "../../outside.toml", "/etc/passwd", "/dev/zero", "link.toml", "linked/outside.toml", "",
    "fans/../../outside.toml", "fans", ".", "pipe.toml", "loop.toml", "gone.toml", "a" * 256, "b/" * 140 + "c", "\0",
    "fans/roof-120.toml", "./fans/base-60.toml", "fans//hall-base-160.toml", "case.toml", "start.h5", "../outside.h5",
    "~/outside.toml", "$HOME", "C:\\fans\\a.toml", "fans/\u202egnp.toml", "file:///etc/passwd", "big.toml",
)  # fmt: skip


class Raw(str):
    """A value as it is to stand in the file, which need not be TOML."""


RAW = tuple(
    Raw(text)
    for text in (
        "nan", "-inf", "1e400", "-0.0", "0x10", "0b1", "1_000", "99999999999999999999999", "1979-05-27", "07:32:00",
        "1979-05-27T07:32:00Z", "true", "''", '""', '"\\u0000"', '"""a\nb"""', "[]", "{}", "[[]]", "{ a = 1 }",
        "[[1, 2], [3]]", '["a", 1]', "=", "", "[", '"', "1 2", "# gone", "9" * 5000, "0." + "3" * 5000, '"\\ud800"',
        "[" * 200 + "]" * 200, "{a=" * 200 + "1" + "}" * 200,
    )
)  # fmt: skip


def toml(data: Mapping[str, Any]) -> str:
    """The data as TOML, where Raw values let it be; what has no other place goes inline."""
    lines: list[str] = []
    _write(data, (), lines)
    return "\n".join(lines) + "\n"


def _write(data: Mapping[str, Any], place: tuple[str, ...], lines: list[str]) -> None:
    tables = {k: v for k, v in data.items() if isinstance(v, dict)}
    lists = {k: v for k, v in data.items() if isinstance(v, list) and v and all(isinstance(item, dict) for item in v)}
    lines += [f"{_key(k)} = {_value(v)}" for k, v in data.items() if k not in tables and k not in lists]
    for k, v in tables.items():
        lines.append(f"[{'.'.join(map(_key, (*place, k)))}]")
        _write(v, (*place, k), lines)
    for k, items in lists.items():
        for item in items:
            lines.append(f"[[{'.'.join(map(_key, (*place, k)))}]]")
            _write(item, (*place, k), lines)


def _key(key: str) -> str:
    plain = key and all(c.isascii() and (c.isalnum() or c in "_-") for c in key)
    return key if plain else to_toml({"x": key}).split("= ", 1)[1].strip()


def _value(value: Any) -> str:
    if isinstance(value, Raw):
        return value
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, float) and not math.isfinite(value):
        return "nan" if math.isnan(value) else f"{'-' if value < 0 else ''}inf"
    return to_toml({"x": value}).split("= ", 1)[1].rstrip("\n")


# Values ------------------------------------------------------------------------------------------------------------

TEXTS = st.one_of(st.text(max_size=20), st.sampled_from(STRANGE_NAMES), st.just("x" * 301), st.just("{min_length}"))
ANYTHING = st.one_of(
    st.sampled_from(RAW),
    st.booleans(),
    st.integers(),
    st.floats(),
    TEXTS,
    st.lists(st.one_of(st.integers(-3, 3), TEXTS), max_size=3),
    st.builds(lambda x, unit: f"{x:g} {unit}", st.floats(-1e4, 1e4), st.sampled_from(UNITS)),
)


@cache
def numbers(n: Number) -> SearchStrategy[Any]:
    """Numbers of a key: mostly within its bounds, on them, or next to nothing."""
    low = n.ge if n.ge is not None else n.gt if n.gt is not None else -1e6
    high = n.le if n.le is not None else n.lt if n.lt is not None else 1e6
    if n.whole:
        return st.one_of(st.integers(int(low), min(int(high), int(low) + 40)), st.sampled_from([int(low), int(high)]))
    edges = [low, high, math.nextafter(low, math.inf), math.nextafter(high, -math.inf), 0.0, -0.0, 5e-324, 1e-12]
    inside = st.floats(low, high)
    small = st.builds(lambda p: min(max(10.0**p, low), high), st.floats(-6.0, 2.0))
    texts = st.builds(lambda x, u: f"{x:.6g} {u}", small, st.sampled_from((n.unit, *UNITS)))
    return st.one_of(small, small, small, inside, st.sampled_from(edges), texts)


def of_field(name: str, field: FieldInfo) -> SearchStrategy[Any]:
    """Values that a key may hold, or nearly."""
    notes = [note for note in field.metadata if isinstance(note, Number)]
    return numbers(notes[0]) if notes else of_annotation(name, field.annotation)


def of_annotation(name: str, annotation: Any) -> SearchStrategy[Any]:
    origin, inner = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is typing.Annotated:
        notes = [note for note in inner if isinstance(note, Number)]
        return numbers(notes[0]) if notes else of_annotation(name, inner[0])
    if origin is typing.Literal:
        return st.sampled_from(inner)
    if (table := table_in(annotation)) is not None:
        return st.lists(fresh(table), max_size=3) if origin is tuple else fresh(table)
    if origin is tuple:
        many = st.integers(0, 3) if inner[-1] is Ellipsis else st.just(len(inner))
        return many.flatmap(lambda n: st.lists(of_annotation(name, inner[0]), min_size=n, max_size=n))
    if origin is dict or annotation is Any:
        return ANYTHING
    options = [option for option in inner if option is not type(None)]
    if options:
        return st.one_of([of_annotation(name, option) for option in options])
    if annotation is str:
        return st.sampled_from(STRANGE_NAMES) if name in ("fan", "file", "start_from", "base") else TEXTS
    return {bool: st.booleans(), int: st.integers(), float: st.floats()}.get(annotation, ANYTHING)


@st.composite
def fresh(draw: DrawFn, model: Any) -> dict[str, Any]:
    """A table of the schema with some of its keys."""
    wanted = [
        name
        for name, field in model.model_fields.items()
        if draw(st.integers(0, 9)) < (9 if field.is_required() else 3)
    ]
    return {name: draw(of_field(name, model.model_fields[name])) for name in wanted}


# Shipped files with some of their keys changed -----------------------------------------------------------------------

KINDS: Mapping[str, tuple[Any, tuple[Path, ...]]] = {
    "case": (Case, tuple(sorted(CASES.glob("*.toml")))),
    "fan": (FanFile, tuple(sorted((CASES / "fans").glob("*.toml")))),
    "study": (Study, tuple(sorted((CASES / "studies").glob("*.toml")))),
}


@cache
def shipped(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def copied(data: Any) -> Any:
    if isinstance(data, dict):
        return {k: copied(v) for k, v in data.items()}
    return [copied(v) for v in data] if isinstance(data, list) else data


def tables_of(data: Any, model: Any) -> list[tuple[Any, Any]]:
    """Every table of the data with the schema's table for it, None where there is none."""
    found = [(data, model)]
    for name, value in data.items():
        field = None if model is None else model.model_fields.get(name)
        inner = None if field is None else table_in(field.annotation)
        for item in value if isinstance(value, list) else [value]:
            if isinstance(item, dict):
                found += tables_of(item, inner)
    return found


@st.composite
def edited(draw: DrawFn, kind: str) -> str:
    """A shipped file with one change, seldom up to four."""
    model, paths = KINDS[kind]
    data = copied(shipped(draw(st.sampled_from(paths))))
    for _ in range(draw(st.sampled_from((1, 1, 1, 2, 2, 4)))):
        _edit(draw, data, model)
    return toml(data)


def _edit(draw: DrawFn, data: dict[str, Any], model: Any) -> None:
    table, schema = draw(st.sampled_from(tables_of(data, model)))
    what = draw(st.sampled_from(("known", "known", "scale", "scale", "scale", "odd", "lose", "new", "more", "swap")))
    names = list(table)
    if what == "known" and schema is not None:
        name = draw(st.sampled_from(list(schema.model_fields)))
        table[name] = draw(of_field(name, schema.model_fields[name]))
    elif what == "scale" and (plain := [k for k, v in table.items() if isinstance(v, int | float | str)]):
        name = draw(st.sampled_from(plain))
        table[name] = _scaled(table[name], draw(st.sampled_from((-1, 0.1, 0.5, 0.9, 1.1, 1.5, 2, 10, 1000))))
    elif what == "new" or not names:
        table[draw(st.one_of(st.text(max_size=8), st.sampled_from(("strech", "fan", "rows", "a.b", "__class__"))))] = (
            draw(ANYTHING)
        )
    elif what == "lose":
        del table[draw(st.sampled_from(names))]
    elif what == "swap":
        one, other = draw(st.sampled_from(names)), draw(st.sampled_from(names))
        table[one], table[other] = table[other], table[one]
    elif what == "more":
        name = draw(st.sampled_from(names))
        n = draw(st.sampled_from((2, 3, 21, 101, 1001)))
        table[name] = [*table[name] * n] if isinstance(table[name], list) else [copied(table[name])] * n
    else:
        table[draw(st.sampled_from(names))] = draw(ANYTHING)


def _scaled(value: Any, factor: float) -> Any:
    """A number or a quantity times a factor; a whole number stays one."""
    if isinstance(value, str):
        number = re.match(r"-?\d+\.?\d*", value)
        return value if number is None else f"{float(number[0]) * factor:g}{value[number.end() :]}"
    return round(value * factor) if isinstance(value, int) else value * factor


@st.composite
def studies(draw: DrawFn) -> str:
    """A study made up of keys that a case has, with values that these may hold."""
    keys = [
        "exhaust.pressure", "exhaust.fan_speed_ratio", "tubes.1.rows.1.aim", "grid.cells_r", "model.closure", "title",
        "tubes.1.rows.1.heights", "chamber.open_sides", "supply.fans.1.count", "run.lines", "fog.flow", "a.b", "",
        "tubes.99.rows.1.aim", "chamber.height", "run.start_from", "exhaust.fan", "tubes.1.positions.1.1",
    ]  # fmt: skip
    value = st.one_of(st.floats(0.1, 2.0), st.integers(0, 60), ANYTHING)
    parameters = []
    for n in range(draw(st.integers(0, 4))):
        p: dict[str, Any] = {"name": draw(st.sampled_from((f"p{n}", "p0", "variant", "status", "P", "cold_a", "")))}
        p |= draw(st.sampled_from(({"key": draw(st.sampled_from(keys))}, {"keys": keys[:2]}, {"keys": []}, {})))
        p |= draw(
            st.sampled_from(
                (
                    {"values": draw(st.lists(value, max_size=4))},
                    {"range": draw(st.lists(value, min_size=2, max_size=2)), "count": draw(st.integers(-1, 20))},
                    {"range": [1e-300, 1e300], "count": 10_000, "spacing": "log"},
                    {"range": draw(st.lists(value, min_size=2, max_size=2))},
                )
            )
        )
        if draw(st.booleans()):
            p["of"] = draw(st.sampled_from(("p0", "chamber.height", "text", "path", "model_radius", "_air.0", "tubes")))
        parameters.append(p)
    data: dict[str, Any] = {"title": "t", "base": draw(st.sampled_from(("case.toml", "case.toml", *STRANGE_NAMES)))}
    for name in ("sample", "fixed", "derived", "start", "cold_sample", "objective", "constraints", "refinement"):
        if draw(st.integers(0, 4)) == 0:
            data[name] = draw(of_field(name, Study.model_fields[name]))
    if isinstance(data.get("fixed"), Raw) or "fixed" not in data:
        data["fixed"] = draw(st.dictionaries(st.sampled_from(keys), value, max_size=2))
    return toml({**data, "parameters": parameters})


POINTS = b"""# Measured on the table-top chamber, an invented example.
quantity,height [mm],radius [mm],tube,value,uncertainty,note
tangential_velocity,300,40,,1.2 m/s,0.1 m/s,vane
core_diameter,300,,,35 mm,10 %,by eye
tube_pressure,30,,1,18 Pa,1 Pa,
exhaust_flow,,,,54 m3/h,5 %,
"""


@st.composite
def measured(draw: DrawFn) -> str:
    """A table of measured points, with cells that may or may not go there."""
    heads = ["quantity", "height", "radius", "tube", "value", "uncertainty", "note"]
    odd = st.sampled_from(("value [m/s]", "Height (mm)", "uncertainty [%]", "tube [m]", "colour", "", "[[", "value"))
    heads = [draw(odd) if draw(st.integers(0, 40)) == 0 else head for head in heads]
    heads = heads[draw(st.sampled_from((0,) * 19 + (1,))) :]
    cell = st.one_of(
        st.sampled_from(("", "0", "30 mm", "0.2 m", "1.5 m/s", "10 %", "4 Pa", "2", "core_diameter", "pressure")),
        st.sampled_from(tuple(QUANTITIES)),
        st.builds(lambda x, u: f"{x:g} {u}", st.floats(-10.0, 10.0), st.sampled_from(UNITS)),
        st.sampled_from(
            ("9" * 5000, "1e400", "nan", "-", '"', '"a\nb"', "1,5", "\u00b2", "\0", "x" * 300, "1" * 40 + " m")
        ),
        st.text(max_size=6),
    )
    good = [row.split(",") for row in POINTS.decode().splitlines()[2:]]
    lines = [",".join(heads)]
    for _ in range(draw(st.sampled_from((0, 1, 2, 8)))):
        cells = [draw(cell) if draw(st.integers(0, 20)) == 0 else part for part in draw(st.sampled_from(good))]
        lines.append(",".join(cells[: draw(st.sampled_from((7,) * 29 + (6,)))]))
    return draw(st.sampled_from(("\n", "\n", "\r\n", "\r"))).join(lines)


# Bytes -------------------------------------------------------------------------------------------------------------


SEEDS = {
    **{kind: tuple(path.read_bytes() for path in paths) for kind, (_, paths) in KINDS.items()},
    "data": (POINTS,),
}


@st.composite
def mutated(draw: DrawFn, kind: str) -> bytes:
    """A shipped file with bytes changed, cut, doubled, or written in another way."""
    data = draw(st.sampled_from(SEEDS[kind]))
    for _ in range(draw(st.integers(1, 5))):
        at = draw(st.integers(0, max(0, len(data) - 1)))
        length = draw(st.sampled_from((1, 1, 2, 8, 60, 400)))
        new = draw(
            st.sampled_from((b"", data[at : at + length] * 2, bytes([draw(st.integers(0, 255))]), b"\n[[tubes]]\n"))
        )
        data = data[:at] + new + data[at + draw(st.sampled_from((0, 1, length))) :]
    return draw(st.sampled_from((data, data, data, data.replace(b"\n", b"\r\n"), b"\xef\xbb\xbf" + data)))


HEAD = 'title = "t"\n'
BOMBS: tuple[bytes, ...] = tuple(
    text.encode()
    for text in (
        "",
        "\0",
        HEAD + "a = " + "[" * 5_000 + "]" * 5_000,
        HEAD + "a = " + "{a=" * 5_000 + "1" + "}" * 5_000,
        HEAD + ".".join("a" * 20_000) + " = 1",
        HEAD + "[" + ".".join("a" * 20_000) + "]",
        HEAD + "[[" + ".".join("a" * 20_000) + "]]",
        HEAD + "[fixed]\n" + ".".join("a" * 900) + " = 1",
        HEAD + "".join(f"key_{n} = 1\n" for n in range(60_000)),
        HEAD + "".join(f"[table_{n}]\n" for n in range(60_000)),
        HEAD + "[chamber]\n" + "".join(f"widht{n} = 1\n" for n in range(60_000)),
        HEAD + "[[tubes]]\n" * 90_000,
        HEAD + "[[tubes]]\ninner_diameter = -1\n" + "[[tubes.rows]]\naim = -1\n" * 30_000,
        HEAD + "values = [" + "1.5, " * 200_000 + "]",
        HEAD + 'flow = ["' + '1 m", "' * 120_000 + '1 m"]',
        "flow = [" + ", ".join(map(str, range(120_000))) + "]\npressure = []",
        HEAD + "a = " + "9" * 900_000,
        HEAD + 'a = "' + "x" * 900_000 + '"',
        HEAD + 'a = """' + "\\\n" * 400_000 + '"""',
        HEAD + "x" * 900_000 + " = 1",
        HEAD + "#" * 2_000_000,
        HEAD + "a = 1979-05-27T07:32:00." + "9" * 500_000,
        HEAD + "[[parameters]]\nname='p'\nkey='exhaust.pressure'\nvalues=[" + ",".join(map(str, range(10_000))) + "]",
        "\n".join(
            [HEAD + 'base = "case.toml"\n[sample]\nmethod = "sobol"\ncount = 10000']
            + [f"[[parameters]]\nname='p{n}'\nkey='run.probes.{n + 1}.r'\nrange=[0,1]" for n in range(20)]
        ),
        "quantity,value,uncertainty\n" + "exhaust_flow,1 m3/s,0.1 m3/s\n" * 12_000,
        "quantity,value,uncertainty\n" + "\n".join(f"exhaust_flow,{n} parsec,1" for n in range(20_000)),
        "quantity,value,uncertainty," + "a [" * 100_000,
        "," * 390_000,
        "quantity,value,uncertainty\nexhaust_flow," + " " * 300_000 + "1,1",
        HEAD + 'base = "case.toml"\n' + "[[derived]]\nkey = 'fog.flow'\nof = 'path'\nfactor = 1\n" * 9_000,
    )
) + (
    b"\xff\xfe" + "title = 1".encode("utf-16-le"),
    bytes(range(256)),
    b"\x1f\x8b\x08" + bytes(100),
    b"\x89HDF\r\n\x1a\n",
)


# One input ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Hostile:
    """A file to be put in place of a good one, and the verb that is to read it.

    Attributes
    ----------
    kind : str
        case, fan, study or data.
    text : bytes
        The file.
    verb : str
        check, check-json or scale for a case and a fan, sweep or search for a study.
    """

    kind: str
    text: bytes
    verb: str = "check"


def _texts(kind: str) -> SearchStrategy[bytes]:
    if kind == "data":
        as_text = measured().map(lambda text: text.encode("utf-8", "surrogatepass"))
        return st.one_of(as_text, as_text, mutated(kind))
    as_bytes = [edited(kind), edited(kind), edited(kind), fresh(KINDS[kind][0]).map(toml)]
    if kind == "study":
        as_bytes += [studies(), studies()]
    made = st.one_of(as_bytes).map(lambda text: text.encode("utf-8", "surrogatepass"))
    return st.one_of(made, made, made, mutated(kind))


ALL_KINDS = (*KINDS, "data")
VERBS = ("check", "check", "check-json", "scale")
INPUTS: SearchStrategy[Hostile] = st.one_of(
    st.builds(Hostile, st.just("case"), _texts("case"), st.sampled_from(VERBS)),
    st.builds(Hostile, st.just("case"), _texts("case"), st.sampled_from(VERBS)),
    st.builds(Hostile, st.just("fan"), _texts("fan"), st.sampled_from(VERBS)),
    st.builds(Hostile, st.just("study"), _texts("study"), st.just("sweep")),
    st.builds(Hostile, st.just("study"), _texts("study"), st.sampled_from(("sweep", "search"))),
    st.builds(Hostile, st.just("data"), _texts("data")),
)
