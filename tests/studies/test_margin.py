"""Margins: does the bracketing end beside the change, and does the verdict carry what was found?"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import h5py
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_margins import make_up_runs, standing, steady_small, verdict_of

from swirlwright import cli
from swirlwright.postproc.margins.bracket import bracket, ladder
from swirlwright.postproc.margins.figure import tornado
from swirlwright.postproc.margins.knobs import knobs_of
from swirlwright.postproc.margins.margin import margin
from swirlwright.postproc.margins.runs import KeepingStore, Trials, owner
from swirlwright.postproc.margins.values import Margins, margins_in
from swirlwright.postproc.measures import measure
from swirlwright.postproc.sweeps.store import Record
from swirlwright.postproc.verdict import MARGINAL, NO, YES, in_doubt
from swirlwright.solver.casefile import parse_case, read_case, vary
from swirlwright.solver.network import solve_network
from swirlwright.solver.progress import SILENT
from swirlwright.solver.schema import Case

CASES = Path(__file__).parents[2] / "cases"


def needs_jets_and_quiet(case: Case) -> Record:
    """Stands while the jets keep four fifths of their momentum and the exhaust draws less than 1.3 times."""
    assert case.supply is not None and case.supply.pressure is not None
    assert case.exhaust is not None and case.exhaust.pressure is not None
    is_fit = case.supply.pressure >= 0.8 * 30 and case.exhaust.pressure <= 1.3**2 * 1.5
    return standing(1.0 if is_fit else 0.0, case)


@pytest.fixture(scope="module")
def made_up(tmp_path_factory: pytest.TempPathFactory) -> tuple[Margins, list[int], Path]:
    """Margins of that chamber, the runs of each round, and the folder."""
    folder = tmp_path_factory.mktemp("made-up")
    with h5py.File(folder / "solved.h5", "w") as file:
        file.attrs["title"] = "the case solved"
    with pytest.MonkeyPatch.context() as monkeypatch:
        rounds = make_up_runs(monkeypatch, needs_jets_and_quiet)
        return margin(steady_small(), folder / "out", result=folder / "solved.h5"), rounds, folder


@given(st.floats(-2.7, 2.7), st.floats(0.02, 0.3), st.sampled_from([0.25, 0.5, 2.0, 16.0]))
@settings(max_examples=200, deadline=None)
def test_a_bracket_ends_beside_the_change(place: float, resolution: float, bound: float) -> None:
    """Wherever the verdict changes, the last two factors are on either side of it and within the resolution."""
    change, seen = math.exp(place), {}
    for _ in range(30):
        found = bracket(seen, YES, bound, resolution, lambda *_: True, lambda _: True)
        if found.following is None:
            break
        is_kept = (found.following - change) * (1.0 - change) > 0.0
        seen[found.following] = YES if is_kept else NO
    assert found.following is None and len(seen) < 15
    if found.outer is None:
        assert found.inner == bound and (bound - change) * (1.0 - change) >= 0.0
    else:
        assert min(found.inner, found.outer) <= change <= max(found.inner, found.outer)
        assert max(found.outer / found.inner, found.inner / found.outer) <= 1.0 + resolution + 1e-6


def test_the_first_move_is_the_one_that_suffices() -> None:
    """The ladder begins at 15 per cent either way, ends at the bound, and is empty where there is no room."""
    assert ladder(2.0)[0] == 1.15 and ladder(2.0)[-1] == 2.0
    assert ladder(0.5)[0] == 0.85 and ladder(0.5)[-1] == 0.5
    assert ladder(1.0) == () and ladder(1.1) == (1.1,)


def test_margins_of_a_made_up_chamber(made_up) -> None:
    """Both limits are found within the resolution, other knobs are free to their bounds, the sides cannot open more."""
    found, rounds, _ = made_up
    knobs = {knob.name: knob for knob in found.knobs}
    assert set(knobs) == {
        "jet_momentum",
        "exhaust_flow",
        "lowest_jet",
        "effective_viscosity",
        "side_opening",
        "fog_flow",
    }
    assert found.base.touchdown == YES
    down, up = knobs["jet_momentum"].down, knobs["exhaust_flow"].up
    assert down.kind == up.kind == "changes"
    assert down.beyond.factor < 0.8 <= down.stays.factor <= 1.05 * down.beyond.factor
    assert up.stays.factor <= 1.3 < up.beyond.factor <= 1.05 * up.stays.factor
    assert down.beyond.value == pytest.approx(1e-3 * 30 * down.beyond.factor)
    assert knobs["side_opening"].up.kind == "at bound"
    assert knobs["lowest_jet"].up.kind == "beyond bound" and knobs["lowest_jet"].up.stays.value == pytest.approx(0.3)
    assert found.runs == sum(rounds) and found.near() == []
    # The two changes are what the answer hangs on, so the runs beyond them are those made again from rest.
    assert found.rerun_cold == 2
    assert found.settings.cells == (12, 18) and found.settings.average == 20.0 and found.settings.base_average == 40.0


def test_a_finished_margin_runs_nothing(monkeypatch, made_up) -> None:
    """The same call again makes no run, and ends in the same margins."""
    found, _, folder = made_up
    rounds = make_up_runs(monkeypatch, needs_jets_and_quiet)
    assert margin(steady_small(), folder / "out") == found
    assert sum(rounds) == 0


def test_all_runs_are_in_one_data_set(made_up) -> None:
    """margin.h5 has every run with its knobs as factors, the case as given first, and what was changed."""
    found, _, folder = made_up
    with xr.open_dataset(folder / "out" / "margin.h5", engine="h5netcdf") as data:
        assert data.sizes["variant"] == found.data.sizes["variant"] == found.runs
        names = json.loads(data.attrs["parameters"])
        assert [data[name].item(0) for name in names] == [1.0] * len(names)
        moved = sum((data[name].values != 1.0).astype(int) for name in names)
        assert moved.tolist() == [0] + [1] * (found.runs - 1)
        assert set(json.loads(data["changes"].item(1))) == {"supply.pressure"}
        assert (data["touchdown"].values == NO).sum() > 0
    assert len((folder / "out" / "margin.csv").read_text().splitlines()) == found.runs + 1


def test_results_carry_the_margins(made_up) -> None:
    """base.h5 and a result that is named have them word for word."""
    found, _, folder = made_up
    for path in (folder / "solved.h5", folder / "out" / "base.h5"):
        with h5py.File(path) as file:
            assert margins_in(dict(file.attrs)) == found
    assert Margins.of_json(found.as_json()) == found


def test_a_run_without_an_answer_ends_a_margin(monkeypatch, tmp_path) -> None:
    """What fails and what cannot be built are told apart, with the reason, and neither counts as a change."""

    def answer(case: Case) -> Record:
        assert case.exhaust is not None and case.exhaust.pressure is not None
        return Record("failed", "ran away") if case.exhaust.pressure > 2.5 else standing(1.0, case)

    make_up_runs(monkeypatch, answer)
    found = margin(steady_small({"tubes.1.rows.1.pitch": 0.02, "tubes.1.rows.1.lowest": 0.15}), tmp_path / "out")
    knobs = {knob.name: knob for knob in found.knobs}
    assert knobs["exhaust_flow"].up.kind == "failed" and knobs["exhaust_flow"].up.beyond.reason == "ran away"
    assert knobs["lowest_jet"].up.kind == "no case" and "tubes.1" in knobs["lowest_jet"].up.beyond.reason
    assert found.failed == 1
    assert "exhaust flow by +40 %: ran away" in found.text() and "no valid case" in found.text()


@pytest.mark.parametrize("count", [(), ("--sample", "4")])
@pytest.mark.parametrize("name, lacking", [("burgers", "jets"), ("closed-cylinder", "jets and no exhaust")])
def test_a_case_that_cannot_touch_down_runs_nothing(monkeypatch, tmp_path, capsys, name, lacking, count) -> None:
    """Without jets or exhaust `margin` refuses at once, says what is lacking and leaves nothing behind."""
    monkeypatch.chdir(tmp_path)
    assert cli.main(["margin", str(CASES / f"{name}.toml"), *count]) == 2
    assert capsys.readouterr().err.startswith(f"{CASES / name}.toml: has no {lacking}, so touchdown is no question")
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("limit, is_near", [(0.9, True), (0.8, False)])
def test_a_small_move_that_suffices_makes_the_verdict_marginal(monkeypatch, tmp_path, limit, is_near) -> None:
    """A column that 15 per cent less momentum ends is marginal, with the reason; one that needs more stays."""
    make_up_runs(monkeypatch, lambda case: standing(1.0 if case.supply.pressure >= limit * 30 else 0.0, case))
    found = margin(steady_small(), tmp_path / "out")
    v = verdict_of(YES)
    judged = in_doubt(v, None, None, found)
    assert judged.touchdown == (MARGINAL if is_near else YES)
    assert ("jet momentum by -11 % makes it no" in judged.sentence) is is_near
    assert judged.margins == found


@pytest.mark.parametrize("share, chance, is_near", [(0.88, 0.05, False), (0.85, 0.02, True), (0.7, 0.05, True)])
def test_a_doubtful_change_makes_no_verdict_marginal(monkeypatch, tmp_path, share, chance, is_near) -> None:
    """A share beyond the limit of 90 per cent counts only where it differs by more than chance from limit or base."""

    make_up_runs(monkeypatch, lambda case: standing(1.0 if case.supply.pressure >= 29 else share, case, chance))
    found = margin(steady_small(), tmp_path / "out")
    down = next(knob for knob in found.knobs if knob.name == "jet_momentum").down
    assert down.kind == "changes" and down.is_by_chance is not is_near
    assert in_doubt(verdict_of(YES), None, None, found).touchdown == (MARGINAL if is_near else YES)
    assert ("?: the share of time" in found.text()) is not is_near


def test_a_column_that_is_never_seen_is_a_sure_change(monkeypatch, tmp_path) -> None:
    """From 79 to 0 per cent is no chance, though 0 with an error of 6 is near the limit of 10."""
    make_up_runs(monkeypatch, lambda case: standing(0.79 if case.supply.pressure >= 20 else 0.0, case, 0.06))
    down = next(k for k in margin(steady_small(), tmp_path / "out").knobs if k.name == "jet_momentum").down
    assert down.kind == "changes" and not down.is_by_chance


def test_what_chance_may_explain_ends_no_ladder_and_no_halving() -> None:
    """A doubtful rung is the end only if nothing further out is sure; a failure keeps the change beyond it."""
    sure, alike = (lambda *_: True), (lambda *_: False)
    assert bracket({1.15: NO}, YES, 1.15, 0.05, alike, sure).following is None
    assert bracket({1.15: NO}, YES, 2.0, 0.05, sure, alike).following == 1.4
    assert bracket({1.15: NO, 1.4: YES}, YES, 1.4, 0.05, sure, alike).outer is None
    found = bracket({1.15: NO, 1.4: NO}, YES, 1.4, 0.05, alike, lambda f: f > 1.2)
    assert (found.inner, found.outer, found.following) == (1.0, 1.4, None)
    assert bracket({1.15: NO, 1.4: NO}, YES, 1.4, 0.05, sure, alike).outer == 1.15
    found = bracket({1.15: NO, 1.07238: None}, YES, 1.15, 0.05, sure, sure)
    assert (found.inner, found.outer, found.following) == (1.0, 1.15, None)


def test_a_cold_rerun_differs_only_beyond_chance(monkeypatch, tmp_path) -> None:
    """Beside a share of 0, each known to 6 points, 30 per cent from rest are told as another share and 10 are not."""
    make_up_runs(monkeypatch, lambda case: standing(0.0, case, 0.06))
    case = steady_small()
    with KeepingStore.opened(tmp_path / "out", owner(case)) as store:
        trials = Trials(case, store, SILENT, None)
        trials.add({}, {"supply.pressure": 10.0})
        trials.run()
        for share, expected in ((0.3, 1), (0.1, 0)):
            trials.cold = {1: standing(share, case, 0.06)}
            assert trials.differ_cold() == expected


def test_margins_of_another_verdict_make_it_marginal(monkeypatch, tmp_path) -> None:
    """Where the margins' coarser grid denies the run's own touchdown, the two disagree."""
    make_up_runs(monkeypatch, lambda case: standing(0.0, case))
    judged = in_doubt(verdict_of(YES), None, None, margin(steady_small(), tmp_path / "out"))
    assert judged.touchdown == MARGINAL and "the margins' coarser grid say yes 1 of 2, no 1 of 2" in judged.sentence


@pytest.mark.parametrize("name", ["table-top", "hall", "laboratory", "start-up"])
def test_knobs_of_the_shipped_cases_move_what_they_say(name) -> None:
    """At every rung a shipped case stays valid; momentum and exhaust flow of the network go with the factor."""
    case = read_case(CASES / f"{name}.toml")
    knobs, lacking = knobs_of(case)
    assert len(knobs) + len(lacking) == 6
    before = solve_network(case)
    for knob in knobs:
        for factor in (*ladder(knob.low), *ladder(knob.high)):
            moved = vary(case, dict(knob.changes(factor)))
            if knob.name in ("jet_momentum", "exhaust_flow") and factor in (knob.low, knob.high):
                after = solve_network(moved)
                for what, is_moved in (("momentum", "jet"), ("exhaust_flow", "exhaust")):
                    expected = factor if knob.name.startswith(is_moved) else 1.0
                    assert getattr(after, what) == pytest.approx(expected * getattr(before, what), rel=0.03, abs=1e-9)


def test_the_lowest_jet_moves_and_the_highest_stays() -> None:
    """Holes are squeezed evenly: none is lost, the highest stays, and the jets' momentum with it."""
    case = read_case(CASES / "table-top.toml")
    knob = next(knob for knob in knobs_of(case)[0] if knob.name == "lowest_jet")
    heights = vary(case, dict(knob.changes(4.0))).tubes[0].rows[0].hole_heights()
    assert len(heights) == 11 and heights[0] == pytest.approx(0.12) and heights[-1] == pytest.approx(0.53)


def test_knobs_that_a_case_lacks_are_named() -> None:
    """A still chamber has its viscosity and nothing else, and each knob it lacks has a reason."""
    text = 'title = "still"\n[chamber]\nfootprint = "round"\nwidth = 1\nheight = 1\n[walls]\nfloor_rotation = 1\n'
    found, lacking = knobs_of(parse_case(text, "still.toml"))
    assert [knob.name for knob in found] == ["effective_viscosity"]
    assert set(lacking) == {"jet momentum", "exhaust flow", "height of the lowest jet", "side opening", "fog flow"}


def test_the_picture_has_a_bar_for_each_knob(made_up) -> None:
    """The nearest change stands on top, and each verdict that was found has its mark in the legend."""
    figure = tornado(made_up[0])
    labels = [text.get_text().split("\n")[0] for text in figure.axes[0].get_yticklabels()]
    assert labels[:2] == ["jet momentum", "exhaust flow"] and len(labels) == 6
    assert [text.get_text() for text in figure.legends[0].get_texts()] == ["a run: yes", "a run: no"]


def test_the_command_with_real_runs(monkeypatch, tmp_path, capsys) -> None:
    """margin solves, prints one JSON object, and measure and the page show it; run again it solves nothing."""
    from swirlwright.postproc.margins import margin as module
    from swirlwright.postproc.sweeps import pool as sweep_pool

    monkeypatch.chdir(tmp_path)
    case = steady_small({"run.spin_up": 0.2, "run.average": 0.8, "run.max_iterations": 1, "run.frame_interval": 0.05})
    Path("small.toml").write_text(case.text)
    knob = next(knob for knob in knobs_of(case)[0] if knob.name == "exhaust_flow")
    monkeypatch.setattr(module, "knobs_of", lambda _: ((replace(knob, low=1.0, high=1.1),), {"fog flow": "no fog"}))
    status = cli.main(["margin", "small.toml", "--json", "--quiet", "--workers", "1"])
    printed = json.loads(capsys.readouterr().out)
    assert status == (3 if printed["not_converged"] else 0)
    assert printed["knobs"][0]["value"] == pytest.approx(0.0207, rel=0.05)
    assert len(printed["knobs"][0]["points"]) >= 2 and printed["rerun_cold"] >= 1
    m = measure("small.margin/base.h5")
    assert "Margins: touchdown stays" in m.text() and m.as_json()["margins"] == printed
    assert cli.main(["report", "small.margin/base.h5", "--output", "page.html"]) == 0
    assert "<h2>Margins</h2>" in Path("page.html").read_text()
    assert cli.main(["report", "small.margin", "--output", "folder.html"]) == 0
    assert Path("folder.html").read_text() == Path("page.html").read_text()
    capsys.readouterr()
    monkeypatch.setattr(sweep_pool, "Attempt", lambda *_: pytest.fail("started a process"))
    assert cli.main(["margin", "small.toml", "--json", "--quiet"]) == status
    assert json.loads(capsys.readouterr().out) == printed
