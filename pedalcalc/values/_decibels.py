"""Gains as ratios and as decibels."""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np

from pedalcalc._arguments import Range
from pedalcalc._base import decibels, formula
from pedalcalc._ranges import ZeroToInfinity
from pedalcalc._result import Number


@formula
def gain_from_decibels(gain_db: Annotated[Any, Range(infinity=True)]) -> Number:
    """Turn decibels into a voltage gain.

    Parameters
    ----------
    gain_db : array_like
        Gain [dB], minus infinity to infinity.

    Returns
    -------
    float or ndarray
        Voltage gain [1].

    Raises
    ------
    TypeError
        If `gain_db` is not a number.

    Notes
    -----
    A = 10^(A_dB/20).

    References
    ----------
    KUPHALDT-3, ch. 1, decibels.

    Examples
    --------
    >>> print(f"{gain_from_decibels(-6):.3f}")
    0.501
    """
    with np.errstate(under="ignore", over="ignore"):
        return 10 ** (gain_db / 20)


@formula
def decibels_from_gain(gain: ZeroToInfinity) -> Number:
    """Turn a voltage gain into decibels.

    Parameters
    ----------
    gain : array_like
        Magnitude of the voltage gain [1], 0 to infinity.

    Returns
    -------
    float or ndarray
        Gain [dB]; minus infinity for a gain of 0.

    Raises
    ------
    ValueError
        If `gain` is negative: take the magnitude first.

    Notes
    -----
    A_dB = 20 log10 A.

    References
    ----------
    KUPHALDT-3, ch. 1, decibels.

    Examples
    --------
    >>> print(f"{decibels_from_gain(2):.2f} dB")
    6.02 dB
    """
    return decibels(gain)
