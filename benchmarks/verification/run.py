"""`verify`: run the checks, print computed beside published."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from swirlwright.solver.errors import SwirlwrightError
from swirlwright.solver.processes import in_processes
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.verification.catalogue import CATALOGUE
from swirlwright.verification.checks import Check, Configuration, Findings

# --quick takes the configurations of at most this long [s]; together they stay under a minute.
QUICK_SECONDS = 4.0


class NameRefused(SwirlwrightError):
    """A name that selects no check."""

    exit_status = 2


@dataclass(frozen=True)
class Outcome:
    """A configuration with what it found, or why it ended without."""

    configuration: Configuration
    findings: Findings | None
    failure: str = ""

    @property
    def checks(self) -> tuple[Check, ...]:
        return self.findings.checks if self.findings is not None else ()

    @property
    def passed(self) -> bool:
        return self.findings is not None and all(check.passed for check in self.checks)


@dataclass(frozen=True)
class Verification:
    """All outcomes, in the catalogue's order."""

    outcomes: tuple[Outcome, ...]

    @property
    def passed(self) -> bool:
        return all(outcome.passed for outcome in self.outcomes)

    def as_json(self) -> dict[str, Any]:
        """One object with a list of checks; a configuration that ended without is a check that failed."""
        rows = []
        for outcome in self.outcomes:
            head = {"name": outcome.configuration.name, "group": outcome.configuration.group}
            for check in outcome.checks:
                numbers = {name: _plain(getattr(check, name)) for name in ("computed", "expected", "tolerance")}
                rows.append(head | vars(check) | numbers | {"passed": check.passed})
            if outcome.findings is None:
                rows.append(head | {"quantity": "computed at all", "computed": None, "expected": None,
                                    "tolerance": None, "passed": False, "source": "", "kind": "analytic",
                                    "why": "", "note": outcome.failure})  # fmt: skip
        return {"checks": rows}

    def text(self) -> str:
        """A sheet: each group, each configuration, each number beside its source."""
        lines: list[str] = []
        group = ""
        for outcome in self.outcomes:
            if outcome.configuration.group != group:
                group = outcome.configuration.group
                lines += ["", group.upper()]
            lines += [f"  {outcome.configuration.name}: {outcome.configuration.title}"]
            if outcome.findings is None:
                lines.append(f"    FAILED  ended without a result: {outcome.failure}")
            for check in outcome.checks:
                mark = "pass  " if check.passed else "FAILED"
                difference = check.computed - check.expected
                lines.append(
                    f"    {mark}  {check.quantity:<46} {check.computed:>12.6g} {check.expected:>12.6g} "
                    f"{difference:>+10.2g} within {check.tolerance:.2g}"
                )
                lines.append(f"            {check.kind}: {check.source}")
                if not check.passed and check.note:
                    lines.append(f"            why it fails: {check.note}")
        return "\n".join(["  computed, from outside, difference and tolerance", *lines, "", self.summary()])

    def summary(self) -> str:
        """How many passed, in a line."""
        checks = [check for outcome in self.outcomes for check in outcome.checks]
        broken = [outcome for outcome in self.outcomes if outcome.findings is None]
        passed = sum(check.passed for check in checks)
        total = len(checks) + len(broken)
        return f"{passed} of {total} checks passed, over {len(self.outcomes)} configurations"


def _plain(value: float) -> float | None:
    """A number as JSON can carry it."""
    return float(value) if math.isfinite(value) else None


def selected(names: Sequence[str], *, quick: bool) -> tuple[Configuration, ...]:
    """The configurations of the named groups or names; all without names, the short ones with `quick`.

    Raises
    ------
    NameRefused
        If a name is neither, or none of the named is short enough for `quick`.
    """
    known = {c.name for c in CATALOGUE} | {c.group for c in CATALOGUE}
    for name in names:
        if name not in known:
            raise NameRefused(f'"{name}" is neither a group nor a configuration; there are {", ".join(sorted(known))}')
    chosen = [c for c in CATALOGUE if not names or c.name in names or c.group in names]
    wanted = tuple(c for c in chosen if not quick or c.seconds <= QUICK_SECONDS)
    if not wanted:
        raise NameRefused(f"{', '.join(names)}: nothing in it takes at most {QUICK_SECONDS:g} s; leave out --quick")
    return wanted


def verify(names: Sequence[str] = (), *, quick: bool = False, watch: Watch = SILENT) -> Verification:
    """Run the checks, two at a time.

    Parameters
    ----------
    names : sequence of str
        Groups or configurations; all of them if empty.
    quick : bool
        Only those of a few seconds.
    watch : Watch
        Told of progress.

    Raises
    ------
    NameRefused
        If a name is unknown.
    """
    chosen = selected(names, quick=quick)
    found = dict(_run_all(chosen, watch))
    return Verification(tuple(found[c.name] for c in chosen))


def _run_all(chosen: Sequence[Configuration], watch: Watch) -> Iterable[tuple[str, Outcome]]:
    watch.start("checks", sum(c.seconds for c in chosen))
    done = 0.0
    # The longest first, so that none is left alone at the end.
    known = {c.name: c for c in chosen}
    names = sorted(known, key=lambda name: -known[name].seconds)
    for name, findings, failure in in_processes(_run, names):
        done += known[name].seconds
        watch.update(done, name)
        yield name, Outcome(known[name], findings, failure)
    watch.finish()


def _run(name: str) -> tuple[str, Findings | None, str]:
    """Run one configuration by name, in a process of its own; what goes wrong is its finding."""
    configuration = next(c for c in CATALOGUE if c.name == name)
    try:
        return name, configuration.run(), ""
    except Exception as error:
        return name, None, f"{type(error).__name__}: {error}"
