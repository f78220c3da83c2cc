"""Sound in and out: WAV files, a plucked string, and a whole file through the compressor.

A WAV file holds fractions of full scale. What full scale is in volts depends
on the interface and its knobs, so it is asked for wherever volts matter.
"""

from __future__ import annotations

import os
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Caution, Result, caution_below, io, is_a, numeric, quantity, simulate
from pedalcalc.compressor.circuit import Compressor

Array = NDArray[np.float64]

RATE_LEAST, RATE_MOST = 8000, 384000
PCM_16 = 32768
CLIPPED_RUN = 3  # so many samples in a row at the top of the scale are called clipped
QUIET = 1e-4  # -80 dB of full scale


@dataclass(frozen=True, slots=True, eq=False)
class Recording(Result):
    """One channel of a WAV file, in fractions of full scale."""

    signal: Array = quantity("V", "signal, 1 V being full scale")
    sample_rate: float = quantity("Hz", "samples per second")
    duration: float = quantity("s", "length")
    voltage_peak: float = quantity("V", "peak, 1 V being full scale")
    clipped: bool = quantity("bool", "clipped")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


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
    rate = _scalar("sample_rate", sample_rate, least=RATE_LEAST, most=RATE_MOST)
    length = _scalar("duration", duration, above=0)
    notes = np.broadcast_arrays(
        numeric("frequency", frequency, above=0),
        numeric("time_start", time_start, least=0),
        numeric("voltage_peak", voltage_peak, least=0),
    )
    if any(np.isnan(values).any() for values in notes):
        raise ValueError("frequency, time_start and voltage_peak of every note must be known, got nan")
    if np.any(notes[0] >= 0.45 * rate):
        raise ValueError(f"frequency must be below {0.45 * rate:g} Hz, got {notes[0].max():g}")
    if np.any(notes[1] >= length):
        raise ValueError(f"time_start must be below the duration {length:g} s, got {notes[1].max():g}")
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


@io
def read_wav(path: str | os.PathLike[str], *, channel: int | None = None) -> Recording:
    """Read one channel of a WAV file.

    Parameters
    ----------
    path : path
        The file: PCM of 8, 16, 24 or 32 bits, or float.
    channel : int, optional
        Which channel to take of a file that has several [1], 0 for the left. Must be given then, and only needs
        to be given then.

    Returns
    -------
    Recording
        Samples as fractions of full scale (written as if full scale were 1 V), the rate [Hz], length [s] and peak. `clipped` is true
        where three samples in a row stand at the top of the scale. A clipped or a nearly silent file carries a caution.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    ValueError
        If it is not a WAV file, is empty, has a sample rate outside 8 to 384 kHz, holds NaN, or has several
        channels and none was chosen.

    References
    ----------
    PRACTICE: three samples in a row at full scale are taken for clipping.

    Examples
    --------
    >>> path = Path(tempfile.mkdtemp()) / "note.wav"
    >>> note = plucked_string(110, time_start=0, voltage_peak=0.5, duration=1, sample_rate=48000)
    >>> _ = write_wav(path, signal=note, sample_rate=48000, voltage_full_scale=1, replace=False)
    >>> recording = read_wav(path)
    >>> print(recording.sample_rate, recording.duration, round(recording.voltage_peak, 3), recording.clipped)
    48000.0 1.0 0.5 False
    """
    chosen = None if channel is None else whole("channel", channel)
    rate, samples = _load(Path(path))
    if samples.ndim == 2 and samples.shape[1] == 1:
        samples = samples[:, 0]
    channels = 1 if samples.ndim == 1 else samples.shape[1]
    if chosen is not None and chosen >= channels:
        raise ValueError(f"channel must be below {channels}, the number of channels in {path}, got {chosen}")
    if channels > 1:
        if chosen is None:
            raise ValueError(
                f"{path} has {channels} channels: say which one with channel=0 (left) or channel=1 (right), "
                "or export one channel from the recorder"
            )
        samples = samples[:, chosen]
    if samples.size == 0:
        raise ValueError(f"{path} holds no samples")
    signal = _fractions(samples)
    if np.isnan(signal).any() or np.isinf(signal).any():
        raise ValueError(f"{path} holds samples that are no finite numbers")
    peak = float(np.max(np.abs(signal)))
    clipped = _is_clipped(signal)
    cautions = caution_below("hardly any sound in the file", "check cable, gain and channel", peak, QUIET, "V")
    if clipped:
        cautions += (
            Caution("recording is clipped", "turn the interface's input down and record again", peak, 1.0, "V"),
        )
    return Recording(signal, float(rate), signal.size / rate, peak, clipped, cautions)


def _load(path: Path) -> tuple[int, NDArray[Any]]:
    from scipy.io import wavfile

    if not path.exists():
        raise FileNotFoundError(f"there is no file {path}")
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Chunk", category=wavfile.WavFileWarning)
            warnings.filterwarnings("error", message="Reached EOF", category=wavfile.WavFileWarning)
            rate, samples = wavfile.read(path)
    except Exception as problem:  # the reader raises a different kind for each way a file can be broken
        raise ValueError(f"{path} is not a complete WAV file: {problem}") from problem
    if not RATE_LEAST <= rate <= RATE_MOST:
        raise ValueError(f"sample rate of {path} must be {RATE_LEAST} to {RATE_MOST} Hz, got {rate}")
    return rate, samples


def _fractions(samples: NDArray[Any]) -> Array:
    if samples.dtype.kind == "f":
        return np.asarray(samples, float)
    if samples.dtype == np.uint8:
        return (samples.astype(float) - 128) / 128
    return samples.astype(float) / -float(np.iinfo(samples.dtype).min)


def _is_clipped(signal: Array) -> bool:
    """Tell whether several samples in a row stand at the top (or bottom) of the scale."""
    for side in (signal, -signal):
        at_top = (side >= max(0.99, float(side.max()) - 1e-4)).astype(int)
        run = np.convolve(at_top, np.ones(CLIPPED_RUN, int), mode="valid")
        if np.any(run == CLIPPED_RUN):
            return True
    return False


@io
def write_wav(
    path: str | os.PathLike[str],
    *,
    signal: ArrayLike,
    sample_rate: float,
    voltage_full_scale: float,
    replace: bool = False,
) -> Path:
    """Write a signal as a WAV file of 16 bits, one channel.

    The file appears whole or not at all: it is written beside its place and
    then moved there.

    Parameters
    ----------
    path : path
        Where to write.
    signal : array_like
        Samples [V], one row.
    sample_rate : float
        Samples per second [Hz], a whole number from 8000 to 384000.
    voltage_full_scale : float
        Voltage that becomes full scale [V]; the signal must stay within it.
    replace : bool
        Whether an existing file of that name may be replaced; by habit it may not.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    FileExistsError
        If there is a file of that name and `replace` is false.
    ValueError
        If the signal is empty, has gaps (NaN) or exceeds full scale, or a value is out of range.

    References
    ----------
    DERIVED: signal / voltage_full_scale, times 32768, rounded; +1 is the highest step, 32767.

    Examples
    --------
    >>> path = Path(tempfile.mkdtemp()) / "tone.wav"
    >>> tone = 0.1 * np.sin(2 * np.pi * 440 * np.arange(4410) / 44100)
    >>> write_wav(path, signal=tone, sample_rate=44100, voltage_full_scale=0.2).name
    'tone.wav'
    """
    from scipy.io import wavfile

    samples = numeric("signal", signal)
    rate = whole("sample_rate", sample_rate, least=RATE_LEAST, most=RATE_MOST)
    scale = _scalar("voltage_full_scale", voltage_full_scale, above=0)
    if samples.ndim != 1 or samples.size == 0 or np.isnan(samples).any():
        raise ValueError(f"signal must be one row of known samples, got shape {samples.shape}")
    largest = float(np.max(np.abs(samples)))
    if largest > scale * (1 + 1e-9):
        raise ValueError(f"signal must stay within full scale ({scale:g} V) or it would clip, got {largest:g}")
    target = Path(path)
    if target.exists() and not replace:
        raise FileExistsError(f"{target} exists; choose another name, or replace=True to write over it")
    coded = np.clip(np.round(samples / scale * PCM_16), -PCM_16, PCM_16 - 1).astype(np.int16)
    handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".part")
    os.close(handle)
    try:
        wavfile.write(temporary, rate, coded)
        os.chmod(temporary, 0o644)
        os.replace(temporary, target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return target


@dataclass(frozen=True, slots=True, eq=False)
class RenderedFile(Result):
    """What `render_file` did."""

    path: str = quantity("path", "written to")
    duration: float = quantity("s", "length")
    sample_rate: float = quantity("Hz", "samples per second")
    voltage_full_scale: float = quantity("V", "full scale of the written file")
    gain_min_db: float = quantity("dB", "lowest gain")
    gain_max_db: float = quantity("dB", "highest gain")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@io
def render_file(
    path: str | os.PathLike[str],
    *,
    path_out: str | os.PathLike[str],
    compressor: Compressor,
    voltage_full_scale: float,
    channel: int | None = None,
    replace: bool = False,
    progress: Callable[[float], None] | None = None,
) -> RenderedFile:
    """Play a WAV file through the compressor and write the result beside it.

    Parameters
    ----------
    path : path
        WAV file to play, at least 16 kHz.
    path_out : path
        WAV file to write, 16 bits, one channel.
    compressor : Compressor
        The circuit.
    voltage_full_scale : float
        Voltage at the pedal's input that full scale of the file stands for [V].
    channel : int, optional
        Which channel to take of a file that has several [1], 0 for the left.
    replace : bool
        Whether an existing file may be replaced; by habit it may not.
    progress : callable, optional
        Called with the fraction done (0 to 1) after each few seconds of sound.

    Returns
    -------
    RenderedFile
        Where and what was written, range of the gain [dB]. The written file keeps the scale of the one read
        unless the output would not fit: then its full scale is the output's peak, and `voltage_full_scale` says so.

    Raises
    ------
    FileExistsError
        If `path_out` exists and `replace` is false; nothing is computed then.
    ValueError
        As `read_wav`, or where the rate is below 16 kHz.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example
    >>> folder = Path(tempfile.mkdtemp())
    >>> note = plucked_string(110, time_start=0, voltage_peak=0.5, duration=1, sample_rate=48000)
    >>> _ = write_wav(folder / "note.wav", signal=note, sample_rate=48000, voltage_full_scale=1)
    >>> done = render_file(
    ...     folder / "note.wav", path_out=folder / "pressed.wav", compressor=example(), voltage_full_scale=1
    ... )
    >>> print(read_wav(folder / "pressed.wav").duration, done.gain_min_db < done.gain_max_db)
    1.0 True
    """
    from pedalcalc.compressor.response import render

    is_a("compressor", compressor, Compressor)
    scale = _scalar("voltage_full_scale", voltage_full_scale, above=0)
    target = Path(path_out)
    if target.exists() and not replace:
        raise FileExistsError(f"{target} exists; choose another name, or replace=True to write over it")
    recording = read_wav(path, channel=channel)
    rendered = render(
        recording.signal * scale, sample_rate=recording.sample_rate, compressor=compressor, progress=progress
    )
    full = max(scale, float(np.max(np.abs(rendered.signal))))
    write_wav(
        target, signal=rendered.signal, sample_rate=recording.sample_rate, voltage_full_scale=full, replace=replace
    )
    return RenderedFile(
        path=str(target),
        duration=recording.duration,
        sample_rate=recording.sample_rate,
        voltage_full_scale=full,
        gain_min_db=float(np.min(rendered.gain_db)),
        gain_max_db=float(np.max(rendered.gain_db)),
        cautions=recording.cautions + rendered.cautions,
    )


def _scalar(name: str, value: Any, **allowed: Any) -> float:
    array = numeric(name, value, **allowed)
    if array.ndim or np.isnan(array):
        raise ValueError(f"{name} must be one known number, got {value!r}")
    return float(array)


def whole(name: str, value: Any, *, least: float = 0, most: float | None = None) -> int:
    """Return a whole number, or refuse it by name."""
    number = _scalar(name, value, least=least, most=most)
    if number != int(number):
        raise ValueError(f"{name} must be a whole number, got {number:g}")
    return int(number)
