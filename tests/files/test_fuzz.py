"""Does every input file, however damaged, get an answer in words? The long run is benchmarks/fuzz.py."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

import pytest
from hostile import ALL_KINDS, BOMBS, INPUTS, Hostile
from hostile_folder import Folder
from hypothesis import HealthCheck, example, given, settings

INPUTS_IN_CI = 420  # and the bombs of each kind

# No tubes, and too wide once it is scaled: found by the long run.
WITHOUT_TUBES = b"""title = "t"
chamber = { footprint = "round", width = 99, height = 1.5 }
air = { kinematic_viscosity = 0.001, density = 1.0 }
model = { closure = "laminar" }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Folder:
    return Folder(tmp_path_factory.mktemp("outer"))


@settings(
    max_examples=INPUTS_IN_CI, derandomize=True, database=None, deadline=None, suppress_health_check=list(HealthCheck)
)
@given(INPUTS)
@example(Hostile("case", b'title = "a\\u0000"\n'))
@example(Hostile("case", WITHOUT_TUBES, "scale"))
@example(Hostile("study", b'title = "t"\nbase = "case.toml"\n"a\nb" = 1\n'))
def test_every_input_is_answered_in_words(folder: Folder, hostile: Hostile) -> None:
    """An input passes or is refused line by line in bounded time and memory; nothing outside is read or written."""
    assert folder.complaints(hostile) == []


@pytest.mark.parametrize("kind", ALL_KINDS)
def test_texts_built_to_be_slow_are_answered_in_words(folder: Folder, kind: str) -> None:
    """Deep, long and many: none of these files takes five seconds, much memory or more than a page of words."""
    for n, bomb in enumerate(BOMBS):
        assert folder.complaints(Hostile(kind, bomb)) == [], n


OUTSIDE = ("../outside.toml", "fans/../../outside.toml", "link.toml", "linked/outside.toml", "/etc/passwd", "a" * 256)


@pytest.mark.parametrize("key", ["exhaust.fan", "supply.fans.1.file", "run.start_from"])
@pytest.mark.parametrize("name", OUTSIDE)
def test_a_name_that_leads_out_is_refused(
    folder: Folder, key: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A path out of the case's folder tree, by dots, links or from the root, is refused with the key that names it."""
    last = key.split(".")[-1]
    text = "\n".join(
        (
            'title = "t"',
            "[chamber]\nfootprint = 'round'\nwidth = 1\nheight = 1\nopen_fraction = 0.5",
            "[exhaust]\ndiameter = 0.3\n" + (f"fan = '{name}'" if last == "fan" else "flow = 0.1"),
            f"[supply]\nfans = [{{ file = '{name}' }}]" if last == "file" else "",
            f"[run]\nstart_from = '{name}'" if last == "start_from" else "",
        )
    )
    from swirlwright.solver.casefile import parse_case
    from swirlwright.solver.errors import InputError

    with pytest.raises(InputError) as caught:
        parse_case(text, folder.files["case"])
    told = [str(problem) for problem in caught.value.problems if problem.key == key]
    assert len(told) == 1 and "inside its folder tree" in told[0] and "\n" not in told[0]


@contextmanager
def broken(fault: str) -> Iterator[None]:
    """The package with a fault that the fuzzer is to notice."""

    def raising(*_: Any) -> Any:
        raise ZeroDivisionError("a fault")

    faults: dict[str, tuple[str, Any]] = {
        "a crash": ("swirlwright.solver.casefile.relations", raising),
        "a way out": ("swirlwright.solver.casefile._outside", lambda *_: None),
        "no bound": ("swirlwright.solver.tomlfile._LARGEST_FILE", 10**9),
    }
    with mock.patch(*faults[fault]):
        yield


@pytest.mark.parametrize(
    ("fault", "name", "words"),
    [
        ("a crash", "roof-120.toml", "says internal error, ZeroDivisionError"),
        ("a way out", "../outside.toml", "opens "),
        ("no bound", "../big.toml", "takes "),
    ],
)
def test_the_fuzzer_notices_faults(folder: Folder, fault: str, name: str, words: str) -> None:
    """A crash, a file read outside the tree and a file read without bound each make the harness complain."""
    text = folder.files["case"].read_bytes().replace(b"fans/roof-120.toml", f"fans/{name}".encode())
    text = text.replace(b"fans/../outside", b"../outside")
    assert folder.complaints(Hostile("case", text)) == [] or name != "roof-120.toml"
    with broken(fault):
        assert any(complaint.startswith(words) for complaint in folder.complaints(Hostile("case", text)))
