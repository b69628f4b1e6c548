"""Do verdict, time shares, budgets, sheet and JSON say what the file holds?"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest

from swirlwright.postproc.budgets import budgets
from swirlwright.postproc.measures import measure
from swirlwright.postproc.verdict import REGIMES, cautions, lasting, verdict
from swirlwright.solver.errors import ResultError
from swirlwright.solver.results import load_result

# The first column of the measure table, the names that must hold.
NAMES = {
    *(
        "swirl_ratio",
        "swirl_number",
        "radial_reynolds_number",
        "vortex_reynolds_number",
        "core",
        "core_radius",
    ),
    *(
        "max_tangential_velocity",
        "core_pressure_deficit",
        "core_foot_height",
        "breakdown_height",
        "structure",
    ),
    *("breakdown", "regime", "touchdown", "spin_up_time", "budgets"),
}


def column(make_field, *, foot=0.0, sign=1.0, scale=1.0):
    """A core of 13 mm with rising air in it, its v gone below `foot`."""
    return make_field(
        n_r=40,
        n_z=40,
        u=lambda r, z: -0.1 + 0 * r * z,
        v=lambda r, z: scale * 0.06 / r * (1 - np.exp(-((r / 0.0116) ** 2))) * (z >= foot),
        w=lambda r, z: sign * np.exp(-((r / 0.03) ** 2)) * (0.1 + z),
    )


def test_standing_hanging_and_absent_columns(make_field, write_fields, tmp_path):
    """A core to the floor is touchdown, one that hangs at 0.2 m is not, solid rotation is no vortex."""
    fields = {
        "yes": column(make_field),
        "hangs": column(make_field, foot=0.2),
        "none": make_field(n_r=40, n_z=40, v=lambda r, z: r + 0 * z),
    }
    all_found = {k: measure(write_fields(tmp_path / f"{k}.h5", [f], [0.0])) for k, f in fields.items()}
    found = {k: m.verdict for k, m in all_found.items()}
    assert [(v.touchdown, v.structure) for v in found.values()] == [
        ("yes", "to the floor"),
        ("no", "aloft"),
        ("no", "no vortex"),
    ]
    assert found["yes"].regime == "single-celled column"
    # The foot is a cell's face, cells of 15 mm.
    assert all_found["hangs"].field.core_foot_height == pytest.approx(0.2, abs=0.015)
    assert "the core hangs with its foot" in found["hangs"].sentence
    assert found["none"].regime == "no vortex"


def test_core_with_sinking_air_does_not_stand(make_field, write_fields, tmp_path):
    """A core to the floor with sinking air in it is not touchdown but two-celled, and marked doubtful."""
    m = measure(write_fields(tmp_path / "a.h5", [column(make_field, sign=-1.0)], [0.0]))
    assert (m.verdict.touchdown, m.verdict.breakdown) == ("no", "two-celled")
    assert m.verdict.breakdown_touchdown == "yes"
    assert any("axisymmetry doubtful" in warning for warning in m.warnings)


def test_a_weak_or_wide_core_is_no_column(make_field, chamber, write_fields, tmp_path):
    """A core on the floor slower than the curtain, or wider than the exhaust, is told as such and does not stand."""
    m = measure(write_fields(tmp_path / "a.h5", [column(make_field)], [0.0]))
    assert m.verdict.touchdown == "yes"
    weak = verdict(replace(m.field, curtain_tangential_velocity=9.0), chamber, None)
    wide = verdict(m.field, replace(chamber, exhaust_radius=0.01), None)
    for found, reason in ((weak, "is less than the curtain's 9 m/s"), (wide, "is more than the exhaust's 10 mm")):
        assert (found.touchdown, found.structure, found.share_to_floor) == ("no", "to the floor", 1.0)
        assert reason in found.sentence


def test_a_column_lasts_at_least_one_turn():
    """Spells shorter than a turn of their core do not count, those at the ends of the window do."""
    there = np.array([1, 0, 1, 1, 0, 1, 1, 1, 0, 1], dtype=bool)
    found = lasting(there, np.full(10, 0.1), np.full(10, 0.25))
    assert found.astype(int).tolist() == [1, 0, 0, 0, 0, 1, 1, 1, 0, 1]


def test_strong_swirl_is_doubtful_only_with_an_inlet(make_field, chamber, write_fields, tmp_path):
    """S above 0.8 at the exhaust radius is marked in an inlet-driven chamber and not in one with jets."""
    m = measure(write_fields(tmp_path / "a.h5", [column(make_field)], [0.0]))
    strong = replace(m.field, swirl_ratio_at_exhaust_radius=0.9)
    for has_inlet in (False, True):
        marks = cautions(strong, m.verdict, replace(chamber, has_inlet=has_inlet))
        assert any("axisymmetry doubtful" in mark for mark in marks) == has_inlet


def test_coarse_core_is_marked_under_resolved(make_field, write_fields, tmp_path):
    """A core of 13 mm is under-resolved by 20 or 60 cells over 0.2 m and not by 160."""
    for n, expected in ((20, True), (60, True), (160, False)):
        field = make_field(n_r=n, n_z=40, v=lambda r, z: 0.06 / r * (1 - np.exp(-((r / 0.0116) ** 2))) + 0 * z)
        m = measure(write_fields(tmp_path / f"{n}.h5", [field], [0.0]))
        assert any("under-resolved" in warning for warning in m.warnings) == expected


@pytest.mark.parametrize("n_down, expected", [(20, "yes"), (10, "marginal"), (1, "no")])
def test_touchdown_is_a_share_of_time(make_field, write_fields, tmp_path, n_down, expected):
    """Above 90 per cent of the window on the floor is yes, below 10 no, between marginal."""
    down, up = column(make_field), column(make_field, foot=0.2)
    frames = [up] * (21 - n_down) + [down] * n_down
    path = write_fields(tmp_path / "a.h5", frames, list(np.arange(21.0)), outcome="time-averaged", window=(0.0, 20.0))
    m = measure(path)
    assert m.verdict.touchdown == expected
    # Trapezoidal weights: the last of 21 instants stands for half a step of 20.
    assert m.verdict.share_standing == pytest.approx((n_down - 0.5) / 20, abs=1e-12)
    chance = 100 * m.verdict.chance_standing
    assert f"({100 * m.verdict.share_standing:.0f} ± {chance:.0f} % of the time" in m.text()


def test_two_looks_are_half_an_air_change_apart(make_field, write_fields, tmp_path):
    """The exhaust's flow sets how often the air is changed: with 22 looks half of the time is known to 10 points."""
    down, up = column(make_field), column(make_field, foot=0.2)
    frames = [down, up] * 20 + [down]
    path = write_fields(tmp_path / "a.h5", frames, list(np.arange(41.0)), outcome="time-averaged", window=(0.0, 40.0))
    chamber = measure(path).chamber
    volume = np.pi * chamber.radius**2 * chamber.height
    with h5py.File(path, "a") as file:
        file.attrs["exhaust_flow"] = volume / (40.0 / 11.0)
    m = measure(path)
    assert m.chamber.air_change == pytest.approx(40.0 / 11.0) and m.chamber.looks(40.0) == pytest.approx(22.0)
    assert m.verdict.chance_standing == pytest.approx(0.5 / np.sqrt(24.0), rel=0.01)


def test_low_level_circulation_is_that_near_the_floor(make_field, write_fields, tmp_path):
    """A core whose v is gone below 0.2 m has none, one that reaches the floor has all of it."""
    for foot in (0.0, 0.2):
        m = measure(write_fields(tmp_path / f"{foot}.h5", [column(make_field, foot=foot)], [0.0])).field
        expected = 0.0 if foot else 2.0 * np.pi * 0.06
        assert m.low_level_circulation == pytest.approx(expected, rel=1e-6)


def test_statistics_are_over_the_window_only(make_field, write_fields, tmp_path):
    """Mean and spread come from the frames inside the averaging window and not from the spin-up before it."""
    fields = [column(make_field, scale=s) for s in (0.1, 1.0, 1.2, 1.0)]
    path = write_fields(tmp_path / "a.h5", fields, [0.0, 8.0, 9.0, 10.0], window=(8.0, 10.0))
    m = measure(path)
    largest = measure(write_fields(tmp_path / "b.h5", [fields[1]], [0.0])).field.max_tangential_velocity
    assert m.n_frames == 3
    assert m.over_time["max_tangential_velocity"].mean == pytest.approx(1.1 * largest, rel=1e-9)
    assert m.over_time["max_tangential_velocity"].spread == pytest.approx(0.1 * largest, rel=1e-9)
    assert m.over_time["breakdown_height"].share == 0.0


def test_readme_defines_every_name():
    """The measure table of postproc/README.md has a row for each name."""
    readme = (Path(__file__).parents[2] / "postproc" / "README.md").read_text()
    assert {name for name in NAMES if f"| `{name}` |" not in readme} == set()


def test_json_has_every_name_and_only_plain_finite_values(make_field, write_fields, tmp_path):
    """The JSON holds each name of the measure table and no NaN, also where a measure does not apply."""
    for name, field in {"a": column(make_field), "b": make_field(n_r=40, n_z=40)}.items():
        found = measure(write_fields(tmp_path / f"{name}.h5", [field], [0.0])).as_json()
        assert set(found) >= NAMES
        json.dumps(found, allow_nan=False)


def test_a_run_that_did_not_converge_says_so(make_field, write_fields, tmp_path):
    """Text and JSON both carry the words, the outcome and what to do."""
    m = measure(
        write_fields(
            tmp_path / "a.h5",
            [column(make_field)],
            [0.0],
            outcome="not-converged",
            outcome_text="raise run.max_iterations",
            converged=False,
        )
    )
    assert "NOT CONVERGED: raise run.max_iterations" in m.text()
    assert m.as_json()["verdict"].startswith("NOT CONVERGED") and m.as_json()["converged"] is False


def test_places_not_yet_evaluated_are_named(make_field, write_fields, tmp_path):
    """Margins, closure spread and grid error are None and printed as not evaluated, with what evaluates them."""
    m = measure(write_fields(tmp_path / "a.h5", [column(make_field)], [0.0]))
    assert m.as_json()["margins"] is m.as_json()["closure_spread"] is m.as_json()["grid_error"] is None
    assert m.text().count("not evaluated") == 3


def test_frames_that_are_not_finite_are_left_out(make_field, write_fields, tmp_path):
    """The last frame of a run that blew up is not measured; a file with none but such frames is refused."""
    good = column(make_field)
    bad = replace(good, v=np.full_like(good.v, np.nan))
    m = measure(write_fields(tmp_path / "a.h5", [good, bad], [0.0, 1.0], window=(0.0, 0.0), outcome="blew-up"))
    assert m.verdict.structure == "to the floor"
    with pytest.raises(ResultError, match="no complete frame of finite values"):
        measure(write_fields(tmp_path / "b.h5", [bad], [0.0]))


def test_every_pair_of_structure_and_breakdown_has_a_regime(make_field, chamber, write_fields, tmp_path):
    """No combination is without a word, and no two share one."""
    assert len(REGIMES) == 8 and len(set(REGIMES.values())) == 8
    m = measure(write_fields(tmp_path / "a.h5", [column(make_field)], [0.0]))
    assert verdict(m.field, chamber, None).regime in REGIMES.values()


@pytest.fixture
def closed_file(make_field, write_fields, tmp_path) -> Path:
    """A result whose sources are set, by this test, to what its random fluxes carry out of each cell."""
    field = column(make_field)
    rng = np.random.default_rng(3)
    n_z, n_r = field.z.size, field.r.size
    volume = np.pi * np.diff(field.r_face**2) * np.diff(field.z_face)[:, None]
    flux = {f"{q}_{d}": rng.normal(size=(n_z + (d == "z"), n_r + (d == "r"))) for q in "macv" for d in "rz"}
    for name in ("m_r", "c_r", "v_r"):
        flux[name][:, 0] = 0.0
    out = {q: np.diff(flux[f"{q}_r"], axis=1) + np.diff(flux[f"{q}_z"], axis=0) for q in "macv"}
    storage = rng.normal(size=(n_z, n_r))
    budget = {
        "mass_flux_r": flux["m_r"],
        "mass_flux_z": flux["m_z"],
        "angular_momentum_flux_r_advective": flux["c_r"],
        "angular_momentum_flux_z_advective": flux["c_z"],
        "angular_momentum_flux_r_viscous": flux["v_r"],
        "angular_momentum_flux_z_viscous": flux["v_z"],
        "mass_source": out["m"] / volume,
        "torque_source": (out["c"] + out["v"]) / volume + storage,
        "angular_momentum_storage": storage,
    }
    return write_fields(tmp_path / "closed.h5", [field], [0.0], budget=budget)


def test_closed_budgets_close(closed_file):
    """Fluxes, sources and storage that balance in each cell balance as a whole to round-off."""
    for budget in budgets(load_result(closed_file)):
        # Sums of some thousand numbers of order one.
        assert abs(budget.imbalance) < 1e-10 and budget.largest_cell_imbalance < 1e-12


def test_the_rows_of_a_budget_add_up_as_told(closed_file):
    """What the sheet prints under a budget's head adds up to its imbalance, what is stored included."""
    budget = budgets(load_result(closed_file))[1]
    assert budget.stored != 0.0
    lines = measure(closed_file).text().split("Budget of angular momentum")[1].split("\n\n")[0].splitlines()[1:]
    *rows, imbalance = lines
    assert any("taken up by the chamber (stored)" in row for row in rows) and "imbalance" in imbalance
    # Each row is rounded to seven digits.
    assert sum(float(row.split()[-1]) for row in rows) == pytest.approx(budget.imbalance, abs=1e-3)


def test_a_leak_shows_in_its_budget(closed_file):
    """Two units more of a flux through the exhaust are an imbalance of two in that budget."""
    data = load_result(closed_file)
    for name, which in (("mass_flux_z", 0), ("angular_momentum_flux_z_viscous", 1)):
        leaky = data.budget[name].copy()
        leaky[-1, 0] += 2.0
        found = budgets(replace(data, budget=data.budget | {name: leaky}))[which]
        assert found.imbalance == pytest.approx(-2.0, abs=1e-10)
        assert found.largest_cell_imbalance == pytest.approx(2.0, abs=1e-10)


def test_reversed_swirl_has_the_same_angular_momentum_budget(closed_file):
    """With v and all fluxes of angular momentum reversed, the entries are the same numbers."""
    data = load_result(closed_file)
    turned = {k: -x if "angular" in k or "torque" in k else x for k, x in data.budget.items()}
    v = -data.frames["tangential_velocity"]
    other = replace(data, budget=turned, frames=data.frames | {"tangential_velocity": v})
    assert budgets(other)[1].entries == pytest.approx(budgets(data)[1].entries, rel=1e-12)
