"""Joint uncertainty: are the draws those that are stated, and are probability and correlations right?"""

from __future__ import annotations

import json
import shutil
import tomllib
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray as xr
from made_up_margins import make_up_runs, standing, steady_small, verdict_of

from swirlwright.postproc.margins.draws import draws_of, latin_hypercubes
from swirlwright.postproc.margins.figure import sensitivities
from swirlwright.postproc.margins.joint import Joint, joint_in, probability, rank_correlation
from swirlwright.postproc.margins.sample import margin_sample
from swirlwright.postproc.margins.values import Point
from swirlwright.postproc.sweeps.report_data import open_sweep
from swirlwright.postproc.sweeps.report_effects import inputs_of
from swirlwright.postproc.sweeps.store import Record
from swirlwright.postproc.verdict import in_doubt
from swirlwright.solver.casefile import parse_case, read_case, read_fan_file, vary
from swirlwright.solver.errors import ResultError
from swirlwright.solver.schema import Case

CASES = Path(__file__).parents[2] / "cases"


def by_length(case: Case) -> Record:
    """Stands the longer the shorter the mixing length is."""
    return standing(float(np.interp(case.model.length_constant, [0.07, 0.16], [1.0, 0.0])), case)


def test_more_draws_begin_with_the_fewer() -> None:
    """The first 5 of 64 draws are those of a sample of 5, so that a larger sample goes on with a smaller."""
    assert np.array_equal(latin_hypercubes(9, 64, 1)[:5], latin_hypercubes(9, 5, 1))
    assert latin_hypercubes(9, 1, 1).shape == (1, 9)
    assert not np.array_equal(latin_hypercubes(9, 5, 1), latin_hypercubes(9, 5, 2))


def test_draws_have_their_distributions() -> None:
    """Medians, ends and the 95 per cent of the normal distribution are those that are stated."""
    draws = {draw.name: draw for draw in draws_of(read_case(CASES / "table-top.toml"))}
    assert set(draws) == {
        "fan_curve_1", "fan_curve_2", "voltage", "discharge", "inflow_loss", "outflow_loss", "gap", "length_constant",
        "damping_beta", "radius_factor",
    }  # fmt: skip
    assert [draws["discharge"].at(s) for s in (0.0, 0.5, 1.0)] == [0.92, 1.0, 1.08]
    assert draws["length_constant"].at(0.5) == pytest.approx((0.07 * 0.16) ** 0.5, rel=1e-5)
    assert [draws["voltage"].at(s) for s in (0.025, 0.5, 0.975)] == [0.9, 1.0, 1.1]


@pytest.mark.parametrize("name", ["table-top", "hall", "laboratory"])
def test_every_draw_makes_a_valid_case(name) -> None:
    """At either end of each distribution a shipped case stays valid, and at the neutral value it stays what it was."""
    case = read_case(CASES / f"{name}.toml")
    for draw in draws_of(case):
        for share in (0.001, 0.999):
            vary(case, dict(draw.changes(draw.at(share))))
        same = vary(case, dict(draw.changes(draw.neutral)))
        assert same.model_dump() == case.model_dump(), draw.name


def test_the_most_sensitive_input_is_found(monkeypatch, tmp_path) -> None:
    """Where only the mixing length matters it comes first, surely negative, and the probability is the mean share."""
    make_up_runs(monkeypatch, by_length)
    found = margin_sample(steady_small(), 32, tmp_path / "out")
    first, *others = found.inputs
    assert first.name == "length_constant" and first.is_sure and first.correlation < -0.95
    assert sum(i.is_sure for i in others) <= 1
    assert found.answers == 32 and set(found.counts) == {"yes", "marginal", "no"}
    with xr.open_dataset(tmp_path / "out" / "sample.h5", engine="h5netcdf") as data:
        assert data.sizes["variant"] == 33
        sample = tomllib.loads(data.attrs["study_text"])["sample"]
        assert sample == {"method": "latin-hypercube", "count": 32, "seed": found.seed}
        assert json.loads(data.attrs["parameters"])[0] == "discharge" and "source" in data["discharge"].attrs
        shares = data["touchdown_share"].values[1:]
        assert data["length_constant"].item(0) == 0.09
        places = data["length_constant_quantile"].values
        assert np.log(data["length_constant"].values[1:] / 0.07) / np.log(0.16 / 0.07) == pytest.approx(
            places[1:], abs=1e-4
        )
    sweep = open_sweep(tmp_path / "out" / "sample.h5")
    assert sweep.is_random.tolist() == [False, *[True] * 32]
    given = next(i for i in inputs_of(sweep) if i.name == "length_constant")
    assert given.levels == 0 and given.place[1:] == pytest.approx(places[1:]) and np.isnan(given.place[0])
    counted = np.where(shares > 0.9, 1.0, np.where(shares < 0.1, 0.0, shares))
    assert found.probability.value == pytest.approx(counted.mean())
    assert found.probability.low < counted.mean() < found.probability.high
    labels = [text.get_text() for text in sensitivities(found).axes[0].get_yticklabels()]
    assert labels[0] == "mixing length over the width of a layer"


def test_a_larger_sample_goes_on(monkeypatch, tmp_path) -> None:
    """After 8 draws, 12 are 4 more; the verdict's own result carries the last."""
    make_up_runs(monkeypatch, by_length)
    margin_sample(steady_small(), 8, tmp_path / "out")
    rounds = make_up_runs(monkeypatch, by_length)
    found = margin_sample(steady_small(), 12, tmp_path / "out")
    assert sum(rounds) == 4 and found.data.sizes["variant"] == 13
    with h5py.File(tmp_path / "out" / "base.h5") as file:
        assert joint_in(dict(file.attrs)) == found
    assert Joint.of_json(found.as_json()) == found


def test_drawn_fans_have_other_pressures(monkeypatch, tmp_path) -> None:
    """Each draw names fan files of its own whose pressures are those of the curve times its draw; flows stay.

    Fans whose files bear one name in different folders stay two.
    """
    drawn = []

    def answer(case: Case) -> Record:
        drawn.append(case)
        return Record("done", numbers={"touchdown_share": 0.5, "touchdown_share_chance": 0.1})

    make_up_runs(monkeypatch, answer)
    text = (CASES / "table-top.toml").read_text()
    for place, name in (("a", "roof-120"), ("b", "base-60")):
        (tmp_path / place).mkdir()
        shutil.copy(CASES / "fans" / f"{name}.toml", tmp_path / place / "fan.toml")
        text = text.replace(f"fans/{name}.toml", f"{place}/fan.toml")
    found = margin_sample(parse_case(text, tmp_path / "table-top.toml"), 2, tmp_path / "out")
    assert found.counts == {"marginal": 2} and all(i.correlation is None for i in found.inputs)
    with xr.open_dataset(tmp_path / "out" / "sample.h5", engine="h5netcdf") as data:
        factors = {place: data[f"fan_curve_{k}"].values for k, place in enumerate("ab", start=1)}
    for n, variant in enumerate(drawn[1:], start=1):
        for place, name in (("a", variant.exhaust.fan), ("b", variant.supply.fans[0].file)):
            own = tomllib.loads((tmp_path / "out" / name).read_text())
            curve = tomllib.loads((tmp_path / place / "fan.toml").read_text())
            assert own["pressure"] == pytest.approx(np.array(curve["pressure"], dtype=float) * factors[place][n])
            assert own["flow"] == pytest.approx(read_fan_file(tmp_path / place / "fan.toml").flow)
    assert all(f[0] == 1.0 and abs(f[1:] - 1.0).max() <= 0.15 for f in factors.values())


def test_a_start_goes_where_the_fans_go(monkeypatch, tmp_path) -> None:
    """Draws of a transient case that begins from a result begin from it too; all others from the base's field."""
    shutil.copytree(CASES / "fans", tmp_path / "fans")
    with h5py.File(tmp_path / "begun.h5", "w") as file:
        file.attrs["title"] = "begun"
    text = (CASES / "start-up.toml").read_text()
    base = parse_case(text, tmp_path / "start-up.toml")
    starts = []

    def answer(case: Case) -> Record:
        starts.append(case.run.start_from)
        return standing(0.5, case)

    make_up_runs(monkeypatch, answer)
    margin_sample(vary(base, {"run.start_from": "begun.h5"}), 2, tmp_path / "out")
    averaged = {"run.start_from": "begun.h5", "run.mode": "steady", "events": []}
    margin_sample(vary(base, averaged), 2, tmp_path / "other")
    assert starts == ["begun.h5", "start.h5", "start.h5", "begun.h5", None, None]


def test_the_interval_is_clopper_pearson() -> None:
    """3 of 10: 6.67 to 65.2 per cent (tables, 95 per cent); a share of time lies within the counts on either side."""
    yes, no = (Point(1.0, None, word, share, 0.0, True) for word, share in (("yes", 1.0), ("no", 0.0)))
    found = probability([yes] * 3 + [no] * 7)
    assert (found.low, found.high) == (pytest.approx(0.0667, abs=1e-4), pytest.approx(0.6525, abs=1e-4))
    half = probability([yes] * 3 + [no] * 6 + [Point(1.0, None, "marginal", 0.5, 0.0, True)])
    assert half.value == pytest.approx(0.35) and half.low == found.low and half.high > found.high


def test_a_correlation_has_an_interval() -> None:
    """Order alone counts; the interval of 0.5 over 28 pairs is Fisher's; equal shares have none."""
    assert rank_correlation(range(20), np.exp(np.arange(20)), 1)[0] == pytest.approx(1.0)
    assert rank_correlation(range(20), [0.5] * 20, 1) == (None, None, None)
    rng = np.random.default_rng(4)
    x = rng.standard_normal(500)
    found, low, high = rank_correlation(x, x + rng.standard_normal(500), 1)
    assert low < found < high and high - low == pytest.approx(2 * 1.96 * (1.06 / 497) ** 0.5 * (1 - found**2), rel=0.05)


def test_no_answer_at_all_is_an_error(monkeypatch, tmp_path) -> None:
    """If every draw fails the first reason is told; the case as given alone is no answer."""
    make_up_runs(
        monkeypatch, lambda case: standing(1.0, case) if case.chamber.leak_area == 0.0 else Record("failed", "ran away")
    )
    with pytest.raises(ResultError, match="no draw came to an answer; the first: ran away"):
        margin_sample(steady_small(), 3, tmp_path / "out")


def test_the_verdict_shows_it(monkeypatch, tmp_path) -> None:
    """The verdict keeps its word, carries the probability, and says what it hangs on."""
    make_up_runs(monkeypatch, by_length)
    joint = margin_sample(steady_small(), 16, tmp_path / "out")
    judged = in_doubt(verdict_of("yes"), None, None, None, joint)
    assert judged.touchdown == "yes" and judged.joint == joint
    assert "over 16 draws" in joint.line() and "Most sensitive to mixing length" in joint.line()
    assert "rank correlation" in joint.text()
