"""A sweep's data set as its pictures need it: columns along the variants, axes with units, how each variant ended."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import xarray as xr

from swirlwright.postproc.flow_numbers import RESOLVED_CELLS
from swirlwright.postproc.measure_table import OVER_TIME
from swirlwright.postproc.sweeps.data import FORMAT, FORMAT_VERSION, OF_THE_RUN, QUANTILE
from swirlwright.solver.errors import ResultError

NEEDED = ("status", "reason", "touchdown", "touchdown_share", "cautions")
# An axis over more than this factor is logarithmic; our own choice.
LOG_FROM = 30.0
SMALL_LENGTH = 1.5  # m; lengths that stay below read better in millimetres


@dataclass(frozen=True)
class Shown:
    """How a column is written: the value times `factor` has the unit `unit` (empty: none), and `words` name it."""

    factor: float
    unit: str
    words: str

    @property
    def label(self) -> str:
        """For an axis or the head of a table."""
        return f"{self.words} ({self.unit})" if self.unit else self.words

    def text(self, value: float) -> str:
        """A value [SI] with its unit."""
        return "–" if not np.isfinite(value) else f"{self.factor * value:.4g} {self.unit}".rstrip()


@dataclass(frozen=True)
class Axis:
    """A column as an axis of a picture.

    Attributes
    ----------
    name : str
        Of the column.
    place : ndarray
        Of each variant, (n,), in the unit of the label; of a text the number of its level.
    label : str
        With the unit.
    ticks : tuple of str
        Of texts the levels in order; empty for numbers.
    is_log : bool
        Whether it is logarithmic.
    """

    name: str
    place: np.ndarray
    label: str
    ticks: tuple[str, ...]
    is_log: bool

    @property
    def even(self) -> np.ndarray:
        """Places on a scale where equal lengths look equal."""
        return np.log(self.place) if self.is_log else self.place


@dataclass(frozen=True)
class Sweep:
    """A data set written by `sweep`, in memory."""

    path: Path
    data: xr.Dataset

    @cached_property
    def parameters(self) -> tuple[str, ...]:
        """Names of the parameters, in the order of the study."""
        return tuple(json.loads(self.data.attrs["parameters"]))

    @property
    def is_sample(self) -> bool:
        """Whether the variants lie along one dimension, drawn at random or not."""
        return self.data["status"].dims == ("variant",) and self.parameters != ("variant",)

    @property
    def size(self) -> int:
        """How many variants there are."""
        return int(self.data["status"].size)

    @cached_property
    def measures(self) -> tuple[str, ...]:
        """Names of all measures that are numbers."""
        return tuple(
            str(name)
            for name, column in self.data.data_vars.items()
            if column.dtype == float and name not in OF_THE_RUN
        )

    @cached_property
    def study(self) -> dict[str, Any]:
        """The study's tables as its text has them; empty if it cannot be read."""
        try:
            return tomllib.loads(self.data.attrs.get("study_text", ""))
        except tomllib.TOMLDecodeError:
            return {}

    @cached_property
    def is_random(self) -> np.ndarray:
        """Which variants were drawn at random over the whole ranges, (n,): of a search those it began with, of
        Saltelli's design those of its two samples, of a margin's sample all but the case as given.
        """
        if not self.is_sample or "sample" not in self.study:
            return np.zeros(self.size, dtype=bool)
        if self.pairs is not None:
            return np.arange(self.size) < 2 * self.pairs
        if "round" in self.data:
            return self.flat("round") == 0
        drawn = [found for name in self.parameters if (found := self.quantiles(name)) is not None]
        return np.all([np.ones(self.size, dtype=bool), *(np.isfinite(found) for found in drawn)], axis=0)

    @cached_property
    def pairs(self) -> int | None:
        """How many points each of the two samples of Saltelli's design has; None for another sample."""
        table = self.study.get("sample", {})
        return int(table["count"]) if table.get("method") == "saltelli" else None

    def quantiles(self, name: str) -> np.ndarray | None:
        """Of a parameter that is drawn from a distribution the quantile of each variant, 0 to 1, (n,); NaN for one that
        is no draw. None for any other parameter.
        """
        column = f"{name}{QUANTILE}"
        return None if column in self.parameters or column not in self.data.coords else self.flat(column)

    def chance(self, name: str) -> np.ndarray | None:
        """Standard error by chance of a measure, (n,): of one of the mean field that of its mean over time; None where
        there is none.
        """
        columns = (f"{name}_chance", f"{name}_time_chance", f"{name.removesuffix('_time_mean')}_time_chance")
        return next((self.flat(column) for column in columns if column in self.data), None)

    def parameter_table(self, name: str) -> dict[str, Any]:
        """The study's table of a parameter; empty if it cannot be read."""
        tables = [table for table in self.study.get("parameters", ()) if isinstance(table, dict)]
        return next((table for table in tables if table.get("name") == name), {})

    def levels(self, name: str) -> list[Any]:
        """Values of a parameter as the study lists them, or the two ends of a range that is sampled."""
        listed = json.loads(self.data[name].attrs.get("values_json", "[]"))
        is_number = self.data[name].dtype.kind in "fiu"
        found = [level[0] if is_number or isinstance(level[0], str) else json.dumps(level[0]) for level in listed]
        return found or list(dict.fromkeys(self.data[name].values.tolist()))

    def flat(self, name: str) -> np.ndarray:
        """A column or parameter along all variants, (n,)."""
        status = self.data["status"]
        return np.asarray(self.data[name].broadcast_like(status).transpose(*status.dims).values).ravel()

    def words(self, name: str) -> np.ndarray:
        """A text column along all variants, (n,)."""
        return np.array([str(value) for value in self.flat(name)])

    def shown(self, name: str) -> Shown:
        """Unit and name of a column or parameter for people."""
        column = self.data[name]
        words = name.replace("_", " ")
        if name in self.measures:
            words = str(column.attrs.get("long_name", words)).replace("r_0", "r₀").replace("r_i", "rᵢ")
        is_number = column.dtype.kind in "fiu"
        largest = float(np.nanmax(np.abs(column.values))) if is_number and np.isfinite(column.values).any() else 0.0
        if re.search("_share(_chance)?$", name) and name in self.measures:
            return Shown(100.0, "%", words)
        return Shown(*_unit(str(column.attrs.get("units", "")), largest), words)

    def axis(self, name: str) -> Axis:
        """A column or parameter as an axis."""
        values, shown = self.flat(name), self.shown(name)
        if values.dtype.kind not in "fiub":
            levels = list(dict.fromkeys(str(value) for value in values))
            place = np.array([levels.index(str(value)) for value in values], dtype=float)
            return Axis(name, place, shown.words, tuple(levels), False)
        place = shown.factor * values.astype(float)
        finite = place[np.isfinite(place)]
        is_positive = finite.size > 0 and float(finite.min()) > 0
        wide = is_positive and float(finite.max() / finite.min()) > LOG_FROM
        is_log = is_positive and (wide or self.parameter_table(name).get("spacing") == "log")
        return Axis(name, place, shown.label, (), is_log)

    def level_text(self, name: str, level: int) -> str:
        """A level of a parameter of a product, in words: "fan speed 0.62"."""
        value, shown = self.data[name].values[level], self.shown(name)
        is_number = self.data[name].dtype.kind in "fiu"
        return f"{shown.words} {shown.text(float(value)) if is_number else value}"

    @cached_property
    def status(self) -> np.ndarray:
        """How each variant ended, (n,)."""
        return self.words("status")

    @cached_property
    def is_solved(self) -> np.ndarray:
        """Which variants have measures, (n,)."""
        return np.isin(self.status, ("done", "not-converged"))

    @cached_property
    def is_under_resolved(self) -> np.ndarray:
        """Which variants have too few cells in the core, (n,)."""
        marked = self.has_caution("under-resolved")
        if "cells_in_core" in self.data:
            marked |= self.flat("cells_in_core") < RESOLVED_CELLS
        return marked & self.is_solved

    def has_caution(self, name: str) -> np.ndarray:
        """Which variants have a caution of this name, (n,)."""
        return np.array(
            [any(line.startswith(f"{name}:") for line in text.split("\n")) for text in self.words("cautions")]
        )


def format_of(path: Path) -> str:
    """The attribute `format` of an HDF5 file; empty where it is none or cannot be read."""
    try:
        with h5py.File(path) as file:
            return str(file.attrs.get("format", ""))
    except OSError:
        return ""


def open_sweep(path: Path) -> Sweep:
    """Read a sweep's data set, or that in a sweep's folder.

    Raises
    ------
    ResultError
        If there is none, or it cannot be read.
    """
    file = path / "sweep.h5" if path.is_dir() else path
    if not file.exists():
        raise ResultError(
            f"{path}: holds no sweep.h5 or base.h5, which sweep and margin write at their end; the same command goes "
            "on where it stopped"
        )
    if format_of(file) != FORMAT:
        raise ResultError(f"{file}: is no data set of a sweep, or is damaged")
    try:
        with xr.open_dataset(file, engine="h5netcdf") as opened:
            data = opened.load()
    except (OSError, ValueError, KeyError) as error:
        raise ResultError(f"{file}: cannot be read: {error}") from error
    version = str(data.attrs.get("format_version", "?"))
    if version.split(".")[0] != FORMAT_VERSION.split(".")[0]:
        raise ResultError(f"{file}: has format version {version}, this release reads {FORMAT_VERSION}")
    sweep = Sweep(file, data)
    if missing := [name for name in NEEDED if name not in data]:
        raise ResultError(f"{file}: is a sweep's data set without {', '.join(missing)}")
    try:
        missing = [name for name in sweep.parameters if name not in data.coords]
    except (KeyError, ValueError, TypeError) as error:
        raise ResultError(f"{file}: does not say which parameters it has") from error
    if missing or not sweep.parameters:
        raise ResultError(f"{file}: lacks the values of its parameters {', '.join(missing)}")
    return sweep


def refuse_unknown(sweep: Sweep, measures: Sequence[str], against: Sequence[str]) -> None:
    """Refuse names that the data set does not have, or has no value of on an axis.

    Raises
    ------
    ResultError
        With the names there are.
    """
    for option, names, known in (
        ("measure", measures, sweep.measures),
        ("against", against, (*sweep.parameters, *sweep.measures)),
    ):
        for name in names:
            if name not in known:
                near = difflib.get_close_matches(name, known, n=1)
                hint = f"did you mean {near[0]}? " if near else ""
                raise ResultError(f"{sweep.path}: --{option} {name}: {hint}There are {_listed(known)}")
    for name in against:
        if name in sweep.measures and not np.isfinite(sweep.flat(name)).any():
            raise ResultError(f"{sweep.path}: --against {name}: no variant has a value of it")
    if len(against) > 2 or len(set(against)) < len(against):
        raise ResultError(f"{sweep.path}: --against takes one name or two different ones, got {', '.join(against)}")


def _listed(known: Sequence[str]) -> str:
    """Names in a sentence; those over time and of cold reruns by their endings and beginnings alone."""
    endings = tuple(f"_{end}" for end in OVER_TIME)
    plain = [name for name in known if not name.endswith(endings) and not name.startswith("cold_")]
    rerun = " and, rerun cold, with cold_ before" if any(name.startswith("cold_") for name in known) else ""
    return f"{', '.join(plain)}; most measures also with {', '.join(endings)} behind{rerun}"


def _unit(units: str, largest: float) -> tuple[float, str]:
    """Factor on SI and unit as people write it."""
    if units == "m" and largest < SMALL_LENGTH:
        return 1000.0, "mm"
    if units == "m3/s" and largest < 1.0:
        return 1000.0, "L/s"
    if units in ("1", ""):
        return 1.0, ""
    return 1.0, re.sub(r"(?<=[a-z])[23]", lambda found: "²³"[int(found.group()) - 2], units)
