"""A sweep on a dask cluster of this machine."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest
from small_study import STUDY, write_study

import swirlwright
from swirlwright import cli

needs_dask = pytest.mark.skipif(importlib.util.find_spec("distributed") is None, reason="the extra cluster is missing")


@dataclass(frozen=True)
class Cluster:
    """A scheduler and its two workers, of one thread each."""

    address: str
    scheduler: subprocess.Popen[bytes]
    workers: list[subprocess.Popen[bytes]]


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    """A cluster of processes of this machine, ended afterwards."""
    file, folder = tmp_path / "scheduler.json", tmp_path / "dask"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": tmp_path}
    shared = ["--scheduler-file", str(file), "--no-dashboard"]
    python = [sys.executable, "-m"]
    with ExitStack() as stack:

        def run(*command: str) -> subprocess.Popen[bytes]:
            process = stack.enter_context(subprocess.Popen([*python, *command, *shared], **quiet))  # type: ignore[call-overload]
            stack.callback(process.kill)
            return process

        scheduler = run("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0")
        wait_for(file.exists)
        worker = ("distributed.cli.dask_worker", "--nthreads", "1", "--no-nanny", "--local-directory", str(folder))
        workers = [run(*worker) for _ in range(2)]
        wait_for(lambda: len(list(folder.glob("dask-scratch-space/worker-*"))) >= 2)
        yield Cluster(json.loads(file.read_text())["address"], scheduler, workers)


def wait_for(condition: Callable[[], bool], seconds: float = 60.0) -> None:
    """Wait until something is so."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.01)


@pytest.mark.slow
@needs_dask
def test_a_worker_killed_midway_loses_nothing(cluster: Cluster, tmp_path: Path) -> None:
    """Started from neighbours, with one of two workers killed after the first variant: the data set of this machine."""
    study = write_study(tmp_path, STUDY.replace("[[par", 'start = "neighbour"\n[[par', 1))
    folder = tmp_path / "out"

    def kill_one() -> None:
        wait_for(lambda: len(list((folder / "records").glob("*.json"))) >= 1)
        cluster.workers[0].kill()

    killer = threading.Thread(target=kill_one)
    killer.start()
    command = [sys.executable, "-m", "swirlwright.cli", "sweep", str(study), "--output", str(folder)]
    run = subprocess.run([*command, "--scheduler", cluster.address], capture_output=True, text=True)
    killer.join()
    assert run.returncode == 0, run.stderr
    assert "6 variants: 6 done" in run.stderr
    data = swirlwright.sweep(study, folder)
    assert sorted(data["variant"].values.ravel()) == list(range(6))
    assert len(list((folder / "records").iterdir())) == 6
    assert data.identical(swirlwright.sweep(study, tmp_path / "here"))


@pytest.mark.slow
@needs_dask
def test_a_cluster_that_goes_away_leaves_what_is_finished(cluster: Cluster, tmp_path: Path) -> None:
    """When the scheduler dies the sweep ends in 1 and one line about it; what was finished is in the folder."""
    study, folder = write_study(tmp_path), tmp_path / "out"
    command = [sys.executable, "-m", "swirlwright.cli", "sweep", str(study), "--output", str(folder), "--quiet"]
    with subprocess.Popen([*command, "--scheduler", cluster.address], stderr=subprocess.PIPE, text=True) as process:
        wait_for(lambda: len(list((folder / "records").glob("*.json"))) >= 1)
        cluster.scheduler.kill()
        assert process.stderr is not None
        told = process.stderr.read()
        assert process.wait() == 1
    assert "Traceback" not in told
    assert told.splitlines()[-1] == f"--scheduler {cluster.address}: is gone; finished variants are kept in {folder}"
    assert len(list((folder / "records").glob("*.json"))) >= 1


@needs_dask
def test_an_address_without_a_scheduler_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch
) -> None:
    """Where nothing answers, or the address is none, the verb ends in 1 with one message that names it."""
    from swirlwright.postproc.sweeps import cluster as sweep_cluster

    monkeypatch.setattr(sweep_cluster, "CONNECT_SECONDS", 0.5)
    study = write_study(tmp_path)
    for address in ("tcp://127.0.0.1:9", "what://is:this", "nonsense"):
        assert cli.main(["sweep", str(study), "--output", str(tmp_path / "o"), "--scheduler", address, "--quiet"]) == 1
        assert capsys.readouterr().err.startswith(f"--scheduler {address}: no scheduler answers there")


def test_without_the_extra_the_message_names_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without dask, --scheduler ends in 1 and one line that says what to install."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    study = write_study(tmp_path)
    assert cli.main(["sweep", str(study), "--output", str(tmp_path / "out"), "--scheduler", "a:1"]) == 1
    assert capsys.readouterr().err == '--scheduler needs dask: pip install -e ".[cluster]" in the clone\n'
