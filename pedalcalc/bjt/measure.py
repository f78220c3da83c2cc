"""Measure a transistor on a tester: its true gain, and what it leaks.

A germanium record passed to the bias functions brings its leakage along, and gives both readings back.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, numeric
from pedalcalc._base import fit, scalar
from pedalcalc._figure import figure, known
from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc._ranges import KELVIN, TEMPERATURE_RECORD
from pedalcalc._refusal import refused
from pedalcalc._units import shown
from pedalcalc.devices import Bjt, typical
from pedalcalc.laws.junctions import saturation

__all__ = ["fit_bjt"]

Array = NDArray[np.float64]


@fit
def fit_bjt(
    current_collector: ArrayLike,
    *,
    current_collector_open: ArrayLike,
    current_base: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike = TEMPERATURE_RECORD,
) -> Bjt:
    """Find the true gain and the leakage of a transistor from two tester readings.

    A tester that only divides collector current by base current counts the
    leakage as gain; read the current with the base open first.

    Parameters
    ----------
    current_collector : array_like
        Collector current with the base current applied [A], above 0.
    current_collector_open : array_like
        Collector current with the base open, Iceo [A], 0 or more.
    current_base : array_like
        Base current applied [A], above 0.
    transistor : devices.Bjt
        The type, for polarity, ratings and leads.
    temperature : array_like
        Temperature of the part at both readings [K], above 0 to 5000; 300 K, 27 °C, if not given.

    Returns
    -------
    devices.Bjt
        A specimen of the type with the part's true gain [1] at the collector current read [A], and its collector-base
        leakage at 300 K [A].

    Raises
    ------
    ValueError
        If an argument is outside its range or NaN, or the leakage is the whole current.
    TypeError
        If `transistor` is not a bipolar record.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    hFE = (IC - Iceo)/IB, Icbo = Iceo/(1 + hFE): with the base open the leakage enters the base and is amplified.
    A germanium part gives both readings back. Its junctions alone let Is (1/beta_reverse + 1/(hFE + 1)) through; a part that was
    read to leak less has a smaller Is than its type, so a higher base-emitter voltage. No germanium part leaks nothing: a reading of 0
    is less than the meter shows, which tells nothing of Is. It is the type's then, and what these junctions let through, 37 µA of
    an AC128, comes back in place of the 0; the smallest step of your meter in its place gives the part that leaks so much. Warm fingers raise the leakage: let the part rest before reading.

    References
    ----------
    MEMORY, the usual two-reading test; DERIVED, Kirchhoff's current law with the base open.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> mine = fit_bjt(1.1e-3, current_collector_open=0.3e-3, current_base=10e-6, transistor=devices.BJT_AC128)
    >>> round(mine.current_gain, 6), round(1e6 * mine.current_collector_base_leakage, 2)
    (80.0, 3.7)
    """
    part: Bjt = typical(is_a("transistor", transistor, Bjt))
    i_c = numeric("current_collector", current_collector, above=0)
    leak = numeric("current_collector_open", current_collector_open, least=0)
    i_b = numeric("current_base", current_base, above=0)
    kelvin = KELVIN("temperature", temperature)
    readings = {
        "current_collector": i_c, "current_collector_open": leak, "current_base": i_b, "temperature": kelvin,
    }  # fmt: skip
    for name, read in readings.items():
        if np.any(unknown := np.isnan(read)):
            raise refused(name, "known: a fit stands on what was read", read, unknown)
    if np.any(bad := leak >= i_c):
        most = shown(float(np.broadcast_to(i_c, bad.shape)[bad][0]), "A")
        raise refused("current_collector_open", f"below current_collector ({most}; swap the readings)", leak, bad)
    gain = (i_c - leak) / i_b
    known_gain = dataclasses.replace(part, current_gain=scalar(gain), current_for_gain=scalar(i_c + 0 * gain))
    return leaking(known_gain, leak, kelvin)


def leaking(part: Bjt, open_base: Array, kelvin: Array) -> Bjt:
    """Return a specimen of known gain as one that leaks so much [A] with its base open at a temperature."""
    gain = figure(part, "current_gain")
    at_reading = open_base / (1 + gain)
    at_record = at_reading
    if np.any(kelvin != TEMPERATURE_RECORD):
        step = known(part, "temperature_doubling", "a reading at another temperature than 300 K")
        at_record = at_reading * np.exp2((TEMPERATURE_RECORD - kelvin) / step)
    changes: dict[str, Any] = {"current_collector_base_leakage": scalar(at_record)}
    if part.material == "germanium" and np.all(figure(part, "ideality") > 0):
        changes["voltage_forward"] = scalar(_forward(part, at_reading, gain, kelvin))
    return dataclasses.replace(part, **changes)


def _forward(part: Bjt, at_reading: Array, gain: Array, kelvin: Array) -> Array:
    """Return the base-emitter voltage of a part whose junctions let no more through than was read."""
    own, then = (saturation(part, np.asarray(t, float))[0] for t in (TEMPERATURE_RECORD, kelvin))
    most = at_reading / (1 / figure(part, "current_gain_reverse") + 1 / (gain + 1)) * own / then
    reference, drop = figure(part, "current_reference"), figure(part, "voltage_forward")
    spread = figure(part, "ideality") * VOLTAGE_THERMAL_300K
    with np.errstate(divide="ignore"):
        higher = reference * figure(part, "resistance_series") + spread * np.log1p(reference / most)
    return np.asarray(np.where((most > 0) & (most < own), higher, drop))
