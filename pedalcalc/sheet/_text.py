"""Readings as a meter shows them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pedalcalc._number_text import MINUS, number_text
from pedalcalc.bench import Expected, ExpectedReading, FirstPower

#: What stands in place of a first power-up where the list shorts the supply: no reading there is that of a healthy build.
NOT_YET = "Do not power it as listed: the supply is all but shorted (see the cautions). Mend the list first, then make this sheet anew."
#: What a meter does not show [V].
SHOWN = 0.5e-3
#: The same where volts are told to a hundredth [V].
SHOWN_OF_VOLTS = 5e-3
#: Below this all readings that stand side by side are told in millivolts [V].
MILLIVOLTS = 0.2


def reading_text(value: float, unit: str) -> str:
    """Return one reading with the digits that a meter has: volts to a hundredth, small ones in millivolts."""
    return reading_texts([value], unit)[0]


def reading_texts(values: Sequence[float], unit: str) -> list[str]:
    """Return readings that stand side by side, all in the unit of the largest."""
    millivolts = all(math.isnan(value) or abs(value) < MILLIVOLTS for value in values)
    return [_text(value, unit, millivolts) for value in values]


def _text(value: float, unit: str, millivolts: bool) -> str:
    if math.isnan(value):
        return "none"
    if unit == "A":
        return f"{value * 1e3:.1f} mA".replace("-", MINUS)
    if abs(value) < (SHOWN if millivolts else SHOWN_OF_VOLTS):
        return "0 V"
    text = f"{value * 1e3:.0f} mV" if millivolts else f"{value:.2f} V"
    return text.replace("-", MINUS)


def place_text(place: str, state: str) -> str:
    """Return where to read, with the state of the footswitch where the other gives another reading."""
    return place if state == "both" else f"{place}, {state}"


def names_states(expected: Expected) -> bool:
    """Tell whether some readings name a state of the footswitch, so that all others hold in both."""
    return any(row.state != "both" for row in expected.rows)


def charging_text(power: FirstPower) -> str:
    """Return for how long the resistor in the lead shows more than it will, empty where nothing is charged."""
    if not power.time_charge > 0:
        return ""
    return f" It shows more for the first {number_text(power.time_charge, 's', 2)}, while the capacitors charge."


def no_line_text(power: FirstPower) -> str:
    """Return what is said where a build itself takes so much of the supply that no line tells it from a short; else empty."""
    *healthy, short = (line.voltage_across for line in power.rows)
    if power.voltage_stop < short:
        return ""
    return (
        f"There is no line to pull the plug at: of the {reading_text(short, 'V')} of a short, a build as listed takes "
        f"{reading_text(max(healthy), 'V')} itself. Mend first what the cautions say is beyond its rating; if nothing is, take a "
        "smaller resistor. Pull at smell or at warmth."
    )


def band_text(row: ExpectedReading) -> str:
    """Return `usual (low to high)`, `0 V (±2 mV)` where that is meant, or why there is no number."""
    if math.isnan(row.reading_typical):
        return row.note
    return spread_text(row.reading_typical, row.reading_low, row.reading_high, row.unit)


def spread_text(usual: float, low: float, high: float, unit: str) -> str:
    """Return `usual (low to high)`, or the usual alone where the meter shows no other."""
    middle, least, most = reading_texts([usual, low, high], unit)
    inside = f"±{most}" if middle == "0 V" and least == f"{MINUS}{most}" else f"{least.partition(' ')[0]} to {most}"
    text = middle if middle == least == most else f"{middle} ({inside})"
    return text.replace(" ", "\N{NO-BREAK SPACE}")
