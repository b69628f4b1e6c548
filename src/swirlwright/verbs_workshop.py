"""Verbs for the workshop: drill, and compare and calibrate with what was measured.

Everything heavy is imported inside the verb, so that `--help` and `check` stay quick.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from swirlwright.outputs import DONE, FAILED, NOT_PASSED, WRONG_INPUT, is_other, print_value, say, unwritable


def run_drill(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case

    case = read_case(options.case)
    output = options.output or Path(options.case.with_suffix(".pdf").name)
    if output.suffix.lower() != ".pdf":
        return say(f"{output}: must end in .pdf", WRONG_INPUT)
    from swirlwright.postproc.workshop.drill_sheets import TABLE_START, drill, table_path

    table = table_path(output)
    starts = ((output, b"%PDF-"), (table, TABLE_START))
    for path, start in starts:
        if (reason := unwritable(path, options.case) or is_other(path, start)) is not None:
            return say(f"{path}: {reason}", WRONG_INPUT)
    print_value(drill(case, output, paper=options.paper, inches=options.inches), options.json)
    return say(f"sheets: {output}\ntable of holes: {table}", DONE)


def run_compare(options: argparse.Namespace) -> int:
    from swirlwright.postproc.measured.compare import compare

    output: Path | None = options.output
    if output is None:
        print_value(compare(options.result, options.data), options.json)
        return DONE
    from swirlwright.postproc.measured.compare_page import KINDS, write_comparison

    if output.suffix not in KINDS:
        return say(f"{output}: must end in {' or '.join(KINDS)}", WRONG_INPUT)
    reason = unwritable(output, options.result, options.data) or is_other(output, KINDS[output.suffix])
    if reason is not None:
        return say(f"{output}: {reason}", WRONG_INPUT)
    found = compare(options.result, options.data)
    print_value(found, options.json)
    write_comparison(found, output)
    return say(f"comparison: {output}", DONE)


def run_picture(options: argparse.Namespace) -> int:
    from swirlwright.postproc.visitor.picture import STARTS, picture
    from swirlwright.solver.progress import watcher

    output = options.output or Path(options.result.with_suffix(".png").name)
    start = STARTS.get(output.suffix.lower())
    if start is None:
        return say(f"{output}: must end in {', '.join(STARTS)}", WRONG_INPUT)
    if (reason := unwritable(output, options.result) or is_other(output, *start)) is not None:
        return say(f"{output}: {reason}", WRONG_INPUT)
    watch = watcher(quiet=options.quiet)
    try:
        shown = picture(options.result, output, time=options.time, watch=watch)
    finally:
        watch.finish()
    print_value(shown, options.json)
    return say(f"picture: {output}", DONE)


def run_calibrate(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.progress import watcher

    case = read_case(options.case)
    output: Path = options.output or Path(f"{options.case.stem}-calibrated.toml")
    if (reason := unwritable(output, options.case, options.data)) is not None:
        return say(f"{output}: {reason}", WRONG_INPUT)
    from swirlwright.postproc.measured.calibrate import calibrate
    from swirlwright.postproc.measured.calibrate_file import write_calibrated
    from swirlwright.postproc.measured.calibrate_words import MARK
    from swirlwright.solver.moved_case import refuse_other

    refuse_other(output, MARK, "calibrate")
    watch = watcher(quiet=options.quiet)
    try:
        found = calibrate(case, options.data, output.with_suffix(".runs"), watch)
    finally:
        watch.finish()
    print_value(found, options.json)
    if not found.estimates:
        return say("the data determine none of the constants, so no case is written", FAILED)
    _, copied = write_calibrated(found, output)
    for path in copied:
        say(f"fan file copied: {path}", DONE)
    return say(f"calibrated case: {output}", DONE if found.is_converged else NOT_PASSED)
