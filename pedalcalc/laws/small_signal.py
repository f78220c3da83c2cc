"""What a small change does at a junction's working current, until a solver for whole circuits answers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import Number, Result, formula, quantity
from pedalcalc._junction import BOLTZMANN, CHARGE
from pedalcalc._ranges import TEMPERATURE_RECORD, AboveZero, AnyNumber, AtLeastZero, Kelvin


@dataclass(frozen=True, slots=True, eq=False)
class SmallSignalPoint(Result):
    """A diode at its working current, and what a small signal on the supply does there."""

    current: Number = quantity("A", "working current")
    resistance_dynamic: Number = quantity("Ω", "dynamic resistance of the diode")
    voltage_signal_diode: Number = quantity("V", "signal across the diode")
    current_signal: Number = quantity("A", "signal current")


@formula
def voltage_change(
    current_ratio: AboveZero, *, ideality: AboveZero = 1.0, temperature: Kelvin = TEMPERATURE_RECORD
) -> Number:
    """Find how far the junction voltage moves when the current changes by a ratio.

    Parameters
    ----------
    current_ratio : array_like
        New current over old current [1], > 0; 10 gives the volts per decade.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    temperature : array_like
        Absolute temperature of the junction [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    float or ndarray
        Change of the voltage [V], negative for a ratio below 1.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Warns
    -----
    ModelRangeWarning
        If `temperature` is outside 230 to 400 K.

    Notes
    -----
    V2 - V1 = n Vt ln(I2 / I1) with Vt = kT/q, for currents far above the saturation current.

    References
    ----------
    SHOCKLEY, the diode law.

    Examples
    --------
    At 20 °C, for an ideal diode:

    >>> print(f"{voltage_change(10, temperature=293.15) * 1000:.1f} mV")
    58.2 mV
    """
    return np.asarray(ideality * BOLTZMANN / CHARGE * temperature * np.log(current_ratio))


@formula
def small_signal_point(
    voltage: AnyNumber,
    *,
    voltage_signal: AnyNumber,
    resistance: AboveZero,
    voltage_forward: AtLeastZero,
    ideality: AboveZero = 1.0,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> SmallSignalPoint:
    """Find how much of a small signal on the supply reaches a diode fed through a resistor.

    The working current comes from the constant drop, the signal from the
    divider of resistor and dynamic resistance.

    Parameters
    ----------
    voltage : array_like
        Steady voltage across resistor and diode together [V], any sign.
    voltage_signal : array_like
        Small signal on top of it [V], peak or rms as wanted.
    resistance : array_like
        Resistance in series [Ω], > 0.
    voltage_forward : array_like
        Forward drop of the diode [V], at least 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    temperature : array_like
        Absolute temperature of the junction [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    SmallSignalPoint
        Working current [A], dynamic resistance [Ω], signal across the diode [V] and signal current [A].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Warns
    -----
    ModelRangeWarning
        If `temperature` is outside 230 to 400 K.

    Notes
    -----
    rd = n Vt / I with Vt = kT/q, and vd = v rd / (rd + R), for vd well under n Vt. Below the drop the
    diode is open and sees the whole signal.

    References
    ----------
    SEDRA-SMITH, example 3.6.

    Examples
    --------
    >>> point = small_signal_point(
    ...     10, voltage_signal=1, resistance=10e3, voltage_forward=0.7, ideality=2, temperature=290.1)
    >>> print(f"{point.voltage_signal_diode * 1000:.2f} mV")
    5.35 mV
    """
    current = np.maximum(voltage - voltage_forward, 0.0) / resistance
    with np.errstate(divide="ignore"):
        slope = ideality * BOLTZMANN / CHARGE * temperature / current
    signal_current = voltage_signal / (resistance + slope)
    return SmallSignalPoint(
        current=current,
        resistance_dynamic=slope,
        voltage_signal_diode=voltage_signal - signal_current * resistance,
        current_signal=signal_current,
    )
