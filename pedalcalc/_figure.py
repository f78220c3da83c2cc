"""A figure of one part as an array: of a part instead of a type, and known where it must be."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc._arguments import is_a, numeric
from pedalcalc._record import type_refused
from pedalcalc._result import Array, Spread
from pedalcalc.devices import Meter


def figure(record: Any, name: str) -> Array:
    """Return one figure of a specimen as an array."""
    value = getattr(record, name)
    if isinstance(value, Spread):
        raise TypeError(type_refused("record", record, name))
    return np.asarray(value, float)


def known(record: Any, name: str, purpose: str) -> Array:
    """Return a figure, or refuse the record where it is not known at all (NaN)."""
    value = figure(record, name)
    if value.size and np.all(np.isnan(value)):
        raise ValueError(
            f"{name} of {record.name!r} is not known, and {purpose} needs it: fill it in with dataclasses.replace"
        )
    return value


def meter_resistance(meter: Any) -> Array:
    """Return what a meter puts across the pins it reads; a pointer meter's must have been filled in for its range."""
    own = numeric("resistance_meter", is_a("meter", meter, Meter).resistance_meter, above=0, infinity=True)
    if np.all(np.isnan(own)):
        raise ValueError(
            f"resistance_meter of {meter.name!r} is not known; of a pointer meter fill it in with dataclasses.replace: "
            "resistance_per_volt times the range"
        )
    return own
