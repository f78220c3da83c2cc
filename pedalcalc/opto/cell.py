"""Settled law of one photocell, for the functions of this room: `laws.cell` at 300 K."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import formula
from pedalcalc._ranges import TEMPERATURE_RECORD, AtLeastZero, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._result import Number
from pedalcalc.devices import Ldr
from pedalcalc.laws.cells import CellFigures, cell_figures, layer, light_for


def figures_of(cell: Ldr) -> CellFigures:
    """Return the numbers of one cell at 300 K, or refuse a type."""
    return cell_figures(specimen("cell", cell, Ldr), np.asarray(TEMPERATURE_RECORD))


def law_of(cell: Ldr) -> tuple[NDArray[np.float64], ...]:
    """Return R10, gamma, dark conductance and floor of one cell."""
    return figures_of(cell)[:4]


@formula
def cell_conductance(illuminance: AtLeastZero, *, cell: Ldr) -> Number:
    """Return the conductance [S] at which a cell's photo layer settles in steady light, without the floor."""
    return layer(illuminance, figures_of(cell))[0]


@formula
def cell_resistance(illuminance: AtLeastZero, *, cell: Ldr) -> Number:
    """Return the resistance [Ω] at which a whole cell settles in steady light."""
    law = figures_of(cell)
    with np.errstate(divide="ignore"):
        return 1 / layer(illuminance, law)[0] + law.floor


@formula
def cell_illuminance(resistance_cell: ZeroToInfinity, *, cell: Ldr) -> Number:
    """Return the light [lx] of a resistance: 0 where even the dark cell is no higher, infinite at or below its floor."""
    return light_for(resistance_cell, figures_of(cell))
