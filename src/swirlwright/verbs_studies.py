"""Verbs of families of chambers: scale, sweep, search, margin.

Everything heavy is imported inside the verb, so that `--help` and `check` stay quick.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from swirlwright.outputs import DONE, FAILED, NOT_PASSED, WRONG_INPUT, print_value, say, unwritable

if TYPE_CHECKING:
    from swirlwright.postproc.margins.joint import Joint
    from swirlwright.postproc.margins.values import Margins


def run_scale(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.scale_file import write_scaled
    from swirlwright.solver.scaling import scale

    case = read_case(options.case)
    scaled = scale(case, height=options.height, factor=options.factor, hold=options.hold, fans=options.fans)
    output = options.output or Path(scaled.case.path.name)
    if (reason := unwritable(output, options.case)) is not None:
        return say(f"{output}: {reason}", WRONG_INPUT)
    written, copied = write_scaled(scaled, output)
    if not options.solve:
        print_value(scaled, options.json)
        _say_written(output, copied)
        return DONE
    from swirlwright.postproc.side_by_side import solve_both
    from swirlwright.solver.progress import watcher

    if not options.json:
        print(scaled.text(), flush=True)
    _say_written(output, copied)
    watch = watcher(quiet=options.quiet)
    try:
        both = solve_both(case, written, scaled, output.with_suffix(".h5"), watch)
    finally:
        watch.finish()
    print_value(both, options.json)
    return DONE if both.is_converged else NOT_PASSED


def _say_written(output: Path, copied: list[Path]) -> None:
    say(f"scaled case: {output} (next: swirlwright solve {output})", DONE)
    for path in copied:
        say(f"fan file copied: {path}", DONE)


def run_sweep(options: argparse.Namespace) -> int:
    from swirlwright.solver.progress import watcher
    from swirlwright.solver.study_file import read_study

    study = read_study(options.study)
    from swirlwright.postproc.sweeps.data import counted
    from swirlwright.postproc.sweeps.sweep import default_folder, sweep

    folder = options.output or default_folder(study)
    watch = watcher(quiet=options.quiet)
    if study.objective is not None or study.constraints:
        watch.message(f"objective and constraints are not looked at here: swirlwright search {options.study} does")
    data = sweep(
        study,
        folder,
        watch,
        workers=options.workers,
        retry_failed=options.retry_failed,
        scheduler=options.scheduler,
    )
    number, text = counted(data)
    text += f"\ndata set: {folder / 'sweep.h5'}, table: {folder / 'sweep.csv'} (next: swirlwright report {folder})"
    if number["failed"]:
        first = str(data["reason"].values[data["status"].values == "failed"][0])
        return say(f"{text}\nfailed: {first}\n--retry-failed runs the failed ones again", FAILED)
    if number["not-converged"]:
        return say(text, NOT_PASSED)
    watch.message(text)
    return DONE


def run_search(options: argparse.Namespace) -> int:
    from swirlwright.solver.progress import watcher
    from swirlwright.solver.study_file import read_study

    study = read_study(options.study)
    from swirlwright.postproc.searches.search import default_folder, search

    folder = options.output or default_folder(study)
    watch = watcher(quiet=options.quiet)
    answer = search(study, folder, watch, workers=options.workers, retry_failed=options.retry_failed)
    print_value(answer, options.json)
    text = f"data set: {folder / 'sweep.h5'}, table: {folder / 'sweep.csv'} (next: swirlwright report {folder})"
    watch.message(text)
    if answer.statuses.get("failed"):
        watch.message("--retry-failed runs the failed variants again")
    if answer.best is None:
        return say("no variant keeps every constraint", FAILED)
    watch.message(f"best case: {answer.case_path} (next: swirlwright solve {answer.case_path})")
    return DONE if answer.is_converged else NOT_PASSED


def run_margin(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.progress import watcher

    case = read_case(options.case)
    from swirlwright.postproc.grid_and_spread import holds_ended_run
    from swirlwright.postproc.margins.margin import margin
    from swirlwright.postproc.margins.runs import default_folder
    from swirlwright.postproc.margins.sample import margin_sample
    from swirlwright.postproc.margins.values import BASE

    folder = options.output or default_folder(case)
    # The result that `solve` leaves here, if it is this very case's: its verdict is to carry the answer too.
    solved = Path(options.case.with_suffix(".h5").name)
    result = solved if holds_ended_run(solved, case) else None
    watch = watcher(quiet=options.quiet)
    try:
        if options.sample is None:
            found: Margins | Joint = margin(case, folder, watch, workers=options.workers, result=result)
        else:
            found = margin_sample(case, options.sample, folder, watch, workers=options.workers, result=result)
    finally:
        watch.finish()
    print_value(found, options.json)
    name = "margin" if options.sample is None else "sample"
    where = str(folder / BASE) + ("" if result is None else f" and {result}")
    watch.message(f"all runs: {folder / name}.h5, {folder / name}.csv; the verdict of {where} now carries this")
    if found.failed:
        return say(f"{found.failed} runs gave no answer; the same command runs them again", FAILED)
    return NOT_PASSED if found.not_converged else DONE
