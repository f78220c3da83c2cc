"""Regulators around a zener diode or a reference; the bare zener is `pedalcalc.supply.zener_regulator`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import Caution, Number, Result, caution_above, caution_below, formula, quantity
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AnyNumber, AtLeastZero

__all__ = [
    "LinearRegulator",
    "ZenerFollower",
    "adjustable_regulator",
    "adjustable_regulator_resistor",
    "linear_regulator",
    "zener_follower",
]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ZenerFollower(Result):
    """A zener diode with an emitter follower behind it."""

    voltage_output: Number = quantity("V", "regulated voltage")
    voltage_collector_emitter: Number = quantity("V", "voltage across the transistor")
    current_load: Number = quantity("A", "load current")
    current_base: Number = quantity("A", "base current")
    current_series: Number = quantity("A", "current through the resistor")
    current_zener: Number = quantity("A", "current left for the zener")
    power_zener: Number = quantity("W", "power in the zener")
    power_transistor: Number = quantity("W", "power in the transistor")
    conducts: bool | NDArray[np.bool_] = quantity("bool", "the zener conducts")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def zener_follower(
    *,
    voltage_supply: AtLeastZero,
    resistance_series: AboveZero,
    resistance_load: AboveZeroToInfinity,
    voltage_zener: AboveZero,
    voltage_base_emitter: AtLeastZero,
    current_gain: AboveZeroToInfinity,
) -> ZenerFollower:
    """Find the operating point of a zener with an NPN follower as series regulator.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    resistance_series : array_like
        Resistor from supply to zener and base [Ω], above 0.
    resistance_load : array_like
        Load at the emitter [Ω], above 0; inf for none.
    voltage_zener : array_like
        Zener voltage [V], above 0.
    voltage_base_emitter : array_like
        Base-emitter drop [V], at least 0.
    current_gain : array_like
        Current gain beta of the transistor [1], above 0; inf ignores the base current.

    Returns
    -------
    ZenerFollower
        Voltages [V], currents [A], powers [W], whether the zener conducts, and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    V = V_Z - V_BE, I_B = I_L/(beta + 1). Where the resistor cannot feed base
    and zener the zener is dark and the base stands at the point that R and
    (beta + 1) R_L divide.

    References
    ----------
    BOYLESTAD-NASHELSKY example 15.8; DERIVED.

    Examples
    --------
    >>> point = zener_follower(
    ...     voltage_supply=20.0, resistance_series=220.0, resistance_load=1e3, voltage_zener=12.0,
    ...     voltage_base_emitter=0.7, current_gain=50.0,
    ... )
    >>> print(f"{point.voltage_output:.1f}, {point.current_zener:.4f}")
    11.3, 0.0361
    """
    supply, series, load, zener = voltage_supply, resistance_series, resistance_load, voltage_zener
    base, beta = voltage_base_emitter, current_gain
    reach = np.where(supply > base, supply - base, 0.0)
    dark = reach / (1 + series / ((beta + 1) * load))  # output with the zener dark
    on = (dark + base > zener) & (zener > base)
    out = np.where(on, zener - base, np.where(zener > base, dark, 0.0)) + 0.0 * (dark + zener + base)
    current = out / load
    into_base = current / (beta + 1)
    at_base = np.where(out > 0, out + base, np.where(supply > zener, zener, supply))
    through = (supply - at_base) / series
    left = np.where(on | (zener <= base), through - into_base, 0.0) + 0.0 * (dark + zener + base)
    across = supply - out
    cautions = caution_below(
        "the supply is too low for zener and base current: the output follows the supply",
        "use a smaller series resistor or a higher supply",
        dark + base,
        zener,
        "V",
    )
    return ZenerFollower(
        voltage_output=out[()],
        voltage_collector_emitter=across[()],
        current_load=current[()],
        current_base=into_base[()],
        current_series=through[()],
        current_zener=left[()],
        power_zener=(zener * left)[()],
        power_transistor=(across * (current - into_base))[()],
        conducts=on[()],
        cautions=cautions,
    )


@formula
def adjustable_regulator(
    *,
    voltage_reference: AnyNumber,
    resistance_top: AtLeastZero,
    resistance_bottom: AboveZeroToInfinity,
    current_adjust: AtLeastZero,
) -> Number:
    """Find the output of a regulator whose divider feeds back to a reference.

    An amplifier compares a reference with a divided output; a three-terminal
    adjustable regulator holds its reference across the one resistor and sends
    the same current, and its own small one, through the other.

    Parameters
    ----------
    voltage_reference : array_like
        Reference [V]; signed.
    resistance_top : array_like
        Resistor that multiplies: from output to feedback node of an amplifier,
        from adjust pin to ground of a three-terminal regulator [Ω], at least 0.
    resistance_bottom : array_like
        Resistor that carries the reference voltage [Ω], above 0, inf allowed.
    current_adjust : array_like
        Current that flows through `resistance_top` beside it [A], at least 0.

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
    V = V_ref (1 + R_top/R_bottom) + I_adj R_top, as long as the supply suffices.

    References
    ----------
    FIORE-OPAMPS example 8.1; DERIVED.

    Examples
    --------
    >>> print(f"{adjustable_regulator(voltage_reference=3.9, resistance_top=20e3, resistance_bottom=10e3, current_adjust=0.0):g}")
    11.7
    """
    reference, top, bottom, adjust = voltage_reference, resistance_top, resistance_bottom, current_adjust
    return (reference * (1 + top / bottom) + adjust * top)[()]


@formula
def adjustable_regulator_resistor(
    voltage_output: AnyNumber,
    *,
    voltage_reference: AboveZero,
    resistance_bottom: AboveZero,
    current_adjust: AtLeastZero,
) -> Number:
    """Find the multiplying resistor that gives an adjustable regulator a wanted output.

    Parameters
    ----------
    voltage_output : array_like
        Wanted output [V], at least the reference.
    voltage_reference : array_like
        Reference [V], above 0.
    resistance_bottom : array_like
        Resistor that carries the reference voltage [Ω], above 0.
    current_adjust : array_like
        Current that flows through the other beside its own [A], at least 0.

    Returns
    -------
    float or ndarray
        `resistance_top` of `adjustable_regulator` [Ω], before rounding to stock.

    Raises
    ------
    ValueError
        If a value is out of range, or the output is below the reference.

    Notes
    -----
    (V - V_ref)/(V_ref/R_bottom + I_adj), the inverse of `adjustable_regulator`.

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> top = adjustable_regulator_resistor(9.0, voltage_reference=1.25, resistance_bottom=240.0, current_adjust=50e-6)
    >>> print(f"{top:.0f}")
    1474
    """
    out, reference, bottom, adjust = voltage_output, voltage_reference, resistance_bottom, current_adjust
    if np.any(out < reference):
        raise ValueError("voltage_output must be at least voltage_reference")
    return ((out - reference) / (reference / bottom + adjust))[()]


@dataclass(frozen=True, slots=True, eq=False)
class LinearRegulator(Result):
    """A three-terminal regulator at work."""

    voltage_output: Number = quantity("V", "output voltage")
    current_supply: Number = quantity("A", "current from the supply")
    power: Number = quantity("W", "power in the regulator")
    efficiency: Number = quantity("1", "power out over power in", percent=True)
    regulates: bool | NDArray[np.bool_] = quantity("bool", "holds its voltage")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def linear_regulator(
    *,
    voltage_supply: AtLeastZero,
    current_load: AtLeastZero,
    voltage_regulated: AtLeastZero,
    voltage_dropout: AtLeastZero,
    current_idle: AtLeastZero,
    power_rating: AboveZero,
) -> LinearRegulator:
    """Find output and heat of a linear regulator between a supply and a build.

    Parameters
    ----------
    voltage_supply : array_like
        Supply ahead of the regulator, its lowest instant if it ripples [V], at least 0.
    current_load : array_like
        Load current [A], at least 0.
    voltage_regulated : array_like
        Voltage it is made for [V], at least 0.
    voltage_dropout : array_like
        Least voltage between input and output at which it still regulates [V], at least 0.
    current_idle : array_like
        Current of the regulator itself [A], at least 0.
    power_rating : array_like
        Power it can shed as mounted [W], above 0.

    Returns
    -------
    LinearRegulator
        Output voltage [V], supply current [A], heat [W], efficiency [1], whether it regulates, and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    Heat (V_in - V_out) I + V_in I_q. Below the drop-out the output follows the
    supply, `voltage_dropout` lower.

    References
    ----------
    DERIVED; BOYLESTAD-NASHELSKY chapter 15 for the circuit.

    Examples
    --------
    >>> point = linear_regulator(
    ...     voltage_supply=12.0, current_load=0.050, voltage_regulated=9.0, voltage_dropout=2.0, current_idle=5e-3,
    ...     power_rating=0.6,
    ... )
    >>> print(f"{point.voltage_output:.1f} V, {point.power:.2f} W")
    9.0 V, 0.21 W
    """
    supply, load, wanted, dropout = voltage_supply, current_load, voltage_regulated, voltage_dropout
    idle, watts = current_idle, power_rating
    holds = supply - dropout >= wanted
    follows = np.where(supply > dropout, supply - dropout, 0.0)
    out = np.where(holds, wanted, follows) + 0.0 * (supply + wanted + dropout)
    drawn = load + idle
    taken, given = supply * drawn, out * load
    heat = taken - given
    with np.errstate(divide="ignore", invalid="ignore"):
        efficiency = np.where(given == 0, 0.0, given / taken)
    cautions = caution_below(
        "the regulator is in drop-out: its output follows the supply, hum and all",
        "use more supply or a low-drop-out part",
        supply - dropout,
        wanted,
        "V",
    ) + caution_above(
        "the regulator is hotter than it can stand as mounted",
        "use less supply, a heat sink, or a larger part, and do not touch it",
        heat,
        watts,
        "W",
    )
    return LinearRegulator(
        voltage_output=out[()],
        current_supply=(drawn + 0 * watts)[()],
        power=heat[()],
        efficiency=np.asarray(efficiency)[()],
        regulates=np.asarray(holds)[()],
        cautions=cautions,
    )
