"""One channel of a WAV file, read piece by piece: a long recording is never held whole, nor mapped into memory."""

from __future__ import annotations

import os
import struct
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._result import Caution, caution_below

FILE_RATE_LEAST, FILE_RATE_MOST = 8000, 384000
BLOCK = 2**12  # samples read at a time
CLIPPED_RUN = 3  # so many samples in a row at the top of the scale are called clipped
QUIET = 1e-4  # -80 dB of full scale

Part = Callable[[int, int], NDArray[Any]]


@dataclass(frozen=True, slots=True)
class Channel:
    """Where one channel of a WAV file lies."""

    path: Path
    rate: int
    offset: int  # of the first sample, in bytes
    kind: np.dtype[Any]  # of one sample; of a file of 24 bits that of a byte
    three_bytes: bool
    channels: int
    channel: int
    size: int  # samples of a channel

    @property
    def fraction(self) -> type[np.float32 | np.float64]:
        """What holds its fractions of full scale exactly: 32-bit floats, which have 24 bits, save for 64-bit files."""
        return np.float64 if self.kind.kind == "f" and self.kind.itemsize > 4 else np.float32

    def part(self, first: int, last: int) -> NDArray[Any]:
        """Return some of the samples as fractions of full scale."""
        first, last = max(first, 0), min(last, self.size)
        wide = self.channels * (3 if self.three_bytes else 1)
        with self.path.open("rb") as file:
            file.seek(self.offset + first * wide * self.kind.itemsize)
            raw = np.fromfile(file, self.kind, max(last - first, 0) * wide)
        shape = (-1, self.channels, 3) if self.three_bytes else (-1, self.channels)
        return np.asarray(_fractions(raw.reshape(shape)[:, self.channel]), self.fraction)


def channel_of(path: Path, channel: int | None) -> Channel:
    """Return where a channel of a file lies; refuse a file that is none, or of several channels where none is named."""
    rate, shape, offset, kind = _load(path)
    three_bytes = len(shape) == 3
    channels = 1 if len(shape) == 1 else shape[1]
    if channel is not None and channel >= channels:
        raise ValueError(f"channel must be below {channels}, the number of channels in {path}, got {channel}")
    if channels > 1 and channel is None:
        raise ValueError(
            f"{path} has {channels} channels: choose channel 0 (the left) or 1 (the right), "
            "or export one channel from the recorder"
        )
    if shape[0] == 0:
        raise ValueError(f"{path} holds no samples")
    return Channel(path, rate, offset, kind, three_bytes, channels, channel or 0, shape[0])


class Seen(NamedTuple):
    """What is known of a whole channel."""

    peak: float
    mean: float
    clipped: bool
    cautions: tuple[Caution, ...]


def seen(path: Path, part: Part, size: int) -> Seen:
    """Return peak and mean of so many samples, and whether they are clipped; refuse what is no finite number."""
    top, bottom, total = -np.inf, np.inf, 0.0
    for _, piece in pieces(part, size):
        top, bottom = float(np.maximum(top, piece.max())), float(np.minimum(bottom, piece.min()))
        total += float(np.sum(piece, dtype=float))
    peak = max(top, -bottom)
    if not np.isfinite(peak + bottom):
        raise ValueError(f"{path} holds samples that are no finite numbers")
    clipped = _is_clipped(part, size, top, bottom)
    cautions = caution_below("hardly any sound in the file", "check cable, gain and channel", peak, QUIET, "V")
    if clipped:
        action = "turn the interface's input down and record again"
        cautions += (Caution("recording is clipped", action, peak, 1.0, "V"),)
    return Seen(peak, total / size, clipped, cautions)


def pieces(part: Part, size: int, more: int = 0, block: int = BLOCK) -> Iterator[tuple[int, NDArray[Any]]]:
    """Yield where each block begins, and its samples with so many `more` of the next; none shorter than those."""
    for first in range(0, size - more, block):
        yield first, part(first, first + block + more)


def _load(path: Path) -> tuple[int, tuple[int, ...], int, np.dtype[Any]]:
    """Return rate, shape, place and kind of a file's samples; what maps them only tells, and no page of it is read."""
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
                rate, shape, offset = _three_bytes(path)
                kind = np.dtype(np.uint8)
            else:
                shape, kind = samples.shape, samples.dtype
                offset = samples.offset if samples.size else 0
    except Exception as problem:  # the reader raises a different kind for each way a file can be broken
        raise ValueError(
            f"{path} is not a complete WAV file of plain samples: copy it again whole, or export it as WAV with 16, 24 or "
            "32 bits"
        ) from problem
    if not FILE_RATE_LEAST <= rate <= FILE_RATE_MOST:
        raise ValueError(f"sample rate of {path} must be {FILE_RATE_LEAST} to {FILE_RATE_MOST} Hz, got {rate} Hz")
    return rate, shape, offset, kind


def _three_bytes(path: Path) -> tuple[int, tuple[int, int, int], int]:
    """Return rate, shape and place of a file of 24 bits, each sample three bytes."""
    rate = channels = 0
    with path.open("rb") as file:
        file.seek(12)
        while len(head := file.read(8)) == 8:
            name, size = struct.unpack("<4sI", head)
            if name == b"data" and channels:
                if size > path.stat().st_size - file.tell():
                    raise ValueError("it ends before its samples do")
                return rate, (size // (3 * channels), channels, 3), file.tell()
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


def _is_clipped(part: Part, size: int, top: float, bottom: float) -> bool:
    """Tell whether several samples in a row stand at the top (or bottom) of the scale."""
    for side, most in ((1, top), (-1, -bottom)):
        least = max(0.99, most - 1e-4)
        if most < least:
            continue
        for _, piece in pieces(part, size, CLIPPED_RUN - 1):
            at_top = side * piece >= least
            run = at_top[: at_top.size - CLIPPED_RUN + 1].copy()
            for k in range(1, CLIPPED_RUN):
                run &= at_top[k : k + run.size]
            if run.any():
                return True
    return False
