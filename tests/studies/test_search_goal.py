"""What a search asks of its study, and what is refused."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from small_study import write_study

from swirlwright import cli
from swirlwright.postproc.searches.goal_reading import goal_of
from swirlwright.postproc.searches.space import point_at, space_of
from swirlwright.postproc.sweeps.store import Record
from swirlwright.solver.errors import InputError
from swirlwright.solver.study_file import read_study
from swirlwright.solver.study_goal import Constraint, Objective, Refinement
from swirlwright.solver.variants import Variant, case_of

CASES = Path(__file__).parents[2] / "cases"
TEXT = """
title = "A small search"
base = "case.toml"
[objective]
terms = { network_exhaust_flow = 1000, holes = 0.1 }
[[constraints]]
of = "network_jet_momentum"
at_least = "12 mN"
at_most = 1
[[parameters]]
name = "holes"
keys = ["tubes.1.rows.1.count", "tubes.1.rows.1.pitch"]
range = [[3, "150 mm"], [6, "60 mm"]]
[[parameters]]
name = "suction"
key = "exhaust.pressure"
range = [1, "4 Pa"]
spacing = "log"
[sample]
method = "sobol"
count = 4
[refinement]
rounds = 2
per_round = 2
"""


def test_linked_keys_keep_their_relation_at_whole_numbers(tmp_path: Path) -> None:
    """Beside a number of holes that was rounded stands the pitch that belongs to it; even ratios stay even."""
    study = read_study(write_study(tmp_path, TEXT))
    space = space_of(study)
    assert [axis.is_whole for axis in space.axes] == [True, False]
    places = space.snapped(np.array([[0.0, 0.0], [0.3, 0.5], [0.71, 1.0]]))
    points = [point_at(study, place) for place in places]
    assert points == [[(3, 0.15), (1.0,)], [(4, 0.12), (2.0,)], [(5, 0.09), (4.0,)]]


def test_objective_and_slacks_follow_from_the_record(tmp_path: Path) -> None:
    """The objective is the weighted sum in SI, a slack the way to its bound; what lacks a number has none."""
    text = TEXT.replace("holes = 0.1", 'holes = 0.1, hole_area = -1, tube_count = 1, "chamber.height" = 10')
    study = read_study(write_study(tmp_path, text))
    goal = goal_of(study)
    point = [(4, 0.12), (2.0,)]
    variant = Variant(0, {"holes": 4, "suction": 2.0}, case_of(study, point), "", None)
    numbers: dict[str, float | None] = {"network_exhaust_flow": 0.02, "network_jet_momentum": 0.011}
    answer = goal.answer(variant, Record("not-converged", numbers=numbers))
    assert answer.objective == pytest.approx(20 + 0.4 - 16 * math.pi / 4 * 0.005**2 + 4 + 6)
    assert answer.slacks == pytest.approx((-0.001, 0.989))
    assert not answer.is_feasible and not answer.is_converged
    numbers["network_jet_momentum"] = None
    assert goal.answer(variant, Record("done", numbers=numbers)).slacks == (None, None)
    assert goal.answer(variant, Record("failed", "crashed")).objective is None


def test_the_chance_of_the_objective_adds_up_in_squares(tmp_path: Path) -> None:
    """Terms with an error by chance give the objective one, each with its weight; the others add none."""
    terms = "{ touchdown_share = -3, core_radius = 4, holes = 1 }"
    study = read_study(write_study(tmp_path, TEXT.replace("{ network_exhaust_flow = 1000, holes = 0.1 }", terms)))
    record = Record("done", numbers={"touchdown_share_chance": 0.1, "core_radius_time_chance": 0.1})
    assert goal_of(study).chance(record) == pytest.approx(0.5)
    assert goal_of(study).chance(Record("done")) is None


def test_a_clearance_is_in_standard_errors(tmp_path: Path) -> None:
    """A limit with a clearance is broken within that many standard errors of it; without an error there is no slack."""
    limit = 'of = "touchdown_share"\nat_least = "60 %"\nclearance = 2'
    text = TEXT.replace('of = "network_jet_momentum"\nat_least = "12 mN"\nat_most = 1', limit)
    study = read_study(write_study(tmp_path, text))
    variant = Variant(0, {"holes": 4, "suction": 2.0}, case_of(study, [(4, 0.12), (2.0,)]), "", None)

    def slack(chance: float | None, outcome: str = "") -> float | None:
        numbers = {"network_exhaust_flow": 0.02, "touchdown_share": 0.7, "touchdown_share_chance": chance}
        return goal_of(study).answer(variant, Record("done", outcome=outcome, numbers=numbers)).slacks[0]

    assert [slack(0.04), slack(0.06)] == pytest.approx([0.02, -0.02])
    assert slack(None) is None and slack(None, "steady") == pytest.approx(0.1)


MISTAKES = {
    ("holes = 0.1", "holes = '1 W'"): "5: objective.terms.holes: must be its weight, a number",
    ("holes = 0.1", "touch = 1"): "5: objective.terms.touch: must be a measure",
    ("network_exhaust_flow", "network_exhaust_flw"): "did you mean network_exhaust_flow",
    ("holes = 0.1", "__import__ = 1"): "5: objective.terms.__import__: must be a measure",
    ("holes = 0.1", "fan_power = 1"): "5: objective.terms.fan_power: needs a fan",
    ("holes = 0.1", "network_supply_power = 1"): "5: objective.terms.network_supply_power: needs a fan",
    ('"12 mN"', '"12 mm"'): "8: constraints.1.at_least: must be a quantity convertible to N",
    ("at_most = 1", "at_most = 0.001"): "9: constraints.1.at_most: must not be below at_least, 0.012 N, got 0.001",
    ("at_most = 1", 'at_most = 1\n[[constraints]]\nof = "network_jet_momentum"\nat_least = 2'): (
        "12: constraints.2.at_least: must not be above at_most, 1 N, got 2"
    ),
    ("at_most = 1", 'at_most = 1\n[[constraints]]\nof = "touchdown_share"\nat_least = 60'): (
        '12: constraints.2.at_least: must be >= 0 and <= 1, a share, got 60; per cent are written "60 %"'
    ),
    ("at_most = 1", "clearance = 2"): "9: constraints.1.clearance: needs a standard error, which network_jet_mom",
    ("at_most = 1", "clearance = -1"): "9: constraints.1.clearance: must be >= 0",
    ("= 1000, holes = 0.1", "= 0"): "5: objective.terms: must have a weight other than 0",
    ('at_least = "12 mN"\nat_most = 1', ""): "6: constraints.1: must have at least one of at_least, at_most",
    ('of = "network_jet_momentum"', 'of = "verdict"'): "7: constraints.1.of: must be a measure",
    ('[sample]\nmethod = "sobol"\ncount = 4\n', ""): "sample: is required for a search|range: needs count",
    ("[objective]\nterms = { network_exhaust_flow = 1000, holes = 0.1 }", ""): "objective: is required for a search",
    ('range = [1, "4 Pa"]\nspacing = "log"', "values = [1, 2]"): "parameters.2.values: must be a range in a search",
    ('range = [1, "4 Pa"]', "range = [1, 1]"): "parameters.2.range.2: must differ",
    ('base = "case.toml"', 'base = "case.toml"\nstart = "neighbour"'): "4: start: must be .cold. in a search",
    ('name = "suction"', 'name = "fan_power"'): "parameters.2.name: must not be the name of a number",
    ("per_round = 2", "per_round = 0"): "24: refinement.per_round: must be >= 1",
    ("per_round = 2", "step = 2"): "24: refinement.step: unknown key",
}


@pytest.mark.parametrize("change", MISTAKES, ids=lambda change: change[1][:30])
def test_a_mistake_is_told_with_its_line(tmp_path: Path, capsys, change: tuple[str, str]) -> None:
    """A wrong study ends the verb in 2 with file, line, key and what is allowed, and nothing is written."""
    path = write_study(tmp_path, TEXT.replace(*change))
    before = sorted(tmp_path.iterdir())
    assert cli.main(["search", str(path), "--output", str(tmp_path / "out")]) == 2
    told = capsys.readouterr().err
    assert re.search(MISTAKES[change], told) and str(path) in told and "Traceback" not in told
    assert sorted(tmp_path.iterdir()) == before


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    """Wrong names in objective and constraints come in one message, in the order of the file."""
    text = TEXT.replace("holes = 0.1", "a = 1").replace("network_jet_momentum", "b")
    with pytest.raises(InputError) as error:
        goal_of(read_study(write_study(tmp_path, text)))
    assert [problem.key for problem in error.value.problems] == ["objective.terms.a", "constraints.1.of"]


def test_every_key_of_a_search_is_documented() -> None:
    """The keys of the tables that only a search reads, and no other, stand in cases/README.md."""
    section = (CASES / "README.md").read_text().split("\n## Study files\n")[1].split("\n## ")[0]
    tables = {"[objective]": Objective, "[[constraints]]": Constraint, "[refinement]": Refinement}
    for heading, model in tables.items():
        part = section.split(f"\n### `{heading}`\n")[1].split("\n### ")[0].split("\nA number is")[0]
        assert set(re.findall(r"^\| `(\w+)` \|", part, re.M)) == set(model.model_fields), heading


@pytest.mark.parametrize("name", ["least-power"])
def test_a_shipped_search_can_be_searched(name: str) -> None:
    """The shipped study has a goal whose numbers exist, and every corner of its box is a valid case."""
    study = read_study(CASES / "studies" / f"{name}.toml")
    goal, space = goal_of(study), space_of(study)
    assert goal.terms and goal.limits
    for corner in ([0.0] * len(space.axes), [1.0] * len(space.axes)):
        case_of(study, point_at(study, tuple(corner)))
