"""Gain, bandwidth and slew of an op-amp with feedback.

Single figures, for one pole and one feedback network. A resistance to the
inverting input is `resistance_input` in every stage, inverting or not, so the
noise gain is 1 + RF/RI throughout.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, formula, numeric, scalar

__all__ = [
    "cascade_bandwidth",
    "closed_loop_bandwidth",
    "full_power_bandwidth",
    "inverting_gain",
    "noise_gain",
    "noninverting_gain",
    "slew_limited_peak",
]

Array = NDArray[np.float64]


def ratio(resistance_feedback: ArrayLike, resistance_input: ArrayLike) -> Array:
    """Return RF/RI with opens and shorts in their limits."""
    r_f = numeric("resistance_feedback", resistance_feedback, least=0, infinity=True)
    r_i = numeric("resistance_input", resistance_input, least=0, infinity=True)
    if np.any((r_f == 0) & (r_i == 0)) or np.any(np.isinf(r_f) & np.isinf(r_i)):
        raise ValueError("resistance_feedback and resistance_input must not both be 0 or both open")
    with np.errstate(divide="ignore"):
        return np.asarray(r_f / r_i)


def open_loop(gain_open_loop: ArrayLike) -> Array:
    """Return a checked open-loop gain."""
    return numeric("gain_open_loop", gain_open_loop, above=0, infinity=True)


def closed(target: Array, noise: Array, a_ol: Array) -> Array:
    """Return target/(1 + noise/Aol), in the limits of an open loop and of an ideal op-amp."""
    with np.errstate(invalid="ignore", divide="ignore"):
        found = target / (1 + noise / a_ol)
        return np.where(np.isinf(target), np.sign(target) * a_ol, found)


@formula
def noise_gain(*, resistance_feedback: ArrayLike, resistance_input: ArrayLike) -> Number:
    """Find the noise gain of a stage, inverting or not.

    Parameters
    ----------
    resistance_feedback : array_like
        Resistor from output to inverting input [Ω], 0 to inf.
    resistance_input : array_like
        Resistor from inverting input to signal or reference [Ω], 0 to inf.

    Returns
    -------
    float or ndarray
        Noise gain [1].

    Raises
    ------
    ValueError
        If an argument is outside its range, or both are 0 or both open.

    Notes
    -----
    1 + RF/RI, which sets bandwidth and offset in both stages.

    References
    ----------
    FIORE-OPAMPS, ch. 5.

    Examples
    --------
    >>> noise_gain(resistance_feedback=10e3, resistance_input=1e3)
    11.0
    """
    return scalar(1 + ratio(resistance_feedback, resistance_input))  # type: ignore[no-any-return]


@formula
def inverting_gain(
    *, resistance_feedback: ArrayLike, resistance_input: ArrayLike, gain_open_loop: ArrayLike = np.inf
) -> Number:
    """Find the gain of an inverting stage.

    Parameters
    ----------
    resistance_feedback : array_like
        Resistor from output to inverting input [Ω], 0 to inf.
    resistance_input : array_like
        Resistor from signal to inverting input, source resistance included [Ω], 0 to inf.
    gain_open_loop : array_like
        Open-loop gain [1], above 0; inf (ideal) if not given.

    Returns
    -------
    float or ndarray
        Gain [1], negative.

    Raises
    ------
    ValueError
        If an argument is outside its range, or both resistors are 0 or both open.

    Notes
    -----
    -(RF/RI)/(1 + (1 + RF/RI)/Aol).

    References
    ----------
    FIORE-OPAMPS, ex. 4.5; DERIVED, finite open-loop gain.

    Examples
    --------
    >>> inverting_gain(resistance_feedback=20e3, resistance_input=5e3)
    -4.0
    """
    x = ratio(resistance_feedback, resistance_input)
    return scalar(closed(0.0 - x, 1 + x, open_loop(gain_open_loop)))  # type: ignore[no-any-return]


@formula
def noninverting_gain(
    *, resistance_feedback: ArrayLike, resistance_input: ArrayLike, gain_open_loop: ArrayLike = np.inf
) -> Number:
    """Find the gain of a non-inverting stage; with an open `resistance_input` that of a follower.

    Parameters
    ----------
    resistance_feedback : array_like
        Resistor from output to inverting input [Ω], 0 to inf.
    resistance_input : array_like
        Resistor from inverting input to the reference [Ω], 0 to inf.
    gain_open_loop : array_like
        Open-loop gain [1], above 0; inf (ideal) if not given.

    Returns
    -------
    float or ndarray
        Gain [1].

    Raises
    ------
    ValueError
        If an argument is outside its range, or both resistors are 0 or both open.

    Notes
    -----
    (1 + RF/RI)/(1 + (1 + RF/RI)/Aol).

    References
    ----------
    FLOYD-DEVICES, ch. 12; DERIVED, finite open-loop gain.

    Examples
    --------
    >>> round(noninverting_gain(resistance_feedback=99e3, resistance_input=1e3, gain_open_loop=1e5), 1)
    99.9
    """
    x = 1 + ratio(resistance_feedback, resistance_input)
    return scalar(closed(x, x, open_loop(gain_open_loop)))  # type: ignore[no-any-return]


@formula
def closed_loop_bandwidth(gain_bandwidth: ArrayLike, *, noise_gain: ArrayLike) -> Number:
    """Find the upper corner of a stage from the gain-bandwidth product.

    Parameters
    ----------
    gain_bandwidth : array_like
        Gain-bandwidth product [Hz], above 0.
    noise_gain : array_like
        Noise gain 1 + RF/RI [1], at least 1.

    Returns
    -------
    float or ndarray
        Frequency 3 dB down [Hz].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    f2 = GBW/(noise gain), for an op-amp of one pole.

    References
    ----------
    FIORE-OPAMPS, ex. 5.4; GAYAKWAD, ex. 6.1 and 6.2.

    Examples
    --------
    >>> closed_loop_bandwidth(1e6, noise_gain=8.0)
    125000.0
    """
    f = numeric("gain_bandwidth", gain_bandwidth, above=0)
    return scalar(f / numeric("noise_gain", noise_gain, least=1, infinity=True))  # type: ignore[no-any-return]


@formula
def cascade_bandwidth(frequency_corner: ArrayLike, *, count: ArrayLike) -> Number:
    """Find where several equal low-pass stages in a chain are 3 dB down together.

    Parameters
    ----------
    frequency_corner : array_like
        Corner of one stage [Hz], 0 or more.
    count : array_like
        Number of stages [1], a whole number from 1.

    Returns
    -------
    float or ndarray
        Frequency at which the chain is 3 dB down [Hz].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    f2 sqrt(2^(1/n) - 1).

    References
    ----------
    FIORE-OPAMPS, ch. 5, multistage bandwidth.

    Examples
    --------
    >>> round(cascade_bandwidth(100e3, count=2))
    64359
    """
    f = numeric("frequency_corner", frequency_corner, least=0, infinity=True)
    n = numeric("count", count, least=1)
    return scalar(f * np.sqrt(2 ** (1 / n) - 1))  # type: ignore[no-any-return]


@formula
def full_power_bandwidth(slew_rate: ArrayLike, *, voltage_peak: ArrayLike) -> Number:
    """Find the highest frequency at which a sine of given peak does not slew.

    Parameters
    ----------
    slew_rate : array_like
        Slew rate [V/s], above 0.
    voltage_peak : array_like
        Peak of the sine at the output [V], 0 or more.

    Returns
    -------
    float or ndarray
        Frequency [Hz]; inf without signal.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    SR/(2 pi Vp).

    References
    ----------
    FIORE-OPAMPS, ex. 5.7.

    Examples
    --------
    >>> round(full_power_bandwidth(0.5e6, voltage_peak=12.0))
    6631
    """
    sr = numeric("slew_rate", slew_rate, above=0)
    v = numeric("voltage_peak", voltage_peak, least=0)
    with np.errstate(divide="ignore"):
        return scalar(sr / (2 * np.pi * v))  # type: ignore[no-any-return]


@formula
def slew_limited_peak(slew_rate: ArrayLike, *, frequency: ArrayLike) -> Number:
    """Find the largest sine that does not slew at a frequency.

    Parameters
    ----------
    slew_rate : array_like
        Slew rate [V/s], above 0.
    frequency : array_like
        Frequency [Hz], 0 or more.

    Returns
    -------
    float or ndarray
        Peak [V]; inf at 0 Hz.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    SR/(2 pi f).

    References
    ----------
    COUGHLIN-DRISCOLL, ex. 10.9.

    Examples
    --------
    >>> round(slew_limited_peak(0.5e6, frequency=500e3), 4)
    0.1592
    """
    sr = numeric("slew_rate", slew_rate, above=0)
    f = numeric("frequency", frequency, least=0, infinity=True)
    with np.errstate(divide="ignore"):
        return scalar(sr / (2 * np.pi * f))  # type: ignore[no-any-return]
