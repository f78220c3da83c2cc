"""Preferred numbers, a drawer's own values, and the stock value beside a computed one."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import Stock, numeric, one_of
from pedalcalc._base import search
from pedalcalc._refusal import at_index
from pedalcalc._result import Number
from pedalcalc._units import said, told
from pedalcalc.values._text import read_value, single_number

SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
# E24 is a list of its own; E12, E6 and E3 take every second, fourth, eighth of it.
TENTHS_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
LOWEST_DECADE, HIGHEST_DECADE = -15, 12
NOISE = 1e-9  # relative difference that is rounding noise, not another value


@search
def stock_values(
    stock: Stock, *, value_min: float | None = None, value_max: float | None = None
) -> NDArray[np.float64]:
    """List the values in stock: those of a series, or of a drawer, between limits.

    Parameters
    ----------
    stock : str or list
        One of `SERIES`, E3 to E192, or the values of a drawer as numbers or texts such as
        ``["1k", "4.7k", "10k"]``, in any order.
    value_min : float, optional
        Lowest value to list [SI], above 0; without it a series begins at 1, a drawer at its lowest value.
    value_max : float, optional
        Highest value to list [SI]; without it a series ends below ten times its lowest value,
        a drawer at its highest value.

    Returns
    -------
    ndarray
        The values, each once, ascending [SI].

    Raises
    ------
    ValueError
        If `stock` is no series, a value of a drawer cannot be read or is not above 0, the limits are
        swapped, or no value lies between them.
    TypeError
        If `stock` is neither text nor a list of numbers or texts.

    Notes
    -----
    E48, E96 and E192 are 10^(k/n) rounded to three figures, with the one
    exception that E192 has 9.20 where rounding gives 9.19. Texts of a drawer are read as ohms, or all
    as farads where one of them has the letter p, n or u.

    References
    ----------
    IEC-60063, as tabulated alike in four independent public sources.

    Examples
    --------
    >>> stock_values("E6").tolist()
    [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]
    >>> stock_values(["10k", "1k", "4k7", "100k"], value_max=50e3).tolist()
    [1000.0, 4700.0, 10000.0]
    """
    known = ladder(stock)
    series = isinstance(stock, str)
    low = single_number("value_min", value_min, above=0) if value_min is not None else (1.0 if series else known[0])
    if value_max is None:
        high = np.nextafter(10 * low * (1 - 2 * NOISE), 0.0) if series else known[-1]
    else:
        high = single_number("value_max", value_max, above=0)
    if low > high:
        raise ValueError(f"value_min must be at most value_max ({high:g}), got {low:g}")
    kept = between(known, low, high)
    if kept.size == 0:
        raise ValueError(f"stock must hold a value from value_min to value_max, {low:g} to {high:g}, got {told(stock)}")
    return np.array(kept)


def between(known: NDArray[np.float64], low: float, high: float) -> NDArray[np.float64]:
    """Return those of the known values that lie from `low` to `high`."""
    return known[(known >= low * (1 - NOISE)) & (known <= high * (1 + NOISE))]


def _hundredths(series: str) -> list[int]:
    count = int(series[1:])
    if count <= 24:
        return [10 * value for value in TENTHS_E24[:: 24 // count]]
    rounded = [round(100 * 10 ** (k / count)) for k in range(count)]
    return [920 if value == 919 else value for value in rounded]


def ladder(stock: Stock, name: str = "stock") -> NDArray[np.float64]:
    """Return every value of a series over all decades, or of a drawer, ascending; refuse what is none by `name`."""
    if isinstance(stock, str):
        return _ladder(one_of(name, stock, SERIES))
    if not isinstance(stock, (list, tuple, np.ndarray)) or not len(stock):
        raise TypeError(f"{name} must be a series such as 'E12' or a list of values in the drawer, not {told(stock)}")
    if any(isinstance(value, str) for value in stock):
        farads = any(isinstance(value, str) and set(value) & set("pnuµμ") for value in stock)
        stock = [
            _in_drawer(name, value, "F" if farads else "Ω") if isinstance(value, str) else value for value in stock
        ]
    found = np.unique(numeric(name, stock, above=0))
    if np.isnan(found).any():
        raise ValueError(f"{name} must hold known values only, got {told(stock)}")
    return found


def _in_drawer(name: str, text: str, unit: str) -> float:
    """Return a value of the drawer; where nothing tells ohms from farads, refuse it as neither."""
    try:
        return float(read_value(text, unit=unit))
    except ValueError as reason:
        why = str(reason)
    if unit != "F" and not set(text) & set("RkKMΩ\N{OHM SIGN}") and "ohm" not in text.lower():
        why = f"text {text!r} is not a value: neither a resistor's, such as '4k7', nor a capacitor's, such as '100n'"
    raise ValueError(f"{name} must be a series such as 'E12' or values of parts: {why}")


@cache
def _ladder(series: str) -> NDArray[np.float64]:
    """Return every stock value of all decades, each the float nearest to its decimal number."""
    decades = range(LOWEST_DECADE, HIGHEST_DECADE)
    ladder = [float(f"{value}e{decade - 2}") for decade in decades for value in _hundredths(series)]
    values = np.array([*ladder, 10.0**HIGHEST_DECADE])
    values.setflags(write=False)
    return values


def _checked(value: ArrayLike, stock: Stock) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    known = ladder(stock)
    return numeric("value", value, least=10.0**LOWEST_DECADE, most=10.0**HIGHEST_DECADE), known


def _refuse_beyond(asks: str, number: NDArray[np.float64], beyond: NDArray[np.bool_], words: str, end: float) -> None:
    if np.any(beyond):
        raise ValueError(
            f"{asks} {words} {said(asks.split()[0], end)}, the last in stock, "
            f"got {said(asks.split()[0], number[beyond].flat[0])}{at_index(beyond)}"
        )


def _keep_nan(number: NDArray[np.float64], chosen: NDArray[np.float64]) -> Number:
    found = np.where(np.isnan(number), np.nan, chosen)
    return found if found.ndim else float(found)


@search
def nearest_value(value: ArrayLike, *, stock: Stock) -> Number:
    """Find the stock value nearest by ratio.

    Parameters
    ----------
    value : array_like
        Computed value in any one unit [SI], 1e-15 to 1e12.
    stock : str or list
        One of `SERIES`, or the values of a drawer, as `stock_values` takes them.

    Returns
    -------
    float or ndarray
        Stock value in the unit of `value` [SI]; NaN where `value` is NaN.

    Raises
    ------
    ValueError
        If a value is not positive or out of range, or `stock` cannot be read.

    Notes
    -----
    Of two neighbours the one is taken whose ratio to the value is smaller,
    since tolerances are ratios; a value on their geometric mean goes up.

    References
    ----------
    IEC-60063, series; DERIVED, the border between neighbours is their geometric mean.

    Examples
    --------
    >>> nearest_value(5000.0, stock="E12"), nearest_value(7.0e-9, stock="E6")
    (4700.0, 6.8e-09)
    """
    return nearest("value must be", *_checked(value, stock))


def nearest(asks: str, number: NDArray[np.float64], known: NDArray[np.float64]) -> Number:
    """Return the nearest of the `known` values; refuse beyond all stock by the words of what `asks` for the value."""
    low, high = 10.0**LOWEST_DECADE, 10.0**HIGHEST_DECADE
    _refuse_beyond(asks, number, number < low, "at least", low)
    _refuse_beyond(asks, number, number > high, "at most", high)
    borders = np.sqrt(known[:-1] * known[1:])
    place = np.searchsorted(borders, np.nan_to_num(number, nan=1.0), side="right")
    return _keep_nan(number, known[place])


@search
def value_above(value: ArrayLike, *, stock: Stock) -> Number:
    """Find the smallest stock value that is not below the given one.

    Parameters
    ----------
    value : array_like
        Computed value in any one unit [SI], 1e-15 to 1e12.
    stock : str or list
        One of `SERIES`, or the values of a drawer, as `stock_values` takes them.

    Returns
    -------
    float or ndarray
        Stock value in the unit of `value` [SI]; NaN where `value` is NaN.

    Raises
    ------
    ValueError
        If a value is not positive or out of range, or `stock` cannot be read.

    Notes
    -----
    A stock value stays itself, also with rounding noise of up to one part in 10⁹.

    References
    ----------
    IEC-60063, series.

    Examples
    --------
    >>> value_above(4700.0, stock="E12"), value_above(4710.0, stock="E12")
    (4700.0, 5600.0)
    """
    return above("value must be", *_checked(value, stock))


def above(asks: str, number: NDArray[np.float64], known: NDArray[np.float64]) -> Number:
    """Return the smallest of the `known` values that is not below; refuse by the words of what `asks` for it."""
    place = np.searchsorted(known * (1 + NOISE), np.nan_to_num(number, nan=known[0]), side="left")
    _refuse_beyond(asks, number, place == known.size, "at most", known[-1])
    return _keep_nan(number, known[place])


@search
def value_below(value: ArrayLike, *, stock: Stock) -> Number:
    """Find the largest stock value that is not above the given one.

    Parameters
    ----------
    value : array_like
        Computed value in any one unit [SI], 1e-15 to 1e12.
    stock : str or list
        One of `SERIES`, or the values of a drawer, as `stock_values` takes them.

    Returns
    -------
    float or ndarray
        Stock value in the unit of `value` [SI]; NaN where `value` is NaN.

    Raises
    ------
    ValueError
        If a value is not positive or out of range, or `stock` cannot be read.

    Notes
    -----
    A stock value stays itself, also with rounding noise of up to one part in 10⁹.

    References
    ----------
    IEC-60063, series.

    Examples
    --------
    >>> value_below(4700.0, stock="E12"), value_below(4690.0, stock="E12")
    (4700.0, 3900.0)
    """
    number, known = _checked(value, stock)
    place = np.searchsorted(known * (1 - NOISE), np.nan_to_num(number, nan=known[0]), side="right") - 1
    _refuse_beyond("value must be", number, place < 0, "at least", known[0])
    return _keep_nan(number, known[place])
