"""Three-digit codes and tolerance letters."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pedalcalc._base import Result, one_of, quantity, search
from pedalcalc.values._bands import ResistorMarking
from pedalcalc.values._text import leading_digits, ohm_sign, read_value, single_number

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
class ToleranceBand(Result):
    """How far the real value may lie from the marked one, relative to it."""

    tolerance_low: float = quantity("1", "lowest deviation")
    tolerance_high: float = quantity("1", "highest deviation")


@dataclass(frozen=True, slots=True, eq=False)
class CapacitorMarking(Result):
    """What the print on a capacitor says; NaN tolerances where no letter is printed."""

    capacitance: float = quantity("F", "capacitance")
    tolerance_low: float = quantity("1", "lowest deviation")
    tolerance_high: float = quantity("1", "highest deviation")


@search
def read_digit_code(text: str, *, unit: str) -> float:
    """Read a three-digit code such as ``104`` on a capacitor or ``103`` on a trimmer.

    Parameters
    ----------
    text : str
        Two digits and the power of ten, or ``R`` (``4R7``, ``R47``) for the decimal point.
    unit : str
        ``F``: the code counts picofarads; ``Ω`` (or ``ohm``): it counts ohms.

    Returns
    -------
    float
        The value in SI units.

    Raises
    ------
    ValueError
        If `text` is not such a code; a tolerance letter behind it is refused here
        and read by `read_capacitor_code`.

    Notes
    -----
    A last digit of 8 means times 0.01 and 9 times 0.1 on capacitors; on resistors both are
    refused.

    References
    ----------
    CAP-NOTES, value codes; MEMORY, the last digits 8 and 9 and the letter R.

    Examples
    --------
    >>> read_digit_code("104", unit="F"), read_digit_code("103", unit="ohm")
    (1e-07, 10000.0)
    """
    unit = one_of("unit", ohm_sign(unit), ("F", "Ω", "ohm"))
    if not isinstance(text, str):
        raise TypeError(f"text must be text such as '104', not {text!r}")
    base = -12 if unit == "F" else 0
    code = text.strip()
    if re.fullmatch(r"[1-9][0-9]{2}", code):
        power = int(code[2])
        if power >= 8:
            if unit != "F":
                raise ValueError(f"text {text!r} is not a code for ohms: its last digit is at most 7")
            power -= 10
        return float(f"{code[:2]}e{power + base}")
    if re.fullmatch(r"[0-9]R[0-9]|R[0-9]{2}", code) and code.strip("0R"):
        return float(f"{code.replace('R', '.')}e{base}")
    if re.fullmatch(r"[0-9]{1,2}", code) and unit == "F":
        raise ValueError(f"text {text!r} is not a three-digit code; one or two digits are picofarads: write {code}p")
    if re.fullmatch(r"[0-9R]{3}[A-Z]", code):
        raise ValueError(f"text {text!r} ends in a tolerance letter; use read_capacitor_code")
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
    unit = one_of("unit", ohm_sign(unit), ("F", "Ω", "ohm"))
    number = single_number("value", value, above=0)
    digits, power = leading_digits("value", number, 2)
    power += 12 if unit == "F" else 0
    if 0 <= power <= 7:
        return f"{digits}{power}"
    if power == -1:
        return f"{digits[0]}R{digits[1]}"
    if power == -2:
        return f"R{digits}"
    raise ValueError(f"value {number:g} is out of the range of a three-digit code")


@search
def resistor_tolerance(letter: str) -> float:
    """Return the tolerance that a letter on a resistor stands for.

    Parameters
    ----------
    letter : str
        B, C, D, F, G, J, K or M.

    Returns
    -------
    float
        Relative tolerance [1], plus or minus.

    Raises
    ------
    ValueError
        If the letter is none of these.

    Notes
    -----
    On a resistor D means ±0.5 %; on a small capacitor it means ±0.5 pF.

    References
    ----------
    MAKER-CODES, p. 41 (D, F, G, J, K, M); MEMORY, the letters W, B, C, H and N.

    Examples
    --------
    >>> resistor_tolerance("J")
    0.05
    """
    return RESISTOR_LETTERS[one_of("letter", letter, tuple(RESISTOR_LETTERS))]


@search
def capacitor_tolerance(letter: str, *, capacitance: float) -> ToleranceBand:
    """Return the tolerance that a letter on a capacitor stands for.

    Parameters
    ----------
    letter : str
        F, G, J, K, M, N, P, T or Z; below 10 pF also B, C and D.
    capacitance : float
        Marked capacitance [F], above 0.

    Returns
    -------
    ToleranceBand
        Lowest and highest deviation relative to the marked value.

    Raises
    ------
    ValueError
        If the letter is none of these, or is B, C or D on 10 pF and more.

    Notes
    -----
    B, C and D are ±0.1, ±0.25 and ±0.5 pF. P is −0/+100 %, T −10/+50 %, Z −20/+80 %.

    References
    ----------
    CAP-TOLERANCE, table.

    Examples
    --------
    >>> band = capacitor_tolerance("Z", capacitance=100e-9)
    >>> band.tolerance_low, band.tolerance_high
    (-0.2, 0.8)
    """
    one_of("letter", letter, (*CAPACITOR_LETTERS, *CAPACITOR_FARADS))
    number = single_number("capacitance", capacitance, above=0)
    if letter in CAPACITOR_LETTERS:
        return ToleranceBand(*CAPACITOR_LETTERS[letter])
    if number >= SMALL_CAPACITOR:
        raise ValueError(
            f"letter {letter} on a capacitor stands for picofarads and is read below 10 pF only, got {number:g} F"
        )
    spread = CAPACITOR_FARADS[letter] / number
    return ToleranceBand(-spread, spread)


@search
def read_capacitor_code(text: str) -> CapacitorMarking:
    """Read the print on a capacitor, such as ``104K``, ``4n7J`` or ``229D``.

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
        If the code or the letter cannot be read.

    References
    ----------
    CAP-NOTES, value codes; CAP-TOLERANCE, table.

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
    value = read_digit_code(code, unit="F") if re.fullmatch(r"[0-9R]{3}", code) else read_value(code, unit="F")
    if value == 0:
        raise ValueError(f"text {text!r} is not a capacitor: its value is zero")
    if not letter:
        return CapacitorMarking(value, float("nan"), float("nan"))
    band = capacitor_tolerance(letter, capacitance=value)
    return CapacitorMarking(value, band.tolerance_low, band.tolerance_high)


@search
def read_resistor_code(text: str) -> ResistorMarking:
    """Read the letter code on a resistor, such as ``4K7J`` or ``R47``.

    Parameters
    ----------
    text : str
        Digits with R, K, M or G in place of the decimal point, and a tolerance letter if there is one.

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
    47 kΩ ±10 %.

    References
    ----------
    IEC-60062, value table; MAKER-CODES, p. 41, tolerance letters.

    Examples
    --------
    >>> found = read_resistor_code("4K7J")
    >>> found.resistance, found.tolerance
    (4700.0, 0.05)
    """
    if not isinstance(text, str):
        raise TypeError(f"text must be text such as '4K7J', not {text!r}")
    found = re.fullmatch(r"([0-9]+[RKMG][0-9]*|[RKMG][0-9]+)([A-Z]?)", text.strip())
    if not found:
        raise ValueError(
            f"text {text!r} is not a resistor's letter code: digits with one of R, K, M, G for the decimal point, "
            "and a tolerance letter, such as 4K7J"
        )
    code, letter = found.groups()
    return ResistorMarking(read_value(code, unit="Ω"), resistor_tolerance(letter) if letter else float("nan"))
