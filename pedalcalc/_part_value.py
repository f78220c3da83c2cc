"""What the value of a part means, by the kind of part: a number with its unit, a control's law, a type."""

from __future__ import annotations

import math
import re
from functools import lru_cache

from pedalcalc.values import read_value

LAWS = ("linear", "log", "reverse log")
#: How else the trade writes them.
LAW_WORDS = {name: name for name in LAWS} | {
    "lin": "linear", "logarithmic": "log", "audio": "log", "rev log": "reverse log", "antilog": "reverse log",
}  # fmt: skip
POLAR = ("electrolytic capacitor", "tantalum capacitor")
CAPACITORS = ("film capacitor", "ceramic capacitor", *POLAR)
UNITS = {"resistor": "Ω", "trimmer": "Ω", "potentiometer": "Ω", "inductor": "H"} | dict.fromkeys(CAPACITORS, "F")
CONTROLS = ("potentiometer", "trimmer")
TWO_PINS = ("resistor", "link", "film capacitor", "ceramic capacitor", "inductor", "photocell")


def without_volts(text: str, kind: str) -> tuple[str, str]:
    """Return a capacitor's value and the volts that stand behind it, as lists print them: ``47u/16V``, ``10u 25 V``."""
    found = re.fullmatch(r"(.*?[^\s/])\s*[/\s]\s*([0-9]+(?:\.[0-9]+)?) ?[Vv]", text) if UNITS.get(kind) == "F" else None
    return (found[1], f"{found[2]} V") if found else (text, "")


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
        for name in sorted(LAW_WORDS, key=len, reverse=True):
            if re.search(rf"\s{name}$", text.casefold()):
                number, law = text[: -len(name)].rstrip(), LAW_WORDS[name]
                break
    if unit in ("F", "H") and re.fullmatch(r"[0-9]*\.[0-9]+", number):
        raise ValueError(
            f"text {number!r} is not a value: a bare number would be {'farads' if unit == 'F' else 'henries'}; write the letter, "
            f"such as {'47n for 0.047 microfarads' if unit == 'F' else '100m for 0.1 henries'}"
        )
    if kind in POLAR and re.fullmatch(r"[0-9]{2,}[uµμ][0-9]{2,}", number):
        raise ValueError(
            f"text {number!r} may be {number.replace('µ', 'u').replace('μ', 'u').split('u')[0]}u and its volts; write the volts into the "
            "rating, such as 16 V, or a value with a point"
        )
    if unit == "Ω" and re.fullmatch(r"[0-9.]+ ?m(Ω|ohm)?", number):
        raise ValueError(
            f"text {number!r} is thousandths of an ohm: a large M is a million, a resistor of next to nothing is a link"
        )
    if unit == "F" and re.fullmatch(r"[0-9.]+ ?mF?", number):
        raise ValueError(
            f"text {number!r} may be microfarads, as old lists write them: write {re.split('[ m]', number)[0]}u, or thousands of u"
        )
    try:
        value = read_value(number, unit=unit)
    except ValueError as reason:
        behind = f"; behind it stands the law of a control, one of {', '.join(LAWS)}" if kind in CONTROLS else ""
        raise ValueError(f"{reason}{behind}") from None
    if value == 0 and kind != "resistor":
        raise ValueError(f"a {kind} of 0 {unit} is none")
    return value, law
