"""What a coupler's cell resistance may be, measured or not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._record import ends
from pedalcalc._result import Number, Result, quantity
from pedalcalc.devices import Coupler, Spread, typical
from pedalcalc.opto.cell import cell_resistance, law_of
from pedalcalc.opto.coupler import coupler_illuminance

# Light exponent of an LED by its class, either way, and floor resistance of a cell by its class, times or divided by.
LIGHT_EXPONENT_OF_CLASS = 0.15
FLOOR_OF_CLASS = 3.0

#: Light on the cell of a home-made coupler that was not measured: times or divided by this.
LIGHT_FACTOR_UNMEASURED = 3.0

#: Highest over lowest resistance at 10 lx, and slope either way, where a record gives no range: what most sheets allow.
RANGE_OF_SHEETS = 3.0
SLOPE_OF_SHEETS = 0.1


Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class CouplerBand(Result):
    """Result of `coupler_band`: cell resistance with what it may be instead."""

    current: Number = quantity("A", "LED current")
    resistance_low: Number = quantity("Ω", "lowest cell resistance")
    resistance_cell: Number = quantity("Ω", "cell resistance")
    resistance_high: Number = quantity("Ω", "highest cell resistance")


def class_band(amps: Array, *, coupler: Coupler, factor: Array) -> CouplerBand:
    """Return the cell resistance of a coupler that nobody measured, with its corners: everything unknown at its worst."""
    kind, cell = coupler.cell, typical(coupler.cell)
    light = np.asarray(coupler_illuminance(amps, coupler=typical(coupler)))
    resistance_10lx, gamma, dark, floor = law_of(cell)
    usual = Spread(*(resistance_10lx * RANGE_OF_SHEETS**power for power in (-0.5, 0.0, 0.5)))
    low, _, high = ends(kind.resistance_10lx if isinstance(kind.resistance_10lx, Spread) else usual)
    usual = Spread(*(gamma + SLOPE_OF_SHEETS * side for side in (-1, 0, 1)))
    flat, _, steep = ends(kind.gamma if isinstance(kind.gamma, Spread) else usual)

    def corner(lit: Array, at_10lx: ArrayLike, slope: Array, floor: Array) -> Array:
        with np.errstate(divide="ignore"):
            return np.asarray(1 / (dark + (lit / 10) ** slope / np.asarray(at_10lx)) + floor)

    away = np.maximum(amps, 0) / coupler.current_reference
    with np.errstate(divide="ignore"):
        unsure = factor * np.maximum(away, 1 / away) ** LIGHT_EXPONENT_OF_CLASS
    bright = light * np.where(light > 0, unsure, 1.0)
    dim = light / np.where(light > 0, unsure, 1.0)
    small, large = floor / FLOOR_OF_CLASS, floor * FLOOR_OF_CLASS
    return CouplerBand(
        current=amps,
        resistance_low=np.minimum(corner(bright, low, steep, small), corner(bright, low, flat, small)),
        resistance_cell=cell_resistance(light, cell=cell),
        resistance_high=np.maximum(corner(dim, high, steep, large), corner(dim, high, flat, large)),
    )
