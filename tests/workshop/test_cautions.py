"""Cautions: one source for report, sheets and README, and sums that are right."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from workshop_cases import mixed, shipped

from swirlwright.postproc.cautions import GENERAL, LAST_WORD, WITH_FOG, carbon_dioxide, cautions
from swirlwright.postproc.workshop.power import fan_files_of

README = " ".join((Path(__file__).parents[2] / "README.md").read_text().split())


def here(case, subject: str) -> str:
    """What a case adds on a subject."""
    return next(caution.here for caution in cautions(case, fan_files_of(case)) if caution.subject == subject)


@pytest.mark.parametrize("text", [*GENERAL.values(), LAST_WORD])
def test_the_readme_has_every_caution(text):
    """Each sentence that always holds stands in the README, word for word."""
    assert text in README


def test_a_kilogram_of_dry_ice_becomes_half_a_cubic_metre():
    """At 20 degrees and sea level 1 kg of carbon dioxide takes 0.546 m3, from the molar volume at 0 degrees, 1 bar."""
    molar = 22.71095e-3 * 293.15 / 273.15 * 1e5 / 101325.0  # molar volume of an ideal gas, CODATA 2018
    assert carbon_dioxide(1.0) == pytest.approx(molar / 44.0095e-3, rel=1e-5)


def test_carbon_dioxide_is_set_against_the_room_and_the_limits():
    """In a room of 546.6 m3 one kg gives 1000 ppm; 4.58 kg reach 5000 ppm from fresh air, and 119 m3/h hold it."""
    text = here(shipped("table-top", {"air.room_volume": 546.6}), "Dry ice")
    assert "that alone is 1000 ppm" in text
    assert "Without ventilation 4.6 kg reach the first and 30 kg the second" in text
    assert "119 m³/h of outdoor air for each kg/h" in text
    for words in ("5000 ppm over 8 h (OSHA", "30000 ppm over 15 min (ACGIH", "40000 ppm immediately dangerous (NIOSH)"):
        assert words in text


def test_a_room_that_is_not_given_is_called_so():
    """Without a room volume the sum is for 100 m3, and says that the case gives none."""
    text = here(shipped("table-top"), "Dry ice")
    assert "a room of 100 m³ (air.room_volume is not given)" in text


def test_mountain_air_gives_more_gas():
    """At 2000 m the same ice takes more room, by the ratio of the pressures (79.5 kPa, U.S. Standard Atmosphere)."""
    texts = [here(shipped("hall", {"air.altitude": height}), "Dry ice") for height in (0, 2000)]
    gas = [float(re.findall(r"becomes ([\d.]+)", text)[0]) for text in texts]
    assert gas[1] / gas[0] == pytest.approx(101.325 / 79.495, rel=0.02)


def test_voltages_decide_who_wires():
    """Fans of 230 V are named as on the mains, those of 12 V as behind a power supply."""
    assert "on mains voltage: 1 x 250 mm axial fan" in here(shipped("hall"), "Electricity")
    assert "fans run on 12 V" in here(shipped("table-top"), "Electricity")


def test_a_case_without_a_guard_is_told_so():
    """Where the exhaust has no guard loss the caution asks for it; where it has one it does not."""
    assert "exhaust.guard_loss is 0" in here(mixed(), "Fans")
    assert "exhaust.guard_loss" not in here(shipped("hall"), "Fans")


@pytest.mark.parametrize("height, words", [(1.1, "half an inch"), (2.5, "within reach"), (3.5, "out of reach only")])
def test_reach_follows_the_height(height, words):
    """Below 7 ft a guard's openings are stated, below 2.7 m the fan is within reach, above it is not."""
    assert words in here(mixed({"chamber.height": height}), "Fans")


def test_the_push_that_tips_follows_the_shape():
    """A chamber twice as high as wide tips at a quarter of its weight, pushed at the roof."""
    assert "a push at the roof of 25 % of its weight" in here(mixed({"chamber.height": 3.2}), "Stability")


def test_without_fog_nothing_is_said_of_it():
    """A case without fog carries none of the cautions on fog; no case at all carries everything."""
    subjects = {caution.subject for caution in cautions(mixed({"fog": None}), {})}
    assert subjects == set(GENERAL) - set(WITH_FOG)
    assert {caution.subject for caution in cautions(None, {})} == set(GENERAL)
