"""Cautions for those who build, wire and show a chamber: general sentences, and what this case adds to them.

Report, workshop sheets and README all take them from here. They are short, and defer to local codes and licensed
practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from swirlwright.postproc.workshop.parts import is_mains
from swirlwright.postproc.workshop.power import EXAMPLE_ROOM
from swirlwright.postproc.workshop.units import MILLIMETRES, Unit
from swirlwright.solver.schema import Case, FanFile

GENERAL = {
    "Electricity": "Mains-powered fans, lamps and power supplies are connected by a licensed electrician, to the local"
    " code; wiring, plugs and switches stay off the floor and away from fog and water.",
    "Fans": "Every fan that a hand, hair, a scarf or a cable can reach has a guard on both sides before it is switched"
    " on, and a switch that can be reached from outside the chamber.",
    "Fog": "Fog fluid, foggers and mist makers only as their makers say; standing water is changed daily, since mist"
    " carries what grows in it.",
    "Floor": "Fog and mist make floors slippery: drain or wipe them, and mark the place.",
    "Smoke detectors": "Fog sets off smoke detectors: agree with whoever answers for fire safety beforehand, and never"
    " cover or disable a detector without them.",
    "Lungs": "Fog can trouble people with asthma or other trouble of the lungs: tell visitors before they come near,"
    " and ventilate.",
    "Dry ice": "Dry ice only with ventilation and by trained staff: it gives off carbon dioxide, which gathers near the"
    " floor and suffocates, and it burns skin; never keep it in a closed vessel.",
    "Lamps": "Lamps get hot: keep them away from panels, fog fluid and hands.",
    "Stability": "Tall chambers, panels and roof fans are secured against tipping and falling, also with children"
    " leaning on them; panels are of safety glass or shatterproof sheet.",
    "Ways out": "Ways out stay free, wide and visible, in fog too.",
}
LAST_WORD = (
    "Local codes and licensed practice have the last word in all matters of electrical, fire, structural and"
    " occupational safety; this program has none."
)
WITH_FOG = ("Fog", "Floor", "Smoke detectors", "Lungs", "Dry ice")

# Fans lower than 7 ft are guarded, with openings of at most half an inch: 29 CFR 1910.212(a)(5) (OSHA).
GUARDED_BELOW, GUARD_OPENING = 2.1336, 0.0127  # m
# Reach of a standing person where the risk is high: ISO 13857, table 1, from memory [m].
REACH = 2.7
# Carbon dioxide by volume: 8 h mean (OSHA permissible exposure limit, 29 CFR 1910.1000, table Z-1); 15 min mean (ACGIH
# threshold limit value, taken up by NIOSH); immediately dangerous to life or health (NIOSH 1994). Fresh air, memory.
LIMIT_8_HOURS, LIMIT_15_MINUTES, DANGEROUS, FRESH = 5000e-6, 30000e-6, 40000e-6, 420e-6
GAS_CONSTANT, MOLAR_MASS_CO2 = 8.314462618, 44.0095e-3  # J/mol/K, kg/mol
ATMOSPHERE, ROOM_TEMPERATURE = 101325.0, 293.15  # Pa, K


@dataclass(frozen=True)
class Caution:
    """What it is about, what always holds, and what this case adds (empty where it adds nothing)."""

    subject: str
    general: str
    here: str = ""

    @property
    def text(self) -> str:
        """Both as one text."""
        return f"{self.general} {self.here}".rstrip()


def cautions(case: Case | None, fans: Mapping[str, FanFile], unit: Unit = MILLIMETRES) -> tuple[Caution, ...]:
    """Return the cautions for a case.

    Parameters
    ----------
    case : Case or None
        Without one only what always holds.
    fans : mapping
        The fan files the case names, under their names; those that are missing are not spoken of.
    unit : Unit
        Of what is said of this case.
    """
    if case is None:
        return tuple(Caution(subject, general) for subject, general in GENERAL.items())
    here = {
        "Electricity": _electricity(case, fans),
        "Fans": _fans(case, unit),
        "Dry ice": _dry_ice(case, unit),
        "Stability": _stability(case),
        "Ways out": _ways_out(case, unit),
    }
    return tuple(
        Caution(subject, general, " ".join(here.get(subject, ())))
        for subject, general in GENERAL.items()
        if case.fog is not None or subject not in WITH_FOG
    )


def _named(case: Case) -> Iterator[tuple[str, str, int]]:
    """Place, file and number of the fans."""
    if case.exhaust is not None and case.exhaust.fan is not None:
        yield "exhaust", case.exhaust.fan, case.exhaust.fan_count
    if case.supply is not None:
        yield from (("supply", entry.file, entry.count) for entry in case.supply.fans)


def _electricity(case: Case, fans: Mapping[str, FanFile]) -> Iterator[str]:
    known = [(place, fans[name], count) for place, name, count in _named(case) if name in fans]
    mains = [f"{n} x {file.title} ({place})" for place, file, n in known if file.voltage and is_mains(file.voltage)]
    low = sorted({file.voltage for _, file, _ in known if file.voltage and not is_mains(file.voltage)})
    silent = [file.title for _, file, _ in known if file.voltage is None]
    if mains:
        yield f"Here on mains voltage: {', '.join(mains)}."
    if low:
        volts = " and ".join(f"{voltage:g} V" for voltage in low)
        yield f"Here fans run on {volts}: their power supply is on the mains; take an approved one and leave it closed."
    if silent:
        yield f"No voltage is stated for {', '.join(silent)}: treat as mains."


def _fans(case: Case, unit: Unit) -> Iterator[str]:
    exhaust, height = case.exhaust, case.chamber.height
    if case.supply is not None and case.supply.fans:
        count = sum(entry.count for entry in case.supply.fans)
        yield f"Here {'the supply fan' if count == 1 else f'{count} supply fans'} at the plenum are within reach."
    if exhaust is None:
        return
    where = f"The exhaust opening, {unit.text(exhaust.diameter)} wide, is {unit.long(height)} above the chamber's floor"
    if height < REACH:
        yield f"{where}: within reach (below {unit.long(REACH)}, ISO 13857, from memory), from inside the chamber too."
    else:
        yield f"{where}: out of reach only where nothing can be climbed on."
    if height < GUARDED_BELOW:
        yield (
            f"Fans lower than 7 ft ({unit.long(GUARDED_BELOW)}) have guards with openings of at most half an inch"
            f" ({unit.text(GUARD_OPENING)}) (29 CFR 1910.212(a)(5))."
        )
    if exhaust.guard_loss == 0.0:
        yield "The case has no guard loss (exhaust.guard_loss is 0): a guard costs flow, so put it in and solve again."


def carbon_dioxide(mass: float, *, temperature: float = ROOM_TEMPERATURE, pressure: float = ATMOSPHERE) -> float:
    """Return the volume of gas that dry ice becomes [m3]: ideal gas, m R T/(M p).

    Parameters
    ----------
    mass : float
        [kg]
    temperature, pressure : float
        Of the room [K], [Pa].
    """
    return mass * GAS_CONSTANT * temperature / (MOLAR_MASS_CO2 * pressure)


def _dry_ice(case: Case, unit: Unit) -> Iterator[str]:
    from fluids.atmosphere import ATMOSPHERE_1976

    volume = case.air.room_volume or EXAMPLE_ROOM
    room = f"a room of {unit.volume(volume)}"
    if case.air.room_volume is None:
        room += " (air.room_volume is not given)"
    gas = carbon_dioxide(1.0, temperature=case.air.temperature, pressure=ATMOSPHERE_1976(case.air.altitude).P)
    most = [(limit - FRESH) * volume / gas for limit in (LIMIT_8_HOURS, LIMIT_15_MINUTES)]
    air = gas / (LIMIT_8_HOURS - FRESH)
    yield (
        f"Each kg becomes {unit.volume(gas, 2)} of gas: in {room} that alone is {_ppm(gas / volume)} if evenly mixed,"
        f" and more near the floor. Limits: {_ppm(LIMIT_8_HOURS)} over 8 h (OSHA, 29 CFR 1910.1000 table Z-1),"
        f" {_ppm(LIMIT_15_MINUTES)} over 15 min (ACGIH, NIOSH), {_ppm(DANGEROUS)} immediately dangerous (NIOSH)."
        f" Without ventilation {most[0]:.2g} kg reach the first and {most[1]:.2g} kg the second;"
        f" {unit.flow(round(air) / 3600.0)} of outdoor air for each kg/h hold the first."
    )


def _ppm(share: float) -> str:
    return f"{1e6 * float(f'{share:.3g}'):.0f} ppm"


def _stability(case: Case) -> Iterator[str]:
    """Tipping about an edge of the floor: F H = W b/2, the weight over the middle at whatever height."""
    chamber = case.chamber
    share = chamber.width / (2.0 * chamber.height)
    yield (
        f"This one is {chamber.height / chamber.width:.2g} times as high as wide: free-standing, a push at the roof of"
        f" {100 * share:.0f} % of its weight tips it. Fasten it"
        + (" to floor and wall or ceiling." if chamber.height > 1.0 else " to its table, and the table to the floor.")
    )


def _ways_out(case: Case, unit: Unit) -> Iterator[str]:
    chamber = case.chamber
    is_open = chamber.open_share > 0.0 and chamber.open_top - chamber.open_from > 1.5
    if chamber.height > 1.5 and chamber.width > 0.6 and is_open:
        yield "A visitor can step inside through the open sides: no step or cable in the way, a clear way out again."
    width = chamber.width
    need = math.ceil(10.0 * (width + 2.0)) / 10.0
    if chamber.height > 1.0:
        side = unit.long(need)
        yield f"With {unit.long(1.0)} to walk around it the chamber takes {side} by {side} of the room."
