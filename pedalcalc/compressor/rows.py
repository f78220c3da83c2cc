"""Rows of the tables of many units, each computed when a unit first comes there.

Whole tables of a thousand units would take longer than the loops that look things up in them; a unit
that settles meets few of its rows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.table import LOOP_FINE, Layout, layout, loop_rates
from pedalcalc.laws._wright import solve_series
from pedalcalc.laws.cells import CellFigures, layer, light_for, rise

PAGE = 32  # rows computed together, an e-fold of the fine ones
Places = NDArray[np.intp]


class _Light(NamedTuple):
    """From voltage to light, an element for each unit."""

    drop: Floats
    ohms: Floats
    saturation: Floats
    slope: Floats  # n Vt
    reference: Floats
    at: Floats
    power: Floats
    ambient: Floats
    resistance_10lx: Floats
    gamma: Floats
    dark: Floats
    floor: Floats
    time_rise: Floats
    rise_exponent: Floats
    time_fall: Floats
    fall_exponent: Floats


def _light(compressor: Compressor, count: int) -> Floats:
    c, led, cell = compressor, compressor.coupler_at_temperature.led, compressor.coupler_at_temperature.cell
    listed = (
        c.voltage_base_emitter if c.drive == "buffered" else 0.0,
        c.resistance_led + np.asarray(led.resistance_series),
        led.current_saturation,
        np.multiply(led.ideality, VOLTAGE_THERMAL_300K),
        c.coupler_at_temperature.illuminance_reference,
        c.coupler_at_temperature.current_reference,
        c.coupler_at_temperature.light_exponent,
        c.illuminance_ambient,
        cell.resistance_10lx,
        cell.gamma,
        1 / np.asarray(cell.resistance_dark),
        cell.resistance_floor,
        cell.time_rise_10lx,
        cell.rise_exponent,
        cell.time_fall_10lx,
        cell.fall_exponent,
    )
    return np.stack([np.broadcast_to(np.asarray(figure, float), count) for figure in listed])


def _place(volts: Floats, places: Floats) -> Places:
    first, per_volt, knee, knee_row, steep, last = places
    row = np.maximum((volts - first) * per_volt + 1, 0.0)
    high = volts >= knee
    if high.any():
        row = np.where(high, np.minimum(knee_row + (volts - knee) * steep, last), row)
    return np.asarray(row.astype(np.intp))


class Rows:
    """The rows of many units; `lookup` finds them."""

    def __init__(self, compressor: Compressor, count: int, top: Any) -> None:
        lies = layout(compressor, top)
        self.listed = np.stack([np.broadcast_to(np.asarray(part, float), count) for part in lies])
        self.lies = Layout(*self.listed)
        self.light = _light(compressor, count)
        _, first, knee, top, fine, above = self.lies
        with np.errstate(divide="ignore", invalid="ignore"):
            steep = np.where(above > 0, above / (top - knee), 0.0)
        self.places = np.stack([first, fine / (knee - first), knee, fine + 1, steep, fine + 1 + above])
        self.pages = np.full((count, int(np.max(fine + above)) // PAGE + 2), -1)
        self.kept = np.empty((6, 0))
        self.used = 0
        volts, rates = loop_rates(compressor, lies)
        shape = (len(volts), count)
        self.rates = np.broadcast_to(rates.reshape(len(volts), -1), shape)
        bend = np.broadcast_to(volts.reshape(len(volts), -1), shape)[LOOP_FINE]
        self.bends = np.stack([bend, LOOP_FINE / (bend - first), np.where(top > bend, top - bend, np.inf)])
        self.unlit = np.broadcast_to(np.asarray(laws.conductance_dark(compressor)), count)

    def place(self, volts: Floats, which: Places) -> Places:
        """Return the index of the row in which each voltage lies."""
        return _place(volts, self.places.take(which, axis=1))

    def lookup(self, which: Places, *, current: bool = False) -> Callable[[Floats], Floats]:
        """Return what looks up the rows of some units: settled = 0 + 1 V, rate = 2 + 3 V, and current = 4 + 5 V if asked."""
        places, begin = self.places.take(which, axis=1), which * self.pages.shape[1]
        columns, pages = 6 if current else 4, self.pages.reshape(-1)

        def rows(volts: Floats) -> Floats:
            row = _place(volts, places)
            page = row // PAGE
            kept = pages.take(begin + page)
            if kept.min() < 0:
                missing = kept < 0
                self._fill(which[missing], page[missing])
                kept = pages.take(begin + page)
            return self.kept[:columns].take(kept * PAGE + row % PAGE, axis=1)

        return rows

    def _fill(self, which: Places, page: Places) -> None:
        pages = np.unique(np.stack([which, page]), axis=1)
        which, page = pages
        more = len(which)
        if (self.used + more) * PAGE > self.kept.shape[1]:
            grown = np.empty((6, 2 * (self.used + more) * PAGE))
            grown[:, : self.used * PAGE] = self.kept[:, : self.used * PAGE]
            self.kept = grown
        row = page * PAGE + np.arange(PAGE + 1)[:, None]
        last = self.places[5, which]
        volts = Layout(*self.listed.take(which, axis=1)).volts(np.minimum(row, last))
        width, flat = np.diff(volts, axis=0), (row[:-1] == 0) | (row[:-1] >= last)
        columns = []
        for law in self.lit(volts, which):
            with np.errstate(invalid="ignore", divide="ignore"):
                slope = np.where(flat, 0.0, np.diff(law, axis=0) / width)
            columns += [law[:-1] - slope * volts[:-1], slope]
        new = np.stack(columns).transpose(0, 2, 1).reshape(6, -1)
        self.kept[:, self.used * PAGE : (self.used + more) * PAGE] = new
        self.pages[which, page] = self.used + np.arange(more)
        self.used += more

    def lit(self, volts: Floats, which: Places) -> tuple[Floats, Floats, Floats]:
        """Return settled conductance, rate of rise and LED current at voltages; units stand along the last axis."""
        f = _Light(*self.light.take(which, axis=1))
        current = self.led_current(volts, which)
        light = f.reference * (np.maximum(current, 0) / f.at) ** f.power + f.ambient
        cell = CellFigures(*f[8:])
        with np.errstate(divide="ignore"):
            return layer(light, cell)[0], 1 / rise(light, cell), current

    def voltage_for(self, conductance: Floats, which: Places) -> tuple[Floats, Floats]:
        """Return LED current and voltage at which each cell settles at a conductance, NaN or infinite where none does."""
        f = _Light(*self.light.take(which, axis=1))
        cell = CellFigures(*f[8:])
        lit = light_for(1 / conductance + cell.floor, cell) - f.ambient
        current = f.at * (lit / f.reference) ** (1 / f.power)
        return current, f.drop + f.slope * np.log1p(current / f.saturation) + current * f.ohms

    def led_current(self, volts: Floats, which: Places) -> Floats:
        """Return the LED currents that voltages drive; units stand along the last axis."""
        f = _Light(*self.light.take(which, axis=1))
        return solve_series(np.maximum(volts - f.drop, 0.0), f.ohms, f.saturation, f.slope)

    def loop_rate(self, volts: Floats, which: Places) -> Floats:
        """Return the fastest rate that cell and gain together have at or below the row of each voltage."""
        row = self.place(volts, which)
        begins = Layout(*self.listed.take(which, axis=1)).volts(row)
        first, (bend, per_volt, above) = self.lies.first[which], self.bends.take(which, axis=1)
        most = len(self.rates) - 1
        along = np.where(
            begins < bend, (begins - first) * per_volt, LOOP_FINE + (begins - bend) / above * (most - LOOP_FINE)
        )
        along = np.minimum(np.maximum(along, 0.0), most)
        below = np.minimum(along.astype(np.intp), most - 1)
        low = self.rates[below, which]
        return np.asarray(low + (along - below) * (self.rates[below + 1, which] - low))
