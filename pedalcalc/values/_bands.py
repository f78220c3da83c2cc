"""Colour bands of resistors."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from pedalcalc._base import search
from pedalcalc._result import Result, quantity
from pedalcalc._units import shown
from pedalcalc.values._text import leading_digits, single_number

COLOURS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
SYNONYMS = {"gray": "grey", "purple": "violet", "golden": "gold"}
MULTIPLIERS = {colour: power for power, colour in enumerate(COLOURS)} | {"gold": -1, "silver": -2}
# Orange, yellow and grey are left out: makers and editions of the standard disagree on them.
BAND_TOLERANCES = {
    "brown": 0.01,
    "red": 0.02,
    "green": 0.005,
    "blue": 0.0025,
    "violet": 0.001,
    "gold": 0.05,
    "silver": 0.1,
}
NO_BAND = 0.2  # tolerance of a resistor without a tolerance band


@dataclass(frozen=True, slots=True, eq=False)
class ResistorMarking(Result):
    """What the bands of a resistor say."""

    resistance: float = quantity("Ω", "resistance")
    tolerance: float = quantity("1", "tolerance, plus or minus")


@search
def read_bands(bands: str) -> ResistorMarking:
    """Read the colour bands of a resistor.

    Parameters
    ----------
    bands : str
        Three, four or five colours, first band first, such as
        ``yellow violet red gold``; three bands mean ±20 %.

    Returns
    -------
    ResistorMarking
        Resistance and relative tolerance.

    Raises
    ------
    ValueError
        If the number of bands or a colour is impossible at its place; the
        message says when reading from the other end would give a value.

    Notes
    -----
    Two (of five: three) digits, then the power of ten, then the tolerance.
    Orange, yellow and grey tolerance bands are refused, because makers and
    editions of the standard differ on them. If in doubt, measure: a meter on the
    unsoldered part settles which end is first.

    References
    ----------
    KUPHALDT-5, ch. 2 "Color codes", examples 1 to 6; MEMORY, the digits not met in those examples.

    Examples
    --------
    >>> found = read_bands("yellow violet orange gold")
    >>> found.resistance, found.tolerance
    (47000.0, 0.05)
    """
    if not isinstance(bands, str):
        raise TypeError(f"bands must be text such as 'yellow violet red gold', not {bands!r}")
    words = [SYNONYMS.get(word, word) for word in re.split(r"[\s,/-]+", bands.strip().lower()) if word]
    if len(words) == 4 and words[3] == "none":
        words = words[:3]
    try:
        return _decode(words)
    except ValueError as reason:
        raise ValueError(f"bands {bands!r}: {reason}{_other_end(words)}") from None


def _other_end(words: list[str]) -> str:
    try:
        other = _decode(words[::-1])
    except ValueError:
        return ""
    return f"; read from the other end they are {shown(other.resistance, 'Ω')}"


def _decode(words: list[str]) -> ResistorMarking:
    if words == ["black"]:
        raise ValueError("a single black band marks a wire link of 0 Ω")
    if len(words) == 6:
        raise ValueError("of six bands give the first five; the sixth is the temperature coefficient")
    if len(words) not in (3, 4, 5):
        raise ValueError(f"three, four or five bands are read, got {len(words)}")
    for word in words:
        if word not in MULTIPLIERS:
            raise ValueError(f"{word!r} is not a band colour ({', '.join(MULTIPLIERS)})")
    count = 3 if len(words) == 5 else 2
    for word in words[:count]:
        if word not in COLOURS:
            raise ValueError(f"{word} is not a digit")
    if words[0] == "black":
        raise ValueError("the first band is never black")
    if len(words) > 3 and words[-1] not in BAND_TOLERANCES:
        raise ValueError(f"{words[-1]} is not read as a tolerance ({', '.join(BAND_TOLERANCES)})")
    digits = "".join(str(COLOURS.index(word)) for word in words[:count])
    tolerance = BAND_TOLERANCES[words[-1]] if len(words) > 3 else NO_BAND
    return ResistorMarking(resistance=float(f"{digits}e{MULTIPLIERS[words[count]]}"), tolerance=tolerance)


@search
def write_bands(resistance: float, *, tolerance: float, band_count: int) -> str:
    """Name the colour bands to look for on a resistor.

    Parameters
    ----------
    resistance : float
        Marked resistance [Ω], above 0.
    tolerance : float
        Relative tolerance [1], one that has a band: 0.001, 0.0025, 0.005,
        0.01, 0.02, 0.05 or 0.1, and 0.2 for three bands.
    band_count : int
        Number of bands [1]: 3, 4 (as common on 5 %) or 5 (as common on 1 %).

    Returns
    -------
    str
        The colours, first band first, with spaces between.

    Raises
    ------
    ValueError
        If the value has too many digits for the bands, or no band exists for
        the tolerance or the power of ten.

    References
    ----------
    KUPHALDT-5, ch. 2 "Color codes", examples 1 to 6; MEMORY, the digits not met in those examples.

    Examples
    --------
    >>> write_bands(4700.0, tolerance=0.05, band_count=4)
    'yellow violet red gold'
    >>> write_bands(4700.0, tolerance=0.01, band_count=5)
    'yellow violet black brown brown'
    """
    number = single_number("resistance", resistance, above=0)
    spread = single_number("tolerance", tolerance, least=0)
    count = single_number("band_count", band_count, least=3, most=5)
    if count not in (3, 4, 5):
        raise ValueError(f"band_count must be 3, 4 or 5, got {band_count!r}")
    if count == 3 and not np.isclose(spread, NO_BAND, rtol=1e-9, atol=0):
        raise ValueError(f"tolerance must be {NO_BAND} with three bands, got {spread:g}")
    digits, power = leading_digits("resistance", number, 3 if count == 5 else 2, "Ω")
    multiplier = [colour for colour, exponent in MULTIPLIERS.items() if exponent == power]
    if not multiplier:
        raise ValueError(f"resistance {shown(number, 'Ω')} is out of the range of {int(count)} bands")
    words = [COLOURS[int(digit)] for digit in digits] + multiplier
    if count > 3:
        ends = [colour for colour, t in BAND_TOLERANCES.items() if np.isclose(t, spread, rtol=1e-9, atol=0)]
        if not ends:
            allowed = ", ".join(f"{t:g}" for t in BAND_TOLERANCES.values())
            raise ValueError(f"tolerance must be one of {allowed}, got {spread:g}")
        words += ends
    return " ".join(words)
