"""Simpler diodes that textbooks and bench arithmetic use: constant drop, straight pieces, small signal, Zener."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, Result, formula, numeric, quantity
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K


@dataclass(frozen=True, slots=True, eq=False)
class DropPoint(Result):
    """Where a diode of straight pieces in series with a resistance settles."""

    current: Number = quantity("A", "current")
    voltage_junction: Number = quantity("V", "voltage across the diode")
    voltage_resistor: Number = quantity("V", "voltage across the resistance")
    conducts: bool | NDArray[np.bool_] = quantity("bool", "conducts")


@dataclass(frozen=True, slots=True, eq=False)
class SmallSignalPoint(Result):
    """A diode at its working current, and what a small signal on the supply does there."""

    current: Number = quantity("A", "working current")
    resistance_dynamic: Number = quantity("Ω", "dynamic resistance of the diode")
    voltage_signal_diode: Number = quantity("V", "signal across the diode")
    current_signal: Number = quantity("A", "signal current")


@formula
def constant_drop(voltage: ArrayLike, *, resistance: ArrayLike, voltage_forward: ArrayLike) -> DropPoint:
    """Find the current through a resistor and diodes whose drop is taken as constant.

    Parameters
    ----------
    voltage : array_like
        Voltage across resistor and diode together [V], any sign.
    resistance : array_like
        Resistance in series [Ω], 0 to inf.
    voltage_forward : array_like
        Forward drop, of all diodes in the string together [V], at least 0.

    Returns
    -------
    DropPoint
        Current [A] (inf with no resistance at all), voltages [V], and whether the diode conducts.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    I = (V - VF) / R above the drop, else none.

    References
    ----------
    KUPHALDT-3, ch. 3, the diode as a constant drop.

    Examples
    --------
    >>> print(f"{constant_drop(50, resistance=2200, voltage_forward=2).current * 1000:.2f} mA")
    21.82 mA
    """
    v = numeric("voltage", voltage)
    r = numeric("resistance", resistance, least=0, infinity=True)
    v_f = numeric("voltage_forward", voltage_forward, least=0)
    return _straight(v, r, v_f, np.asarray(0.0))


@formula
def piecewise_linear(
    voltage: ArrayLike, *, resistance: ArrayLike, voltage_knee: ArrayLike, resistance_forward: ArrayLike
) -> DropPoint:
    """Find the current through a resistor and a diode made of two straight lines.

    Parameters
    ----------
    voltage : array_like
        Voltage across resistor and diode together [V], any sign.
    resistance : array_like
        Resistance in series [Ω], 0 to inf.
    voltage_knee : array_like
        Voltage at which the diode's line starts [V], at least 0.
    resistance_forward : array_like
        Slope resistance of that line [Ω], at least 0.

    Returns
    -------
    DropPoint
        Current [A] (inf with no resistance at all), voltages [V], and whether the diode conducts.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    I = (V - VD0) / (R + rD) above the knee, else none; the diode drops VD0 + I rD.

    References
    ----------
    SEDRA-SMITH, example 3.5.

    Examples
    --------
    >>> point = piecewise_linear(5, resistance=1000, voltage_knee=0.65, resistance_forward=20)
    >>> print(f"{point.current * 1000:.2f} mA, {point.voltage_junction:.3f} V")
    4.26 mA, 0.735 V
    """
    v = numeric("voltage", voltage)
    r = numeric("resistance", resistance, least=0, infinity=True)
    v_k = numeric("voltage_knee", voltage_knee, least=0)
    r_f = numeric("resistance_forward", resistance_forward, least=0)
    return _straight(v, r, v_k, r_f)


def _straight(
    v: NDArray[np.float64], r: NDArray[np.float64], v_k: NDArray[np.float64], r_f: NDArray[np.float64]
) -> DropPoint:
    v, r, v_k, r_f = np.broadcast_arrays(v, r, v_k, r_f)
    over = np.maximum(v - v_k, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        current = np.where(over == 0, 0.0 * r_f, over / (r + r_f))
        # Below the knee, and with an open circuit, the current is zero and who holds the voltage differs.
        drop = np.where(np.isinf(r), over, np.where(np.isinf(current), 0.0, current * r))
    open_part = np.isinf(r) & (over > 0)
    return DropPoint(
        current=np.where(np.isnan(r), np.nan, current)[()],
        voltage_junction=np.asarray(v - drop)[()],
        voltage_resistor=drop[()],
        conducts=np.asarray((over > 0) & ~open_part)[()],
    )


@formula
def small_signal_point(
    voltage: ArrayLike,
    *,
    voltage_signal: ArrayLike,
    resistance: ArrayLike,
    voltage_forward: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
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
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    SmallSignalPoint
        Working current [A], dynamic resistance [Ω], signal across the diode [V] and signal current [A].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    rd = n Vt / I and vd = v rd / (rd + R), for vd well under n Vt. Below the drop the
    diode is open and sees the whole signal.

    References
    ----------
    SEDRA-SMITH, example 3.6.

    Examples
    --------
    >>> point = small_signal_point(
    ...     10, voltage_signal=1, resistance=10e3, voltage_forward=0.7, ideality=2, voltage_thermal=0.025
    ... )
    >>> print(f"{point.voltage_signal_diode * 1000:.2f} mV")
    5.35 mV
    """
    v = numeric("voltage", voltage)
    signal = numeric("voltage_signal", voltage_signal)
    r = numeric("resistance", resistance, above=0)
    v_f = numeric("voltage_forward", voltage_forward, least=0)
    n = numeric("ideality", ideality, above=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    current = np.maximum(v - v_f, 0.0) / r
    with np.errstate(divide="ignore"):
        slope = np.asarray(n * v_t / current)
    signal_current = np.asarray(signal / (r + slope))
    return SmallSignalPoint(
        current=np.asarray(current)[()],
        resistance_dynamic=slope[()],
        voltage_signal_diode=np.asarray(signal - signal_current * r)[()],
        current_signal=signal_current[()],
    )


@formula
def zener_voltage(
    voltage_zener: ArrayLike, *, temperature_coefficient: ArrayLike, temperature_change: ArrayLike
) -> Number:
    """Find the voltage of a Zener diode that has become warmer or colder.

    Parameters
    ----------
    voltage_zener : array_like
        Zener voltage at the sheet's temperature [V], > 0.
    temperature_coefficient : array_like
        Relative change for each kelvin [1/K]; 0.05 % is 0.0005.
    temperature_change : array_like
        Temperature minus the sheet's temperature [K].

    Returns
    -------
    float or ndarray
        Zener voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    V = VZ (1 + TC ΔT). Coefficients are negative below about 5 V and positive above (from memory).

    References
    ----------
    FLOYD-DEVICES, example 3.3.

    Examples
    --------
    >>> print(f"{zener_voltage(8.2, temperature_coefficient=0.0005, temperature_change=35):.2f} V")
    8.34 V
    """
    v_z = numeric("voltage_zener", voltage_zener, above=0)
    coefficient = numeric("temperature_coefficient", temperature_coefficient)
    change = numeric("temperature_change", temperature_change)
    return np.asarray(v_z + v_z * coefficient * change)[()]
