"""Readings taken at the bench, kept as a table that any spreadsheet opens.

One row is one reading::

    date_time,what,place,value,unit,condition
    2026-03-14 10:32,LED current,coupler 1,1.02m,A,step 3 ascending
    2026-03-14 10:32,LDR resistance,coupler 1,2.31k,Ω,step 3 ascending
    2026-03-14 10:40,LDR resistance,coupler 1,open,Ω,dark for 10 s

- ``date_time``: date and time as ``2026-03-14 10:32``, or only the date.
- ``what``: the quantity in words; `coupler_pairs` knows ``LED current`` and ``LDR resistance``.
- ``place``: the part or the two points between which it was taken.
- ``value``: as `pedalcalc.values.read_value` takes it; ``open``, or what the meter shows
  (``OL``, ``O.L``, ``0.L``, ``OVLD``), for over-range ohms; ``>5M`` for a lower bound; empty where nothing
  was measured.
- ``unit``: SI unit, one of `pedalcalc.values.UNITS`.
- ``condition``: what was set at the time. Readings that belong together carry
  the same ``place`` and the same ``condition``.
- ``serial`` and ``meter`` may be missing: which unit was read, and with which meter (``digital``, ``pointer``, or the
  name of a record).

**Decimal mark.** Where semicolons part the cells, as spreadsheets write them in countries of the decimal comma, a comma in
``value`` is the decimal mark (``4,51``); a value with comma and point is refused. Where commas part the cells the
decimal mark is the point, and ``"4,51"`` is refused.

Readings are never overwritten: a file that exists is left as it is, and a new
one appears whole or not at all. Writing the very same readings again changes nothing.
"""

from __future__ import annotations

import csv
import errno
import io
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pedalcalc import _base
from pedalcalc._arguments import file_path, list_of, numeric, one_of
from pedalcalc._base import search
from pedalcalc._csv import Row, each_row, parted_by, written
from pedalcalc._files import refuse_unwritable, whole_file
from pedalcalc._result import Result, quantity
from pedalcalc._signs import ohm_sign, shows_open
from pedalcalc.values import UNITS, read_value

__all__ = ["COLUMNS", "CouplerPairs", "Reading", "coupler_pairs", "read_readings", "write_readings"]

COLUMNS = ("date_time", "what", "place", "value", "unit", "condition", "serial", "meter")
#: Columns that a file may leave out, and the fields that hold them.
MAY_MISS = {"serial": "serial", "meter": "meter_text"}
LED_CURRENT, LDR_RESISTANCE = "LED current", "LDR resistance"
Pairs = list[tuple["Reading", "Reading"]]


@dataclass(frozen=True, slots=True, eq=False)
class Reading(Result):
    """One reading; an infinite value is an open circuit, NaN was not measured."""

    date_time: str = quantity("text", "date and time")
    what: str = quantity("text", "what was measured")
    place: str = quantity("text", "where it was measured")
    value: float = quantity("SI", "value")
    unit: str = quantity("text", "unit")
    condition: str = quantity("text", "condition")
    bound: str = field(default="", metadata={"unit": "text", "caption": "> where the value is only a lower bound"})
    serial: str = field(default="", metadata={"unit": "text", "caption": "unit"})
    meter_text: str = field(default="", metadata={"unit": "text", "caption": "meter"})


@dataclass(frozen=True, slots=True, eq=False)
class CouplerPairs(Result):
    """LED currents and the cell resistances read at them, in the order they were taken."""

    current: NDArray[np.float64] = quantity("A", "LED current")
    resistance: NDArray[np.float64] = quantity("Ω", "LDR resistance")
    condition: tuple[str, ...] = quantity("text", "condition")
    resistance_dark: float = quantity("Ω", "LDR resistance in the dark, infinite for open, NaN if not read")
    resistance_dark_least: float = quantity("Ω", "what that is at least, where only a bound was read")


@_base.io
def read_readings(path: str | Path) -> tuple[Reading, ...]:
    """Read a table of readings.

    Parameters
    ----------
    path : str or Path
        File as described at the top of this module; commas or semicolons, any order of columns.

    Returns
    -------
    tuple of Reading
        The readings in the order of the file, values in SI units.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        If the file is empty, a column is missing or unknown, or a cell cannot be read; file,
        line and column are named.

    References
    ----------
    PRACTICE, one row a reading.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "coupler.csv")
    >>> _ = path.write_text(
    ...     "date_time,what,place,value,unit,condition\\n"
    ...     "2026-03-14 10:32,LDR resistance,coupler 1,2.31k,ohm,LED at 1 mA\\n"
    ... )
    >>> read_readings(path)[0].value
    2310.0
    """
    path = file_path("path", path, there=True)
    rows = list(each_row(path, columns=COLUMNS, optional=tuple(MAY_MISS)))
    if not rows:
        raise ValueError(f"{path.name} has no readings below its first line")
    comma = parted_by(path) == ";"
    return tuple(_reading(row, comma) for row in rows)


def _reading(row: Row, comma: bool) -> Reading:
    cells = row.cells
    unit = row.read("unit", lambda text: one_of("unit", ohm_sign(text), UNITS))
    return Reading(
        date_time=row.read("date_time", _date_time),
        what=row.read("what", lambda text: _line("what", text)),
        place=row.read("place", lambda text: _line("place", text)),
        value=row.read("value", lambda text: _value(_pointed(text) if comma else text, unit)),
        bound=">" if cells["value"].startswith(">") else "",
        unit="Ω" if unit == "ohm" else unit,
        condition=cells["condition"],
        serial=cells["serial"],
        meter_text=cells["meter"],
    )


def _pointed(text: str) -> str:
    """Return a value with its decimal comma as a point."""
    if "," in text and "." in text:
        raise ValueError(f"{text!r} has a comma and a point; write one decimal mark and nothing between the thousands")
    return text.replace(",", ".")


def _line(name: str, text: object) -> str:
    if not isinstance(text, str) or not text.strip() or not text.isprintable():
        raise ValueError(f"{name} must be one line of text, got {text!r}")
    return text.strip()


def _date_time(text: str) -> str:
    try:
        datetime.fromisoformat(_line("date_time", text))
    except ValueError:
        raise ValueError(f"{text!r} is not a date and time such as 2026-03-14 10:32") from None
    return text.strip()


def _value(text: str, unit: str) -> float:
    if not text:
        return math.nan
    if text.startswith(">"):
        return read_value(text[1:].lstrip(), unit=unit)
    if shows_open(text):
        if unit not in ("Ω", "ohm"):
            raise ValueError(
                f"only a resistance can be open, not {unit}; {text!r} on another range means that it is too small: "
                "read again on a larger one"
            )
        return math.inf
    return read_value(text, unit=unit)


@_base.io
def write_readings(path: str | Path, *, readings: Sequence[Reading]) -> Path:
    """Write readings to a new file, whole or not at all.

    Parameters
    ----------
    path : str or Path
        File to be made; its folder must exist.
    readings : sequence of Reading
        At least one reading.

    Returns
    -------
    Path
        The file that was written, or that held these very readings already.

    Raises
    ------
    FileExistsError
        If the file exists and holds anything else; the message proposes a name that is free.
    FileNotFoundError
        If the folder does not exist.
    TypeError
        If `readings` holds something else than readings.
    ValueError
        If there are no readings, or one cannot be read back.

    Notes
    -----
    The text goes to a temporary file in the same folder, is flushed to the disk and then
    given its name in one step that fails if the name is taken. Values are written as plain SI
    numbers and read back to the very same float. Words that a spreadsheet would take for a formula
    (``=``, ``+``, ``-``, ``@`` in front) get an apostrophe in front, which reading takes off again.

    References
    ----------
    PRACTICE, a measured value is never overwritten.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> path = pathlib.Path(tempfile.mkdtemp(), "supply.csv")
    >>> reading = Reading("2026-03-14 10:32", "voltage", "supply to ground", 9.12, "V", "no load")
    >>> read_readings(write_readings(path, readings=[reading]))[0].value
    9.12
    """
    path = file_path("path", path)
    text = _table(readings)
    if path.exists():
        if path.read_bytes() == text.encode("utf-8"):
            return path  # a lesson run again keeps the same readings once
        raise _exists(path)
    refuse_unwritable("path", path)
    with whole_file(path, moved=False) as (file, unfinished):
        file.write(text.encode("utf-8"))
        file.flush()
        os.fsync(file.fileno())
        _give_name(unfinished, path)
    return path


def _table(readings: Sequence[Reading]) -> str:
    """Return the whole file as text, after checking that every row can be read back."""
    readings = list_of("readings", readings, "readings", Reading)
    if not readings:
        raise ValueError("readings must hold at least one reading")
    buffer = io.StringIO(newline="")
    table = csv.writer(buffer, lineterminator="\n")
    told = [name for name in MAY_MISS if any(getattr(reading, MAY_MISS[name], "") for reading in readings)]
    table.writerow([*COLUMNS[:6], *told])
    for reading in readings:
        unit = one_of("unit", ohm_sign(reading.unit), UNITS)
        value = numeric("value", reading.value, infinity=unit in ("Ω", "ohm"))
        if value.ndim or value == -np.inf:
            raise ValueError(f"value must be one number that a meter can show, got {reading.value!r}")
        figure = {"nan": "", "inf": "open"}.get(repr(float(value)), repr(float(reading.value)))
        if reading.bound:
            figure = one_of("bound", reading.bound, ("", ">")) + figure
        _value(figure, unit)
        what, place = _line("what", reading.what), _line("place", reading.place)
        condition = _line("condition", reading.condition) if reading.condition else ""
        when = _date_time(reading.date_time)
        more = [written(_line(name, text)) if (text := getattr(reading, MAY_MISS[name])) else "" for name in told]
        table.writerow([when, written(what), written(place), figure, unit, written(condition), *more])
    return buffer.getvalue()


def _give_name(temporary: Path, path: Path) -> None:
    """Give the finished file its name, unless the name is taken."""
    try:
        os.link(temporary, path)
        return
    except FileExistsError:
        raise _exists(path) from None
    except OSError as reason:
        if reason.errno not in (errno.EPERM, errno.ENOTSUP, errno.ENOSYS, errno.EACCES, errno.EMLINK):
            raise
    # A file system without links (a memory card): claim the name first, then put the finished file in its place.
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
    except FileExistsError:
        raise _exists(path) from None
    os.replace(temporary, path)


def _exists(path: Path) -> FileExistsError:
    number = 2
    while (free := path.with_name(f"{path.stem}-{number}{path.suffix}")).exists():
        number += 1
    return FileExistsError(f"{path} exists and is left as it is; {free.name} is free")


@search
def coupler_pairs(readings: Sequence[Reading]) -> CouplerPairs:
    """Pair each LED current with the LDR resistance that was read at it.

    Parameters
    ----------
    readings : sequence of Reading
        Readings of ``LED current`` in A and ``LDR resistance`` in Ω; the two of a pair have the
        same ``place`` and the same ``condition``. A resistance at a current of 0, or without a current and with a
        condition that speaks of ``dark``, was read with the LED out. Other readings are passed over.

    Returns
    -------
    CouplerPairs
        Currents [A] and resistances [Ω] in the order of the currents in the table, and what was read in the dark:
        the median of readings, the largest of bounds.

    Raises
    ------
    TypeError
        If `readings` holds something else than readings.
    ValueError
        If one of a pair is missing or stands there twice, a unit is not A or Ω, or there is no pair.

    Notes
    -----
    An open (over-range) resistance is kept as infinite, a value that was not measured as NaN.
    Couplers in one table are told apart by ``place``: filter the readings first, so as not to mix two.

    References
    ----------
    PRACTICE, readings in pairs.

    Examples
    --------
    >>> when, at = "2026-03-14 10:32", "coupler 1"
    >>> found = coupler_pairs(
    ...     [
    ...         Reading(when, "LED current", at, 0.001, "A", "step 1"),
    ...         Reading(when, "LDR resistance", at, 2310.0, "Ω", "step 1"),
    ...     ]
    ... )
    >>> found.current.tolist(), found.resistance.tolist()
    ([0.001], [2310.0])
    """
    pairs, dark = _of_coupler(list_of("readings", readings, "readings", Reading))
    dark = [
        reading for reading in dark if not math.isnan(reading.value)
    ]  # one that was not taken says nothing of the others
    known, least = ([reading.value for reading in dark if bool(reading.bound) == bound] for bound in (False, True))
    return CouplerPairs(
        current=np.array([lamp.value for lamp, _ in pairs]),
        resistance=np.array([cell.value for _, cell in pairs]),
        condition=tuple(lamp.condition for lamp, _ in pairs),
        resistance_dark=float(np.median(known)) if known else math.nan,
        resistance_dark_least=max(least, default=0.0),
    )


def paired(taken: Sequence[Reading], first: tuple[str, str], second: tuple[str, str]) -> Pairs:
    """Return the readings of two quantities of one part, each given as name and unit, in pairs of one condition."""
    return _joined(_by_step(taken, *first), _by_step(taken, *second), (first[0], second[0]), ())


def _of_coupler(taken: Sequence[Reading]) -> tuple[Pairs, list[Reading]]:
    """Return LED currents with the resistances read at them, and the resistances read with the LED out.

    It is out at a current of 0, or where no current is given and the condition speaks of dark.
    """
    currents, ohms = _by_step(taken, LED_CURRENT, "A"), _by_step(taken, LDR_RESISTANCE, "Ω")
    out = [key for key in ohms if (currents[key].value == 0 if key in currents else "dark" in key[1].casefold())]
    dark = [ohms.pop(key) for key in out]
    for key in out:
        currents.pop(key, None)
    return _joined(currents, ohms, (LED_CURRENT, LDR_RESISTANCE), dark), dark


def _by_step(taken: Sequence[Reading], name: str, unit: str) -> dict[tuple[str, str], Reading]:
    """Return the readings of one quantity by place and condition."""
    found: dict[tuple[str, str], Reading] = {}
    for reading in taken:
        if reading.what.casefold() != name.casefold():
            continue
        if reading.unit.replace("ohm", "Ω") != unit:
            raise ValueError(f"readings: {_step(reading)} must be in {unit}, got {reading.unit}")
        if (reading.place, reading.condition) in found:
            raise ValueError(f"readings: {_step(reading)} stands there twice; give each step a condition of its own")
        found[reading.place, reading.condition] = reading
    return found


def _joined(
    first: dict[tuple[str, str], Reading],
    second: dict[tuple[str, str], Reading],
    names: tuple[str, str],
    others: Sequence[Reading],
) -> Pairs:
    """Return the pairs of two quantities; refuse one without the other, bounds, and the readings of several parts."""
    for here, there, missing in ((first, second, names[1]), (second, first, names[0])):
        for key, reading in here.items():
            if key not in there:
                raise ValueError(f"readings: {missing} is missing at {key[0]!r}, condition {key[1]!r}")
            if reading.bound:
                raise ValueError(f"readings: {_step(reading)} is only a lower bound; leave the pair out")
    if not first:
        raise ValueError(f"readings hold no pair of {names[0]} and {names[1]}")
    if len(places := {reading.place for reading in (*first.values(), *others)}) > 1:
        parts = "couplers" if LDR_RESISTANCE in names else "parts"
        raise ValueError(
            f"readings come from several {parts} ({', '.join(sorted(places))}); take one of them at a time"
        )
    return [(reading, second[key]) for key, reading in first.items()]


def _step(reading: Reading) -> str:
    return f"{reading.what} at {reading.place!r}, condition {reading.condition!r}"
