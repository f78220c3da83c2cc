"""The power rating to buy for a resistor."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import numeric
from pedalcalc._base import search
from pedalcalc._result import Number

#: Power ratings [W] that resistors are sold in.
RATINGS = np.array([0.125, 0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0])


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
