"""`search`: the variant of a study that is least in something and keeps to its limits. Read `search` first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from swirlwright.postproc.searches.answer import Search
from swirlwright.postproc.searches.case import refuse_other_file, write_best
from swirlwright.postproc.searches.data import search_data, with_answer
from swirlwright.postproc.searches.goal import Goal
from swirlwright.postproc.searches.goal_reading import goal_of, refuse_missing_power
from swirlwright.postproc.searches.judgement import judged
from swirlwright.postproc.searches.rounds import Answer, Exploration, explore
from swirlwright.postproc.searches.space import Place, point_at, space_of
from swirlwright.postproc.sweeps.data import refuse_taken_names, write_csv, write_data_set
from swirlwright.postproc.sweeps.plan import Rules
from swirlwright.postproc.sweeps.store import Owner, Run, Store
from swirlwright.postproc.sweeps.sweep import refuse_workers, run_variants
from swirlwright.solver.errors import InputError
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.schema import Case
from swirlwright.solver.study_file import Study, read_study
from swirlwright.solver.variants import Variant, case_of, drawn, no_case, reason_of, unit_sample

# The best variant's case, in the folder of the search.
BEST = "best.toml"


def search(
    study: str | Path | Study,
    folder: str | Path | None = None,
    watch: Watch = SILENT,
    *,
    workers: int | None = None,
    retry_failed: bool = False,
) -> Search:
    """Find the variant of least objective that keeps to the constraints of a study.

    A sample of variants first, then rounds in which models of objective and constraints say which to run next. The
    same study gives the same variants, however many run at a time and however often it was stopped.

    Parameters
    ----------
    study : path or Study
        The study file, with `[objective]`.
    folder : path, optional
        Folder of the search; by default the study's name with `.search`, here. sweep.h5, sweep.csv and best.toml are
        written there.
    watch : Watch
        Told of the progress.
    workers : int, optional
        Variants at a time; by default the processors of this machine.
    retry_failed : bool
        Run variants again that failed.

    Returns
    -------
    Search
        The best variant and how well it is resolved; `data` is the data set of every variant that was run.

    Raises
    ------
    InputError
        If the study or the folder is wrong.
    SweepStopped
        On Ctrl-C.
    """
    study = study if isinstance(study, Study) else read_study(study)
    refuse_workers(workers)
    refuse_taken_names(study)
    goal = goal_of(study)
    space = space_of(study)
    assert study.sample is not None
    sample = unit_sample(study.sample.method, len(space.axes), study.sample.count, study.sample.seed)
    builder = _Builder(study)
    first = space.snapped(drawn(study, sample))
    refuse_missing_power(study, goal, builder.one_case(first))
    folder = default_folder(study) if folder is None else Path(folder)
    refuse_other_file(folder / BEST)
    with Store.opened(folder, Owner("search", study.title, study.path)) as store:
        if retry_failed:
            store.forget_failed()
        runs = _Runs(builder, goal, store, watch, workers)
        found = explore(
            space,
            first,
            study.refinement,
            runs.answers,
            seed=study.sample.seed,
            is_buildable=lambda place: builder.variant(0, place).case is not None,
            tell=lambda so_far: watch.message(_told(so_far)),
        )
        data = search_data(study, goal, runs.variants, runs.runs, found)
        answer = judged(study, goal, space, runs.variants, runs.runs, found, data)
        answer = replace(answer, data=with_answer(data, answer))
        write_data_set(answer.data, folder / "sweep.h5")
        write_csv(answer.data, folder / "sweep.csv")
        return replace(answer, case_path=write_best(answer, runs.variants, folder / BEST))


def default_folder(study: Study) -> Path:
    """`least-power.toml` has `least-power.search` in the working directory."""
    return Path(f"{study.path.stem}.search")


class _Builder:
    """Turns places into variants."""

    def __init__(self, study: Study):
        self.study = study
        self._built: dict[Place, Variant] = {}

    def variant(self, index: int, place: Place) -> Variant:
        """The variant at a place, with its place in the order of the search."""
        if place not in self._built:
            point = point_at(self.study, place)
            values = {p.name: value[0] for p, value in zip(self.study.parameters, point, strict=True)}
            try:
                self._built[place] = Variant(0, values, case_of(self.study, point), "", None)
            except InputError as error:
                self._built[place] = Variant(0, values, None, reason_of(error), None)
        return replace(self._built[place], index=index)

    def one_case(self, places: Sequence[Place]) -> Case:
        """The first valid case of some places.

        Raises
        ------
        InputError
            If there is none: the mistakes of the first.
        """
        for place in places:
            if (case := self.variant(0, place).case) is not None:
                return case
        try:
            return case_of(self.study, point_at(self.study, places[0]))
        except InputError as error:
            raise no_case(self.study, error) from error


class _Runs:
    """Runs what is asked for and keeps it in the order of asking."""

    def __init__(self, builder: _Builder, goal: Goal, store: Store, watch: Watch, workers: int | None):
        self._builder, self._goal, self._store, self._watch, self._workers = builder, goal, store, watch, workers
        self.variants: list[Variant] = []
        self.runs: list[Run] = []

    def answers(self, places: Sequence[Place]) -> list[Answer]:
        """The answers of all places, run where the store has no record."""
        study = self._builder.study
        self.variants = [self._builder.variant(n, place) for n, place in enumerate(places)]
        rules = Rules(study.time_limit, study.memory_limit, study.keep_results)
        self.runs, _ = run_variants(self.variants, rules, self._store, self._watch, workers=self._workers)
        return [self._goal.answer(v, run.record) for v, run in zip(self.variants, self.runs, strict=True)]


def _told(so_far: Exploration) -> str:
    """Where the search stands, in a line."""
    ended = max(t.round for t in so_far.trials)
    text = f"{len(so_far.trials)} variants, {f'round {ended}' if ended else 'the sample'} ended; "
    best = so_far.best(is_converged=False)
    if best is None:
        return text + "none keeps every constraint yet"
    return text + f"best so far variant {best}, objective {so_far.trials[best].answer.objective:.4g}"
