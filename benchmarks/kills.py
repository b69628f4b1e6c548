"""Is anything lost or half-written when a run is killed? SIGKILL at random moments, as a Markdown table.

python benchmarks/kills.py [--kills N] [--seed N]

Half of the kills fall on a random moment of the clock; where strace is installed the others fall on a random call of
the system that writes, truncates, renames or syncs a file, just before it is done.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from printing import ONE_THREAD, machine, table

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from small import TEXT, contents, differences
from small_study import write_study

from swirlwright.postproc.measures import measure
from swirlwright.postproc.report import write_report
from swirlwright.solver.casefile import parse_case, read_case, vary
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.result_reading import load_result, read_attributes
from swirlwright.solver.solve import solve

# Checkpoints every 30 s would leave runs of a second with none; the rest is what `swirlwright solve` does.
CHECKPOINT_SECONDS = 0.1
# Kills in a row, each of the run that goes on from the one before, until it is let go to its end.
IN_A_ROW = 4
CALLS = ("pwrite64", "write", "ftruncate", "fallocate", "rename", "fsync", "unlink")
STEADY = {
    "run.mode": "steady", "events": None, "model.closure": "constant", "model.viscosity_ratio": 200,
    "run.max_iterations": 40,
}  # fmt: skip
AVERAGED = {"run.mode": "steady", "run.spin_up": 1.0, "run.average": 1.5, "events": None, "run.max_iterations": 3}
SHARES = {"solve, transient": 0.4, "solve, averages": 0.1, "solve, steady": 0.1, "sweep": 0.2, "report": 0.2}
# In the child: compiled kernels are loaded before the clock starts, so that kills fall on what writes.
CHILD = """
import sys
from swirlwright.solver import unsteady
from swirlwright.solver.solve import warm_up
from swirlwright.cli import main
if sys.argv[1] == "report":
    import swirlwright.postproc.report
unsteady.CHECKPOINT_SECONDS = {seconds}
warm_up("mixing-length")
print("ready", flush=True)
sys.exit(main(sys.argv[1:]))
"""
HAS_STRACE = shutil.which("strace") is not None


@dataclass
class Tally:
    """What came of the kills of one kind: how many hit, and what was wrong afterwards."""

    by_clock: int = 0
    by_call: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)  # states that the kills left, all of them in order
    wrong: list[str] = field(default_factory=list)

    @property
    def kills(self) -> int:
        return self.by_clock + self.by_call.total()


class Killer:
    """Runs a command and kills it at a random moment or call."""

    def __init__(self, rng: random.Random, tally: Tally, command: Sequence[str], folder: Path):
        self.rng, self.tally, self.folder = rng, tally, folder
        self.command = [sys.executable, "-c", CHILD.format(seconds=CHECKPOINT_SECONDS), *command]
        self.seconds, self.calls = 0.0, Counter[str]()

    def learn(self) -> int:
        """Run it undisturbed, for its length and its calls; its exit status."""
        with self._started([]) as process:
            began = time.monotonic()
            status = process.wait()
            self.seconds = time.monotonic() - began
        return status

    def learn_calls(self) -> None:
        """Run it once more under strace, for the number of its calls."""
        record = self.folder / "calls.txt"
        with self._started(["strace", "-qq", "-e", f"trace={','.join(CALLS)}", "-o", str(record)]) as process:
            process.wait()
        self.calls = Counter(line.split("(", 1)[0] for line in record.read_text().splitlines() if "(" in line)
        record.unlink()

    def run(self, more: Sequence[str] = ()) -> bool:
        """Run it with further arguments; True if the kill hit, False if it came to its end before."""
        if self.calls and self.rng.random() < 0.5:
            # HDF5's own writes come in dozens where the others come alone.
            names = sorted(self.calls)
            (name,) = self.rng.choices(names, [4.0 if name == "pwrite64" else 1.0 for name in names])
            # Of `write` the last ones are the files', the first Python's own.
            last = self.calls[name]
            n = self.rng.randint(max(1, last - (40 if name == "write" else 600)), last)
            inject = ["-e", f"trace={name}", "-e", f"inject={name}:signal=SIGKILL:when={n}", "-o", os.devnull]
            with self._started(["strace", "-qq", *inject], more) as process:
                status = process.wait()
            if status in (-signal.SIGKILL, 128 + signal.SIGKILL):
                self.tally.by_call[name] += 1
                return True
            return False
        with self._started([], more) as process:
            with suppress(subprocess.TimeoutExpired):
                process.wait(self.rng.uniform(0.0, self.seconds))
                return False
            process.kill()
            process.wait()
        self.tally.by_clock += 1
        return True

    def _started(self, before: Sequence[str], more: Sequence[str] = ()) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [*before, *self.command, *more], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
            env=os.environ | ONE_THREAD, cwd=self.folder,
        )  # fmt: skip
        assert process.stdout is not None
        process.stdout.readline()
        return process


def kill_solves(rng: random.Random, folder: Path, changes: dict[str, object], wanted: int) -> Tally:
    """Kill, go on, kill again; at the end the file must be that of the undisturbed run, bit for bit."""
    tally = Tally()
    case = vary(parse_case(TEXT, folder / "small.toml"), changes) if changes else parse_case(TEXT, "small.toml")
    path, reference = folder / "case.toml", folder / "reference.h5"
    path.write_text(case.text)
    solve(read_case(path), reference)
    output = folder / "run.h5"
    killer = Killer(rng, tally, ["solve", str(path), "--output", str(output), "--quiet"], folder)
    killer.learn()
    if differences(output, reference):
        tally.wrong.append("two undisturbed runs differ")
    if HAS_STRACE:
        killer.learn_calls()
    while tally.kills < wanted:
        for stale in folder.glob("run.h5*"):
            stale.unlink()
        for _ in range(rng.randint(1, IN_A_ROW)):
            if not killer.run(["--resume"] if output.exists() else []):
                break
            state = _state_of(output, reference, tally)
            tally.found[state] += 1
            if state != "unfinished" and state != "no file yet":
                break
        resume = output.exists() and read_attributes(output)["outcome"] == Outcome.INTERRUPTED.label
        if resume or not output.exists():
            solve(read_case(path), output, resume=resume)
        if differ := differences(output, reference):
            tally.wrong.append(f"taken up again it ends otherwise: {', '.join(differ[:3])}")
    return tally


def _state_of(output: Path, reference: Path, tally: Tally) -> str:
    """What a kill left; complaints go to the tally."""
    if not output.exists():
        return "no file yet"
    try:
        data, whole = load_result(output), load_result(reference)
        n = data.time.size
        for name, values in {"time": data.time, **data.frames}.items():
            expected = whole.time if name == "time" else whole.frames[name]
            if len(values) != n or not np.array_equal(values, expected[:n]):
                tally.wrong.append(f"after a kill {name} is not that of the first {n} frames")
        for name, values in data.history.items():
            if not np.array_equal(values, whole.history[name][: len(values)], equal_nan=True):
                tally.wrong.append(f"after a kill history/{name} is not that of the first steps")
        if n:
            measure(output)
    except Exception as error:
        tally.wrong.append(f"after a kill: {type(error).__name__}: {error}"[:200])
        kept = output.with_name(f"broken-{len(tally.wrong)}.h5")
        shutil.copy(output, kept)
        return "broken"
    return "unfinished" if data.attributes["outcome"] == Outcome.INTERRUPTED.label else "finished"


def kill_sweeps(rng: random.Random, folder: Path, wanted: int) -> Tally:
    """Kill sweeps: records are whole, the data set is there in whole or not at all, and ends as if nothing had been."""
    tally = Tally()
    study, out = write_study(folder), folder / "out"
    killer = Killer(rng, tally, ["sweep", str(study), "--output", str(out), "--quiet", "--workers", "1"], folder)
    killer.learn()
    expected = contents(out / "sweep.h5")
    table_of = (out / "sweep.csv").read_bytes()
    shutil.rmtree(out)
    if HAS_STRACE:
        killer.learn_calls()
    while tally.kills < wanted:
        shutil.rmtree(out, ignore_errors=True)
        hits = 0
        while tally.kills < wanted and hits < IN_A_ROW and killer.run():
            hits += 1
            if (survivors := _waiting_for_children(out)) > 0:
                tally.wrong.append(f"{survivors} processes outlive a killed sweep")
            tally.found[f"{_records(out, tally)} records"] += 1
            _check_data_set(out, expected, table_of, tally, is_ended=False)
        killer.learn()
        _check_data_set(out, expected, table_of, tally, is_ended=True)
    return tally


def _records(out: Path, tally: Tally) -> int:
    paths = sorted((out / "records").glob("*.json"))
    for path in paths:
        try:
            json.loads(path.read_text())
        except ValueError:
            tally.wrong.append("a record is half-written")
    return len(paths)


def _check_data_set(out: Path, expected: dict[str, np.ndarray], rows: bytes, tally: Tally, *, is_ended: bool) -> None:
    for path in (out / "sweep.h5", out / "sweep.csv"):
        if not path.exists():
            if is_ended:
                tally.wrong.append(f"an ended sweep has no {path.name}")
            continue
        if path.suffix == ".csv":
            if path.read_bytes() != rows:
                tally.wrong.append("sweep.csv is not that of the undisturbed sweep")
            continue
        now = contents(path)
        differ = [k for k in expected.keys() | now.keys() if not _same(expected.get(k), now.get(k))]
        if differ:
            tally.wrong.append(f"sweep.h5 differs in {sorted(differ)[:3]}")


def _same(one: np.ndarray | None, other: np.ndarray | None) -> bool:
    if one is None or other is None:
        return False
    return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")


def _waiting_for_children(out: Path, seconds: float = 10.0) -> int:
    """How many processes of variants are left after a while."""
    end, left = time.monotonic() + seconds, 1
    while left and time.monotonic() < end:
        left = 0
        for place in Path("/proc").glob("[0-9]*/cmdline"):
            with suppress(OSError):
                left += str(out).encode() in place.read_bytes()
        time.sleep(0.02)
    return left


def kill_reports(rng: random.Random, folder: Path, wanted: int) -> Tally:
    """Kill reports over an older page: what stands there is the old page or the whole new one."""
    tally = Tally()
    (folder / "small.toml").write_text(TEXT)
    result, page = folder / "run.h5", folder / "run.html"
    solve(vary(read_case(folder / "small.toml"), {"run.end_time": 0.6, "events": None}), result)
    write_report(result, page)
    new, old = page.read_bytes(), b"<!doctype html><title>old</title>"
    killer = Killer(rng, tally, ["report", str(result), "--output", str(page)], folder)
    killer.learn()
    if page.read_bytes() != new:
        tally.wrong.append("two undisturbed pages differ")
    if HAS_STRACE:
        killer.learn_calls()
    while tally.kills < wanted:
        page.write_bytes(old)
        if not killer.run():
            continue
        there = page.read_bytes()
        tally.found["old page" if there == old else "new page"] += 1
        if there not in (old, new):
            tally.wrong.append(f"a page of {len(there)} bytes, neither the old nor the new")
        for part in folder.glob(".run.html*"):
            part.unlink()
    return tally


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", choices=SHARES, help="one kind of run")
    options = parser.parse_args()
    kinds: dict[str, Callable[[random.Random, Path, int], Tally]] = {
        "solve, transient": lambda rng, folder, n: kill_solves(rng, folder, {}, n),
        "solve, averages": lambda rng, folder, n: kill_solves(rng, folder, AVERAGED, n),
        "solve, steady": lambda rng, folder, n: kill_solves(rng, folder, STEADY, n),
        "sweep": kill_sweeps,
        "report": kill_reports,
    }
    tallies = {}
    for name, share in SHARES.items():
        if options.only not in (None, name):
            continue
        wanted = options.kills if options.only else max(1, round(share * options.kills))
        with TemporaryDirectory() as folder:
            tallies[name] = kinds[name](random.Random(f"{options.seed} {name}"), Path(folder), wanted)
        print(f"{name}: {tallies[name].kills} kills, {len(tallies[name].wrong)} wrong", file=sys.stderr, flush=True)
    report(tallies, options.seed)


def report(tallies: dict[str, Tally], seed: int) -> None:
    total, wrong = sum(t.kills for t in tallies.values()), [w for t in tallies.values() for w in t.wrong]
    print(f"{total} kills: " + (f"{len(wrong)} COMPLAINTS." if wrong else "nothing was lost and nothing half-written."))
    print(f"\n{machine()} Seed {seed}. {'' if HAS_STRACE else 'No strace here: all by the clock.'}\n")
    rows = []
    for name, t in tallies.items():
        calls = ", ".join(f"{call} {n}" for call, n in sorted(t.by_call.items())) or "-"
        left = ", ".join(f"{state} {n}" for state, n in sorted(t.found.items()))
        rows.append((name, str(t.kills), str(t.by_clock), calls, left, str(len(t.wrong))))
    print(table(("run", "kills", "by the clock", "before a call", "what they left", "wrong"), rows))
    for line, n in Counter(wrong).most_common():
        print(f"- {n} x {line}")


if __name__ == "__main__":
    main()
