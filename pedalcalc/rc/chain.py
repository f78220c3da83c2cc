"""Several corners in a row with stages between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import fit_together
from pedalcalc._base import decibels, elementwise_root, formula
from pedalcalc._result import Number, Result, quantity
from pedalcalc.rc.corner import several

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Band(Result):
    """Result of `chain_band`; every field has the broadcast shape of the corners."""

    frequency_low: Number = quantity("Hz", "3 dB down below")
    frequency_high: Number = quantity("Hz", "3 dB down above")
    frequency_peak: Number = quantity("Hz", "largest response at")
    gain: Number = quantity("1", "gain at the peak")
    gain_db: Number = quantity("dB", "gain at the peak in decibels")


def _log_power(log_frequency: Array, highpass: Sequence[Array], lowpass: Sequence[Array]) -> Array:
    """Return ln |H|² at frequencies given by their logarithm, for corners given likewise."""
    power = np.zeros_like(log_frequency)
    with np.errstate(under="ignore"):
        for corner in highpass:
            power = power - np.log1p(np.exp(2 * (corner - log_frequency)))
        for corner in lowpass:
            power = power - np.log1p(np.exp(2 * (log_frequency - corner)))
    return power


def _slope(log_frequency: Array, highpass: Sequence[Array], lowpass: Sequence[Array]) -> Array:
    """Return half the slope of the log power over log frequency; it falls all the way."""
    slope = np.zeros_like(log_frequency)
    with np.errstate(under="ignore"):
        for corner in highpass:
            slope = slope + 1 / (1 + np.exp(2 * (log_frequency - corner)))
        for corner in lowpass:
            slope = slope - 1 / (1 + np.exp(2 * (corner - log_frequency)))
    return slope


@formula
def chain_band(
    *, frequency_corners_highpass: Sequence[ArrayLike], frequency_corners_lowpass: Sequence[ArrayLike]
) -> Band:
    """Find where a chain of buffered corners is 3 dB below its largest response.

    Parameters
    ----------
    frequency_corners_highpass : sequence of array_like
        High-pass (coupling) corner frequencies [Hz], each above 0 and finite; may be empty.
    frequency_corners_lowpass : sequence of array_like
        Low-pass corner frequencies [Hz], each above 0 and finite; may be empty.

    Returns
    -------
    Band
        Both frequencies at which half the power is left, the peak between them and the gain there.
        Without high-pass corners the band begins at 0, without low-pass ones it never ends.

    Raises
    ------
    ValueError
        If a corner is out of range, or there is none at all.
    TypeError
        If the corners are not a sequence.
    RuntimeError
        If the search does not converge.

    Notes
    -----
    |H|² = Π 1/(1 + (f_1/f)²) · Π 1/(1 + (f/f_2)²) has one peak only, as its logarithm is concave
    over log f; peak and edges are roots found between bounds that must hold them.

    References
    ----------
    DERIVED: product of first-order sections.

    Examples
    --------
    Three coupling corners of 10 Hz put the whole 3 dB down well above 10 Hz:

    >>> band = chain_band(frequency_corners_highpass=(10, 10, 10), frequency_corners_lowpass=(20e3,))
    >>> print(f"{band.frequency_low:.1f} Hz to {band.frequency_high / 1e3:.1f} kHz")
    19.6 Hz to 20.0 kHz
    """
    high = several("frequency_corners_highpass", frequency_corners_highpass, above=0)
    low = several("frequency_corners_lowpass", frequency_corners_lowpass, above=0)
    if not high and not low:
        raise ValueError("frequency_corners_highpass and frequency_corners_lowpass must not both be empty")
    fit_together(
        **{
            name: rows[0]
            for name, rows in (("frequency_corners_highpass", high), ("frequency_corners_lowpass", low))
            if rows
        }
    )
    corners = [np.log(corner) for corner in np.broadcast_arrays(*high, *low)]
    unknown = np.isnan(corners).any(axis=0)
    corners = [np.where(unknown, 0.0, corner) for corner in corners]
    count = len(high)
    # Beyond these bounds the response loses more than half its power within a factor of e³.
    reach = np.log(len(corners) + 1)
    bottom, top = np.min(corners, axis=0) - reach, np.max(corners, axis=0) + reach
    if high and low:
        peak = elementwise_root(lambda x, *each: _slope(x, each[:count], each[count:]), bottom, top, *corners)
    else:
        peak = np.full(bottom.shape, np.inf if high else -np.inf)
    most = _log_power(peak, corners[:count], corners[count:])

    def excess(x: Array, most: Array, *each: Array) -> Array:
        return np.asarray(_log_power(x, each[:count], each[count:]) - most + np.log(2))

    edge_low, edge_high = np.full(bottom.shape, -np.inf), np.full(bottom.shape, np.inf)
    if high:
        edge_low = elementwise_root(excess, bottom - 3, peak if low else top + 3, most, *corners)
    if low:
        edge_high = elementwise_root(excess, peak if high else bottom - 3, top + 3, most, *corners)
    with np.errstate(over="ignore"):
        found = [np.where(unknown, np.nan, np.exp(x)) for x in (edge_low, edge_high, peak, most / 2)]
    low_edge, high_edge, top_at, gain = found
    return Band(
        frequency_low=low_edge, frequency_high=high_edge, frequency_peak=top_at, gain=gain, gain_db=decibels(gain)
    )
