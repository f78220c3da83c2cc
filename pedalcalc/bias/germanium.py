"""Leakage of a germanium transistor, and its true gain.

A germanium record passed to the bias functions brings its leakage along: a
diode of saturation current Icbo across collector and base, at the temperature given.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, is_a, numeric, scalar
from pedalcalc.bias._points import checked_gain
from pedalcalc.devices import Bjt, typical
from pedalcalc.laws._check import checked_temperature
from pedalcalc.laws.transistors import leakage

__all__ = ["collector_emitter_leakage", "leakage_at_temperature", "true_current_gain"]


@formula
def leakage_at_temperature(temperature: ArrayLike, *, transistor: Bjt) -> Number:
    """Find the collector-base leakage of a transistor at a temperature.

    Doubles per `transistor.temperature_doubling` from its value at 300 K, typical for a type.

    Parameters
    ----------
    temperature : array_like
        Junction temperature [K], above 0.
    transistor : devices.Bjt
        Part record.

    Returns
    -------
    float or ndarray
        Leakage Icbo [A].

    Raises
    ------
    ValueError
        If the temperature is not above 0.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    Icbo(T) = Icbo(300 K) 2^((T - 300 K)/D). Germanium: D of 8 to 10 K by common
    practice; one pair of readings (75 µA near 20 °C, 320 µA near 40 °C) gives 9.6 K.

    References
    ----------
    GERMANIUM-NOTE, the two readings; PRACTICE, doubling per 8 to 10 °C.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_AC128
    >>> round(1e6 * leakage_at_temperature(300 + 9.6, transistor=BJT_AC128), 6)
    6.0
    """
    t = checked_temperature(temperature)
    is_a("transistor", transistor, Bjt)
    return scalar(leakage(typical(transistor), t))  # type: ignore[no-any-return]


@formula
def collector_emitter_leakage(current_collector_base_leakage: ArrayLike, *, current_gain: ArrayLike) -> Number:
    """Find the collector current that flows with the base left open.

    Parameters
    ----------
    current_collector_base_leakage : array_like
        Collector-base leakage Icbo [A], 0 or more.
    current_gain : array_like
        True current gain [1], above 0.

    Returns
    -------
    float or ndarray
        Leakage Iceo [A].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Iceo = (1 + hFE) Icbo: the leakage enters the base and is amplified.

    References
    ----------
    DERIVED, Kirchhoff's current law with the base open.

    Examples
    --------
    >>> round(1e6 * collector_emitter_leakage(3e-6, current_gain=99), 6)
    300.0
    """
    i_cbo = numeric("current_collector_base_leakage", current_collector_base_leakage, least=0)
    beta = checked_gain(current_gain)
    with np.errstate(invalid="ignore"):
        return scalar(np.where(i_cbo == 0, 0.0 * i_cbo, i_cbo * (1 + beta)) + 0 * np.where(np.isnan(beta), beta, 0.0))  # type: ignore[no-any-return]


@formula
def true_current_gain(
    current_collector: ArrayLike, *, current_collector_open: ArrayLike, current_base: ArrayLike
) -> Number:
    """Find the true gain of a leaky transistor from two tester readings.

    A tester that only divides collector current by base current counts the
    leakage as gain; read the current with the base open first and subtract it.

    Parameters
    ----------
    current_collector : array_like
        Collector current with the base current applied [A], 0 or more.
    current_collector_open : array_like
        Collector current with the base open, Iceo [A], 0 or more.
    current_base : array_like
        Base current applied [A], above 0.

    Returns
    -------
    float or ndarray
        True current gain [1].

    Raises
    ------
    ValueError
        If an argument is outside its range or the leakage exceeds the whole current.

    Notes
    -----
    hFE = (IC - Iceo)/IB. Warm fingers raise the leakage: let the part rest before reading.

    References
    ----------
    MEMORY, the usual two-reading test; DERIVED, IC = hFE IB + Iceo.

    Examples
    --------
    >>> round(true_current_gain(1.1e-3, current_collector_open=0.3e-3, current_base=10e-6), 6)
    80.0
    """
    i_c = numeric("current_collector", current_collector, least=0)
    leak = numeric("current_collector_open", current_collector_open, least=0)
    i_b = numeric("current_base", current_base, above=0)
    if np.any(leak > i_c):
        raise ValueError("current_collector_open must not exceed current_collector: swap the readings")
    return scalar((i_c - leak) / i_b)  # type: ignore[no-any-return]
