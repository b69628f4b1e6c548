"""Verbs for the workshop: drill.

Everything heavy is imported inside the verb, so that `--help` and `check` stay quick.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from swirlwright.outputs import DONE, WRONG_INPUT, is_other, print_value, say, unwritable


def run_drill(options: argparse.Namespace) -> int:
    from swirlwright.solver.casefile import read_case

    case = read_case(options.case)
    output = options.output or Path(options.case.with_suffix(".pdf").name)
    from swirlwright.postproc.drill_sheets import TABLE_START, drill, table_path

    table = table_path(output)
    starts = ((output, b"%PDF-"), (table, TABLE_START))
    for path, start in starts:
        if (reason := unwritable(path, options.case) or is_other(path, start)) is not None:
            return say(f"{path}: {reason}", WRONG_INPUT)
    print_value(drill(case, output, paper=options.paper, inches=options.inches), options.json)
    return say(f"sheets: {output}\ntable of holes: {table}", DONE)
