"""Measure a transistor on a tester: its true gain, and what it leaks.

A germanium record passed to the bias functions brings its leakage along, and gives both readings back.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import fit, is_a, numeric, scalar
from pedalcalc._figure import known
from pedalcalc._ranges import KELVIN, TEMPERATURE_RECORD
from pedalcalc._refusal import refused
from pedalcalc._units import shown
from pedalcalc.devices import Bjt, typical

__all__ = ["fit_bjt"]


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
        If an argument is outside its range, or the leakage is the whole current.
    TypeError
        If `transistor` is not a bipolar record.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    hFE = (IC - Iceo)/IB, Icbo = Iceo/(1 + hFE): with the base open the leakage enters the base and is amplified.
    A germanium part gives both readings back, unless Icbo is less than its junctions alone let through,
    Is (1/beta_reverse + 1/(hFE + 1)): then it leaks that. Warm fingers raise it: let the part rest before reading.

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
    if np.any(bad := leak >= i_c):
        most = shown(float(np.broadcast_to(i_c, bad.shape)[bad][0]), "A")
        raise refused("current_collector_open", f"below current_collector ({most}; swap the readings)", leak, bad)
    gain = (i_c - leak) / i_b
    at_record = leak / (1 + gain)
    if np.any(kelvin != TEMPERATURE_RECORD):
        step = known(part, "temperature_doubling", "a reading at another temperature than 300 K")
        at_record = at_record * np.exp2((TEMPERATURE_RECORD - kelvin) / step)
    return dataclasses.replace(
        part,
        current_gain=scalar(gain),
        current_for_gain=scalar(i_c + 0 * gain),
        current_collector_base_leakage=scalar(at_record),
    )
