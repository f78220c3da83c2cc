"""A plucked string, to hear and measure a compressor with where there is no guitar at hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import numeric
from pedalcalc._base import simulate
from pedalcalc._refusal import refused
from pedalcalc._units import shown
from pedalcalc.compressor._checks import RATE_MOST, SAMPLES_MOST, scalar

Array = NDArray[np.float64]


@simulate
def plucked_string(
    frequency: ArrayLike,
    *,
    time_start: ArrayLike,
    voltage_peak: ArrayLike,
    duration: float,
    sample_rate: float,
) -> Array:
    """Synthesize plucked strings as a magnetic pickup sees them.

    Every note is a sum of decaying sines: a string released from a triangle,
    sensed by its speed at one point, slightly stiff, with upper partials that die
    sooner. Nothing is random: the same call gives the same sound.

    Parameters
    ----------
    frequency : array_like
        Fundamental of each note [Hz], below 0.45 `sample_rate`.
    time_start : array_like
        When each note is plucked [s].
    voltage_peak : array_like
        Peak of each note [V].
    duration : float
        Length of the whole [s].
    sample_rate : float
        Samples per second [Hz].

    Returns
    -------
    ndarray
        Samples [V]; the notes ring on and add up.

    Raises
    ------
    ValueError
        If a value is out of range, or a note starts after the end.

    Notes
    -----
    Partial n: frequency n f √(1 + B n²), amplitude sin(nπp) sin(nπq)/n, decay 1/(a + b n² f²): plucked at
    p = 0.21, sensed at q = 0.27 of the length, stiffness B = 7e-5, the fundamental of a low note lasts about 2 s.

    References
    ----------
    MEMORY: the plucked ideal string, its stiffness and its losses as in textbooks of musical acoustics.

    Examples
    --------
    >>> note = plucked_string(110, time_start=0.1, voltage_peak=0.25, duration=2, sample_rate=48000)
    >>> print(note.size, round(np.abs(note).max(), 3), np.abs(note[:4800]).max())
    96000 0.25 0.0
    """
    rate = scalar("sample_rate", sample_rate, above=0, most=RATE_MOST)
    length = scalar("duration", duration, above=0)
    if length * rate > SAMPLES_MOST:
        raise refused("duration", f"at most {shown(SAMPLES_MOST / rate, 's')} at this sample_rate", length)
    notes = np.broadcast_arrays(
        numeric("frequency", frequency, least=1),
        numeric("time_start", time_start, least=0),
        numeric("voltage_peak", voltage_peak, least=0),
    )
    if any(np.isnan(values).any() for values in notes):
        raise ValueError("frequency, time_start and voltage_peak of every note must be known, got nan")
    if np.any(bad := notes[0] >= 0.45 * rate):
        raise refused("frequency", f"below {shown(0.45 * rate, 'Hz')} at this sample_rate", notes[0], bad)
    if np.any(bad := notes[1] >= length):
        raise refused("time_start", f"below the duration of {shown(length, 's')}", notes[1], bad)
    total = np.zeros(round(length * rate))
    for tone, start, peak in zip(*(values.ravel() for values in notes), strict=True):
        time = np.arange(np.ceil(start * rate), total.size) / rate - start
        note = _pluck(float(tone), time, rate)
        if note.size and np.any(note):
            total[total.size - note.size :] += note * (peak / np.max(np.abs(note)))
    return total


def _pluck(tone: float, time: Array, rate: float) -> Array:
    pluck_at, sense_at, stiffness = 0.21, 0.27, 7e-5
    orders = np.arange(1, 1 + int(min(10e3, 0.45 * rate) / tone))
    note = np.zeros(time.size)
    for n in orders if orders.size else [1]:
        partial = n * tone * np.sqrt(1 + stiffness * n**2)
        if n > 1 and partial >= 0.45 * rate:
            break
        loss = 0.45 + 3.0 * (partial / 1000) ** 2 / (1 + partial / 1000)
        ends = int(np.searchsorted(time, 14 / loss))  # 120 dB down
        wave = np.exp(-loss * time[:ends]) * np.sin(2 * np.pi * partial * time[:ends])
        note[:ends] += np.sin(n * np.pi * pluck_at) * np.sin(n * np.pi * sense_at) / n * wave
    return note
