"""Would the published checks notice a fault in the solver? Five deliberate ones, each in a copy of the sources.

python benchmarks/faults.py [NAME ...]
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

from printing import machine, table

ROOT = Path(__file__).parent.parent
# Fault -> (file, what stands there, what is put there instead), all of which must be found.
FAULTS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "sign of v^2/r": (("solver/kernels.py", "+ mean_v * turn", "- mean_v * turn"),),
    "kernel torque off by 2 %": (
        ("solver/jets.py", "torque=sums.torque / grid.volume", "torque=1.02 * sums.torque / grid.volume"),
    ),
    "first-order advection of v": (
        (
            "solver/kernels.py",
            "* m.dz[j] * 0.5 * (v[j, i - 1] + v[j, i])",
            "* m.dz[j] * (v[j, i - 1] if u[j, i] > 0.0 else v[j, i])",
        ),
        (
            "solver/kernels.py",
            "ring * w[j, i] * 0.5 * (v[j - 1, i] + v[j, i])",
            "ring * w[j, i] * (v[j - 1, i] if w[j, i] > 0.0 else v[j, i])",
        ),
    ),
    "no slip turned to free slip at the side": (
        ("solver/kernels.py", "* shear * m.dz[j] * e.side_stress_v[j]", "* shear * m.dz[j] * 0.0"),
        ("solver/kernels.py", "* rf[nr] * half * share", "* rf[nr] * half * 0.0"),
    ),
    "viscosity times 1.2": (
        ("solver/state.py", "return self.closure.of(s.u, s.v, s.w, self.grid, self.edges)",
         "return 1.2 * self.closure.of(s.u, s.v, s.w, self.grid, self.edges)"),
    ),
}  # fmt: skip
# Groups whose checks take seconds; the flows of the others are the same solver's.
GROUPS = ("vortices", "layers", "ducts", "concentric cylinders", "budgets", "air network", "jets")
MORE = ("end-wall-1.5-990", "throughflow", "throughflow-swirl")


def failing(sources: Path) -> set[tuple[str, str, str]]:
    """Group, configuration and quantity of every check that fails with the package in `sources`."""
    command = [sys.executable, "-m", "swirlwright.cli", "verify", *GROUPS, *MORE, "--json", "--quiet"]
    # The sources before the installed package, and a cache of their own: numba's does not see a changed callee.
    more = {"PYTHONPATH": str(sources / "src"), "NUMBA_CACHE_DIR": str(sources / "numba")}
    done = subprocess.run(command, env=os.environ | more, cwd=sources, capture_output=True, text=True)
    if not done.stdout:
        raise RuntimeError(f"verify ended with status {done.returncode}: {done.stderr.strip()}")
    rows = json.loads(done.stdout)["checks"]
    return {(row["group"], row["name"], row["quantity"]) for row in rows if not row["passed"]}


def copy_with(fault: str | None, folder: Path) -> Path:
    """A copy of the sources with a fault in it."""
    target = folder / "copy"
    for name in ("src", "solver", "postproc", "benchmarks"):
        shutil.copytree(ROOT / name, target / name, symlinks=True, ignore=shutil.ignore_patterns("__pycache__"))
    for name, right, wrong in FAULTS[fault] if fault is not None else ():
        path = target / name
        text = path.read_text()
        if right not in text:
            raise RuntimeError(f"{name} has no {right!r} any more: adapt the fault")
        path.write_text(text.replace(right, wrong))
    return target


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(FAULTS)} (default: all)")
    wanted = parser.parse_args().names or list(FAULTS)
    rows, is_seen = [], True
    with TemporaryDirectory() as folder:
        usual = failing(copy_with(None, Path(folder)))
    for fault in wanted:
        with TemporaryDirectory() as folder:
            new = failing(copy_with(fault, Path(folder))) - usual
        groups = Counter(group for group, _, _ in new)
        is_seen = is_seen and len(new) >= 3 and len(groups) >= 2
        listed = "; ".join(f"{name}: {quantity}" for _, name, quantity in sorted(new))
        counted = ", ".join(f"{group} {n}" for group, n in groups.items())
        rows.append([fault, str(len(new)), counted, listed])
        print(f"{fault}: {len(new)} checks fail ({counted})", file=sys.stderr)
    print("Each fault makes three checks fail, in two groups." if is_seen else "NOT every fault is noticed.")
    print(f"\n{machine()}\n\nFailing without any fault: {len(usual)} (not counted).\n")
    print(table(("fault", "checks that fail", "by group", "which"), rows))


if __name__ == "__main__":
    main()
