"""Say a value the way a builder reads it: ``203 µs``; the unit follows from the name of the argument."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
#: Units that take a prefix for small values only, and none.
SMALL, NONE = ("s", "F", "C", "m"), ("K", "°C", "%", "h", "min", "lx")
#: Names begin with their quantity; the longest beginning that stands here tells.
QUANTITIES = {
    "capacitance": "F",
    "charge": "C",
    "conductance": "S",
    "conductance_rate": "S/s",
    "conductance_slope": "S/lx",
    "conduction": "°",
    "current": "A",
    "current_gain": "",
    "diameter": "m",
    "distance": "m",
    "duration": "s",
    "energy_gap": "V",
    "frequency": "Hz",
    "gain_bandwidth": "Hz",
    "headroom": "V",
    "hours": "h",
    "illuminance": "lx",
    "impedance": "Ω",
    "input_margin": "V",
    "leakage_rate": "1/s",
    "loss": "V",
    "loss_tangent": "",
    "luminous_intensity": "cd",
    "phase": "°",
    "power": "W",
    "resistance": "Ω",
    "resistance_per_volt": "Ω/V",
    "resistances": "Ω",
    "sample_rate": "Hz",
    "signal": "V",
    "slew_rate": "V/s",
    "swing": "V",
    "temperature": "K",
    "time": "s",
    "transconductance": "S",
    "transconductance_parameter": "A/V²",
    "voltage": "V",
    "wavelength": "m",
}
#: Last words that make another thing of it.
LAST = {"coefficient": "1/K", "factor": "", "ratio": "", "db": "dB", "dbv": "dBV"}
#: More characters than a value needs to be known by.
LONGEST = 80


def percent(share: float) -> str:
    """Return a share in whole per cent, the sign a space behind its number."""
    return f"{share * 100:.0f} %"


def unit_of(name: str) -> str:
    """Return the SI unit that an argument's name tells, or none."""
    words = name.split(" ")[0].rsplit(".", 1)[-1].partition("[")[0].split("_")
    if words[-1] in LAST:
        return LAST[words[-1]]
    beginnings = ("_".join(words[:count]) for count in range(len(words), 0, -1))
    return next((QUANTITIES[each] for each in beginnings if each in QUANTITIES), "")


def shown(value: float, unit: str = "") -> str:
    """Return a value to six digits at most, with prefix and unit."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g} {unit}".rstrip()
    power = prefix_power(math.floor(math.log10(abs(float(f"{value:g}")))), unit)
    if power not in PREFIXES:
        return f"{value:g} {unit}"
    return f"{value / 10.0**power:g} {PREFIXES[power]}{unit}".rstrip()


def prefix_power(power: int, unit: str) -> int:
    """Return the power of ten that stands as a prefix before a unit, for a value of that power of ten.

    A capacitor says 4700 µF and never 4.7 mF, which many a print means for microfarads (common practice).
    """
    if not unit or unit in NONE or unit.startswith(("1", "dB", "°", "/")):
        return 0
    highest = 0 if unit in SMALL else power
    return min(power // 3 * 3, -6 if unit == "F" and power < -1 else highest)


def said(name: str, value: float) -> str:
    """Return the value of a named argument with the unit that the name tells."""
    return shown(float(value), unit_of(name))


def listed(name: str, values: Iterable[float]) -> str:
    """Return several values of a named argument with their unit, cut where they are too many to read."""
    text = ", ".join(said(name, value) for value in values)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."


def told(value: Any) -> str:
    """Return what was given, cut where it is too long to read."""
    try:
        text = repr(value)
    except ValueError:  # a whole number of thousands of digits
        text = f"{type(value).__name__} too long to write"
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."
