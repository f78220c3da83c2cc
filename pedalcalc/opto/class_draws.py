"""Couplers of a class that nobody measured, drawn: each figure within what the class leaves open."""

from __future__ import annotations

import dataclasses

import numpy as np

from pedalcalc._scores import scores
from pedalcalc.devices import Coupler, Spread, drawn, typical
from pedalcalc.opto.band import (
    FLOOR_OF_CLASS,
    LIGHT_EXPONENT_OF_CLASS,
    LIGHT_FACTOR_UNMEASURED,
    RANGE_OF_SHEETS,
    SLOPE_OF_SHEETS,
)
from pedalcalc.opto.kinetics import TIME_FACTOR_UNMEASURED

#: Makers tell of the dark resistance only that it is at least so much; how far a cell may be from its record (common practice).
DARK_FACTOR_UNMEASURED = 3.0


def drawn_of_class(coupler: Coupler, *, count: int, seed: int) -> Coupler:
    """Return so many couplers of a class as one record of arrays, spread as in `class_band` and `devices.drawn`.

    The ranges of the record are drawn; so are light (a factor of three), light exponent, floor and the cell's times (a
    factor of two, rise and fall alike), and resistance at 10 lx, slope and dark resistance (a factor of three) where the
    record gives no range of them. An end is three standard deviations off.
    """
    many, usual = drawn(coupler, count=count, seed=seed), typical(coupler)
    rng = np.random.default_rng([seed, 1])
    light, power, floor, times, resistance, slope, darkness = (scores(count, rng) for _ in range(7))
    kind, cell = coupler.cell, usual.cell
    pace = TIME_FACTOR_UNMEASURED**times
    changed = {
        "resistance_floor": cell.resistance_floor * FLOOR_OF_CLASS**floor,
        "time_rise_10lx": cell.time_rise_10lx * pace,
        "time_fall_10lx": cell.time_fall_10lx * pace,
    }
    if not isinstance(kind.resistance_dark, Spread):
        changed["resistance_dark"] = cell.resistance_dark * DARK_FACTOR_UNMEASURED**darkness
    if not isinstance(kind.resistance_10lx, Spread):
        changed["resistance_10lx"] = cell.resistance_10lx * RANGE_OF_SHEETS ** (resistance / 2)
    if not isinstance(kind.gamma, Spread):
        changed["gamma"] = cell.gamma + SLOPE_OF_SHEETS * slope
    return dataclasses.replace(
        many,
        cell=dataclasses.replace(many.cell, **changed),
        illuminance_reference=usual.illuminance_reference * LIGHT_FACTOR_UNMEASURED**light,
        light_exponent=usual.light_exponent + LIGHT_EXPONENT_OF_CLASS * power,
    )
