"""What a multimeter makes of a voltage: the range it is read on, what it puts across the circuit, how far off it may be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pedalcalc.devices import Meter

#: Smallest range that is used on a board, by unit: nobody turns to millivolts for a point that should be at zero.
LEAST_RANGE = {"V": 2.0, "A": 20e-3}
#: Ends of the ranges of a pointer instrument (common practice).
POINTER_RANGES = {"V": (2.5, 10.0, 25.0, 50.0, 250.0), "A": (25e-3, 250e-3, 2.5)}


def range_end(size: float, meter: Meter, unit: str = "V") -> float:
    """Return the end of the range on which a meter shows a size best."""
    counts, least = float(np.asarray(meter.counts)), LEAST_RANGE[unit]
    if np.isnan(counts):
        return next((end for end in POINTER_RANGES[unit] if end >= abs(size)), POINTER_RANGES[unit][-1])
    # counts 1999 are ranges of 2, 20, 200; 5999 of 6, 60, 600
    first = float(f"{counts + 1:.1e}".split("e")[0])
    end = first * 10.0 ** np.floor(np.log10(least / first) + 1e-9)
    while end < least * (1 - 1e-9) or end < abs(size):
        end *= 10
    return float(end)


def loading(size: float, meter: Meter) -> float:
    """Return what a meter puts across the circuit on the range of a voltage [Ω]."""
    ohms = float(np.asarray(meter.resistance_meter))
    if np.isnan(ohms):
        ohms = float(np.asarray(meter.resistance_per_volt)) * range_end(size, meter)
    return ohms


def on_range(size: float, meter: Meter) -> Meter:
    """Return the meter as it is on the range of a voltage: a pointer's resistance goes with its range."""
    return replace(meter, resistance_meter=loading(size, meter))


def doubt(size: float, meter: Meter, unit: str = "V") -> float:
    """Return how far off a reading may be."""
    return float(meter.accuracy) * abs(size) + float(meter.accuracy_range) * range_end(size, meter, unit)
