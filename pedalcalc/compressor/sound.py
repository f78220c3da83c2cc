"""Sound in and out: WAV files, and a whole file through the compressor.

A WAV file holds fractions of full scale. What full scale is in volts depends
on the interface and its knobs, so it is asked for wherever volts matter.
"""

from __future__ import annotations

import os
import struct
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Caution, Result, caution_below, file_path, io, numeric, quantity, whole_number, yes_no
from pedalcalc._files import whole_file
from pedalcalc._refusal import refused
from pedalcalc._units import shown
from pedalcalc.compressor._checks import callback, scalar
from pedalcalc.compressor.circuit import Compressor, one_unit

Array = NDArray[np.float64]

RATE_LEAST, RATE_MOST = 8000, 384000
PCM_16 = 32768
CLIPPED_RUN = 3  # so many samples in a row at the top of the scale are called clipped
BLOCK = 100_000  # samples made into fractions at a time
QUIET = 1e-4  # -80 dB of full scale


@dataclass(frozen=True, slots=True, eq=False)
class Recording(Result):
    """One channel of a WAV file, in fractions of full scale."""

    signal: NDArray[Any] = quantity("V", "signal, 1 V being full scale")
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
        Samples as fractions of full scale (written as if full scale were 1 V; of 32-bit floats, which hold 24 bits exactly, save for 64-bit files), the rate [Hz], length [s] and peak. `clipped` is true
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
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "note.wav"
    >>> note = plucked_string(110, time_start=0, voltage_peak=0.5, duration=1, sample_rate=48000)
    >>> _ = write_wav(path, signal=note, sample_rate=48000, voltage_full_scale=1, replace=False)
    >>> recording = read_wav(path)
    >>> print(recording.sample_rate, recording.duration, round(recording.voltage_peak, 3), recording.clipped)
    48000.0 1.0 0.5 False
    """
    chosen = None if channel is None else whole_number("channel", channel)
    rate, samples = _load(file_path("path", path))
    if samples.ndim > 1 and samples.shape[1] == 1:
        samples = samples[:, 0]
        channels = 1
    else:
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
    signal = np.empty(len(samples), np.float64 if samples.dtype.kind == "f" and samples.itemsize > 4 else np.float32)
    for first in range(0, signal.size, BLOCK):
        signal[first : first + BLOCK] = _fractions(samples[first : first + BLOCK])
    top, bottom = float(signal.max()), float(signal.min())
    peak = max(top, -bottom)
    if not np.isfinite(peak):
        raise ValueError(f"{path} holds samples that are no finite numbers")
    clipped = _is_clipped(signal, top, bottom)
    cautions = caution_below("hardly any sound in the file", "check cable, gain and channel", peak, QUIET, "V")
    if clipped:
        cautions += (
            Caution("recording is clipped", "turn the interface's input down and record again", peak, 1.0, "V"),
        )
    return Recording(
        signal=signal,
        sample_rate=float(rate),
        duration=signal.size / rate,
        voltage_peak=peak,
        clipped=clipped,
        cautions=cautions,
    )


def _load(path: Path) -> tuple[int, NDArray[Any]]:
    from scipy.io import wavfile

    if not path.is_file():
        raise FileNotFoundError(f"there is no file {path}")
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Chunk", category=wavfile.WavFileWarning)
            warnings.filterwarnings("error", message="Reached EOF", category=wavfile.WavFileWarning)
            try:
                rate, samples = wavfile.read(path, mmap=True)
            except ValueError as problem:
                if "3-byte" not in str(problem):
                    raise
                rate, samples = _three_bytes(path)
    except Exception as problem:  # the reader raises a different kind for each way a file can be broken
        raise ValueError(
            f"{path} is not a complete WAV file of plain samples: copy it again whole, or export it as WAV with 16, 24 or "
            "32 bits"
        ) from problem
    if not RATE_LEAST <= rate <= RATE_MOST:
        raise ValueError(f"sample rate of {path} must be {RATE_LEAST} to {RATE_MOST} Hz, got {rate} Hz")
    return rate, samples


def _three_bytes(path: Path) -> tuple[int, NDArray[Any]]:
    """Return rate and bytes of a file of 24 bits, each sample three bytes, without reading them."""
    rate = channels = 0
    with path.open("rb") as file:
        file.seek(12)
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack("<4sI", head)
            if name == b"data" and channels:
                size = min(size, path.stat().st_size - file.tell()) // (3 * channels) * 3 * channels
                shape = (size // (3 * channels), channels, 3)
                return rate, np.memmap(path, np.uint8, "r", offset=file.tell(), shape=shape)
            if name == b"fmt ":
                _, channels, rate = struct.unpack("<HHI", file.read(8))
                file.seek(size - 8, os.SEEK_CUR)
            else:
                file.seek(size, os.SEEK_CUR)
            file.seek(size % 2, os.SEEK_CUR)
    raise ValueError("it has no samples")


def _fractions(samples: NDArray[Any]) -> NDArray[Any]:
    if samples.dtype.kind == "f":
        return samples
    if samples.ndim == 2:  # three bytes each, the lowest first
        low, middle, high = (samples[:, k].astype(np.int32) for k in range(3))
        return (low << 8 | middle << 16 | high << 24) / float(2**31)
    if samples.dtype == np.uint8:
        return (samples.astype(float) - 128) / 128
    return samples.astype(float) / -float(np.iinfo(samples.dtype).min)


def _is_clipped(signal: NDArray[Any], top: float, bottom: float) -> bool:
    """Tell whether several samples in a row stand at the top (or bottom) of the scale."""
    for side, most in ((1, top), (-1, -bottom)):
        least = max(0.99, most - 1e-4)
        if most < least:
            continue
        for first in range(0, signal.size, BLOCK):
            at_top = side * signal[first : first + BLOCK + CLIPPED_RUN - 1] >= least
            run = at_top[: at_top.size - CLIPPED_RUN + 1].copy()
            for k in range(1, CLIPPED_RUN):
                run &= at_top[k : k + run.size]
            if run.any():
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
    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / "tone.wav"
    >>> tone = 0.1 * np.sin(2 * np.pi * 440 * np.arange(4410) / 44100)
    >>> write_wav(path, signal=tone, sample_rate=44100, voltage_full_scale=0.2).name
    'tone.wav'
    """
    from scipy.io import wavfile

    samples = numeric("signal", signal)
    rate = whole_number("sample_rate", sample_rate, least=RATE_LEAST, most=RATE_MOST)
    scale = scalar("voltage_full_scale", voltage_full_scale, above=0)
    if samples.ndim != 1 or samples.size == 0 or np.isnan(samples).any():
        raise ValueError(f"signal must be one row of known samples, got shape {samples.shape}")
    if np.any(bad := np.abs(samples) > scale * (1 + 1e-9)):
        allowed = f"within full scale ({shown(scale, 'V')}), beyond which it clips"
        raise refused("signal", allowed, samples, bad)
    target = file_path("path", path)
    if target.exists() and not yes_no("replace", replace):
        raise FileExistsError(f"{target} exists; choose another name, or replace=True to write over it")
    coded = np.clip(np.round(samples / scale * PCM_16), -PCM_16, PCM_16 - 1).astype(np.int16)
    with whole_file(target) as (file, _):
        wavfile.write(file, rate, coded)
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
    >>> import tempfile
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
    callback("progress", progress)
    target = file_path("path_out", path_out)
    if target.exists() and not yes_no("replace", replace):
        raise FileExistsError(f"{target} exists; choose another name, or replace=True to write over it")
    recording = read_wav(path, channel=channel)
    rendered = render(
        recording.signal.astype(float) * scale,
        sample_rate=recording.sample_rate,
        compressor=compressor,
        progress=progress,
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
