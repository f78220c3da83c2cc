"""Play sound through the compressor."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import ceil, floor
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import numeric
from pedalcalc._base import simulate
from pedalcalc._result import Caution, Result, quantity, warn_outside_model
from pedalcalc.compressor import laws
from pedalcalc.compressor._checks import RATE_MOST, callback, scalar
from pedalcalc.compressor.circuit import Compressor, cautions_of, one_unit
from pedalcalc.compressor.engine import (
    STEP_DRAIN,
    STEP_LONGEST,
    STEP_LOOP,
    Engine,
    Trace,
    blocks,
    made_ready,
    rest,
    sound,
)
from pedalcalc.compressor.laws import Floats

Part = Callable[[int, int], Floats]

RATE_SIDECHAIN = 192_000.0  # spans of the side-chain signal a second, at least
QUICK = 1e3  # a hold capacitor that charges or empties at more than this rate a second follows half-waves of the sound
RATE_QUICK = 48_000.0  # steps of the cell a second behind such a one, at least
OVER_MOST = 64
RATE_SKETCH = 24_000.0  # spans of the side-chain signal a second, for a picture
BLOCKS_MOST = 80_000  # of these in a picture, however long the sound is
_CHUNK_SECONDS = 5.0  # a long file is rendered in pieces of this length


@dataclass(frozen=True, slots=True, eq=False)
class Rendered(Result):
    """Result of `render`; arrays over the samples."""

    signal: Floats = quantity("V", "processed signal")
    gain_db: Floats = quantity("dB", "gain of cell and make-up")
    sample_rate: float = quantity("Hz", "samples a second")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@simulate
def render(
    signal: ArrayLike,
    *,
    sample_rate: float,
    compressor: Compressor,
    progress: Callable[[float], None] | None = None,
) -> Rendered:
    """Play a signal through the compressor.

    Parameters
    ----------
    signal : array_like
        The signal in volts at the input [V], one dimension, finite and known.
    sample_rate : float
        Samples a second [Hz], at least 16 kHz.
    compressor : Compressor
        The circuit.
    progress : callable, optional
        Called with the fraction done (0 to 1) after each few seconds of signal.

    Returns
    -------
    Rendered
        Processed signal and gain, each of the signal's length. The circuit starts at rest.

    Raises
    ------
    ValueError
        If the signal is not one known row of numbers, or the rate is too low.

    Warns
    -----
    ModelRangeWarning
        If cell and gain together are quicker than the shortest step taken.

    Notes
    -----
    The side-chain hears the signal oversampled to at least 192 kHz. The cell takes steps of 0.1 ms, or shorter
    ones where cell and gain together are quicker; the gain is read linearly between their middles.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc.compressor import example, render
    >>> tone = 0.5 * np.sin(2 * np.pi * 220 * np.arange(4800) / 48000)
    >>> render(tone, sample_rate=48000, compressor=example()).signal.shape
    (4800,)
    """
    one_unit(compressor)
    samples = numeric("signal", signal)
    rate = scalar("sample_rate", sample_rate, least=16_000, most=RATE_MOST)
    callback("progress", progress)
    if samples.ndim != 1 or np.any(np.isnan(samples)):
        raise ValueError(f"signal must be one row of known samples, got shape {samples.shape}")
    peak, gains, brightest = float(np.max(np.abs(samples))), np.empty(samples.size), 0.0

    def part(first: int, last: int) -> Floats:
        return samples[first:last]

    for piece in played(part, samples.size, rate, compressor, peak, progress):
        gains[piece.first : piece.first + piece.gains.size] = piece.gains
        brightest = max(brightest, piece.current_led)
    return Rendered(
        signal=samples * gains,
        gain_db=laws.decibels(gains),
        sample_rate=rate,
        cautions=cautions_of(compressor, current_led=brightest),
    )


def played(
    part: Part,
    size: int,
    rate: float,
    compressor: Compressor,
    peak: float,
    progress: Callable[[float], None] | None,
) -> Iterator[Played]:
    """Yield the gain piece by piece for checked sound that is handed out piece by piece [V], its peak known."""
    ready = made_ready(compressor, peak, None)
    return _played(part, size, rate, ready, *_rates(ready, rate), progress)


def sketch(signal: Floats, *, sample_rate: float, compressor: Compressor) -> Rendered:
    """Render checked sound for a picture: the side-chain hears blocks of samples, each as one span of its mean and range.

    Level and range of the gain come out within a tenth of a decibel of `render`, but for the edge of a hard stroke behind
    a quick hold capacitor, which moves by a block, and for sliders near their ends: of 439 drawn settings 16 were further
    off, most by a third, two by 2 to 3 dB, with a side-chain gain of 200. Beyond some three seconds blocks are longer, and
    a tenth becomes a third where such a capacitor is emptied as quickly.
    """
    ready = made_ready(compressor, float(np.max(np.abs(signal))), None)
    over, spans = _rates(ready, sample_rate)
    block = max(1, round(sample_rate / RATE_SKETCH), ceil(signal.size / BLOCKS_MOST))
    in_step = max(1, round(2 * spans / (over * block)))
    law, state, trace = ready.law, rest(compressor), Trace([], [])
    steps = blocks(ready, signal, rate=sample_rate, block=block, spans=in_step)
    _, g = ready.advance(steps, compressor.gain_sidechain, state.voltage_hold, state.conductance, trace)
    length = block * in_step
    edges = np.concatenate(
        [[0.0], (np.arange(len(trace.conductance)) + 0.5) * length, [len(trace.conductance) * length]]
    )
    at_edges = law.at(np.array([state.conductance, *trace.conductance, g]))
    gains = np.interp(np.arange(signal.size) + 0.5, edges, at_edges)
    return Rendered(
        signal=signal * gains,
        gain_db=laws.decibels(gains),
        sample_rate=sample_rate,
        cautions=cautions_of(compressor, current_led=float(laws.led_current(compressor, np.max(trace.voltage)))),
    )


class Played(NamedTuple):
    """The gain over one piece of sound, and the most that the lamp got meanwhile [A]."""

    first: int
    gains: Floats
    current_led: float


def _played(
    part: Part,
    size: int,
    rate_in: float,
    ready: Engine,
    over: int,
    spans: int,
    progress: Callable[[float], None] | None,
) -> Iterator[Played]:
    compressor, law = ready.compressor, ready.law
    state = rest(compressor)
    v, g = state.voltage_hold, state.conductance
    chunk = max(1, round(_CHUNK_SECONDS * rate_in / spans)) * spans  # whole steps, whatever `over` is
    last_moment, last_gain = 0.0, float(law.at(g))
    for first in range(0, size, chunk):
        count = min(chunk, size - first)
        steps = sound(ready, _oversampled(part, size, first, count, over, spans), rate=rate_in * over, spans=spans)
        trace = Trace([], [])
        v, g = ready.advance(steps, compressor.gain_sidechain, v, g, trace)
        at_steps = law.at(np.array(trace.conductance))
        moments = (np.arange(at_steps.size) + 0.5) * spans / over  # in samples, from the chunk's first
        end_gain = float(law.at(g))
        edges = np.concatenate([[last_moment], moments, [at_steps.size * spans / over]])
        gains = np.interp(np.arange(count) + 0.5 / over, edges, np.concatenate([[last_gain], at_steps, [end_gain]]))
        last_gain = end_gain
        yield Played(first, gains, float(laws.led_current(compressor, np.max(trace.voltage))))
        if progress is not None:
            progress(min(1.0, (first + count) / size))


def _rates(ready: Engine, rate_in: float) -> tuple[int, int]:
    """Return how many side-chain spans there are to a sample, and how many of them to a step of the cell."""
    over = max(1, ceil(RATE_SIDECHAIN / rate_in))
    follows = ready.hold_rate()
    least = min(max(follows, RATE_QUICK), RATE_SIDECHAIN) if follows > QUICK else 1 / STEP_LONGEST
    fastest = max(ready.table.loop_rate[-1] / STEP_LOOP, least)
    drain = ready.drain_rate() / STEP_DRAIN
    while max(fastest, drain) > over * rate_in and over < OVER_MOST:
        over *= 2
    if max(fastest, drain) > over * rate_in:
        warn_outside_model(
            f"cell and gain together move within {1e6 / max(fastest * STEP_LOOP, drain):.2g} µs, "
            f"faster than the {1e6 / (over * rate_in):.2g} µs steps of this sound: its gain may be off"
        )
    return over, max(1, floor(over * rate_in / fastest))


def _oversampled(part: Part, size: int, first: int, count: int, over: int, spans: int) -> Floats:
    """Return part of a signal at `over` times its rate, padded to whole steps and by one value at each end."""
    from scipy.signal import resample_poly

    margin = 16  # samples that the filter needs on each side
    low, high = max(first - margin, 0), min(first + count + margin, size)
    piece = part(low, high)
    fine = piece if over == 1 else resample_poly(np.concatenate([np.zeros(margin), piece, np.zeros(margin)]), over, 1)
    begin = (first - low + (margin if over > 1 else 0)) * over
    wanted = ceil(count * over / spans) * spans
    out = np.zeros(wanted + 2)
    source = fine[max(begin - 1, 0) : begin + wanted + 1]
    offset = 1 if begin == 0 else 0
    out[offset : offset + source.size] = source[: out.size - offset]
    return out
