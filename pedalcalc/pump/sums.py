"""The makers' formulas for switched-capacitor converters: quick sums, and upper bounds."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, formula, numeric

__all__ = [
    "doubler_voltage",
    "doubling_inverter_resistance_sum",
    "flying_reactance",
    "inverter_resistance_sum",
    "pump_frequency",
    "ripple_sum",
    "slow_resistance",
]


@formula
def pump_frequency(frequency_oscillator: ArrayLike) -> Number:
    """Find the pump frequency of a 7660-family converter: half the oscillator's.

    A boost pin raises the oscillator (`frequency_boosted` of the converter
    record); an external clock takes its place. The pump runs at half of it.

    Parameters
    ----------
    frequency_oscillator : array_like
        Oscillator or external clock [Hz], at least 0.

    Returns
    -------
    float or ndarray
        Pump frequency [Hz].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    f_pump = f_osc / 2.

    References
    ----------
    SHEET-7660-B page 9; SHEET-GS7660 page 6.

    Examples
    --------
    >>> print(f"{pump_frequency([10e3, 45e3])} Hz")
    [ 5000. 22500.] Hz
    """
    return (numeric("frequency_oscillator", frequency_oscillator, least=0) / 2)[()]


@formula
def slow_resistance(*, frequency_pump: ArrayLike, capacitance_pump: ArrayLike) -> Number:
    """Find the resistance that a flying capacitor makes by carrying its charge in packets.

    Parameters
    ----------
    frequency_pump : array_like
        Pump frequency [Hz], > 0.
    capacitance_pump : array_like
        Flying capacitor [F], > 0; inf allowed.

    Returns
    -------
    float or ndarray
        Slow-switching limit of the output resistance [Ω].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    R = 1/(f C).

    References
    ----------
    SHEET-GS7660 page 6; SHEET-7660-B page 9.

    Examples
    --------
    >>> print(f"{slow_resistance(frequency_pump=5e3, capacitance_pump=10e-6):.1f} Ω")
    20.0 Ω
    """
    f = numeric("frequency_pump", frequency_pump, above=0)
    c = numeric("capacitance_pump", capacitance_pump, above=0, infinity=True)
    return (1 / (f * c))[()]


@formula
def flying_reactance(*, frequency: ArrayLike, capacitance_pump: ArrayLike) -> Number:
    """Find twice the reactance of the flying capacitor, which one maker's sheet counts as resistance.

    Kept to read that sheet with. Charge balance gives 1/(f C), pi times as much
    at the same frequency; use `slow_resistance` for a build.

    Parameters
    ----------
    frequency : array_like
        Frequency [Hz], > 0 to inf.
    capacitance_pump : array_like
        Flying capacitor [F], > 0; inf allowed.

    Returns
    -------
    float or ndarray
        2/(2 pi f C) [Ω].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    X = 2/(2 pi f C).

    References
    ----------
    SHEET-1044S page 4.

    Examples
    --------
    >>> print(f"{flying_reactance(frequency=10e3, capacitance_pump=10e-6):.2f} Ω")
    3.18 Ω
    """
    f = numeric("frequency", frequency, above=0, infinity=True)
    c = numeric("capacitance_pump", capacitance_pump, above=0, infinity=True)
    return (1 / (np.pi * f * c))[()]


@formula
def inverter_resistance_sum(
    *,
    resistance_switches: ArrayLike,
    frequency_pump: ArrayLike,
    capacitance_pump: ArrayLike,
    resistance_esr_pump: ArrayLike,
    resistance_esr_output: ArrayLike,
) -> Number:
    """Find an inverter's output resistance by the makers' sum, a safe upper bound.

    Slow and fast limit simply added; the exact figure (`inverter`) lies below.

    Parameters
    ----------
    resistance_switches : array_like
        All four switches added, 23 Ω typical of the 7660 [Ω], at least 0.
    frequency_pump : array_like
        Pump frequency, half the oscillator's [Hz], > 0.
    capacitance_pump : array_like
        Flying capacitor [F], > 0; inf allowed.
    resistance_esr_pump : array_like
        Equivalent series resistance of the flying capacitor [Ω], at least 0.
    resistance_esr_output : array_like
        That of the output capacitor [Ω], at least 0.

    Returns
    -------
    float or ndarray
        Output resistance [Ω].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    R = 2 R_SW + 1/(f C1) + 4 R_ESR1 + R_ESR2, R_SW the sum of the four switches.

    References
    ----------
    SHEET-7660-B page 9.

    Examples
    --------
    >>> resistance = inverter_resistance_sum(
    ...     resistance_switches=23.0, frequency_pump=5e3, capacitance_pump=10e-6,
    ...     resistance_esr_pump=0.0, resistance_esr_output=0.0,
    ... )
    >>> print(f"{resistance:.0f} Ω")
    66 Ω
    """
    switches = numeric("resistance_switches", resistance_switches, least=0)
    esr1 = numeric("resistance_esr_pump", resistance_esr_pump, least=0)
    esr2 = numeric("resistance_esr_output", resistance_esr_output, least=0)
    slow = slow_resistance(frequency_pump=frequency_pump, capacitance_pump=capacitance_pump)
    return (2 * switches + slow + 4 * esr1 + esr2)[()]


@formula
def doubling_inverter_resistance_sum(
    *,
    resistance_switch: ArrayLike,
    frequency_pump: ArrayLike,
    capacitance_first: ArrayLike,
    capacitance_second: ArrayLike,
    resistance_esr_first: ArrayLike,
    resistance_esr_second: ArrayLike,
    resistance_esr_output: ArrayLike,
) -> Number:
    """Find the output resistance of a converter that delivers minus twice its supply, by the maker's sum.

    Parameters
    ----------
    resistance_switch : array_like
        One switch [Ω], at least 0.
    frequency_pump : array_like
        Pump frequency [Hz], > 0.
    capacitance_first : array_like
        First flying capacitor [F], > 0.
    capacitance_second : array_like
        Second flying capacitor [F], > 0.
    resistance_esr_first : array_like
        Equivalent series resistance of the first [Ω], at least 0.
    resistance_esr_second : array_like
        That of the second [Ω], at least 0.
    resistance_esr_output : array_like
        That of the output capacitor [Ω], at least 0.

    Returns
    -------
    float or ndarray
        Output resistance [Ω].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    R = 16 R_sw + 4 (R_ESR1 + R_ESR2) + R_ESR3 + 1/(f C1) + 1/(f C2).

    References
    ----------
    SHEET-SP682 page 5.

    Examples
    --------
    >>> resistance = doubling_inverter_resistance_sum(
    ...     resistance_switch=5.0, frequency_pump=10e3, capacitance_first=10e-6, capacitance_second=10e-6,
    ...     resistance_esr_first=1.0, resistance_esr_second=1.0, resistance_esr_output=1.0,
    ... )
    >>> print(f"{resistance:.0f} Ω")
    109 Ω
    """
    switch = numeric("resistance_switch", resistance_switch, least=0)
    f = numeric("frequency_pump", frequency_pump, above=0)
    c1 = numeric("capacitance_first", capacitance_first, above=0)
    c2 = numeric("capacitance_second", capacitance_second, above=0)
    esr1 = numeric("resistance_esr_first", resistance_esr_first, least=0)
    esr2 = numeric("resistance_esr_second", resistance_esr_second, least=0)
    esr3 = numeric("resistance_esr_output", resistance_esr_output, least=0)
    return (16 * switch + 4 * (esr1 + esr2) + esr3 + 1 / (f * c1) + 1 / (f * c2))[()]


@formula
def ripple_sum(
    *,
    current_load: ArrayLike,
    frequency_pump: ArrayLike,
    capacitance_output: ArrayLike,
    resistance_esr_output: ArrayLike,
) -> Number:
    """Find the output ripple of a pump by the makers' sum.

    Half a period of discharge and the load's current turning round in the
    capacitor's series resistance. The exact ripple is `pump_cycle`'s. The
    input capacitor of an inverter has the same ripple, mirrored.

    Parameters
    ----------
    current_load : array_like
        Load current [A], at least 0.
    frequency_pump : array_like
        Pump frequency [Hz], > 0.
    capacitance_output : array_like
        Output capacitor [F], > 0; inf allowed.
    resistance_esr_output : array_like
        Its equivalent series resistance [Ω], at least 0.

    Returns
    -------
    float or ndarray
        Ripple, peak to peak [V].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    V_pp = I (1/(2 f C2) + 2 R_ESR2).

    References
    ----------
    SHEET-SP682 page 5; SHEET-7660-B page 9.

    Examples
    --------
    >>> ripple = ripple_sum(
    ...     current_load=0.010, frequency_pump=5e3, capacitance_output=10e-6, resistance_esr_output=1.0
    ... )
    >>> print(f"{1000 * ripple:.0f} mV")
    120 mV
    """
    load = numeric("current_load", current_load, least=0)
    f = numeric("frequency_pump", frequency_pump, above=0)
    c = numeric("capacitance_output", capacitance_output, above=0, infinity=True)
    esr = numeric("resistance_esr_output", resistance_esr_output, least=0)
    return (load * (1 / (2 * f * c) + 2 * esr))[()]


@formula
def doubler_voltage(
    *,
    voltage_supply: ArrayLike,
    voltage_forward: ArrayLike,
    current_load: ArrayLike,
    resistance_thevenin: ArrayLike,
) -> Number:
    """Find a two-diode doubler's voltage with constant diode drops, the sheets' formula.

    Parameters
    ----------
    voltage_supply : array_like
        Supply at the converter [V], at least 0.
    voltage_forward : array_like
        Drop of each diode [V], at least 0.
    current_load : array_like
        Load current [A], at least 0.
    resistance_thevenin : array_like
        Output resistance [Ω], at least 0.

    Returns
    -------
    float or ndarray
        Output voltage [V].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    V = 2 V_S - 2 V_F - I R. The exact drops and resistance are in `doubler`.

    References
    ----------
    SHEET-TL7660 page 1.

    Examples
    --------
    >>> voltage = doubler_voltage(
    ...     voltage_supply=10.0, voltage_forward=0.7, current_load=0.0, resistance_thevenin=0.0
    ... )
    >>> print(f"{voltage:.1f} V")
    18.6 V
    """
    supply = numeric("voltage_supply", voltage_supply, least=0)
    drop = numeric("voltage_forward", voltage_forward, least=0)
    load = numeric("current_load", current_load, least=0)
    out = numeric("resistance_thevenin", resistance_thevenin, least=0)
    return (2 * supply - 2 * drop - load * out)[()]


def whole(name: str, value: ArrayLike) -> NDArray[np.float64]:
    """Return `value` as an array of whole numbers of at least 1 (NaN passes), or refuse it."""
    number = numeric(name, value, least=1)
    odd = ~np.isnan(number) & (number != np.floor(number))
    if np.any(odd):
        raise ValueError(f"{name} must be a whole number, got {number[odd].flat[0]:g}")
    return number
