"""Sound in and out: WAV files, and a whole file through the compressor.

A WAV file holds fractions of full scale. What full scale is in volts depends
on the interface and its knobs, so it is asked for wherever volts matter.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import file_path, numeric, whole_number, yes_no
from pedalcalc._base import io
from pedalcalc._files import whole_file
from pedalcalc._refusal import refused
from pedalcalc._result import Caution, Result, quantity
from pedalcalc._units import shown
from pedalcalc.compressor._checks import callback, scalar
from pedalcalc.compressor.circuit import Compressor, cautions_of, one_unit
from pedalcalc.compressor.laws import decibels
from pedalcalc.compressor.wav import BLOCK, FILE_RATE_LEAST, FILE_RATE_MOST, channel_of, pieces, seen

Array = NDArray[np.float64]

PCM_16 = 32768


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
    source = channel_of(file_path("path", path), chosen)
    signal = np.empty(source.size, source.fraction)
    for first, piece in pieces(source.part, source.size):
        signal[first : first + BLOCK] = piece
    found = seen(source.path, lambda first, last: signal[first:last], source.size)
    return Recording(
        signal=signal,
        sample_rate=float(source.rate),
        duration=source.size / source.rate,
        voltage_peak=found.peak,
        clipped=found.clipped,
        cautions=found.cautions,
    )


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
    samples = numeric("signal", signal)
    rate = whole_number("sample_rate", sample_rate, least=FILE_RATE_LEAST, most=FILE_RATE_MOST)
    scale = scalar("voltage_full_scale", voltage_full_scale, above=0)
    if samples.ndim != 1 or samples.size == 0 or np.isnan(samples).any():
        raise ValueError(f"signal must be one row of known samples, got shape {samples.shape}")
    if np.any(bad := np.abs(samples) > scale * (1 + 1e-9)):
        allowed = f"within full scale ({shown(scale, 'V')}), beyond which it clips"
        raise refused("signal", allowed, samples, bad)
    target = file_path("path", path)
    if target.exists() and not yes_no("replace", replace):
        raise FileExistsError(f"{target} exists; choose another name, or replace=True to write over it")
    _save(target, rate, samples, scale)
    return target


def _save(target: Path, rate: int, samples: NDArray[Any], scale: float) -> None:
    """Write samples as 16 bits of this full scale, coded block by block."""
    from scipy.io import wavfile

    coded = np.empty(samples.size, np.int16)
    for first in range(0, samples.size, BLOCK):
        steps = np.round(samples[first : first + BLOCK].astype(float) / scale * PCM_16)
        coded[first : first + BLOCK] = np.clip(steps, -PCM_16, PCM_16 - 1)
    with whole_file(target) as (file, _):
        wavfile.write(file, rate, coded)


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
    from pedalcalc.compressor.playing import played

    one_unit(compressor)
    scale = scalar("voltage_full_scale", voltage_full_scale, above=0)
    callback("progress", progress)
    chosen = None if channel is None else whole_number("channel", channel)
    target = file_path("path_out", path_out)
    if target.exists() and not yes_no("replace", replace):
        raise FileExistsError(f"{target} exists; choose another name, or replace=True to write over it")
    source = channel_of(file_path("path", path), chosen)
    found = seen(source.path, source.part, source.size)
    rate = scalar("sample_rate", source.rate, least=16_000, most=FILE_RATE_MOST)
    signal = np.empty(source.size, np.float32)
    full, least, most, brightest = scale, np.inf, -np.inf, 0.0

    def volts(first: int, last: int) -> Array:
        return source.part(first, last).astype(float) * scale

    for piece in played(volts, source.size, rate, compressor, found.peak * scale, progress):
        sound = volts(piece.first, piece.first + piece.gains.size) * piece.gains
        signal[piece.first : piece.first + sound.size] = sound / scale
        full = max(full, float(np.max(np.abs(sound))))
        least, most = min(least, float(np.min(piece.gains))), max(most, float(np.max(piece.gains)))
        brightest = max(brightest, piece.current_led)
    _save(target, source.rate, signal, full / scale)
    return RenderedFile(
        path=str(target),
        duration=source.size / rate,
        sample_rate=float(rate),
        voltage_full_scale=full,
        gain_min_db=float(decibels(least)),
        gain_max_db=float(decibels(most)),
        cautions=found.cautions + cautions_of(compressor, current_led=brightest),
    )
