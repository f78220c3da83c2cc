"""What the value of a part means, by the kind of part: a number with its unit, a control's law, a type."""

from __future__ import annotations

import math
import re
from functools import lru_cache

from pedalcalc.values import read_value

LAWS = ("linear", "log", "reverse log")
UNITS = {"resistor": "Ω", "trimmer": "Ω", "potentiometer": "Ω", "inductor": "H"} | dict.fromkeys(
    ("film capacitor", "ceramic capacitor", "electrolytic capacitor", "tantalum capacitor"), "F"
)
CONTROLS = ("potentiometer", "trimmer")
TWO_PINS = ("resistor", "link", "film capacitor", "ceramic capacitor", "inductor", "photocell")


@lru_cache(maxsize=4096)
def read_part_value(text: str, kind: str) -> tuple[float, str]:
    """Return value and law of a cell; NaN and no law for a type."""
    unit = UNITS.get(kind, "")
    if not unit:
        if not text and kind != "link":
            raise ValueError(f"it is empty; give the type of the {kind}")
        return math.nan, ""
    number, law = text, ""
    if kind in CONTROLS:
        for name in sorted(LAWS, key=len, reverse=True):
            if re.search(rf"\s{name}$", text.casefold()):
                number, law = text[: -len(name)].rstrip(), name
                break
    try:
        value = read_value(number, unit=unit)
    except ValueError as reason:
        behind = f"; behind it stands the law of a control, one of {', '.join(LAWS)}" if kind in CONTROLS else ""
        raise ValueError(f"{reason}{behind}") from None
    if value == 0 and kind != "resistor":
        raise ValueError(f"a {kind} of 0 {unit} is none")
    return value, law
