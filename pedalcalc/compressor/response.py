"""What the compressor does to tones and signals: level histories, steps, low-note distortion, sound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Caution, Result, is_a, numeric, quantity, simulate
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor, cautions_of
from pedalcalc.compressor.engine import RATE, State, rest, run, steps_per_second
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.timing import envelope

_CHUNK_SECONDS = 5.0  # a long file is rendered in pieces of this length


@dataclass(frozen=True, slots=True, eq=False)
class Response(Result):
    """Result of `level_response` and `step_response`; arrays over time."""

    time: Floats = quantity("s", "time")
    level_in_dbv: Floats = quantity("dBV", "level in")
    level_out_dbv: Floats = quantity("dBV", "level out")
    gain_db: Floats = quantity("dB", "gain of cell and make-up")
    voltage_hold: Floats = quantity("V", "voltage that drives the LED")
    current_led: Floats = quantity("A", "LED current")
    resistance_cell: Floats = quantity("Ω", "resistance of the cell")
    frequency: float = quantity("Hz", "tone")
    time_up: float = quantity("s", "time of the step up")
    time_down: float = quantity("s", "time of the step down")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@simulate
def level_response(
    compressor: Compressor,
    *,
    time: ArrayLike,
    level_in_dbv: ArrayLike,
    duration: float,
    frequency: float,
    state: State | None = None,
) -> Response:
    """Follow a tone whose level changes at given moments.

    Parameters
    ----------
    compressor : Compressor
        The circuit.
    time : array_like
        Moments at which a new level begins [s], one dimension, rising from 0.
    level_in_dbv : array_like
        Level of the sine from each moment on [dBV]; -inf is silence.
    duration : float
        End of the record [s], above the last moment.
    frequency : float
        The tone [Hz], above 0; its phase is 0 at the start and runs on through every step.
    state : State, optional
        What hold capacitor and cell remember at the start; at rest by default.

    Returns
    -------
    Response
        Arrays over time, one element each step of the cell (24 kHz or finer). `level_out_dbv` is
        measured as on a recording, by `envelope`, and so is blurred by half a period of the tone.
        `time_up` and `time_down` are the first rise and the last fall of the level, NaN if there is none.

    Raises
    ------
    ValueError
        If moments do not rise from 0, or a value is out of range.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example, level_response
    >>> burst = level_response(example(), time=[0, 0.1], level_in_dbv=[-40, -10], duration=0.3, frequency=1000.0)
    >>> bool(burst.gain_db[-1] < burst.gain_db[0] - 3)
    True
    """
    is_a("compressor", compressor, Compressor)
    moments = np.atleast_1d(numeric("time", time, least=0))
    levels = np.atleast_1d(numeric("level_in_dbv", level_in_dbv, below=np.inf, infinity=True))
    end = float(numeric("duration", duration, above=0))
    tone = float(numeric("frequency", frequency, above=0))
    if moments.ndim != 1 or moments[0] != 0 or np.any(np.diff(moments) <= 0) or not moments[-1] < end:
        raise ValueError("time must be one dimension of moments that rise from 0 and end before duration")
    if levels.shape != moments.shape or np.any(np.isnan(levels)):
        raise ValueError("level_in_dbv must hold one known level for each moment in time")
    rate, substeps = steps_per_second(compressor, tone)
    count = int(np.ceil(end * rate))
    amplitude = np.asarray(np.sqrt(2.0) * 10 ** (levels / 20), np.float64)
    ends = np.arange(1, count + 1) / rate
    edges = np.arange(count * substeps + 1) / (rate * substeps)
    signal = _average(amplitude, moments, edges) * np.sin(2 * np.pi * tone * 0.5 * (edges[1:] + edges[:-1]))
    wave = amplitude[np.searchsorted(moments, ends, side="right") - 1] * np.sin(2 * np.pi * tone * ends)
    start = rest(compressor) if state is None else state
    track = run(compressor, signal, rate=rate, substeps=substeps, state=start)
    gain = laws.gain_law(compressor).at(track.conductance)
    out = envelope(wave * gain, sample_rate=rate, frequency=tone)
    first = round(float(out.time[0]) * rate)  # the envelope begins and ends a quarter period inside the record
    known = slice(first, first + out.time.size)
    times = ends[known]
    held, conductance = track.voltage_hold[known], track.conductance[known]
    current = laws.led_current(compressor, held)
    changes = np.diff(levels)
    up, down = moments[1:][changes > 0], moments[1:][changes < 0]
    return Response(
        times,
        levels[np.searchsorted(moments, times, side="right") - 1],
        out.level_dbv,
        np.asarray(laws.decibels(gain[known]), float),
        held,
        current,
        laws.resistance_cell(compressor, conductance),
        tone,
        float(up[0]) if up.size else float("nan"),
        float(down[-1]) if down.size else float("nan"),
        cautions_of(compressor, current_led=current),
    )


def _average(amplitude: Floats, moments: Floats, edges: Floats) -> Floats:
    """Return the average amplitude between neighbouring edges; a level that changes in between counts by its share."""
    ends = np.append(moments, max(edges[-1], moments[-1]))
    area = np.concatenate([[0.0], np.cumsum(amplitude * np.diff(ends))])
    found: Floats = np.diff(np.interp(edges, ends, area)) / np.diff(edges)
    return found


@simulate
def step_response(
    compressor: Compressor,
    *,
    level_low_dbv: float,
    level_high_dbv: float,
    frequency: float = 1000.0,
    time_before: float = 0.1,
    time_high: float = 0.4,
    time_after: float = 0.7,
) -> Response:
    """Follow a tone that steps up from a low level to a high one and down again.

    Parameters
    ----------
    compressor : Compressor
        The circuit.
    level_low_dbv : float
        Level before and after [dBV], below `level_high_dbv`.
    level_high_dbv : float
        Level between the two steps [dBV].
    frequency : float
        The tone [Hz], above 0; 1 kHz by habit.
    time_before : float
        Time at the low level before the step up [s], above 0.
    time_high : float
        Time at the high level [s], above 0.
    time_after : float
        Time at the low level after the step down [s], above 0.

    Returns
    -------
    Response
        As for `level_response`, with `time_up` and `time_down` the two steps. The circuit starts settled
        at the low level.

    Raises
    ------
    ValueError
        If the levels are not in order, or a value is out of range.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example, step_response
    >>> step = step_response(example(), level_low_dbv=-40, level_high_dbv=-10)
    >>> f"{step.time_up:.1f} s up, {step.time_down:.1f} s down"
    '0.1 s up, 0.5 s down'
    """
    is_a("compressor", compressor, Compressor)
    low = float(numeric("level_low_dbv", level_low_dbv))
    high = float(numeric("level_high_dbv", level_high_dbv))
    if not low < high:
        raise ValueError(f"level_low_dbv must be below level_high_dbv, got {low:g} and {high:g}")
    up = float(numeric("time_before", time_before, above=0))
    down = up + float(numeric("time_high", time_high, above=0))
    end = down + float(numeric("time_after", time_after, above=0))
    tone = float(numeric("frequency", frequency, above=0))
    return level_response(
        compressor,
        time=[0.0, up, down],
        level_in_dbv=[low, high, low],
        duration=end,
        frequency=tone,
        state=settled_state(compressor, level_dbv=low, frequency=tone),
    )


def settled_state(compressor: Compressor, *, level_dbv: float, frequency: float) -> State:
    """Return the state of a circuit settled at one level, coming from silence."""
    from pedalcalc.compressor.static import settle, static_curve

    law = laws.gain_law(compressor)
    dark = law.at(laws.conductance_dark(compressor))
    gain = float(dark) if compressor.sense == "after" else 1.0
    side = compressor.gain_sidechain * np.sqrt(2.0) * 10 ** (level_dbv / 20)
    settled = settle(compressor, np.array([side * gain]), frequency=frequency)
    changed = abs(law.at(settled.conductance[0]) - dark) > 1e-4 * dark
    if compressor.sense == "after" and changed:  # the loop has something to say
        out = static_curve(level_dbv, compressor=compressor, frequency=frequency).level_out_dbv[0]
        peak = compressor.gain_sidechain * np.sqrt(2.0) * 10 ** (out / 20)
        settled = settle(compressor, np.array([peak]), frequency=frequency)
    held = 0.0 if compressor.drive == "direct" else float(settled.voltage_hold[0])
    return State(held, float(settled.conductance[0]))


@dataclass(frozen=True, slots=True, eq=False)
class Ripple(Result):
    """Result of `ripple_distortion`."""

    distortion: float = quantity("1", "total harmonic distortion of the settled tone")
    harmonic_third: float = quantity("1", "third harmonic against the fundamental")
    gain_ripple_db: float = quantity("dB", "peak-to-peak ripple of the gain")
    gain_reduction_db: float = quantity("dB", "gain reduction against the dark cell")
    level_in_dbv: float = quantity("dBV", "level in")
    frequency: float = quantity("Hz", "tone")


@simulate
def ripple_distortion(compressor: Compressor, *, level_in_dbv: float, frequency: float = 82.4) -> Ripple:
    """Find the distortion that side-chain ripple puts on a held note.

    A fast release lets the gain follow each half-cycle of a low note, which bends the note's own wave.

    Parameters
    ----------
    compressor : Compressor
        The circuit.
    level_in_dbv : float
        Level of the note [dBV].
    frequency : float
        The note [Hz], above 0; by habit 82.4 Hz, a guitar's low E.

    Returns
    -------
    Ripple
        Distortion and ripple once settled.

    Raises
    ------
    ValueError
        If a value is out of range.
    RuntimeError
        If the note has not settled after 10 s.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example, ripple_distortion
    >>> note = ripple_distortion(example(), level_in_dbv=-10.0)
    >>> bool(0 < note.distortion < 0.2)
    True
    """
    is_a("compressor", compressor, Compressor)
    level = float(numeric("level_in_dbv", level_in_dbv))
    tone = float(numeric("frequency", frequency, above=0))
    wanted, substeps = steps_per_second(compressor, tone)[0], 8
    per_period = 2 * int(np.ceil(wanted / tone / 2))  # a whole even number of steps, so that harmonics fall on bins
    rate = per_period * tone
    cycles = max(2, int(np.ceil(0.05 * tone)))
    middles = (np.arange(cycles * per_period * substeps) + 0.5) / (rate * substeps)
    signal = np.sqrt(2.0) * 10 ** (level / 20) * np.sin(2 * np.pi * tone * middles)
    law = laws.gain_law(compressor)
    state = settled_state(compressor, level_dbv=level, frequency=tone)
    previous = np.inf
    for _ in range(int(np.ceil(10 * tone / cycles))):
        track = run(compressor, signal, rate=rate, substeps=substeps, state=state)
        gain = law.at(track.conductance)
        state, last = track.state, gain[-per_period:]
        mean_db = 20 * np.log10(np.mean(last))
        if abs(mean_db - previous) < 1e-4:
            break
        previous = mean_db
    else:
        raise RuntimeError(f"a {tone:g} Hz note at {level:g} dBV has not settled after 10 s")
    wave = last * np.sin(2 * np.pi * np.arange(1, per_period + 1) / per_period)
    harmonics = np.abs(np.fft.rfft(wave))
    third = harmonics[3] / harmonics[1]
    total = np.sqrt(np.sum(harmonics[2 : per_period // 2] ** 2)) / harmonics[1]
    ripple = 20 * np.log10(last.max() / last.min())
    reduction = 20 * np.log10(law.at(laws.conductance_dark(compressor))) - mean_db
    return Ripple(float(total), float(third), float(ripple), float(reduction), level, tone)


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

    Notes
    -----
    The side-chain runs at the signal's own rate, the cell at about 24 kHz; the gain is read linearly between its steps.

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
    is_a("compressor", compressor, Compressor)
    samples = numeric("signal", signal)
    rate_in = float(numeric("sample_rate", sample_rate, least=16_000))
    if samples.ndim != 1 or samples.size == 0 or np.any(np.isnan(samples)):
        raise ValueError("signal must be one row of known samples")
    substeps = max(1, round(rate_in / RATE))
    rate = rate_in / substeps
    padded = np.append(samples, np.zeros(-samples.size % substeps))
    law = laws.gain_law(compressor)
    state = rest(compressor)
    steps = int(np.ceil(_CHUNK_SECONDS * rate)) * substeps
    gains, brightest = [law.at(state.conductance)], 0.0
    pieces: list[Any] = []
    for first in range(0, padded.size, steps):
        piece = padded[first : first + steps]
        track = run(compressor, piece, rate=rate, substeps=substeps, state=state)
        state = track.state
        pieces.append(law.at(track.conductance))
        brightest = max(brightest, float(laws.led_current(compressor, np.max(track.voltage_hold))))
        if progress is not None:
            progress(min(1.0, (first + piece.size) / padded.size))
    at_steps = np.concatenate([gains, *pieces])
    moments = np.arange(at_steps.size) * substeps - 0.5  # steps end halfway between samples
    gain = np.interp(np.arange(samples.size), moments, at_steps)
    cautions = cautions_of(compressor, current_led=brightest)
    return Rendered(samples * gain, laws.decibels(gain), rate_in, cautions)
