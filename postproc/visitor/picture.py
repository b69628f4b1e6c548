"""The picture of a result: what a visitor sees of its fog, at which moment, and on which assumptions."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from swirlwright.postproc.visitor.optics import PANEL_LUMINANCE, inlet_extinction
from swirlwright.solver.errors import ResultError
from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.result_reading import kept_case
from swirlwright.solver.results import ResultData, load_result
from swirlwright.solver.schema import Case

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Ending of a picture -> bytes that stand in a file of its kind, and where.
STARTS: dict[str, tuple[bytes, int]] = {".png": (b"\x89PNG\r\n\x1a\n", 0), ".gif": (b"GIF8", 0), ".mp4": (b"ftyp", 4)}
ROWS = 800  # pixels of the chamber's height
DPI = 220
# Undershoots of the fog, as a share of undiluted fog, that the words under the picture tell; our own limit.
TOLD_UNDERSHOOT = 0.01


@dataclass(frozen=True)
class Picture:
    """What a picture shows.

    Attributes
    ----------
    file : str
        The picture.
    moment : str
        Which moment of the run.
    time : float
        Of the frame shown [s]; of an animation the last.
    is_converged : bool
    extinction : float or None
        Of undiluted fog [1/m].
    brightening : int
        How many times the camera lets in more light than one for which opaque fog is white.
    heights : tuple of float
        A quarter, half and three quarters of the height [m].
    depths : tuple of float
        Optical depth of the line of sight through the axis at these heights [1].
    assumptions : str
        View, light and what the lines are.
    """

    file: str
    moment: str
    time: float
    is_converged: bool
    extinction: float | None
    brightening: int
    heights: tuple[float, ...]
    depths: tuple[float, ...]
    assumptions: str

    def text(self) -> str:
        """The picture in words."""
        depths = ", ".join(f"{d:.3g} at {z:.3g} m" for z, d in zip(self.heights, self.depths, strict=True))
        lines = [] if self.is_converged else ["NOT CONVERGED: what is seen may change"]
        lines += [f"shown: {self.moment}", f"optical depth through the axis at t = {self.time:.4g} s: {depths}"]
        return "\n".join([*lines, self.assumptions])

    def as_json(self) -> dict[str, Any]:
        """The same for a machine, SI."""
        return {
            "file": self.file,
            "moment": self.moment,
            "time_s": self.time,
            "converged": self.is_converged,
            "inlet_extinction_per_m": self.extinction,
            "brightening": self.brightening,
            "optical_depths": [
                {"height_m": z, "optical_depth": d} for z, d in zip(self.heights, self.depths, strict=True)
            ],
            "assumptions": self.assumptions,
        }


def picture(result: Path | str, output: Path | str, *, time: float | None = None, watch: Watch = SILENT) -> Picture:
    """Write a picture (.png) or an animation (.gif, .mp4) of the chamber as a visitor sees it.

    Parameters
    ----------
    result : path
        Result file.
    output : path
        The picture; its ending says which kind.
    time : float, optional
        Moment to show [s], the nearest saved one; of an animation the end. See `moment_of` for the default.
    watch : Watch
        Told of what takes long.

    Raises
    ------
    ResultError
        If the result cannot be read, holds no readable case, or has no fog or too few frames for an animation; if the
        ending is another, or there is no encoder for .mp4.
    """
    output = Path(output)
    data, kind = load_result(result), output.suffix.lower()
    if kind not in STARTS:
        raise ResultError(f"{output}: a picture ends in {', '.join(STARTS)}")
    case = kept_case(data.attributes)
    if case is None:
        raise ResultError(f"{data.path}: the case text in this file cannot be read, so nothing can be drawn")
    if kind == ".png":
        figure, shown = still(data, case, time=time, watch=watch)
        part = output.with_name(f".{output.name}.{os.getpid()}.part")
        try:
            figure.savefig(part, format="png", dpi=DPI)
            os.replace(part, output)
        finally:
            part.unlink(missing_ok=True)
    else:
        from swirlwright.postproc.visitor.animation import animate

        shown = animate(data, case, output, until=time, watch=watch)
    return shown


def still(
    data: ResultData, case: Case, *, time: float | None = None, has_note: bool = True, watch: Watch = SILENT
) -> tuple[Figure, Picture]:
    """The picture as a figure, and what it shows; arguments as in `picture`.

    Without the note the assumptions are left to the page that the figure is in.
    """
    from swirlwright.postproc.visitor.figure import picture_figure
    from swirlwright.postproc.visitor.scene import build_scene, stops_for
    from swirlwright.postproc.visitor.streaks import streaks

    frame, moment = moment_of(data, case, time)
    scene = build_scene(data, case, ROWS)
    fog = fog_at(data, frame)
    stops = stops_for(scene, fog)
    lines = streaks(data, case, frame, watch)
    span = f"{lines.duration:.1f} s" if lines.duration < 10 else f"{lines.duration:.0f} s"
    from_dots = f"smoke of the last {span}" if lines.words == "streaklines" else f"the way of {span}"
    inks = "orange: from the fog inlet, blue: air; " if lines.fog else ""
    words = f"Lines: {lines.words}, {from_dots} from the dots; {inks}dashed: the round chamber of the computation."
    shown = describe(data, case, scene, frame, moment, stops, words)
    title, note = f"As a visitor sees it: {moment}", shown.assumptions if has_note else ""
    return picture_figure(data, scene, scene.image(fog, stops), lines, case, title, note), shown


def report_picture(data: ResultData, case: Case | None) -> dict[str, str] | None:
    """The picture for a page, `image` a data URI and `caption`; None where no fog could be seen."""
    from swirlwright.postproc.drawing import as_png_uri

    if case is None or "fog_concentration" not in data.frames or not finite_frames(data).size:
        return None
    figure, shown = still(data, case, has_note=False)
    return {"image": as_png_uri(figure, dpi=190), "caption": shown.assumptions}


def moment_of(data: ResultData, case: Case, time: float | None) -> tuple[int, str]:
    """Index of the frame to show, and which moment it is in words.

    At a given time the nearest saved one. Else of an averaged run the frame whose fog is nearest to the average over
    time: averages blur what no visitor sees blurred. Else the last, or if an event shuts the fog the last before that.

    Raises
    ------
    ResultError
        If there is no frame, or the time [s] lies outside those saved.
    """
    finite = finite_frames(data)
    if not finite.size:
        raise ResultError(f"{data.path}: holds no complete frame of finite numbers, so there is nothing to show")
    times = data.time[finite]
    if time is not None:
        if not times[0] <= time <= times[-1]:
            raise ResultError(
                f"{data.path}: time must be {times[0]:.4g} to {times[-1]:.4g} s, the saved frames, got {time:.4g}"
            )
        frame = int(finite[np.argmin(np.abs(times - time))])
        return frame, f"t = {data.time[frame]:.4g} s"
    if data.attributes.get("outcome") == "steady":
        return int(finite[-1]), "steady flow"
    name = "fog_concentration"
    if name in data.mean and name in data.frames:
        inside = finite[times >= float(data.attributes.get("window_start", times[0]))]
        if inside.size:
            volume = np.diff(data.r_face**2)[None, :] * np.diff(data.z_face)[:, None]
            apart = [float((((data.frames[name][k] - data.mean[name]) ** 2) * volume).sum()) for k in inside]
            frame = int(inside[np.argmin(apart)])
            return frame, f"t = {data.time[frame]:.4g} s, the moment nearest to the average"
    shut = min((event.at for event in case.events if event.fog == 0.0), default=np.inf)
    frame = int(finite[max(int(np.searchsorted(times, shut, side="right")) - 1, 0)])
    return frame, f"t = {data.time[frame]:.4g} s" + (", before the fog is shut" if shut < times[-1] else "")


def finite_frames(data: ResultData) -> np.ndarray:
    """Indices of the frames without infinities: a run that blew up leaves others."""
    shown = ("radial_velocity", "tangential_velocity", "axial_velocity", "fog_concentration")
    names = [name for name in shown if name in data.frames]
    whole = [all(np.isfinite(data.frames[name][k]).all() for name in names) for k in range(data.time.size)]
    return np.flatnonzero(whole)


def fog_at(data: ResultData, frame: int) -> np.ndarray:
    """Fog concentration of a frame (nz, nr), share of that in the inlet; zeros without fog."""
    fog = data.frames.get("fog_concentration")
    return np.zeros((data.z.size, data.r.size)) if fog is None else np.asarray(fog[frame])


def describe(data: ResultData, case: Case, scene: Any, frame: int, moment: str, stops: int, more: str) -> Picture:
    """What a picture of this frame shows, with its assumptions."""
    from swirlwright.postproc.fog.line_of_sight import optical_depth

    height = float(data.z_face[-1])
    heights = tuple(share * height for share in (0.25, 0.5, 0.75))
    fog = fog_at(data, frame)
    through = optical_depth(data.r_face, scene.extinction * fog, [0.0])[:, 0]
    extinction = inlet_extinction(case) if scene.extinction else None
    light = (
        "No fog in this result."
        if extinction is None
        else f"Fog: {extinction.words}. Light scattered once only. Dark panels: {100 * PANEL_LUMINANCE:.0f} % of the "
        "luminance of fog that nothing shows through, "
        + ("which is white." if not stops else f"brightened {2**stops} times.")
    )
    if scene.extinction and fog.min() < -TOLD_UNDERSHOOT:
        light += f" Numerical undershoots, down to {100 * fog.min():.0f} % of undiluted fog, are shown as clear air."
    words = scene.view.words
    return Picture(
        file=data.path.name,
        moment=moment,
        time=float(data.time[frame]),
        is_converged=bool(data.attributes.get("converged", 0)),
        extinction=None if extinction is None else extinction.value,
        brightening=2**stops,
        heights=heights,
        depths=tuple(float(d) for d in np.interp(heights, data.z, through)),
        assumptions=f"{words[0].upper()}{words[1:]} (assumed). {light} {more}",
    )
