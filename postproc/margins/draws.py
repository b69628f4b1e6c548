"""What of a chamber is not known exactly, and how it is distributed: the draws of `margin --sample`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from swirlwright.solver.casefile import fan_file, fans_named, read_fan_file, to_toml
from swirlwright.solver.schema import Case
from swirlwright.solver.variants import unit_sample

# Subfolder of the drawn fan files.
DRAWN = "drawn-fans"
# Draws in each Latin hypercube.
CUBE = 16


@dataclass(frozen=True)
class Draw:
    """One uncertain quantity.

    Attributes
    ----------
    name, words, unit : str
        unit: SI, 1 for a factor.
    kind : "uniform", "log-uniform" or "normal"
    low, high : float
        Ends; of a normal distribution those between which 95 per cent lie.
    neutral : float
        The value of the case as given.
    source : str
        Where the distribution comes from.
    changes : callable
        From a value to the keys it changes; not for fan files.
    fan : str
        The fan file whose pressures it multiplies; empty for anything else.
    """

    name: str
    words: str
    unit: str
    kind: Literal["uniform", "log-uniform", "normal"]
    low: float
    high: float
    neutral: float
    source: str
    changes: Callable[[float], Mapping[str, Any]] = lambda value: {}
    fan: str = ""

    def at(self, share: float) -> float:
        """The value that a share, 0 to 1, of all draws stays below."""
        if self.kind == "uniform":
            value = self.low + share * (self.high - self.low)
        elif self.kind == "log-uniform":
            value = self.low * (self.high / self.low) ** share
        else:
            from scipy.stats import norm

            value = 0.5 * (self.low + self.high) + (self.high - self.low) / 2.0 * norm.ppf(share) / norm.ppf(0.975)
        return float(f"{value:.6g}")

    def text(self) -> str:
        """The distribution in words."""
        ends = f"{self.low:g} to {self.high:g}{'' if self.unit == '1' else f' {self.unit}'}"
        return f"normal, 95 % in {ends}" if self.kind == "normal" else f"{self.kind}, {ends}"


def draws_of(case: Case) -> tuple[Draw, ...]:
    """All that is drawn for a case, in a fixed order."""
    return (*_fans(case), *_holes(case), *_sides(case), *_model(case))


def _fans(case: Case) -> Iterator[Draw]:
    for number, name in enumerate(dict.fromkeys(name for _, name in fans_named(case)), start=1):
        yield Draw(
            f"fan_curve_{number}", f"pressure of {Path(name).stem} over its curve", "1", "uniform", 0.85, 1.15, 1.0,
            "makers' curves of small axial fans, +-15 per cent at every flow; common practice, no source", fan=name,
        )  # fmt: skip
    speeds = {}
    if case.exhaust is not None and case.exhaust.fan is not None:
        speeds["exhaust.fan_speed_ratio"] = case.exhaust.fan_speed_ratio
    if case.supply is not None:
        speeds |= {f"supply.fans.{n}.speed_ratio": f.speed_ratio for n, f in enumerate(case.supply.fans, start=1)}
    if speeds:
        yield Draw(
            "voltage", "supply voltage over the nominal, fan speed in proportion", "1", "normal", 0.9, 1.1, 1.0,
            "within 10 per cent for 95 per cent of the time: EN 50160, from memory; speed as of direct-current fans",
            lambda value: {key: _digits(value * speed) for key, speed in speeds.items()},
        )  # fmt: skip


def _holes(case: Case) -> Iterator[Draw]:
    given = {
        f"tubes.{i}.rows.{j}.discharge_coefficient": row.discharge_coefficient
        for i, tubes in enumerate(case.tubes, start=1)
        for j, row in enumerate(tubes.rows, start=1)
    }
    if given:
        yield Draw(
            "discharge", "discharge coefficient of all holes over the case's", "1", "uniform", 0.92, 1.08, 1.0,
            "drilled holes, +-8 per cent: 0.57 to 0.67 about 0.62; common practice, no source",
            lambda value: {key: _digits(value * number) for key, number in given.items()},
        )  # fmt: skip


def _sides(case: Case) -> Iterator[Draw]:
    chamber = case.chamber
    if chamber.open_share > 0.0:
        yield Draw(
            "inflow_loss", "loss of air drawn in through the sides", "1", "log-uniform", 0.04, 1.0,
            chamber.inflow_loss, "well rounded to re-entrant edge: Idelchik, from memory",
            lambda value: {"chamber.inflow_loss": value},
        )  # fmt: skip
        yield Draw(
            "outflow_loss", "loss of air leaving through the sides", "1", "uniform", 0.0, 1.0,
            chamber.outflow_loss, "none to one dynamic head: Idelchik, from memory",
            lambda value: {"chamber.outflow_loss": value},
        )  # fmt: skip
    if chamber.open_share < 1.0:
        # Panels meet floor, ceiling and each other.
        edges = 2.0 * chamber.perimeter + (4.0 * chamber.height if chamber.footprint == "square" else 0.0)
        yield Draw(
            "gap", "width of gaps along the edges of the panels", "m", "uniform", 0.0, 0.001, 0.0,
            "0 to 1 mm beside the leaks of the case; our own estimate, no source",
            lambda value: {"chamber.leak_area": _digits(chamber.leak_area + value * edges)},
        )  # fmt: skip


def _model(case: Case) -> Iterator[Draw]:
    model = case.model
    if model.closure == "mixing-length":
        yield Draw(
            "length_constant", "mixing length over the width of a layer", "1", "log-uniform", 0.07, 0.16,
            model.length_constant, "plane mixing layer to far wake: Launder and Spalding 1972, from memory",
            lambda value: {"model.length_constant": value},
        )  # fmt: skip
        yield Draw(
            "damping_beta", "damping of the mixing length by rotation", "1", "uniform", 4.5, 7.0,
            model.damping_beta, "Bradshaw 1969, J. Fluid Mech. 36:177, from memory",
            lambda value: {"model.damping_beta": value},
        )  # fmt: skip
    if case.chamber.footprint == "square":
        yield Draw(
            "radius_factor", "radius of the round model over the case's", "1", "uniform", 0.9, 1.1, 1.0,
            "+-10 per cent, our own doubt about a square box",
            lambda value: {"model.radius_factor": _digits(value * model.radius_factor)},
        )  # fmt: skip


def drawn_fans(case: Case, factors: Mapping[str, float], number: int, folder: Path) -> dict[str, Any]:
    """Write fan files with other pressures and return the keys that name them.

    Parameters
    ----------
    case : Case
    factors : mapping
        From fan file to the factor on its pressures.
    number : int
        Of the draw; the files are named by it and by their place among the fans, as two may bear one name.
    folder : Path
        The files stand in its `drawn-fans`.
    """
    renamed = {}
    for n, (name, factor) in enumerate(factors.items(), start=1):
        fan = read_fan_file(fan_file(case, name)).model_dump(mode="json", exclude_unset=True)
        fan["pressure"] = [_digits(factor * pressure) for pressure in fan["pressure"]]
        renamed[name] = f"{DRAWN}/{number:04d}-{n}-{Path(name).name}"
        (folder / DRAWN).mkdir(exist_ok=True)
        (folder / renamed[name]).write_text(to_toml(fan), encoding="utf-8")
    keys: dict[str, Any] = {}
    if case.exhaust is not None and case.exhaust.fan is not None:
        keys["exhaust.fan"] = renamed[case.exhaust.fan]
    if case.supply is not None:
        keys |= {f"supply.fans.{n}.file": renamed[fan.file] for n, fan in enumerate(case.supply.fans, start=1)}
    return keys


def latin_hypercubes(dimensions: int, count: int, seed: int) -> np.ndarray:
    """Latin hypercubes one after the other in the unit cube, (count, dimensions).

    Fewer are the first of more with the same seed. The head of a Sobol sequence would be too, but a few dozen of its
    points in ten dimensions make pairs of inputs go together, and indices then see effects that are not there.
    """
    rng = np.random.default_rng(seed)
    cubes = [unit_sample("latin-hypercube", dimensions, CUBE, rng) for _ in range(-(-count // CUBE))]
    return np.concatenate(cubes)[:count]


def _digits(value: float) -> float:
    """A number without the digits of round-off."""
    return float(f"{value:.9g}")
