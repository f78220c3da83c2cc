"""The rule of thumb for an LED's series resistor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import Stock
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AtLeastZero
from pedalcalc._result import Caution, Number, Result, caution_below, quantity
from pedalcalc.values._series import above, ladder


@dataclass(frozen=True, slots=True, eq=False)
class SeriesResistor(Result):
    """Series resistor by the rule of thumb."""

    resistance: Number = quantity("Ω", "resistance")
    resistance_stock: Number = quantity("Ω", "next stock value up")
    power_resistor: Number = quantity("W", "power in the resistor")
    conducts: bool | NDArray[np.bool_] = quantity("bool", "the supply exceeds the drop")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def series_resistor(
    voltage_supply: AtLeastZero,
    *,
    voltage_forward: AtLeastZero,
    current_wanted: AboveZero,
    stock: Stock = "E24",
) -> SeriesResistor:
    """Size the series resistor of an LED by the rule of thumb.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    voltage_forward : array_like
        Forward drop at the wanted current [V], at least 0; of several lamps in series the sum.
    current_wanted : array_like
        Wanted current [A], > 0.
    stock : str or list
        Resistors in stock: a series or the values of a drawer, as `values.stock_values` takes them; E24 if not given.

    Returns
    -------
    SeriesResistor
        Resistance and next stock value up [Ω], power in that resistance [W], whether the supply
        exceeds the drop, and cautions. Both resistances are 0 where it does not: no resistor
        brings the wanted current.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the stock holds no resistor that large.

    Notes
    -----
    R = (VS - VF) / I. The drop moves with the current; `operating_point` says what really flows.

    References
    ----------
    KUPHALDT-3, ch. 3, the LED's dropping resistor; LATVIA-LED, rounding up to E24.

    Examples
    --------
    >>> found = series_resistor(6, voltage_forward=1.6, current_wanted=0.020)
    >>> print(f"{found.resistance:.0f} Ω, {found.power_resistor * 1000:.0f} mW")
    220 Ω, 88 mW
    """
    v, v_f, i = voltage_supply, voltage_forward, current_wanted
    left = np.asarray(v - v_f)
    # Differences such as 5.4 - 3 x 1.8 leave rounding noise; a remainder below it is none.
    left = np.where(np.abs(left) <= 1e-12 * v, 0.0 * left, left)
    conducts = left > 0
    resistance = np.asarray(np.where(left <= 0, 0.0, left / i))
    asked = np.where(resistance > 0, resistance, np.nan)
    found = above("current_wanted must ask for a resistor of", asked, ladder(stock))
    bought = np.asarray(np.where(resistance == 0, 0.0, found))
    return SeriesResistor(
        resistance=resistance,
        resistance_stock=bought,
        power_resistor=resistance * i**2,
        conducts=conducts,
        cautions=caution_below(
            "Supply below the drop of the lamps",
            "no resistor brings the wanted current: fewer lamps in series, or more volts",
            np.where(conducts, np.inf, v),
            np.where(conducts, 0.0, np.maximum(v_f, np.nextafter(v, np.inf))),
            "V",
        ),
    )
