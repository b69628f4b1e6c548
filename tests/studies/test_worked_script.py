"""Does the worked script of the README do what it shows?"""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import matplotlib
import pytest
import xarray as xr

ROOT = Path(__file__).parents[2]
FENCE = re.compile(r"```python\n(# worked script.*?)```", re.S)


def test_the_worked_script_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The script stands once in the README, runs as it stands, and ends in its sweep's data set and a picture."""
    scripts = FENCE.findall((ROOT / "README.md").read_text())
    assert len(scripts) == 1
    shutil.copytree(ROOT / "cases", tmp_path / "cases")
    monkeypatch.chdir(tmp_path)
    matplotlib.use("Agg")
    names: dict[str, Any] = {}
    exec(compile(scripts[0], "README.md", "exec"), names)
    matplotlib.pyplot.close("all")
    data = names["data"]
    assert isinstance(data, xr.Dataset) and data.sizes == {"aim": 3}
    assert not set(data["status"].values) - {"done", "not-converged"}
    same = data["peak_axial_velocity"].sel(aim=60).item()
    assert same == names["measures"].field.scalars()["peak_axial_velocity"]
    assert (tmp_path / "aim.png").stat().st_size > 5000
