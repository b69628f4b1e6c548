"""Are draughts and unequal tubes estimated as postproc/README.md says?"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from swirlwright.postproc.asymmetry import asymmetry_of
from swirlwright.postproc.flow_numbers import FieldMeasures
from swirlwright.postproc.measures import measure
from swirlwright.postproc.report import write_report
from swirlwright.solver.result_reading import ResultData, load_result

INFLOW = 0.02  # kg/s


@pytest.fixture
def data(make_field, write_fields, tmp_path) -> ResultData:
    """A result of a square chamber, half open below 0.3 m, air in through the lower half and out through the upper."""
    field = make_field(
        n_r=40,
        n_z=40,
        v=lambda r, z: 0.06 / r * (1 - np.exp(-((r / 0.0116) ** 2))) + 0 * z,
        w=lambda r, z: np.exp(-((r / 0.03) ** 2)) * (0.1 + z),
    )
    found = load_result(write_fields(tmp_path / "a.h5", [field], [0.0]))
    share = np.where(field.z < 0.3, 0.5, 0.0)
    flux = np.zeros((40, 41))
    rows = np.flatnonzero(share)
    flux[rows, -1] = -INFLOW / rows.size
    # Leaks of the closed part do not count as the sides' inflow.
    flux[rows[-1] + 1 :, -1] = -0.001
    angles = np.radians([45, 135, 225, 315])
    places = {
        "side_open_fraction": share,
        "tube_x": 0.2 * np.cos(angles),
        "tube_y": 0.2 * np.sin(angles),
        "hole_tube": np.array([0, 1, 2, 3, 0, 1, 2, 3]),
        "hole_moment_arm": np.full(8, 0.12),
        "hole_elevation": np.zeros(8),
        "hole_mass_flow": np.full(8, 1e-4),
        "hole_speed": np.full(8, 10.0),
    }
    attributes = found.attributes | {"chamber_width": 0.35, "footprint": "square", "exhaust_flow": 0.015}
    return replace(found, attributes=attributes, places=places, budget=found.budget | {"mass_flux_r": flux})


CORE = FieldMeasures(core_circulation=0.4)


def test_the_draught_is_set_against_the_inflow_of_the_open_sides(data, chamber) -> None:
    """The ratio is draught times open area over inflow; on the true perimeter of a square box."""
    found = asymmetry_of(data, chamber, CORE)
    bottom = float(np.diff(data.z_face)[data.places["side_open_fraction"] > 0].sum())
    speed = INFLOW / 1.2 / (0.5 * 4 * 0.35 * bottom)
    assert found.inflow_speed == pytest.approx(speed, rel=1e-12)
    assert found.draught_ratio == pytest.approx(0.15 / speed, rel=1e-12)
    other = replace(data, attributes=data.attributes | {"room_draught": 0.3})
    assert asymmetry_of(other, chamber, CORE).draught_ratio == pytest.approx(0.3 / speed, rel=1e-12)


@pytest.mark.parametrize("draught, is_told", [(0.03, False), (0.05, True)])
def test_above_one_half_is_a_caution(data, chamber, draught: float, is_told: bool) -> None:
    """A draught of more than half the inflow speed is a caution, one of less is not; both are said."""
    speed = asymmetry_of(data, chamber, CORE).inflow_speed
    ratio = draught / speed
    assert (ratio > 0.5) == is_told
    found = asymmetry_of(replace(data, attributes=data.attributes | {"room_draught": draught}), chamber, CORE)
    assert any(text.startswith("draughts: ") for text in found.cautions()) == is_told
    assert f"is {ratio:.2g} times the mean inflow" in found.lines()[0]


def test_equal_tubes_do_not_push_and_a_blocked_one_leaves_its_share(data, chamber) -> None:
    """Four equal tubes push nowhere; with one blocked, the rest push as much as that one did."""
    found = asymmetry_of(data, chamber, CORE)
    assert found.push < 1e-15 and not found.is_pushed
    assert found.push_one_blocked == pytest.approx(2 * 1e-4 * 10.0, rel=1e-12)
    # 2 pi r_e^2 F/(rho Gamma Q)
    offset = 2 * math.pi * 0.04**2 * 2e-3 / (1.2 * 0.4 * 0.015)
    assert found.offset_one_blocked == pytest.approx(offset, rel=1e-12)
    assert "as built none, the tubes are equal; with one tube blocked 3 mm" in found.lines()[1]
    assert not any("unequal" in text for text in found.cautions())


def test_a_blocked_tube_is_seen_and_cautioned(data, chamber) -> None:
    """Where one tube does not blow, the column is pushed as by one blocked, and the verdict carries a caution."""
    flow = np.where(data.places["hole_tube"] == 2, 0.0, data.places["hole_mass_flow"])
    found = asymmetry_of(replace(data, places=data.places | {"hole_mass_flow": flow}), chamber, CORE)
    assert found.push == pytest.approx(2e-3, rel=1e-12) and found.is_pushed
    assert any(text.startswith("unequal tubes: ") for text in found.cautions())
    weak = asymmetry_of(replace(data, places=data.places | {"hole_mass_flow": flow}), chamber, FieldMeasures())
    assert weak.offset is None and "no core" in weak.lines()[1]


def test_a_single_tube_pushes(data, chamber) -> None:
    """One tube alone pushes with all it blows, is cautioned, and no blocked one is spoken of."""
    only = {name: data.places[name][:1] for name in ("tube_x", "tube_y")}
    only |= {name: data.places[name][[0, 4]] for name in data.places if name.startswith("hole_")}
    found = asymmetry_of(replace(data, places=data.places | only), chamber, CORE)
    assert found.push == pytest.approx(2e-3, rel=1e-12) and found.is_pushed
    assert "as built 3 mm; a fan off centre" in found.lines()[1]
    assert found.as_json()["column_offset"]["one_tube_blocked_m"] is None
    assert any(text.startswith("a single tube: its jets push") for text in found.cautions())


def test_a_column_pushed_beyond_the_exhaust_is_not_held(data, chamber) -> None:
    """An offset of more than the exhaust's radius is not given as a length."""
    strong = data.places | {"hole_speed": np.full(8, 400.0)}
    found = asymmetry_of(replace(data, places=strong), chamber, CORE)
    assert found.offset_one_blocked > 0.04
    assert "more than the exhaust's radius of 40 mm, so that it is not held" in found.lines()[1]


def test_the_offset_is_a_jet_s_push_on_the_plan(data, chamber) -> None:
    """One tube at the right, aimed along the tangent, pushes to the back; aimed inward it pushes to the left."""
    for arm, push in ((0.2, (0.0, 1.0)), (0.0, (-1.0, 0.0)), (-0.2, (0.0, -1.0))):
        places = {
            **{name: np.array([value]) for name, value in (("tube_x", 0.2), ("tube_y", 0.0), ("hole_tube", 0.0))},
            **{name: np.array([value]) for name, value in (("hole_moment_arm", arm), ("hole_elevation", 0.0))},
            **{name: np.array([1.0]) for name in ("hole_mass_flow", "hole_speed")},
        }
        from swirlwright.postproc.asymmetry import _pushes

        assert _pushes(places)[0] == pytest.approx(push, abs=1e-12)


def test_every_verdict_says_it(make_field, write_fields, tmp_path: Path) -> None:
    """Sheet, JSON and report of any result have the draught and the offset, or why there is none."""
    path = write_fields(tmp_path / "a.h5", [make_field(n_r=20, n_z=20, v=lambda r, z: r + 0 * z)], [0.0])
    m = measure(path)
    found = m.as_json()
    json.dumps(found, allow_nan=False)
    assert found["draught_ratio"] is None and found["not_applicable"]["draught_ratio"] == "no side is open to the room"
    assert found["not_applicable"]["column_offset"] == "there are no jets"
    for text in (m.text(), write_report(path, tmp_path / "a.html").read_text()):
        assert "Draughts: none to name, no side is open to the room." in text
        assert "Offset of the column: not estimated, there are no jets." in text
