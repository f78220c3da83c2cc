"""Turn one value and its unit into the text a person reads."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from pedalcalc import values
from pedalcalc._result import Result
from pedalcalc.devices import Spread

MINUS = "\N{MINUS SIGN}"
WORDS_FOR_INFINITY = {"Ω": "open", "s": "never", "Hz": "none"}
SMALLEST = 1e-4  # a plain number or percentage below this is told as such, not with a power of ten


def number_text(value: float, unit: str, digits: int = 3) -> str:
    """Return one number with its unit: `digits` significant digits, decibels to a fixed decimal, a share in percent.

    A corner at no frequency at all, or beyond every one, is none. No `digits` at all: as on a part, `4.7 kΩ`.
    """
    if unit.startswith("dB") and math.isfinite(value):
        decimals = max(digits - 2, 0)
        return f"{round(value, decimals) + 0.0:.{decimals}f} {unit}".replace("-", MINUS)
    if math.isinf(value) and unit in WORDS_FOR_INFINITY and value > 0:
        return WORDS_FOR_INFINITY[unit]
    if unit == "Hz" and value == 0:
        return "none"
    if unit == "Hz" and 1e-3 <= abs(value) < 1 and digits:
        return f"{float(f'{value:.{digits - 1}e}'):g} Hz".replace("-", MINUS)  # nobody says millihertz
    if unit == "V/s" and math.isfinite(value):  # every maker's sheet counts microseconds
        return f"{float(f'{value / 1e6:.{(digits or 3) - 1}e}'):g} V/µs".replace("-", MINUS)
    if unit == "%":
        value = 100 * value
    if unit in {"1", "", "%"} and 0 < abs(value) < SMALLEST:
        return f"under {SMALLEST:.4f} {unit.strip('1')}".rstrip()
    return values.write_value(value, unit=unit or "1", digits=digits or None).replace("-", MINUS)


def range_text(value: float, unit: str, factor: float) -> str:
    """Return the range that a factor either way leaves, such as `5 to 20 ms`; three digits where two say little."""
    if not math.isfinite(value) or not math.isfinite(factor) or factor == 1 or value == 0:
        return number_text(value, unit, 2) if math.isfinite(factor) else "not known"
    digits = 2 if factor > 1.25 else 3
    kept = 3 if digits == 3 else 0  # where a third digit is told, a zero there is told too
    low, high = (
        number_text(float(f"{end:.{digits - 1}e}"), unit, kept) for end in sorted((value / factor, value * factor))
    )
    (first, _, unit_low), (_, _, unit_high) = low.partition(" "), high.partition(" ")
    return f"{first if unit_low == unit_high else low} to {high}"


def cell_text(value: Any, unit: str, digits: int = 3) -> str:
    """Return any one value of a result field as text."""
    if value is None:
        return ""
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if isinstance(value, Spread):
        return spread_text(value, unit, digits)
    if isinstance(value, Result):
        return str(getattr(value, "name", type(value).__name__))
    if isinstance(value, (int, np.integer)) and unit in {"1", ""}:
        return str(int(value))
    if np.ndim(value) == 0 and np.asarray(value).dtype.kind in "iuf":
        return number_text(float(value), unit, digits)
    if np.ndim(value) == 1 and len(value) and np.asarray(value).dtype.kind in "iuf":
        low, high = float(np.nanmin(value)), float(np.nanmax(value))
        return f"{number_text(low, unit, digits)} … {number_text(high, unit, digits)} ({len(value)} values)"
    if isinstance(value, (tuple, list)):
        return ", ".join(cell_text(part, unit, digits) for part in value)
    return str(value)


def spread_text(spread: Spread, unit: str, digits: int = 3) -> str:
    """Return a sheet's range: typical, then lowest to highest where given."""
    low, typical, high = (float(part) for part in spread)
    bounds = [number_text(end, unit, digits) if not math.isnan(end) else "?" for end in (low, high)]
    ends = "" if bounds == ["?", "?"] else " to ".join(bounds)
    if math.isnan(typical):
        return ends or "not measured"
    return number_text(typical, unit, digits) + (f" ({ends})" if ends else "")


def spread_reading(value: float, spread: float, unit: str) -> str:
    """Return `value ± spread`, the spread to two digits and the value to the same decimal."""
    if not (math.isfinite(value) and math.isfinite(spread)) or spread == 0 or unit.startswith("dB"):
        return f"{number_text(value, unit)} ± {number_text(spread, unit)}"
    if abs(value) < spread:
        return f"{number_text(value, unit, 2)} ± {number_text(spread, unit, 2)}"
    lost = math.floor(math.log10(abs(value))) - math.floor(math.log10(float(f"{spread:.1e}")))
    written = number_text(value, unit, min(lost + 2, 15))
    number, _, name = written.partition(" ")
    power = round(math.log10(abs(value) / abs(float(number.replace(MINUS, "-")))))
    decimals = len(number.partition(".")[2])
    return f"{written} ± {spread / 10.0**power:.{decimals}f} {name}".rstrip()
