"""Stock parts for an RC supply filter."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import Stock, is_a, lowest_usual_highest, one_number
from pedalcalc._base import search
from pedalcalc._refusal import refused
from pedalcalc._result import Result, quantity
from pedalcalc._stock import drawer
from pedalcalc._units import shown, told
from pedalcalc.devices import Capacitor, low
from pedalcalc.rc import lowpass_response

__all__ = ["FilterParts", "choose_filter"]

#: From where to where a series is searched [F]; resistors as far down as a hundredth of the largest.
CAPACITORS = (1e-6, 4.7e-3)
RANGE_RESISTORS = 100.0


@dataclass(frozen=True, slots=True, eq=False)
class FilterParts(Result):
    """Result of `choose_filter`: one element for each pair of parts, the smallest capacitor first."""

    resistance_series: NDArray[np.float64] = quantity("Ω", "filter resistor")
    capacitance: NDArray[np.float64] = quantity("F", "filter capacitor")
    voltage_output: NDArray[np.float64] = quantity("V", "voltage behind, lowest supply")
    voltage_ripple: NDArray[np.float64] = quantity("V", "ripple behind the filter")
    power: NDArray[np.float64] = quantity("W", "power in the resistor")


@search
def choose_filter(
    voltage_wanted: float,
    *,
    voltage_supply: ArrayLike,
    current_load: float,
    voltage_ripple: float,
    voltage_ripple_wanted: float,
    capacitor: Capacitor,
    stock_resistance: Stock,
    stock_capacitance: Stock,
    frequency: float = 100.0,
) -> FilterParts:
    """List the pairs of stock resistor and capacitor that leave a wanted voltage and no more than a wanted hum.

    For each stock resistor that leaves the voltage the smallest capacitor is taken that keeps the hum out.

    Parameters
    ----------
    voltage_wanted : float
        Least voltage behind the filter [V], above 0 and below the lowest supply.
    voltage_supply : array_like
        Supply ahead of the filter [V], above 0: one number, or lowest, usual and highest.
    current_load : float
        Current the build draws [A], above 0.
    voltage_ripple : float
        Ripple ahead of the filter [V], above 0; in the same measure as the wanted one.
    voltage_ripple_wanted : float
        Highest ripple behind the filter [V], above 0.
    capacitor : Capacitor
        Kind of capacitor, such as `devices.CAPACITOR_ELECTROLYTIC`; of a type the highest losses count.
    stock_resistance : str or list
        Resistors: a series, searched down to a hundredth of the largest that leaves the voltage, or your drawer.
    stock_capacitance : str or list
        Capacitors: a series, searched from 1 µF to 4700 µF, or a list; electrolytics are commonly stocked in E3 or E6.
    frequency : float
        Ripple frequency [Hz], above 0; 100 Hz, the hum of most adaptors where mains is 50 Hz, unless stated.

    Returns
    -------
    FilterParts
        Resistor, capacitor, voltage and ripple behind them, power in the resistor; the smallest capacitor first, among
        equals the one that leaves most voltage. Rate the capacitor above the highest supply and the resistor at twice
        its power: `supply_filter` tells.

    Raises
    ------
    TypeError
        If a stock is neither a series nor a list, or `capacitor` is no record.
    ValueError
        If a value is out of range, a stock cannot be read, or no pair does both.

    Notes
    -----
    R is at most (V_S - V)/I at the lowest supply. The ripple is that of `rc.lowpass_response` with the capacitor's
    series resistance and no load, which would only lower it.

    References
    ----------
    DERIVED, the filter's two laws; IEC-60063 for the values; PRACTICE, the ranges of a series.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> found = choose_filter(
    ...     8.0, voltage_supply=9.0, current_load=0.010, voltage_ripple=0.1, voltage_ripple_wanted=5e-3,
    ...     capacitor=devices.CAPACITOR_ELECTROLYTIC, stock_resistance="E12", stock_capacitance="E6",
    ... )
    >>> print(f"{found.resistance_series[0]:.0f} ohm, {found.capacitance[0] * 1e6:.0f} uF, {found.voltage_ripple[0] * 1e3:.1f} mV")
    100 ohm, 330 uF, 4.9 mV
    """
    least, _, _ = lowest_usual_highest("voltage_supply", voltage_supply, above=0)
    wanted = one_number("voltage_wanted", voltage_wanted, above=0, below=least)
    current = one_number("current_load", current_load, above=0)
    ahead = one_number("voltage_ripple", voltage_ripple, above=0)
    allowed = one_number("voltage_ripple_wanted", voltage_ripple_wanted, above=0)
    hertz = one_number("frequency", frequency, above=0)
    kind = low(is_a("capacitor", capacitor, Capacitor))
    largest = (least - wanted) / current * (1 + 1e-12)
    resistors = drawer(stock_resistance, "stock_resistance", largest / RANGE_RESISTORS, largest)
    resistors = resistors[resistors <= largest]
    if not resistors.size:
        most = shown(float(f"{largest:.3g}"), "Ω")
        raise ValueError(
            f"stock_resistance must hold a resistor of at most {most}, which leaves {shown(wanted, 'V')}, "
            f"got {told(stock_resistance)}"
        )
    capacitors = drawer(stock_capacitance, "stock_capacitance", *CAPACITORS, unit="F")
    passed = lowpass_response(
        hertz,
        resistance=resistors[:, None],
        capacitance=capacitors,
        resistance_esr=dataclasses.replace(kind, capacitance=capacitors).resistance_esr,
    )
    behind = ahead * np.asarray(passed.gain)
    quiet = behind <= allowed
    serves = np.flatnonzero(quiet.any(axis=1))
    if not serves.size:
        least_ripple = shown(float(f"{behind.min():.3g}"), "V")
        raise refused("voltage_ripple_wanted", f"within reach of the parts, {least_ripple} at least", allowed)
    first = np.argmax(quiet[serves], axis=1)
    order = np.lexsort((resistors[serves], capacitors[first]))
    row, column = serves[order], first[order]
    return FilterParts(
        resistance_series=resistors[row],
        capacitance=capacitors[column],
        voltage_output=least - current * resistors[row],
        voltage_ripple=behind[row, column],
        power=current**2 * resistors[row],
    )
