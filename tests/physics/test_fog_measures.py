"""Measures of the fog: what is seen, what rises in the column, what the air could take up."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import swirlwright
from swirlwright.postproc.core import Core
from swirlwright.postproc.flow_numbers import FieldMeasures
from swirlwright.postproc.fog.column import disturbing_flow, froude_number
from swirlwright.postproc.fog.evaporation import evaporation, saturation_pressure
from swirlwright.postproc.fog.sight import Eyes, extinction_coefficient
from swirlwright.postproc.measures import Measures, measure
from swirlwright.solver.casefile import vary

TABLE_TOP = swirlwright.read_case(Path(__file__).parents[2] / "cases" / "table-top.toml")
TINY = {"grid.cells_r": 16, "grid.cells_z": 24, "grid.core_spacing": None}


@pytest.fixture(scope="module")
def foggy(tmp_path_factory: pytest.TempPathFactory) -> Measures:
    """A short transient of the table-top chamber with plenty of fog, measured."""
    changes = {"run.mode": "transient", "run.end_time": 3.0, "fog.flow": 1e-3, "fog.liquid_content": 0.1}
    output = tmp_path_factory.mktemp("fog") / "tiny.h5"
    swirlwright.solve(vary(TABLE_TOP, {**TINY, **changes}), output)
    return measure(output)


def test_extinction_is_that_of_fog_in_the_handbook() -> None:
    """Fog of 0.1 g/m3 in droplets of 10 um takes 0.03 per metre: Koschmieder's 3.912/that is a sight of 130 m."""
    assert extinction_coefficient(1e-4, 1e-5) == pytest.approx(0.03, rel=1e-12)
    assert extinction_coefficient(1e-4, 0.0) == 0.0


def test_thin_gaussian_column_is_seen_as_its_projection() -> None:
    """Of exp(-r^2/a^2) the contrast on the axis is 1 - exp(-sqrt(pi) a k), half of it lies at a sqrt(ln 2)."""
    faces = np.linspace(0.0, 0.2, 201)
    r = 0.5 * (faces[1:] + faces[:-1])
    a, k = 0.03, 0.7
    seen = Eyes(faces, 0.18).look(k * np.exp(-((r / a) ** 2))[None, :])
    assert seen.depth[0] == pytest.approx(math.sqrt(math.pi) * a * k, rel=1e-3)
    assert seen.contrast[0] == pytest.approx(1.0 - math.exp(-math.sqrt(math.pi) * a * k), rel=1e-3)
    assert seen.radius[0] == pytest.approx(a * math.sqrt(math.log(2.0)), abs=0.18 / 160)


def test_fog_all_over_shows_no_column() -> None:
    """Level fog has no contrast however thick, and a column in thick fog has less than one in clear air."""
    faces = np.linspace(0.0, 0.2, 81)
    r = 0.5 * (faces[1:] + faces[:-1])
    column = np.exp(-((r / 0.02) ** 2))
    eyes = Eyes(faces, 0.15)
    assert np.abs(eyes.look(5.0 * np.ones((2, 80))).contrast).max() < 1e-12
    clear, hazy = eyes.look(np.stack([column, column + 5.0])).contrast
    assert hazy == pytest.approx(clear * math.exp(-5.0 * 0.4), rel=1e-2)
    assert not eyes.look(np.zeros((1, 80))).is_visible.any()


def test_room_air_takes_up_what_the_psychrometric_chart_says() -> None:
    """Saturation at 20 degC is 2339 Pa; air of 20 degC and 50 % cools to 13.8 degC and takes up 2.6 g/kg."""
    # IAPWS 1995, printed to a pascal; the formula is good to 0.3 %.
    assert saturation_pressure(293.15) == pytest.approx(2339.0, rel=3e-3)
    # Psychrometric chart at sea level, read to 0.1 K and 0.1 g/kg.
    room = evaporation(293.15, 0.5, pressure=101325.0, density=1.2, droplet_diameter=5e-6)
    assert room.saturated_temperature - 273.15 == pytest.approx(13.8, abs=0.1)
    assert room.uptake / 1.2 == pytest.approx(2.6e-3, abs=1e-4)
    damp = evaporation(293.15, 1.0, pressure=101325.0, density=1.2, droplet_diameter=5e-6)
    assert damp.uptake == pytest.approx(0.0, abs=1e-12) and damp.droplet_life == math.inf


def test_froude_number_has_its_form() -> None:
    """w/sqrt(g' H): four times the excess halves it; fog that is not heavy has none, with a reason."""
    reasons: dict[str, str] = {}
    heavy = froude_number(1.0, 0.02, 0.6, reasons)
    assert heavy == pytest.approx(1.0 / math.sqrt(9.81 * 0.02 * 0.6), rel=1e-12) and not reasons
    assert froude_number(1.0, 0.08, 0.6, reasons) == pytest.approx(0.5 * heavy, rel=1e-12)
    assert froude_number(1.0, -0.02, 0.6, reasons) is None and "no heavier" in reasons["froude_number"]


def test_foot_is_disturbed_by_more_than_it_draws() -> None:
    """The estimate is pi r^2 w of core or inlet, the lesser; under a disc that of the core; without a foot none."""
    z = np.array([0.01, 0.02])
    core = Core(z, np.array([0.01, 0.012]), np.ones(2), 0.0, "")
    m = FieldMeasures(core=core, foot_axial_velocity=0.3)
    drawn = math.pi * 0.01**2 * 0.3
    wide, narrow = vary(TABLE_TOP, {"fog.radius": 0.03}), vary(TABLE_TOP, {"fog.radius": 0.005})
    disc = vary(TABLE_TOP, {"fog.radius": 0.005, "fog.diffuser_radius": 0.05})
    assert disturbing_flow(wide, m, {}) == pytest.approx(drawn)
    assert disturbing_flow(narrow, m, {}) == pytest.approx(drawn / 4.0)
    assert disturbing_flow(disc, m, {}) == pytest.approx(drawn)
    reasons: dict[str, str] = {}
    assert disturbing_flow(wide, replace(m, foot_axial_velocity=None), reasons) is None
    assert "no foot" in reasons["disturbing_flow"]


def test_fog_of_a_run_is_accounted_for(foggy: Measures) -> None:
    """What comes in of a run is, to 1e-8, what lands, leaves and stays, and no more rises in the column than that."""
    fog = foggy.fog
    assert fog is not None and fog.flows is not None and fog.wetting is not None
    gone = sum(flow for name, flow in fog.flows.items() if name != "in")
    assert gone == pytest.approx(fog.flows["in"], rel=1e-8)
    assert fog.wetting["floor"] == pytest.approx(0.1 * fog.flows["floor"], rel=1e-12)
    assert fog.column_share is not None and 0.0 < fog.column_share < 1.0


def test_round_off_in_the_ledger_is_no_number(foggy: Measures) -> None:
    """A way that 4e-15 of the fog takes, in or out, is told as next to nothing, with no mass."""
    fog = foggy.fog
    assert fog is not None and fog.flows is not None
    text = "\n".join(replace(fog, flows=fog.flows | {"panels": -4e-15 * fog.flows["in"], "stored": 0.0}).lines())
    assert re.search(r"liquid: panels +< 0.01 % of the fog$", text, re.MULTILINE)
    assert re.search(r"gained by the chamber meanwhile +< 0.01 % of the fog$", text, re.MULTILINE)


def test_column_shows_within_the_run(foggy: Measures) -> None:
    """Thick fog is told at mid-height from some frame on, within the chamber's curtain, and the sheet says when."""
    fog = foggy.fog
    assert fog is not None and fog.show_time is not None and 0.0 < fog.show_time < 3.0
    seen = fog.sight.radius[np.isfinite(fog.sight.radius)]
    assert seen.size and seen.max() <= foggy.chamber.curtain_edge
    assert f"{fog.show_time:.2f} s" in next(line for line in fog.lines() if "time until it shows" in line)


def test_sheet_and_json_carry_the_fog(foggy: Measures) -> None:
    """The measures print their fog with its cautions, and give it as plain JSON."""
    assert foggy.fog is not None
    found = json.loads(json.dumps(foggy.as_json()))["fog"]
    assert found["column_share"] == pytest.approx(foggy.fog.column_share)
    assert len(found["contrast"]) == len(found["height_m"]) == 24
    assert "fog flow above which the foot is disturbed" in foggy.text()
    assert any(w.startswith("heavy fog") for w in foggy.warnings)
