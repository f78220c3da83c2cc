"""Say a value the way a builder reads it: ``203 µs``; the unit follows from the name of the argument."""

from __future__ import annotations

import math
from typing import Any

PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T"}
#: Units that take a prefix for small values only, and for all.
SMALL, ALL = ("s", "F", "C", "m"), ("V", "A", "Ω", "S", "W", "Hz")
#: Names begin with their quantity.
QUANTITIES = {
    "capacitance": "F",
    "charge": "C",
    "conductance": "S",
    "current": "A",
    "diameter": "m",
    "distance": "m",
    "duration": "s",
    "frequency": "Hz",
    "headroom": "V",
    "illuminance": "lx",
    "impedance": "Ω",
    "power": "W",
    "resistance": "Ω",
    "resistances": "Ω",
    "sample": "Hz",
    "signal": "V",
    "swing": "V",
    "temperature": "K",
    "time": "s",
    "voltage": "V",
    "wavelength": "m",
}
#: Last words that make another thing of it.
OTHERS = ("ratio", "gain", "reverse", "factor", "coefficient", "rate", "light", "volt")
#: More characters than a value needs to be known by.
LONGEST = 80


def unit_of(name: str) -> str:
    """Return the SI unit that an argument's name tells, or none."""
    words = name.split(" ")[0].rsplit(".", 1)[-1].split("_")
    if words[-1] in ("db", "dbv"):
        return "dB" if words[-1] == "db" else "dBV"
    if words[-1] in OTHERS and words != ["sample", "rate"]:
        return ""
    return QUANTITIES.get(words[0], "")


def shown(value: float, unit: str = "") -> str:
    """Return a value to six digits at most, with prefix and unit."""
    if value == 0 or not math.isfinite(value) or unit not in (*SMALL, *ALL):
        return f"{value:g} {unit}".rstrip()
    power = math.floor(math.log10(abs(float(f"{value:g}")))) // 3 * 3
    power = min(power, 0) if unit in SMALL else power
    if power not in PREFIXES:
        return f"{value:g} {unit}"
    return f"{value / 10.0**power:g} {PREFIXES[power]}{unit}"


def told(value: Any) -> str:
    """Return what was given, cut where it is too long to read."""
    try:
        text = repr(value)
    except ValueError:  # a whole number of thousands of digits
        text = f"{type(value).__name__} too long to write"
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."
