"""Three-digit codes and tolerance letters."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pedalcalc._arguments import one_of
from pedalcalc._base import search
from pedalcalc._result import Result, quantity
from pedalcalc._signs import ohm_sign
from pedalcalc._units import shown
from pedalcalc.values._bands import ResistorMarking
from pedalcalc.values._text import leading_digits, read_value, single_number

RESISTOR_LETTERS = {
    "W": 0.0005,
    "B": 0.001,
    "C": 0.0025,
    "D": 0.005,
    "F": 0.01,
    "G": 0.02,
    "H": 0.03,
    "J": 0.05,
    "K": 0.1,
    "M": 0.2,
    "N": 0.3,
}
CAPACITOR_LETTERS = {
    "F": (-0.01, 0.01),
    "G": (-0.02, 0.02),
    "J": (-0.05, 0.05),
    "K": (-0.1, 0.1),
    "M": (-0.2, 0.2),
    "N": (-0.3, 0.3),
    "P": (0.0, 1.0),
    "T": (-0.1, 0.5),
    "Z": (-0.2, 0.8),
}
CAPACITOR_FARADS = {"B": 0.1e-12, "C": 0.25e-12, "D": 0.5e-12}
SMALL_CAPACITOR = 10e-12  # below it the letters of `CAPACITOR_FARADS` apply


@dataclass(frozen=True, slots=True, eq=False)
class CapacitorMarking(Result):
    """What the print on a capacitor says; NaN tolerances where no letter is printed."""

    capacitance: float = quantity("F", "capacitance")
    tolerance_low: float = quantity("1", "lowest deviation")
    tolerance_high: float = quantity("1", "highest deviation")


def _digit_code(text: str, code: str, unit: str) -> float:
    """Return what two digits and a power of ten, or digits around an R, mean."""
    base = -12 if unit == "F" else 0
    if re.fullmatch(r"[1-9][0-9]{2}", code):
        power = int(code[2])
        if power >= 8:
            if unit != "F":
                raise ValueError(f"text {text!r} is not a code for ohms: its last digit is at most 7")
            power -= 10
        return float(f"{code[:2]}e{power + base}")
    if re.fullmatch(r"[0-9]R[0-9]|R[0-9]{2}", code) and code.strip("0R"):
        return float(f"{code.replace('R', '.')}e{base}")
    raise ValueError(f"text {text!r} is not a three-digit code: two digits and a power of ten, such as 104, or 4R7")


@search
def write_digit_code(value: float, *, unit: str) -> str:
    """Write the three-digit code to look for on a capacitor or a trimmer.

    Parameters
    ----------
    value : float
        Capacitance or resistance [SI] with at most two significant digits.
    unit : str
        ``F``: the code counts picofarads; ``Ω`` (or ``ohm``): it counts ohms.

    Returns
    -------
    str
        Two digits and the power of ten; below ten units the letter ``R`` for the point.

    Raises
    ------
    ValueError
        If the value has more digits or is out of the range of the code.

    References
    ----------
    CAP-NOTES, value codes; MEMORY, the letter R.

    Examples
    --------
    >>> write_digit_code(1e-7, unit="F"), write_digit_code(4.7e-12, unit="F")
    ('104', '4R7')
    """
    unit = one_of("unit", ohm_sign(unit), ("F", "Ω", "ohm")).replace("ohm", "Ω")
    number = single_number("value", value, unit=unit, above=0)
    digits, power = leading_digits("value", number, 2, unit)
    power += 12 if unit == "F" else 0
    if 0 <= power <= 7:
        return f"{digits}{power}"
    if power == -1:
        return f"{digits[0]}R{digits[1]}"
    if power == -2:
        return f"R{digits}"
    raise ValueError(f"value {shown(number, unit)} is out of the range of a three-digit code")


def _capacitor_tolerance(letter: str, capacitance: float) -> tuple[float, float]:
    """Return lowest and highest deviation, relative to the marked value."""
    one_of("letter", letter, (*CAPACITOR_LETTERS, *CAPACITOR_FARADS))
    if letter in CAPACITOR_LETTERS:
        return CAPACITOR_LETTERS[letter]
    if capacitance >= SMALL_CAPACITOR:
        raise ValueError(
            f"letter {letter} on a capacitor stands for picofarads and is read below 10 pF only, got {shown(capacitance, 'F')}"
        )
    spread = CAPACITOR_FARADS[letter] / capacitance
    return -spread, spread


@search
def read_capacitor_code(text: str) -> CapacitorMarking:
    """Read the print on a capacitor, such as ``104``, ``104K``, ``4n7J`` or ``229D``.

    Parameters
    ----------
    text : str
        Three-digit code or letter code, and a tolerance letter if there is one.

    Returns
    -------
    CapacitorMarking
        Capacitance and lowest and highest deviation; NaN deviations without a letter.

    Raises
    ------
    ValueError
        If the code or the letter cannot be read, or B, C or D stands on 10 pF and more.

    Notes
    -----
    Three digits are two digits and the power of ten, in picofarads; a last digit of 8 means times 0.01 and 9 times
    0.1. B, C and D are ±0.1, ±0.25 and ±0.5 pF. P is −0/+100 %, T −10/+50 %, Z −20/+80 %.

    References
    ----------
    CAP-NOTES, value codes; CAP-TOLERANCE, table; MEMORY, the last digits 8 and 9 and the letter R.

    Examples
    --------
    >>> found = read_capacitor_code("104K")
    >>> found.capacitance, found.tolerance_low, found.tolerance_high
    (1e-07, -0.1, 0.1)
    """
    if not isinstance(text, str):
        raise TypeError(f"text must be text such as '104K', not {text!r}")
    code = text.strip()
    letter = code[-1:] if re.fullmatch(r".*[0-9pnuµμ][A-Z]", code) and not code.endswith(("F", "R")) else ""
    if re.fullmatch(r"[0-9R]{3}F", code):
        letter = "F"
    code = code.removesuffix(letter)
    if re.fullmatch(r"[0-9]{1,2}", code):
        raise ValueError(f"text {text!r} is not a three-digit code; one or two digits are picofarads: write {code}p")
    value = _digit_code(text, code, "F") if re.fullmatch(r"[0-9R]{3}", code) else read_value(code, unit="F")
    if value == 0:
        raise ValueError(f"text {text!r} is not a capacitor: its value is zero")
    low, high = _capacitor_tolerance(letter, value) if letter else (float("nan"), float("nan"))
    return CapacitorMarking(capacitance=value, tolerance_low=low, tolerance_high=high)


@search
def read_resistor_code(text: str) -> ResistorMarking:
    """Read the print on a resistor or a trimmer, such as ``4K7J``, ``R47`` or ``103``.

    Parameters
    ----------
    text : str
        Digits with R, K, M or G in place of the decimal point, or three digits, the last the power of ten;
        and a tolerance letter if there is one.

    Returns
    -------
    ResistorMarking
        Resistance and tolerance; a NaN tolerance without a letter.

    Raises
    ------
    ValueError
        If the code or the letter cannot be read.

    Notes
    -----
    The first letter is the decimal point, a second one the tolerance: ``47K`` is 47 kΩ, ``47KK`` is
    47 kΩ ±10 %. The letter D means ±0.5 % here; on a small capacitor it means ±0.5 pF.

    References
    ----------
    IEC-60062, value table; MAKER-CODES, p. 41, tolerance letters D, F, G, J, K, M; MEMORY, the letters W, B, C, H
    and N, and the three digits on trimmers.

    Examples
    --------
    >>> found = read_resistor_code("4K7J")
    >>> found.resistance, found.tolerance
    (4700.0, 0.05)
    """
    if not isinstance(text, str):
        raise TypeError(f"text must be text such as '4K7J', not {text!r}")
    found = re.fullmatch(r"([0-9]+[RKMG][0-9]*|[RKMG][0-9]+|[0-9]{3})([A-Z]?)", text.strip())
    if not found:
        raise ValueError(
            f"text {text!r} is not a resistor's code: digits with one of R, K, M, G for the decimal point, or three "
            "digits as on a trimmer, and a tolerance letter, such as 4K7J or 103"
        )
    code, letter = found.groups()
    value = _digit_code(text, code, "Ω") if code.isdigit() else read_value(code, unit="Ω")
    tolerance = RESISTOR_LETTERS[one_of("letter", letter, tuple(RESISTOR_LETTERS))] if letter else float("nan")
    return ResistorMarking(resistance=value, tolerance=tolerance)
