"""A small study: six variants of a small chamber, under half a second of flow each on 16 x 24 cells."""

from __future__ import annotations

import re
from pathlib import Path

from small import TEXT

STUDY = """
title = "A small study"
base = "case.toml"
[[parameters]]
name = "lowest_jet"
keys = ["tubes.1.rows.1.lowest", "tubes.1.rows.1.pitch"]
values = [["30 mm", "100 mm"], [0.08, 0.09], [0.13, 0.08]]
[[parameters]]
name = "suction"
key = "exhaust.pressure"
values = [1.5, "3 Pa"]
"""


def write_study(folder: Path, text: str = STUDY, end_time: float = 0.4) -> Path:
    """Write a study beside its base case, which runs up to `end_time` [s]."""
    case = TEXT.split("[[events]]")[0].replace("end_time = 2.6", f"end_time = {end_time}")
    (folder / "case.toml").write_text(re.sub(r"\n(probes|lines) = .*", "", case))
    (folder / "small.toml").write_text(text)
    return folder / "small.toml"
