"""Does each fault of the machine end in a message that says what to do, with what was there before still there?"""

from __future__ import annotations

import errno
import os
import shutil
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import h5py
import numpy as np
import pytest
from small import TEXT, differences, small
from small_study import write_study

from swirlwright import cli
from swirlwright.failures import in_words
from swirlwright.solver.errors import is_hunger
from swirlwright.solver.result_reading import load_result
from swirlwright.solver.solve import solve

SHORT = {"run.end_time": 0.1, "events": None}


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A result of a tenth of a second."""
    path = tmp_path_factory.mktemp("result") / "run.h5"
    solve(small(SHORT), path)
    return path


def case_file(folder: Path) -> Path:
    path = folder / "small.toml"
    path.write_text(small(SHORT).text)
    return path


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own of 4 MB; what a test fills it with is gone afterwards."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(folder)]
    if sys.platform != "linux" or os.geteuid() != 0 or subprocess.run(mount, capture_output=True).returncode != 0:
        pytest.skip("mounting a disk needs root")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def fill(disk: Path, left: int) -> None:
    """Leave so many bytes of a disk."""
    free = os.statvfs(disk)
    with open(disk / "filling", "wb") as file:
        os.posix_fallocate(file.fileno(), 0, free.f_bavail * free.f_frsize - left)


def make_readonly(disk: Path) -> None:
    subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)


def said(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    """Status and message of the command."""
    status = cli.main([str(argument) for argument in arguments])
    return status, capsys.readouterr().err


# Full disk -----------------------------------------------------------------------------------------------------------


def test_no_room_for_a_result_is_one_message(tmp_path: Path, disk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """On a disk with no room even for an empty result `solve` says so at once, and an older result stays whole."""
    old = disk / "run.h5"
    solve(small(SHORT), old)
    before = old.read_bytes()
    fill(disk, 8192)
    status, words = said(capsys, "solve", case_file(tmp_path), "--output", old, "--quiet")
    assert (status, words) == (1, f"{old}: the disk is full; make room there or choose another place\n")
    assert old.read_bytes() == before
    assert sorted(path.name for path in disk.iterdir()) == ["filling", "run.h5"]


def test_no_room_for_a_report_leaves_the_old_page(result: Path, disk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A page that does not fit is told with its name; the page that was there stays, and nothing half-written."""
    page = disk / "run.html"
    page.write_text("<!doctype html>old")
    fill(disk, 65536)
    status, words = said(capsys, "report", result, "--output", page)
    assert (status, words) == (
        1,
        f"{page}: the disk is full; make room there, or choose another place with --output\n",
    )
    assert page.read_text() == "<!doctype html>old"
    assert sorted(path.name for path in disk.iterdir()) == ["filling", "run.html"]


@pytest.mark.slow
def test_no_room_for_a_sweep_keeps_its_records(tmp_path: Path, disk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sweep whose folder's disk fills up ends in one message; with room again the same command goes on."""
    study = write_study(tmp_path, end_time=0.1)
    fill(disk, 900_000)
    status, words = said(capsys, "sweep", study, "--output", disk / "out", "--quiet", "--workers", "1")
    assert status == 1
    assert "the disk is full" in words and "Traceback" not in words and len(words.splitlines()) <= 4
    (disk / "filling").unlink()
    status, words = said(capsys, "sweep", study, "--output", disk / "out", "--quiet", "--retry-failed")
    assert (status, words) == (0, "")


# Read-only folder ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("verb", ["solve", "report", "sweep", "scale", "drill"])
def test_a_readonly_folder_is_refused_before_any_work(
    tmp_path: Path, result: Path, disk: Path, capsys: pytest.CaptureFixture[str], verb: str
) -> None:
    """Where nothing can be written, every verb that writes says so with the place, in status 2."""
    make_readonly(disk)
    study = write_study(tmp_path)
    given = {"report": [result], "sweep": [study], "scale": [tmp_path / "case.toml", "--factor", "2"]}
    place = disk / ("out.pdf" if verb == "drill" else "out")
    status, words = said(capsys, verb, *given.get(verb, [tmp_path / "case.toml"]), "--output", place)
    assert status == 2
    assert words.startswith(f"{place}:") and "must be a place that can be written" in words
    assert len(words.splitlines()) == 1


def test_a_result_on_a_readonly_disk_is_read(result: Path, disk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Reading needs no right to write."""
    shutil.copy(result, disk / "run.h5")
    make_readonly(disk)
    assert said(capsys, "measure", disk / "run.h5")[0] == 0


# In use --------------------------------------------------------------------------------------------------------------

HOLDING = "import sys, h5py\nfile = h5py.File(sys.argv[1], sys.argv[2])\nprint('open', flush=True)\nsys.stdin.read()\n"


@pytest.mark.parametrize(
    ("mode", "verb", "words"),
    [
        ("r+", "measure", "a run is still writing this file; wait, or read a copy of it"),
        ("r+", "solve", "another run is writing this file; choose another name"),
        ("r", "solve", "another run is writing this file; choose another name"),
        ("r", "measure", ""),
    ],
)
def test_a_result_that_another_process_has_open(
    tmp_path: Path, result: Path, capsys: pytest.CaptureFixture[str], mode: str, verb: str, words: str
) -> None:
    """Open elsewhere for writing a result is neither read nor replaced, for reading it is not replaced: in words."""
    path = tmp_path / "run.h5"
    shutil.copy(result, path)
    command = [sys.executable, "-c", HOLDING, str(path), mode]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None and other.stdin is not None
        other.stdout.readline()
        arguments = [path] if verb == "measure" else [case_file(tmp_path), "--output", path, "--quiet"]
        status, told = said(capsys, verb, *arguments)
        other.stdin.close()
    assert (status, told) == ((2, f"{path}: {words}\n") if words else (0, ""))
    assert differences(path, result) == []


# Clock ---------------------------------------------------------------------------------------------------------------


def test_a_clock_that_is_set_back_changes_nothing(
    tmp_path: Path, result: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a wall clock that goes back an hour at every look, a run with a time limit ends as ever."""
    now = [2e9]

    def back() -> float:
        now[0] -= 3600.0
        return now[0]

    monkeypatch.setattr(time, "time", back)
    path = tmp_path / "run.h5"
    solve(small({**SHORT, "run.time_limit": 3000.0}), path)
    assert differences(path, result) == ["@case_text"]
    assert load_result(path).attributes["solve_seconds"] >= 0.0


# Memory --------------------------------------------------------------------------------------------------------------

STARVED = """
import resource, sys
from swirlwright import cli
from swirlwright.solver.solve import warm_up
warm_up("mixing-length")
used = int(open("/proc/self/statm").read().split()[0]) * resource.getpagesize()
resource.setrlimit(resource.RLIMIT_AS, (used + 60_000_000, used + 60_000_000))
sys.exit(cli.main(sys.argv[1:]))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_a_run_without_memory_says_so(tmp_path: Path) -> None:
    """`solve` of a fine grid with 60 MB to spare ends in status 1 and one line that tells what to do."""
    case = tmp_path / "small.toml"
    case.write_text(small({**SHORT, "grid.cells_r": 400, "grid.cells_z": 600}).text)
    command = [sys.executable, "-c", STARVED, "solve", str(case), "--output", str(tmp_path / "run.h5"), "--quiet"]
    done = subprocess.run(command, capture_output=True, text=True)
    last = done.stderr.splitlines()[-1]
    assert (done.returncode, last) == (1, in_words(MemoryError(), "solve"))


def test_what_is_want_of_memory() -> None:
    """Python's error, the system's and SuperLU's are want of memory; another RuntimeError is not."""
    hungry = (
        MemoryError(),
        OSError(errno.ENOMEM, "Cannot allocate memory"),
        RuntimeError("SUPERLU_MALLOC fails for x"),
    )
    assert all(map(is_hunger, hungry))
    assert not is_hunger(RuntimeError("Factor is exactly singular"))


# numba's cache -------------------------------------------------------------------------------------------------------


def test_a_cache_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """Where numba can keep its kernels nowhere, `solve` says which variable to set, and writes nothing."""
    case = case_file(tmp_path)
    # The only place left to numba is one where nothing can be made.
    nowhere = {"NUMBA_CACHE_DIR": "/proc/none", "NUMBA_CACHE_LOCATOR_CLASSES": "UserProvidedCacheLocator"}
    command = [sys.executable, "-m", "swirlwright.cli", "solve", str(case), "--output", str(tmp_path / "run.h5")]
    done = subprocess.run(command, env=os.environ | nowhere, capture_output=True, text=True)
    assert done.returncode == 1
    assert done.stderr.startswith("numba cannot keep its compiled kernels (cannot cache function")
    assert "set NUMBA_CACHE_DIR to a folder that can be written" in done.stderr.splitlines()[-1]
    assert list(tmp_path.iterdir()) == [case]


def test_a_cache_without_room_is_told(tmp_path: Path, disk: Path) -> None:
    """Where the disk of numba's cache is full, `solve` says so."""
    case = case_file(tmp_path)
    fill(disk, 4096)
    command = [sys.executable, "-m", "swirlwright.cli", "solve", str(case), "--output", str(tmp_path / "run.h5")]
    environment = os.environ | {"NUMBA_CACHE_DIR": str(disk)}
    done = subprocess.run([*command, "--quiet"], env=environment, capture_output=True, text=True)
    assert done.returncode == 1
    words = "numba cannot keep its compiled kernels (No space left on device); set NUMBA_CACHE_DIR"
    assert done.stderr.startswith(words)


# Missing packages ----------------------------------------------------------------------------------------------------


def test_a_missing_extra_is_told_with_the_command_that_installs_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """`sweep --scheduler` without dask says what to install, and runs nothing."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    status, words = said(
        capsys, "sweep", write_study(tmp_path), "--output", tmp_path / "out", "--scheduler", "tcp://127.0.0.1:1"
    )
    assert (status, words) == (1, '--scheduler needs dask: pip install -e ".[cluster]" in the clone\n')


# Numbers -------------------------------------------------------------------------------------------------------------


def test_a_start_that_is_not_finite_is_refused(
    tmp_path: Path, result: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A result with a value that is no number is no start: refused with its name and the field."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(result, "old.h5")
    with h5py.File("old.h5", "r+") as file:
        file["restart/state/v"][3, 4] = np.nan
    Path("small.toml").write_text(small({**SHORT, "run.start_from": "old.h5"}).text)
    status, words = said(capsys, "solve", "small.toml", "--output", "run.h5", "--quiet")
    assert (status, words) == (2, "old.h5: its state has values that are not finite (v), so no run can start from it\n")
    assert not Path("run.h5").exists()


def test_the_same_case_makes_the_same_file(tmp_path: Path, result: Path) -> None:
    """Two runs of one case on one machine leave the same bytes, but for the run's name and how long it took."""
    path = tmp_path / "run.h5"
    solve(small(SHORT), path)
    assert differences(path, result) == []
    one, other = (bytearray(file.read_bytes()) for file in (result, path))
    assert len(one) == len(other)
    for file, text in ((result, one), (path, other)):
        attributes = load_result(file).attributes
        for value in (
            attributes["run_id"].encode(),
            *(struct.pack("<d", attributes[f"{name}_seconds"]) for name in ("compile", "solve")),
        ):
            assert text.count(value) == 1
            at = text.index(value)
            text[at : at + len(value)] = bytes(len(value))
    differing = np.flatnonzero(np.frombuffer(one, np.uint8) != np.frombuffer(other, np.uint8))
    # The checksum of the block that the attributes stand in.
    assert differing.size == 0 or differing[-1] - differing[0] < 4


def test_a_kill_in_the_middle_of_all_of_this_leaves_no_lock(tmp_path: Path) -> None:
    """A result whose run was killed is neither locked nor in use: the next run replaces it."""
    case = tmp_path / "small.toml"
    case.write_text(TEXT.replace("end_time = 2.6", "end_time = 1000"))
    path = tmp_path / "run.h5"
    command = [sys.executable, "-m", "swirlwright.cli", "solve", str(case), "--output", str(path), "--quiet"]
    with subprocess.Popen(command) as process:
        while not path.exists():
            assert process.poll() is None
            time.sleep(0.01)
        process.send_signal(signal.SIGKILL)
    solve(small(SHORT), path)
    assert load_result(path).attributes["outcome"] == "transient"
