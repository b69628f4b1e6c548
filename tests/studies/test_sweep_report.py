"""The report of a sweep: does the page say what the data set holds, whatever its shape?"""

from __future__ import annotations

import base64
import html
import re
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from made_up_sweep import PRODUCT, SAMPLE, made_up, made_up_data, some_lost, write_sweep
from synthetic import write_result

from swirlwright import cli
from swirlwright.postproc.report import write_report
from swirlwright.postproc.sweeps.data import csv_text
from swirlwright.postproc.sweeps.figures_regime import VERDICTS, regions
from swirlwright.postproc.sweeps.report import chapter_of
from swirlwright.postproc.sweeps.report_data import Axis, Sweep, open_sweep
from swirlwright.postproc.sweeps.report_effects import inputs_of
from swirlwright.postproc.sweeps.store import Record
from swirlwright.solver.errors import ResultError
from swirlwright.solver.variants import Variant


def words_of(page: str) -> str:
    """The text of a page, without its tags, pictures and style."""
    page = re.sub(r"<(svg|style)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", " ", page)))


def rerun_differs(variant: Variant) -> Record:
    """The cold rerun of the first variant has another share of time, that of the fifth another word alone."""
    record = made_up(variant)
    numbers = record.numbers if variant.index else record.numbers | {"touchdown_share": 0.0}
    return Record("done", "", "steady", numbers, {"touchdown": "other"}) if variant.index in (0, 4) else record


@pytest.fixture(scope="module")
def product(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder of a product of 24 variants, three of them without a sound answer, and its page."""
    folder = write_sweep(tmp_path_factory.mktemp("product"), PRODUCT, some_lost, rerun_differs)
    return folder, write_report(folder, folder / "page.html").read_text()


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder of a sample of 60 variants and its page."""
    folder = write_sweep(tmp_path_factory.mktemp("sample"), SAMPLE)
    return folder, write_report(folder, folder / "page.html").read_text()


@pytest.fixture(scope="module")
def opened(product: tuple[Path, str]) -> Sweep:
    """The data set of the product."""
    return open_sweep(product[0])


def test_the_page_counts_the_verdicts(product: tuple[Path, str]) -> None:
    """The first sentence has the numbers of the data set, and says how many variants have no answer."""
    folder, page = product
    verdict = xr.open_dataset(folder / "sweep.h5", engine="h5netcdf")["touchdown"].values.ravel().tolist()
    yes, marginal, no = (verdict.count(word) for word in ("yes", "marginal", "no"))
    said = f"A column stands on the floor in {yes} of 24 variants, at times in {marginal}, not in {no}. "
    said += "2 variants have no answer. Not converged, so provisional: 1 of these verdicts."
    assert yes and marginal and no
    assert said in words_of(page)


def test_what_is_wrong_stands_at_the_head(product: tuple[Path, str]) -> None:
    """Not converged, failed and under-resolved variants and a verdict that hangs on the start are alarms."""
    alarms = [words_of(found) for found in re.findall('<li class="alarm">(.*?)</li>', product[1])]
    assert [alarm.split()[0] for alarm in alarms] == ["not", "failed", "under-resolved", "hysteresis"]
    assert "cold: 6; of these 2 with another verdict, 1 with a share of time that differs by more than" in alarms[-1]


def test_every_lost_variant_has_its_reason(product: tuple[Path, str]) -> None:
    """Each variant that is not done is in the table with status, reason and the values of its parameters."""
    text = words_of(product[1])
    assert "5 failed still running at its time limit of 60 s 50 3" in text
    assert "11 refused tubes.1.rows.1.lowest: must lie inside the chamber 80 6" in text
    assert "14 not converged – 130 4" in text


def test_the_page_stands_alone_and_carries_the_table(product: tuple[Path, str]) -> None:
    """Nothing is loaded from elsewhere, and the CSV in the page is that of the data set."""
    folder, page = product
    loaded = re.findall(r'(?:src|href)="([^"]*)"', page)
    assert loaded and all(value.startswith(("data:", "#")) for value in loaded)
    (table,) = [value for value in loaded if value.startswith("data:text/csv;base64,")]
    text = base64.b64decode(table.partition(",")[2]).decode()
    # Not compared in the assertion: to show how two such texts differ would take minutes.
    is_same = text == csv_text(xr.open_dataset(folder / "sweep.h5", engine="h5netcdf").load())
    assert is_same
    assert text.count("\n") == 25


def test_a_product_has_map_lines_and_maps(product: tuple[Path, str]) -> None:
    """A product over two parameters is drawn as regime map, as lines and as maps; the study stands below."""
    assert product[1].count("<svg") == 3
    assert 'name = "lowest_jet"' in html.unescape(product[1])
    assert "A small chamber" in product[1]


def test_a_sample_has_effects_and_indices(sample: tuple[Path, str]) -> None:
    """A sample is drawn as regime map, main effects and Sobol indices; how these were found is said."""
    assert sample[1].count("<svg") == 3
    text = words_of(sample[1])
    assert "1.96 standard errors by the jackknife" in text
    assert "a polynomial fitted to them" in text


def test_places_in_a_sample_follow_the_study(sample: tuple[Path, str]) -> None:
    """Each parameter's places fill its range evenly, on the logarithm where it is drawn so; texts are numbered."""
    inputs = inputs_of(open_sweep(sample[0]))
    assert [given.levels for given in inputs] == [0, 0, 2]
    for given in inputs[:2]:
        # A Latin hypercube has one variant in each of 60 equal parts.
        assert sorted((given.place * 60).astype(int)) == list(range(60))
    assert not inputs[2].is_ordered and set(inputs[2].place) == {0.0, 1.0}


ONE = PRODUCT.partition('[[parameters]]\nname = "suction"')[0]
FOUR = (
    PRODUCT
    + """
[[parameters]]
name = "closure"
key = "model.closure"
values = ["mixing-length", "spalart-allmaras"]
[[parameters]]
name = "footing"
key = "fog.radius"
values = [0.02, 0.03]
"""
)
SINGLE = """
title = "One"
base = "case.toml"
[[parameters]]
name = "lowest_jet"
key = "tubes.1.rows.1.lowest"
values = [0.03]
"""
TEXTS = SINGLE.replace("tubes.1.rows.1.lowest", "model.closure").replace(
    "values = [0.03]", 'values = ["mixing-length", "spalart-allmaras"]'
)
FEW = SAMPLE.replace("count = 60", "count = 4")
DESIGN = SAMPLE.replace("latin-hypercube", "saltelli").replace("count = 60", "count = 16")
LINE = SAMPLE.partition('[[parameters]]\nname = "suction"')[0] + SAMPLE[SAMPLE.index("[sample]") :]


def of_text(variant: Variant) -> Record:
    """An answer for studies without heights and suctions."""
    return Record(
        "done", "", "steady", {"touchdown_share": 1.0, "core_radius": 0.01 + variant.index}, {"touchdown": "yes"}
    )


def of_height(variant: Variant) -> Record:
    """As `made_up` with a suction of 3 Pa where the study has none."""
    values = {"suction": 3.0, **variant.values}
    return made_up(Variant(variant.index, values, variant.case, "", None))


def lost(variant: Variant) -> Record:
    """A variant that has failed."""
    return Record("failed", "ended by SIGKILL")


@pytest.mark.parametrize(
    ("text", "answer", "number"),
    [(ONE, of_height, 2), (FOUR, made_up, 5), (SINGLE, of_height, 1), (TEXTS, of_text, 1), (PRODUCT, lost, 1),
     (SAMPLE, lost, 1), (FEW, made_up, 3), (LINE, of_height, 3), (DESIGN, made_up, 3)],
    ids=["one", "four", "single", "texts", "product-lost", "sample-lost", "few", "sample-of-one", "design"],
)  # fmt: skip
def test_any_shape_has_a_chapter(tmp_path: Path, text: str, answer, number: int) -> None:
    """Products of one to four parameters, a single variant, texts alone, all failed, a few samples: its pictures."""
    sweep = Sweep(tmp_path / "sweep.h5", made_up_data(tmp_path, text, answer))
    chapter = chapter_of(sweep, 1, ["core_radius"])
    assert chapter.sentence.startswith("A column stands on the floor in")
    assert sum(len(section.pictures) for section in chapter.sections) == number


@pytest.mark.parametrize(
    ("against", "pictures"),
    [(["suction", "lowest_jet"], 3), (["core_radius"], 2), (["core_radius", "suction"], 2)],
)
def test_what_is_drawn_can_be_chosen(opened: Sweep, against: list[str], pictures: int) -> None:
    """One measure against one or two parameters or measures: lines and maps, or points where a measure is an axis."""
    chapter = chapter_of(opened, 1, ["floor_layer", "core_radius"], against)
    assert sum(len(section.pictures) for section in chapter.sections) == pictures
    assert chapter.sections[1].lead == "No variant has a value of: thickness of the floor layer."


@pytest.mark.parametrize(
    ("measures", "against", "said"),
    [
        (["core_radios"], [], "--measure core_radios: did you mean core_radius? There are touchdown_share, "),
        ([], ["hight"], "There are lowest_jet, suction, touchdown_share, "),
        ([], ["floor_layer"], "--against floor_layer: no variant has a value of it"),
        ([], ["suction", "suction"], "takes one name or two different ones"),
    ],
)
def test_unknown_names_are_refused(opened: Sweep, measures: list[str], against: list[str], said: str) -> None:
    """A name that the data set does not have is refused with those it has."""
    with pytest.raises(ResultError, match=re.escape(said)):
        chapter_of(opened, 1, measures, against)


def test_the_command_refuses_unknown_names(product: tuple[Path, str], tmp_path: Path, capsys) -> None:
    """A name that the data set does not have is status 2, and no page."""
    page = tmp_path / "page.html"
    assert cli.main(["report", str(product[0]), "--output", str(page), "--against", "hight"]) == 2
    assert "--against hight" in capsys.readouterr().err
    assert not page.exists()


def test_results_and_sweeps_share_a_page(product: tuple[Path, str], tmp_path: Path) -> None:
    """A result and a sweep on one page each have a chapter, and ids of their pictures differ."""
    result = write_result(tmp_path / "a.h5")
    page = write_report([result, product[0] / "sweep.h5"], tmp_path / "page.html", measures=["core_radius"]).read_text()
    assert page.count('<section class="result">') == 2
    defined: dict[str, set[str]] = {}
    for name, rest in re.findall(r'<\w+ id="([^"]+)"([^>]*)>', page):
        defined.setdefault(name, set()).add(rest)
    assert all(len(meanings) == 1 for meanings in defined.values())


def test_measures_are_for_sweeps(tmp_path: Path) -> None:
    """Choosing measures for the result of one run is refused, since they would have no effect."""
    with pytest.raises(ResultError, match="is no sweep"):
        write_report(write_result(tmp_path / "a.h5"), tmp_path / "page.html", measures=["core_radius"])


def test_a_folder_without_a_data_set_is_refused(tmp_path: Path) -> None:
    """A sweep that has not come to its end, and a damaged data set, are refused in words."""
    with pytest.raises(ResultError, match=r"holds no sweep\.h5"):
        write_report(tmp_path, tmp_path / "page.html")
    (tmp_path / "sweep.h5").write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(100))
    with pytest.raises(ResultError, match="is damaged"):
        write_report(tmp_path, tmp_path / "page.html")


def plane(x: list[float], y: list[float]) -> tuple[Axis, Axis]:
    return Axis("x", np.array(x), "x", (), False), Axis("y", np.array(y), "y", (), False)


def rank_at(found: tuple[np.ndarray, np.ndarray, np.ndarray], x: float, y: float) -> float:
    across, up, rank = found
    return float(rank[np.argmin(np.abs(up - y)), np.argmin(np.abs(across - x))])


def test_regions_are_those_of_the_nearest_variant() -> None:
    """Beside each variant of an uneven lattice stands its verdict, and the border is half-way."""
    x, y = np.meshgrid([0.0, 1.0, 10.0], [0.0, 2.0])
    words = np.array(["no", "marginal", "yes", "yes", "no", "marginal"])
    found = regions(*plane(x.ravel().tolist(), y.ravel().tolist()), np.ones(6, dtype=bool), words, np.zeros(6), 1)
    assert found is not None
    for at_x, at_y, word in zip(x.ravel(), y.ravel(), words, strict=True):
        assert VERDICTS[int(rank_at(found, at_x, at_y))] == word
    assert rank_at(found, 5.4, 0.0) == VERDICTS.index("marginal") and rank_at(found, 5.6, 0.0) == VERDICTS.index("yes")


def test_no_region_where_there_are_no_variants() -> None:
    """The open side of a bow of variants is left white, and variants on a line span no region."""
    angle = np.linspace(0.0, np.pi, 40)
    ring = [np.concatenate([r * f(angle) for r in (1.0, 0.9)]) for f in (np.cos, np.sin)]
    words, judged, share = np.full(80, "yes"), np.ones(80, dtype=bool), np.ones(80)
    found = regions(*plane(*(side.tolist() for side in ring)), judged, words, share, 1)
    assert found is not None
    assert np.isnan(rank_at(found, 0.0, 0.3)) and rank_at(found, 0.0, 0.95) == 2.0
    line = np.arange(80.0).tolist()
    assert regions(*plane(line, line), judged, words, share, 1) is None


def test_regions_of_many_parameters_follow_the_mean_share() -> None:
    """With several neighbours the region is the verdict of their mean share of time, not of the nearest alone."""
    x, y = np.meshgrid(np.arange(5.0), np.arange(5.0))
    share = np.where((x + y) % 2 == 0, 1.0, 0.0).ravel()
    words = np.where(share > 0.5, "yes", "no")
    found = regions(*plane(x.ravel().tolist(), y.ravel().tolist()), np.ones(25, dtype=bool), words, share, 5)
    assert found is not None
    assert set(found[2].ravel()) == {float(VERDICTS.index("marginal"))}


def test_indices_are_for_random_variants_only(sample: tuple[Path, str]) -> None:
    """Of a search only the sample it began with counts; variants chosen one by one have neither effects nor regions."""
    data = xr.load_dataset(sample[0] / "sweep.h5", engine="h5netcdf")
    rounds = xr.Variable("variant", np.repeat([0, 1], [40, 20]))
    searched = chapter_of(Sweep(sample[0], data.assign(round=rounds)), 1, ["core_radius"])
    (effects,) = [section for section in searched.sections if section.title == "What the measures hang on"]
    assert {row[-1] for row in effects.tables[0].rows} == {"40"}
    assert "The 20 variants that the search chose are left out" in effects.pictures[1].caption
    chosen = chapter_of(Sweep(sample[0], data.assign_attrs(study_text="")), 1, ["core_radius"])
    assert "What the measures hang on" not in [section.title for section in chosen.sections]
    assert "No regions" in chosen.sections[0].pictures[0].caption
