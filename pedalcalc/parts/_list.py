"""The lines of a parts list, read and checked."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from pedalcalc._arguments import file_path
from pedalcalc._base import io
from pedalcalc._csv import Row, each_row, parted_by
from pedalcalc._part_value import POLAR, TWO_PINS, UNITS, read_part_value, without_volts
from pedalcalc._result import Result, quantity
from pedalcalc.values import read_value

COLUMNS = ("reference", "kind", "value", "fitted", "tolerance", "rating", "connections", "note")
#: Columns that hold numbers.
NUMBERED = ("value", "fitted", "tolerance", "rating")
NOT_CONNECTED = "not connected"
#: A part that nothing here computes: an amplifier, a delay, a logic chip, a module.
OTHER = "other"

# Lowest first, so that the board lies flat on what is being soldered; what is in the way or fragile comes last.
FITTING_STEPS = {
    "resistors and diodes": ("resistor", "diode", "link"),
    "IC sockets": ("integrated circuit", "socket", OTHER),
    "film and ceramic capacitors": ("film capacitor", "ceramic capacitor", "inductor"),
    "electrolytic capacitors": POLAR,
    "transistors and trimmers": ("transistor", "regulator", "trimmer"),
    "coupler": ("coupler", "photocell"),
    "controls and connectors": ("potentiometer", "switch", "jack", "connector", "battery"),
    "indicator": ("indicator",),
}
KINDS = tuple(kind for kinds in FITTING_STEPS.values() for kind in kinds)
#: Other words of lists for the same kinds.
KIND_WORDS = {
    "zener": "diode", "zener diode": "diode", "germanium diode": "diode", "schottky diode": "diode", "led": "indicator",
    "electrolytic": "electrolytic capacitor", "tantalum": "tantalum capacitor", "ceramic": "ceramic capacitor",
    "film": "film capacitor", "ic": "integrated circuit", "op-amp": "integrated circuit", "opamp": "integrated circuit",
    "op amp": "integrated circuit", "jfet": "transistor", "mosfet": "transistor", "bjt": "transistor",
    "voltage regulator": "regulator", "pot": "potentiometer", "trim pot": "trimmer", "trimpot": "trimmer",
    "preset": "trimmer", "ldr": "photocell", "optocoupler": "coupler", "jumper": "link", "wire link": "link",
    "footswitch": "switch", "toggle": "switch", "toggle switch": "switch", "dc jack": "connector",
}  # fmt: skip
#: Words for a pin that is left open which would join all such pins if they were taken for a net.
OPEN_WORDS = (
    "nc",
    "n/c",
    "n.c.",
    "n.c",
    "-",
    "--",
    "none",
    "unused",
    "not used",
    "no connection",
    "unconnected",
    "n/a",
)

POLARISED = {
    "diode": ("anode", "cathode"),
    "indicator": ("anode", "cathode"),
    "electrolytic capacitor": ("plus", "minus"),
    "tantalum capacitor": ("plus", "minus"),
    "battery": ("plus", "minus"),
}


class Connection(NamedTuple):
    """One pin of a part and the net it goes to."""

    pin: str
    net: str


@dataclass(frozen=True, slots=True, eq=False)
class Part(Result):
    """One line of a parts list; NaN for figures that the list does not give.

    `value`, `value_text` and `law` are those of the part that is fitted; `text_listed` is what the list asks for where
    something else is, and `place` says in which file and line the part stands.
    """

    reference: str = quantity("text", "name on the board")
    kind: str = quantity("text", "kind of part")
    value: float = quantity("SI", "value")
    unit: str = quantity("text", "unit of the value, empty for a type")
    value_text: str = quantity("text", "value or type as written")
    tolerance_low: float = quantity("1", "lowest deviation")
    tolerance_high: float = quantity("1", "highest deviation")
    voltage_max: float = quantity("V", "rated voltage")
    power_max: float = quantity("W", "rated power")
    current_max: float = quantity("A", "rated current")
    connections: tuple[Connection, ...] = quantity("records", "pins and nets")
    note: str = quantity("text", "note")
    law: str = field(default="", metadata={"unit": "text", "caption": "law of a control"})
    text_listed: str = field(default="", metadata={"unit": "text", "caption": "listed, where something else is fitted"})
    place: str = field(default="", metadata={"unit": "text", "caption": "place in the list"})

    @property
    def label(self) -> str:
        """The part in words and cautions: its reference, and what is fitted there."""
        return f"{self.reference} ({self.value_text})"


@io
def read_parts(path: str | Path) -> tuple[Part, ...]:
    """Read the parts list of a build.

    Parameters
    ----------
    path : str or Path
        File ``parts.csv`` as described at the top of `pedalcalc.parts`.

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
        twice, or a cell cannot be read; file, line and column of each are named.

    Notes
    -----
    Parts with two leads that differ name them in words: ``anode`` and ``cathode``,
    ``plus`` and ``minus`` (a spreadsheet takes a cell that begins with a sign for a sum).
    A taper letter on a potentiometer is refused: the letters differ between makers, so the
    law stands behind the value, in words.

    References
    ----------
    PRACTICE, parts lists in spreadsheets; IEC-60062, value table.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'R1,resistor,4k7,5k1,1%,1/4 W,"1: supply, 2: half supply",\\n'
    ... )
    >>> part = read_parts(path)[0]
    >>> part.value, part.text_listed, part.tolerance_high, part.connections[1].net
    (5100.0, '4k7', 0.01, 'half supply')
    """
    parts: list[Part] = []
    seen: dict[str, int] = {}
    path = file_path("path", path, there=True)
    wrong: list[str] = []
    comma = parted_by(path) == ";"
    for row in each_row(path, columns=COLUMNS, optional=("fitted",)):
        if comma:
            row.cells.update({name: _pointed(row.cells[name]) for name in NUMBERED})
        try:
            part = _part(row)
            name = part.reference.casefold()
            if name in seen:
                raise row.error("reference", f"{part.reference!r} stands already in line {seen[name]}")
        except ValueError as reason:
            named = f" (part {row.cells['reference']})" if row.cells["reference"] else ""
            wrong.append(f"{reason}{named}")
            continue
        seen[name] = row.line
        parts.append(part)
    if wrong:
        raise ValueError("\n".join(wrong))
    if not parts:
        raise ValueError(f"{Path(path).name} has no parts below its first line")
    return tuple(parts)


def _pointed(text: str) -> str:
    """Return a cell with its decimal commas as points, as a spreadsheet writes them where semicolons part the cells."""
    return re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text)


def _part(row: Row) -> Part:
    cells = row.cells
    if not cells["reference"]:
        raise row.error("reference", "it is empty; give the name on the board, such as R1")
    kind = cells["kind"].casefold()
    kind = KIND_WORDS.get(kind, kind)
    if kind not in KINDS:
        hint = "; say which: film, ceramic or electrolytic capacitor" if kind in ("capacitor", "cap") else ""
        raise row.error("kind", f"{cells['kind']!r} is none of {', '.join(KINDS)}{hint}")
    value, law, value_text, volts = _value(row, "value", kind)
    listed = ""
    if cells["fitted"]:
        listed = value_text
        value, fitted_law, value_text, own = _value(row, "fitted", kind)
        law = fitted_law or law
    low, high = row.read("tolerance", _tolerance)
    ratings = row.read("rating", _ratings)
    if volts:
        if ratings.get("V", volts) != volts:
            raise row.error("rating", f"it gives {ratings['V']:g} V, the value {volts:g} V; which is meant?")
        ratings = {**ratings, "V": volts}
    if cells["fitted"] and own:
        ratings = {**ratings, "V": own}
    return Part(
        reference=cells["reference"],
        kind=kind,
        value=value,
        unit=UNITS.get(kind, ""),
        value_text=value_text,
        tolerance_low=low,
        tolerance_high=high,
        voltage_max=ratings.get("V", np.nan),
        power_max=ratings.get("W", np.nan),
        current_max=ratings.get("A", np.nan),
        connections=row.read("connections", lambda text: _connections(text, kind)),
        note=cells["note"],
        law=law,
        text_listed=listed,
        place=f"{row.path.name}, line {row.line}",
    )


def _value(row: Row, column: str, kind: str) -> tuple[float, str, str, float]:
    """Return value, law and text of a cell, and the volts that stand behind it; 0 where none do."""
    text, volts = without_volts(row.cells[column], kind)
    value, law = row.read(column, lambda _: read_part_value(text, kind))
    rated = row.read(column, lambda _: _ratings(volts)) if volts else {}
    return value, law, text, rated.get("V", 0.0)


@lru_cache(maxsize=4096)
def _tolerance(text: str) -> tuple[float, float]:
    """Return lowest and highest relative deviation of ``5%`` or ``+80/-20%``; NaN for an empty cell."""
    if not text:
        return np.nan, np.nan
    number = r"([0-9]+(?:\.[0-9]+)?)"
    found = re.fullmatch(rf"(?:±|\+/-)? ?{number} ?%", text)
    if found:
        return _deviations(text, float(f"-{found[1]}e-2"), float(f"{found[1]}e-2"))
    found = re.fullmatch(rf"([+-]){number} ?%? ?/ ?([+-]){number} ?%", text)
    if found and found[1] != found[3]:
        first, second = float(f"{found[1]}{found[2]}e-2"), float(f"{found[3]}{found[4]}e-2")
        return _deviations(text, min(first, second), max(first, second))
    raise ValueError(f"{text!r} is not a tolerance; write it in percent with its sign, such as 5% or +80/-20%")


def _deviations(text: str, low: float, high: float) -> tuple[float, float]:
    """Return both deviations; a part cannot be less than nothing, and no maker sells more than three times the value."""
    if low <= -1 or high > 2:
        raise ValueError(f"a tolerance must be less than 100% down and at most 200% up, got {text!r}")
    return low, high


@lru_cache(maxsize=4096)
def _ratings(text: str) -> dict[str, float]:
    """Return the largest voltage, power and current that a cell such as ``25 V, 1/4 W`` allows."""
    ratings: dict[str, float] = {}
    for item in filter(None, (part.strip() for part in text.split(","))):
        unit = item[-1].upper()  # no prefix is written v, w or a
        if unit not in ("V", "W", "A"):
            cure = (
                "; write its unit, such as 16 V or 1/4 W"
                if re.fullmatch(r"[0-9./ ]+", item)
                else "; put anything else in the note"
            )
            raise ValueError(f"{item!r} is not a rating in V, W or A{cure}")
        if unit in ratings:
            raise ValueError(f"two ratings in {unit}: {text!r}")
        item = item[:-1] + unit
        fraction = re.fullmatch(r"([0-9]+)/([1-9][0-9]*) ?[VWA]", item)
        value = _divided(fraction[1], fraction[2]) if fraction else read_value(item, unit=unit)
        if value <= 0:
            raise ValueError(f"the rating {item!r} must be above 0")
        ratings[unit] = value
    return ratings


def _divided(above: str, below: str) -> float:
    if len(above) + len(below) > 12:
        raise ValueError(
            f"a rating written as a fraction must have at most twelve digits, got {len(above) + len(below)}"
        )
    return int(above) / int(below)


def _connections(text: str, kind: str) -> tuple[Connection, ...]:
    found: dict[str, str] = {}
    for item in text.replace(";", ",").split(","):
        pin, _, net = item.partition(":")
        pin, net = pin.strip(), net.strip()
        if not (pin and net) or ":" in net:
            if not item.strip():
                continue
            raise ValueError(f"{item.strip()!r} is not a pair 'pin: net'")
        if pin in found:
            raise ValueError(f"pin {pin!r} stands there twice")
        if net.casefold() in OPEN_WORDS:
            raise ValueError(f"{item.strip()!r}: write '{pin}: {NOT_CONNECTED}' for a pin that is left open")
        found[pin] = NOT_CONNECTED if net.casefold() == NOT_CONNECTED else net
    if not found:
        return ()
    named = POLARISED.get(kind)
    if named and found.keys() != set(named):
        raise ValueError(f"the pins of this {kind} must be called {named[0]} and {named[1]}, got {', '.join(found)}")
    if kind in TWO_PINS and len(found) != 2:
        raise ValueError(f"this {kind} has two pins, got {len(found)}")
    if named or kind in TWO_PINS:
        first, second = found.values()
        if first == second != NOT_CONNECTED:
            raise ValueError(f"both pins go to {first!r}, so the part would do nothing")
    return tuple(map(Connection._make, found.items()))
