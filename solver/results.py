"""Writing a result file while the run goes on, so that a kill at any moment leaves whole frames.

What stands in the file is told in solver/RESULT_FILE.md; names, units and scales are in result_layout.py, the
handling of HDF5 in result_storage.py, reading in result_reading.py (offered here too).
"""

from __future__ import annotations

import io
import os
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from enum import Enum
from pathlib import Path
from types import TracebackType
from typing import Any

import h5py
import numpy as np

from swirlwright.solver.errors import ResultError, SwirlwrightError, is_disk_full
from swirlwright.solver.result_journal import FileGone, JournaledFile
from swirlwright.solver.result_layout import (
    BUDGET,
    FORMAT,
    FORMAT_VERSION,
    FRAMES,
    MEANS,
    SI,
    VARIABLES,
    Scales,
    frame_fields,
)
from swirlwright.solver.result_reading import (
    ResultData,
    load_result,
    open_result,
    read_restart,
    restart_path,
)
from swirlwright.solver.result_storage import (
    append_series,
    begin_frames,
    commit,
    cut_off,
    put,
    put_places,
    put_state,
    reason,
    refuse_to_overwrite,
    reserve,
    set_attributes,
)
from swirlwright.solver.whole_file import write_whole

__all__ = ["ResultData", "ResultWriter", "WriteError", "load_result", "open_result", "read_restart"]

# A process that was ended leaves these words; finish() replaces them.
_UNFINISHED = {
    "outcome": "interrupted",
    "outcome_text": "the run was ended before it finished; the frames it had completed are whole",
    "converged": 0,
}


class WriteError(SwirlwrightError):
    """The result could not be written any further; what was completed before is in the file."""


class ResultWriter:
    """One result file, open for writing. A context manager: leaving it closes the file.

    Left without `finish`, the file says `interrupted`. All values are handed over in SI; a file in
    dimensionless form is divided by its scales here, and its attributes stay in SI.
    """

    def __init__(self, path: Path, store: JournaledFile, scales: Scales | None = None):
        self.path = path
        self._store, self._file = store, h5py.File(store, "r+")
        self.scales = _scales_in(self._file) if scales is None else scales
        self._n_complete = 0

    @classmethod
    def create(
        cls,
        path: str | os.PathLike[str],
        *,
        r: np.ndarray,
        z: np.ndarray,
        r_face: np.ndarray,
        z_face: np.ndarray,
        attributes: Mapping[str, Any],
        jets: Any = None,
        tubes: Mapping[str, np.ndarray] | None = None,
        side_open_fraction: np.ndarray | None = None,
        has_fog: bool = False,
        scales: Scales = SI,
    ) -> ResultWriter:
        """Begin a result file; an older result of this name is replaced.

        Parameters
        ----------
        path : path
            The file itself, not a temporary one: it can be read after a kill.
        r, z, r_face, z_face : ndarray
            Cell centres and faces [m].
        attributes : mapping
            Root attributes in SI. Mappings and lists become JSON, None is left out.
        jets : Jets, optional
            Any object with the attributes tube, row, height, radius, aim, elevation, diameter, speed,
            mass_flow, moment_arm, shape (n_holes,), SI.
        tubes : mapping, optional
            Keys x, y, flow, inner_diameter, outer_diameter, shape (n_tubes,), SI.
        side_open_fraction : ndarray, optional
            Shape (nz,).
        has_fog : bool
            Whether frames carry `fog_concentration`.
        scales : Scales
            What to divide by for a dimensionless file.

        Raises
        ------
        ResultError
            If the place cannot be written, is in use by another run, or holds a file that is no result.
        """
        path = Path(path)
        refuse_to_overwrite(path)
        # Laid down in memory: on a full disk HDF5 crashes, and a kill in these first moments leaves no half-made file.
        image = io.BytesIO()
        with h5py.File(image, "w", track_order=True) as file:
            set_attributes(file, {**attributes, **_head(scales), **_UNFINISHED})
            file.attrs["n_complete"] = np.int64(0)
            for name, values in {"z": z, "r": r, "z_face": z_face, "r_face": r_face}.items():
                put(file, name, values, scales).make_scale(name)
            begin_frames(file, frame_fields(has_fog), scales)
            put_places(file, jets, tubes, side_open_fraction, scales)
        try:
            write_whole(path, image.getbuffer())
        except OSError as error:
            raise _unwritable(path, error) from None
        restart_path(path).unlink(missing_ok=True)
        return cls(path, _stored(path), scales)

    @classmethod
    def resume(
        cls, path: str | os.PathLike[str], time: float, n_frames: int, attributes: Mapping[str, Any]
    ) -> ResultWriter:
        """Open a result again to go on: what is later is cut off, what is told at the end is dropped.

        Parameters
        ----------
        path : path
            The file.
        time : float
            Where the run goes on [s].
        n_frames : int
            Frames that it had written by then.
        attributes : mapping
            Root attributes as of now; the case may differ in its end.

        Raises
        ------
        ResultError
            If the file cannot be written or is in use by another run.
        """
        path = Path(path)
        refuse_to_overwrite(path)
        writer = cls(path, _stored(path))
        file = writer._file
        with writer._guarded():
            cut_off(file, time / writer.scales.of(VARIABLES["time"].powers), n_frames)
            # The restart state stays until finish has a newer one: this run may be killed as well.
            for name in (*MEANS, *BUDGET):
                if name in file:
                    del file[name]
            set_attributes(file, {**attributes, **_UNFINISHED})
            writer._n_complete = int(file.attrs["n_complete"])
            writer._commit()
        return writer

    def __enter__(self) -> ResultWriter:
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.close()

    @property
    def n_complete(self) -> int:
        """Frames that are whole in the file."""
        return self._n_complete

    @property
    def is_open(self) -> bool:
        """Whether more can be written; a failed write closes the file."""
        return self._store.is_open

    def append_frame(self, time: float, fields: Mapping[str, np.ndarray]) -> None:
        """Add one frame; it counts only when all of it is in the file.

        Parameters
        ----------
        time : float
            Time of the frame [s].
        fields : mapping
            The frame variables of result_layout.FRAMES at cell centres, shape (nz, nr), SI.

        Raises
        ------
        WriteError
            If the disk is full.
        """
        names = [name for name in FRAMES if name in self._file]
        n = self._n_complete
        with self._guarded():
            self._reserve(sum(np.asarray(fields[name]).nbytes for name in names))
            for name in names:
                frames = self._file[name]  # looked up once: that takes as long as a write
                frames.resize(n + 1, axis=0)
                frames[n] = np.asarray(fields[name]) / self.scales.of(FRAMES[name].powers)
            times = self._file["time"]
            times.resize(n + 1, axis=0)
            times[n] = time / self.scales.of(VARIABLES["time"].powers)
            self._file.attrs.modify("n_complete", np.int64(n + 1))
            self._commit()
        self._n_complete = n + 1

    def write_network(self, jets: Any, tubes: Mapping[str, np.ndarray]) -> None:
        """Replace the holes' and tubes' flows by those of the network that agrees with the flow; as in `create`."""
        values = {f"hole_{name}": value for name, value in vars(jets).items()}
        values |= {f"tube_{name}": value for name, value in tubes.items()}
        with self._guarded():
            for name, value in values.items():
                if name in self._file:
                    self._file[name][...] = np.asarray(value) / self.scales.of(VARIABLES[name].powers)

    def write_means(
        self, mean: Mapping[str, np.ndarray], std: Mapping[str, np.ndarray], window: tuple[float, float]
    ) -> None:
        """Write time averages and deviations over `window` [s], keyed as frame variables, (nz, nr), SI."""
        values = {f"mean_{name}": field for name, field in mean.items()}
        values |= {f"std_{name}": field for name, field in std.items()}
        self._write_fields({name: values[name] for name in MEANS if name in values}, window)

    def write_budget(self, fields: Mapping[str, np.ndarray], window: tuple[float, float]) -> None:
        """Write all fields of result_layout.BUDGET, SI, averaged over `window` [s]; begin = end if steady."""
        self._write_fields({name: fields[name] for name in BUDGET}, window)

    def note(self, **attributes: Any) -> None:
        """Add root attributes that must not be lost should the run be killed."""
        with self._guarded():
            set_attributes(self._file, attributes)
            self._commit()

    def append_history(self, columns: Mapping[str, Any]) -> None:
        """Add rows to group `history`: each column a number or a sequence, all of one length, SI.

        Every call names the same columns; `iteration` or `step` and `time` should be among them.
        """
        rows = {name: (None, np.atleast_1d(np.asarray(c, dtype=float))) for name, c in columns.items()}
        self._append_series("history", "row", rows)

    def append_probes(
        self,
        times: Any,
        values: Mapping[str, tuple[str | None, Any]],
        places: Mapping[str, Mapping[str, float]] | None = None,
    ) -> None:
        """Add rows to group `probes`.

        Parameters
        ----------
        times : float or sequence
            Times of the rows [s].
        values : mapping
            Name (ending in a frame variable's name, as `mid_axial_velocity`) to (None, values of shape (n,))
            at a point, or (dimension, values of shape (n, size)) along a line over that root dimension. SI.
        places : mapping, optional
            Attributes of each, as {"mid_axial_velocity": {"r": 0.02, "z": 0.3}} [m].
        """
        n = np.atleast_1d(np.asarray(times, dtype=float))
        rows: dict[str, tuple[str | None, np.ndarray]] = {"probe_time": (None, n)}
        for name, (dim, value) in values.items():
            rows[name] = (dim, np.reshape(np.asarray(value, dtype=float), (n.size, -1) if dim else (n.size,)))
        self._append_series("probes", "probe_time", rows, places)

    def write_restart(self, state: Mapping[str, Any]) -> None:
        """Keep what a restart needs, unscaled and bit for bit, beside the result until `finish` folds it in.

        It goes to `<result>.restart` by a temporary file, fsync and one replacing rename, so that at any
        moment the old state or the new one is whole. Nested mappings become groups; numbers, strings and
        arrays are kept as they are.

        Raises
        ------
        WriteError
            If the disk is full.
        """
        image = io.BytesIO()
        with h5py.File(image, "w") as file:
            file.attrs["run_id"] = self._file.attrs["run_id"]
            put_state(file.create_group("restart"), state)
        with self._guarded():
            # The series up to this state must count before a run can be taken up from it.
            self._commit()
            write_whole(restart_path(self.path), image.getbuffer())

    def finish(self, outcome: str | Enum, outcome_text: str = "", *, converged: bool, **attributes: Any) -> None:
        """Mark how the run ended, fold the restart state in, bring all to the disk and close.

        Parameters
        ----------
        outcome : str or Enum
            One of steady, time-averaged, transient, not-converged, interrupted, out-of-time, blew-up;
            of an Enum its name, in lower case with hyphens.
        outcome_text : str
            What it means and what to do.
        converged : bool
            Whether the run counts as done.
        **attributes
            Further root attributes known only at the end, SI.
        """
        if isinstance(outcome, Enum):
            outcome_text = outcome_text or str(outcome.value)
            outcome = outcome.name.lower().replace("_", "-")
        sidecar = restart_path(self.path)
        with self._guarded():
            self._commit()
            if sidecar.exists():
                self._reserve(sidecar.stat().st_size)
                if "restart" in self._file:
                    del self._file["restart"]
                with h5py.File(sidecar, "r") as state:
                    state.copy("restart", self._file)
            end = {"outcome": outcome, "outcome_text": outcome_text, "converged": int(converged)}
            set_attributes(self._file, {**attributes, **end})
            self._commit(to_disk=True)
        self.close()
        sidecar.unlink(missing_ok=True)

    def close(self) -> None:
        """Close the file; harmless when it is closed."""
        if self._store.is_open:
            with self._guarded():
                self._file.close()
                self._store.commit()
                self._store.trim()
            self._store.close()

    def _commit(self, *, to_disk: bool = False) -> None:
        commit(self._file, self._store, to_disk=to_disk)

    def _reserve(self, n_bytes: int) -> None:
        reserve(self._store.handle, self._store.size, n_bytes)

    def _append_series(
        self,
        group: str,
        dim: str,
        rows: Mapping[str, tuple[str | None, np.ndarray]],
        places: Mapping[str, Mapping[str, float]] | None = None,
    ) -> None:
        with self._guarded():
            self._reserve(sum(values.nbytes for _, values in rows.values()))
            append_series(self._file, group, dim, rows, self.scales, places)

    def _write_fields(self, fields: Mapping[str, np.ndarray], window: tuple[float, float]) -> None:
        with self._guarded():
            self._reserve(sum(np.asarray(field).nbytes for field in fields.values()))
            set_attributes(self._file, {"window_start": float(window[0]), "window_end": float(window[1])})
            for name, values in fields.items():
                put(self._file, name, values, self.scales)
            self._commit()

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        """Turn a failed write into one clear message that says what is kept."""
        try:
            yield
        except OSError as error:
            # Given up as it was at its last commit, before HDF5 lets go of it.
            self._store.close()
            with suppress(OSError, RuntimeError):
                self._file.close()
            if isinstance(error, FileGone):
                raise WriteError(f"{error}; run again, and leave it there until the run has ended") from None
            cause = "the disk is full" if is_disk_full(error) else f"writing failed: {reason(error)}"
            raise WriteError(
                f"{self.path}: {cause}; the {self._n_complete} frame(s) completed before are kept in it"
            ) from None


def _stored(path: Path) -> JournaledFile:
    """The file opened for writing.

    Raises
    ------
    ResultError
        If it cannot be, or another run has it.
    """
    try:
        return JournaledFile(path)
    except OSError as error:
        raise _unwritable(path, error) from None


def _unwritable(path: Path, error: OSError) -> SwirlwrightError:
    if is_disk_full(error):
        return WriteError(f"{path}: the disk is full; make room there or choose another place")
    return ResultError(f"{path}: cannot be written: {reason(error)}")


def _scales_in(file: h5py.File) -> Scales:
    return Scales(*(float(file.attrs[f"{name}_scale"]) for name in ("length", "velocity", "density")))


def _head(scales: Scales) -> dict[str, Any]:
    """The attributes of every file."""
    return {
        "Conventions": "CF-1.8",
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "run_id": uuid.uuid4().hex,
        "output_form": "si" if scales.is_si else "dimensionless",
        "length_scale": scales.length,
        "velocity_scale": scales.velocity,
        "density_scale": scales.density,
    }
