"""Read and write part values as text.

The grammar: an optional sign; digits; then either ``.digits`` or one letter in
the place of the decimal point; or, after the number, one letter or one
exponent; at last the unit, which may be left out. Everything else is refused
with the reason. The letters are those of the SI prefixes and of IEC 60062::

    p   n   u µ μ   m    R   k K   M   G
    -12 -9  -6      -3   0   3     6   9
"""

from __future__ import annotations

import math
import re
import warnings
from decimal import Decimal
from typing import NoReturn, overload

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import numeric, one_of
from pedalcalc._base import search
from pedalcalc._result import Number
from pedalcalc._signs import ohm_sign, shows_open
from pedalcalc._units import PREFIXES, prefix_power, shown

POWERS = {"p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "R": 0, "k": 3, "K": 3, "M": 6, "G": 9}
OHM = ("Ω", "\N{OHM SIGN}", "ohms", "ohm", "Ohms", "Ohm")
# What may follow the number, by quantity, and the letters that make sense for it.
SPELLINGS = {"Ω": OHM, "ohm": OHM, "Hz": ("Hz", "hz")}
LETTERS = {"Ω": "mRkKMG", "ohm": "mRkKMG", "F": "pnuµμm", "H": "pnuµμm", "s": "pnuµμm"}
# What meters show where there is no circuit, without its spaces and points.
#: More characters than any value needs; beyond it the text is something else.
LONGEST = 40
UNITS = ("Ω", "ohm", "F", "H", "V", "A", "W", "Hz", "s", "lx", "S")
NEVER_NEGATIVE = ("Ω", "ohm", "F", "H")

NUMBER = re.compile(
    r"(?P<sign>[+\-\N{MINUS SIGN}]?)"
    r"(?:(?P<whole>[0-9]+)(?:\.(?P<fraction>[0-9]+))?(?:[eE](?P<exponent>[+-]?[0-9]{1,3}))?[ \u00a0\u202f]?(?P<after>[pnuµμmRkKMG]?)"
    r"|(?P<head>[0-9]+(?=[pnuµμmRkKMG])|(?=[pnuµμmR]))(?P<inside>[pnuµμmRkKMG])(?P<tail>[0-9]+))"
    r"[ \u00a0\u202f]?(?P<unit>[A-Za-zΩ\N{OHM SIGN}]*)"
)


@overload
def read_value(text: str, *, unit: str) -> float: ...
@overload
def read_value(text: list[str] | tuple[str, ...], *, unit: str) -> NDArray[np.float64]: ...
@search
def read_value(text: str | list[str] | tuple[str, ...], *, unit: str) -> Number:
    """Read a part value such as ``4k7``, ``100n``, ``0.5`` or ``470 ohm``, or several.

    Parameters
    ----------
    text : str or sequence of str
        The value as a person writes it, or a list of such. The decimal mark is a point, or the
        letter in its place; the unit may be left out.
    unit : str
        SI unit of the quantity, one of `UNITS`; ``ohm`` is another name of Ω.

    Returns
    -------
    float or ndarray
        The value in SI units, the float nearest to the decimal number; an array for a list.

    Raises
    ------
    TypeError
        If `text` is neither text nor a list of texts.
    ValueError
        If `text` is not a value of this quantity; the message says why and
        how to write it.

    Warns
    -----
    UserWarning
        If a resistance is written with a small ``m``: ``10m`` is 0.01 Ω, and
        ``10M`` was perhaps meant.

    Notes
    -----
    ``R`` stands for ohms only, and farads take no letter above ``m``. A bare
    whole number is not read as farads, since 104 on a capacitor is a code.
    The exponent is put together as text before it becomes a float, so that
    ``100n`` is exactly 1e-07.

    References
    ----------
    IEC-60062, value table.

    Examples
    --------
    >>> read_value("4k7", unit="ohm"), read_value("100n", unit="F")
    (4700.0, 1e-07)
    >>> read_value(["4k7", "10k"], unit="Ω").tolist()
    [4700.0, 10000.0]
    """
    unit = one_of("unit", ohm_sign(unit), UNITS)
    if isinstance(text, (list, tuple, np.ndarray)) and len(text):
        return np.array([_read_one(part, unit) for part in text])
    return _read_one(text, unit)


def _read_one(text: object, unit: str) -> float:
    if not isinstance(text, str):
        raise TypeError(f"text must be a value written as text, such as '4k7', not {text!r}")
    stripped = text.strip()
    if len(stripped) > LONGEST:
        _refuse(text, f"a value is written with at most {LONGEST} characters, this has {len(stripped)}")
    found = NUMBER.fullmatch(stripped)
    if found is None:
        _refuse(text, _reason(stripped, unit))
    letter = found["after"] or found["inside"] or ""
    _check_unit(text, stripped, unit, found["unit"], letter)
    if found["exponent"] is not None and letter:
        _refuse(text, "an exponent and a letter together are refused; write one of them")
    if unit in OHM and re.fullmatch(r"[0-9]+E[0-9]+", stripped):
        _refuse(text, "E stands for ohm on some drawings; write 4R7 for 4.7 Ω and 4e7 for forty million")
    if unit == "F" and re.fullmatch(r"[0-9]+", stripped) and int(stripped) > 0:
        _refuse(
            text,
            "a bare whole number would be farads; write the letter, such as 10u or 22p, "
            "and read a printed three-digit code with read_capacitor_code",
        )
    if found["inside"]:
        digits = f"{found['head'] or '0'}.{found['tail']}"
    else:
        digits = f"{found['whole']}.{found['fraction'] or '0'}"
    power = POWERS[letter] if letter else int(found["exponent"] or 0)
    value = float(f"{digits}e{power}")
    if math.isinf(value) or (value == 0 and digits.strip("0.")):
        _refuse(text, "the number is too large or too small to compute with")
    if found["sign"] in ("-", "\N{MINUS SIGN}"):
        if unit in NEVER_NEGATIVE:
            _refuse(text, f"a value in {unit} cannot be negative")
        value = -value
    if unit in OHM and letter == "m":
        warnings.warn(f"{text!r} is {value:g} Ω: a small m is a thousandth, a large M a million", stacklevel=3)
    return value


TWO_LETTERS = "two letters for the size; one is enough, as in 4k7 (and leave a tolerance letter at the end off)"


def _refuse(text: str, reason: str) -> NoReturn:
    shown = text if len(text) <= LONGEST else f"{text[:LONGEST]}..."
    raise ValueError(f"text {shown!r} is not a value: {reason}")


def _check_unit(text: str, stripped: str, unit: str, spelled: str, letter: str) -> None:
    if spelled and spelled not in SPELLINGS.get(unit, (unit,)):
        _refuse(text, _unit_reason(stripped, unit, spelled))
    if letter and letter not in LETTERS.get(unit, "pnuµμmkKMG"):
        if unit == "F" and re.fullmatch(r"[0-9]{3}[KM]", stripped):
            _refuse(text, "this is a three-digit code with a tolerance letter; use read_capacitor_code")
        _refuse(text, f"the letter {letter} is not used with {unit}")


def _unit_reason(text: str, unit: str, spelled: str) -> str:
    if re.search(r"(?i)[0-9] ?meg", text):
        return "write 1M, not 1Meg"
    if re.search(r"[pnuµμmRkKMG]", text.removesuffix(spelled)) and spelled in POWERS:
        return TWO_LETTERS
    if unit == "F" and spelled == "f":
        return f"write the unit farad with a capital, {text[:-1]}F"
    if unit == "F" and re.fullmatch(r"(?i)fd?", spelled):
        return "write 10u for ten microfarads; old letters such as MFD are not read"
    if len(spelled) == 1 and spelled not in UNITS and re.fullmatch(r".*[0-9].*[ABCDFGJKMNPTZ]", text):
        return f"{spelled!r} is not {unit}; if it is a tolerance letter or a marking, leave it off"
    other = {"Ω": " (or ohm)", "ohm": " (or Ω)"}.get(unit, "")
    return f"{spelled!r} is not the unit {unit}{other}, nor a letter for it"


def _reason(text: str, unit: str) -> str:
    example = {"F": "100n", "H": "4m7", "s": "50m"}.get(unit, "4k7" if unit in OHM else "4.7")
    if not text:
        return f"it is empty; write it like {example}"
    if "," in text:
        return "write the decimal mark as a point (or its letter, as in 1k5)"
    if re.fullmatch(r"(?i)[+-]?(nan|inf|infinity|short)", text) or shows_open(text):
        return "a value is a number; a part that was not measured is float('nan') in a calculation, not text; one that is left out has no line in a list"
    if re.search(r"(?i)[0-9] ?meg", text):
        return "write 1M, not 1Meg"
    if re.fullmatch(r"[A-Z][0-9].*", text):
        return (
            f"the {text[0]} in front is a marking (on a potentiometer the taper), not part of the value; "
            "leave it off and give the taper as a law"
        )
    if re.fullmatch(r"[0-9]*[pnuµμmRkKMG][0-9]+ ?[pnuµμmRkKMG].*|[0-9.]+ ?[pnuµμmkKMG]{2,}.*", text):
        return TWO_LETTERS
    if re.search(r"[0-9][eE].*[pnuµμmkKMG]|[pnuµμmkKMG][0-9]*[eE][0-9]", text):
        return "an exponent and a letter together are refused; write one of them"
    if re.fullmatch(r"[+-]?\.[0-9]+.*", text):
        return "write a digit before the point, such as 0.5"
    if re.search(r"[^\x00-\x7FµμΩ\N{OHM SIGN}\u00a0\u202f\N{MINUS SIGN}]", text):
        return "only the digits 0 to 9 and the letters p n u µ m R k K M G are read"
    return f"write it like {example}: a number with a point, at most one of p n u µ m R k K M G, then the unit"


@search
def write_value(value: float, *, unit: str, digits: int | None = None) -> str:
    """Write a value with its unit for people, such as ``4.70 kΩ``.

    Parameters
    ----------
    value : float
        One number in the SI unit [SI] that `unit` names. NaN is written
        "not measured", an infinite resistance "open".
    unit : str
        Unit as it is to be printed. Plain numbers (``1``), decibels, temperatures
        and lux get no prefix, a large capacitance no higher one than µ.
    digits : int, optional
        Significant digits [1], 1 to 15, trailing zeros included. Without it, up to three
        digits are written and trailing zeros after the point are dropped, as
        on a part.

    Returns
    -------
    str
        Number, space, prefix and unit; the minus sign is a plain hyphen, so
        that the text can be read back.

    Raises
    ------
    TypeError
        If `value` is not a single number.
    ValueError
        If `digits` is not a whole number from 1 to 15.

    Notes
    -----
    Rounding comes first and the prefix after it, so 999.9996 Ω is 1.00 kΩ.

    References
    ----------
    SI-BROCHURE, ch. 3 (prefixes), sec. 5.4.3 (space between number and unit).

    Examples
    --------
    >>> write_value(4700.0, unit="Ω"), write_value(4700.0, unit="Ω", digits=3)
    ('4.7 kΩ', '4.70 kΩ')
    """
    array = numeric("value", value, infinity=True)
    if array.ndim:
        raise TypeError("value must be a single number; write an array element by element")
    if not isinstance(unit, str):
        raise TypeError(f"unit must be text, not {unit!r}")
    figures = 3 if digits is None else single_number("digits", digits, least=1, most=15)
    if figures != round(figures):
        raise ValueError(f"digits must be a whole number, got {digits!r}")
    unit = "Ω" if unit in OHM else unit
    name = "" if unit == "1" else unit
    number = float(array)
    if math.isnan(number):
        return "not measured"
    if math.isinf(number):
        if name == "Ω" and number > 0:
            return "open"
        return f"{'-' if number < 0 else ''}∞ {name}".rstrip()
    if number == 0:
        return f"0 {name}".rstrip()
    mantissa, _, exponent = f"{Decimal(repr(number)):.{int(figures) - 1}e}".partition("e")
    power = int(exponent)
    shift = prefix_power(power, unit)
    if shift not in PREFIXES or not -5 < power - shift < 7:
        written = f"{mantissa}e{power}" if digits is not None else f"{float(f'{mantissa}e{power}'):g}"
        return f"{written} {name}".rstrip()
    written = f"{Decimal(mantissa).scaleb(power - shift):f}"
    if digits is None and "." in written:
        written = written.rstrip("0").rstrip(".")
    return f"{written} {PREFIXES[shift]}{name}".rstrip()


def single_number(
    name: str,
    value: float,
    *,
    unit: str | None = None,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
) -> float:
    """Return `value` as one float that is no NaN, or refuse it naming `name`."""
    number = numeric(name, value, unit=unit, least=least, above=above, most=most)
    if number.ndim:
        raise TypeError(f"{name} must be a single number; take an array element by element")
    if math.isnan(number):
        raise ValueError(f"{name} must be a number, got nan; a part without a value has no marking")
    return float(number)


def leading_digits(name: str, value: float, count: int, unit: str) -> tuple[str, int]:
    """Split `value` into exactly `count` leading digits and a power of ten."""
    figures = Decimal(f"{value:.9e}").normalize()
    if len(figures.as_tuple().digits) > count:
        raise ValueError(f"{name} {shown(value, unit)} has more than {count} significant digits")
    power = figures.adjusted() - count + 1
    return f"{figures.scaleb(-power):f}", power


@search
def write_code(value: float, *, unit: str) -> str:
    """Write a value in the letter code printed on parts, such as ``4K7``.

    Parameters
    ----------
    value : float
        Resistance or capacitance in SI units [SI], with at most four significant digits.
    unit : str
        ``Ω`` (or ``ohm``) or ``F``.

    Returns
    -------
    str
        The code; the letter stands in the place of the decimal point.

    Raises
    ------
    ValueError
        If the value is negative, not finite, out of the code's range or has more than
        four digits: choose a stock value first, with `nearest_value`.

    Notes
    -----
    A difference below one part in 10⁹ is taken as rounding noise.

    References
    ----------
    IEC-60062, value table.

    Examples
    --------
    >>> write_code(4700.0, unit="Ω"), write_code(0.47, unit="Ω"), write_code(4.7e-9, unit="F")
    ('4K7', 'R47', '4n7')
    """
    unit = one_of("unit", ohm_sign(unit), ("Ω", "ohm", "F")).replace("ohm", "Ω")
    number = single_number("value", value, unit=unit, least=0)
    letters = {-12: "p", -9: "n", -6: "µ", -3: "m"} if unit == "F" else {0: "R", 3: "K", 6: "M", 9: "G"}
    if number == 0 and unit != "F":
        return "0R"
    low, high = min(letters), max(letters) + 3
    figures = Decimal(f"{number:.9e}").normalize() if number > 0 else Decimal("NaN")
    if figures.is_nan() or not low - 3 <= figures.adjusted() < high:
        ends = (shown(10.0**power, unit) for power in (low - 3, high))
        raise ValueError(f"value must be above {' and below '.join(ends)}, got {shown(number, unit)}")
    if len(figures.as_tuple().digits) > 4:
        raise ValueError(
            f"value has more than four digits: {shown(number, unit)}; choose a stock value with nearest_value first"
        )
    power = max(figures.adjusted() // 3 * 3, low)
    whole, _, fraction = f"{figures.scaleb(-power):f}".partition(".")
    whole = "" if whole == "0" else whole
    if not fraction and len(whole) == 1:
        fraction = "0"
    return f"{whole}{letters[power]}{fraction}"
