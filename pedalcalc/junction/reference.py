"""From one known point to another: by current, by voltage, by temperature."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric
from pedalcalc.devices._law import BOLTZMANN, CHARGE, VOLTAGE_THERMAL_300K

#: Energy gap of silicon [V] and the power of T in its saturation current, as simulators use them.
ENERGY_GAP_SILICON = 1.12
SATURATION_EXPONENT_SILICON = 3.0


@formula
def voltage_change(
    current_ratio: ArrayLike, *, ideality: ArrayLike = 1.0, voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K
) -> Number:
    """Find how far the junction voltage moves when the current changes by a ratio.

    Parameters
    ----------
    current_ratio : array_like
        New current over old current [1], > 0; 10 gives the volts per decade.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Change of the voltage [V], negative for a ratio below 1.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    V2 - V1 = n Vt ln(I2 / I1), for currents far above the saturation current.

    References
    ----------
    SHOCKLEY, the diode law.

    Examples
    --------
    >>> print(f"{voltage_change(10, voltage_thermal=0.025) * 1000:.1f} mV")
    57.6 mV
    """
    ratio = numeric("current_ratio", current_ratio, above=0)
    n = numeric("ideality", ideality, above=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    return np.asarray(n * v_t * np.log(ratio))[()]


@formula
def voltage_from_reference(
    current: ArrayLike,
    *,
    voltage_reference: ArrayLike,
    current_reference: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the junction voltage at a current from its voltage at another current.

    Parameters
    ----------
    current : array_like
        Forward current [A], > 0.
    voltage_reference : array_like
        Junction voltage at the reference current [V].
    current_reference : array_like
        Reference current [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Junction voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    V = Vref + n Vt ln(I / Iref), for currents far above the saturation current.

    References
    ----------
    SHOCKLEY, the diode law.

    Examples
    --------
    >>> v = voltage_from_reference(1e-4, voltage_reference=0.7, current_reference=1e-3, voltage_thermal=0.025)
    >>> print(f"{v:.2f} V")
    0.64 V
    """
    i = numeric("current", current, above=0)
    v_ref = numeric("voltage_reference", voltage_reference)
    i_ref = numeric("current_reference", current_reference, above=0)
    n = numeric("ideality", ideality, above=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    return np.asarray(v_ref + n * v_t * (np.log(i) - np.log(i_ref)))[()]


@formula
def current_from_reference(
    voltage: ArrayLike,
    *,
    voltage_reference: ArrayLike,
    current_reference: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the junction current at a voltage from its current at another voltage.

    Parameters
    ----------
    voltage : array_like
        Forward voltage [V].
    voltage_reference : array_like
        Junction voltage at the reference current [V].
    current_reference : array_like
        Reference current [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Current [A]; inf where it exceeds what a float holds.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    I = Iref exp((V - Vref) / (n Vt)), for currents far above the saturation current.

    References
    ----------
    SHOCKLEY, the diode law.

    Examples
    --------
    >>> i = current_from_reference(0.76, voltage_reference=0.7, current_reference=1e-3, voltage_thermal=0.026)
    >>> print(f"{i * 1000:.1f} mA")
    10.1 mA
    """
    v = numeric("voltage", voltage)
    v_ref = numeric("voltage_reference", voltage_reference)
    i_ref = numeric("current_reference", current_reference, above=0)
    n = numeric("ideality", ideality, above=0)
    v_t = numeric("voltage_thermal", voltage_thermal, above=0)
    with np.errstate(over="ignore", under="ignore"):
        return np.asarray(np.exp((v - v_ref) / (n * v_t) + np.log(i_ref)))[()]


@formula
def saturation_current_at(
    temperature: ArrayLike,
    *,
    current_saturation: ArrayLike,
    temperature_reference: ArrayLike = 300.0,
    ideality: ArrayLike = 1.0,
    energy_gap: ArrayLike = ENERGY_GAP_SILICON,
    saturation_exponent: ArrayLike = SATURATION_EXPONENT_SILICON,
) -> Number:
    """Find the saturation current of a silicon junction at another temperature.

    Parameters
    ----------
    temperature : array_like
        Absolute temperature of the junction [K], > 0.
    current_saturation : array_like
        Saturation current at the reference temperature [A], > 0.
    temperature_reference : array_like
        Temperature at which that holds [K], > 0; records are stated for 300 K.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    energy_gap : array_like
        Energy gap of the semiconductor [V], > 0; silicon if not given.
    saturation_exponent : array_like
        Power of the temperature ahead of the exponential [1], at least 0; silicon if not given.

    Returns
    -------
    float or ndarray
        Saturation current [A].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Is(T) = Is(T0) (T/T0)^(x/n) exp((T/T0 - 1) Eg q / (n k T)), as circuit simulators
    take it. With the thermal voltage of the same temperature, the drop at constant
    current falls by about 2 mV for each kelvin.

    References
    ----------
    MEMORY, the law of circuit simulators and the two constants of silicon.

    Examples
    --------
    >>> warm = saturation_current_at(310, current_saturation=1e-14)
    >>> print(f"{warm / 1e-14:.1f} times for 10 K")
    4.5 times for 10 K
    """
    t = numeric("temperature", temperature, above=0)
    i_s = numeric("current_saturation", current_saturation, above=0)
    t_ref = numeric("temperature_reference", temperature_reference, above=0)
    n = numeric("ideality", ideality, above=0)
    gap = numeric("energy_gap", energy_gap, above=0)
    x = numeric("saturation_exponent", saturation_exponent, least=0)
    ratio = t / t_ref
    with np.errstate(over="ignore", under="ignore"):
        exponent = x / n * np.log(ratio) + (ratio - 1) * gap * CHARGE / (n * BOLTZMANN * t)
        return np.asarray(np.exp(np.log(i_s) + exponent))[()]


@formula
def saturation_current_doubling(
    current_saturation: ArrayLike, *, temperature_change: ArrayLike, temperature_doubling: ArrayLike = 10.0
) -> Number:
    """Find a leakage at another temperature by the rule that it doubles every few kelvin.

    Parameters
    ----------
    current_saturation : array_like
        Saturation or leakage current at the first temperature [A], > 0.
    temperature_change : array_like
        New temperature minus the first [K], any sign.
    temperature_doubling : array_like
        Rise that doubles the current [K], > 0; 10 by common practice, some texts take 5 or 6.

    Returns
    -------
    float or ndarray
        Current at the new temperature [A].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    I 2^(ΔT/ΔT2). The saturation current of the forward law grows faster, see `saturation_current_at`.

    References
    ----------
    PRACTICE: a silicon junction's leakage doubles every 10 K.

    Examples
    --------
    >>> print(f"{saturation_current_doubling(5e-9, temperature_change=70) * 1e9:.0f} nA")
    640 nA
    """
    i_s = numeric("current_saturation", current_saturation, above=0)
    change = numeric("temperature_change", temperature_change)
    step = numeric("temperature_doubling", temperature_doubling, above=0)
    with np.errstate(over="ignore", under="ignore"):
        return np.asarray(i_s * np.exp2(change / step))[()]


@formula
def voltage_at_temperature(
    voltage: ArrayLike, *, temperature_change: ArrayLike, voltage_slope: ArrayLike = -0.002
) -> Number:
    """Find a junction's drop at the same current but another temperature by the rule of -2 mV/K.

    Parameters
    ----------
    voltage : array_like
        Drop at the first temperature [V].
    temperature_change : array_like
        New temperature minus the first [K], any sign.
    voltage_slope : array_like
        Change of the drop for each kelvin [V/K]; -2 mV/K if not given, some texts take -2.5.

    Returns
    -------
    float or ndarray
        Drop at the new temperature [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    V + slope ΔT. By `saturation_current_at` the slope is (V - Eg)/T - 3 k/q, flatter at a larger current.

    References
    ----------
    PRACTICE: -2 mV/K for silicon.

    Examples
    --------
    >>> print(f"{voltage_at_temperature(0.7, temperature_change=75):.2f} V")
    0.55 V
    """
    v = numeric("voltage", voltage)
    change = numeric("temperature_change", temperature_change)
    slope = numeric("voltage_slope", voltage_slope)
    return np.asarray(v + slope * change)[()]
