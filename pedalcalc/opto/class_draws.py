"""Couplers of a class that nobody measured, drawn: each figure within what the class leaves open."""

from __future__ import annotations

import dataclasses

import numpy as np

from pedalcalc._scores import scores
from pedalcalc.devices import Coupler, Spread, drawn, typical
from pedalcalc.opto.band import (
    _FLOOR_OF_CLASS,
    _LIGHT_EXPONENT_OF_CLASS,
    _RANGE_OF_SHEETS,
    _SLOPE_OF_SHEETS,
    LIGHT_FACTOR_UNMEASURED,
)
from pedalcalc.opto.kinetics import TIME_FACTOR_UNMEASURED


def drawn_of_class(coupler: Coupler, *, count: int, seed: int) -> Coupler:
    """Return so many couplers of a class as one record of arrays, spread as in `class_band` and `devices.drawn`.

    The ranges of the record are drawn; so are light (a factor of three), light exponent, floor and the cell's times (a
    factor of two, rise and fall alike), and resistance at 10 lx and slope where the record gives no range of them. An end is
    three standard deviations off.
    """
    many, usual = drawn(coupler, count=count, seed=seed), typical(coupler)
    rng = np.random.default_rng([seed, 1])
    light, power, floor, times, resistance, slope = (scores(count, rng) for _ in range(6))
    kind, cell = coupler.cell, usual.cell
    pace = TIME_FACTOR_UNMEASURED**times
    changed = {
        "resistance_floor": cell.resistance_floor * _FLOOR_OF_CLASS**floor,
        "time_rise_10lx": cell.time_rise_10lx * pace,
        "time_fall_10lx": cell.time_fall_10lx * pace,
    }
    if not isinstance(kind.resistance_10lx, Spread):
        changed["resistance_10lx"] = cell.resistance_10lx * _RANGE_OF_SHEETS ** (resistance / 2)
    if not isinstance(kind.gamma, Spread):
        changed["gamma"] = cell.gamma + _SLOPE_OF_SHEETS * slope
    return dataclasses.replace(
        many,
        cell=dataclasses.replace(many.cell, **changed),
        illuminance_reference=usual.illuminance_reference * LIGHT_FACTOR_UNMEASURED**light,
        light_exponent=usual.light_exponent + _LIGHT_EXPONENT_OF_CLASS * power,
    )
