"""Memory that long recordings take, over the size of the file; each in a process of its own."""

from __future__ import annotations

import resource
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


def _most() -> float:
    """Return the most memory that the process has held so far, that of the one which started it included [bytes]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)


def _peak(what: str, how: str, path: Path) -> float:
    """Return the most memory held at once while a recording is read or measured, over the size of its file."""
    before = _most()
    if how == "allocated":
        tracemalloc.start()
    if what == "read":
        read_wav(path)
    else:
        measure_recording(path, definition=SETTLE_2DB)
    most = tracemalloc.get_traced_memory()[1] if how == "allocated" else _most() - before
    return most / path.stat().st_size


def rows() -> list[tuple[str, float, str]]:
    """Return claim, measured figure and budget."""
    found = []
    for size in MEGABYTES:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "take.wav"
            _alone("write", str(size), path)
            for what in ("read", "measure"):
                for how in ("allocated", "resident"):
                    claim = f"memory {how} to {what} a recording of {size} MB, over its size"
                    found.append((claim, float(_alone(what, how, path)), "at most 2 times"))
    return found


def _alone(what: str, how: str, path: Path) -> str:
    command = [sys.executable, "-m", "tests.benchmarks.bench_recording", what, how, str(path)]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout


if __name__ == "__main__":
    if sys.argv[1:2] == ["write"]:
        _take(Path(sys.argv[3]), float(sys.argv[2]))
    elif len(sys.argv) == 4:
        print(_peak(sys.argv[1], sys.argv[2], Path(sys.argv[3])))
    else:
        for claim, figure, budget in rows():
            print(f"{claim}: {figure:.3g} ({budget})")
