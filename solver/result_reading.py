"""Reading result files: plain arrays for the measures, a lazy labelled data set, restart state."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import h5py
import numpy as np

from swirlwright.solver.errors import ResultError
from swirlwright.solver.result_journal import journal_path, recover
from swirlwright.solver.result_layout import (
    BUDGET,
    FORMAT,
    FORMAT_MAJOR,
    FORMAT_VERSION,
    FRAMES,
    PLACES,
    VARIABLES,
    Scales,
    series_variable,
)
from swirlwright.solver.schema import Case

if TYPE_CHECKING:
    import xarray


@dataclass(frozen=True)
class ResultData:
    """A result file as plain arrays, in SI whatever the file's form, cut at its last complete frame.

    Attributes
    ----------
    path : Path
        The file.
    attributes : dict
        Root attributes.
    time : ndarray
        Times of the frames [s], shape (n,).
    r, z, r_face, z_face : ndarray
        Cell centres and faces [m].
    frames : dict of ndarray
        Keyed as result_layout.FRAMES, shape (n, nz, nr).
    mean, std : dict of ndarray
        Time averages and standard deviations, keyed as the frames, shape (nz, nr); empty if there are none.
    budget : dict of ndarray
        Keyed as result_layout.BUDGET; empty where there are none.
    places : dict of ndarray
        side_open_fraction, hole_..., tube_...; those that the file has.
    history, probes : dict of ndarray
        Series of the groups of these names.
    """

    path: Path
    attributes: dict[str, Any]
    time: np.ndarray
    r: np.ndarray
    z: np.ndarray
    r_face: np.ndarray
    z_face: np.ndarray
    frames: dict[str, np.ndarray]
    mean: dict[str, np.ndarray]
    std: dict[str, np.ndarray]
    budget: dict[str, np.ndarray]
    places: dict[str, np.ndarray]
    history: dict[str, np.ndarray]
    probes: dict[str, np.ndarray]


def restart_path(path: str | os.PathLike[str]) -> Path:
    """Where the restart state of a run stands while the run goes on."""
    path = Path(path)
    return path.with_name(path.name + ".restart")


def load_result(path: str | os.PathLike[str]) -> ResultData:
    """Read a result file into plain arrays in SI.

    Raises
    ------
    ResultError
        If the file is missing, unreadable, in use, no result file, or of an unknown version.
    """
    with _opened(path) as file:
        scales = _scales(file)
        n = int(file.attrs["n_complete"])

        def read(names: Mapping[str, Any], prefix: str = "") -> dict[str, np.ndarray]:
            """Those of `names` that are in the file, keyed without the prefix, in SI."""
            found = {name: file[prefix + name] for name in names if prefix + name in file}
            values = {name: d[:n] if prefix + name in FRAMES else d[...] for name, d in found.items()}
            return {name: _in_si(value, prefix + name, scales) for name, value in values.items()}

        grid = read(dict.fromkeys(("r", "z", "r_face", "z_face")))
        return ResultData(
            path=Path(path),
            attributes=_attributes(file),
            time=_in_si(file["time"][:n], "time", scales),
            frames=read(FRAMES),
            mean=read(FRAMES, "mean_"),
            std=read(FRAMES, "std_"),
            budget=read(BUDGET),
            places=read(PLACES),
            history=_series(file, "history", scales),
            probes=_series(file, "probes", scales),
            **grid,
        )


def open_result(path: str | os.PathLike[str]) -> xarray.Dataset:
    """Open a result file as a lazy data set, as it stands in the file, cut at its last complete frame.

    Raises
    ------
    ResultError
        As `load_result`.
    """
    with _opened(path) as file:
        n = int(file.attrs["n_complete"])
    import xarray

    dataset = xarray.open_dataset(path, engine="h5netcdf")
    return dataset.isel(time=slice(0, n))


class NoRestart(ResultError):
    """The result is whole, but holds no state that a run could go on from."""


def read_attributes(path: str | os.PathLike[str]) -> dict[str, Any]:
    """The root attributes of a result, in SI; no array is read.

    Raises
    ------
    ResultError
        As `load_result`.
    """
    with _opened(path) as file:
        return _attributes(file)


def read_restart(path: str | os.PathLike[str]) -> dict[str, Any]:
    """The restart state of a result, nested as it was written.

    Of an interrupted run it is the last state saved beside the file, if that belongs to the same run.

    Raises
    ------
    ResultError
        As `load_result`; NoRestart if there is no restart state.
    """
    sidecar = restart_path(path)
    with _opened(path) as file:
        # A state beside the file is the newer one: of a run that has not finished, or was resumed and has not.
        if sidecar.exists():
            with _hdf5(sidecar) as state:
                if state.attrs.get("run_id") == file.attrs.get("run_id"):
                    return _state(state["restart"])
        if "restart" in file:
            return _state(file["restart"])
    raise NoRestart(f"{path}: holds no restart state, so a run cannot be continued from it")


def kept_case(attributes: Mapping[str, Any], name: str = "case_text") -> Case | None:
    """The case whose text the attribute `name` of a file holds; None if this release does not know its form."""
    try:
        return Case.model_validate(tomllib.loads(str(attributes.get(name, ""))))
    except ValueError:
        return None


@contextmanager
def _hdf5(path: str | os.PathLike[str]) -> Iterator[h5py.File]:
    """The file opened for reading, with failures put in words."""
    path = Path(path)
    if not path.is_file():
        raise ResultError(f"{path}: {_folder_text(path) if path.is_dir() else 'no such file'}")
    try:
        _mend(path)
        file = h5py.File(path, "r")
    except BlockingIOError:
        raise ResultError(f"{path}: a run is still writing this file; wait, or read a copy of it") from None
    except PermissionError:
        raise ResultError(f"{path}: cannot be read, permission denied") from None
    except OSError:
        if not h5py.is_hdf5(path):
            raise ResultError(f"{path}: not a result file (no HDF5)") from None
        raise ResultError(f"{path}: {_DAMAGED}") from None
    with file:
        try:
            yield file
        except (OSError, KeyError):
            raise ResultError(f"{path}: {_DAMAGED}") from None


# HDF5's own words on it help nobody.
_DAMAGED = "is damaged or was cut short, by an unfinished copy for instance; copy it anew, or solve the case again"


def _folder_text(folder: Path) -> str:
    """That it is a folder, and of which verb, if it holds what a sweep or a margin leaves."""
    if (folder / "sweep.h5").is_file():
        return f"is the folder of a sweep, not a result file; swirlwright report {folder} shows it"
    if (folder / "base.h5").is_file():
        return f"is the folder of a margin, not a result file; its result is {folder / 'base.h5'}"
    return "is a folder, not a result file"


def _mend(path: Path) -> None:
    """Finish the write in which a run was killed, where it was in the middle of one."""
    try:
        recover(path)
    except BlockingIOError:
        raise
    except OSError as error:
        raise ResultError(
            f"{path}: a run was killed while it wrote this file, which cannot be mended here "
            f"({error.strerror or error}); copy it with {journal_path(path).name} to a folder that can be written"
        ) from None


@contextmanager
def _opened(path: str | os.PathLike[str]) -> Iterator[h5py.File]:
    """As `_hdf5`, for a result file of a version that this release can read."""
    with _hdf5(path) as file:
        if _plain(file.attrs.get("format")) != FORMAT:
            if str(_plain(file.attrs.get("format"))).startswith("swirlwright-"):
                raise ResultError(
                    f"{path}: is a data set of many runs, not the result of one; swirlwright report {path} shows it"
                )
            raise ResultError(f"{path}: not a result file (attribute format is not {FORMAT})")
        version = str(_plain(file.attrs.get("format_version", "none")))
        if version.split(".")[0] != FORMAT_MAJOR:
            raise ResultError(
                f"{path}: result format {version} is unknown here; this release reads {FORMAT_MAJOR}.x "
                f"(it writes {FORMAT_VERSION})"
            )
        yield file


def _attributes(file: h5py.File) -> dict[str, Any]:
    return {name: _plain(value) for name, value in file.attrs.items()}


def _scales(file: h5py.File) -> Scales:
    names = ("length_scale", "velocity_scale", "density_scale")
    return Scales(*(float(file.attrs.get(name, 1.0)) for name in names))


def _in_si(values: np.ndarray, name: str, scales: Scales) -> np.ndarray:
    powers = VARIABLES[name].powers
    return values * scales.of(powers) if any(powers) else values


def _series(file: h5py.File, group_name: str, scales: Scales) -> dict[str, np.ndarray]:
    if group_name not in file:
        return {}
    group = file[group_name]
    n = int(group.attrs["n_complete"])
    return {name: dataset[:n] * scales.of(series_variable(name).powers) for name, dataset in group.items()}


def _state(group: h5py.Group) -> dict[str, Any]:
    return {name: _state(item) if isinstance(item, h5py.Group) else _plain(item[()]) for name, item in group.items()}


def _plain(value: Any) -> Any:
    """Scalars of h5py as Python's own."""
    if isinstance(value, bytes):
        return value.decode()
    return value.item() if isinstance(value, np.generic) else value
