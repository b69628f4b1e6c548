"""Runs benchmarks one after the other and puts what they print into RESULTS.md, each in a section of its own.

python benchmarks/results.py [NAME ...]  # start_up step steady peers cases scatter sweep kills fuzz faults sensitivity
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
RESULTS = HERE / "RESULTS.md"
NAMES = ("start_up", "step", "steady", "peers", "cases", "scatter", "sweep", "kills", "fuzz", "faults", "sensitivity")
HEAD = "# Results\n\nMade by `python benchmarks/results.py`: what each script printed when it was last run there.\n"


def sections() -> dict[str, str]:
    """What RESULTS.md holds, by the script's name."""
    if not RESULTS.exists():
        return {}
    parts = re.split(r"^## (\w+)\.py\n", RESULTS.read_text(), flags=re.MULTILINE)[1:]
    return {name: text.strip() for name, text in zip(parts[::2], parts[1::2], strict=True)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="NAME", choices=[*NAMES, []], help="scripts (default: all)")
    for name in parser.parse_args().names or NAMES:
        print(f"{name}.py ...", file=sys.stderr, flush=True)
        done = subprocess.run([sys.executable, HERE / f"{name}.py"], stdout=subprocess.PIPE, text=True, check=True)
        # Written after each, so that what has been measured is kept if the next one fails.
        known = sections() | {name: done.stdout.strip()}
        texts = [f"## {key}.py\n\n{known[key]}\n" for key in NAMES if key in known]
        RESULTS.write_text("\n".join([HEAD, *texts]))


if __name__ == "__main__":
    main()
