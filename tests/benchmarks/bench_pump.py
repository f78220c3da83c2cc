"""How fast the voltage budget is against what a builder would otherwise write."""

from __future__ import annotations

import math
import time

import numpy as np
from scipy.optimize import brentq

from pedalcalc import devices, supply
from tests.test_supply_budget import RAIL

UNITS = 100_000
SCHOTTKY = devices.typical(devices.DIODE_1N5817)
NVT = SCHOTTKY.ideality * 1.380649e-23 * 300 / 1.602176634e-19


def diode_voltage(current: float) -> float:
    """Return a diode's drop by a bracketing root finder on its exponential law."""
    part = SCHOTTKY

    def excess(volts: float) -> float:
        return part.current_saturation * math.expm1((volts - current * part.resistance_series) / NVT) - current

    return float(brentq(excess, 0.0, 2.0, xtol=1e-12))


def by_hand(supply: float, load: float, direct: float) -> float:
    """Return the swing of one unit, written out with `math` and a root finder: a stiff output, diodes as drop and slope."""
    drawn = direct + 2 * load + RAIL.converter.current_idle_boosted
    pin = supply - diode_voltage(drawn) - 10.0 * drawn
    slope = NVT / (2 * load + SCHOTTKY.current_saturation) + SCHOTTKY.resistance_series
    phase = RAIL.converter.resistance_switch + slope + 1.0
    out = 1 / math.tanh(1 / (4 * 22.5e3 * phase * 10e-6)) / (22.5e3 * 10e-6)
    top = 2 * pin - 2 * (diode_voltage(2 * load) - 2 * load * slope) - load * out - load * 47.0
    return top - 3.0


def _best(run, times: int = 3) -> float:
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        spent.append(time.perf_counter() - start)
    return min(spent)


def rows() -> list[tuple[str, float, str]]:
    """Measure; return (claim, figure, budget)."""
    draw = np.random.default_rng(1)
    volts = draw.uniform(8.5, 9.6, UNITS)
    load = draw.uniform(0.002, 0.010, UNITS)
    direct = draw.uniform(0.001, 0.004, UNITS)

    def whole():
        return supply.voltage_budget(
            voltage_supply=volts, current_load=load, current_direct=direct, voltage_peak=2.0, rail=RAIL
        )

    few = 200

    def singly():
        for k in range(few):
            supply.voltage_budget(
                voltage_supply=float(volts[k]),
                current_load=float(load[k]),
                current_direct=float(direct[k]),
                voltage_peak=2.0,
                rail=RAIL,
            )

    def plainly():
        for k in range(2000):
            by_hand(float(volts[k]), float(load[k]), float(direct[k]))

    whole()
    seconds = _best(whole)
    loop = _best(singly) * UNITS / few
    plain = _best(plainly) * UNITS / 2000
    swing = whole().voltage_swing
    assert max(abs(swing[k] - by_hand(float(volts[k]), float(load[k]), float(direct[k]))) for k in range(50)) < 0.02
    return [
        (f"voltage budget of {UNITS:,} units, seconds", seconds, "at most 0.2"),
        ("the same unit by unit over the array call", loop / seconds, "at least 200"),
        ("a hand-written loop (math, brentq, fewer figures) over the array call", plain / seconds, "reported"),
    ]
