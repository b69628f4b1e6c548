"""What `scale` prints: numbers held and not held, choices of hold, duties, holes, tubes, fans."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from swirlwright.solver.fan_choice import Duty, FanChoice
from swirlwright.solver.scale_duties import is_pressure_free
from swirlwright.solver.scale_numbers import HELD
from swirlwright.solver.similarity import HOLDS, Factors

if TYPE_CHECKING:
    from swirlwright.solver.scaling import Scaled

HELD_BY = {"velocity": "the velocities", "spin-up": "the spin-up time", "reynolds": "the Reynolds number"}


def scale_text(s: Scaled) -> str:
    """The sheet a builder reads."""
    old, new = s.original.chamber, s.case.chamber
    lines = [
        s.case.title,
        "",
        f"{_length(old.width)} wide and {_length(old.height)} high becomes {_length(new.width)} wide and"
        f" {_length(new.height)} high, {s.factors.length:.4g} times as large.",
        f"Held besides the shape: {HELD_BY[s.hold]} (--hold {s.hold}).",
    ]
    for heading, part in (
        ("Numbers", _numbers(s)),
        ("What else could be held", _holds(s)),
        ("Duties, found from the air network", _duties(s)),
        ("What to drill", _drilling(s)),
        ("Fans of the exhaust", _fans(s.exhaust_fans, s)),
        ("Fans of the plenum", _fans(s.plenum_fans, s)),
        ("To know", _items(s.notes)),
        ("Cautions of the scaled air network (`check`)", _items(s.network.warnings)),
    ):
        found = list(part)
        lines += ["", heading, *found] if found else []
    return "\n".join(lines)


def _length(value: float) -> str:
    return f"{value:.4g} m" if value >= 1.0 else f"{1000 * value:.4g} mm"


def _items(texts: Sequence[str]) -> Iterator[str]:
    for text in texts:
        yield from wrap(text, 110, initial_indent="  - ", subsequent_indent="    ")


def _flow(value: float) -> str:
    return f"{3600 * value:.4g} m3/h"


def _numbers(s: Scaled) -> Iterator[str]:
    yield f"  {'':<40}{'original':>11}{'scaled':>11}{'change':>10}"
    for is_held in (True, False):
        yield "  held" if is_held else "  not held"
        for number in s.numbers:
            if number.is_held is not is_held:
                continue
            old, new = ("" if v is None else f"{v:.4g}" for v in (number.original, number.scaled))
            change = f"x {number.change:.3g}" if number.original is None or not is_held else ""
            name = f"{number.name} [{number.unit}]" if number.unit else number.name
            note = f"   {number.note}" if number.note and not is_held else ""
            yield f"    {name:<38}{old:>11}{new:>11}{change:>10}{note}".rstrip()


def _holds(s: Scaled) -> Iterator[str]:
    """The same chamber under each choice, by the rules of similarity."""
    choices = {hold: Factors.holding(s.factors.length, hold) for hold in HOLDS}
    yield f"  {'--hold':<26}" + "".join(f"{hold + (' *' if hold == s.hold else ''):>14}" for hold in choices)
    before = s.original_network
    rows: list[tuple[str, list[str]]] = [
        ("velocities", [f"x {f.velocity:.3g}" for f in choices.values()]),
        ("times, spin-up", [f"x {f.time:.3g}" for f in choices.values()]),
        ("Reynolds numbers", [f"x {f.reynolds:.3g}" for f in choices.values()]),
    ]
    if before.exhaust_flow > 0.0:
        rows.append(("exhaust flow, m3/h", [f"{3600 * before.exhaust_flow * f.flow:.4g}" for f in choices.values()]))
    if before.feeding is not None:
        air = before.supply_power_air
        rows += [
            ("plenum flow, m3/h", [f"{3600 * before.supply_flow * f.flow:.4g}" for f in choices.values()]),
            ("plenum pressure, Pa", [f"{before.plenum_pressure * f.pressure:.4g}" for f in choices.values()]),
            ("plenum air power, W", [f"{air * f.power:.3g}" for f in choices.values()]),
        ]
    for name, cells in rows:
        yield f"  {name:<26}" + "".join(f"{cell:>14}" for cell in cells)


def _duties(s: Scaled) -> Iterator[str]:
    for name, duty, choices, before in (
        ("exhaust", s.exhaust_duty, s.exhaust_fans, s.original_network.exhaust_power_electrical),
        ("plenum", s.plenum_duty, s.plenum_fans, s.original_network.supply_power_electrical),
    ):
        if duty is None:
            continue
        yield f"  {name:<9}{_flow(duty.flow)} at {duty.pressure:.3g} Pa, {duty.power_air:.3g} W to the air"
        if name == "exhaust" and choices:
            yield f"  {'':<9}(as the original's; the way to a fan of another size than the opening comes on top below)"
        chosen = choices[0] if choices and choices[0].serves else None
        if chosen is not None and chosen.power_electrical is not None:
            was = "" if before is None else f", original {before:.3g} W"
            electrical = f"{chosen.power_electrical:.3g} W electrical by the fan laws{was}"
            yield f"  {'':<9}{electrical}; a poor controller saves less"


def _drilling(s: Scaled) -> Iterator[str]:
    entries = s.case.tubes
    for hole in s.holes:
        row = entries[hole.tubes - 1].rows[hole.row - 1]
        old, similar, new = 1000 * hole.original_diameter, 1000 * hole.similar_diameter, 1000 * hole.diameter
        counts = f"{hole.count} holes a tube"
        if hole.count != hole.original_count:
            counts += f" instead of {hole.original_count} over the same stretch, with the same area in all"
        name = f"tubes.{hole.tubes}.rows.{hole.row}"
        yield f"  {name}: {old:.4g} mm becomes {similar:.4g} mm; drill {new:.4g} mm, {counts}"
        heights = row.hole_heights()
        pitch = f", pitch {1000 * (heights[1] - heights[0]):.4g} mm" if len(heights) > 1 else ""
        reach = f"from {1000 * heights[0]:.4g} to {1000 * heights[-1]:.4g} mm above the floor"
        yield f"      {reach}{pitch}, aim {row.aim:g} deg"
    for tube in s.tubes:
        old, similar, new = 1000 * tube.original_bore, 1000 * tube.similar_bore, 1000 * tube.bore
        bore = f"bore {old:.4g} mm becomes {similar:.4g} mm; take {new:.4g} mm or the next wider pipe"
        yield f"  tubes.{tube.tubes}: {bore}"
        if tube.unevenness is None:
            yield "      kept similar: no bore up to 1.6 times as wide feeds as evenly, or there is no room for it"
        else:
            now, was = 100 * tube.unevenness, 100 * tube.original_unevenness
            yield "      the narrowest that feeds as evenly at the same pressure:"
            yield f"      jet speeds deviate by {now:.2g} %, in the original by {was:.2g} %"
        yield f"      wall {1000 * entries[tube.tubes - 1].wall_thickness:.4g} mm or thinner"
    if s.holes:
        text = f"Drills go in steps of 0.1 mm to 6 mm and of 0.5 mm to 20 mm. {_momentum(s)}"
        yield from wrap(text, 110, initial_indent="  ", subsequent_indent="  ")


def _momentum(s: Scaled) -> str:
    """What became of the jets' momentum, which similar holes in similar tubes would hold."""
    change = s.network.momentum / (s.original_network.momentum * s.factors.powers(2, 2)) - 1.0
    if abs(change) >= HELD:
        return f"Drills and friction change the jets' momentum by {100 * change:+.0f} %, which nothing makes up for."
    if is_pressure_free(s.case):
        return "The plenum's pressure makes up for the rounding, so that the jets' momentum and torque are held."
    return f"Drills and friction change the jets' momentum by less than {100 * HELD:.0f} %."


def _fans(choices: Sequence[FanChoice], s: Scaled) -> Iterator[str]:
    if choices and not choices[0].serves:
        yield f"  none of the folder serves; the case has the duty as a given number. {_wanted(choices[0])}"
    for k, choice in enumerate(choices):
        mark = "*" if k == 0 and choice.serves else " "
        name = f"{choice.count} x {choice.title}"
        if not choice.serves:
            yield f"  {mark} {name}: {choice.reason}"
            continue
        margin = (
            "the curve shows no stall"
            if choice.stall_margin is None
            else f"flow {100 * choice.stall_margin:.0f} % above stall"
        )
        power = "" if choice.power_electrical is None else f", {choice.power_electrical:.3g} W"
        yield f"  {mark} {name} at {choice.speed_ratio:.3g} of its speed"
        cone = f"; K {choice.transition_loss:.2g} of the way from the opening" if choice.transition_loss > 0 else ""
        yield f"      {_flow(choice.flow)} at {choice.pressure:.3g} Pa, {margin}{power}{cone} ({choice.file.name})"


def _wanted(choice: FanChoice) -> str:
    return f"Look for {_flow(choice.flow)} at {choice.pressure:.3g} Pa."


def _duty_json(duty: Duty | None, choices: Sequence[FanChoice]) -> dict[str, Any] | None:
    if duty is None:
        return None
    return {
        "flow_m3_per_s": duty.flow,
        "pressure_pa": duty.pressure,
        "power_air_w": duty.power_air,
        "power_electrical_w": choices[0].power_electrical if choices and choices[0].serves else None,
        "fans": [choice.as_json() for choice in choices],
    }


def scale_json(s: Scaled) -> dict[str, Any]:
    """Plain data, SI, keys as `name_unit`."""
    return {
        "title": s.case.title,
        "hold": s.hold,
        "length_factor": s.factors.length,
        "velocity_factor": s.factors.velocity,
        "time_factor": s.factors.time,
        "reynolds_factor": s.factors.reynolds,
        "numbers": {
            n.key: {"original": n.original, "scaled": n.scaled, "change": n.change, "held": n.is_held, "note": n.note}
            for n in s.numbers
        },
        "exhaust": _duty_json(s.exhaust_duty, s.exhaust_fans),
        "plenum": _duty_json(s.plenum_duty, s.plenum_fans),
        "holes": [
            {
                "tubes": h.tubes,
                "row": h.row,
                "original_diameter_m": h.original_diameter,
                "similar_diameter_m": h.similar_diameter,
                "diameter_m": h.diameter,
                "original_count": h.original_count,
                "count": h.count,
            }
            for h in s.holes
        ],
        "tubes": [
            {
                "tubes": t.tubes,
                "original_bore_m": t.original_bore,
                "similar_bore_m": t.similar_bore,
                "bore_m": t.bore,
                "original_unevenness": t.original_unevenness,
                "unevenness": t.unevenness,
                "as_even": t.is_as_even,
            }
            for t in s.tubes
        ],
        "notes": list(s.notes),
        "warnings": list(s.network.warnings),
        "case_text": s.case.text,
    }
