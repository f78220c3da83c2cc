"""A two-diode doubler stepped in time, for where both diodes conduct at once.

Overloaded, or on a supply of a few tenths of a volt, the supply comes straight through both diodes for part of
the time and there is no closed form. Each stage of the L-stable method of Hairer and Wanner solves both diodes
together; the steps are finest where a half period begins.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import wrightomega

from pedalcalc.pump._pulse import Array, Circuit

# The method of order four with five equal diagonal stages of 1/4, HAIRER-WANNER table IV.6.5: its last stage is the step.
GAMMA = 1 / 4
STAGES = (
    (),
    (1 / 2,),
    (17 / 50, -1 / 25),
    (371 / 1360, -137 / 2720, 15 / 544),
    (25 / 24, -49 / 48, 125 / 16, -85 / 12),
)
PLACES = (1 / 4, 3 / 4, 11 / 20, 1 / 2, 1.0)
SHARES = (*STAGES[-1], GAMMA)


class Period(NamedTuple):
    """State after one period, and the mean output over it."""

    pump: Array
    output: Array
    mean: Array


def lengths(circuit: Circuit, steps: int) -> Array:
    """Return the lengths of the steps of half a period, which grow as a power, one row a step.

    The first of six is a third of the quicker time constant, so that a spike of current is never stepped over.
    """
    _, _, period, c1, c2, r1, esr, r_s, _, _ = circuit
    half = period / 2
    quick = c1 * np.minimum(r1 + r_s, (r1 + r_s + esr) / (1 + c1 / c2))
    finest = np.clip(np.log(3 * half / quick) / np.log(6), 3, 12)
    return np.asarray(half * np.diff((np.arange(steps + 1) / steps)[:, None] ** finest, axis=0))


def log_scale(i_s: Array, scale: Array) -> Array:
    """Return what stands beside s/n in the law j = scale ω(... + s/n) of a diode and its resistance."""
    return np.asarray(np.log(i_s / scale) + i_s / scale)


def one_period(circuit: Circuit, pump: Array, output: Array, steps: int) -> Period:
    """Step from where charging begins, both capacitors standing at `pump` and `output`, to where it begins again.

    All arrays are one-dimensional; `np.errstate` is the caller's: a current so small that it underflows is nothing.
    """
    supply, load, period, c1, c2, r1, esr, r_s, i_s, n = circuit
    # What both diodes or both capacitors have stands in one array, the flying capacitor's first.
    volts = np.stack([pump, output])
    store = np.stack([c1, c2])
    currents = np.stack([load, load])
    flow, drive, mean = np.empty(volts.shape), np.empty(volts.shape), np.zeros(load.shape)
    for delivers in (False, True):
        level = supply if delivers else 0 * supply
        for h in lengths(circuit, steps):
            e = esr + GAMMA * h / c2
            pair = _pair(r1 + GAMMA * h / c1, [np.broadcast_to(r, load.shape) for r in (r_s, r_s + e)], i_s, n)
            slopes: list[Array] = []
            for known, share in zip(STAGES, SHARES, strict=True):
                v = volts + h * sum((a * s for a, s in zip(known, slopes, strict=True)), start=0.0)
                drive[0] = supply - level - v[0]
                drive[1] = level + v[0] - v[1] + e * load
                currents = _both(drive, pair, currents)
                flow[0] = currents[0] - currents[1]
                flow[1] = currents[1] - load
                slopes.append(flow / store)
                v = v + GAMMA * h * slopes[-1]
                mean = mean + share * h * (v[1] + esr * flow[1])
            volts = v
    return Period(volts[0], volts[1], mean / period)


class _Pair(NamedTuple):
    """Both diodes with the resistance in their ways, and what their laws need of it at every stage of a step."""

    shared: Array
    own: Array
    all: Array
    scale: Array
    offset: Array
    i_s: Array
    n: Array


def _pair(shared: Array, own: list[Array], i_s: Array, n: Array) -> _Pair:
    each = np.array(own)
    scale = n / (each + shared)
    return _Pair(shared, each, each + shared, scale, log_scale(i_s, scale), i_s, n)


def _both(drive: Array, pair: _Pair, currents: Array) -> Array:
    """Return the currents of two diodes, each lifted by `shared` times the other's current; `currents` are a guess.

    With s the voltage of a diode and all resistance in its way, `own` and `shared`, s1 = drive1 + shared i2(s2) and
    the other way round. Both currents are convex and rise with s, so that Newton's method climbs to the solution
    from its second step on.
    """
    shared, own, whole, scale, offset, i_s, n = pair
    s = drive + shared * currents[::-1]
    for _ in range(100):
        j = scale * wrightomega(offset + s / n)
        currents = j - i_s
        # Slopes of the currents, and what is left of one over their determinant without the difference of near equals.
        p, q = own * j + n, whole * j + n
        g = j / q
        over = q[0] * q[1] / (shared * (p[0] * j[1] + p[1] * j[0]) + p[0] * p[1])
        miss = drive + shared * currents[::-1] - s
        step = (miss + shared * (g * miss)[::-1]) * over
        # Each element stops by itself, so that it comes out the same in any company; the last step counts in full, and
        # leaves what is of second order in it.
        moves = np.abs(step).sum(axis=0) > 1e-7 * n + 2e-15 * over * np.abs(s).sum(axis=0)
        if not moves.any():
            break
        s = np.where(moves, s + step, s)
    return np.asarray(currents + g * step)
