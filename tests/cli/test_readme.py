"""Does the README say what works?"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import matplotlib

from swirlwright.solver.casefile import read_case, vary

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()


def test_the_python_of_the_readme_runs(tmp_path, monkeypatch):
    """The README's Python lines run as they stand, here on a coarse grid for a short time."""
    code = re.search(r"```python\n(.*?)```", README, re.S)
    assert code is not None
    coarse = {"grid.cells_r": 16, "grid.cells_z": 24, "grid.core_spacing": None, "run.spin_up": 0.5, "run.average": 0.5}
    shutil.copytree(ROOT / "cases", tmp_path / "cases")
    case = vary(read_case(ROOT / "cases" / "table-top.toml"), {**coarse, "run.max_iterations": 3})
    (tmp_path / "cases" / "table-top.toml").write_text(case.text)
    monkeypatch.chdir(tmp_path)
    matplotlib.use("Agg")
    names: dict[str, object] = {}
    exec(compile(code[1], "README.md", "exec"), names)
    assert "mean_tangential_velocity" in names["flow"]  # type: ignore[operator]


def test_the_files_the_readme_points_to_exist():
    """Every local link and every shipped case named in the README is there."""
    links = re.findall(r"\]\(([^):]+)\)", README)
    assert links
    cases = re.findall(r"cases/[\w-]+\.toml", README)
    assert [name for name in (*links, *cases) if not (ROOT / name).exists()] == []
