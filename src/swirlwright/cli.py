"""The command `swirlwright`: one function per verb. Everything heavy is imported inside the verb."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from swirlwright import __version__

if TYPE_CHECKING:
    from swirlwright.solver.progress import Watch
    from swirlwright.solver.schema import Case

DONE, FAILED, WRONG_INPUT, NOT_PASSED = 0, 1, 2, 3  # a run that did not converge has 3 from its outcome


def main(arguments: list[str] | None = None) -> int:
    """Run one verb.

    Parameters
    ----------
    arguments : list of str, optional
        Those of the command line by default.

    Returns
    -------
    int
        Exit status: 0 done; 1 failed; 2 wrong input; 3 solved but not converged, or a check of verify failed.
    """
    options = _parser().parse_args(arguments)
    try:
        return _answer(options)
    except KeyboardInterrupt:
        return _say("interrupted", FAILED)


def _answer(options: argparse.Namespace) -> int:
    """Run the verb; what goes wrong becomes one message and its status."""
    from swirlwright.solver.errors import SwirlwrightError
    from swirlwright.solver.interrupts import raising_interrupt

    try:
        with raising_interrupt():
            status: int = options.run(options)
        sys.stdout.flush()
        return status
    except SwirlwrightError as error:
        return _say(str(error), error.exit_status)
    except BrokenPipeError:
        # The reader of our output has gone, as `head` does; what is left to flush must not complain again.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except OSError as error:
        return _say(f"{error.filename or options.verb}: {error.strerror or error}", FAILED)
    except MemoryError:
        return _say("not enough memory; take a coarser grid", FAILED)
    except Exception as error:
        if options.traceback:
            raise
        kind = type(error).__name__
        return _say(f"internal error, {kind}: {error} (swirlwright --traceback {options.verb} shows where)", FAILED)


def _say(text: str, status: int) -> int:
    print(text, file=sys.stderr)
    return status


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="swirlwright",
        description="From a case file to a verdict: will a column of swirling air stand on the floor?",
    )
    parser.add_argument("--version", action="version", version=f"swirlwright {__version__}")
    parser.add_argument("--traceback", action="store_true", help="show the stack trace of an internal error")
    verbs = parser.add_subparsers(dest="verb", metavar="VERB", required=True)

    check = verbs.add_parser("check", help="check a case, print its air network; solves no flow")
    check.add_argument("case", type=Path, metavar="CASE", help="case file (TOML)")
    check.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    check.set_defaults(run=_check)

    solve = verbs.add_parser("solve", help="solve the flow of a case, write one result file")
    solve.add_argument("case", type=Path, metavar="CASE", help="case file (TOML)")
    solve.add_argument(
        "--output",
        type=Path,
        metavar="FILE",
        help="result file, replaced if there is one (default: the case's name, .h5, here)",
    )
    solve.add_argument("--resume", action="store_true", help="go on with the unsteady run the result file holds")
    solve.add_argument(
        "--grid-study", action="store_true", help="then two coarser grids: the grid error of each measure"
    )
    solve.add_argument("--spread", action="store_true", help="then the model's constants over their ranges")
    solve.add_argument("--quiet", action="store_true", help="no progress")
    solve.set_defaults(run=_solve)

    measure = verbs.add_parser("measure", help="print the measures and the verdict of a result")
    measure.add_argument("result", type=Path, metavar="RESULT", help="result file")
    measure.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    measure.set_defaults(run=_measure)

    report = verbs.add_parser("report", help="write one self-contained HTML page with the pictures")
    report.add_argument("results", type=Path, nargs="+", metavar="RESULT", help="result files")
    report.add_argument(
        "--output", type=Path, metavar="FILE", help="page (default: the first result's name, .html, here)"
    )
    report.set_defaults(run=_report)

    scale = verbs.add_parser("scale", help="a chamber of another size from one that works: duties, holes, fans, case")
    scale.add_argument("case", type=Path, metavar="CASE", help="case file (TOML)")
    size = scale.add_mutually_exclusive_group(required=True)
    size.add_argument("--height", type=_length, metavar="H", help='height of the scaled chamber: 2.5 (m) or "8 ft"')
    size.add_argument("--factor", type=float, metavar="F", help="scaled length over original")
    scale.add_argument(
        "--hold",
        choices=("velocity", "spin-up", "reynolds"),
        default="velocity",
        help="what stays: velocities (default), spin-up time or Reynolds number",
    )
    scale.add_argument(
        "--fans", type=Path, metavar="FOLDER", help="fan files to choose from (default: the folder of the case's fans)"
    )
    scale.add_argument("--output", type=Path, metavar="FILE", help="scaled case (default: CASE-HEIGHTm.toml, here)")
    scale.add_argument("--solve", action="store_true", help="then solve both and print their measures side by side")
    scale.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    scale.add_argument("--quiet", action="store_true", help="no progress")
    scale.set_defaults(run=_scale)

    sweep = verbs.add_parser("sweep", help="run all variants of a study, go on where it stopped, write one data set")
    sweep.add_argument("study", type=Path, metavar="STUDY", help="study file (TOML)")
    sweep.add_argument(
        "--output", type=Path, metavar="FOLDER", help="folder of the sweep (default: the study's name, .sweep, here)"
    )
    sweep.add_argument(
        "--workers", type=_positive, metavar="N", help="variants at a time (default: the processors of this machine)"
    )
    sweep.add_argument("--retry-failed", action="store_true", help="run variants again that failed")
    sweep.add_argument("--scheduler", metavar="ADDRESS", help="dask scheduler whose workers run the variants instead")
    sweep.add_argument("--quiet", action="store_true", help="no progress")
    sweep.set_defaults(run=_sweep)

    drill = verbs.add_parser(
        "drill", help="write the workshop's sheets at true size: templates, cut-outs, parts, power"
    )
    drill.add_argument("case", type=Path, metavar="CASE", help="case file (TOML)")
    drill.add_argument(
        "--output",
        type=Path,
        metavar="FILE",
        help="PDF (default: the case's name, .pdf, here); the table of holes stands beside it, -holes.csv",
    )
    drill.add_argument("--paper", choices=("a4", "letter"), default="a4", help="size of the sheets (default: a4)")
    drill.add_argument("--inches", action="store_true", help="lengths in inches instead of millimetres")
    drill.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    drill.set_defaults(run=_drill)

    verify = verbs.add_parser("verify", help="run the published checks, print computed beside published")
    verify.add_argument("names", nargs="*", metavar="NAME", help="groups or configurations (default: all)")
    verify.add_argument("--quick", action="store_true", help="only those of a few seconds, a minute in all")
    verify.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    verify.add_argument("--report", type=Path, metavar="FILE", help="write one HTML page with a figure for each")
    verify.add_argument("--quiet", action="store_true", help="no progress")
    verify.set_defaults(run=_verify)
    return parser


def _length(text: str) -> float:
    """A length of the command line: a number in m, or one with a unit."""
    from swirlwright.solver.quantities import Number, QuantityError

    try:
        given: float | str = float(text)
    except ValueError:
        given = text
    try:
        return Number("m", gt=0, le=100).convert(given)
    except QuantityError as error:
        raise argparse.ArgumentTypeError(f"must be {error}, got {text!r}") from error


def _positive(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"must be a whole number >= 1, got {text}")
    return int(text)


def _check(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.checksheet import check_sheet

    sheet = check_sheet(read_case(options.case))
    _print(sheet, options.json)
    return DONE


def _solve(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.progress import watcher

    case = read_case(options.case)
    output = options.output or Path(options.case.with_suffix(".h5").name)
    sources = [options.case] if case.run.start_from is None else [options.case, case.path.parent / case.run.start_from]
    if (reason := _unwritable(output, *sources)) is not None:
        return _say(f"{output}: {reason}", WRONG_INPUT)
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
        return _say(f"{result.text}\nresult so far: {output}", result.outcome.exit_status)
    watch.message(f"{result.text}\nresult: {output} (next: swirlwright measure {output})")
    return DONE


def _study(case: Case, output: Path, watch: Watch, options: argparse.Namespace) -> None:
    from swirlwright.postproc.studies import study_grids, study_spread

    if options.grid_study:
        study_grids(case, output, watch)
    if options.spread:
        study_spread(case, output, watch)


def _measure(options: argparse.Namespace) -> int:
    from swirlwright.postproc.measures import measure

    _print(measure(options.result), options.json)
    return DONE


def _report(options: argparse.Namespace) -> int:
    from swirlwright.postproc.report import write_report

    output = options.output or Path(options.results[0].with_suffix(".html").name)
    if (reason := _unwritable_page(output, *options.results)) is not None:
        return _say(f"{output}: {reason}", WRONG_INPUT)
    write_report(options.results, output)
    return _say(f"report: {output}", DONE)


def _scale(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case
    from swirlwright.solver.scale_file import write_scaled
    from swirlwright.solver.scaling import scale

    case = read_case(options.case)
    scaled = scale(case, height=options.height, factor=options.factor, hold=options.hold, fans=options.fans)
    output = options.output or Path(scaled.case.path.name)
    if (reason := _unwritable(output, options.case)) is not None:
        return _say(f"{output}: {reason}", WRONG_INPUT)
    written, copied = write_scaled(scaled, output)
    if not options.solve:
        _print(scaled, options.json)
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
    _print(both, options.json)
    return DONE if both.is_converged else NOT_PASSED


def _say_written(output: Path, copied: list[Path]) -> None:
    _say(f"scaled case: {output} (next: swirlwright solve {output})", DONE)
    for path in copied:
        _say(f"fan file copied: {path}", DONE)


def _sweep(options: argparse.Namespace) -> int:
    from swirlwright.solver.progress import watcher
    from swirlwright.solver.study_file import read_study

    study = read_study(options.study)
    from swirlwright.postproc.sweep import default_folder, sweep
    from swirlwright.postproc.sweep_data import counted

    folder = options.output or default_folder(study)
    watch = watcher(quiet=options.quiet)
    data = sweep(
        study,
        folder,
        watch,
        workers=options.workers,
        retry_failed=options.retry_failed,
        scheduler=options.scheduler,
    )
    number, text = counted(data)
    text += f"\ndata set: {folder / 'sweep.h5'}, table: {folder / 'sweep.csv'}"
    if number["failed"]:
        return _say(f"{text}\n--retry-failed runs the failed ones again", FAILED)
    if number["not-converged"]:
        return _say(text, NOT_PASSED)
    watch.message(text)
    return DONE


def _drill(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case

    case = read_case(options.case)
    output = options.output or Path(options.case.with_suffix(".pdf").name)
    from swirlwright.postproc.drill_sheets import TABLE_START, drill, table_path

    table = table_path(output)
    starts = ((output, b"%PDF-"), (table, TABLE_START))
    for path, start in starts:
        if (reason := _unwritable(path, options.case) or _is_other(path, start)) is not None:
            return _say(f"{path}: {reason}", WRONG_INPUT)
    _print(drill(case, output, paper=options.paper, inches=options.inches), options.json)
    return _say(f"sheets: {output}\ntable of holes: {table}", DONE)


def _verify(options: argparse.Namespace) -> int:
    from swirlwright.solver.progress import watcher
    from swirlwright.verification.run import verify

    if options.report is not None and (reason := _unwritable_page(options.report)) is not None:
        return _say(f"{options.report}: {reason}", WRONG_INPUT)
    watch = watcher(quiet=options.quiet)
    try:
        found = verify(options.names, quick=options.quick, watch=watch)
    finally:
        watch.finish()
    _print(found, options.json)
    if options.report is not None:
        from swirlwright.verification.page import write_page

        write_page(found, options.report)
        _say(f"report: {options.report}", DONE)
    return DONE if found.passed else NOT_PASSED


def _print(value: Any, as_json: bool) -> None:
    """Print a value that has text() and as_json() on standard output."""
    if as_json:
        import json

        print(json.dumps(value.as_json(), indent=2, allow_nan=False))
    else:
        print(value.text())


def _is_other(output: Path, start: bytes) -> str | None:
    """Why a file that is there may not be replaced: only one of its own kind may. A slip must not cost data."""
    if not output.exists() or output.stat().st_size == 0:
        return None
    with open(output, "rb") as file:
        return None if file.read(len(start)) == start else "exists, is of another kind and is not replaced"


def _unwritable_page(output: Path, *inputs: Path) -> str | None:
    """As `_unwritable`; and only a page may be replaced by a page: a slip must not cost a case file."""
    if (reason := _unwritable(output, *inputs)) is not None or not output.exists() or output.stat().st_size == 0:
        return reason
    with open(output, "rb") as file:
        is_page = file.read(200).lstrip().lower().startswith((b"<!doctype html", b"<html"))
    return None if is_page else "exists, is no HTML page and is not replaced"


def _unwritable(output: Path, *inputs: Path) -> str | None:
    """Why a file cannot be written here, found before hours are spent; None if it can."""
    if not output.parent.is_dir():
        return f"must lie in a folder that exists, {output.parent} does not"
    if output.is_dir():
        return "must be a file, is a folder"
    if any(output.exists() and path.exists() and output.samefile(path) for path in inputs):
        return "must not be the input itself"
    target = output if output.exists() else output.parent
    return None if os.access(target, os.W_OK) else "must be a place that can be written"


if __name__ == "__main__":
    sys.exit(main())
