"""Preferred numbers, and the stock value beside a computed one."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, numeric, one_of, search

SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
# E24 is a list of its own; E12, E6 and E3 take every second, fourth, eighth of it.
TENTHS_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
LOWEST_DECADE, HIGHEST_DECADE = -15, 12
NOISE = 1e-9  # relative difference that is rounding noise, not another value


@search
def preferred_values(series: str) -> NDArray[np.float64]:
    """List the preferred numbers of one decade.

    Parameters
    ----------
    series : str
        One of `SERIES`: E3 to E192.

    Returns
    -------
    ndarray
        The values from 1 (included) to 10 (excluded), ascending [1].

    Raises
    ------
    ValueError
        If `series` is not one of `SERIES`.

    Notes
    -----
    E48, E96 and E192 are 10^(k/n) rounded to three figures, with the one
    exception that E192 has 9.20 where rounding gives 9.19.

    References
    ----------
    IEC-60063, as tabulated alike in four independent public sources.

    Examples
    --------
    >>> preferred_values("E6").tolist()
    [1.0, 1.5, 2.2, 3.3, 4.7, 6.8]
    """
    hundredths = _hundredths(one_of("series", series, SERIES))
    return np.array(hundredths) / 100


@search
def series_count(series: str) -> int:
    """Count the preferred numbers of one decade.

    Parameters
    ----------
    series : str
        One of `SERIES`: E3 to E192.

    Returns
    -------
    int
        Number of values from 1 (included) to 10 (excluded) [1].

    Raises
    ------
    ValueError
        If `series` is not one of `SERIES`.

    References
    ----------
    IEC-60063, as tabulated alike in four independent public sources.

    Examples
    --------
    >>> series_count("E24")
    24
    """
    return len(_hundredths(one_of("series", series, SERIES)))


def _hundredths(series: str) -> list[int]:
    count = int(series[1:])
    if count <= 24:
        return [10 * value for value in TENTHS_E24[:: 24 // count]]
    rounded = [round(100 * 10 ** (k / count)) for k in range(count)]
    return [920 if value == 919 else value for value in rounded]


@cache
def _ladder(series: str) -> NDArray[np.float64]:
    """Return every stock value of all decades, each the float nearest to its decimal number."""
    decades = range(LOWEST_DECADE, HIGHEST_DECADE)
    ladder = [float(f"{value}e{decade - 2}") for decade in decades for value in _hundredths(series)]
    values = np.array([*ladder, 10.0**HIGHEST_DECADE])
    values.setflags(write=False)
    return values


def _checked(value: ArrayLike, series: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    one_of("series", series, SERIES)
    number = numeric("value", value, least=10.0**LOWEST_DECADE, most=10.0**HIGHEST_DECADE)
    return number, _ladder(series)


def _keep_nan(number: NDArray[np.float64], chosen: NDArray[np.float64]) -> Number:
    found = np.where(np.isnan(number), np.nan, chosen)
    return found if found.ndim else float(found)


@search
def nearest_value(value: ArrayLike, *, series: str) -> Number:
    """Find the stock value nearest by ratio.

    Parameters
    ----------
    value : array_like
        Computed value in any one unit [SI], 1e-15 to 1e12.
    series : str
        One of `SERIES`.

    Returns
    -------
    float or ndarray
        Stock value in the unit of `value` [SI]; NaN where `value` is NaN.

    Raises
    ------
    ValueError
        If a value is not positive or out of range, or `series` is unknown.

    Notes
    -----
    Of two neighbours the one is taken whose ratio to the value is smaller,
    since tolerances are ratios; a value on their geometric mean goes up.

    References
    ----------
    IEC-60063, series; DERIVED, the border between neighbours is their geometric mean.

    Examples
    --------
    >>> nearest_value(5000.0, series="E12"), nearest_value(7.0e-9, series="E6")
    (4700.0, 6.8e-09)
    """
    number, ladder = _checked(value, series)
    borders = np.sqrt(ladder[:-1] * ladder[1:])
    place = np.searchsorted(borders, np.nan_to_num(number, nan=1.0), side="right")
    return _keep_nan(number, ladder[place])


@search
def value_above(value: ArrayLike, *, series: str) -> Number:
    """Find the smallest stock value that is not below the given one.

    Parameters
    ----------
    value : array_like
        Computed value in any one unit [SI], 1e-15 to 1e12.
    series : str
        One of `SERIES`.

    Returns
    -------
    float or ndarray
        Stock value in the unit of `value` [SI]; NaN where `value` is NaN.

    Raises
    ------
    ValueError
        If a value is not positive or out of range, or `series` is unknown.

    Notes
    -----
    A stock value stays itself, also with rounding noise of up to one part in 10⁹.

    References
    ----------
    IEC-60063, series.

    Examples
    --------
    >>> value_above(4700.0, series="E12"), value_above(4710.0, series="E12")
    (4700.0, 5600.0)
    """
    number, ladder = _checked(value, series)
    place = np.searchsorted(ladder * (1 + NOISE), np.nan_to_num(number, nan=1.0), side="left")
    return _keep_nan(number, ladder[place])


@search
def value_below(value: ArrayLike, *, series: str) -> Number:
    """Find the largest stock value that is not above the given one.

    Parameters
    ----------
    value : array_like
        Computed value in any one unit [SI], 1e-15 to 1e12.
    series : str
        One of `SERIES`.

    Returns
    -------
    float or ndarray
        Stock value in the unit of `value` [SI]; NaN where `value` is NaN.

    Raises
    ------
    ValueError
        If a value is not positive or out of range, or `series` is unknown.

    Notes
    -----
    A stock value stays itself, also with rounding noise of up to one part in 10⁹.

    References
    ----------
    IEC-60063, series.

    Examples
    --------
    >>> value_below(4700.0, series="E12"), value_below(4690.0, series="E12")
    (4700.0, 3900.0)
    """
    number, ladder = _checked(value, series)
    place = np.searchsorted(ladder * (1 - NOISE), np.nan_to_num(number, nan=1.0), side="right") - 1
    return _keep_nan(number, ladder[place])
