"""What an op-amp and its feedback resistor must be for a wanted gain and band: `opamp` turned round."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric, scalar

__all__ = ["feedback_resistor_for_gain", "gain_bandwidth_for_frequency", "slew_rate_for_sine"]


@formula
def feedback_resistor_for_gain(gain_signed: ArrayLike, *, resistance_input: ArrayLike) -> Number:
    """Find the feedback resistor for a wanted gain.

    Parameters
    ----------
    gain_signed : array_like
        Wanted gain [1]: 0 or less of an inverting stage, 1 or more of a non-inverting one.
    resistance_input : array_like
        Resistor at the inverting input [Ω], above 0, finite.

    Returns
    -------
    float or ndarray
        Feedback resistor [Ω] before rounding to stock.

    Raises
    ------
    ValueError
        If an argument is outside its range; no gain between 0 and 1 is in reach of either stage.

    Notes
    -----
    RF = -A RI inverting, (A - 1) RI non-inverting.

    References
    ----------
    DERIVED, the inverses of `inverting_gain` and `noninverting_gain`.

    Examples
    --------
    >>> feedback_resistor_for_gain(-10.0, resistance_input=22e3), feedback_resistor_for_gain(11.0, resistance_input=1e3)
    (220000.0, 10000.0)
    """
    a = numeric("gain_signed", gain_signed)
    r_i = numeric("resistance_input", resistance_input, above=0)
    if np.any((a > 0) & (a < 1)):
        raise ValueError("gain_signed must be at most 0 (inverting) or at least 1 (non-inverting)")
    return scalar(np.where(a > 0, a - 1, 0.0 - a) * r_i)  # type: ignore[no-any-return]


@formula
def gain_bandwidth_for_frequency(frequency: ArrayLike, *, noise_gain: ArrayLike) -> Number:
    """Find the gain-bandwidth product that a stage needs to be 3 dB down at a frequency.

    Parameters
    ----------
    frequency : array_like
        Wanted upper corner [Hz], 0 or more.
    noise_gain : array_like
        Noise gain 1 + RF/RI [1], at least 1, finite.

    Returns
    -------
    float or ndarray
        Gain-bandwidth product [Hz].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    N f.

    References
    ----------
    DERIVED, the inverse of `closed_loop_bandwidth`.

    Examples
    --------
    >>> gain_bandwidth_for_frequency(20e3, noise_gain=101.0)
    2020000.0
    """
    f = numeric("frequency", frequency, least=0, infinity=True)
    n = numeric("noise_gain", noise_gain, least=1)
    return scalar(f * n)  # type: ignore[no-any-return]


@formula
def slew_rate_for_sine(frequency: ArrayLike, *, voltage_peak: ArrayLike) -> Number:
    """Find the slew rate that a sine of given peak and frequency needs.

    Parameters
    ----------
    frequency : array_like
        Highest frequency [Hz], 0 or more, finite.
    voltage_peak : array_like
        Peak at the output [V], 0 or more.

    Returns
    -------
    float or ndarray
        Slew rate [V/s]; 1e6 V/s is 1 V/µs.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    2 pi f Vp, the steepest place of the sine.

    References
    ----------
    DERIVED, the inverse of `full_power_bandwidth`.

    Examples
    --------
    >>> round(1e-6 * slew_rate_for_sine(20e3, voltage_peak=4.0), 3)
    0.503
    """
    f = numeric("frequency", frequency, least=0)
    v = numeric("voltage_peak", voltage_peak, least=0)
    return scalar(2 * np.pi * f * v)  # type: ignore[no-any-return]
