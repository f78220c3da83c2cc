"""What every law checks: one part instead of a type, and a temperature that is meant in kelvin."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import ModelRangeWarning, Spread, is_a, numeric
from pedalcalc.devices import Meter
from pedalcalc.devices._record import type_refused

Array = NDArray[np.float64]

#: Temperature [K] that every record states its figures for, and the range in which the temperature laws are meant.
TEMPERATURE_RECORD = 300.0
TEMPERATURE_LOW, TEMPERATURE_HIGH = 230.0, 400.0
#: Hotter than any solid.
TEMPERATURE_MOST = 5000.0


def checked_temperature(temperature: ArrayLike) -> Array:
    """Return absolute temperatures; warn where they are outside the range of the laws, as degrees Celsius are."""
    kelvin = numeric("temperature", temperature, above=0, most=TEMPERATURE_MOST)
    outside = (kelvin < TEMPERATURE_LOW) | (kelvin > TEMPERATURE_HIGH)
    if np.any(outside):
        warnings.warn(
            f"temperature is {kelvin[outside].flat[0]:g} K, outside the {TEMPERATURE_LOW:g} to {TEMPERATURE_HIGH:g} K "
            "the laws are meant for; degrees Celsius plus 273.15 are kelvin",
            ModelRangeWarning,
            stacklevel=3,
        )
    return kelvin


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
