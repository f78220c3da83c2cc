"""What `values` and `bridges` put in the place of parts, checked by name before anything is computed from it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from pedalcalc import devices
from pedalcalc._arguments import numeric
from pedalcalc._units import told
from pedalcalc.board import Board
from pedalcalc.devices import Device, Diode, Jfet, Ldr, Led, Mosfet, Zener

#: Units of parts that a number may stand for.
_SIZES = ("Ω", "F", "H")
#: Kinds whose record is no law of the circuit: a record in their place would go unheard.
_NO_LAW = ("battery", "connector", "jack", "switch", "link", "socket", "other", "potentiometer", "trimmer")
#: Records that may stand for each other: their pins are the same.
_ALIKE = ((Diode, Led, Zener), (Jfet, Mosfet))


def checked(board: Board, values: Mapping[str, Any], bridges: Mapping[tuple[str, str], Any]) -> tuple[Any, Any, int]:
    """Return values and bridges as floats and records of plain figures, and how many units they make.

    A type counts as its usual part. Arrays are units, so that all of them are of one length.
    """
    fitted = {name: _fitted(board, name, value) for name, value in values.items() if value is not None}
    links = {
        pair: _number(f"bridges from {pair[0]} to {pair[1]}", ohms, "Ω", infinity=True)
        for pair, ohms in bridges.items()
    }
    lengths: dict[int, str] = {}
    for name, value in [
        *fitted.items(),
        *((f"bridge from {one} to {other}", ohms) for (one, other), ohms in links.items()),
    ]:
        for array in _arrays(value):
            if array.ndim > 1:
                raise ValueError(f"{name} must be one number, or one for each unit, got shape {array.shape}")
            if array.size > 1:
                lengths.setdefault(array.size, name)
    if len(lengths) > 1:
        counted = ", ".join(f"{name} has {length}" for length, name in lengths.items())
        raise ValueError(f"values and bridges must be arrays of one length, one number for each unit: {counted}")
    return fitted, links, max(lengths, default=1)


def _fitted(board: Board, name: str, value: Any) -> Any:
    """Return one value, or refuse what cannot stand in the place of its part."""
    if name == "supply":
        return _number("supply", value, "V")
    part, record = board.part(name), board.record(name)
    kinds: tuple[type, ...] = ()
    if part.kind == "photocell":
        kinds = (Ldr,)
    elif isinstance(record, Device) and part.kind not in _NO_LAW:
        kinds = next((group for group in _ALIKE if isinstance(record, group)), (type(record),))
    if isinstance(value, Device) and isinstance(value, kinds):
        return _complete(name, devices.typical(value))
    numbers = part.kind == "photocell" or part.unit in _SIZES
    if numbers and not isinstance(value, Device):
        return _number(name, value, part.unit or "Ω", infinity=part.kind in ("resistor", "photocell"))
    wanted = [f"a {one.__name__} record" for one in kinds] + ["a number"] * numbers
    raise TypeError(
        f"{name} ({part.kind}) takes {' or '.join(wanted) or 'no other value: how it stands is said of the board'}, not {told(value)}"
    )


def _complete(name: str, record: Device) -> Device:
    """Return a specimen, or refuse it where a figure that every record of its kind has is not known."""
    for field in dataclasses.fields(record):  # type: ignore[arg-type]
        if "limits" not in field.metadata or field.default is not dataclasses.MISSING:
            continue
        if np.isnan(np.asarray(getattr(record, field.name), float)).any():
            raise ValueError(
                f"{name}: {field.name} of {record.name!r} must be known, got {told(getattr(record, field.name))}"
            )
    return record


def _number(name: str, value: Any, unit: str, *, infinity: bool = False) -> Any:
    """Return checked numbers, none of them unknown."""
    size = numeric(name, value, least=None if unit == "V" else 0, infinity=infinity)
    if np.isnan(size).any():
        raise ValueError(f"{name} must be known [{unit}], got {told(value)}")
    return size[()]


def _arrays(value: Any) -> Iterator[Any]:
    """Yield the arrays in a value: its own, or those of a record and of the records in it."""
    if isinstance(value, Device):
        for field in dataclasses.fields(value):  # type: ignore[arg-type]
            yield from _arrays(getattr(value, field.name))
    elif isinstance(value, np.ndarray) and value.dtype.kind in "iuf":
        yield value
