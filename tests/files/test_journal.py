"""Is a result file what it was at its last commit, whichever call of the system a kill precedes?"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import h5py
import numpy as np
import pytest

from swirlwright.solver import result_journal
from swirlwright.solver.errors import ResultError
from swirlwright.solver.result_journal import JournaledFile, journal_path
from swirlwright.solver.result_layout import BUDGET, FRAMES
from swirlwright.solver.results import ResultWriter, WriteError, load_result, read_restart

FACES = np.linspace(0.0, 1.0, 9)
CENTRES = 0.5 * (FACES[1:] + FACES[:-1])
GRID = {"r": CENTRES, "z": CENTRES, "r_face": FACES, "z_face": FACES}
CHANGING = ("pwrite", "replace", "ftruncate", "unlink")


class Killed(BaseException):
    """In place of SIGKILL: raised before a call that would change a file, and before every one after it."""


@contextmanager
def killed_before(call: int) -> Iterator[list[int]]:
    """Die before the call of this number that changes a file; yields how many there were."""
    count = [0]

    def dying(function: Any) -> Any:
        def instead(*arguments: Any, **more: Any) -> Any:
            count[0] += 1
            if count[0] > call:
                raise Killed
            return function(*arguments, **more)

        return instead

    changed = {name: dying(getattr(os, name)) for name in CHANGING}
    before = result_journal.os
    result_journal.os = SimpleNamespace(**{**vars(os), **changed})  # type: ignore[assignment]
    try:
        yield count
    finally:
        result_journal.os = before


def frame(n: int) -> dict[str, np.ndarray]:
    noise = np.random.default_rng(n).normal(size=(8, 8))
    return dict.fromkeys(FRAMES, n + noise)


def begin(path: Path) -> ResultWriter:
    return ResultWriter.create(path, **GRID, attributes={"title": "t"}, has_fog=True)


def write(writer: ResultWriter) -> None:
    """All that a run writes, in its order."""
    for n in range(4):
        writer.append_history({"step": [2 * n, 2 * n + 1], "time": [n - 0.5, n]})
        writer.append_probes([n - 0.5, n], {"axis_pressure": ("z", np.full((2, 8), n))})
        writer.append_frame(float(n), frame(n))
        if n == 2:
            writer.write_restart({"step": n, "u": np.arange(500.0)})
    shape = {"z": 8, "r": 8, "z_face": 9, "r_face": 9}
    writer.note(steady_attempt="none")
    writer.write_means(frame(9), frame(8), (0.0, 3.0))
    writer.write_budget({name: np.ones([shape[d] for d in v.dims]) for name, v in BUDGET.items()}, (0.0, 3.0))
    writer.finish("transient", "done", converged=True)


def abandon(writer: ResultWriter) -> None:
    """What the system does for a process that has died: it closes its files."""
    writer._store.close()
    with suppress(Exception):
        writer._file.close()


@pytest.mark.parametrize("is_resumed", [False, True])
def test_killed_before_any_call_the_file_is_whole(tmp_path: Path, is_resumed: bool) -> None:
    """Killed before each call in turn: the file opens, its frames and rows are those that were written, in order."""
    whole = tmp_path / "whole.h5"
    with begin(whole) as writer:
        write(writer)
    calls, seen = 0, set()
    while True:
        path = tmp_path / "run.h5"
        if is_resumed:
            shutil.copy(whole, path)
            writer = ResultWriter.resume(path, 0.0, 1, {})
        else:
            writer = begin(path)
        is_killed = False
        with killed_before(calls) as count:
            try:
                if is_resumed:
                    writer.append_frame(1.0, frame(1))
                    writer.finish("transient", "done again", converged=True)
                else:
                    write(writer)
            except Killed:
                is_killed = True
        abandon(writer)
        data = load_result(path)
        assert not journal_path(path).exists(), calls
        for n, values in enumerate(data.frames["pressure"]):
            assert data.time[n] == n and np.array_equal(values, frame(n)["pressure"]), calls
        assert data.history.get("step", np.zeros(0)).tolist() == list(range(len(data.history.get("step", []))))
        seen.add((data.attributes["outcome"], data.time.size))
        if data.attributes["outcome"] == "transient":
            assert read_restart(path)["step"] == 2, calls
        path.unlink()
        path.with_name("run.h5.restart").unlink(missing_ok=True)
        if not is_killed:
            break
        # Each of the first calls, then every fifth: they repeat themselves.
        calls += 1 if calls < 60 else 5
        assert count[0] < 2000
    assert {"interrupted", "transient"} == {outcome for outcome, _ in seen}
    assert {n for _, n in seen} == ({1, 2} if is_resumed else {0, 1, 2, 3, 4})


def test_pages_are_read_back_as_they_were_written(tmp_path: Path) -> None:
    """Writes and reads at random places give what a plain file gives; on the disk only a commit changes what stood."""
    path, rng = tmp_path / "a", np.random.default_rng(0)
    plain = bytearray(rng.bytes(3000))
    path.write_bytes(plain)
    file = JournaledFile(path)
    committed = bytes(plain)
    for n in range(300):
        at, data = int(rng.integers(0, len(plain))), rng.bytes(int(rng.integers(1, 900)))
        file.seek(at)
        file.write(data)
        plain[at : at + len(data)] = data
        begin = int(rng.integers(0, len(plain)))
        file.seek(begin)
        assert file.read(700)[: len(plain) - begin] == plain[begin : begin + 700]
        assert path.read_bytes()[: len(committed)] == committed
        if n % 20 == 19:
            file.commit()
            committed = bytes(plain)
    file.seek(0)
    assert file.read() == plain
    file.close()


def test_a_write_that_failed_is_never_committed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After a failed write nothing more gets into the file, which stays as at its last commit."""
    path = tmp_path / "a.h5"
    writer = begin(path)
    writer.append_frame(0.0, frame(0))

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(result_journal, "_write_at", full)
        with pytest.raises(WriteError, match=r"the disk is full; the 1 frame\(s\)"):
            writer.append_frame(1.0, frame(1))
    writer.close()
    assert load_result(path).time.tolist() == [0.0]


@pytest.mark.parametrize("how", ["deleted", "replaced"])
def test_a_file_that_is_gone_is_told(tmp_path: Path, how: str) -> None:
    """A result that is deleted or replaced while a run writes it ends the run with a message."""
    path, other = tmp_path / "a.h5", tmp_path / "b.h5"
    writer = begin(path)
    writer.append_frame(0.0, frame(0))
    if how == "replaced":
        begin(other).close()
        os.replace(other, path)
    else:
        path.unlink()
    with pytest.raises(WriteError, match=r"a\.h5: was deleted, moved or replaced while a run was writing it"):
        writer.append_frame(1.0, frame(1))
    writer.close()
    assert not path.exists() or load_result(path).time.size == 0


def test_a_journal_is_taken_by_the_next_writer(tmp_path: Path) -> None:
    """A run that replaces the file of a killed one uses its journal up, so that no later file can meet it."""
    path = tmp_path / "a.h5"
    writer = begin(path)
    with pytest.raises(Killed), killed_before(10**9) as count:
        count[0] = 10**9 - 3
        writer.append_frame(0.0, frame(0))
    abandon(writer)
    journal_path(path).write_bytes(result_journal._MAGIC)
    begin(path).close()
    assert not journal_path(path).exists()
    assert load_result(path).time.size == 0


def test_a_file_that_cannot_be_mended_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a journal cannot be written back, reading is refused with what to do."""
    path = tmp_path / "a.h5"
    begin(path).close()
    journal_path(path).write_bytes(result_journal._MAGIC)

    def readonly(*_: Any) -> int:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(result_journal.os, "open", readonly)
    with pytest.raises(ResultError, match=r"copy it with a\.h5\.journal to a folder that can be written"):
        load_result(path)


def test_plain_readers_open_a_running_file(tmp_path: Path) -> None:
    """At every moment between two frames HDF5 alone, without locks, reads the frames that are complete."""
    path = tmp_path / "a.h5"
    with begin(path) as writer:
        for n in range(3):
            writer.append_history({"step": n})
            writer.append_frame(float(n), frame(n))
            writer.append_history({"step": n + 0.5})
            with h5py.File(path, "r", locking=False) as file:
                assert int(file.attrs["n_complete"]) == n + 1
                assert np.array_equal(file["pressure"][n], frame(n)["pressure"])
