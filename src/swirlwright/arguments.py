"""The command's verbs and their arguments: one function per verb."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TypeAlias

from swirlwright import __version__
from swirlwright.verbs_flow import run_check, run_measure, run_report, run_solve, run_verify
from swirlwright.verbs_studies import run_margin, run_scale, run_search, run_sweep
from swirlwright.verbs_workshop import run_calibrate, run_compare, run_drill, run_picture

MOST_DRAWS = 10_000

Verbs: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"


def parser() -> argparse.ArgumentParser:
    """Arguments of the command; `run` of what it parses is the verb's function."""
    top = argparse.ArgumentParser(
        prog="swirlwright",
        description="From a case file to a verdict: will a column of swirling air stand on the floor?",
    )
    top.add_argument("--version", action="version", version=f"swirlwright {__version__}")
    top.add_argument("--traceback", action="store_true", help="show the stack trace of an internal error")
    verbs = top.add_subparsers(dest="verb", metavar="VERB", required=True)
    for add in (
        _add_check,
        _add_solve,
        _add_measure,
        _add_report,
        _add_scale,
        _add_sweep,
        _add_margin,
        _add_search,
        _add_drill,
        _add_picture,
        _add_compare,
        _add_calibrate,
        _add_verify,
    ):
        add(verbs)
    return top


def _add_check(verbs: Verbs) -> None:
    check = verbs.add_parser("check", help="check a case, print its air network; solves no flow")
    check.add_argument("case", type=Path, metavar="CASE", help="case file (TOML)")
    check.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    check.set_defaults(run=run_check)


def _add_solve(verbs: Verbs) -> None:
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
    solve.set_defaults(run=run_solve)


def _add_measure(verbs: Verbs) -> None:
    measure = verbs.add_parser("measure", help="print the measures and the verdict of a result")
    measure.add_argument("result", type=Path, metavar="RESULT", help="result file")
    measure.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    measure.set_defaults(run=run_measure)


def _add_report(verbs: Verbs) -> None:
    report = verbs.add_parser("report", help="write one self-contained HTML page with the pictures")
    report.add_argument(
        "results",
        type=Path,
        nargs="+",
        metavar="RESULT",
        help="result files, data sets, folders of studies and margins",
    )
    report.add_argument(
        "--output", type=Path, metavar="FILE", help="page (default: the first result's name, .html, here)"
    )
    report.add_argument(
        "--measure", action="append", default=[], metavar="NAME", help="of a sweep: draw this measure; may be repeated"
    )
    report.add_argument(
        "--against",
        action="append",
        default=[],
        metavar="NAME",
        help="of a sweep: the parameter or measure to draw against; twice for a map",
    )
    report.set_defaults(run=run_report)


def _add_scale(verbs: Verbs) -> None:
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
    scale.set_defaults(run=run_scale)


def _add_margin(verbs: Verbs) -> None:
    margin = verbs.add_parser("margin", help="how far each knob of a chamber may move alone before touchdown changes")
    margin.add_argument("case", type=Path, metavar="CASE", help="case file (TOML)")
    margin.add_argument(
        "--output", type=Path, metavar="FOLDER", help="folder of the runs (default: the case's name, .margin, here)"
    )
    margin.add_argument(
        "--workers", type=_positive, metavar="N", help="runs at a time (default: the processors of this machine)"
    )
    margin.add_argument(
        "--sample",
        type=_draws,
        metavar="N",
        help="instead draw fans, holes, losses, voltage and the model's constants N times at once: how probable is "
        "touchdown, and what decides it",
    )
    margin.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    margin.add_argument("--quiet", action="store_true", help="no progress")
    margin.set_defaults(run=run_margin)


def _add_sweep(verbs: Verbs) -> None:
    sweep = verbs.add_parser("sweep", help="run all variants of a study, go on where it stopped, write one data set")
    sweep.add_argument("study", type=Path, metavar="STUDY", help="study file (TOML)")
    sweep.add_argument(
        "--output", type=Path, metavar="FOLDER", help="folder of the sweep (default: the study's name, .sweep, here)"
    )
    where = sweep.add_mutually_exclusive_group()
    where.add_argument(
        "--workers", type=_positive, metavar="N", help="variants at a time (default: the processors of this machine)"
    )
    where.add_argument("--scheduler", metavar="ADDRESS", help="dask scheduler whose workers run the variants instead")
    sweep.add_argument("--retry-failed", action="store_true", help="run variants again that failed")
    sweep.add_argument("--quiet", action="store_true", help="no progress")
    sweep.set_defaults(run=run_sweep)


def _add_search(verbs: Verbs) -> None:
    search = verbs.add_parser(
        "search", help="find the variant of a study that is least in its objective within its limits"
    )
    search.add_argument("study", type=Path, metavar="STUDY", help="study file (TOML) with [objective]")
    search.add_argument(
        "--output", type=Path, metavar="FOLDER", help="folder of the search (default: the study's name, .search, here)"
    )
    search.add_argument(
        "--workers", type=_positive, metavar="N", help="variants at a time (default: the processors of this machine)"
    )
    search.add_argument("--retry-failed", action="store_true", help="run variants again that failed")
    search.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    search.add_argument("--quiet", action="store_true", help="no progress")
    search.set_defaults(run=run_search)


def _add_drill(verbs: Verbs) -> None:
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
    drill.add_argument("--inches", action="store_true", help="inches for millimetres; cfm, inH2O and ft3 too")
    drill.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    drill.set_defaults(run=run_drill)


def _add_compare(verbs: Verbs) -> None:
    compare = verbs.add_parser("compare", help="measured points of a chamber beside the computed ones")
    compare.add_argument("result", type=Path, metavar="RESULT", help="result file")
    compare.add_argument("data", type=Path, metavar="DATA.csv", help="table of measured points")
    compare.add_argument("--output", type=Path, metavar="FILE", help="page (.html) or picture (.png) to write as well")
    compare.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    compare.set_defaults(run=run_compare)


def _add_calibrate(verbs: Verbs) -> None:
    calibrate = verbs.add_parser("calibrate", help="fit constants of a case to measured points, write the case anew")
    calibrate.add_argument("case", type=Path, metavar="CASE", help="case file (TOML)")
    calibrate.add_argument("data", type=Path, metavar="DATA.csv", help="table of measured points")
    calibrate.add_argument(
        "--output",
        type=Path,
        metavar="FILE",
        help="calibrated case (default: CASE-calibrated.toml, here); the flows solved are kept beside it, .runs",
    )
    calibrate.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    calibrate.add_argument("--quiet", action="store_true", help="no progress")
    calibrate.set_defaults(run=run_calibrate)


def _add_picture(verbs: Verbs) -> None:
    picture = verbs.add_parser("picture", help="show the chamber as a visitor sees it: a picture, or the run in motion")
    picture.add_argument("result", type=Path, metavar="RESULT", help="result file")
    picture.add_argument(
        "--output",
        type=Path,
        metavar="FILE",
        help="picture (.png) or animation (.gif, .mp4) (default: the result's name, .png, here)",
    )
    picture.add_argument(
        "--time", type=float, metavar="SECONDS", help="moment of the run that is shown; of an animation where it ends"
    )
    picture.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    picture.add_argument("--quiet", action="store_true", help="no progress")
    picture.set_defaults(run=run_picture)


def _add_verify(verbs: Verbs) -> None:
    verify = verbs.add_parser("verify", help="run the published checks, print computed beside published")
    verify.add_argument("names", nargs="*", metavar="NAME", help="groups or configurations (default: all)")
    verify.add_argument("--quick", action="store_true", help="only those of a few seconds, a minute in all")
    verify.add_argument("--json", action="store_true", help="print one JSON object, SI units")
    verify.add_argument("--report", type=Path, metavar="FILE", help="write one HTML page with a figure for each")
    verify.add_argument("--quiet", action="store_true", help="no progress")
    verify.set_defaults(run=run_verify)


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


def _draws(text: str) -> int:
    number = _positive(text)
    if number > MOST_DRAWS:
        raise argparse.ArgumentTypeError(f"must be at most {MOST_DRAWS}, got {text}")
    return number


def _positive(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"must be a whole number >= 1, got {text}")
    return int(text)
