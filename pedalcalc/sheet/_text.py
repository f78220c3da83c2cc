"""Readings as a meter shows them."""

from __future__ import annotations

import math

from pedalcalc._number_text import MINUS
from pedalcalc.bench import ExpectedReading

#: What a meter does not show [V].
SHOWN = 0.5e-3


def reading_text(value: float, unit: str) -> str:
    """Return one reading with the digits that a meter has: volts to a hundredth, small ones in millivolts."""
    if math.isnan(value):
        return "none"
    if unit == "A":
        return f"{value * 1e3:.1f} mA".replace("-", MINUS)
    if abs(value) < SHOWN:
        return "0 V"
    text = f"{value * 1e3:.0f} mV" if abs(value) < 0.2 else f"{value:.2f} V"
    return text.replace("-", MINUS)


def band_text(row: ExpectedReading) -> str:
    """Return `usual (low to high)`, or why there is no number."""
    if math.isnan(row.reading_typical):
        return row.note
    low, high = reading_text(row.reading_low, row.unit), reading_text(row.reading_high, row.unit)
    if low.partition(" ")[2] == high.partition(" ")[2]:
        low = low.partition(" ")[0]
    return f"{reading_text(row.reading_typical, row.unit)} ({low} to {high})".replace(" ", "\N{NO-BREAK SPACE}")
