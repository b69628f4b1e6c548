"""The chamber in motion: the saved frames of a run as GIF or MP4, in true time or a stated number of times faster."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib import rc_context
from matplotlib.animation import FFMpegWriter
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from swirlwright.postproc.drawing import STYLE, length_unit
from swirlwright.postproc.visitor.figure import ALARM, LABEL, NIGHT, draw_scene, scene_size
from swirlwright.postproc.visitor.picture import Picture, describe, finite_frames, fog_at
from swirlwright.postproc.visitor.scene import Scene, build_scene, stops_for
from swirlwright.solver.errors import ResultError, SwirlwrightError
from swirlwright.solver.progress import Watch
from swirlwright.solver.results import ResultData
from swirlwright.solver.schema import Case

if TYPE_CHECKING:
    from PIL.Image import Image as Pixels

RATE = 10.0  # pictures a second, or as many as were saved if those are fewer
MOST_PICTURES = 240  # longer runs are shown faster
SPEEDS = (1, 2, 3, 4, 5, 6, 8, 10, 15, 20, 30, 50, 100, 200, 500, 1000)
ROWS = 560  # pixels of the chamber's height
DPI = 110
MARK = "#ffb27a"  # of an event on the bar of time
WORDS_HEIGHT = 0.3  # in; the strip below the scene with the clock


class EncoderError(SwirlwrightError):
    """The encoder of MP4 could not write the film."""


@dataclass(frozen=True)
class Timing:
    """Which frames are shown when.

    Attributes
    ----------
    frames : list of int
        Indices, one a picture.
    rate : float
        Pictures a second.
    speed : int
        Seconds of the run in one second of the animation.
    """

    frames: list[int]
    rate: float
    speed: int


def timing(times: np.ndarray) -> Timing:
    """Pictures at an even rate, each the saved frame nearest in time: none is made up.

    Parameters
    ----------
    times : (n,)
        Of the frames to show [s], at least two.
    """
    span = float(times[-1] - times[0])
    interval = float(np.median(np.diff(times)))
    # Faster films show more of the saved frames a second, up to RATE.
    fits = (s for s in SPEEDS if span * min(RATE, s / interval) / s + 1 <= MOST_PICTURES)
    speed = next(fits, SPEEDS[-1])
    rate = min(RATE, speed / interval)
    shown = times[0] + np.arange(int(span * rate / speed + 1e-9) + 1) * speed / rate
    after = np.clip(np.searchsorted(times, shown), 1, times.size - 1)
    nearest = after - (shown - times[after - 1] < times[after] - shown)
    return Timing([int(k) for k in nearest], rate, speed)


def animate(data: ResultData, case: Case, output: Path, *, until: float | None, watch: Watch) -> Picture:
    """Write the animation; arguments and errors as `visitor_picture.picture`."""
    finite = finite_frames(data)
    _refuse(data, finite, output, until)
    frames = finite if until is None else finite[data.time[finite] <= until + 1e-9]
    times = data.time[frames]
    plan = timing(times)
    plan = replace(plan, frames=[int(frames[k]) for k in plan.frames])
    scene = build_scene(data, case, ROWS)
    # One opening of the camera for all: the median of what some twenty pictures ask for.
    some = plan.frames[:: max(1, len(plan.frames) // 20)]
    stops = int(np.median([stops_for(scene, fog_at(data, k)) for k in some]))
    moment = f"t = {times[0]:.4g} to {times[-1]:.4g} s" + ("" if plan.speed == 1 else f", {plan.speed} times faster")
    pictures = _pictures(data, case, scene, stops, plan, watch)
    part = output.with_name(f".{output.name}.{os.getpid()}.part")
    try:
        (_write_gif if output.suffix.lower() == ".gif" else _write_mp4)(pictures, part, plan.rate)
        os.replace(part, output)
    finally:
        part.unlink(missing_ok=True)
        watch.finish()
    return describe(data, case, scene, plan.frames[-1], moment, stops, "Each picture is a saved frame.")


def _refuse(data: ResultData, finite: np.ndarray, output: Path, until: float | None) -> None:
    """Say what cannot be animated."""
    if "fog_concentration" not in data.frames:
        raise ResultError(f"{data.path}: holds no fog, so an animation would show nothing that moves")
    times = data.time[finite]
    if times.size < 2:
        raise ResultError(
            f"{data.path}: an animation needs two saved frames or more, this file has {times.size}; "
            'solve with run.mode = "transient", or ask for a .png'
        )
    if until is not None and not times[1] <= until <= times[-1]:
        raise ResultError(f"{data.path}: time must be {times[1]:.4g} to {times[-1]:.4g} s, got {until:.4g}")
    if output.suffix.lower() == ".mp4" and not FFMpegWriter.isAvailable():
        raise ResultError(f"{output}: MP4 needs the program ffmpeg, which is not on this machine; a .gif needs nothing")


def _pictures(
    data: ResultData, case: Case, scene: Scene, stops: int, plan: Timing, watch: Watch
) -> Iterator[np.ndarray]:
    """The pictures one after another, (rows, columns, 3) bytes; only fog, clock and bar are drawn anew."""
    with rc_context(STYLE):
        width, height = scene_size(scene, case)
        figure = Figure(figsize=(_even(width), _even(height + WORDS_HEIGHT)), dpi=DPI, facecolor=NIGHT)
        canvas = FigureCanvasAgg(figure)
        ax = figure.add_axes((0.0, WORDS_HEIGHT / (height + WORDS_HEIGHT), 1.0, height / (height + WORDS_HEIGHT)))
        converged = bool(data.attributes.get("converged", 0))
        first = scene.image(fog_at(data, plan.frames[0]), stops)
        shown = draw_scene(ax, scene, first, case, length_unit(data), is_converged=converged)
        clock, bar = _clock(figure, data, case, plan, (height + WORDS_HEIGHT))
        watch.start("animation", len(plan.frames))
        for number, frame in enumerate(plan.frames):
            shown.set_data(scene.image(fog_at(data, frame), stops))
            clock.set_text(_words(case, float(data.time[frame]), plan.speed))
            bar.set_xdata([0.02, 0.02 + 0.96 * number / max(1, len(plan.frames) - 1)])
            canvas.draw()
            yield np.asarray(canvas.buffer_rgba())[..., :3].copy()
            watch.update(number + 1)


def _clock(figure: Figure, data: ResultData, case: Case, plan: Timing, height: float) -> tuple[Any, Any]:
    """Clock and bar of time below the scene, with a mark at each event."""
    from matplotlib.lines import Line2D

    level = 0.07 / height
    figure.add_artist(Line2D([0.02, 0.98], [level] * 2, color="#33383e", linewidth=1.6))
    bar = Line2D([0.02, 0.02], [level] * 2, color=LABEL, linewidth=1.6)
    figure.add_artist(bar)
    begin, end = float(data.time[plan.frames[0]]), float(data.time[plan.frames[-1]])
    for event in case.events:
        if begin < event.at < end:
            at = 0.02 + 0.96 * (event.at - begin) / (end - begin)
            figure.add_artist(Line2D([at] * 2, [level * 0.3, level * 1.7], color=MARK, linewidth=1.2))
    return figure.text(0.02, 0.13 / height, "", color=LABEL, fontsize=8, va="bottom"), bar


def _words(case: Case, time: float, speed: int) -> str:
    """The clock's words: time, speed, and what was last switched."""
    words = f"{time:.1f} s" + ("" if speed == 1 else f"   {speed}× faster")
    past = [event for event in case.events if event.at <= time]
    if past:
        last = max(past, key=lambda event: event.at)
        changes = {name: getattr(last, name) for name in ("exhaust", "supply", "fog", "sides")}
        words += "   " + ", ".join(_change(name, value) for name, value in changes.items() if value is not None)
    return words


def _change(name: str, value: float | str) -> str:
    if isinstance(value, str):
        return f"{name} {value}"
    return f"{name} off" if value == 0.0 else f"{name} {100 * value:.0f} %"


def _even(inches: float) -> float:
    """The nearest length of an even number of pixels, which encoders of MP4 ask for."""
    return 2 * round(inches * DPI / 2) / DPI


def _write_gif(pictures: Iterator[np.ndarray], path: Path, rate: float) -> None:
    """All pictures share one palette, taken from the first ones, so that still parts do not flicker."""
    from PIL import Image

    first = Image.fromarray(next(pictures))
    palette = _palette(first)

    def reduced(picture: Pixels) -> Pixels:
        return picture.quantize(palette=palette, dither=Image.Dither.NONE)

    rest = (reduced(Image.fromarray(picture)) for picture in pictures)
    duration = 10 * max(2, round(100 / rate))  # GIF counts in hundredths of a second
    reduced(first).save(
        path, format="GIF", save_all=True, append_images=rest, duration=duration, loop=0, optimize=False
    )


def _palette(first: Pixels) -> Pixels:
    """256 colours: those of the words, a few of the first picture's, and the fog's tint from black to white."""
    from PIL import Image

    from swirlwright.postproc.visitor.optics import encoded
    from swirlwright.postproc.visitor.scene import FOG_TINT

    words = [round(255 * share) for ink in (LABEL, ALARM, MARK) for share in to_rgb(ink)]
    own = words + (first.quantize(53).getpalette() or [])[: 3 * 53]
    steps = np.linspace(0.0, 1.0, 256 - len(own) // 3)[:, None] ** 2.2
    fog = np.round(255 * encoded(steps * FOG_TINT)).astype(int).ravel().tolist()
    image = Image.new("P", (1, 1))
    image.putpalette(own + fog)
    return image


def _write_mp4(pictures: Iterator[np.ndarray], path: Path, rate: float) -> None:
    """Through ffmpeg, as matplotlib finds it: H.264, which browsers and projectors play."""
    import subprocess

    from matplotlib import rcParams

    first = next(pictures)
    size = f"{first.shape[1]}x{first.shape[0]}"
    raw = ["-f", "rawvideo", "-pix_fmt", "rgb24", "-s", size, "-r", f"{rate:.6g}", "-i", "-"]
    film = ["-an", "-c:v", "libx264", "-pix_fmt", "yuv420p", "-crf", "18", "-movflags", "+faststart", "-f", "mp4"]
    command = [rcParams["animation.ffmpeg_path"], "-y", "-loglevel", "error", *raw, *film, str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE) as encoder:
        assert encoder.stdin is not None and encoder.stderr is not None
        try:
            encoder.stdin.write(first.tobytes())
            for picture in pictures:
                encoder.stdin.write(picture.tobytes())
            encoder.stdin.close()
        except BrokenPipeError:
            pass  # it has ended; why stands in its words
        said = encoder.stderr.read().decode(errors="replace").strip()
    if encoder.returncode != 0:
        lines = said.splitlines() or [f"exit status {encoder.returncode}"]
        raise EncoderError(f"{path.name}: ffmpeg failed: {lines[-1]}")
