"""Does every input file, however damaged, get an answer in words? Seeded random inputs, as a Markdown table.

python benchmarks/fuzz.py [--inputs N] [--seed N]
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import HealthCheck, Phase, given, seed, settings
from printing import machine, table

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from hostile import ALL_KINDS, BOMBS, INPUTS, Hostile
from hostile_folder import Folder

# Of the cases that pass the check one in so many is solved too.
SOLVED_OF = 10
STATUS = {0: "answered", 1: "planned, a study", 2: "refused"}


class Tally:
    """Counts of answers, and the first inputs of each sort of complaint."""

    def __init__(self, folder: Folder, keep: Path):
        self.folder, self.keep = folder, keep
        self.answers, self.complaints, self.slowest = Counter[tuple[str, str]](), Counter[str](), 0.0
        self.passed = self.solved = 0

    def take(self, given: Hostile) -> None:
        began = time.process_time()
        status, found = self.folder.answer(given)
        self.slowest = max(self.slowest, time.process_time() - began)
        self.answers[given.kind, STATUS.get(status, "failed") if status is not None else "failed"] += 1
        if given.kind == "case" and status == 0:
            self.passed += 1
            if self.passed % SOLVED_OF == 0:
                self.solved += 1
                found = [*found, *self.folder.solved(given)]
        for complaint in found:
            head = complaint[:80]
            self.complaints[head] += 1
            if self.complaints[head] == 1:
                path = self.keep / f"{len(self.complaints)}-{given.kind}-{given.verb}.toml"
                path.write_bytes(given.text)
                print(f"{complaint}\n  {path}", file=sys.stderr, flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument(
        "--keep", type=Path, default=Path("fuzz-findings"), help="folder for inputs that were answered badly"
    )
    options = parser.parse_args()
    options.keep.mkdir(exist_ok=True)
    with TemporaryDirectory() as outer:
        tally = Tally(Folder(Path(outer)), options.keep)
        for kind in ALL_KINDS:
            for bomb in BOMBS:
                tally.take(Hostile(kind, bomb))

        @seed(options.seed)
        @settings(
            max_examples=options.inputs - tally.answers.total(),
            database=None,
            deadline=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        @given(INPUTS)
        def run(given: Hostile) -> None:
            tally.take(given)

        run()
    report(tally, options.seed)


def report(tally: Tally, number: int) -> None:
    total, bad = tally.answers.total(), tally.complaints.total()
    print(f"{total} inputs: " + (f"{bad} COMPLAINTS." if bad else "each was answered in words, within its bounds."))
    print(
        f"\n{machine()} Seed {number}; slowest answer {tally.slowest:.2f} s of processor time; {tally.solved} of the "
        "cases that passed were solved on a coarse grid.\n"
    )
    print(table(("file", "answer", "inputs"), [(k, a, str(n)) for (k, a), n in sorted(tally.answers.items())]))
    if bad:
        print()
        print(table(("complaint", "times"), [(c.replace("|", "/"), str(n)) for c, n in tally.complaints.most_common()]))


if __name__ == "__main__":
    main()
