"""The report: one page that stands alone, says what it must, and is whole or not there."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import h5py
import matplotlib
import numpy as np
import pytest
from synthetic import write_result

from swirlwright.cli import main
from swirlwright.postproc.drawing import unit_text
from swirlwright.postproc.maps import SIGNED_MAP, STRENGTH_MAP, contour_levels, pressure_levels, stream_function
from swirlwright.postproc.measures import measure
from swirlwright.postproc.report import write_report
from swirlwright.solver.errors import ResultError
from swirlwright.solver.results import load_result

LOADS = {"src", "href", "xlink:href", "srcset", "data", "poster", "action", "background"}


class Page(HTMLParser):
    """What a browser would load for a page, and the page's words in order."""

    def __init__(self, path: Path):
        super().__init__()
        self.loaded: list[str] = []
        self.tags: list[str] = []
        self.words = ""
        self.html = path.read_text(encoding="utf-8")
        self.feed(self.html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.loaded += [value or "" for name, value in attrs if name in LOADS]

    def handle_data(self, data: str) -> None:
        self.words += data


def page_of(folder: Path, **kind: object) -> Page:
    """The page of one synthetic result."""
    return Page(write_report([write_result(folder / "a.h5", **kind)], folder / "a.html"))


@pytest.fixture(scope="module")
def table_top(tmp_path_factory: pytest.TempPathFactory) -> Page:
    """The page of a steady run of the table-top chamber."""
    return page_of(tmp_path_factory.mktemp("table-top"))


def test_page_loads_nothing(table_top):
    """Every picture is in the page: nothing is loaded but data URIs and places of the page itself."""
    assert table_top.loaded, "the page has pictures"
    assert all(value.startswith(("data:", "#")) for value in table_top.loaded)
    assert not re.findall(r"url\((?!['\"]?#)|@import|https?://", table_top.html)
    assert not {"script", "link", "iframe", "object", "embed"} & set(table_top.tags)


def test_every_picture_is_there(table_top):
    """A steady run has its maps, what visitors see, and four line pictures: section, profiles, axis, convergence."""
    assert table_top.tags.count("img") == 2
    assert table_top.tags.count("svg") == 4


def test_ids_within_the_page_resolve(table_top):
    """Each reference within the pictures has its target, and no id stands for two different things."""
    wanted = {value[1:] for value in table_top.loaded if value.startswith("#")}
    wanted |= set(re.findall(r"url\(#([^)]+)\)", table_top.html))
    defined: dict[str, set[tuple[str, str]]] = {}
    for tag, name, rest in re.findall(r'<(\w+) id="([^"]+)"([^>]*)>', table_top.html):
        defined.setdefault(name, set()).add((tag, rest))
    assert wanted <= defined.keys()
    assert all(len(meanings) == 1 for meanings in defined.values())


def test_verdict_stands_before_the_pictures(table_top, tmp_path):
    """The sentence that `measure` prints stands in the page ahead of the first picture."""
    sentence = measure(write_result(tmp_path / "same.h5")).verdict.sentence
    assert sentence in table_top.html
    assert table_top.html.index(sentence) < table_top.html.index("<svg")


def test_budgets_network_cautions_and_case_are_there(table_top):
    """A report without budgets, air network, cautions or the case as it was solved would not be whole."""
    for words in ("imbalance", "plenum pressure", "licensed electrician", "smoke detectors", "lowest = 0.03"):
        assert words in table_top.words


@pytest.mark.parametrize("outcome, mark", [("not-converged", "not converged"), ("time-averaged", "time-averaged")])
def test_outcome_is_marked_above_the_pictures(tmp_path, outcome, mark):
    """How the run ended stands as a mark ahead of the first picture."""
    page = page_of(tmp_path, outcome=outcome, n_frames=6)
    assert f"<b>{mark}</b>" in page.html[: page.html.index("<svg")]


def test_verdict_of_a_run_without_convergence_is_called_provisional(tmp_path):
    """The sentence itself says that the run did not converge, so that nobody quotes it without."""
    sentence = re.search(r'class="sentence">([^<]+)<', page_of(tmp_path, outcome="not-converged").html)
    assert sentence is not None
    assert sentence[1].startswith("Not converged")


def test_time_average_has_spread_and_share(tmp_path):
    """Measures of a time-averaged run stand with their deviation in time and the share of time."""
    page = page_of(tmp_path, outcome="time-averaged", n_frames=6)
    assert "Share of time" in page.words
    assert re.search(r"\d ± \d", page.words)


def test_closed_cylinder_without_jets_exhaust_or_fog(tmp_path):
    """A chamber that lacks all that a report could draw still gets its page, with no network."""
    page = page_of(tmp_path, closed=True)
    assert "Closed cylinder" in page.words
    assert "Air network" not in page.words


def test_frames_that_blew_up_are_not_drawn(tmp_path):
    """With a last frame of infinities the page shows the last finite one."""
    path = write_result(tmp_path / "a.h5", n_frames=4, outcome="not-converged")
    with h5py.File(path, "r+") as file:
        file["tangential_velocity"][-1] = np.nan
    assert "field at t = 1 s" in Page(write_report([path], tmp_path / "a.html")).words


def test_several_results_come_side_by_side_first(tmp_path):
    """Two results give a table with a column each, then a chapter each, in the order given."""
    paths = [write_result(tmp_path / f"{title}.h5", title=title) for title in ("Alder", "Birch")]
    page = Page(write_report(paths, tmp_path / "both.html"))
    table = page.html.index("<table")
    places = [page.html.index(text) for text in ("1. Alder", "2. Birch", "Result 1 of 2", "Result 2 of 2")]
    assert table < places[0] and places == sorted(places)


def test_text_of_a_case_is_no_markup(tmp_path):
    """A title with signs that HTML reserves is shown as it is written."""
    page = page_of(tmp_path, title="<script>alert(1)</script>")
    assert "script" not in page.tags
    assert "<script>alert(1)</script>" in page.words


def test_half_written_page_never_stands_under_the_final_name(tmp_path, monkeypatch):
    """When writing fails the page of before is untouched and nothing else is left behind."""
    result, output = write_result(tmp_path / "a.h5"), tmp_path / "a.html"
    output.write_text("before")

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_report([result], output)
    assert output.read_text() == "before"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.h5", "a.html"]


def test_drawing_leaves_matplotlib_as_it_was(tmp_path):
    """A notebook's own settings survive a report."""
    before = dict(matplotlib.rcParams)
    page_of(tmp_path)
    assert dict(matplotlib.rcParams) == before


def test_no_result_and_no_report(tmp_path):
    """A missing result is named, and no page is written."""
    with pytest.raises(ResultError, match="gone.h5"):
        write_report([tmp_path / "gone.h5"], tmp_path / "a.html")
    with pytest.raises(ResultError):
        write_report([], tmp_path / "a.html")
    assert not (tmp_path / "a.html").exists()


def test_the_verb_writes_the_page(tmp_path, capsys):
    """`report` ends in status 0 with the page written, and in 2 with a message for a file that is no result."""
    result, output = write_result(tmp_path / "a.h5"), tmp_path / "page.html"
    assert main(["report", str(result), "--output", str(output)]) == 0
    assert output.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    other = tmp_path / "other.h5"
    other.write_text("no result")
    assert main(["report", str(other), "--output", str(tmp_path / "none.html")]) == 2
    assert "other.h5" in capsys.readouterr().err


@pytest.mark.parametrize(
    "cf, written", [("m s-1", "m/s"), ("m2 s-1", "m²/s"), ("Pa", "Pa"), ("1", ""), ("kg m-3 s-1", "kg/m³/s")]
)
def test_units_are_written_as_people_write_them(cf, written):
    """A unit of the file becomes the usual notation."""
    assert unit_text(cf) == written


def test_colours_tell_signed_from_one_signed():
    """A signed field gets a diverging map with symmetric limits, a magnitude cividis."""
    levels, colours = contour_levels(np.linspace(-1.0, 3.0, 500))
    assert colours == SIGNED_MAP
    assert levels[0] == -levels[-1]
    assert contour_levels(np.linspace(0.0, 3.0, 500))[1] == STRENGTH_MAP


@pytest.mark.parametrize("low", [-1.0, -0.1, 0.0])
def test_a_pressure_has_the_same_colours_in_every_run(low):
    """Below the room's, of both signs or above it: the colour map of a pressure is one, brighter where it is lower."""
    levels, colours = pressure_levels(np.linspace(low, low + 1.0, 500))
    assert colours == f"{STRENGTH_MAP}_r"
    assert levels[0] <= low and levels[-1] >= low + 0.95


def test_stream_function_ends_at_the_exhaust_flow(tmp_path):
    """The flow upward through the whole ceiling is the exhaust flow and that through the axis is nothing."""
    flow = stream_function(load_result(write_result(tmp_path / "a.h5")))
    assert np.all(flow[:, 0] == 0.0)
    assert flow[-1, -1] == pytest.approx(0.02, rel=1e-12)  # a sum of 48 numbers in double precision
