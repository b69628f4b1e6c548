"""`measure`: from a result file to measures, verdict and budgets; definitions are in postproc/README.md."""

from __future__ import annotations

import json
import math
import os
from dataclasses import dataclass
from typing import Any

import numpy as np

from swirlwright.postproc.asymmetry import Asymmetry, asymmetry_of
from swirlwright.postproc.budgets import Budget, budgets
from swirlwright.postproc.core import Chamber, Field
from swirlwright.postproc.flow_numbers import FieldMeasures, measure_field, pressure_deficit
from swirlwright.postproc.fog.measures import FogMeasures, fog_of
from swirlwright.postproc.margins.joint import joint_in
from swirlwright.postproc.margins.values import margins_in
from swirlwright.postproc.sheet import as_json, as_text
from swirlwright.postproc.uncertainty import chance_error, studies_in
from swirlwright.postproc.verdict import Shares, Verdict, cautions, in_doubt, verdict
from swirlwright.solver.errors import ResultError
from swirlwright.solver.result_reading import ResultData, load_result

# Length of the running mean in the definition of the spin-up time.
SPIN_UP_WINDOW = 2.0


@dataclass(frozen=True)
class Statistic:
    """A measure over time: mean and standard deviation while it exists, and the share of time it does.

    chance is the standard error of the mean; None where the series is too short or too full of holes to tell.
    """

    mean: float | None
    spread: float | None
    share: float
    chance: float | None = None


@dataclass(frozen=True)
class Measures:
    """Everything `measure` tells of one result.

    Attributes
    ----------
    file, title : str
        Name of the file and title of its case.
    outcome, outcome_text, is_converged : str, str, bool
        How the run ended.
    field_text : str
        Which field `field` was taken from.
    field : FieldMeasures
        Of the steady, last or mean field.
    over_time : dict
        Statistic by measure, over the frames in the averaging window; empty for a single field.
    n_frames : int
        Frames that `over_time` is taken from.
    verdict : Verdict
        Structure, breakdown, regime and touchdown.
    spin_up_time : float or None
        [s]; `spin_up_reason` tells why there is none.
    budgets : tuple of Budget
        Mass and angular momentum; empty where the file has no fluxes.
    chamber : Chamber
        What was known of the chamber.
    warnings : tuple of str
        Cautions of the measures, then those of the run.
    torque : dict
        Torque of the jets [N m]: input (N m U d), delivered, lost; None where there are no jets.
    asymmetry : Asymmetry
        What a draught and unequal tubes would do: estimates, not solved.
    fog : FogMeasures or None
        None where there is no fog.
    """

    file: str
    title: str
    outcome: str
    outcome_text: str
    is_converged: bool
    field_text: str
    field: FieldMeasures
    over_time: dict[str, Statistic]
    n_frames: int
    verdict: Verdict
    spin_up_time: float | None
    spin_up_reason: str
    budgets: tuple[Budget, ...]
    chamber: Chamber
    warnings: tuple[str, ...]
    torque: dict[str, float | None]
    asymmetry: Asymmetry
    fog: FogMeasures | None

    def as_json(self) -> dict[str, Any]:
        """Plain values in SI for one JSON object: keys as in the measure table, the rest as name_unit."""
        return as_json(self)

    def text(self) -> str:
        """A sheet to read: the verdict, the measures with their units, budgets, warnings."""
        return as_text(self)


def measure(path: str | os.PathLike[str]) -> Measures:
    """Take all measures of a result file and judge it.

    Raises
    ------
    ResultError
        If the file cannot be read, or holds no complete frame of finite values.
    """
    return measure_data(load_result(path))


def measure_data(data: ResultData) -> Measures:
    """As `measure`, of a result already read."""
    chamber = chamber_of(data)
    frames = finite_frames(data)
    window = window_frames(data, frames)
    values, field_text = _main_values(data, frames, window)
    field = _field(data, values)
    if field.nu.min() < 0.0:
        raise ResultError(f"{data.path}: holds a negative effective viscosity, so nothing can be measured")
    m = measure_field(field, chamber)
    over_time, shares = _over_time(data, window, chamber)
    found = verdict(m, chamber, shares)
    judged = in_doubt(found, *studies_in(data.attributes), margins_in(data.attributes), joint_in(data.attributes))
    spin_up, spin_up_reason = spin_up_time(*deficit_series(data, frames, chamber))
    attributes = data.attributes
    beside = asymmetry_of(data, chamber, m)
    weights = time_weights(data.time[window])
    fog = fog_of(data, values.get("fog_concentration"), field, m, chamber, frames, window, weights)
    torque = {name: _number(attributes, f"torque_{name}") for name in ("input", "delivered", "lost")}
    return Measures(
        file=data.path.name,
        title=str(attributes.get("title", "")),
        outcome=str(attributes.get("outcome", "unknown")),
        outcome_text=str(attributes.get("outcome_text", "")),
        is_converged=bool(attributes.get("converged", 0)),
        field_text=field_text,
        field=m,
        over_time=over_time,
        n_frames=len(window) if over_time else 1,
        verdict=judged,
        spin_up_time=spin_up,
        spin_up_reason=spin_up_reason,
        budgets=budgets(data),
        chamber=chamber,
        warnings=cautions(m, judged, chamber)
        + beside.cautions()
        + (fog.cautions() if fog is not None else ())
        + tuple(json.loads(attributes.get("warnings_json", "[]"))),
        torque=torque,
        asymmetry=beside,
        fog=fog,
    )


def chamber_of(data: ResultData) -> Chamber:
    """What the measures need to know of the chamber, from the file's attributes."""
    radius = _number(data.attributes, "chamber_radius") or float(data.r_face[-1])
    height = _number(data.attributes, "chamber_height") or float(data.z_face[-1])
    exhaust = _number(data.attributes, "exhaust_flow") or 0.0
    edge = _number(data.attributes, "curtain_inner_edge")
    return Chamber(
        height=height,
        radius=radius,
        exhaust_radius=_number(data.attributes, "exhaust_radius") or None,
        curtain_edge=edge or 0.95 * radius,
        has_jets=edge is not None,
        has_inlet=_number(data.attributes, "inlet_to") is not None,
        density=_number(data.attributes, "density") or math.nan,
        viscosity=_number(data.attributes, "kinematic_viscosity") or math.nan,
        air_change=math.pi * radius**2 * height / exhaust if exhaust > 0.0 else None,
    )


def frame_field(data: ResultData, n: int) -> Field:
    """Frame n of a result as a field."""
    return _field(data, {name: values[n] for name, values in data.frames.items()})


def _field(data: ResultData, values: dict[str, np.ndarray]) -> Field:
    return Field(
        data.r,
        data.z,
        data.r_face,
        data.z_face,
        u=values["radial_velocity"],
        v=values["tangential_velocity"],
        w=values["axial_velocity"],
        p=values["pressure"],
        nu=values["effective_viscosity"],
    )


def _number(attributes: dict[str, Any], name: str) -> float | None:
    """A finite number among the attributes, or None."""
    value = attributes.get(name)
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None


def finite_frames(data: ResultData) -> np.ndarray:
    """Numbers of the frames without infinities: the last frames of a run that blew up are left out."""
    names = [name for name in data.frames if name != "fog_concentration"]
    finite = [n for n in range(data.time.size) if all(np.isfinite(data.frames[k][n]).all() for k in names)]
    if not finite:
        raise ResultError(f"{data.path}: holds no complete frame of finite values, so there is nothing to measure")
    return np.asarray(finite)


def window_frames(data: ResultData, frames: np.ndarray) -> np.ndarray:
    """Numbers of the frames in the averaging window; the last frame alone where there is no window."""
    begin, end = (_number(data.attributes, f"window_{side}") for side in ("start", "end"))
    if begin is None or end is None or not end > begin:
        return frames[-1:]
    slack = 1e-9 * (end - begin)
    inside = frames[(data.time[frames] >= begin - slack) & (data.time[frames] <= end + slack)]
    return inside if inside.size > 1 else frames[-1:]


def time_weights(time: np.ndarray) -> np.ndarray:
    """Trapezoidal weights of instants [s], summing to 1; one instant has weight 1."""
    if time.size == 1:
        return np.ones(1)
    weights = np.zeros(time.size)
    weights[:-1] += 0.5 * np.diff(time)
    weights[1:] += 0.5 * np.diff(time)
    return weights / weights.sum()


def _main_values(data: ResultData, frames: np.ndarray, window: np.ndarray) -> tuple[dict[str, np.ndarray], str]:
    """The mean field where there is one, else the last frame, keyed as the frames; and which it is."""
    if data.mean and all(np.isfinite(values).all() for values in data.mean.values()):
        return data.mean, "time average of the run"
    if window.size > 1:
        weights = time_weights(data.time[window])
        mean = {name: np.tensordot(weights, values[window], 1) for name, values in data.frames.items()}
        return mean, f"average of {window.size} frames"
    n = int(frames[-1])
    last = {name: values[n] for name, values in data.frames.items()}
    if data.attributes.get("outcome") == "steady":
        return last, "steady field"
    return last, f"last frame, t = {data.time[n]:.4g} s"


def _over_time(data: ResultData, window: np.ndarray, chamber: Chamber) -> tuple[dict[str, Statistic], Shares | None]:
    """Statistics of each measure over the window, and the shares of time behind the two touchdowns."""
    if window.size < 2:
        return {}, None
    weights = time_weights(data.time[window])
    rows = [measure_field(frame_field(data, int(n)), chamber) for n in window]
    scalars = [row.scalars() for row in rows]
    table = {name: [values[name] for values in scalars] for name in scalars[0]}
    span = float(np.ptp(data.time[window]))
    statistics = {name: _statistic(column, weights, chamber.looks(span)) for name, column in table.items()}
    return statistics, Shares.of(rows, weights, span, chamber)


def _statistic(column: list[float | None], weights: np.ndarray, looks: float | None) -> Statistic:
    exists = np.array([value is not None for value in column])
    share = float(weights[exists].sum())
    if share == 0.0:
        return Statistic(None, None, 0.0)
    series = np.array([math.nan if value is None else value for value in column])
    values, part = series[exists], weights[exists] / share
    mean = float(part @ values)
    return Statistic(mean, math.sqrt(float(part @ (values - mean) ** 2)), share, chance_error(series, looks))


def deficit_series(data: ResultData, frames: np.ndarray, chamber: Chamber) -> tuple[np.ndarray, np.ndarray]:
    """Times [s] and core pressure deficit at mid-height [Pa]: of every step if recorded, else of frames."""
    if "core_pressure_deficit" in data.history and "time" in data.history:
        return data.history["time"], data.history["core_pressure_deficit"]
    fields = [frame_field(data, int(n)) for n in frames]
    deficits = [f.at_height(pressure_deficit(f, chamber), 0.5 * chamber.height) for f in fields]
    return data.time[frames], np.asarray(deficits, dtype=float)


def spin_up_time(time: np.ndarray, deficit: np.ndarray) -> tuple[float | None, str]:
    """First time after which a 2 s running mean of the deficit stays within 10 per cent of its final mean.

    Parameters
    ----------
    time : ndarray
        Rising [s].
    deficit : ndarray
        Core pressure deficit [Pa].

    Returns
    -------
    time : float or None
        [s].
    reason : str
        Why there is none.
    """
    if time.size < 2 or time[-1] - time[0] < 2.0 * SPIN_UP_WINDOW:
        return None, f"the run has no {2.0 * SPIN_UP_WINDOW:g} s in time"
    area = np.concatenate([[0.0], np.cumsum(0.5 * (deficit[1:] + deficit[:-1]) * np.diff(time))])
    ends = time[time >= time[0] + SPIN_UP_WINDOW]
    running = (np.interp(ends, time, area) - np.interp(ends - SPIN_UP_WINDOW, time, area)) / SPIN_UP_WINDOW
    final = running[-1]
    outside = np.flatnonzero(np.abs(running - final) > 0.1 * abs(final))
    first = 0 if outside.size == 0 else int(outside[-1]) + 1
    # Settled only in its last window means that nothing shows it has settled.
    if ends[first] > time[-1] - SPIN_UP_WINDOW:
        return None, "the pressure deficit has not settled"
    return float(ends[first]), ""
