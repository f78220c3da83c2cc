"""Stock parts for a wanted corner, and for a wanted voltage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import Stock, one_number
from pedalcalc._base import parallel, search
from pedalcalc._refusal import refused
from pedalcalc._result import Result, quantity
from pedalcalc._stock import drawer, steps
from pedalcalc._units import shown

#: From where to where [Ω, F] a series is searched: what a pedal's drawer holds. A drawer's own list is searched whole.
RESISTORS = (1e3, 1e6)
CAPACITORS = (1e-9, 10e-6)
#: How far, as a ratio, the resistance of a divider may lie from the wanted one.
FACTOR_SEEN = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class CornerParts(Result):
    """Result of `choose_corner_parts`: one element for each pair of parts, best first."""

    resistance: NDArray[np.float64] = quantity("Ω", "resistor")
    capacitance: NDArray[np.float64] = quantity("F", "capacitor")
    frequency_corner: NDArray[np.float64] = quantity("Hz", "corner frequency")
    error: NDArray[np.float64] = quantity("1", "error of the corner", percent=True)


@dataclass(frozen=True, slots=True, eq=False)
class DividerParts(Result):
    """Result of `choose_divider`: one element for each pair of parts, best first."""

    resistance_top: NDArray[np.float64] = quantity("Ω", "upper resistor")
    resistance_bottom: NDArray[np.float64] = quantity("Ω", "lower resistor")
    voltage_thevenin: NDArray[np.float64] = quantity("V", "output with nothing connected")
    resistance_thevenin: NDArray[np.float64] = quantity("Ω", "resistance seen from the output")
    error: NDArray[np.float64] = quantity("1", "error of the voltage", percent=True)


@search
def choose_corner_parts(frequency_corner: float, *, stock_resistance: Stock, stock_capacitance: Stock) -> CornerParts:
    """List the pairs of stock resistor and capacitor that come near a wanted corner.

    For each stock capacitor the stock resistor is taken whose corner lies nearest by ratio.

    Parameters
    ----------
    frequency_corner : float
        Wanted corner frequency [Hz], above 0.
    stock_resistance : str or list
        Resistors: a series, searched from 1 kΩ to 1 MΩ, or a list, searched whole, such as your drawer or
        `values.stock_values` of a series between limits. What drives the filter sets the lowest; noise and what hangs
        on the filter the highest.
    stock_capacitance : str or list
        Capacitors: a series, searched from 1 nF to 10 µF, or a list; film types are commonly stocked in E6.

    Returns
    -------
    CornerParts
        Resistor, capacitor, their corner and its relative error, nearest by ratio first; a
        capacitor whose best resistor is off by more than a step of the stock is left out.

    Raises
    ------
    ValueError
        If a value is out of range, a stock cannot be read, or no pair comes near the corner.
    TypeError
        If a stock is neither a series nor a list.

    Notes
    -----
    f_c = 1/(2 π R C) is compared by ratio. Tolerances of the parts usually matter more than
    the error listed here.

    References
    ----------
    KUPHALDT-2, ch. 8 for the corner; IEC-60063 for the values; PRACTICE, the ranges of a series.

    Examples
    --------
    >>> found = choose_corner_parts(720, stock_resistance=["4k7", "10k", "22k", "47k"], stock_capacitance="E6")
    >>> print(f"{found.resistance[0]:.0f} ohm, {found.capacitance[0] * 1e9:.1f} nF, {found.error[0]:+.2%}")
    47000 ohm, 4.7 nF, +0.07%
    """
    wanted = one_number("frequency_corner", frequency_corner, above=0)
    resistors = drawer(stock_resistance, "stock_resistance", *RESISTORS)
    capacitors = drawer(stock_capacitance, "stock_capacitance", *CAPACITORS, unit="F")
    corners = 1 / (2 * np.pi * resistors[:, None] * capacitors)
    off = np.abs(np.log(corners / wanted))
    best = np.argmin(off, axis=0)
    column = np.arange(capacitors.size)
    near = off[best, column] <= steps(resistors)[best]
    if not np.any(near):
        low, high = (shown(float(f"{end:.3g}"), "Hz") for end in (corners.min(), corners.max()))
        raise refused("frequency_corner", f"within reach of the parts, {low} to {high}", wanted)
    order = column[near][np.argsort(off[best, column][near], kind="stable")]
    chosen = corners[best[order], order]
    return CornerParts(
        resistance=resistors[best[order]],
        capacitance=capacitors[order],
        frequency_corner=chosen,
        error=chosen / wanted - 1,
    )


@search
def choose_divider(
    voltage_thevenin: float, *, voltage_supply: float, resistance_thevenin: float, stock: Stock
) -> DividerParts:
    """List the pairs of stock resistors that divide a supply down to a wanted voltage.

    For each stock lower resistor the stock upper resistor is taken whose voltage lies nearest by ratio.

    Parameters
    ----------
    voltage_thevenin : float
        Wanted output with nothing connected [V], above 0 and below the supply.
    voltage_supply : float
        Voltage across the divider [V], above 0.
    resistance_thevenin : float
        Wanted resistance seen from the output [Ω], above 0; pairs from half to twice of it are listed.
    stock : str or list
        Resistors: a series, searched as far as the wanted resistance asks, or a list such as your drawer.

    Returns
    -------
    DividerParts
        Upper and lower resistor, output, resistance seen from it and relative error of the output; the nearest voltage
        first, among equals the nearest resistance.

    Raises
    ------
    ValueError
        If a value is out of range, the stock cannot be read, or it holds no pair near the wanted ones.
    TypeError
        If `stock` is neither a series nor a list.

    Notes
    -----
    Exact would be R_1 = R_th V_S/V_th and R_2 = R_th V_S/(V_S − V_th). A pair is near where its voltage is off by no
    more than a step of the stock.

    References
    ----------
    DERIVED, the two equations of `divider` solved for the resistors; IEC-60063 for the values.

    Examples
    --------
    >>> found = choose_divider(2.0, voltage_supply=9.0, resistance_thevenin=80e3, stock="E12")
    >>> print(f"{found.resistance_top[0] / 1e3:.0f} over {found.resistance_bottom[0] / 1e3:.0f} kilohm,"
    ...       f" {found.voltage_thevenin[0]:.2f} V")
    330 over 100 kilohm, 2.09 V
    """
    supply = one_number("voltage_supply", voltage_supply, above=0)
    wanted = one_number("voltage_thevenin", voltage_thevenin, above=0, below=supply)
    seen = one_number("resistance_thevenin", resistance_thevenin, above=0)
    top, bottom = seen * supply / wanted, seen * supply / (supply - wanted)
    # A series is cut where no pair could be near; two more steps do no harm.
    reach = 3 * FACTOR_SEEN
    known = drawer(stock, "stock", min(top, bottom) / reach, max(top, bottom) * reach)
    ratio = np.log(known[:, None] / known) - np.log(supply / wanted - 1)
    best = np.argmin(np.abs(ratio), axis=0)
    column = np.arange(known.size)
    above, below = known[best], known
    volts, source = supply * below / (above + below), parallel(above, below)
    near = (np.abs(ratio[best, column]) <= steps(known)[best]) & (
        np.abs(np.log(source / seen)) <= np.log(FACTOR_SEEN) + 1e-9
    )
    if not np.any(near):
        raise ValueError(
            f"stock must hold two resistors that give near {shown(wanted, 'V')} with {shown(seen, 'Ω')}, such as "
            f"{shown(float(f'{top:.3g}'), 'Ω')} over {shown(float(f'{bottom:.3g}'), 'Ω')}, got none"
        )
    place = np.flatnonzero(near)
    error = volts[place] / wanted - 1
    order = place[np.lexsort((np.abs(np.log(source[place] / seen)), np.round(np.abs(error), 9)))]
    return DividerParts(
        resistance_top=above[order],
        resistance_bottom=below[order],
        voltage_thevenin=volts[order],
        resistance_thevenin=source[order],
        error=volts[order] / wanted - 1,
    )
