"""Measure attack, release and level on any record, computed or recorded.

Nothing here knows the circuit: a level track goes in, numbers come out, so a
computed step response and a recording from the bench are read the same way.

One circuit has many "attack times". Each number below therefore carries its
definition: the two levels, the tone, the band, and whether it is the first
entry of the band or the last. Deviations are counted in dB of level::

            ____ the input steps up: the level leaps with it
           |    \\
           |     \\__  first entry          last entry
        ---|--------\\--------------__------------------  band
           |         \\          __/  \\___ .............. steady level
        ---|----------\\________/----------------------  band
       ____|                overshoot
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import is_a, numeric
from pedalcalc._base import simulate
from pedalcalc._refusal import must, refused
from pedalcalc._result import Caution, Result, quantity
from pedalcalc._units import shown
from pedalcalc.compressor._checks import scalar
from pedalcalc.compressor.definitions import (
    ANSI_S3_22_STYLE,
    DEFINITIONS,
    IEC_60118_2_STYLE,
    PART_10_90,
    PART_63,
    SETTLE_2DB,
    TimingDefinition,
)
from pedalcalc.compressor.legs import cautions_of_leg, steady_level, time_leg

__all__ = [
    "ANSI_S3_22_STYLE",
    "DEFINITIONS",
    "IEC_60118_2_STYLE",
    "PART_10_90",
    "PART_63",
    "SETTLE_2DB",
    "AttackRelease",
    "Envelope",
    "TimingDefinition",
    "envelope",
    "measure_step",
]

Array = NDArray[np.float64]

POINTS_LEAST = 20


@dataclass(frozen=True, slots=True, eq=False)
class Envelope(Result):
    """Level of a tone against time."""

    time: Array = quantity("s", "time")
    amplitude: Array = quantity("V", "amplitude")
    level_dbv: Array = quantity("dBV", "level")


@simulate
def envelope(signal: ArrayLike, *, sample_rate: float, frequency: float) -> Envelope:
    """Follow the level of a tone by quadrature over half a period.

    The signal is mixed with a sine and a cosine of the tone's frequency and
    averaged over exactly half a period, centred. A steady sine comes out
    exactly, whatever its phase and however the period falls on the samples,
    and odd harmonics do not disturb it. A jump of the tone is smeared over half a period:
    a quarter before it and a quarter after. Even harmonics and a steady
    offset leak in; take an offset out beforehand.

    Parameters
    ----------
    signal : array_like
        Samples of the signal [V], time along the last axis.
    sample_rate : float
        Samples per second [Hz], more than 8 times `frequency`.
    frequency : float
        Frequency of the tone [Hz].

    Returns
    -------
    Envelope
        Time [s] (0 at the first sample of `signal`), amplitude [V] and level [dBV] (rms; a
        sine of 1.414 V amplitude is 0 dBV; silence is minus infinity). The track
        covers only times whose half period lies within the signal: it begins and
        ends a quarter period, rounded up to whole samples, inside it.

    Raises
    ------
    ValueError
        If the signal is shorter than the averaging needs or holds NaN, or a value is out of range.

    Notes
    -----
    For x = A sin(ωt + φ), 2x·exp(−jωt) is a constant of magnitude A and a part at 2ω.
    The average has full weights and one fractional weight at each end, chosen
    so that its response at 2ω is exactly zero.

    References
    ----------
    DERIVED: zero of the averaging window at twice the tone.

    Examples
    --------
    >>> tone = 0.2 * np.sin(2 * np.pi * 82 * np.arange(2400) / 24000 + 0.4)
    >>> track = envelope(tone, sample_rate=24000, frequency=82)
    >>> print(round(track.amplitude.min(), 6), round(track.amplitude.max(), 6), round(track.level_dbv[0], 3))
    0.2 0.2 -16.99
    """
    samples = numeric("signal", signal)
    rate = scalar("sample_rate", sample_rate, above=0)
    tone = scalar("frequency", frequency, above=0)
    if not 8 * tone < rate:
        raise refused("frequency", f"below an eighth of the sample rate ({shown(rate / 8, 'Hz')})", tone)
    if np.isnan(samples).any():
        raise must("signal must hold no NaN, since a level cannot be measured across a gap", np.isnan(samples))
    angle = 4 * np.pi * tone / rate  # step of the part at twice the tone
    half = int(np.ceil(np.pi / angle - 0.5)) - 1  # whole weights on each side of the centre
    ends = -np.sin((half + 0.5) * angle) / np.sin(angle / 2) / (2 * np.cos((half + 1) * angle))
    count = samples.shape[-1] if samples.ndim else 0
    places = count - 2 * half - 2  # of the centre, from half + 1 on
    if places <= 0:
        raise ValueError(
            f"signal must have at least {2 * half + 3} samples for a tone of {shown(tone, 'Hz')}, got {count}"
        )
    mixed = -0.5j * angle * np.arange(count)
    np.exp(mixed, out=mixed)
    mixed = np.multiply(2 * samples, mixed, out=mixed if samples.ndim == 1 else None)
    del samples  # here and below, so that a long signal takes little beside itself
    total = np.zeros((*mixed.shape[:-1], count + 1), complex)
    np.cumsum(mixed, axis=-1, out=total[..., 1:])
    # In place, from the first centre to the last: the sum of the whole weights, and what the ends add.
    weighed = total[..., 2 * half + 2 : count] - total[..., 1 : places + 1]
    del total
    outer = mixed[..., :places] + mixed[..., 2 * half + 2 :]
    del mixed
    outer *= ends
    weighed += outer
    amplitude = np.abs(weighed) / (2 * half + 1 + 2 * ends)
    with np.errstate(divide="ignore"):
        level = 20 * np.log10(amplitude / np.sqrt(2))
    return Envelope(time=np.arange(half + 1, count - half - 1) / rate, amplitude=amplitude, level_dbv=level)


@dataclass(frozen=True, slots=True, eq=False)
class AttackRelease(Result):
    """Attack and release of one up-and-down step, with all that the numbers depend on."""

    name: str = quantity("text", "definition")
    level_low_dbv: float = quantity("dBV", "input level before and after")
    level_step_db: float = quantity("dB", "size of the input step")
    frequency: float = quantity("Hz", "tone")
    time_attack: float = quantity("s", "attack (in the band for good)")
    time_attack_first: float = quantity("s", "attack, first entry")
    time_release: float = quantity("s", "release (in the band for good)")
    time_release_first: float = quantity("s", "release, first entry")
    overshoot_attack_db: float = quantity("dB", "overshoot, attack")
    overshoot_release_db: float = quantity("dB", "overshoot, release")
    band_attack_db: float = quantity("dB", "band, attack")
    band_release_db: float = quantity("dB", "band, release")
    settled_attack: bool = quantity("bool", "attack settled within the record")
    settled_release: bool = quantity("bool", "release settled within the record")
    level_out_low_dbv: float = quantity("dBV", "output level before the step")
    level_out_high_dbv: float = quantity("dBV", "steady output level of the loud part")
    level_out_after_dbv: float = quantity("dBV", "steady output level afterwards")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")
    step: Any = field(default=None, metadata={"unit": "record", "caption": "the step, where it was computed"})


@simulate
def measure_step(
    time: ArrayLike, *, level_dbv: ArrayLike, time_up: float, time_down: float, definition: TimingDefinition
) -> AttackRelease:
    """Measure attack and release on the level track of an up-and-down step.

    What is timed is the gain, not the leap of the tone itself. The gain cannot leap, so
    at each step the deviation from the steady level to come is known: the step of the input less that of
    the output. A track that leaves `envelope` is smeared for a quarter period before and after each step, and
    nothing in there counts; a track that leaps from one point to the next is read from the leap on.

    Parameters
    ----------
    time : array_like
        Times of the track [s], rising; evenly spaced or not.
    level_dbv : array_like
        Output level at each time [dBV]; for a recording through an unknown gain any
        reference will do. Between two points it is taken as straight.
    time_up : float
        When the input steps up [s].
    time_down : float
        When the input steps down again [s].
    definition : TimingDefinition
        What the times mean: step, tone and band. Step and tone must be those that were played.

    Returns
    -------
    AttackRelease
        Times [s] counted from each step: `time_attack_first` is the first
        entry of the band, `time_attack` the moment after which the level stays
        in it (with "10 to 90 %" both count from the first moment at which 10 % are done);
        the overshoot [dB] beyond the steady level after the first entry; definition, levels, tone and
        band. A level that never leaves the band gives 0 s, and so does a change of less than 0.5 dB where the
        definition goes by parts of it; a caution tells of every change that small. Where `settled_...` is false
        the level was still moving at the end of the part: its time is a lower bound, and a caution says how
        long was watched.

    Raises
    ------
    ValueError
        If the track has gaps (NaN), does not rise in time, has fewer than 20 points in a part, or covers
        less than a period of the tone after a step.

    Notes
    -----
    For a response that is first order in dB with time constant τ, a change of D dB
    enters a band of d dB after τ ln(D/d). The change is that of the gain: the step of the input less
    that of the output. A definition by parts of the change has the band part·D. Before the first step the level must
    be steady. The steady level is the average over the last tenth of each part, by time. Settled means: over its
    last tenth the level moved by less than a twentieth of the band (or than its noise explains), and it ended inside
    the band. Noise counts neither as an entry nor as an exit: see `pedalcalc.compressor.crossings`.

    How exact: on a track that leaps, as exact as its points. On one from `envelope`, a gain that is first order in dB
    is timed within 2 % or 0.5 ms if it takes half a period of the tone or more for 63 % of its way, and within 0.4
    of a quarter period (1.2 ms at 82 Hz, 0.1 ms at 1 kHz) down to a third of a quarter period. An entry
    within half a period of the step is known to lie there; at tones below 500 Hz a caution says so. An overshoot is
    read within 0.1 dB if its ringing takes eight periods of the tone or more; one that peaks within a period of
    the step may have been larger, and a caution says that too. For times this short, play a higher tone.

    References
    ----------
    MEMORY: 25 dB step and ±2 dB band after IEC 60118-2; 3 dB attack band after ANSI S3.22.
    ANSI-S322-NOTE: 90 dB for 1 s, drop to 55 dB, release to within 4 dB.
    PRACTICE: 63 %, 10 to 90 %, settling within ±2 dB. DERIVED: the gain behind a smeared edge.

    Examples
    --------
    A gain that falls by 15 dB with a time constant of 10 ms, and recovers with 100 ms:

    >>> time = np.arange(0, 3, 1e-4)
    >>> gain = np.where(time < 1, -15 * (1 - np.exp(-(time - 0.5) / 0.01)), -15 * np.exp(-(time - 1) / 0.1))
    >>> level = np.where(time < 0.5, -30, np.where(time < 1, -10, -30) + gain)
    >>> result = measure_step(time, level_dbv=level, time_up=0.5, time_down=1, definition=SETTLE_2DB)
    >>> print(f"{result.time_attack * 1e3:.2f} ms, {result.time_release * 1e3:.1f} ms, {10 * np.log(15 / 2):.2f} ms")
    20.15 ms, 201.5 ms, 20.15 ms
    """
    is_a("definition", definition, TimingDefinition)
    times = numeric("time", time, least=0)
    level = numeric("level_dbv", level_dbv)
    up = scalar("time_up", time_up, above=0)
    down = scalar("time_down", time_down, above=0)
    if times.ndim != 1 or level.shape != times.shape:
        raise ValueError(
            f"time and level_dbv must be one row each of the same length, got {times.shape}, {level.shape}"
        )
    if np.isnan(level).any() or not np.all(np.diff(times) > 0):
        bad = np.isnan(level) | (np.diff(times, prepend=-np.inf) <= 0)
        raise must("time must rise from point to point and level_dbv must have no gap (NaN)", bad)
    if not up < down:
        raise refused("time_down", f"above time_up ({shown(up, 's')})", down)
    quarter = 0.25 / definition.frequency
    spans = ((float(times[0]), up - quarter), (up, down - quarter), (down, float(times[-1])))
    for start, stop in spans:
        inside = int(np.count_nonzero((times >= start) & (times <= stop)))
        if inside < POINTS_LEAST:
            raise ValueError(
                f"time must have at least {POINTS_LEAST} points in each part of the step, "
                f"got {inside} from {shown(start, 's')} to {shown(stop, 's')}"
            )
    low, high, end = (steady_level(times, level, *span) for span in spans)
    step = definition.level_step_db
    attack, release = (
        time_leg(times, level, span, step=leap, steady=steady, change=change, definition=definition)
        for span, leap, steady, change in (
            (spans[1], step, high, step - (high - low)),
            (spans[2], -step, end, (high - end) - step),
        )
    )
    return AttackRelease(
        name=definition.name,
        level_low_dbv=definition.level_low_dbv,
        level_step_db=step,
        frequency=definition.frequency,
        time_attack=attack.last - attack.clock,
        time_attack_first=attack.first - attack.clock,
        time_release=release.last - release.clock,
        time_release_first=release.first - release.clock,
        overshoot_attack_db=attack.overshoot,
        overshoot_release_db=release.overshoot,
        band_attack_db=attack.band,
        band_release_db=release.band,
        settled_attack=attack.settled,
        settled_release=release.settled,
        level_out_low_dbv=low,
        level_out_high_dbv=high,
        level_out_after_dbv=end,
        cautions=cautions_of_leg("attack", attack) + cautions_of_leg("release", release),
    )
