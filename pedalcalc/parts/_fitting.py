"""What to fit first, and what to look for on a part."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from pedalcalc._arguments import is_a, list_of
from pedalcalc._base import search
from pedalcalc.parts._list import FITTING_STEPS, KINDS, Part
from pedalcalc.values import write_bands, write_code, write_digit_code, write_value


@search
def fitting_order(parts: Sequence[Part]) -> dict[str, tuple[Part, ...]]:
    """Sort parts into the steps in which they are soldered, lowest first.

    Parameters
    ----------
    parts : sequence of Part
        Parts in any order.

    Returns
    -------
    dict of str to tuple of Part
        Each step of `FITTING_STEPS` that has parts, in the order of fitting; inside a step by kind and then by
        reference, R2 before R10.

    Raises
    ------
    TypeError
        If `parts` holds something else than parts.

    Notes
    -----
    An integrated circuit is counted with its socket; the chip is pressed in
    after the supply has been checked.

    References
    ----------
    PRACTICE, lowest parts first.

    Examples
    --------
    >>> def part(reference, kind):
    ...     return Part(reference, kind, 1.0, "", "", 0, 0, 0, 0, 0, (), "")
    >>> found = fitting_order([part("D9", "indicator"), part("R10", "resistor"), part("R2", "resistor")])
    >>> for step, fitted in found.items():
    ...     print(step, [each.reference for each in fitted])
    resistors and diodes ['R2', 'R10']
    indicator ['D9']
    """
    sorted_parts = sorted(list_of("parts", parts, "parts", Part), key=_place)
    steps = {step: tuple(part for part in sorted_parts if part.kind in kinds) for step, kinds in FITTING_STEPS.items()}
    return {step: fitted for step, fitted in steps.items() if fitted}


def _place(part: Part) -> tuple[int, list[tuple[str, int]]]:
    pieces = re.findall(r"([^0-9]*)([0-9]*)", part.reference.casefold())
    return KINDS.index(part.kind), [(word, int(number or 0)) for word, number in pieces]


@search
def marking_text(part: Part) -> str:
    """Say what to look for on a part: its print, its bands, its mark of polarity.

    Parameters
    ----------
    part : Part
        One part of the list.

    Returns
    -------
    str
        One line of text.

    Raises
    ------
    TypeError
        If `part` is not a part.

    Notes
    -----
    A resistor of 2 % or better commonly has five bands, others four; without a tolerance both
    are named. Measure a resistor before it is soldered if the colours are in doubt.

    References
    ----------
    IEC-60062, value table; KUPHALDT-5, ch. 2; PRACTICE, marks of polarity.

    Examples
    --------
    >>> nan = float("nan")
    >>> marking_text(Part("R1", "resistor", 4700.0, "Ω", "4k7", -0.05, 0.05, nan, 0.25, nan, (), ""))
    '4.7 kΩ, 4K7: yellow violet red gold'
    >>> marking_text(Part("C1", "ceramic capacitor", 1e-7, "F", "100n", nan, nan, 50.0, nan, nan, (), ""))
    '100 nF, 100n or 104'
    """
    is_a("part", part, Part)
    match part.kind:
        case "resistor":
            return _resistor_marking(part)
        case "trimmer" | "film capacitor" | "ceramic capacitor":
            return f"{_printed(part)}{_or_digit_code(part)}"
        case "electrolytic capacitor":
            # these print plain microfarads, and no code
            rated = "" if np.isnan(part.voltage_max) else f", {write_value(part.voltage_max, unit='V')} or more"
            return f"{write_value(part.value, unit=part.unit)}{rated}: the stripe marks minus, the longer lead plus"
        case "tantalum capacitor":
            rated = "" if np.isnan(part.voltage_max) else f", {write_value(part.voltage_max, unit='V')} or more"
            return f"{_printed(part)}{_or_digit_code(part)}{rated}: the stripe marks plus, as does the longer lead"
        case "potentiometer":
            return f"{_printed(part)}{f', {part.law} law' if part.law else ''}"
        case "inductor":
            return _printed(part)
        case "diode" if not re.search(r"\bled\b", part.value_text.casefold()):
            return f"{part.value_text}: the ring marks the cathode"
        case "indicator" | "diode":  # an LED that clips is a diode of the list
            return f"{part.value_text}: the longer lead is the anode, the flat side the cathode"
        case "integrated circuit":
            return f"{part.value_text}: notch or dot at pin 1"
        case "transistor" | "regulator":
            return f"{part.value_text}: check the order of the leads against its sheet"
        case _:
            return part.value_text


def _printed(part: Part) -> str:
    text = write_value(part.value, unit=part.unit)
    if part.unit == "H":
        return text
    try:
        return f"{text}, {write_code(part.value, unit=part.unit)}"
    except ValueError:  # too many digits for a code, and for short text
        return part.value_text


def _or_digit_code(part: Part) -> str:
    try:
        return f" or {write_digit_code(part.value, unit=part.unit)}"
    except ValueError:
        return ""


def _resistor_marking(part: Part) -> str:
    if part.value == 0:
        return "0 Ω: one black band, or a wire link"
    stated = not np.isnan(part.tolerance_high)
    # The tolerance band is cut off again where the list does not state a tolerance.
    fine = [(4, 0.05), (5, 0.01)] if not stated else [(5 if part.tolerance_high <= 0.02 else 4, part.tolerance_high)]
    found = []
    for count, tolerance in fine:
        try:
            bands = write_bands(part.value, tolerance=tolerance, band_count=count)
        except ValueError:
            continue
        found.append(bands if stated else f"{bands.rpartition(' ')[0]} and a tolerance band")
    return ": ".join(filter(None, (_printed(part), ", or ".join(found))))
