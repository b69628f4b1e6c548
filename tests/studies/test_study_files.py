"""From a study file to its variants, and what is refused."""

from __future__ import annotations

import re
import shutil
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from small_study import STUDY, write_study

from swirlwright import cli
from swirlwright.solver.case_keys import kind_of
from swirlwright.solver.casefile import read_case
from swirlwright.solver.errors import InputError
from swirlwright.solver.study_file import Derived, Parameter, Sample, Study, read_study
from swirlwright.solver.variants import variants_of

CASES = Path(__file__).parents[2] / "cases"
HEAD = 'title = "t"\nbase = "case.toml"\n'
SAMPLE = """
[[parameters]]
name = "height"
key = "chamber.height"
range = ["0.6 m", 1.2]
[[parameters]]
name = "foot"
key = "tubes.1.rows.1.lowest"
of = "chamber.height"
range = [0.02, 0.1]
spacing = "log"
[[parameters]]
name = "closure"
key = "model.closure"
values = ["mixing-length", "spalart-allmaras"]
[[derived]]
key = "tubes.1.rows.1.pitch"
of = "chamber.height"
factor = 0.15
[sample]
method = "METHOD"
count = 24
seed = 7
"""


def test_a_product_runs_over_all_values_the_last_fastest(tmp_path: Path) -> None:
    """Values with units become SI, linked keys move together, and every combination is there once, in order."""
    variants = variants_of(read_study(write_study(tmp_path)))
    points = [(v.values["lowest_jet"], v.values["suction"]) for v in variants]
    assert points == [(h, p) for h in (0.03, 0.08, 0.13) for p in (1.5, 3.0)]
    rows = [v.case.tubes[0].rows[0] for v in variants if v.case is not None]
    assert [(row.lowest, row.pitch) for row in rows] == [
        p for p in ((0.03, 0.1), (0.08, 0.09), (0.13, 0.08)) for _ in "ab"
    ]
    assert [v.neighbour for v in variants] == [None] * 6


@pytest.mark.parametrize(
    "lines, values",
    [
        ('range = ["10 mm", 0.05]\ncount = 5', [0.01, 0.02, 0.03, 0.04, 0.05]),
        ("range = [0.01, 0.04]\ncount = 3\nspacing = 'log'", [0.01, 0.02, 0.04]),
        ("range = [0.01, 0.04]\ncount = 1", [0.01]),
    ],
)
def test_a_range_is_its_ends_and_what_lies_between(tmp_path: Path, lines: str, values: list[float]) -> None:
    """A range gives `count` values from one end to the other, evenly in the value or in its logarithm."""
    study = read_study(write_study(tmp_path, f'{HEAD}[[parameters]]\nname = "a"\nkey = "fog.radius"\n{lines}\n'))
    assert [v.values["a"] for v in variants_of(study)] == values


def test_whole_numbers_of_a_range_stay_whole(tmp_path: Path) -> None:
    """A range of a key that counts gives whole numbers, and is refused where they would be equal."""
    text = HEAD + '[[parameters]]\nname = "holes"\nkey = "tubes.1.rows.1.count"\nrange = [2, 6]\ncount = {}\n'
    assert [v.values["holes"] for v in variants_of(read_study(write_study(tmp_path, text.format(3))))] == [2, 4, 6]
    with pytest.raises(InputError, match="small.toml:7: parameters.1.count: makes equal values"):
        read_study(write_study(tmp_path, text.format(6)))


@pytest.mark.parametrize("method", ["latin-hypercube", "sobol"])
def test_a_sample_is_fixed_by_its_seed_and_fills_its_ranges(tmp_path: Path, method: str) -> None:
    """The same seed gives the same variants, another gives others; every tenth of a range is visited; derived hold."""
    text = HEAD + SAMPLE.replace("METHOD", method)
    variants = variants_of(read_study(write_study(tmp_path, text)))
    again = variants_of(read_study(write_study(tmp_path, text)))
    other = variants_of(read_study(write_study(tmp_path, text.replace("seed = 7", "seed = 8"))))
    assert [v.values for v in variants] == [v.values for v in again] != [v.values for v in other]
    heights = np.array([v.values["height"] for v in variants])
    shares = np.array([v.values["foot"] for v in variants])
    assert np.unique(np.floor((heights - 0.6) / 0.06)).tolist() == list(range(10))
    assert np.unique(np.floor(10 * np.log(shares / 0.02) / np.log(5))).tolist() == list(range(10))
    assert {v.values["closure"] for v in variants} == {"mixing-length", "spalart-allmaras"}
    for v in variants:
        assert v.case is not None
        row = v.case.tubes[0].rows[0]
        assert row.lowest == pytest.approx(v.values["foot"] * v.case.chamber.height)
        assert row.pitch == pytest.approx(0.15 * v.case.chamber.height)


def test_every_whole_number_of_a_sampled_range_is_as_likely(tmp_path: Path) -> None:
    """Of 40 draws in even strata each of five numbers gets eight, the ends too; with even ratios the small get more."""
    text = HEAD + '[[parameters]]\nname = "holes"\nkey = "tubes.1.rows.1.count"\nrange = [2, 6]\n{}\n'
    text += '[sample]\nmethod = "latin-hypercube"\ncount = 40\n'
    drawn = [v.values["holes"] for v in variants_of(read_study(write_study(tmp_path, text.format(""))))]
    assert Counter(drawn) == dict.fromkeys(range(2, 7), 8)
    even_ratios = text.format("spacing = 'log'")
    drawn = [v.values["holes"] for v in variants_of(read_study(write_study(tmp_path, even_ratios)))]
    for number, count in Counter(drawn).items():
        assert count == pytest.approx(40 * np.log((number + 0.5) / (number - 0.5)) / np.log(6.5 / 1.5), abs=1)


def test_a_number_is_read_after_it_is_set(tmp_path: Path) -> None:
    """Multiples of keys and of properties hold in the variant's case, in whatever order the study lists them."""
    text = (
        f"{HEAD}[[parameters]]\nname = 'share'\nkey = 'fog.radius'\nof = 'tubes.1.rows.1.pitch'\nvalues = [0.2, 0.3]\n"
    )
    for key, of, factor in (
        ("exhaust.hub_diameter", "chamber.open_area", 0.2),
        ("tubes.1.rows.1.pitch", "tubes.1.rows.1.lowest", 1.5),
        ("tubes.1.rows.1.lowest", "chamber.height", 0.1),
        ("chamber.open_to", "chamber.height", 0.5),
    ):
        text += f"[[derived]]\nkey = '{key}'\nof = '{of}'\nfactor = {factor}\n"
    for variant, share in zip(variants_of(read_study(write_study(tmp_path, text))), (0.2, 0.3), strict=True):
        case = variant.case
        assert case is not None and case.exhaust is not None and case.fog is not None
        row = case.tubes[0].rows[0]
        assert (row.lowest, row.pitch, case.fog.radius) == pytest.approx((0.06, 0.09, share * 0.09))
        assert case.exhaust.hub_diameter == pytest.approx(0.2 * 2 * 0.36 * 0.3)


def test_what_stands_in_place_of_another_key_is_varied(tmp_path: Path) -> None:
    """A fan that is taken out leaves the flow of the exhaust to be varied; nothing else of the case changes."""
    text = 'title = "t"\nbase = "../table-top.toml"\nwithout = ["exhaust.fan", "exhaust.fan_speed_ratio"]\n'
    text += '[[parameters]]\nname = "drawn"\nkey = "exhaust.flow"\nvalues = ["36 m3/h", "54 m3/h"]\n'
    (tmp_path / "studies").mkdir()
    (tmp_path / "studies" / "flow.toml").write_text(text)
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    base = read_case(shutil.copy(CASES / "table-top.toml", tmp_path))
    for variant, flow in zip(variants_of(read_study(tmp_path / "studies" / "flow.toml")), (0.01, 0.015), strict=True):
        assert variant.case is not None and variant.case.exhaust is not None and base.exhaust is not None
        assert variant.case.exhaust.fan is None and variant.case.exhaust.flow == pytest.approx(flow)
        assert variant.case.model_dump(exclude={"exhaust"}) == base.model_dump(exclude={"exhaust"})


def test_a_neighbour_follows_from_the_study_alone(tmp_path: Path) -> None:
    """In a product it is one step back along the last parameter that can; in a sample it is an earlier variant."""
    warm = STUDY.replace("[[par", 'start = "neighbour"\n[[par', 1)
    assert [v.neighbour for v in variants_of(read_study(write_study(tmp_path, warm)))] == [None, 0, 0, 2, 2, 4]
    sample = HEAD + 'start = "neighbour"\n' + SAMPLE.replace("METHOD", "sobol")
    variants = variants_of(read_study(write_study(tmp_path, sample)))
    assert variants[0].neighbour is None
    assert all(v.neighbour is not None and v.neighbour < v.index for v in variants[1:])


def test_a_variant_that_cannot_be_built_is_told_and_the_others_stay(tmp_path: Path) -> None:
    """A value that makes no valid case leaves its variant with the reason; where none is, the study is refused."""
    study = read_study(write_study(tmp_path, STUDY.replace("[0.13, 0.08]", "[0.13, 0.2]")))
    variants = variants_of(study)
    assert [v.case is None for v in variants] == [False] * 4 + [True] * 2
    assert "must be below the ceiling at 0.6 m" in variants[5].reason
    assert ".toml" not in variants[5].reason
    with pytest.raises(InputError, match="must be below the ceiling"):
        variants_of(read_study(write_study(tmp_path, re.sub(r"values = \[\[.*", "values = [5, 6]", STUDY))))


A = "[[parameters]]\nname = 'a'\n"
FOG = f"{A}key = 'fog.radius'\n"
TWICE_A = "[[derived]]\nkey = 'fog.radius'\nof = 'a'\nfactor = 2\n"
CIRCLE = (
    "[[derived]]\nkey = 'tubes.1.rows.1.pitch'\nof = 'tubes.1.rows.1.lowest'\nfactor = 1\n"
    "[[derived]]\nkey = 'tubes.1.rows.1.lowest'\nof = 'tubes.1.rows.1.pitch'\nfactor = 1\n"
)
MISTAKES = {
    f"{A}key = 'fog.radios'\nvalues = [1]": "5: parameters.1.key: leads to no key of a case",
    f"{A}key = 'exhaust.fanspeed_ratio'\nvalues = [1]": "5: parameters.1.key: leads to no key of a case that holds a "
    "value, got 'exhaust.fanspeed_ratio'; did you mean exhaust.fan_speed_ratio?\n",
    f"{FOG}values = [1]\n[fixed.exhuast]\nflow = 1": "8: fixed.exhuast.flow: leads to no key of a case that holds a "
    "value; did you mean exhaust?\n",
    f"{A}key = 'fog'\nvalues = [1]": "5: parameters.1.key: leads to no key of a case",
    f"{A}key = 'tubes.0.count'\nvalues = [1]": "5: parameters.1.key: leads to no key of a case",
    f"{FOG}values = [0.1, '2 kg']": "6: parameters.1.values.2: must be a quantity convertible to m",
    f"{FOG}values = [0.1, -2]": "6: parameters.1.values.2: must be > 0 and",
    f"{FOG}values = [0.1, '10 cm']": "6: parameters.1.values.2: must differ",
    FOG: "3: parameters.1: must have exactly one of values, range",
    f"{A}values = [1]": "3: parameters.1: must have exactly one of key, keys",
    f"{FOG}range = [1, 2]": "6: parameters.1.range: needs count",
    f"{FOG}range = [1, 2]\n[sample]\nmethod = 'saltelli'\ncount = 12": "9: sample.count: must be a power of two",
    f"{FOG}range = [1, 2]\ncount = 0": "7: parameters.1.count: must be >= 1 and <= 10000",
    f"{A}key = 'model.closure'\nvalues = ['dns']": "6: parameters.1.values.1: must be 'laminar'",
    "[[parameters]]\nname = 'a b'\nkey = 'fog.radius'\nvalues = [1]": "4: parameters.1.name: must be at most 60 small",
    f"{FOG}value = [1]": "6: parameters.1.value: unknown key; did you mean",
    f"{FOG}of = 'chamber.hite'\nvalues = [1]": "6: parameters.1.of: must be",
    f"{A}key = 'model.closure'\nvalues = ['laminar']\n{TWICE_A}": "9: derived.1.of: must be the name of another "
    "parameter, one with numbers",
    f"{A}key = 'fog.radius'\nvalues = [1]\n{CIRCLE}": "9: derived.1.of: must not lead back to its own key "
    "(tubes.1.rows.1.pitch of tubes.1.rows.1.lowest of tubes.1.rows.1.pitch)",
    f"{FOG}values = [1]\n[fixed]\ngrid.cells_r = 24\n'grid.cells_r' = 30": "9: fixed.grid.cells_r: sets a key that is",
    f"without = ['exhaust.pressure']\n{A}key = 'exhaust.pressure'\nvalues = [1]": "6: parameters.1.key: sets a key "
    "that is set or taken out",
    f"without = ['tubes', 'fog']\n{FOG}of = 'tubes.1.rows.1.lowest'\nvalues = [1]": "7: parameters.1.of: must be",
    f"without = ['exhaust.presure', 'tubes.1']\n{FOG}values = [1]": "3: without.1: must be a key or table that the "
    "base case has, no item of a list, got 'exhaust.presure'; did you mean exhaust.pressure?\n",
    f"{FOG}values = [1]\n[fixed]\ntubes.2.rows.1.aim = 9": "8: fixed.tubes.2.rows.1.aim: leads to an item that the",
    f"{A}key = 'tubes.1.rows.1.heights'\nvalues = [[0.1]]": "3: parameters: make no valid case, the first: "
    "tubes.1.rows.1.lowest: must not stand beside heights",
    f"{FOG}range = [50]\ncount = 2": "6: parameters.1.range.2: is required but missing",
    f"{FOG}values = [1, 2]\nspacing = 'log'": "7: parameters.1.spacing: goes with range only",
    f"keep_results = 'off'\n{FOG}values = [1]": "3: keep_results: must be true or false, got 'off'",
    f"{FOG}values = [1]\n[fixed]\nfog.radius = 1": "5: parameters.1.key: sets a key that is set or taken out",
    f"{FOG}values = [1]\n[fixed]\nfog.radios = 1": "8: fixed.fog.radios: leads to no key of a case",
    f"cold_sample = 1\n{FOG}values = [1]": "3: cold_sample: needs start",
    f"memory_limit = '5 m'\n{FOG}values = [1]": "3: memory_limit: must be a quantity convertible to byte",
}


@pytest.mark.parametrize("body", MISTAKES)
def test_a_mistake_is_told_with_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str], body: str) -> None:
    """A wrong study ends the verb in 2 with file, line, key and what is allowed, and nothing is written."""
    path = write_study(tmp_path, f"{HEAD}{body}\n")
    before = sorted(path.parent.iterdir())
    assert cli.main(["sweep", str(path), "--output", str(path.parent / "out")]) == 2
    assert f"{path}:{MISTAKES[body]}" in capsys.readouterr().err.replace('"', "'")
    assert sorted(path.parent.iterdir()) == before


def test_the_base_case_is_there_and_near(tmp_path: Path) -> None:
    """A base that is missing, absolute or far up is refused; mistakes in it are told with its own lines."""
    for base, words in (("no.toml", "there is no"), ("/a.toml", "relative"), ("../../a.toml", "no higher")):
        with pytest.raises(InputError, match=f"small.toml:3: base: must .*{words}"):
            read_study(write_study(tmp_path, STUDY.replace("case.toml", base)))
    path = write_study(tmp_path)
    (path.parent / "case.toml").write_text("title = 3\n")
    with pytest.raises(InputError, match="case.toml:1: title"):
        read_study(path)


def test_the_base_case_is_told_by_its_plain_path(tmp_path: Path) -> None:
    """A base above the study is named without the detour by the study's folder."""
    (tmp_path / "studies").mkdir()
    path = write_study(tmp_path / "studies")
    (tmp_path / "above.toml").write_text("title = 3\n")
    path.write_text(STUDY.replace("case.toml", "../above.toml"))
    with pytest.raises(InputError, match=f"^{re.escape(str(tmp_path / 'above.toml'))}:1: title"):
        read_study(path)


def test_a_parameter_is_no_measure(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A name that the data set has for something else is refused before anything is written; what only a search reads,
    and one of two options that exclude each other, are told."""
    for name in ("core_radius", "round"):
        path = write_study(tmp_path, STUDY.replace('"suction"', f'"{name}"') + "[objective]\nterms = { a = 1 }\n")
        command = ["sweep", str(path), "--output", str(path.parent / "out")]
        assert cli.main(command) == 2
        told = capsys.readouterr().err
        assert f'must not be the name of a column of the data set, got "{name}"' in told
        assert f"not looked at here: swirlwright search {path} does\n" in told
    with pytest.raises(SystemExit, match="2"):
        cli.main([*command, "--workers", "1", "--scheduler", "tcp://localhost:1"])
    assert "--scheduler: not allowed with argument --workers" in capsys.readouterr().err
    assert not (path.parent / "out").exists()


@pytest.mark.parametrize("path", sorted((CASES / "studies").glob("*.toml")), ids=lambda path: path.stem)
def test_the_shipped_studies_have_valid_cases(path: Path) -> None:
    """Every variant of every shipped study is a valid case."""
    assert [v.reason for v in variants_of(read_study(path)) if v.case is None] == []


def test_keys_lead_into_lists() -> None:
    """A dotted key finds the unit of what it leads to, and nothing beside the schema."""
    kind = kind_of("tubes.2.rows.1.pitch")
    assert kind is not None and kind.units == "m"
    assert kind_of("supply.fans.1.speed_ratio") is not None
    for key in ("tubes.pitch", "tubes.1", "chamber.height.1", "chamber", "", "run.probes.1.name.x", "tubes.1.number"):
        assert kind_of(key) is None, key


def test_every_key_of_a_study_is_documented() -> None:
    """The keys of the study's tables, and no other, stand in cases/README.md."""
    section = (CASES / "README.md").read_text().split("\n## Study files\n")[1].split("\n## ")[0]
    for heading, model in (("", Study), ("[[parameters]]", Parameter), ("[[derived]]", Derived), ("[sample]", Sample)):
        part = (
            section.split("\n### ")[0] if not heading else section.split(f"\n### `{heading}`\n")[1].split("\n### ")[0]
        )
        assert set(re.findall(r"^\| `(\w+)` \|", part, re.M)) == set(model.model_fields), heading
