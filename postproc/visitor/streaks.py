"""Lines of smoke in a vertical and in a horizontal section.

Where the saved frames follow the flow closely enough the lines are streaklines: what left one point over the last
seconds, carried by the frames, linear between them in time and place. Otherwise, and in a steady flow, where both are
the same, they are streamlines of the one frame that is shown.

The vertical section leaves out the turning (all angles are laid into one half plane). The horizontal one leaves out
the rise: it shows how air of that height turns and closes in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from swirlwright.solver.progress import SILENT, Watch
from swirlwright.solver.results import ResultData
from swirlwright.solver.schema import Case

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Frames follow the flow if it changes by less than this from one to the next, root mean square of the velocity in the
# half plane over that of its change: common practice, no source.
LARGEST_CHANGE = 0.3
# Of the smoke from a point, as shares of the oldest: finer where it is fresh.
AGES = np.linspace(0.0, 1.0, 320) ** 1.5
TORN = 0.06  # of the chamber's height: smoke farther apart than this is torn too thin to be drawn
TURNS = 1.25  # of a line of the horizontal section at most, or it covers itself
# Of the integration, relative to the place and to where it began. Through frames, which are linear between cells and
# times, a thousandth moves the lines of the hall by less than a millimetre, and takes an eighth of the time.
TOLERANCE, TOLERANCE_IN_FRAMES = 1e-5, 1e-3


@dataclass(frozen=True)
class Streaks:
    """Lines of both sections; a line of NaN in one is where the smoke is torn.

    Attributes
    ----------
    fog, air : list of (n, 2)
        Lines of the vertical section from the fog inlet and from points in the air: radius and height [m], freshest
        smoke first.
    level : list of (n, 2)
        Lines of the horizontal section: radius [m] and angle from where they began [rad]; turn them at will.
    height : float
        Of the horizontal section [m].
    duration : float
        Age of the oldest smoke of the vertical section [s].
    words : str
        What they are: streaklines or streamlines, and of when.
    """

    fog: list[Array]
    air: list[Array]
    level: list[Array]
    height: float
    duration: float
    words: str


class Carrier:
    """Velocity at any place and time: linear between cell centres and frames, zero outside the chamber."""

    def __init__(self, result: ResultData, case: Case, times: Array, fields: list[tuple[Array, Array, Array]]):
        from scipy.interpolate import RegularGridInterpolator

        r = np.concatenate(([0.0], result.r, result.r_face[-1:]))
        z = np.concatenate(([0.0], result.z, result.z_face[-1:]))
        values = np.array([_to_the_walls(result, case, *field) for field in fields])
        if len(fields) == 1:
            times, values = np.array([-1e9, 1e9]), np.repeat(values, 2, axis=0)
        self._at = RegularGridInterpolator((times, z, r), values, bounds_error=False, fill_value=0.0)

    def __call__(self, time: Array, z: Array, r: Array) -> tuple[Array, Array, Array]:
        """Radial velocity [m/s], turning rate [rad/s] and axial velocity [m/s], each of the shape of `r`."""
        u, turning, w = self._at(np.stack((time, z, np.abs(r)), axis=-1)).T
        return u, turning, w


def streaks(result: ResultData, case: Case, frame: int, watch: Watch = SILENT) -> Streaks:
    """Lines of smoke as they lie at one of the saved frames.

    Parameters
    ----------
    result : ResultData
    case : Case
    frame : int
        Index of the frame.
    watch : Watch
        Told of each line.
    """
    frames, words = _frames_up_to(result, frame)
    times = result.time[frames]
    fields = [_field(result, k) for k in frames]
    carrier = Carrier(result, case, times, fields)
    end, top, radius = float(times[-1]), float(result.z_face[-1]), float(result.r_face[-1])
    span = _transit(result, fields[-1])
    if len(frames) > 1:
        span = min(span, end - float(times[0]))
    fog_r = case.fog.radius * np.array([0.15, 0.4, 0.65, 0.9]) if case.fog else np.zeros(0)
    seeds = [(r, 0.006 * top) for r in fog_r]
    seeds += [(0.97 * radius, share * top) for share in np.linspace(0.05, 0.95, 10)]
    seeds += [(0.5 * radius, share * top) for share in np.linspace(0.1, 0.9, 5)]
    rings = [(share * radius, top / 2) for share in (0.25, 0.55, 0.95)]
    points = seeds + rings
    spans = np.full(len(points), span)
    for ring in range(len(seeds), len(points)):
        spans[ring] = min(span, _turning_time(carrier, points[ring], end))
    is_level = np.arange(len(points)) >= len(seeds)
    if len(frames) > 1:
        lines = _streaklines(carrier, points, spans, end, is_level, watch)
    else:
        lines = _streamlines(carrier, points, spans, end, is_level)
    lines = [_inside(line, radius, top) for line in lines]
    upright = [_torn(line[:, :2], top, is_level=False) for line in lines[: len(seeds)]]
    level = [_torn(line[:, ::2], top, is_level=True) for line in lines[len(seeds) :]]
    n = len(fog_r)
    return Streaks(upright[:n], upright[n:], level, top / 2, span, words)


def _streaklines(
    carrier: Carrier, points: list[tuple[float, float]], spans: Array, end: float, is_level: Flags, watch: Watch
) -> list[Array]:
    """Where smoke of all ages up to `spans` [s] from each point (r, z) is at time `end`: radius, height, angle, (n, 3).

    Each piece of smoke has its own clock s = 0 to 1 from its release to the end, so that all from one point are one
    smooth differential equation: d(place)/ds = age * velocity.
    """
    lines = []
    watch.start("streaklines", len(points))
    for number, (r, z) in enumerate(points):
        ages = spans[number] * AGES
        pieces = _carried(
            carrier,
            np.full(AGES.size, r),
            np.full(AGES.size, z),
            ages,
            end - ages,
            bool(is_level[number]),
            np.ones(1),
            TOLERANCE_IN_FRAMES,
        )
        lines.append(pieces[0].T)
        watch.update(number + 1)
    watch.finish()
    return lines


def _streamlines(
    carrier: Carrier, points: list[tuple[float, float]], spans: Array, end: float, is_level: Flags
) -> list[Array]:
    """The way of air from each point (r, z) through the field at time `end`: radius, height, angle, (n, 3)."""
    r, z = np.array(points).T
    ways = _carried(carrier, r, z, spans, np.full(r.size, end), is_level, AGES, TOLERANCE)
    return [ways[:, :, number] for number in range(r.size)]


def _carried(
    carrier: Carrier,
    r: Array,
    z: Array,
    spans: Array,
    begin: Array,
    is_level: Flags | bool,
    clock: Array,
    tolerance: float,
) -> Array:
    """Radius, height and angle of pieces of air carried for `spans` [s], at shares `clock` of that: (shares, 3, n).

    In one field (all `begin` at its time) the time of the field stands still; in several it goes on from `begin`.
    By the Runge-Kutta method of Dormand and Prince 1980, J. Comp. Appl. Math. 6:19.
    """
    from scipy.integrate import solve_ivp

    n = r.size
    upright, around = np.where(is_level, 0.0, spans), np.where(is_level, spans, 0.0)

    def rate(s: float, place: Array) -> Array:
        r, z, _ = place.reshape(3, n)
        u, turning, w = carrier(begin + s * spans, z, r)
        return np.concatenate((spans * u, upright * w, around * turning))

    size = np.repeat((float((r + z).max()), float((r + z).max()), 10.0), n)
    start = np.concatenate((r, z, np.zeros(n)))
    end = float(clock[-1])
    way = solve_ivp(rate, (0.0, end), start, method="RK45", t_eval=clock, rtol=tolerance, atol=tolerance * size)
    return np.asarray(way.y.T.reshape(clock.size, 3, n))


def _frames_up_to(result: ResultData, frame: int) -> tuple[list[int], str]:
    """Frames that carry the smoke, the last the one shown; one alone for streamlines. And what the lines are."""
    if result.attributes.get("outcome") == "steady":
        return [frame], "streamlines (the flow is steady: streaklines are the same)"
    began = result.time[frame] - _transit(result, _field(result, frame))
    first = max(int(np.searchsorted(result.time, began)) - 1, 0)
    frames = list(range(first, frame + 1))
    if len(frames) > 2 and _change(result, frames) < LARGEST_CHANGE:
        return frames, "streaklines"
    why = "too few" if len(frames) <= 2 else "too far apart"
    return [frame], f"instantaneous streamlines (saved frames are {why} for streaklines)"


def _change(result: ResultData, frames: list[int]) -> float:
    """Median share by which the flow in the half plane changes from one frame to the next."""
    u, w = (result.frames[name][frames] for name in ("radial_velocity", "axial_velocity"))
    change = np.sqrt((np.diff(u, axis=0) ** 2 + np.diff(w, axis=0) ** 2).mean(axis=(1, 2)))
    size = np.sqrt((u**2 + w**2).mean(axis=(1, 2)))[1:]
    return float(np.median(change / np.maximum(size, 1e-300)))


def _field(result: ResultData, frame: int) -> tuple[Array, Array, Array]:
    u, v, w = (result.frames[f"{name}_velocity"][frame] for name in ("radial", "tangential", "axial"))
    return u, v, w


def _transit(result: ResultData, field: tuple[Array, Array, Array]) -> float:
    """Time of the smoke shown [s]: twice the chamber's height at the root mean square speed in the half plane."""
    ring = result.r[None, :] * np.diff(result.r_face)[None, :] * np.diff(result.z_face)[:, None]
    speed = np.sqrt(((field[0] ** 2 + field[2] ** 2) * ring).sum() / ring.sum())
    return 2.0 * float(result.z_face[-1]) / max(float(speed), 1e-9)


def _to_the_walls(result: ResultData, case: Case, u: Array, v: Array, w: Array) -> Array:
    """Radial velocity, turning rate v/r and axial velocity on the centres and the rims, (nz + 2, nr + 2, 3).

    On the rims the nearest cell's, with nothing going through what is solid.
    """
    values = np.pad(np.stack((u, v / result.r, w), axis=-1), ((1, 1), (1, 1), (0, 0)), mode="edge")
    values[:, 0, 0] = 0.0
    r = np.concatenate(([0.0], result.r, result.r_face[-1:]))
    fog = case.fog.radius if case.fog and case.fog.diffuser_radius is None else 0.0
    values[0, r >= fog, 2] = 0.0
    opening = case.exhaust.diameter / 2 if case.exhaust else 0.0
    values[-1, r >= opening, 2] = 0.0
    shut = result.places.get("side_open_fraction", np.ones(result.z.size)) == 0.0
    if case.inlet is None:
        values[1:-1][shut, -1, 0] = 0.0
    return values


def _turning_time(carrier: Carrier, seed: tuple[float, float], end: float) -> float:
    """Time in which air at a point goes round as often as a line may [s]."""
    _, turning, _ = carrier(np.array([end]), np.array([seed[1]]), np.array([seed[0]]))
    return 2.0 * np.pi * TURNS / max(abs(float(turning[0])), 1e-9)


def _inside(line: Array, radius: float, top: float) -> Array:
    """The line of radius, height and angle up to where it leaves the chamber or has gone round often enough."""
    outside = (line[:, 0] > radius) | (line[:, 1] > top) | (line[:, 1] < 0.0)
    outside |= np.abs(line[:, 2]) > 2.0 * np.pi * TURNS
    return line[: int(np.argmax(outside)) if outside.any() else outside.size]


def _torn(line: Array, top: float, *, is_level: bool) -> Array:
    """The line with NaN between pieces of smoke that lie far apart; single pieces are left out."""
    across = line[:, 0] * np.exp(1j * line[:, 1]) if is_level else line[:, 0] + 1j * line[:, 1]
    pieces = np.split(line, np.flatnonzero(np.abs(np.diff(across)) > TORN * top) + 1)
    tear = np.full((1, 2), np.nan)
    kept = [part for number, piece in enumerate(pieces) if number == 0 or len(piece) > 2 for part in (piece, tear)]
    return np.vstack(kept[:-1])
