"""A folder to which hostile input is put, and a command that is watched while it answers.

Watched: exit status and words, files written and files read, processor time and memory. All in this process, so that
thousands of inputs take minutes.
"""

from __future__ import annotations

import io
import os
import re
import resource
import shutil
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

from hostile import CASES, POINTS, Hostile

from swirlwright.cli import main
from swirlwright.postproc.searches import search
from swirlwright.postproc.sweeps import sweep
from swirlwright.solver.casefile import parse_case, vary
from swirlwright.solver.errors import InputError, SwirlwrightError

# Processor time [s] within which every input is answered; a study may take more for each of its variants.
LONGEST, A_VARIANT = 5.0, 0.02
# Memory that one input may add to the process [byte].
MOST_MEMORY = 400e6
COARSE = {
    "grid.cells_r": 16,
    "grid.cells_z": 24,
    "grid.core_spacing": None,
    "grid.floor_spacing": None,
    "run.time_limit": 2.0,
}
ROOT = Path(__file__).parents[1]
# A file that is no file of its kind at all is refused without a line.
LINE = re.compile(r".+?:([1-9]\d*:)? \S")


class TooSlow(BaseException):
    """Not an Exception, so that no handler on the way takes it for an answer."""


class Planned(SwirlwrightError):
    """In place of the runs of a sweep: all that comes before them went well."""


@dataclass
class _Opened:
    """Files opened while it is on: an audit hook cannot be taken out again."""

    is_on: bool = False
    files: list[tuple[str, bool]] = field(default_factory=list)

    def __call__(self, event: str, arguments: tuple[Any, ...]) -> None:
        if self.is_on and event == "open" and isinstance(arguments[0], str | bytes):
            path, mode, flags = arguments
            is_written = bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)) or (mode and set(mode) & set("wax+"))
            self.files.append((os.fsdecode(path), bool(is_written)))


_OPENED = _Opened()
sys.addaudithook(_OPENED)


def read_points(path: str) -> int:
    """Read measured points as `compare` and `calibrate` begin; the status of the command that does."""
    from swirlwright.postproc.measured.file import read_measured

    try:
        read_measured(path)
    except InputError as error:
        print(error, file=sys.stderr)
        return error.exit_status
    return 0


class Folder:
    """`outer` holds what must not be read, `home` in it the case and its files."""

    def __init__(self, outer: Path):
        outer = outer.resolve()
        self.outer, self.home = outer, outer / "in" / "home"
        (self.home / "studies").mkdir(parents=True)
        shutil.copytree(CASES / "fans", self.home / "fans")
        for name in ("table-top.toml", "start-up.toml", "hall.toml"):
            shutil.copy(CASES / name, self.home)
        self.files = {
            "case": self.home / "case.toml",
            "study": self.home / "studies" / "study.toml",
            "fan": self.home / "fans" / "roof-120.toml",
            "data": self.home / "points.csv",
        }
        shutil.copy(self.home / "table-top.toml", self.files["case"])
        for place in (outer, outer / "in"):
            shutil.copy(CASES / "fans" / "roof-120.toml", place / "outside.toml")
            (place / "outside.h5").write_bytes(b"\x89HDF\r\n\x1a\n")
        (self.home / "link.toml").symlink_to("../outside.toml")
        (self.home / "linked").symlink_to("..")
        (self.home / "loop.toml").symlink_to("loop.toml")
        (self.home / "start.h5").write_bytes(b"\x89HDF\r\n\x1a\n")
        os.mkfifo(self.home / "pipe.toml")
        with open(self.home / "big.toml", "wb") as file:
            file.truncate(3_000_000_000)
        self._kept = {name: path.read_bytes() for name, path in self.files.items() if path.exists()}
        self.warm_up()

    def warm_up(self) -> None:
        """Load what verbs import, so that its time and memory are no input's."""
        shipped = (CASES / "studies" / "jet-height.toml").read_bytes().replace(b"table-top", b"case")
        case = self._kept["case"]
        for given in (
            *(Hostile("case", case, verb) for verb in ("check", "check-json", "scale")),
            Hostile("study", shipped, "sweep"),
            Hostile("data", POINTS),
        ):
            self.answer(given)
            if found := self.complaints(given):
                raise AssertionError(f"{given.kind} {given.verb}: {found}")

    def complaints(self, given: Hostile) -> list[str]:
        """What is wrong with the answer to an input; nothing where all is well."""
        return self.answer(given)[1]

    def answer(self, given: Hostile) -> tuple[int | None, list[str]]:
        """The exit status of an input, and what is wrong with the answer."""
        path = self.files[given.kind]
        path.write_bytes(given.text)
        try:
            before = self._listing()
            status, found = self._watched(self._arguments(given))
            after = self._listing()
            if status == 2 and after != before:
                found.append(f"refused, but wrote {sorted(set(after) ^ set(before))}")
            if status == 2 and given.kind == "case" and given.verb != "scale":
                again, more = self._watched(["solve", str(path), "--output", str(self.home / "run.h5"), "--quiet"])
                found += more if again == 2 else [*more, f"check refuses, solve ends in {again}"]
                if self._listing() != before:
                    found.append("solve refuses, but wrote")
            self._clear()
        finally:
            if given.kind in self._kept:
                path.write_bytes(self._kept[given.kind])
            else:
                path.unlink(missing_ok=True)
        return status, found

    def solved(self, given: Hostile) -> list[str]:
        """What is wrong with a case that passes the check once it is solved, coarsely, for two seconds at most."""
        path, output = self.files["case"], self.home / "out.h5"
        try:
            case = vary(parse_case(given.text.decode("utf-8"), path), COARSE)
        except InputError:
            return []
        try:
            path.write_text(case.text, encoding="utf-8")
            out = io.StringIO()
            with redirect_stdout(out), redirect_stderr(out):
                status = main(["solve", str(path), "--output", str(output), "--quiet"])
                measured = main(["measure", str(output)]) if output.exists() else 0
            found = [f"solve and measure say {out.getvalue()[-300:]}"] if "internal error" in out.getvalue() else []
            if status not in (0, 2, 3) or measured != 0 or output.exists() != (status != 2):
                found.append(f"solve ends in {status}, measure in {measured}: {out.getvalue()[-200:]}")
        except Exception as error:
            found = [f"solve: {type(error).__name__}: {error}"[:300]]
        finally:
            self._clear()
            path.write_bytes(self._kept["case"])
        return found

    def _arguments(self, given: Hostile) -> list[str]:
        case = str(self.files["case"])
        if given.kind == "data":
            return ["read", str(self.files["data"])]
        if given.kind == "study":
            verb = "search" if given.verb == "search" else "sweep"
            return [verb, str(self.files["study"]), "--output", str(self.home / "out.sweep"), "--quiet"]
        return {
            "check": ["check", case],
            "check-json": ["check", case, "--json"],
            "scale": ["scale", case, "--factor", "2", "--fans", str(self.home / "fans"), "--output", self._out("toml")],
        }[given.verb]

    def _out(self, ending: str) -> str:
        return str(self.home / f"out.{ending}")

    def _clear(self) -> None:
        for path in self.home.glob("out*"):
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()

    def _listing(self) -> dict[str, tuple[int, int]]:
        found = {}
        for folder, _, names in os.walk(self.outer):
            for name in names:
                told = os.lstat(os.path.join(folder, name))
                found[os.path.join(folder, name)] = (told.st_size, told.st_mtime_ns)
            found[folder] = (0, 0)
        return found

    def _watched(self, arguments: list[str]) -> tuple[int | None, list[str]]:
        """Run the command; its exit status and what is wrong with what it did."""
        out, err, found = io.StringIO(), io.StringIO(), []
        began, peak = time.process_time(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        status, variants = None, 0
        _OPENED.files, _OPENED.is_on = [], True
        try:
            with redirect_stdout(out), redirect_stderr(err), _in_time(), _without_runs() as planned:
                status = read_points(*arguments[1:]) if arguments[0] == "read" else main(arguments)
            variants = planned()
        except TooSlow:
            found.append("hangs")
        except SystemExit as error:
            found.append(f"ends the process: {error}")
        except BaseException as error:
            found.append(f"escapes: {type(error).__name__}: {error}"[:300])
        finally:
            _OPENED.is_on = False
        took = time.process_time() - began
        if took > LONGEST + A_VARIANT * variants:
            found.append(f"takes {took:.1f} s of processor time")
        more = 1024 * (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - peak)
        if more > MOST_MEMORY:
            found.append(f"takes {more / 1e6:.0f} MB")
        found += self._words(status, out.getvalue(), err.getvalue(), bool(variants))
        found += self._misread(status)
        return status, found

    def _words(self, status: int | None, out: str, err: str, is_planned: bool) -> list[str]:
        found = []
        if status not in (0, 2) and not (status == 1 and is_planned):
            found.append(f"ends in status {status}: {err[:300]}")
        if "internal error" in err or "Traceback" in err:
            found.append(f"says {err[:300]}")
        if status == 2:
            if out:
                found.append(f"refuses and yet prints {out[:100]!r}")
            lines = err.split("\n")[:-1]
            found += [f"no line of a file: {line[:200]!r}" for line in lines[:200] if not LINE.match(line)][:1]
            if not lines:
                found.append("refuses without a word")
            if len(err) > 60_000:
                found.append(f"says {len(err)} characters")
        return found

    def _misread(self, status: int | None) -> list[str]:
        """Files that were opened outside the folder tree of the case, and files written that should not be."""
        found = []
        allowed = (f"{self.home}/", *_OF_PYTHON)
        for name, is_written in _OPENED.files:
            place = os.path.realpath(name)
            if not place.startswith(allowed):
                found.append(f"opens {name}")
            if is_written and status == 2 and place.startswith(f"{self.outer}/"):
                found.append(f"refuses, but opened {name} for writing")
        return found[:2]


_OF_PYTHON = (
    *(f"{Path(place).resolve()}/" for place in {sys.prefix, sys.base_prefix, os.path.dirname(os.__file__)}),
    f"{ROOT.resolve()}/",
    f"{Path.home()}/.cache/",
    "/proc/",
    "/dev/null",
    "/sys/",
)


@contextmanager
def _in_time() -> Iterator[None]:
    """Raise TooSlow after a time of the processor that is far beyond what is allowed."""

    def late(number: int, frame: object) -> None:
        raise TooSlow

    before = signal.signal(signal.SIGVTALRM, late)
    signal.setitimer(signal.ITIMER_VIRTUAL, 60 * LONGEST)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


@contextmanager
def _without_runs() -> Iterator[Any]:
    """A sweep that stops where its runs would begin; yields how many variants it had by then."""
    counted = [0]

    def stop(variants: Any, *arguments: Any, **more: Any) -> None:
        counted[0] = len(variants)
        raise Planned("planned")

    with mock.patch.object(sweep, "run_variants", stop), mock.patch.object(search, "run_variants", stop):
        yield lambda: counted[0]
