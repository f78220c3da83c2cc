"""The laws of one compressor in the form the engine needs: rational gain, light, the cell's rates."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._refusal import refused
from pedalcalc._units import shown
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.laws._plain import series_current
from pedalcalc.opto.cell import cell_conductance
from pedalcalc.opto.coupler import coupler_illuminance
from pedalcalc.opto.kinetics import rise_time_constant

Floats = NDArray[np.float64]


VOLTAGE_MOST = 1000.0  # beyond it the tables of the LED's exponential would fill the memory; no pedal comes near


class GainLaw(NamedTuple):
    """Gain of cell and make-up, (n0 + n1 g)/(d0 + d1 g), for the cell's conductance g; arrays for many units.

    The floor resistance F of the cell stands in series with 1/g, so the cell is g/(1 + g F).
    All three placements are fractions of this one form.
    """

    n0: Any
    n1: Any
    d0: Any
    d1: Any

    def at(self, conductance: Any) -> Any:
        """Return the gain at a conductance."""
        return (self.n0 + self.n1 * conductance) / (self.d0 + self.d1 * conductance)

    def sharpness(self, conductance: Any) -> Any:
        """Return d ln gain / d ln conductance."""
        above, below = self.n0 + self.n1 * conductance, self.d0 + self.d1 * conductance
        return conductance * (self.n1 * self.d0 - self.d1 * self.n0) / (above * below)

    def split(self) -> tuple[float, float, float, float]:
        """Return a, b, d0, d1 of the same law written a + b/(d0 + d1 g), one operation shorter."""
        base = self.n1 / self.d1 if self.d1 else 0.0
        return base, self.n0 - base * self.d0, self.d0, self.d1


def gain_law(compressor: Compressor) -> GainLaw:
    """Return the gain law of a compressor's cell and make-up."""
    c = compressor
    floor, r_in, r_out, makeup = (
        _plain(value)
        for value in (
            c.coupler_at_temperature.cell.resistance_floor,
            c.resistance_input,
            c.resistance_output,
            c.gain_makeup,
        )
    )
    if c.placement == "shunt":  # (Rout || cell) / (Rin + Rout || cell)
        ratio = r_in / r_out
        return GainLaw(makeup, makeup * floor, 1 + ratio, (1 + ratio) * floor + r_in)
    if c.placement == "series":  # Rout / (Rin + cell + Rout)
        if np.ndim(r_out) == 0:
            if np.isinf(r_out):
                return GainLaw(makeup, 0.0, 1.0, 0.0)
            return GainLaw(0.0, makeup * r_out, 1.0, r_in + r_out + floor)
        loaded = ~np.isinf(r_out)
        ohms = np.where(loaded, r_out, 0.0)
        return GainLaw(np.where(loaded, 0.0, makeup), makeup * ohms, 1.0, np.where(loaded, r_in + ohms + floor, 0.0))
    across = 1 / r_out  # (Rout || cell) / Rin
    return GainLaw(makeup / r_in, makeup * floor / r_in, across, 1 + across * floor)


def _plain(value: Any) -> Any:
    """Return a single number as a plain float, which the loops run on, and an array as it is."""
    return np.asarray(value, float) if np.ndim(value) else float(value)


def decibels(gain: Any) -> Any:
    """Return a gain in decibels, minus infinity where nothing passes."""
    with np.errstate(divide="ignore"):
        return 20 * np.log10(gain)


def resistance_cell(compressor: Compressor, conductance: Any) -> Any:
    """Return the resistance of the whole cell, its floor included; infinite where it does not conduct."""
    with np.errstate(divide="ignore"):
        return 1 / np.asarray(conductance) + compressor.coupler_at_temperature.cell.resistance_floor


def led_current(compressor: Compressor, voltage: Any) -> Any:
    """Return the LED current that a voltage on the hold capacitor (or the rectifier, if direct) drives."""
    led = compressor.coupler_at_temperature.led
    drop = compressor.voltage_base_emitter if compressor.drive == "buffered" else 0.0
    return series_current(
        np.maximum(np.asarray(voltage, float) - drop, 0.0),
        resistance=compressor.resistance_led + led.resistance_series,
        current_saturation=led.current_saturation,
        ideality=led.ideality,
    )


def illuminance(compressor: Compressor, current: Any) -> Any:
    """Return the light on the cell, ambient light included."""
    return coupler_illuminance(current, coupler=compressor.coupler_at_temperature) + compressor.illuminance_ambient


def rise_rate(compressor: Compressor, light: Any) -> Any:
    """Return 1/tau of the cell's rise at a light level; 0 in the dark."""
    with np.errstate(divide="ignore"):
        return 1 / rise_time_constant(light, cell=compressor.coupler_at_temperature.cell)


def conductance_dark(compressor: Compressor) -> Any:
    """Return the cell's settled conductance with the LED dark."""
    return _plain(cell_conductance(compressor.illuminance_ambient, cell=compressor.coupler_at_temperature.cell))


def voltage_top(compressor: Compressor, voltage_peak: Any) -> Any:
    """Return the highest voltage the rectifier can deliver for a side-chain peak, 0 if none."""
    top = np.maximum(np.minimum(voltage_peak, compressor.voltage_rail) - np.asarray(compressor.voltage_diode), 0.0)
    if np.any(bad := top > VOLTAGE_MOST):
        reached = shown(float(f"{np.max(top):.3g}"), "V")
        allowed = f"at most {shown(VOLTAGE_MOST, 'V')} for a side-chain this loud, which would reach {reached}"
        raise refused("voltage_rail", allowed, compressor.voltage_rail, bad)
    return _plain(top)
