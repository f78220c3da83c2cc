"""Measure your own: a WAV of test tones to play into the pedal, and the reading of what comes out.

Play the file from a laptop's or interface's output into the pedal, record the pedal's output, and
the recording is read with the very same measurement as the computed responses::

    silence | marker | silence | 82 Hz: low HIGH low | 220 Hz ... | 1000 Hz ... | silence | marker | silence

The markers (a short sweep, at the low level) let the recording be cut to
size and its clock compared with the file's. The last pause tells the size of the step.

LOUDNESS: the tones are steady and jump up without warning. Take headphones off, turn amplifiers
and monitors down, and record by cable, not by loudspeaker.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import file_path, is_a, whole_number
from pedalcalc._base import io
from pedalcalc._refusal import refused
from pedalcalc._result import Caution, Result, caution_below, quantity
from pedalcalc.compressor.sound import write_wav
from pedalcalc.compressor.timing import AttackRelease, TimingDefinition, envelope, measure_step
from pedalcalc.compressor.wav import FILE_RATE_LEAST, FILE_RATE_MOST, Channel, channel_of, pieces, seen

Array = NDArray[np.float64]

FREQUENCIES = (82.0, 220.0, 1000.0)
TIME_BEFORE, TIME_HIGH, TIME_AFTER = 3.0, 2.0, 4.0
TIME_PAUSE = 0.5
TIME_MARKER = 0.3
MARKER_FROM, MARKER_TO = 300.0, 3000.0
PEAK_HIGH = 0.7  # of full scale
STEP_SECONDS_PER_DB = 0.02  # the last pause is that much longer for each dB of step
BLOCK = 2**16  # places at which the sweep is looked for at a time
MATCH_LEAST = 0.6  # correlation from which a sweep is taken for the marker
CLOCK_MOST = 1e-3
SPEEDS = (44.1 / 48, 48 / 44.1, 0.5, 2.0, 22.05 / 48, 48 / 22.05)


@dataclass(frozen=True, slots=True, eq=False)
class BurstFile(Result):
    """The test file that was written."""

    path: str = quantity("path", "written to")
    duration: float = quantity("s", "length")
    sample_rate: float = quantity("Hz", "samples per second")
    level_step_db: float = quantity("dB", "size of the step")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class RecordedLevel(Result):
    """Level of one tone of a recording over time, to draw beside a computed one."""

    frequency: float = quantity("Hz", "tone")
    time: Array = quantity("s", "time")
    level_out_dbv: Array = quantity("dBV", "level out, 0 dBV being full scale of the recording")
    time_up: float = quantity("s", "time of the step up")
    time_down: float = quantity("s", "time of the step down")


@dataclass(frozen=True, slots=True, eq=False)
class RecordedTimings(Result):
    """Attack and release as the recording shows them, one result for each tone."""

    timings: tuple[AttackRelease, ...] = quantity("records", "attack and release for each tone")
    levels: tuple[RecordedLevel, ...] = quantity("records", "level over time for each tone")
    level_noise_dbv: float = quantity("dBV", "noise in the pause, 0 dBV being full scale of the recording")
    time_marker: float = quantity("s", "where the first marker begins in the recording")
    clock_error: float = quantity("1", "recorder's clock, off the player's by", percent=True)
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@io
def write_bursts(
    path: str | os.PathLike[str], *, definition: TimingDefinition, sample_rate: float = 48000, replace: bool = False
) -> BurstFile:
    """Write a WAV of level-step bursts at 82, 220 and 1000 Hz to play into a pedal.

    Each tone stands low for 3 s, high for 2 s, and low again for 4 s. Set the player so that the loud
    1000 Hz part reads the wanted volts on a meter (AC) at the pedal's input: the definition's low
    level plus its step. Loudness: headphones off, amplifiers down, record by cable.

    Parameters
    ----------
    path : path
        Where to write.
    definition : TimingDefinition
        Its step, from 1 to 60 dB, is the step that is written.
    sample_rate : float
        Samples per second [Hz], at least 16 kHz; 48 kHz by habit.
    replace : bool
        Whether an existing file may be replaced; by habit it may not.

    Returns
    -------
    BurstFile
        What was written, with the caution about loudness.

    Raises
    ------
    FileExistsError
        If there is a file of that name and `replace` is false.
    ValueError
        If the step or the rate is out of range.

    References
    ----------
    PRACTICE: tones at a guitar's lowest string, low middle and the usual 1 kHz.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from pedalcalc.compressor.timing import SETTLE_2DB
    >>> done = write_bursts(Path(tempfile.mkdtemp()) / "bursts.wav", definition=SETTLE_2DB)
    >>> print(f"{done.duration:.1f} s, step {done.level_step_db:g} dB: {done.cautions[0].action}")
    31.0 s, step 20 dB: take headphones off, turn amplifiers and monitors down, record by cable
    """
    rate = whole_number("sample_rate", sample_rate, least=max(16000, FILE_RATE_LEAST), most=FILE_RATE_MOST)
    step = _step(definition)
    signal = bursts(rate, step)
    written = write_wav(path, signal=signal, sample_rate=rate, voltage_full_scale=1.0, replace=replace)
    return BurstFile(
        path=str(written),
        duration=signal.size / rate,
        sample_rate=float(rate),
        level_step_db=step,
        cautions=_loudness(step),
    )


@io
def measure_recording(
    path: str | os.PathLike[str], *, definition: TimingDefinition, channel: int | None = None
) -> RecordedTimings:
    """Measure attack and release on the recording of a pedal that was fed with the test file.

    The recording may begin early, end late, have any gain and either polarity;
    the markers find their place. Its gain being unknown, output levels are
    relative: 0 dBV means full scale of the recording.

    Parameters
    ----------
    path : path
        The recording, WAV, one take from before the first marker to after the last.
    definition : TimingDefinition
        What the times mean. Its step must be that of the file played, its low level the one set up at the
        pedal's input; its tone is replaced by each of the three.
    channel : int, optional
        Which channel to take of a file that has several [1], 0 for the left.

    Returns
    -------
    RecordedTimings
        One `AttackRelease` for each tone, and its level over time as it was measured; noise, clock and cautions: noise less than 20 dB
        below the low tone, clipping, and what was not settled.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        If the markers are not found (silent, cut short, another file, another sample rate), or the step is
        not that of the file played; and as `read_wav`.

    References
    ----------
    DERIVED: matched filter for the sweep. The definition names its own source; see `measure_step`.
    PRACTICE: 20 dB between tone and noise.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from pedalcalc.compressor.timing import SETTLE_2DB
    >>> path = Path(tempfile.mkdtemp()) / "bursts.wav"
    >>> _ = write_bursts(path, definition=SETTLE_2DB)
    >>> direct = measure_recording(path, definition=SETTLE_2DB)  # a cable in place of the pedal
    >>> [(timing.frequency, timing.time_attack < 1e-3) for timing in direct.timings]
    [(82.0, True), (220.0, True), (1000.0, True)]
    """
    step = _step(definition)
    source = channel_of(file_path("path", path), None if channel is None else whole_number("channel", channel))
    found = seen(source.path, source.part, source.size)
    take = _Take(source, found.mean)
    rate = take.rate
    start, clock = _align(path, take, step)
    origin = start - TIME_PAUSE  # where the file's own time 0 lies
    pause = take.part(
        _index(origin + 1.25 * TIME_PAUSE + TIME_MARKER, rate), _index(start + TIME_MARKER + TIME_PAUSE, rate)
    )
    with np.errstate(divide="ignore"):
        noise = float(10 * np.log10(np.mean(np.square(pause, dtype=float))))
    timings, levels, low_least = [], [], np.inf
    for tone, begin in _starts():
        level = _level_of_one(*_cut(take, origin, clock, begin), rate, clock, tone)
        timing = measure_step(
            level.time,
            level_dbv=level.level_out_dbv,
            time_up=level.time_up,
            time_down=level.time_down,
            definition=dataclasses.replace(definition, frequency=tone),
        )
        timings.append(timing)
        levels.append(level)
        low_least = min(low_least, timing.level_out_low_dbv)
    cautions = found.cautions + caution_below(
        "noise close to the low tone", "raise the recording level, or look for hum", low_least - noise, 20.0, "dB"
    )
    cautions += tuple(caution for timing in timings for caution in timing.cautions)
    return RecordedTimings(
        timings=tuple(timings),
        levels=tuple(levels),
        level_noise_dbv=noise,
        time_marker=start,
        clock_error=clock - 1,
        cautions=cautions,
    )


def bursts(rate: int, level_step_db: float) -> Array:
    """Return the samples of the test file, in fractions of full scale."""
    low = PEAK_HIGH * 10 ** (-level_step_db / 20)
    signal = np.zeros(round((_length(level_step_db)) * rate))
    sweep = low * _marker(rate)
    for begin in (TIME_PAUSE, TIME_PAUSE + _spacing(level_step_db)):
        signal[round(begin * rate) :][: sweep.size] += sweep
    for tone, begin in _starts():
        time = np.arange(round((TIME_BEFORE + TIME_HIGH + TIME_AFTER) * rate)) / rate
        loud = (time >= TIME_BEFORE) & (time < TIME_BEFORE + TIME_HIGH)
        first = round(begin * rate)
        signal[first : first + time.size] = np.where(loud, PEAK_HIGH, low) * np.sin(2 * np.pi * tone * time)
    return signal


def _step(definition: Any) -> float:
    step = float(is_a("definition", definition, TimingDefinition).level_step_db)
    if not 1 <= step <= 60:
        raise refused("level_step_db", "1 to 60 dB in the definition of a test file", step)
    return step


def _loudness(step: float) -> tuple[Caution, ...]:
    times = f"{10 ** (step / 20):.2g} times the voltage"
    what = f"loud steady test tones leap up without warning, to {times}"
    action = "take headphones off, turn amplifiers and monitors down, record by cable"
    return (Caution(what, action, step, math.nan, "dB"),)


def _starts() -> Iterator[tuple[float, float]]:
    """Yield each tone and where it begins in the file."""
    begin = 2 * TIME_PAUSE + TIME_MARKER
    for tone in FREQUENCIES:
        yield tone, begin
        begin += TIME_BEFORE + TIME_HIGH + TIME_AFTER + TIME_PAUSE


def _spacing(level_step_db: float) -> float:
    """Return the time from the first marker to the last."""
    tones = len(FREQUENCIES) * (TIME_BEFORE + TIME_HIGH + TIME_AFTER + TIME_PAUSE)
    return TIME_MARKER + TIME_PAUSE + tones + level_step_db * STEP_SECONDS_PER_DB


def _length(level_step_db: float) -> float:
    return 2 * TIME_PAUSE + TIME_MARKER + _spacing(level_step_db)


def _marker(rate: float, speed: float = 1.0) -> Array:
    """Return the sweep, with ends faded over a tenth of it; a `speed` above 1 is a file played too fast."""
    time = np.arange(round(TIME_MARKER / speed * rate)) / rate * speed
    angle = 2 * np.pi * (MARKER_FROM * time + (MARKER_TO - MARKER_FROM) * time**2 / (2 * TIME_MARKER))
    fade = np.clip(np.minimum(time, TIME_MARKER - time) / (0.1 * TIME_MARKER), 0, 1)
    return np.asarray(np.sin(np.pi / 2 * fade) ** 2 * np.sin(angle))


class _Take(NamedTuple):
    """A recording in its file, read piece by piece without its mean: a long one is never held."""

    source: Channel
    mean: float

    @property
    def rate(self) -> float:
        return float(self.source.rate)

    def part(self, first: int, last: int) -> NDArray[Any]:
        return np.asarray(self.source.part(first, last) - self.mean)

    def blocks(self, more: int) -> Iterator[tuple[int, NDArray[Any]]]:
        """Yield where each block begins, and its samples with so many `more` of the next; none shorter than those."""
        return pieces(self.part, self.source.size, more, BLOCK)


class _Fit(NamedTuple):
    """How well the sweep fits at a place, 0 to 1 whatever gain and polarity."""

    fit: float
    place: int


def _match(take: _Take, sweep: Array) -> tuple[list[_Fit], float]:
    """Return the places where the sweep is found, the best within its own length of each other, and the best fit of all."""
    from scipy.signal import fftconvolve

    more = sweep.size - 1
    least = (
        1e-8 * max((float(_energy(piece, sweep.size).max()) for _, piece in take.blocks(more)), default=0.0) + 1e-300
    )
    found: list[_Fit] = []
    best = 0.0
    for first, piece in take.blocks(more):
        alike = np.abs(fftconvolve(np.asarray(piece, float), sweep[::-1], mode="valid"))
        energy = _energy(piece, sweep.size)
        fit = np.where(energy > least, alike / np.sqrt(np.maximum(energy, least) * np.sum(sweep**2)), 0.0)
        best = max(best, float(fit.max()))
        strong = np.flatnonzero(fit >= MATCH_LEAST)
        for run in np.split(strong, np.flatnonzero(np.diff(strong) > sweep.size) + 1):
            if run.size:
                at = int(run[np.argmax(fit[run])])
                near = found.pop() if found and first + at - found[-1].place <= sweep.size else _Fit(0.0, 0)
                found.append(max(near, _Fit(float(fit[at]), first + at)))
    return found, best


def _energy(piece: Array, length: int) -> Array:
    """Return the sum of the squares of so many samples from each on."""
    total = np.concatenate([[0.0], np.cumsum(np.square(piece, dtype=float))])
    return np.asarray(total[length:] - total[:-length])


def _align(path: Any, take: _Take, step: float) -> tuple[float, float]:
    """Return where the first marker begins [s] and the ratio of the recorder's clock to the player's."""
    markers, best = _match(take, _marker(take.rate))
    pairs = [
        (early, late)
        for early, late in itertools.combinations(markers, 2)
        if late.place - early.place >= _index(_spacing(1.0) * (1 - CLOCK_MOST), take.rate)
    ]
    if not pairs:
        raise ValueError(f"{path} does not hold the test file's two markers: {_why(take, best)}")

    def off(pair: tuple[_Fit, _Fit]) -> float:
        return abs((pair[1].place - pair[0].place) / take.rate / _spacing(step) - 1)

    # A marker more, of a try that was broken off, is as good as any: those that belong to this step go first.
    (_, first), (_, last) = max(pairs, key=lambda pair: (off(pair) <= CLOCK_MOST, pair[0].fit + pair[1].fit))
    apart = (last - first) / take.rate
    clock = apart / _spacing(step)
    if abs(clock - 1) > CLOCK_MOST:
        found = step + (apart - _spacing(step)) / STEP_SECONDS_PER_DB
        raise ValueError(
            f"level_step_db of the definition must be that of the file played: {step:g} dB was given, "
            f"the markers in {path} are {apart:.3f} s apart, as in a file with a step of {found:.1f} dB"
        )
    return first / take.rate, clock


def _why(take: _Take, best: float) -> str:
    if max(float(np.max(np.abs(piece))) for _, piece in take.blocks(0)) < 1e-4:
        return "it is silent"
    if best >= MATCH_LEAST:
        return "only one was found, so the recording is cut short"
    for speed in SPEEDS:
        if _match(take, _marker(take.rate, speed))[1] >= MATCH_LEAST:
            return (
                f"they are there at {speed:.3g} times the speed, so its sample rate ({take.rate:g} Hz) is not that at which "
                "it was recorded, or the file was played at another rate than its own"
            )
    return "none was found; was this file played, and is the recording level high enough?"


def _index(time: float, rate: float) -> int:
    return max(0, round(time * rate))


def _cut(take: _Take, origin: float, clock: float, begin: float) -> tuple[NDArray[Any], float]:
    """Return the samples of one tone, and its beginning from the first of them on [s]."""
    begin = origin + (begin - TIME_PAUSE) * clock + TIME_PAUSE
    first = _index(begin + 0.1 * TIME_BEFORE, take.rate)
    last = _index(begin + (TIME_BEFORE + TIME_HIGH + TIME_AFTER) * clock - 0.01, take.rate)
    return take.part(first, last), begin - first / take.rate


def _level_of_one(part: NDArray[Any], offset: float, rate: float, clock: float, tone: float) -> RecordedLevel:
    track = envelope(part, sample_rate=rate, frequency=tone / clock)
    return RecordedLevel(
        frequency=tone,
        time=track.time,
        level_out_dbv=track.level_dbv,
        time_up=offset + TIME_BEFORE * clock,
        time_down=offset + (TIME_BEFORE + TIME_HIGH) * clock,
    )
