"""The rule of thumb for an LED's series resistor, and the rating to buy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Caution, Number, Result, caution_below, formula, numeric, quantity, search
from pedalcalc.laws.diodes import whole
from pedalcalc.values import value_above

#: Power ratings [W] that resistors are sold in.
RATINGS = np.array([0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0])


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
    voltage_supply: ArrayLike,
    *,
    voltage_forward: ArrayLike,
    current_wanted: ArrayLike,
    led_count: ArrayLike = 1,
    series: str = "E24",
) -> SeriesResistor:
    """Size the series resistor of an LED by the rule of thumb.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    voltage_forward : array_like
        Forward drop of one lamp at the wanted current [V], at least 0.
    current_wanted : array_like
        Wanted current [A], > 0.
    led_count : array_like
        How many lamps are in series [1], a whole number, at least 1.
    series : str
        Preferred-number series for the stock value; E24 if not given.

    Returns
    -------
    SeriesResistor
        Resistance and next stock value up [Ω], power in that resistance [W], whether the supply
        exceeds the drop, and cautions. Both resistances are 0 where it does not: no resistor
        brings the wanted current.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    R = (VS - N VF) / I. The drop moves with the current; `operating_point` says what really flows.

    References
    ----------
    KUPHALDT-3, ch. 3, the LED's dropping resistor; LATVIA-LED, rounding up to E24.

    Examples
    --------
    >>> found = series_resistor(6, voltage_forward=1.6, current_wanted=0.020)
    >>> print(f"{found.resistance:.0f} Ω, {found.power_resistor * 1000:.0f} mW")
    220 Ω, 88 mW
    """
    v = numeric("voltage_supply", voltage_supply, least=0)
    v_f = numeric("voltage_forward", voltage_forward, least=0)
    i = numeric("current_wanted", current_wanted, above=0)
    n = whole("led_count", led_count)
    left = np.asarray(v - n * v_f)
    # Differences such as 5.4 - 3 x 1.8 leave rounding noise; a remainder below it is none.
    left = np.where(np.abs(left) <= 1e-12 * v, 0.0 * left, left)
    conducts = left > 0
    resistance = np.where(left <= 0, 0.0, left / i)
    stock = np.where(resistance > 0, value_above(np.where(resistance > 0, resistance, 1.0), stock=series), resistance)
    return SeriesResistor(
        resistance=resistance[()],
        resistance_stock=stock[()],
        power_resistor=np.asarray(resistance * i**2)[()],
        conducts=np.asarray(conducts)[()],
        cautions=caution_below(
            "Supply below the drop of the lamps",
            "no resistor brings the wanted current: fewer lamps in series, or more volts",
            np.where(conducts, np.inf, v),
            np.where(conducts, 0.0, np.maximum(n * v_f, np.nextafter(v, np.inf))),
            "V",
        ),
    )


@search
def resistor_rating(power_resistor: ArrayLike) -> Number:
    """Choose the power rating to buy for a resistor.

    Parameters
    ----------
    power_resistor : array_like
        Highest power in the resistor [W], at least 0.

    Returns
    -------
    float or ndarray
        Smallest usual rating of at least twice that power [W]; NaN where the power is NaN.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the power is beyond half the largest usual rating.

    Notes
    -----
    Twice the power keeps the part touchable and its neighbours safe.

    References
    ----------
    PRACTICE, half the rating at most; ratings of 1/8 to 10 W.

    Examples
    --------
    >>> print(resistor_rating(0.088))
    0.25
    """
    power = numeric("power_resistor", power_resistor, least=0, most=RATINGS[-1] / 2)
    place = np.searchsorted(RATINGS / 2 * (1 + 1e-12), np.nan_to_num(power))
    return np.where(np.isnan(power), np.nan, RATINGS[place])[()]


def rating_name(rating: float) -> str:
    """Return a rating as shops write it."""
    return {0.125: "1/8 W", 0.25: "1/4 W", 0.5: "1/2 W"}.get(rating, f"{rating:g} W")
