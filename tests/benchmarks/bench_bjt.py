"""How much an exact divider bias point costs beside the bare Wright omega call.

Run with ``python -m tests.benchmarks.bench_bjt``; not collected by pytest.
"""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import median
from time import process_time

import numpy as np
from scipy.optimize import brentq
from scipy.special import wrightomega

from pedalcalc import bjt, devices

PART = devices.typical(devices.BJT_2N3904)

POINTS = 1_000_000
LOOPED = 2_000
REPEATS = 9
VT = 1.380649e-23 * 300 / 1.602176634e-19


def _time(call):
    start = process_time()
    call()
    return process_time() - start


def _paired(ours, theirs):
    """Return the median of the ratios of neighbouring runs, in processor time, so that a busy machine hits both alike."""
    ours(), theirs()
    return median(_time(ours) / _time(theirs) for _ in range(REPEATS))


def _draws(count):
    """A divider-biased stage with 5 % resistors, gain 100 to 300 and a 6 to 9.6 V supply, as built."""
    random = np.random.default_rng(7)

    def spread(value):
        return value * random.uniform(0.95, 1.05, count)

    return {
        "voltage_supply": random.uniform(6.0, 9.6, count),
        "resistance_top": spread(68e3),
        "resistance_bottom": spread(15e3),
        "resistance_collector": spread(4.7e3),
        "resistance_emitter": spread(1e3),
        "current_gain": random.uniform(100, 300, count),
    }


def _loop_terms(stage):
    v_th = stage["voltage_supply"] * stage["resistance_bottom"] / (stage["resistance_top"] + stage["resistance_bottom"])
    r_th = v_th / stage["voltage_supply"] * stage["resistance_top"]
    beta = stage["current_gain"]
    return v_th, r_th / beta + stage["resistance_emitter"] * (1 + 1 / beta)


def _argument(stage):
    """Return what the omega function is called with for these points, and nothing else around it."""
    v_th, k = _loop_terms(stage)
    return np.log(k * PART.current_saturation / VT) + v_th / VT


def _one_by_one(v_th, k):
    i_s = PART.current_saturation
    return [
        brentq(lambda x, v=v, k=k: v - x - k * i_s * math.expm1(x / VT), 0.0, 1.2) for v, k in zip(v_th, k, strict=True)
    ]


def rows() -> list[tuple[str, float, str]]:
    """Return (claim, measured ratio, budget)."""
    stage = _draws(POINTS)
    argument = _argument(stage)
    v_th, k = (part[:LOOPED] for part in _loop_terms(stage))

    gains = stage.pop("current_gain")
    built = {**stage, "transistor": replace(PART, current_gain=gains), "temperature": 300.0}

    def exact():
        bjt.divider_bias(**built)

    few = {name: value[:LOOPED] for name, value in stage.items()}
    few |= {"transistor": replace(PART, current_gain=gains[:LOOPED]), "temperature": 300.0}
    return [
        (
            "a million exact divider-bias points over the bare Wright omega call",
            _paired(exact, lambda: wrightomega(argument)),
            "at most 3",
        ),
        (
            "brentq loop over exact divider-bias points, 2000 of each",
            _paired(
                lambda: _one_by_one(v_th, k),
                lambda: bjt.divider_bias(**few),
            ),
            "reported",
        ),
    ]


if __name__ == "__main__":
    for claim, ratio, budget in rows():
        print(f"{claim}: {ratio:.2f} ({budget})")
