"""How a result file is laid down in HDF5: labelled variables, growing series, commits, reserved room.

Functions of an open file; the order of calls that makes a file safe against a kill is in results.py.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from swirlwright.solver.errors import ResultError
from swirlwright.solver.result_journal import JournaledFile, recover
from swirlwright.solver.result_layout import FORMAT, FRAMES, VARIABLES, Scales, Variable, series_variable

# Room asked for beyond the raw bytes: chunk indices, attributes, series.
_MARGIN = 1 << 19


def set_attributes(file: h5py.File, attributes: Mapping[str, Any]) -> None:
    """Write root attributes: mappings and lists as JSON, flags as 0 or 1, None not at all."""
    for name, value in attributes.items():
        if isinstance(value, Mapping | list | tuple):
            value = json.dumps(value)
        elif isinstance(value, bool | np.bool_):
            value = int(value)
        if value is not None:
            file.attrs[name] = value


def put(file: h5py.File, name: str, values: Any, scales: Scales) -> h5py.Dataset:
    """Write a variable of the layout that has no time, replacing its values if it is there."""
    variable = VARIABLES[name]
    data = np.asarray(values)
    if any(variable.powers):
        data = data / scales.of(variable.powers)
    if name in file:
        file[name][...] = data
        return file[name]
    dataset = file.create_dataset(name, data=data)
    _label(dataset, variable, scales)
    if variable.dims != (name,):
        _attach(file, dataset, variable.dims)
    return dataset


def begin_frames(file: h5py.File, names: Iterable[str], scales: Scales) -> None:
    """Lay down empty frame variables along the unlimited time; z and r must be there."""
    time = file.create_dataset("time", shape=(0,), maxshape=(None,), dtype="f8", chunks=(512,))
    _label(time, VARIABLES["time"], scales)
    time.make_scale("time")
    shape = (file["z"].size, file["r"].size)
    for name in names:
        dataset = file.create_dataset(
            name,
            shape=(0, *shape),
            maxshape=(None, *shape),
            chunks=(1, *shape),
            dtype="f8",
            compression="gzip",
            compression_opts=1,
            shuffle=True,
        )
        _label(dataset, FRAMES[name], scales)
        _attach(file, dataset, FRAMES[name].dims)


def put_places(
    file: h5py.File,
    jets: Any,
    tubes: Mapping[str, np.ndarray] | None,
    side_open_fraction: np.ndarray | None,
    scales: Scales,
) -> None:
    """Write holes, tubes and the side's openings; a dimension of no length is left out."""
    if side_open_fraction is not None:
        put(file, "side_open_fraction", side_open_fraction, scales)
    holes = None if jets is None else vars(jets)
    for dim, source in (("tube", tubes), ("hole", holes)):
        if source is None:
            continue
        names = [name for name in VARIABLES if name.startswith(f"{dim}_")]
        values = {name: np.asarray(source[name.removeprefix(f"{dim}_")]) for name in names}
        size = next(iter(values.values())).size
        if size == 0:
            continue
        index = file.create_dataset(dim, data=np.arange(size))
        index.attrs["units"] = "1"
        index.attrs["long_name"] = f"{dim} number, counted from 0"
        index.make_scale(dim)
        for name, value in values.items():
            put(file, name, value, scales)


def append_series(
    file: h5py.File,
    group_name: str,
    dim: str,
    rows: Mapping[str, tuple[str | None, np.ndarray]],
    scales: Scales,
    places: Mapping[str, Mapping[str, float]] | None = None,
) -> None:
    """Add rows to a group of series, made at the first call; they count from the next commit on.

    `rows` maps a name to (None, values of shape (n,)) or (root dimension, values of shape (n, size)); when
    `dim` is not among them, it counts the rows.
    """
    n_new = len(next(iter(rows.values()))[1])
    begin = file[group_name][dim].shape[0] if group_name in file else 0
    if dim not in rows:
        rows = {dim: (None, np.arange(begin, begin + n_new, dtype=float)), **rows}
    if group_name not in file:
        _begin_series(file, group_name, dim, rows, scales, places or {})
    group = file[group_name]
    for name, (_, values) in rows.items():
        group[name].resize(begin + n_new, axis=0)
        group[name][begin:] = values / scales.of(series_variable(name).powers)


def _begin_series(
    file: h5py.File,
    group_name: str,
    dim: str,
    rows: Mapping[str, tuple[str | None, np.ndarray]],
    scales: Scales,
    places: Mapping[str, Mapping[str, float]],
) -> None:
    group = file.create_group(group_name, track_order=True)
    group.attrs["n_complete"] = np.int64(0)
    for name in sorted(rows, key=lambda name: name != dim):
        line, values = rows[name]
        size = values.shape[1:]
        chunks = (64 if size else 256, *size)
        dataset = group.create_dataset(name, shape=(0, *size), maxshape=(None, *size), chunks=chunks, dtype="f8")
        _label(dataset, series_variable(name), scales)
        dataset.attrs.update(places.get(name, {}))
        if name == dim:
            dataset.make_scale(dim)
            continue
        dataset.dims[0].attach_scale(group[dim])
        if line:
            dataset.dims[1].attach_scale(file[line])


def put_state(group: h5py.Group, state: Mapping[str, Any]) -> None:
    """Write a nested mapping of numbers, strings and arrays as it is."""
    for name, value in state.items():
        if isinstance(value, Mapping):
            put_state(group.create_group(name), value)
        else:
            group.create_dataset(name, data=value)


def commit(file: h5py.File, store: JournaledFile, *, to_disk: bool = False) -> None:
    """Let all that was written count: rows of the series, and what is in the file at all.

    fsync only at the end of a run: it guards against a power cut, not a kill, and costs as much as a frame.
    """
    for name, dim in (("history", "row"), ("probes", "probe_time")):
        if name in file:
            file[name].attrs.modify("n_complete", np.int64(file[name][dim].shape[0]))
    file.flush()
    store.commit()
    if to_disk:
        store.to_disk()


def cut_off(file: h5py.File, time: float, n_frames: int) -> None:
    """Keep `n_frames` frames, and rows of the series up to `time` (in the file's own unit), before a run goes on.

    Frames are counted: the last one of a run that was stopped lies off their interval and must go.
    """
    n = min(n_frames, int(file.attrs["n_complete"]))
    # The counter goes first: what is beyond it does not exist for a reader.
    file.attrs.modify("n_complete", np.int64(n))
    for name in ("time", *(name for name in FRAMES if name in file)):
        file[name].resize(n, axis=0)
    for name, key in (("history", "time"), ("probes", "probe_time")):
        if name in file and key in file[name]:
            group = file[name]
            rows = int(np.searchsorted(group[key][: int(group.attrs["n_complete"])], time, side="right"))
            group.attrs.modify("n_complete", np.int64(rows))
            for series in group.values():
                series.resize(rows, axis=0)


def reserve(handle: int, end: int, n_bytes: int) -> None:
    """Make sure that the disk can take `n_bytes` more beyond the end of a file before HDF5 begins with them.

    So a disk that is full is told before the work, not in the middle of it. Room that is not used stays at the end of
    the file until `trim`.

    Raises
    ------
    OSError
        If it cannot.
    """
    wanted = int(1.01 * n_bytes) + _MARGIN
    if not hasattr(os, "posix_fallocate"):
        told = os.fstatvfs(handle)
        if told.f_bavail * told.f_frsize < wanted:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return
    size = os.fstat(handle).st_size
    try:
        # From HDF5's own end, not the file's: room left over from the last time is used up first.
        os.posix_fallocate(handle, end, wanted)
    except OSError:
        os.ftruncate(handle, size)
        raise


def refuse_to_overwrite(path: Path) -> None:
    """Make sure that a file of this name may be replaced: it is a result, and no run is writing it.

    Raises
    ------
    ResultError
        If it may not.
    """
    if not path.exists():
        return
    try:
        recover(path)
        with h5py.File(path, "r+") as file:
            known = file.attrs.get("format") == FORMAT
    except BlockingIOError:
        raise ResultError(f"{path}: another run is writing this file; choose another name") from None
    except OSError as error:
        raise ResultError(
            f"{path}: exists, cannot be read and is not replaced; remove it or choose another name ({reason(error)})"
        ) from None
    if not known:
        raise ResultError(f"{path}: exists and is no result file, so it is not replaced; choose another name")


def reason(error: OSError) -> str:
    """The system's words where there are any, else HDF5's first line."""
    return os.strerror(error.errno) if error.errno else str(error).splitlines()[0]


def _label(dataset: h5py.Dataset, variable: Variable, scales: Scales) -> None:
    is_scaled = any(variable.powers) and not scales.is_si
    dataset.attrs["units"] = "1" if is_scaled else variable.units
    dataset.attrs["long_name"] = variable.long_name
    if is_scaled:
        dataset.attrs["scale"] = scales.of(variable.powers)
        dataset.attrs["scale_units"] = variable.units


def _attach(file: h5py.File, dataset: h5py.Dataset, dims: tuple[str, ...]) -> None:
    for axis, dim in enumerate(dims):
        dataset.dims[axis].attach_scale(file[dim])
