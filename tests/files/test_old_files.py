"""Do results of past releases still serve, those of later ones where they can, and are the others refused?"""

from __future__ import annotations

import gzip
from pathlib import Path

import h5py
import numpy as np
import pytest

from swirlwright.cli import main
from swirlwright.postproc.measures import measure
from swirlwright.solver.casefile import parse_case, vary
from swirlwright.solver.errors import ResultError
from swirlwright.solver.outcome import Outcome
from swirlwright.solver.result_reading import load_result, open_result, read_restart
from swirlwright.solver.solve import solve

# Written by `swirlwright solve` of the release that made each format: a small chamber, three tenths of a second.
SOLVED = sorted((Path(__file__).parent / "data").glob("solved-*.h5.gz"))


def unpacked(packed: Path, folder: Path) -> Path:
    path = folder / packed.name.removesuffix(".gz")
    path.write_bytes(gzip.decompress(packed.read_bytes()))
    return path


@pytest.mark.parametrize("packed", SOLVED, ids=lambda path: path.name)
def test_a_result_of_a_past_release_serves(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is measured, reported, opened, and a run starts from its field."""
    path = unpacked(packed, tmp_path)
    monkeypatch.chdir(tmp_path)
    data = load_result(path)
    assert data.time.tolist() == pytest.approx([0.0, 0.1, 0.2, 0.3])
    assert np.abs(data.frames["tangential_velocity"][-1]).max() > 0.1
    assert measure(path).as_json()["outcome"] == "transient"
    assert main(["report", str(path), "--output", "page.html"]) == 0
    capsys.readouterr()
    with open_result(path) as opened:
        assert opened.sizes["time"] == 4
    case = parse_case(data.attributes["case_text"], tmp_path / "case.toml")
    again = vary(case, {"run.start_from": path.name, "run.end_time": 0.05, "run.frame_interval": 0.05})
    assert solve(again, tmp_path / "again.h5").outcome is Outcome.TRANSIENT
    v = load_result(tmp_path / "again.h5").frames["tangential_velocity"]
    assert np.array_equal(v[0], read_restart(path)["state"]["v"])


def test_a_result_of_a_later_minor_version_is_read(tmp_path: Path) -> None:
    """Variables, groups and attributes that a later minor version adds do not come between a file and its measures."""
    path = unpacked(SOLVED[-1], tmp_path)
    before = measure(path).as_json()
    with h5py.File(path, "r+") as file:
        file.attrs["format_version"] = "1.99"
        file.attrs["humidity"] = 0.4
        file["vorticity"] = np.zeros((4, 14, 10))
        file.create_group("humidity_budget")["inflow"] = 1.0
        file["history"].create_dataset("humidity", data=np.zeros(file["history/time"].shape[0]))
    assert measure(path).as_json() == before
    assert read_restart(path)["state"]["time"] > 0.0


@pytest.mark.parametrize("version", ["2.0", "0.9", "10.0", "", "next", None])
def test_a_version_that_is_not_known_is_refused(tmp_path: Path, version: str | None) -> None:
    """Another major version, no version or one that is no number is refused, with what is read here."""
    path = unpacked(SOLVED[-1], tmp_path)
    with h5py.File(path, "r+") as file:
        del file.attrs["format_version"]
        if version is not None:
            file.attrs["format_version"] = version
    words = r"solved-.*is unknown here; this release reads 1\.x \(it writes 1\.\d+\)"
    for reader in (load_result, open_result, read_restart):
        with pytest.raises(ResultError, match=words):
            reader(path)
