"""Part records from tables: one file a class, one row a part, each figure with its unit and its origin.

The first line names the columns. The first column is called as the class (``led``, ``op-amp``, ...) and holds a short
name of the part, in the package's own tables the end of its constant. The other columns are the fields of the class;
a figure's unit stands behind its field in brackets and may carry a prefix (``current_max [mA]``). Fields that may be
unknown can be left out or left empty, so can every figure with a usual value of "not known".

A figure is one number, or a range as sheets print it, with its origin after it::

    0.66        1.8 LOWCURRENT-LAMPS        typ 0.42 max 0.45 SHEET-1N5817        min 10 max 20

The origin is a key of ``reference/sources.csv``, or words (``from memory``, ``common practice``). A figure without one
has that of its row's column ``origin``. ``open`` is infinity. Further columns: ``also``, other texts by which the
catalogue finds the part, with semicolons between; ``pinouts``, names of orders of leads, with semicolons between;
``note``, any text.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from pedalcalc._csv import Row, read_table
from pedalcalc._record import Device
from pedalcalc._result import Spread
from pedalcalc._units import PREFIXES
from pedalcalc.devices.circuits import Converter, OpAmp
from pedalcalc.devices.junctions import Diode, Led, Zener
from pedalcalc.devices.passives import Capacitor, Meter, Taper
from pedalcalc.devices.photocell import Coupler, Ldr
from pedalcalc.devices.pinout import Pin, Pinout
from pedalcalc.devices.regulator import Regulator
from pedalcalc.devices.supplies import Adaptor, Battery
from pedalcalc.devices.transistors import Bjt, Jfet, Mosfet

#: First column of a table, and the class of its rows.
CLASSES: dict[str, type[Device]] = {
    "adaptor": Adaptor,
    "battery": Battery,
    "bjt": Bjt,
    "capacitor": Capacitor,
    "converter": Converter,
    "coupler": Coupler,
    "diode": Diode,
    "jfet": Jfet,
    "ldr": Ldr,
    "led": Led,
    "meter": Meter,
    "mosfet": Mosfet,
    "op-amp": OpAmp,
    "pinout": Pinout,
    "regulator": Regulator,
    "taper": Taper,
    "zener": Zener,
}
TABLES = Path(__file__).with_name("tables")
WITHOUT_UNIT = ("1", "text", "record", "records", "bool")
PLAIN = ("name", "also", "pinouts", "origin", "note")

NUMBER = r"[+-]?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?|open"
MARK = r"(?: +(?P<mark>(?!(?:min|typ|max) )[^\W\d].*))?"
FIGURE = re.compile(rf"(?P<single>{NUMBER}){MARK}")
RANGE = re.compile(
    rf"(?=min|typ|max)(?:min +(?P<low>{NUMBER}))? *(?:typ +(?P<typical>{NUMBER}))? *(?:max +(?P<high>{NUMBER}))?{MARK}"
)
#: Signs in a unit that a keyboard has, or that look alike, and what they stand for.
TYPED = (("\N{OHM SIGN}", "Ω"), ("ohm", "Ω"), ("\N{GREEK SMALL LETTER MU}", "µ"), ("u", "µ"))


class Entry(NamedTuple):
    """One row of a table: its short name, the record, other texts that mean it, and where it stands."""

    key: str
    device: Device
    also: tuple[str, ...]
    place: str


def constant(kind: str, key: str) -> str:
    """Return the name under which `pedalcalc.devices` offers a row of the package's own tables."""
    return f"{kind.replace('-', '').upper()}_{key}"


@cache
def _raw(kind: str) -> tuple[list[str], list[Row]]:
    return read_table(TABLES / f"{kind.replace('-', '_')}.csv")


@cache
def constants() -> dict[str, tuple[str, str]]:
    """Return the name of every constant with its table and short name."""
    return {constant(kind, row.cells[kind]): (kind, row.cells[kind]) for kind in CLASSES for row in _raw(kind)[1]}


@cache
def own(kind: str) -> dict[str, Entry]:
    """Return the rows of one of the package's own tables, made into records once."""
    return {entry.key: entry for entry in _entries(kind, *_raw(kind), {})}


def entries(path: str | Path) -> tuple[Entry, ...]:
    """Return the rows of a table of a builder's own."""
    header, rows = read_table(path)
    kind = header[0]
    if kind not in CLASSES:
        raise ValueError(
            f"{Path(path).name}, line 1: the first column says what the table holds, one of {', '.join(CLASSES)}; "
            f"got {kind!r}"
        )
    return tuple(_entries(kind, header, rows, {}))


def _entries(kind: str, header: list[str], rows: list[Row], seen: dict[str, int]) -> Iterator[Entry]:
    cls = CLASSES[kind]
    columns = _columns(kind, header, rows)
    for row in rows:
        key = row.cells[kind]
        if not key:
            raise row.error(kind, "it is empty; give the part a short name")
        if key in seen:
            raise row.error(kind, f"{key!r} stands already in line {seen[key]}")
        seen[key] = row.line
        try:
            device = cls(**_fields(cls, row, columns))
        except (TypeError, ValueError) as reason:
            if str(reason).startswith(row.path.name):
                raise
            raise row.error(kind, reason) from None
        also = tuple(filter(None, (text.strip() for text in row.cells.get("also", "").split(";"))))
        yield Entry(key, device, also, f"{row.path.name}, line {row.line}")


def _columns(kind: str, header: list[str], rows: list[Row]) -> dict[str, tuple[str, int, float]]:
    """Return column, power of ten and factor for each field in the header, which must know them all."""
    cls = CLASSES[kind]
    units = {field.name: str(field.metadata["unit"]) for field in dataclasses.fields(cls)}  # type: ignore[arg-type]
    units |= getattr(cls, "table_extras", {})
    place = f"{rows[0].path.name if rows else kind}, line 1"
    found = {}
    for column in header[1:]:
        name, _, unit = column.removesuffix("]").partition(" [")
        if name in PLAIN:
            continue
        if name not in units:
            raise ValueError(f"{place}: column {column!r} is not known; the fields are {', '.join(units)}")
        scale = _scale(unit, units[name])
        if scale is None:
            raise ValueError(f"{place}: column {column!r} must be in {units[name]}, plain or with a prefix")
        found[name] = (column, *scale)
    derived = getattr(cls, "table_derived", ())
    for name in _required(cls):
        if name not in found and name not in header and name not in derived:
            unit = f" [{units[name]}]" if units[name] not in WITHOUT_UNIT else ""
            raise ValueError(f"{place}: column {name}{unit} is missing")
    return found


def _required(cls: type[Device]) -> tuple[str, ...]:
    """Return the fields that every record of the class must have."""
    return tuple(field.name for field in dataclasses.fields(cls) if field.default is dataclasses.MISSING)  # type: ignore[arg-type]


def _scale(unit: str, wanted: str) -> tuple[int, float] | None:
    """Return power of ten and factor that turn a figure in `unit` into one in `wanted`; None if they do not fit."""
    for typed, sign in TYPED:
        unit = unit.replace(typed, sign)
    if unit == wanted or (not unit and wanted in WITHOUT_UNIT):
        return 0, 1.0
    if wanted == "C" and unit == "mAh":
        return 0, 3.6
    if wanted == "V/s" and unit == "V/µs":
        return 6, 1.0
    if wanted == "A/V²" and unit == "mA/V²":
        return -3, 1.0
    return next(((power, 1.0) for power, prefix in PREFIXES.items() if unit == prefix + wanted), None)


def _fields(cls: type[Device], row: Row, columns: dict[str, tuple[str, int, float]]) -> dict[str, Any]:
    """Return what the row gives to the class, its origins told in one line."""
    origin = row.cells["origin"]
    if not origin:
        raise row.error("origin", "it is empty; say where the figures come from, such as a source or 'from memory'")
    given: dict[str, Any] = {"name": row.cells["name"]}
    extras = dict.fromkeys(getattr(cls, "table_extras", {}), float("nan"))
    marks: dict[str, list[str]] = {}
    meta = {field.name: field.metadata for field in dataclasses.fields(cls)}  # type: ignore[arg-type]
    for name, (column, power, factor) in columns.items():
        text = row.cells[column]
        if name in extras or "limits" in meta[name]:
            value, mark = row.read(column, lambda cell, p=power, f=factor: _figure(cell, p, f))  # type: ignore[misc]
            if mark:
                marks.setdefault(mark, []).append(_caption(meta, name))
            if name in extras:
                extras[name] = value
            elif text:
                given[name] = value
        elif meta[name]["unit"] == "record":
            given[name] = row.read(column, lambda cell, kind=meta[name]["kind"]: _named(kind, cell))  # type: ignore[misc]
        elif meta[name]["unit"] == "bool":
            given[name] = row.read(column, _yes)
        elif name == "entries":
            given[name] = row.read(column, _pins)
        else:
            given[name] = text
    if "pinouts" in meta:
        names = filter(None, (part.strip() for part in row.cells.get("pinouts", "").split(";")))
        given["pinouts"] = tuple(row.read("pinouts", lambda _, part=part: _named(Pinout, part)) for part in names)  # type: ignore[misc]
    derived = getattr(cls, "table_derived", ())
    wanting = [name for name in _required(cls) if name not in given and name not in ("origin", *derived)]
    if extras and not wanting:
        given = cls.from_table(given, extras)  # type: ignore[attr-defined]
        wanting = [name for name in derived if name not in given]
    if wanting:
        column = columns[wanting[0]][0] if wanting[0] in columns else wanting[0]
        other = f" or {' or '.join(extras)}" if wanting[0] in derived else ""
        raise row.error(column, f"it is empty; a {cls.__name__} needs {wanting[0]}{other}")
    told = [f"{', '.join(captions)}: {mark}" for mark, captions in marks.items()]
    given["origin"] = "; ".join(
        filter(None, [*told, f"the rest {origin}" if told else origin, row.cells.get("note", "")])
    )
    return given


def _caption(meta: Any, name: str) -> str:
    return str(meta[name]["caption"]) if name in meta else name.replace("_", " ")


def _figure(text: str, power: int, factor: float) -> tuple[Any, str]:
    """Return the figure in a cell and its mark; NaN for an empty cell."""
    if not text:
        return float("nan"), ""
    found = FIGURE.fullmatch(text) or RANGE.fullmatch(text)
    if found is None:
        raise ValueError(
            f"{text!r} is not a figure; write a number, or a range such as 'min 1 typ 2 max 3', then its origin"
        )
    parts = found.groupdict()
    scaled = {name: _scaled(part, power, factor) for name, part in parts.items() if name != "mark"}
    value = scaled["single"] if "single" in scaled else Spread(scaled["low"], scaled["typical"], scaled["high"])
    return value, parts["mark"] or ""


def _scaled(text: str | None, power: int, factor: float) -> float:
    """Return the float nearest to the decimal number; the exponent is put together as text."""
    if text is None:
        return float("nan")
    if text == "open":
        return float("inf")
    digits, _, exponent = text.partition("e")
    return float(f"{digits}e{int(exponent or 0) + power}") * factor


def _yes(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError(f"it must be yes or no, got {text!r}")
    return text == "yes"


def _named(cls: type[Device], key: str) -> Device:
    """Return the record of the package's own table of that class under its short name."""
    kind = next(kind for kind, known in CLASSES.items() if known is cls)
    found = own(kind)
    if key not in found:
        raise ValueError(f"{key!r} is no {kind} of the package; there are {', '.join(found)}")
    return found[key].device


def _pins(text: str) -> tuple[Pin, ...]:
    """Return the pins of ``1 A: output; 2 A: inverting input; 4: negative rail``."""
    pins = []
    for item in filter(None, (part.strip() for part in text.split(";"))):
        head, colon, role = (part.strip() for part in item.partition(":"))
        name, _, unit = (part.strip() for part in head.partition("/"))
        if not (name and colon and role):
            raise ValueError(f"{item!r} is not 'pin: role' or 'pin / unit: role'")
        pins.append(Pin(name, unit, role))
    return tuple(pins)
