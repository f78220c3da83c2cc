"""Settled law of one photocell, for the functions of this room: `laws.cell` at 300 K."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, numeric
from pedalcalc._ranges import TEMPERATURE_RECORD
from pedalcalc._record import specimen
from pedalcalc.devices import Ldr
from pedalcalc.laws.cells import CellFigures, cell_figures, layer, light_for


def _figures(cell: Ldr) -> CellFigures:
    """Return the numbers of one cell at 300 K, or refuse a type."""
    return cell_figures(specimen("cell", cell, Ldr), np.asarray(TEMPERATURE_RECORD))


def _law(cell: Ldr) -> tuple[NDArray[np.float64], ...]:
    """Return R10, gamma, dark conductance and floor of one cell."""
    return _figures(cell)[:4]


def cell_conductance(illuminance: ArrayLike, *, cell: Ldr) -> Number:
    """Return the conductance [S] at which a cell's photo layer settles in steady light, without the floor."""
    return layer(numeric("illuminance", illuminance, least=0), _figures(cell))[0][()]


def cell_resistance(illuminance: ArrayLike, *, cell: Ldr) -> Number:
    """Return the resistance [Ω] at which a whole cell settles in steady light."""
    conductance = cell_conductance(illuminance, cell=cell)
    with np.errstate(divide="ignore"):
        return (1 / np.asarray(conductance) + numeric("resistance_floor", cell.resistance_floor, least=0))[()]


def cell_illuminance(resistance_cell: ArrayLike, *, cell: Ldr) -> Number:
    """Return the light [lx] of a resistance: 0 where even the dark cell is no higher, infinite at or below its floor."""
    wanted = numeric("resistance_cell", resistance_cell, least=0, infinity=True)
    return light_for(wanted, _figures(cell))[()]
