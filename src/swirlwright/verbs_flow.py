"""Verbs of one flow: check, solve, measure, report; and verify.

Everything heavy is imported inside the verb, so that `--help` and `check` stay quick.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from swirlwright.outputs import DONE, NOT_PASSED, WRONG_INPUT, print_value, say, unwritable, unwritable_page

if TYPE_CHECKING:
    from swirlwright.solver.progress import Watch
    from swirlwright.solver.schema import Case


def run_check(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.checksheet import check_sheet

    sheet = check_sheet(read_case(options.case))
    print_value(sheet, options.json)
    return DONE


def run_solve(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.progress import watcher

    case = read_case(options.case)
    output = options.output or Path(options.case.with_suffix(".h5").name)
    sources = [options.case] if case.run.start_from is None else [options.case, case.path.parent / case.run.start_from]
    if (reason := unwritable(output, *sources)) is not None:
        return say(f"{output}: {reason}", WRONG_INPUT)
    watch = watcher(quiet=options.quiet)
    if output.exists() and not options.resume:
        watch.message(f"{output}: the result of an earlier run there will be replaced (--resume goes on with it)")
    from swirlwright.solver.outcome import Outcome
    from swirlwright.solver.solve import solve

    try:
        result = solve(case, output, watch, resume=options.resume)
        is_judged = result.outcome.exit_status == DONE or result.outcome is Outcome.NOT_CONVERGED
        if is_judged and (options.grid_study or options.spread):
            _study(case, output, watch, options)
    finally:
        watch.finish()
    if result.outcome.exit_status != DONE:
        return say(f"{result.text}\nresult so far: {output}", result.outcome.exit_status)
    watch.message(f"{result.text}\nresult: {output} (next: swirlwright measure {output})")
    return DONE


def _study(case: Case, output: Path, watch: Watch, options: argparse.Namespace) -> None:
    from swirlwright.postproc.grid_and_spread import study_grids, study_spread

    if options.grid_study:
        study_grids(case, output, watch)
    if options.spread:
        study_spread(case, output, watch)


def run_measure(options: argparse.Namespace) -> int:
    from swirlwright.postproc.measures import measure

    print_value(measure(options.result), options.json)
    return DONE


def run_report(options: argparse.Namespace) -> int:
    from swirlwright.postproc.report import write_report

    output = options.output or Path(options.results[0].with_suffix(".html").name)
    if (reason := unwritable_page(output, *options.results)) is not None:
        return say(f"{output}: {reason}", WRONG_INPUT)
    write_report(options.results, output, measures=options.measure, against=options.against)
    return say(f"report: {output}", DONE)


def run_verify(options: argparse.Namespace) -> int:
    from swirlwright.solver.progress import watcher
    from swirlwright.verification.run import verify

    if options.report is not None and (reason := unwritable_page(options.report)) is not None:
        return say(f"{options.report}: {reason}", WRONG_INPUT)
    watch = watcher(quiet=options.quiet)
    try:
        found = verify(options.names, quick=options.quick, watch=watch)
    finally:
        watch.finish()
    print_value(found, options.json)
    if options.report is not None:
        from swirlwright.verification.page import write_page

        write_page(found, options.report)
        say(f"report: {options.report}", DONE)
    return DONE if found.passed else NOT_PASSED
