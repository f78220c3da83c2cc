"""One half-wave after the other, in plain floats: each hangs on the one before.

The formulas are those of `_cycle`. Where conduction begins, the drive meets the falling held voltage: their difference
is concave and rises, so Newton's steps from the left never jump over the root. Where it ends, the search is kept
inside a bracket.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from pedalcalc._refusal import Unsolved
from pedalcalc._units import shown
from pedalcalc.sidechain._cycle import Cycle, memory, steady_current
from pedalcalc.sidechain._newton import Array

MOST_STEPS = 100
CREST = math.pi / 2

HalfWave = Callable[[float, float], tuple[float, float, float, float]]


def half_wave(cycle: Cycle, span: float) -> HalfWave:
    """Return the function from the voltage before a half-wave to all that happens in it.

    It takes that voltage and a guess of the angle at which conduction ends, and gives the angles at which
    conduction begins and ends (infinite without conduction), the voltage at that end, and the voltage before the next.
    """
    push, lead, constant = (float(x) for x in steady_current(cycle))
    slowness = float(memory(cycle))
    decay = float(cycle.conductance / (cycle.capacitance * cycle.turn))
    loss = float(cycle.leakage / (cycle.capacitance * cycle.turn))
    peak, diode = float(cycle.peak), float(cycle.diode)
    sin, cos, exp, expm1, asin = math.sin, math.cos, math.exp, math.expm1, math.asin

    def left(voltage: float, angle: float) -> float:
        if not loss:
            return voltage * exp(-decay * angle)
        kept = -expm1(-decay * angle) / decay if decay else angle
        return max(voltage * exp(-decay * angle) - loss * kept, 0.0)

    def begin_at(voltage: float) -> float:
        latest = asin(min((voltage + diode) / peak, 1.0))
        x = asin(min((left(voltage, latest) + diode) / peak, 1.0))
        for _ in range(MOST_STEPS):
            held = left(voltage, x)
            slope = peak * cos(x) + (decay * held + loss if held > 0 else 0.0)
            if slope <= 0:
                return x
            step = (held + diode - peak * sin(x)) / slope
            x += step
            if step <= 4e-16:
                return x
        raise Unsolved(f"no beginning of conduction found after {shown(voltage, 'V')}")

    def end_at(begin: float, guess: float) -> float:
        first = push * sin(begin + lead) + constant
        low, high, x, before = CREST, math.pi, guess, math.pi
        for _ in range(MOST_STEPS):
            faded = first * exp((begin - x) / slowness) if slowness else 0.0
            flow = push * sin(x + lead) + constant - faded
            if flow == 0:
                return x
            if flow > 0:
                low = x
            else:
                high = x
            slope = push * cos(x + lead) + (faded / slowness if slowness else 0.0)
            step = -flow / slope if slope else math.inf
            size = abs(step)
            if low <= x + step <= high and (size < 1e-5 or size <= 0.5 * before):
                x += step
                if size <= 1e-15 or (size < 1e-5 and size > 0.9 * before):
                    return x
                before = size
            else:
                x, before = 0.5 * (low + high), 0.5 * (high - low)
                if before <= 1e-15:
                    return x
        raise Unsolved(f"no end of conduction found from {math.degrees(begin):g} °")

    def follow(voltage: float, guess: float) -> tuple[float, float, float, float]:
        if peak - diode - left(voltage, CREST) <= 0:
            return math.inf, math.inf, voltage, left(voltage, span)
        begin = begin_at(voltage)
        end = end_at(begin, guess)
        after = peak * sin(end) - diode
        return begin, end, after, left(after, span - end)

    return follow


def walk(cycle: Cycle, span: float, count: int) -> tuple[Array, float, bool]:
    """Return a row for each half-wave from an empty capacitor on, the voltage after them, and whether it is steady.

    A row holds the voltage before the half-wave, the angles at which conduction begins and ends, and the voltage
    at that end. There are fewer than `count` rows where the voltage has become steady sooner.
    """
    follow = half_wave(cycle, span)
    close = 1e-15 * float(cycle.peak)
    rows = []
    voltage, guess = 0.0, 0.75 * math.pi
    for _ in range(count):
        begin, end, after, later = follow(voltage, guess)
        rows.append((voltage, begin, end, after))
        if abs(later - voltage) <= close:
            return np.array(rows), later, True
        voltage = later
        if end < math.inf:
            guess = end
    return np.array(rows), voltage, False
