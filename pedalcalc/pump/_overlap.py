"""A two-diode doubler stepped in time, for where both diodes conduct at once.

Overloaded, or on a supply of a few tenths of a volt, the supply comes straight through both diodes for part of
the time and there is no closed form. Each stage of the L-stable method of Hairer and Wanner solves both diodes
together; the steps are finest where a half period begins, and are doubled until the output stands still.
"""

from __future__ import annotations

import itertools
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

from pedalcalc._refusal import Unsolved
from pedalcalc.pump._pulse import Array, Circuit, Settled

# The method of order four with five equal diagonal stages of 1/4, HAIRER-WANNER table IV.6.5: its last stage is the step.
_GAMMA = 1 / 4
_STAGES = (
    (),
    (1 / 2,),
    (17 / 50, -1 / 25),
    (371 / 1360, -137 / 2720, 15 / 544),
    (25 / 24, -49 / 48, 125 / 16, -85 / 12),
)
_PLACES = (1 / 4, 3 / 4, 11 / 20, 1 / 2, 1.0)
_SHARES = (*_STAGES[-1], _GAMMA)

#: Numbers of steps in half a period, from rough to fine.
_STEPS = (6, 12, 24, 48, 96, 192)
#: Step of a voltage, well below any n Vt, from which on slopes may be kept; the longest step
#: that is taken, and one that is none.
_NEAR, _FAR, _DONE = 2e-3, 3.0, 1e-7


class Period(NamedTuple):
    """State after one period, and what it held: charges, means, extremes and the pump tone of the output."""

    pump: Array
    output: Array
    into_pump: Array  # charge
    into_output: Array
    taken: Array  # charge from the supply
    mean: Array
    real: Array
    imaginary: Array
    highest: Array
    lowest: Array
    diodes: Array
    highest_pump: Array
    lowest_pump: Array


_MEAN = Period._fields.index("mean")


def one_period(circuit: Circuit, pump: Array, output: Array, steps: int) -> Period:
    """Step from where charging begins, both capacitors standing at `pump` and `output`, to where it begins again.

    `np.errstate` is the caller's: a current so small that it underflows is nothing.
    """
    supply, load, period, c1, c2, r1, esr, r_s, i_s, n = circuit
    half = period / 2
    # The first of six steps is a third of the quicker time constant, so that a spike of current is never stepped over.
    quick = c1 * np.minimum(r1 + r_s, (r1 + r_s + esr) / (1 + c1 / c2))
    finest = np.clip(np.log(3 * half / quick) / np.log(6), 3, 12)
    mesh = [(k / steps) ** finest for k in range(steps + 1)]
    # What both diodes or both capacitors have stands in one array, the flying capacitor's first.
    volts = np.array(np.broadcast_arrays(pump, output, load)[:2], float)
    shape = volts.shape[1:]
    store = np.array([np.broadcast_to(c, shape) for c in (c1, c2)])
    currents = np.broadcast_to(load, volts.shape)
    zero, flow, drive = np.zeros(shape), np.empty(volts.shape), np.empty(volts.shape)
    taken, mean, real, imaginary = (zero,) * 4
    charges, passed, energy = (np.zeros(volts.shape) for _ in range(3))
    highest, lowest = zero - np.inf, zero + np.inf
    highest_pump, lowest_pump = volts[0], volts[0]
    for delivers in (False, True):
        level = supply if delivers else 0 * supply
        for begin, end in itertools.pairwise(mesh):
            h = (end - begin) * half
            e = esr + _GAMMA * h / c2
            pair = _pair(r1 + _GAMMA * h / c1, [np.broadcast_to(r, shape) for r in (r_s, r_s + e)], i_s, n)
            slopes: list[Array] = []
            for known, place, share in zip(_STAGES, _PLACES, _SHARES, strict=True):
                v = volts + h * sum((a * s for a, s in zip(known, slopes, strict=True)), start=0.0)
                drive[0] = supply - level - v[0]
                drive[1] = level + v[0] - v[1] + e * load
                currents = _both(drive, pair, currents)
                flow[0] = currents[0] - currents[1]
                flow[1] = currents[1] - load
                slopes.append(flow / store)
                v = v + _GAMMA * h * slopes[-1]
                out = v[1] + esr * flow[1]
                weight = share * h
                charges = charges + weight * flow
                taken = taken + weight * currents[int(delivers)]
                mean = mean + weight * out
                angle = np.pi * (delivers + begin + place * (end - begin))
                real, imaginary = real + weight * out * np.cos(angle), imaginary + weight * out * np.sin(angle)
                forward = weight * (currents + i_s)
                drop = r_s * currents + n * np.log1p(np.maximum(currents / i_s, -1 + 1e-16))
                passed, energy = passed + forward, energy + forward * drop
                highest, lowest = np.maximum(highest, out), np.minimum(lowest, out)
            volts = v
            highest_pump, lowest_pump = np.maximum(highest_pump, v[0]), np.minimum(lowest_pump, v[0])
    return Period(
        volts[0],
        volts[1],
        charges[0],
        charges[1],
        taken,
        mean / period,
        real / period,
        imaginary / period,
        highest,
        lowest,
        (energy / passed).sum(axis=0),
        highest_pump,
        lowest_pump,
    )


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
    return _Pair(shared, each, each + shared, scale, np.log(i_s / scale) + i_s / scale, i_s, n)


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


class _Search(NamedTuple):
    """Circuits, one-dimensional, and what lies between their supply and their pins."""

    circuit: Circuit
    source: Array
    idle: Array

    def some(self, which: NDArray[Any]) -> _Search:
        return _Search(Circuit(*(each[which] for each in self.circuit)), self.source[which], self.idle[which])


def settle_overlap(circuit: Circuit, source: Array, idle: Array, state: Array) -> tuple[Settled, Array]:
    """Solve for the state that repeats after a period, and for the supply at the pin behind `source`.

    `circuit.supply` is ahead of `source` here, every array one-dimensional, and `state` where to begin: flying and
    output capacitor when charging begins, and the pin. The steps are doubled until the mean output moves by less than
    0.2 mV, so that it is then good to a tenth of that.
    """
    search = _Search(circuit, source, idle)
    size = circuit.supply.size
    resistance, matrix = np.zeros(size), np.zeros((size, 3, 3))
    periods = np.full((len(Period._fields), size), np.nan)
    for _ in range(2):  # a small flying capacitor follows at once
        state[0] += _missed(search, state, _STEPS[0])[1][0]
    moving = np.arange(size)
    for steps in _STEPS:
        own, before = search.some(moving), periods[_MEAN, moving]
        state[:, moving], periods[:, moving], matrix[moving], astray = _repeating(
            own, state[:, moving], steps, matrix[moving]
        )
        if steps <= _STEPS[1]:
            continue
        matrix[moving], resistance[moving] = _slopes(own, state[:, moving], steps)
        moving = moving[astray | (np.abs(periods[_MEAN, moving] - before) > 2e-4)]
        if not moving.size:
            break
    else:
        raise Unsolved("the overlapping diodes did not converge", np.isin(np.arange(size), moving))
    period = Period(*periods)
    settled = Settled(
        period.mean,
        resistance,
        period.highest - period.lowest,
        np.sqrt(2) * np.hypot(period.real, period.imaginary),
        period.highest_pump - period.lowest_pump,
        period.diodes,
        period.taken / circuit.period,
        state[0],
        state[1],
        np.zeros(size, bool),
    )
    return settled, state[2]


def _repeating(
    search: _Search, state: Array, steps: int, matrix: Array
) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Return repeating state (flying capacitor, output capacitor, pin), its period, the last slopes, and what is astray.

    Newton's method; near the solution the slopes are kept as long as every step shrinks to a fifth of the one before.
    """
    count = state.shape[1]
    last, active = np.full(count, np.inf), np.arange(count)
    periods = np.zeros((len(Period._fields), count))
    for _ in range(60):
        own = search.some(active)
        here, slopes = state[:, active], matrix[active]
        periods[:, active], miss = _missed(own, here, steps)
        step, size = _step(slopes, miss)
        stale = (size > np.minimum(last[active] / 5, _NEAR)) & (size > _DONE)
        if stale.any():
            slopes[stale], _ = _slopes(own.some(stale), here[:, stale], steps)
            step[:, stale], size[stale] = _step(slopes[stale], miss[:, stale])
        state[:, active] = here + step * (_FAR / np.maximum(size, _FAR))
        matrix[active], last[active] = slopes, size
        active = active[size > _DONE]
        if not active.size:
            break
    return state, periods, matrix, last > _DONE


def _step(matrix: Array, miss: Array) -> tuple[Array, Array]:
    """Return Newton's step and its size; a map that does not answer to the state at all still says which way to go."""
    step = np.linalg.solve(matrix - 1e-9 * np.eye(3), -miss.T[:, :, None])[:, :, 0].T
    return np.asarray(step), np.asarray(np.abs(step).max(axis=0))


def _missed(search: _Search, state: Array, steps: int) -> tuple[Period, Array]:
    """Return the period from a state, and by how much state and pin miss where they should be after it."""
    circuit, source, idle = search
    period = one_period(circuit._replace(supply=state[2]), state[0], state[1], steps)
    held = np.where(np.isinf(circuit.output), circuit.pump, circuit.output)
    pin = circuit.supply - source * (period.taken / circuit.period + idle)
    return period, np.array([period.into_pump / circuit.pump, period.into_output / held, pin - state[2]])


def _slopes(search: _Search, state: Array, steps: int) -> tuple[Array, Array]:
    """Return the slopes of what is missed by the state, one matrix an element, and the output resistance."""
    circuit = search.circuit
    tiny = 1e-5 * (1 + np.abs(circuit.supply))
    small = 1e-4 * (circuit.load + circuit.current_saturation)
    # The state itself, each of its three voltages shifted, and the load shifted.
    shift = np.vstack([np.zeros((1, 4)), np.eye(4)]).T[:, :, None]
    loaded = search._replace(circuit=circuit._replace(load=circuit.load + small * shift[3]))
    shifted, missed = _missed(loaded, state[:, None] + tiny * shift[:3], steps)
    by_state = (missed[:, 1:4] - missed[:, :1]) / tiny
    by_load, mean = (missed[:2, 4] - missed[:2, 0]) / small, shifted.mean - shifted.mean[0]
    matrix = np.moveaxis(by_state, 2, 0)
    # The output resistance counts from a fixed voltage at the pin: its row and column leave the matrix.
    follow = np.linalg.solve(matrix[:, :2, :2] - 1e-9 * np.eye(2), -by_load.T[:, :, None])[:, :, 0].T
    return matrix, -(mean[4] / small + (mean[1:3] / tiny * follow).sum(axis=0))
