"""Do mass and angular momentum close in the result file? Recomputed with h5py alone, torque from the case alone."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import h5py
import numpy as np
import pytest

import swirlwright
from swirlwright.solver.casefile import vary

CASES = Path(__file__).parents[2] / "cases"
COARSE = {"grid.cells_r": 24, "grid.cells_z": 36, "grid.core_spacing": None}
SHORT = {"run.spin_up": 1.0, "run.average": 2.0, "run.max_iterations": 5}
RUNS = {
    "table-top, averaged": ("table-top", {**COARSE, **SHORT}),
    "hall, averaged": ("hall", {**COARSE, **SHORT, "run.frame_interval": 0.5}),
    "start-up, transient over an event": (
        "start-up",
        {**COARSE, "run.end_time": 2.0, "events": [{"at": 1.2, "exhaust": 0.7}, {"at": 1.5, "supply": 0.5}]},
    ),
    "table-top, steady": (
        "table-top",
        {**COARSE, "model.closure": "constant", "model.viscosity_ratio": 400, "fog": None},
    ),
    "closed cylinder, steady": ("closed-cylinder", {"grid.cells_r": 24, "grid.cells_z": 36}),
    "laboratory, steady": ("laboratory", {}),
}


@pytest.fixture(scope="module", params=RUNS)
def solved(request, tmp_path_factory) -> tuple[str, Path]:
    """Each case solved coarsely into a file."""
    name, changes = RUNS[request.param]
    path = tmp_path_factory.mktemp("budget") / "run.h5"
    result = swirlwright.solve(vary(swirlwright.read_case(CASES / f"{name}.toml"), changes), path)
    if request.param.endswith("steady"):
        assert result.outcome.label == "steady", result.text
    return request.param, path


def cell_sums(file: h5py.File, radial: np.ndarray, axial: np.ndarray) -> np.ndarray:
    """Net outflow of every cell from the flows through its faces."""
    return radial[:, 1:] - radial[:, :-1] + axial[1:] - axial[:-1]


def volumes(file: h5py.File) -> np.ndarray:
    return np.pi * np.diff(file["z_face"][()])[:, None] * np.diff(file["r_face"][()] ** 2)[None, :]


def through_the_edge(radial: np.ndarray, axial: np.ndarray) -> float:
    """Net outflow of the whole chamber through side, ceiling and floor."""
    return float(radial[:, -1].sum() + axial[-1].sum() - axial[0].sum())


def test_mass_closes(solved):
    """What leaves through the edges is what the jets bring in, to 1e-10 of the exhaust flow; so it is in each cell."""
    _, path = solved
    with h5py.File(path) as file:
        radial, axial = file["mass_flux_r"][()], file["mass_flux_z"][()]
        source = file["mass_source"][()] * volumes(file)
        # Without an exhaust the largest flow through any height stands in for it.
        through = abs(float(axial[-1].sum())) or float(np.abs(axial).sum(axis=1).max())
        assert abs(through_the_edge(radial, axial) - source.sum()) < 1e-10 * through
        assert np.abs(cell_sums(file, radial, axial) - source).max() < 1e-10 * through


def test_angular_momentum_closes(solved):
    """Torque of the jets = outflow through edges and stress on walls + change stored, to 1e-6 of the torque."""
    _, path = solved
    with h5py.File(path) as file:
        radial = file["angular_momentum_flux_r_advective"][()] + file["angular_momentum_flux_r_viscous"][()]
        axial = file["angular_momentum_flux_z_advective"][()] + file["angular_momentum_flux_z_viscous"][()]
        volume = volumes(file)
        gain = (file["torque_source"][()] - file["angular_momentum_storage"][()]) * volume
        torque = float((file["torque_source"][()] * volume).sum())
        # Without jets, all that comes in through the edges is the measure.
        edges = np.concatenate((radial[:, -1], axial[-1], -axial[0]))
        scale = abs(torque) or float(-edges[edges < 0].sum())
        assert abs(through_the_edge(radial, axial) - gain.sum()) < 1e-6 * scale
        assert np.abs(cell_sums(file, radial, axial) - gain).max() < 1e-6 * scale


def test_storage_is_the_change_between_the_ends_of_the_window(solved):
    """The stored change in the file is density r (v at the end - v at the beginning) over the window's length."""
    name, path = solved
    if name.endswith("steady"):
        with h5py.File(path) as file:
            assert not file["angular_momentum_storage"][()].any()
        return
    with h5py.File(path) as file:
        begin, end = file.attrs["window_start"], file.attrs["window_end"]
        time, v = file["time"][()], file["tangential_velocity"]
        first, last = (int(np.argmin(np.abs(time - t))) for t in (begin, end))
        assert time[[first, last]] == pytest.approx([begin, end], abs=1e-9)
        change = file.attrs["density"] * file["r"][()] * (v[last] - v[first]) / (end - begin)
        np.testing.assert_allclose(file["angular_momentum_storage"][()], change, atol=1e-9 * np.abs(change).max())


@pytest.mark.parametrize("name", ["table-top", "hall"])
def test_torque_is_that_of_the_case(name, tmp_path):
    """Delivered plus lost torque is N m U d with d from the drawing, m and U from the holes' table, to 1e-12."""
    case_path = CASES / f"{name}.toml"
    path = tmp_path / "run.h5"
    changes = {**COARSE, "run.spin_up": 0.0, "run.average": 0.02, "run.max_iterations": 1}
    swirlwright.solve(vary(swirlwright.read_case(case_path), changes), path)
    (tubes,) = tomllib.loads(case_path.read_text())["tubes"]
    (row,) = tubes["rows"]
    distance = tubes["place_radius"]
    if isinstance(distance, str):
        distance = float(distance.removesuffix(" mm")) / 1000
    # Each tube on the drawing, its jets' direction turned from the tangent towards the axis, and x cross direction.
    arms = []
    for k in range(tubes["count"]):
        place, aim = math.radians(tubes["first_angle"] + 360.0 * k / tubes["count"]), math.radians(row["aim"])
        x, y = distance * math.cos(place), distance * math.sin(place)
        along_x = -math.sin(place) * math.cos(aim) - math.cos(place) * math.sin(aim)
        along_y = math.cos(place) * math.cos(aim) - math.sin(place) * math.sin(aim)
        arms.append(x * along_y - y * along_x)
    with h5py.File(path) as file:
        assert file["hole_tube"].size == tubes["count"] * row["count"]
        arm = np.array(arms)[file["hole_tube"][()]]
        expected = float((file["hole_mass_flow"][()] * file["hole_speed"][()] * arm).sum())
        assert file["hole_moment_arm"][()] == pytest.approx(arm, rel=1e-12)
        assert file.attrs["torque_delivered"] + file.attrs["torque_lost"] == pytest.approx(expected, rel=1e-12)
        delivered = float((file["torque_source"][()] * volumes(file)).sum())
        # The network follows the flow by a few per cent between the file's beginning and the averaging window.
        assert delivered == pytest.approx(file.attrs["torque_delivered"], rel=1e-9)
