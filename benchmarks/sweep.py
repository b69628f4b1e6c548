"""Does a sweep use two cores, and does killing it five times change its data set? Prints a Markdown table.

python benchmarks/sweep.py [--variants N] [--kills N]
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import xarray as xr
from printing import CASES, ONE_THREAD, machine, number, table

STUDY = """
title = "Table-top chamber, coarse: a Latin hypercube"
base = "table-top.toml"
[sample]
method = "latin-hypercube"
count = {count}
seed = 1
[[parameters]]
name = "lowest_jet"
key = "tubes.1.rows.1.lowest"
range = ["15 mm", "80 mm"]
[[parameters]]
name = "fan_speed"
key = "exhaust.fan_speed_ratio"
range = [0.4, 0.9]
[[parameters]]
name = "aim"
key = "tubes.1.rows.1.aim"
range = [47, 60]
[[parameters]]
name = "length_constant"
key = "model.length_constant"
range = [0.06, 0.16]
[fixed]
grid.cells_r = 16
grid.cells_z = 24
grid.core_spacing = "5 mm"
run.max_iterations = 3
run.spin_up = 0.5
run.average = 1
"""
ENDED = (0, 3)  # done; some variants not converged
WORTHWHILE = 0.9


@dataclass(frozen=True)
class Swept:
    """One sweep: its time and that of all its processors [s], the share of its places that were filled, on average, and
    how many variants were finished at each kill.
    """

    name: str
    seconds: float
    cpu_seconds: float
    filled: float
    data: xr.Dataset
    finished_at_kills: tuple[int, ...] = ()


def start(study: Path, folder: Path, workers: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "swirlwright.cli", "sweep", str(study), "--output", str(folder)]
    command += ["--workers", str(workers), "--quiet"]
    return subprocess.Popen(command, env=os.environ | ONE_THREAD, stderr=subprocess.DEVNULL)


def finish(process: subprocess.Popen[bytes], folder: Path) -> xr.Dataset:
    """Wait for a sweep and read its data set.

    Raises
    ------
    RuntimeError
        If it ends otherwise than with an answer for every variant.
    """
    if process.wait() not in ENDED:
        raise RuntimeError(f"the sweep in {folder} ended with status {process.returncode}")
    with xr.open_dataset(folder / "sweep.h5", engine="h5netcdf") as data:
        return data.load()


def undisturbed(study: Path, folder: Path, workers: int) -> Swept:
    began, cpu = time.perf_counter(), cpu_of_children()
    data = finish(start(study, folder, workers), folder)
    seconds = time.perf_counter() - began
    spent = sum(json.loads(path.read_text())["seconds"] for path in (folder / "records").glob("*.json"))
    name = f"{workers} worker{'s' * (workers > 1)}"
    return Swept(name, seconds, cpu_of_children() - cpu, spent / (workers * seconds), data)


def cpu_of_children() -> float:
    """Processor time of all processes that were started and waited for, and of those they waited for [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def killed(study: Path, folder: Path, kills: int, seconds: float) -> Swept:
    """A sweep on two workers killed at random moments, that an undisturbed one would come to within `seconds`."""
    chance, finished = random.Random(1), []
    began, cpu = time.perf_counter(), cpu_of_children()
    for _ in range(kills):
        process = start(study, folder, 2)
        time.sleep(chance.uniform(0.1, 1.7) * seconds / (kills + 1))
        process.kill()
        process.wait()
        finished.append(len(list((folder / "records").glob("*.json"))))
    data = finish(start(study, folder, 2), folder)
    seconds = time.perf_counter() - began
    return Swept(f"2 workers, killed {kills} times", seconds, cpu_of_children() - cpu, math.nan, data, tuple(finished))


def row(swept: Swept, alone: Swept) -> list[str]:
    workers = 1 if swept is alone else 2
    is_same = swept.data.drop_attrs().identical(alone.data.drop_attrs())
    return [
        swept.name,
        str(swept.data.sizes["variant"]),
        number(swept.seconds, form=".0f"),
        "-" if swept.finished_at_kills else number(swept.cpu_seconds, form=".0f"),
        "-" if swept.finished_at_kills else number(swept.filled, form=".2f"),
        "-" if swept.finished_at_kills else number(alone.seconds / (workers * swept.seconds), form=".2f"),
        ", ".join(map(str, swept.finished_at_kills)) or "-",
        "-" if swept is alone else "identical" if is_same else "DIFFERENT",
    ]


def conclusion(alone: Swept, both: Swept, disturbed: Swept) -> str:
    efficiency = alone.seconds / (2 * both.seconds)
    is_same = all(other.data.drop_attrs().identical(alone.data.drop_attrs()) for other in (both, disturbed))
    reached = "at least" if efficiency >= WORTHWHILE else "NOT"
    return (
        f"Two workers have an efficiency of {efficiency:.2f}, {reached} {WORTHWHILE:g}; killed and resumed the data "
        f"set is {'the same, variable by variable' if is_same else 'ANOTHER'}."
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--variants", type=int, default=200)
    parser.add_argument("--kills", type=int, default=5)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        shutil.copy(CASES / "table-top.toml", folder)
        shutil.copytree(CASES / "fans", folder / "fans")
        study = folder / "study.toml"
        study.write_text(STUDY.format(count=options.variants))
        alone = undisturbed(study, folder / "one", 1)
        both = undisturbed(study, folder / "two", 2)
        disturbed = killed(study, folder / "killed", options.kills, both.seconds)
    print(conclusion(alone, both, disturbed), machine(), sep="\n\n", end="\n\n")
    heads = [
        "sweep",
        "variants",
        "time, s",
        "CPU, s",
        "places filled",
        "efficiency",
        "finished at each kill",
        "data set",
    ]
    print(table(heads, [row(swept, alone) for swept in (alone, both, disturbed)]))


if __name__ == "__main__":
    main()
