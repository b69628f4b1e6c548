"""The data set of a sweep: from its records to labelled arrays, one file and one table."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import h5netcdf
import numpy as np
import xarray as xr
from xarray.backends import H5NetCDFStore

from swirlwright import __version__
from swirlwright.postproc.measure_table import FIELD, WORDS, columns
from swirlwright.postproc.sweeps.store import Record, Run
from swirlwright.solver.casefile import fan_texts
from swirlwright.solver.errors import InputError
from swirlwright.solver.study_file import Parameter, Study
from swirlwright.solver.variants import Variant
from swirlwright.solver.whole_file import write_whole

FORMAT, FORMAT_VERSION = "swirlwright-sweep", "1.0"
OF_THE_RUN = {
    "variant": "number of the variant in the order of the study, from 0",
    "status": "done, not-converged, refused or failed",
    "reason": "why the variant is not done",
    "outcome": "how its run ended",
    "start": "number of the variant whose field it started from, -1 for none",
    "case_key": "name of its record and result in the sweep's folder",
}
# What became of the cold reruns, and their measures, beside those of the runs from a neighbour.
CHANCE = "touchdown_share_chance"
COLD_RUN = ("status", "reason")
COLD_NUMBERS = ("touchdown_share", CHANCE, *FIELD)
COLD_WORDS = ("touchdown", "structure", "regime")
# Ending of the coordinate that has the quantiles of a drawn parameter.
QUANTILE = "_quantile"
# Columns that a search adds: by them a data set is told to be that of one.
OF_A_SEARCH = ("round", "objective", "objective_predicted", "feasible")
# Combined standard errors by which two runs of a variant must differ to count as different; usual, 95 per cent.
DIFFERENT = 2.0


class Hysteresis(NamedTuple):
    """Variants rerun cold: how many with an answer, with another word for touchdown, and with a share of time that
    differs by more than chance.
    """

    rerun: int
    other_word: int
    beyond_chance: int

    def text(self) -> str:
        """Both counts."""
        return (
            f"{self.other_word} with another verdict, {self.beyond_chance} with a share of time that differs by more "
            "than twice the combined standard error"
        )


def refuse_taken_names(study: Study) -> None:
    """Refuse parameters named as something else in the data set.

    Raises
    ------
    InputError
        If there are any.
    """
    taken = {*columns(), *WORDS, *OF_THE_RUN, *OF_A_SEARCH}
    problems = [
        study.problem(("parameters", n, "name"), "must not be the name of a column of the data set", p.name)
        for n, p in enumerate(study.parameters)
        if p.name in taken or p.name.startswith("cold_")
    ]
    if problems:
        raise InputError(problems)


def data_set(study: Study, variants: Sequence[Variant], runs: Sequence[Run], cold: Mapping[int, Record]) -> xr.Dataset:
    """All variants as one data set.

    Parameters
    ----------
    study : Study
    variants, runs : sequence
        Of equal length.
    cold : mapping
        Records of the cold reruns by index of the variant.

    Returns
    -------
    xarray.Dataset
        A product has its parameters as dimensions, a sample the dimension `variant`.
    """
    is_product = study.sample is None
    dims = tuple(p.name for p in study.parameters) if is_product else ("variant",)
    shape = tuple(len(levels) for levels in study.levels) if is_product else (len(variants),)
    data = variables(variants, runs, cold, dims, shape)
    return xr.Dataset(data, _coordinates(study, variants), _attributes(study))


def variables(
    variants: Sequence[Variant],
    runs: Sequence[Run],
    cold: Mapping[int, Record],
    dims: tuple[str, ...] = ("variant",),
    shape: tuple[int, ...] = (-1,),
) -> dict[str, xr.Variable]:
    """What became of each variant, and every measure, as the variables of a data set.

    Parameters
    ----------
    variants, runs : sequence
        Of equal length.
    cold : mapping
        Records of the cold reruns by index of the variant; none: no `cold_` variables.
    dims, shape : tuple
        Of the data set; one dimension `variant` by default.
    """

    def put(values: Sequence[Any], dtype: Any, **attributes: Any) -> xr.Variable:
        return xr.Variable(dims, np.array(values, dtype=dtype).reshape(shape), attributes)

    data: dict[str, xr.Variable] = {}
    for name, values in _of_the_run(variants, runs).items():
        numeric = name in ("variant", "start")
        data[name] = put(values, np.int64 if numeric else object, long_name=OF_THE_RUN[name])
    records = [run.record for run in runs]
    data |= _measured(records, tuple(columns()), tuple(WORDS), put, "")
    if cold:
        reruns = [cold.get(variant.index) for variant in variants]
        for name in COLD_RUN:
            values = ["" if rerun is None else getattr(rerun, name) for rerun in reruns]
            data[f"cold_{name}"] = put(values, object, long_name=f"{OF_THE_RUN[name]}, rerun cold")
        data |= _measured(reruns, COLD_NUMBERS, COLD_WORDS, put, "cold_")
    return data


def _of_the_run(variants: Sequence[Variant], runs: Sequence[Run]) -> dict[str, list[Any]]:
    return {
        "variant": [variant.index for variant in variants],
        "status": [run.record.status for run in runs],
        "reason": [run.record.reason for run in runs],
        "outcome": [run.record.outcome for run in runs],
        "start": [-1 if run.start is None else run.start for run in runs],
        "case_key": [run.key for run in runs],
    }


def _measured(
    records: Sequence[Record | None],
    numbers: Sequence[str],
    words: Sequence[str],
    put: Callable[..., xr.Variable],
    prefix: str,
) -> dict[str, xr.Variable]:
    """Columns of measures: NaN or an empty text where a variant has none."""
    specs, found = columns(), {}
    cold = ", rerun cold" if prefix else ""
    for name in words:
        values: list[Any] = ["" if record is None else record.words.get(name, "") for record in records]
        found[prefix + name] = put(values, object, long_name=WORDS[name] + cold)
    for name in numbers:
        values = [None if record is None else record.numbers.get(name) for record in records]
        plain = [np.nan if value is None else value for value in values]
        found[prefix + name] = put(plain, float, units=specs[name].units, long_name=specs[name].long_name + cold)
    return found


def _coordinates(study: Study, variants: Sequence[Variant]) -> dict[str, xr.Variable]:
    found = {}
    for p, levels in zip(study.parameters, study.levels, strict=True):
        is_product = study.sample is None
        values = [level[0] for level in levels] if is_product else [v.values[p.name] for v in variants]
        is_number = study.kind(p).number is not None
        plain = np.array(values if is_number else [_as_text(v) for v in values], dtype=None if is_number else object)
        found[p.name] = xr.Variable((p.name if is_product else "variant",), plain, _meaning(study, p))
    return found


def _meaning(study: Study, p: Parameter) -> dict[str, Any]:
    what = ", ".join(p.moved) + ("" if p.of is None else f" over {p.of}")
    units = study.kind(p).units
    linked = [list(level) for level in study.levels[study.parameters.index(p)]]
    attributes = {"long_name": what, "values_json": json.dumps(linked)}
    return {"units": units, **attributes} if units else attributes


def _as_text(value: Any) -> str:
    return value if isinstance(value, str) else json.dumps(value)


def _attributes(study: Study) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "title": study.title,
        "parameters": json.dumps([p.name for p in study.parameters]),
        "study_text": study.text,
        "base_case_text": study.base_case.text,
        "fan_files_json": json.dumps(fan_texts(study.base_case)),
        "swirlwright_version": __version__,
    }


def counted(data: xr.Dataset) -> tuple[Counter[str], str]:
    """How many variants have each status, and that in words with what the cold reruns say."""
    number = Counter(str(status) for status in data["status"].values.ravel())
    text = f"{data['status'].size} variants: " + ", ".join(f"{n} {status}" for status, n in sorted(number.items()))
    if "cold_touchdown" in data:
        found = hysteresis(data)
        text += f"; of {found.rerun} rerun cold {found.text()}"
    return number, text


def hysteresis(data: xr.Dataset) -> Hysteresis:
    """How far the cold reruns disagree with the runs from a neighbour's field."""
    cold, warm = data["cold_touchdown"].values, data["touchdown"].values
    both = (cold != "") & (warm != "")
    return Hysteresis(int(both.sum()), int((both & (cold != warm)).sum()), int((both & differs_cold(data)).sum()))


def differs_cold(data: xr.Dataset) -> np.ndarray:
    """Where the share of time of the cold rerun differs by more than chance; False where an error is not known."""
    by = np.abs(data["cold_touchdown_share"].values - data["touchdown_share"].values)
    # Data sets of before have the error of the first run alone.
    errors = [data[name].values for name in (CHANCE, f"cold_{CHANCE}") if name in data]
    return np.asarray(by > DIFFERENT * np.sqrt(sum(error**2 for error in errors)))


def write_data_set(data: xr.Dataset, path: Path) -> None:
    """Write the data set as netCDF-4, whole or not at all."""
    # In memory first: on a full disk HDF5 crashes.
    image = io.BytesIO()
    with h5netcdf.File(image, "w") as file:
        data.dump_to_store(H5NetCDFStore(file, autoclose=False))
    write_whole(path, image.getbuffer())


def write_csv(data: xr.Dataset, path: Path) -> None:
    """Write the data set as a table, whole or not at all."""
    write_whole(path, csv_text(data).encode())


def csv_text(data: xr.Dataset) -> str:
    """The data set as a table, a row for each variant: the parameters first, then all else, units in the heading."""
    parameters = json.loads(data.attrs["parameters"])
    flat = data.reset_coords().stack({"_row": data["status"].dims}, create_index=False)
    names = ["variant", *parameters, *(str(name) for name in data.data_vars if name != "variant")]
    table = io.StringIO()
    writer = csv.writer(table, lineterminator="\n")
    writer.writerow([_heading(name, data[name].attrs.get("units", "")) for name in names])
    writer.writerows(zip(*([_cell(value) for value in flat[name].values] for name in names), strict=True))
    return table.getvalue()


def _heading(name: str, units: str) -> str:
    return f"{name} [{units}]" if units not in ("", "1") else name


def _cell(value: Any) -> str:
    if isinstance(value, float | np.floating):
        return "" if np.isnan(value) else repr(float(value))
    return str(value)
