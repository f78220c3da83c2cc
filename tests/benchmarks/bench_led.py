"""Exact LED points against the bare special function underneath and against a root finder in a loop."""

from __future__ import annotations

from statistics import median
from time import process_time

import numpy as np
from scipy.optimize import brentq
from scipy.special import wrightomega

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.devices import LED_RED_ALINGAP, typical
from pedalcalc.laws._plain import series_current
from pedalcalc.led import operating_point

LAMP = typical(LED_RED_ALINGAP)
POINTS = 1_000_000
LOOPED = 2_000
REPEATS = 9


def _time(function):
    start = process_time()
    function()
    return process_time() - start


def _paired(ours, theirs):
    """Return the median of the ratios of neighbouring runs, in processor time, so that a busy machine hits both alike."""
    ours(), theirs()
    return median(_time(ours) / _time(theirs) for _ in range(REPEATS))


def _inputs(count):
    random = np.random.default_rng(1)
    return random.uniform(2.0, 18.0, count), 10.0 ** random.uniform(2, 5, count)


def _argument(voltage, resistance):
    """Return what the omega function is called with for these points, and nothing else around it."""
    nvt = LAMP.ideality * VOLTAGE_THERMAL_300K
    scaled = (resistance + LAMP.resistance_series) * LAMP.current_saturation / nvt
    return np.ascontiguousarray(np.broadcast_to(np.log(scaled) + scaled + voltage / nvt, (POINTS,)))


def _loop(voltage, resistance):
    nvt = LAMP.ideality * VOLTAGE_THERMAL_300K
    total = resistance + LAMP.resistance_series
    return [
        brentq(lambda i, v=v, r=r: nvt * np.log1p(i / LAMP.current_saturation) + i * r - v, 0.0, v / r, xtol=1e-18)
        for v, r in zip(voltage, total, strict=True)
    ]


def _ours(voltage, resistance):
    return series_current(
        voltage,
        resistance=resistance + LAMP.resistance_series,
        current_saturation=LAMP.current_saturation,
        ideality=LAMP.ideality,
    )


def rows() -> list[tuple[str, float, str]]:
    """Return (claim, measured ratio, budget) for each claim."""
    voltage, resistance = _inputs(POINTS)
    found = []
    for words, v, r in (
        ("a million supplies, one resistor", voltage, np.float64(3300.0)),
        ("one supply, a million resistors", np.float64(9.0), resistance),
        ("a million supplies and resistors", voltage, resistance),
    ):
        x = _argument(v, r)
        for name, solve in (
            ("currents", lambda v=v, r=r: _ours(v, r)),
            ("whole LED points", lambda v=v, r=r: operating_point(v, resistance=r, led=LAMP)),
        ):
            ratio = _paired(solve, lambda x=x: wrightomega(x))
            found.append((f"exact {name}, {words}: time over the bare omega call", ratio, "at most 1.3"))
    v, r = voltage[:LOOPED], resistance[:LOOPED]
    np.testing.assert_allclose(_ours(v, r), _loop(v, r), rtol=1e-9)
    per_loop = median(_time(lambda: _loop(v, r)) for _ in range(3)) / LOOPED
    per_point = (
        median(_time(lambda: operating_point(voltage, resistance=resistance, led=LAMP)) for _ in range(3)) / POINTS
    )
    found.append(("whole LED points: speed-up over a brentq loop", per_loop / per_point, "at least 100"))
    return found


if __name__ == "__main__":
    for claim, ratio, budget in rows():
        print(f"{claim}: {ratio:.2f} ({budget})")
