"""The parts list of a build: what is on the board, what to look for, what to fit first.

A build's ``parts.csv`` is a table that any spreadsheet can write, one part a row::

    reference,kind,value,tolerance,rating,connections,note
    R1,resistor,4k7,1%,0.25 W,"1: supply, 2: half supply",

- ``reference``: the name on the board, once in the list.
- ``kind``: a full word of `KINDS`.
- ``value``: ``4k7``, ``100n`` for parts that have one, else the type (``TL072``).
- ``tolerance``: ``5%``, ``+80/-20%`` or empty.
- ``rating``: volts, watts or amperes (``25 V``, ``1/4 W``), several with commas between, or empty.
- ``connections``: pairs ``pin: net`` with commas between, or empty. Nets have speaking names.
- ``note``: any text.

The columns may stand in any order; commas or semicolons part them (the first line
decides); UTF-8 with or without a byte-order mark and any line ending are read;
lines without content are skipped. Upper and lower case count in values and
nets, not in column names and kinds. Nothing else is guessed: a doubtful cell
is refused with its line and column.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from pedalcalc._base import Result, io, is_a, quantity, search
from pedalcalc._csv import Row, read_rows
from pedalcalc.values import read_value, write_bands, write_code, write_digit_code, write_value

__all__ = [
    "COLUMNS",
    "FITTING_STEPS",
    "KINDS",
    "Connection",
    "Part",
    "fitting_order",
    "fitting_step",
    "marking_text",
    "read_parts",
]

COLUMNS = ("reference", "kind", "value", "tolerance", "rating", "connections", "note")

# Lowest first, so that the board lies flat on what is being soldered; what is in the way or fragile comes last.
FITTING_STEPS = {
    "resistors and diodes": ("resistor", "diode", "link"),
    "IC sockets": ("integrated circuit", "socket"),
    "film and ceramic capacitors": ("film capacitor", "ceramic capacitor", "inductor"),
    "electrolytic capacitors": ("electrolytic capacitor",),
    "transistors and trimmers": ("transistor", "trimmer"),
    "coupler": ("coupler",),
    "controls and connectors": ("potentiometer", "switch", "jack", "connector"),
    "indicator": ("indicator",),
}
KINDS = tuple(kind for kinds in FITTING_STEPS.values() for kind in kinds)

UNITS = {"resistor": "Ω", "trimmer": "Ω", "potentiometer": "Ω", "inductor": "H"} | dict.fromkeys(
    ("film capacitor", "ceramic capacitor", "electrolytic capacitor"), "F"
)
TWO_PINS = ("resistor", "link", "film capacitor", "ceramic capacitor", "inductor")
POLARISED = {
    "diode": ("anode", "cathode"),
    "indicator": ("anode", "cathode"),
    "electrolytic capacitor": ("plus", "minus"),
}


class Connection(NamedTuple):
    """One pin of a part and the net it goes to."""

    pin: str
    net: str


@dataclass(frozen=True, slots=True, eq=False)
class Part(Result):
    """One line of a parts list; NaN for figures that the list does not give."""

    reference: str = quantity("text", "name on the board")
    kind: str = quantity("text", "kind of part")
    value: float = quantity("SI", "value")
    unit: str = quantity("text", "unit of the value, empty for a type")
    value_text: str = quantity("text", "value or type as written in the list")
    tolerance_low: float = quantity("1", "lowest deviation")
    tolerance_high: float = quantity("1", "highest deviation")
    voltage_max: float = quantity("V", "rated voltage")
    power_max: float = quantity("W", "rated power")
    current_max: float = quantity("A", "rated current")
    connections: tuple[Connection, ...] = quantity("records", "pins and nets")
    note: str = quantity("text", "note")


@io
def read_parts(path: str | Path) -> tuple[Part, ...]:
    """Read the parts list of a build.

    Parameters
    ----------
    path : str or Path
        File ``parts.csv`` as described at the top of this module.

    Returns
    -------
    tuple of Part
        The parts in the order of the file, values in SI units.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        If the file is empty, a column is missing or unknown, a reference stands
        twice, or a cell cannot be read; file, line and column are named.

    Notes
    -----
    Parts with two leads that differ name them in words: ``anode`` and ``cathode``,
    ``plus`` and ``minus`` (a spreadsheet takes a cell that begins with a sign for a sum).
    A taper letter on a potentiometer is refused: the letters differ between makers, so the
    taper belongs in the note, in words.

    References
    ----------
    PRACTICE, parts lists in spreadsheets; IEC-60062, value table.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,tolerance,rating,connections,note\\n"
    ...     'R1,resistor,4k7,1%,1/4 W,"1: supply, 2: half supply",\\n'
    ... )
    >>> part = read_parts(path)[0]
    >>> part.value, part.tolerance_high, part.power_max, part.connections[1].net
    (4700.0, 0.01, 0.25, 'half supply')
    """
    rows = read_rows(path, columns=COLUMNS)
    if not rows:
        raise ValueError(f"{Path(path).name} has no parts below its first line")
    parts = tuple(_part(row) for row in rows)
    seen: dict[str, int] = {}
    for part, row in zip(parts, rows, strict=True):
        name = part.reference.casefold()
        if name in seen:
            raise row.error("reference", f"{part.reference!r} stands already in line {seen[name]}")
        seen[name] = row.line
    return parts


def _part(row: Row) -> Part:
    cells = row.cells
    if not cells["reference"]:
        raise row.error("reference", "it is empty; give the name on the board, such as R1")
    kind = cells["kind"].casefold()
    if kind not in KINDS:
        hint = "; say which: film, ceramic or electrolytic capacitor" if kind == "capacitor" else ""
        raise row.error("kind", f"{cells['kind']!r} is none of {', '.join(KINDS)}{hint}")
    unit = UNITS.get(kind, "")
    value = np.nan
    if unit:
        value = row.read("value", lambda text: read_value(text, unit=unit))
        if value == 0 and kind != "resistor":
            raise row.error("value", f"a {kind} of 0 {unit} is none")
    elif not cells["value"] and kind != "link":
        raise row.error("value", f"it is empty; give the type of the {kind}")
    low, high = row.read("tolerance", _tolerance)
    ratings = row.read("rating", _ratings)
    return Part(
        reference=cells["reference"],
        kind=kind,
        value=value,
        unit=unit,
        value_text=cells["value"],
        tolerance_low=low,
        tolerance_high=high,
        voltage_max=ratings.get("V", np.nan),
        power_max=ratings.get("W", np.nan),
        current_max=ratings.get("A", np.nan),
        connections=row.read("connections", lambda text: _connections(text, kind)),
        note=cells["note"],
    )


def _tolerance(text: str) -> tuple[float, float]:
    """Return lowest and highest relative deviation of ``5%`` or ``+80/-20%``; NaN for an empty cell."""
    if not text:
        return np.nan, np.nan
    number = r"([0-9]+(?:\.[0-9]+)?)"
    found = re.fullmatch(rf"(?:±|\+/-)? ?{number} ?%", text)
    if found:
        return float(f"-{found[1]}e-2"), float(f"{found[1]}e-2")
    found = re.fullmatch(rf"([+-]){number} ?%? ?/ ?([+-]){number} ?%", text)
    if found and found[1] != found[3]:
        first, second = float(f"{found[1]}{found[2]}e-2"), float(f"{found[3]}{found[4]}e-2")
        return (first, second) if found[1] == "-" else (second, first)
    raise ValueError(f"{text!r} is not a tolerance; write it in percent with its sign, such as 5% or +80/-20%")


def _ratings(text: str) -> dict[str, float]:
    """Return the largest voltage, power and current that a cell such as ``25 V, 1/4 W`` allows."""
    ratings: dict[str, float] = {}
    for item in filter(None, (part.strip() for part in text.split(","))):
        unit = item[-1]
        if unit not in ("V", "W", "A"):
            raise ValueError(f"{item!r} is not a rating in V, W or A; put anything else in the note")
        if unit in ratings:
            raise ValueError(f"two ratings in {unit}: {text!r}")
        fraction = re.fullmatch(r"([0-9]+)/([1-9][0-9]*) ?[VWA]", item)
        value = int(fraction[1]) / int(fraction[2]) if fraction else read_value(item, unit=unit)
        if value <= 0:
            raise ValueError(f"the rating {item!r} must be above 0")
        ratings[unit] = value
    return ratings


def _connections(text: str, kind: str) -> tuple[Connection, ...]:
    pairs = []
    for item in filter(None, (part.strip() for part in re.split("[,;]", text))):
        pin, colon, net = (part.strip() for part in item.partition(":"))
        if not (pin and colon and net) or ":" in net:
            raise ValueError(f"{item!r} is not a pair 'pin: net'")
        pairs.append(Connection(pin, net))
    pins = [pair.pin for pair in pairs]
    for pin in pins:
        if pins.count(pin) > 1:
            raise ValueError(f"pin {pin!r} stands there twice")
    if not pairs:
        return ()
    named = POLARISED.get(kind)
    if named and set(pins) != set(named):
        raise ValueError(f"the pins of this {kind} must be called {named[0]} and {named[1]}, got {', '.join(pins)}")
    if kind in TWO_PINS and len(pins) != 2:
        raise ValueError(f"this {kind} has two pins, got {len(pins)}")
    if (named or kind in TWO_PINS) and pairs[0].net == pairs[1].net:
        raise ValueError(f"both pins go to {pairs[0].net!r}, so the part would do nothing")
    return tuple(pairs)


@search
def fitting_step(part: Part) -> str:
    """Name the step of the fitting in which a part is soldered.

    Parameters
    ----------
    part : Part
        One part of the list.

    Returns
    -------
    str
        A key of `FITTING_STEPS`, which stand in the order of fitting.

    Raises
    ------
    TypeError
        If `part` is not a part.

    Notes
    -----
    An integrated circuit is counted with its socket; the chip is pressed in
    after the supply has been checked.

    References
    ----------
    PRACTICE, lowest parts first.

    Examples
    --------
    >>> fitting_step(Part("C1", "film capacitor", 1e-7, "F", "100n", -0.1, 0.1, 63, float("nan"), float("nan"), (), ""))
    'film and ceramic capacitors'
    """
    kind = is_a("part", part, Part).kind
    return next(step for step, kinds in FITTING_STEPS.items() if kind in kinds)


@search
def fitting_order(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Sort parts into the order in which they are soldered, lowest first.

    Parameters
    ----------
    parts : sequence of Part
        Parts in any order.

    Returns
    -------
    tuple of Part
        By step, as in `FITTING_STEPS`; inside a step by kind and then by reference, R2 before R10.

    Raises
    ------
    TypeError
        If `parts` holds something else than parts.

    References
    ----------
    PRACTICE, lowest parts first.

    Examples
    --------
    >>> def part(reference, kind):
    ...     return Part(reference, kind, 1.0, "", "", 0, 0, 0, 0, 0, (), "")
    >>> found = fitting_order([part("D9", "indicator"), part("R10", "resistor"), part("R2", "resistor")])
    >>> [part.reference for part in found]
    ['R2', 'R10', 'D9']
    """
    return tuple(sorted((is_a("parts", part, Part) for part in parts), key=_place))


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
            rated = "" if np.isnan(part.voltage_max) else f", {write_value(part.voltage_max, unit='V')} or more"
            return f"{_printed(part)}{rated}: the stripe marks minus, the longer lead plus"
        case "potentiometer" | "inductor":
            return _printed(part)
        case "diode":
            return f"{part.value_text}: the ring marks the cathode"
        case "indicator":
            return f"{part.value_text}: the longer lead is the anode, the flat side the cathode"
        case "integrated circuit":
            return f"{part.value_text}: notch or dot at pin 1"
        case "transistor":
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
