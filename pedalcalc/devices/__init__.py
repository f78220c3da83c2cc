"""Part records: what a part is, with the origin of every figure.

The records stand in tables, one a class, one row a part (``tables/`` beside this file; how to write a row is said at the
top of ``_tables.py``); each row is a constant here: ``devices.LED_BLUE``, ``devices.OPAMP_TL072``, and so on. Records are
frozen and hold SI values, checked when they are made, and can be replaced field by field with `dataclasses.replace`.

A record whose figures are ranges, `Spread(low, typical, high)`, is a type; one of plain numbers is a specimen, one
part (or, with arrays, many). Formulas compute with specimens: `typical`, `low`, `high` and `drawn` make one of a type.
"""

from __future__ import annotations

from typing import Any

from pedalcalc._record import Device
from pedalcalc._result import Spread
from pedalcalc.devices import _tables
from pedalcalc.devices._specimen import capacitor, drawn, high, low, typical
from pedalcalc.devices.circuits import Converter, OpAmp
from pedalcalc.devices.junctions import Diode, Led, Zener
from pedalcalc.devices.passives import Capacitor, Meter, Taper
from pedalcalc.devices.photocell import Coupler, Ldr
from pedalcalc.devices.pinout import Pin, Pinout
from pedalcalc.devices.regulator import Regulator
from pedalcalc.devices.supplies import Adaptor, Battery
from pedalcalc.devices.transistors import Bjt, Jfet, Mosfet

__all__ = [
    "Adaptor",
    "Battery",
    "Bjt",
    "Capacitor",
    "Converter",
    "Coupler",
    "Device",
    "Diode",
    "Jfet",
    "Ldr",
    "Led",
    "Meter",
    "Mosfet",
    "OpAmp",
    "Pin",
    "Pinout",
    "Regulator",
    "Spread",
    "Taper",
    "Zener",
    "capacitor",
    "drawn",
    "high",
    "low",
    "typical",
]
__all__.extend(sorted(_tables.constants()))


def __getattr__(name: str) -> Any:
    """Return the record of a row of the tables, which are read on first use."""
    if name in _tables.constants():
        kind, key = _tables.constants()[name]
        return _tables.own(kind)[key].device
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
