"""What a law costs when a solver calls it: a hundred parts a call beside the bare special function, and one part alone.

Run with ``python -m tests.benchmarks laws``; not collected by pytest.
"""

from __future__ import annotations

from statistics import median
from time import process_time

import numpy as np
from scipy.special import wrightomega

from pedalcalc import devices
from pedalcalc.laws import amplifiers, junctions, transistors

CALLS = 2_000
REPEATS = 9


def _seconds(call):
    start = process_time()
    for _ in range(CALLS):
        call()
    return (process_time() - start) / CALLS


def _cases(count):
    random = np.random.default_rng(3)
    kelvin = np.asarray(300.0)
    volts, near = random.uniform(-5, 2, count), random.uniform(-1e-5, 1e-5, count)
    lamp = junctions.figures(devices.typical(devices.LED_RED_GAASP), kelvin)
    bipolar = transistors.bipolar_figures(devices.typical(devices.BJT_2N3904), kelvin)
    channel = transistors.channel_figures(devices.typical(devices.JFET_2N5457))
    op_amp = amplifiers.amplifier_figures(devices.typical(devices.OPAMP_TL072))
    return {
        "junction with series resistance": lambda: junctions.branch(volts, lamp),
        "bipolar transistor": lambda: transistors.bipolar_branch(0.3 * volts, volts, bipolar),
        "channel": lambda: transistors.channel_branch(volts, volts + 1.0, channel),
        "op-amp": lambda: amplifiers.amplifier_branch(near, volts, volts + 9.0, volts - 9.0, op_amp),
    }


def rows() -> list[tuple[str, float, str]]:
    """Return (claim, measured figure, budget) for each law."""
    argument = np.random.default_rng(3).uniform(-5, 2, 100) / 0.05 - 40.0
    bare = median(_seconds(lambda: wrightomega(argument)) for _ in range(REPEATS))
    found = []
    for name, call in _cases(100).items():
        figure = median(_seconds(call) for _ in range(REPEATS)) / bare
        found.append((f"{name}, 100 in one call: time over 100 bare omega values", figure, "reported"))
    for name, call in _cases(1).items():
        found.append(
            (
                f"{name}, one part: microseconds a call",
                1e6 * median(_seconds(call) for _ in range(REPEATS)),
                "at most 20",
            )
        )
    return found


if __name__ == "__main__":
    for claim, figure, budget in rows():
        print(f"{claim}: {figure:.2f} ({budget})")
