"""What is still to be run, from records alone; no flow is solved here."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_study import STUDY, write_study

from swirlwright.postproc.sweeps import plan as sweep_plan
from swirlwright.postproc.sweeps.plan import Plan, Rules
from swirlwright.postproc.sweeps.store import Owner, Record, Store
from swirlwright.postproc.sweeps.sweep import sweep
from swirlwright.solver.errors import InputError
from swirlwright.solver.study_file import read_study
from swirlwright.solver.variants import variants_of

WARM = STUDY.replace("[[par", 'start = "neighbour"\n[[par', 1)
OWNER = Owner("sweep", "Small study", Path("study.toml"))
CASES = Path(__file__).parents[2] / "cases"


def plan_of(folder: Path, store: Store, text: str = WARM) -> Plan:
    return Plan(variants_of(read_study(write_study(folder, text))), Rules(), store)


def finish(plan: Plan, store: Store, index: int, status: str = "done") -> None:
    """Put the record, and the result if there is one, of a variant as it would be run now."""
    job = plan.jobs()[index]
    assert job is not None and plan.is_ready(job)
    store.keep(job.key, Record(status))  # type: ignore[arg-type]
    if status == "done":
        store.result(job.key).write_bytes(b"")


def test_a_variant_waits_for_its_neighbour(tmp_path: Path) -> None:
    """Of the six only the first is ready at first; its end makes those ready that start from it, and no others."""
    with Store.opened(tmp_path / "out", OWNER) as store:
        plan = plan_of(tmp_path, store)
        assert [job.index for job in plan.todo().values() if plan.is_ready(job)] == [0]
        finish(plan, store, 0)
        assert [job.index for job in plan.todo().values() if plan.is_ready(job)] == [1, 2]


def test_a_failed_neighbour_leaves_a_cold_start_until_it_is_retried(tmp_path: Path) -> None:
    """What starts from a failed variant starts cold under its own name; once that is retried, from it again."""
    with Store.opened(tmp_path / "out", OWNER) as store:
        plan = plan_of(tmp_path, store)
        warm = plan.jobs()[1]
        finish(plan, store, 0, "failed")
        cold = plan.jobs()[1]
        assert warm is not None and cold is not None
        assert cold.start == "" and cold.key == plan.key(1) != warm.key
        finish(plan, store, 1)
        assert 1 not in {job.index for job in plan.todo().values()}
    with Store.opened(tmp_path / "out", OWNER) as store:
        store.forget_failed()
        assert plan_of(tmp_path, store).jobs()[:2] == [plan.jobs()[0], warm]


def test_a_refused_neighbour_leaves_a_cold_start(tmp_path: Path) -> None:
    """Where the first variants are no valid cases, the first valid one starts cold, the next from it."""
    text = WARM.replace('["30 mm", "100 mm"]', '["30 mm", "300 mm"]')
    with Store.opened(tmp_path / "out", OWNER) as store:
        jobs = plan_of(tmp_path, store, text).jobs()
    assert jobs[:2] == [None, None]
    assert jobs[2] is not None and jobs[2].start == ""
    assert jobs[3] is not None and jobs[3].start == jobs[2].key


def test_a_lost_result_is_made_again_only_where_something_starts_from_it(tmp_path: Path) -> None:
    """Results go once all that starts from them is finished; one that is missed makes its variant run again."""
    with Store.opened(tmp_path / "out", OWNER) as store:
        plan = plan_of(tmp_path, store)
        for index in range(5):
            finish(plan, store, index)
            plan.drop_results()
        left = {path.stem for path in (tmp_path / "out" / "results").iterdir()}
        assert left == {plan.jobs()[4].key}  # type: ignore[union-attr]
        for path in (tmp_path / "out" / "results").iterdir():
            path.unlink()
        # The last starts from the fifth, that from the third, that from the first.
        assert [job.index for job in plan.todo().values()] == [0, 2, 4, 5]


def test_a_record_belongs_to_case_fans_start_and_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A comment in the base case leaves a variant's key; a value, a fan file, a start and a version change it."""
    text = 'title = "t"\nbase = "c.toml"\n[[parameters]]\nname = "a"\nkey = "chamber.height"\nvalues = [0.6]\n'
    case = (CASES / "table-top.toml").read_text()
    (tmp_path / "fans").mkdir()
    for name in ("base-60.toml", "roof-120.toml"):
        (tmp_path / "fans" / name).write_text((CASES / "fans" / name).read_text())

    def key(case_text: str) -> str:
        study = write_study(tmp_path, text)
        (tmp_path / "c.toml").write_text(case_text)
        with Store.opened(tmp_path / "out", OWNER) as store:
            return Plan(variants_of(read_study(study)), Rules(), store).key(0)

    first = key(case)
    assert key("# A remark.\n" + case) == first
    found = [first, key(case.replace('"20 mm"', '"21 mm"'))]
    (tmp_path / "start.h5").write_bytes(b"a flow")
    started = case.replace("[run]", '[run]\nstart_from = "start.h5"')
    found.append(key(started))
    (tmp_path / "start.h5").write_bytes(b"another flow")
    found.append(key(started))
    fan = tmp_path / "fans" / "roof-120.toml"
    fan.write_text(fan.read_text() + "\n# measured anew\n")
    found.append(key(case))
    monkeypatch.setattr(sweep_plan, "__version__", "99")
    found.append(key(case))
    assert len(set(found)) == 6


def test_a_torn_record_is_no_record(tmp_path: Path) -> None:
    """A record that is no whole JSON object of a record makes its variant run again, and harms nothing."""
    with Store.opened(tmp_path / "out", OWNER) as store:
        store.keep("a", Record("done", numbers={"core_radius": 0.1 + 0.2, "spin_up_time": None}))
        for name, text in {"b": '{"status": "do', "c": "[]", "d": '{"status": "done", "colour": 3}'}.items():
            (tmp_path / "out" / "records" / f"{name}.json").write_text(text)
    with Store.opened(tmp_path / "out", OWNER) as store:
        assert [store.get(name) is None for name in "abcd"] == [False, True, True, True]
        record = store.get("a")
        assert record is not None and record.numbers == {"core_radius": 0.1 + 0.2, "spin_up_time": None}


def test_a_folder_is_for_one_kind_and_one_study(tmp_path: Path) -> None:
    """An edited or moved study goes on in its folder; another study, and a margin, are refused by the name of the one
    it holds, also where a folder of an earlier release says no more than its files do.
    """
    for owner in (OWNER, Owner("sweep", "Edited", OWNER.path), Owner("sweep", "Edited", Path("moved/study.toml"))):
        with Store.opened(tmp_path / "out", owner) as store:
            store.keep("a", Record("done"))
    for owner, words in (
        (OWNER, 'holds the sweep of "Edited"'),
        (Owner("margin", "Edited", Path("moved/study.toml")), "that of a margin, holds a sweep"),
    ):
        with pytest.raises(InputError, match=words), Store.opened(tmp_path / "out", owner):
            pass
    (tmp_path / "out" / "study.json").unlink()
    (tmp_path / "out" / "base.h5").touch()
    with pytest.raises(InputError, match="out: must be an empty folder or that of a sweep, holds a margin"):
        sweep(write_study(tmp_path), tmp_path / "out")
    with pytest.raises(InputError, match="workers: must be at least 1, got 0"):
        sweep(write_study(tmp_path), tmp_path / "new", workers=0)
    assert not (tmp_path / "new").exists()
