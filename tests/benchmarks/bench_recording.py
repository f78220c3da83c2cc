"""Memory that long recordings take, over the size of the file; each in a process of its own."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import tracemalloc
from pathlib import Path

import numpy as np
import scipy.signal  # noqa: F401 (what it takes itself is not the recording's)
from scipy.io import wavfile

from pedalcalc.compressor import SETTLE_2DB, measure_recording, write_bursts
from pedalcalc.compressor.sound import read_wav

MEGABYTES = (30, 100)


def _take(path: Path, megabytes: float) -> None:
    """Write a recording of that size, 16 bits, one channel: a minute's silence, the test tones, and silence to the end."""
    tones = path.with_name("tones.wav")
    rate = int(write_bursts(tones, definition=SETTLE_2DB).sample_rate)
    played = wavfile.read(tones)[1]
    signal = np.zeros(round(megabytes * 1e6 / 2), np.int16)
    signal[60 * rate :][: played.size] = played // 2
    wavfile.write(path, rate, signal)


def _peak(what: str, megabytes: float) -> float:
    """Return the most memory held at once while a recording is read or measured, over the size of its file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        _take(path, megabytes)
        tracemalloc.start()
        if what == "read":
            read_wav(path)
        else:
            measure_recording(path, definition=SETTLE_2DB)
        return tracemalloc.get_traced_memory()[1] / path.stat().st_size


def _alone(what: str, megabytes: float) -> float:
    command = [sys.executable, "-m", "tests.benchmarks.bench_recording", what, str(megabytes)]
    return float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def rows() -> list[tuple[str, float, str]]:
    """Return claim, measured figure and budget."""
    return [
        (f"memory to {what} a recording of {size} MB, over its size", _alone(what, size), f"at most {most} times")
        for what, most in (("read", "2.1"), ("measure", "3"))
        for size in MEGABYTES
    ]


if __name__ == "__main__":
    if len(sys.argv) == 3:
        print(_peak(sys.argv[1], float(sys.argv[2])))
    else:
        for claim, figure, budget in rows():
            print(f"{claim}: {figure:.3g} ({budget})")
