"""Sound in and out: WAV files, and a whole file through the compressor.

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

from pedalcalc._base import Caution, Result, caution_below, io, numeric, quantity
from pedalcalc.compressor._checks import scalar, whole
from pedalcalc.compressor.circuit import Compressor, one_unit

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
    >>> from pedalcalc.compressor import plucked_string
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
    scale = scalar("voltage_full_scale", voltage_full_scale, above=0)
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
    >>> from pedalcalc.compressor import example, plucked_string
    >>> folder = Path(tempfile.mkdtemp())
    >>> note = plucked_string(110, time_start=0, voltage_peak=0.5, duration=1, sample_rate=48000)
    >>> _ = write_wav(folder / "note.wav", signal=note, sample_rate=48000, voltage_full_scale=1)
    >>> done = render_file(
    ...     folder / "note.wav", path_out=folder / "pressed.wav", compressor=example(), voltage_full_scale=1
    ... )
    >>> print(read_wav(folder / "pressed.wav").duration, done.gain_min_db < done.gain_max_db)
    1.0 True
    """
    from pedalcalc.compressor.playing import render

    one_unit(compressor)
    scale = scalar("voltage_full_scale", voltage_full_scale, above=0)
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
