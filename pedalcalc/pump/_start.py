"""A two-diode doubler from empty capacitors on, period by period.

While no blocking diode conducts, either half period is closed: charging, w = N/(R j) grows so that w + ln w rises
by H/(R C1); delivering, time is an elementary function of the last current. Where diodes overlap, as in the first
periods, they are stepped. Many periods are taken at once by the map of one period, g the change over it and A its
slope: N periods move the state by (1 + A + ... + A^(N-1)) g. That is all of it where the map is straight; how much
it bends is measured at the far end, corrected for and kept small. `np.errstate` is the caller's throughout.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

from pedalcalc._refusal import Unsolved
from pedalcalc.pump._overlap import one_period
from pedalcalc.pump._pulse import Array, Circuit, Pulse, area

#: Steps in half a period where the diodes overlap.
_STEPS = 12
#: Forward current of a blocking diode, as a share of the load's, that counts as nothing here.
_NOTHING = 1e-4
#: Correction for its bend that a leap may have, as a share of what is then missing; and the shift for slopes [V].
_BEND, _SHIFT = 0.005, 1e-4
#: Longest leap across the target, as a share of the periods before it.
_ACROSS = 0.01


def periods_to(circuit: Circuit, target: Array, final: Array) -> Array:
    """Return after how many periods the mean output of one passes `target` on its way to `final`; all one-dimensional."""
    size = target.size
    found = np.full(size, np.nan)
    here, there = np.zeros((2, size)), np.zeros((2, size))  # where the last leap began and ended
    count, leap, last, began = np.zeros(size), np.ones(size), np.ones(size), np.zeros(size)
    grows = np.ones(size, bool)
    active = np.arange(size)
    for _ in range(50000):
        if not active.size:
            return found
        part, aim, n = Circuit(*(each[active] for each in circuit)), target[active], leap[active]
        ahead = _leap(part, there[:, active], n, final[active], aim)

        crossed = ahead.mean >= aim
        short = crossed & (last[active] <= np.maximum(1, _ACROSS * count[active]))
        done = active[short]
        share = (target[done] - ahead.mean[short]) / (ahead.mean[short] - began[done])
        found[done] = count[done] + np.where(count[done] == 0, 0.0, last[done] * share)
        # Too long a leap across the target is taken again in pieces.
        back = active[crossed & ~short]
        count[back] -= last[back]
        there[:, back], leap[back], grows[back] = here[:, back], np.ceil(last[back] / 2), False

        taken = ~crossed & ((ahead.bend < 1) | (n == 1))
        on = active[taken]
        here[:, on], began[on], last[on] = there[:, on], ahead.mean[taken], n[taken]
        there[:, on] = ahead.state[:, taken]
        count[on] += n[taken]
        rest = active[~crossed]
        factor = np.clip(0.8 * np.maximum(ahead.bend[~crossed], 1e-9) ** (-1 / 3), 0.3, np.where(grows[rest], 4.0, 1.0))
        leap[rest] = np.maximum(1, np.where(factor > 1.2, np.ceil(leap[rest] * factor), np.floor(leap[rest] * factor)))
        active = active[~short]
    raise Unsolved("the start was not followed to its end", np.isin(np.arange(size), active))


class _Leap(NamedTuple):
    """Mean output over the period before a leap, the state behind it, and its bend as a share of what is allowed."""

    mean: Array
    state: Array
    bend: Array


def _leap(circuit: Circuit, state: Array, n: Array, final: Array, target: Array) -> _Leap:
    """Leap over `n` periods from a state, one of which is exact."""
    after, means = one_map(circuit, state[:, None] + _SHIFT * np.eye(3)[1:, :, None])
    change, slope = after[:, 0] - state, (after[:, 1:] - after[:, :1]) / _SHIFT
    far = state + _of_slope(lambda e: _sum_of_powers(e, n), slope, change)
    behind, mean = one_map(circuit, far)
    missed = behind - far - _of_slope(lambda e: _power(e, n), slope, change)
    more = np.where(n == 1, 0.0, _of_slope(lambda e: _weight_of_squares(e, n), slope, missed))
    missing = final - np.minimum(mean, target)
    return _Leap(means[0], far + more, np.abs(more).max(axis=0) / (_BEND * missing))


def _of_slope(function: Callable[[Array], Array], slope: Array, vector: Array) -> Array:
    """Return a function of the two-by-two slope, by both its eigenvalues, times the vector."""
    half, product = (slope[0, 0] + slope[1, 1]) / 2, slope[0, 0] * slope[1, 1] - slope[0, 1] * slope[1, 0]
    apart = 2 * np.sqrt(np.maximum(half**2 - product, 1e-16))
    upper, lower = half + apart / 2, half - apart / 2
    turned = (slope * vector[None]).sum(axis=1) - lower * vector
    return np.asarray(function(lower) * vector + (function(upper) - function(lower)) / apart * turned)


def _power(eigenvalue: Array, n: Array) -> Array:
    return np.where(eigenvalue > 0, np.exp(n * np.log(np.minimum(eigenvalue, 1))), 0.0)


def _sum_of_powers(eigenvalue: Array, n: Array) -> Array:
    return np.where(eigenvalue < 1, (1 - _power(eigenvalue, n)) / (1 - eigenvalue), n)


def _weight_of_squares(eigenvalue: Array, n: Array) -> Array:
    """Return what a change that grows as the square of the periods to one at the last has added up to by then."""
    m = np.where(eigenvalue > 0, -n * np.log(np.clip(eigenvalue, 1e-300, 1)), 700.0 * n)
    return n * np.where(m > 0.05, 1 / m - 2 / m**2 - 2 * np.expm1(-m) / m**3, 1 / 3 - m / 12 + m**2 / 60)


def one_map(circuit: Circuit, state: Array) -> tuple[Array, Array]:
    """Return the state after one period, charging first, and the mean output over it; `state` may hold several a circuit."""
    after, mean, alone = _closed_map(circuit, *state)
    if not np.all(alone):
        parts = Circuit(*(np.broadcast_to(each, mean.shape)[~alone] for each in circuit))
        period = one_period(parts, state[0, ~alone], state[1, ~alone], _STEPS)
        after[:, ~alone], mean[~alone] = (period.pump, period.output), period.mean
    return after, mean


def _closed_map(circuit: Circuit, pump: Array, output: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    supply, load, period, c1, c2, r1, esr, r_s, i_s, n = circuit
    j, half = load + i_s, period / 2
    r, back = r1 + r_s, i_s * r_s
    w = 1 / wrightomega(np.log(r * i_s / n) + (supply + back - pump) / n)
    w = wrightomega(half / (r * c1) + w + np.log(w))
    last = n / (r * w)
    end = r * last + n * np.log(last / i_s)
    charged = supply + back - end
    low = output - j * half / c2
    blocked2 = supply + back - (end - last * r1) + back - low + j * esr

    loop, both = r + esr, c1 * c2 / (c1 + c2)
    a = j * c1 / (c1 + c2)
    start = supply + charged + back + j * esr - low
    first = n / loop * wrightomega(np.log(loop * i_s / n) + start / n)
    x, y, last, above = _delivered(first, a, loop, n, half / both)
    passed = both * (loop * (first - last) + n * x) + a * half
    after = np.array([charged - passed / c1, low + (passed - j * half) / c2])
    blocked1 = back + np.maximum(first * r1 - charged, last * r1 - after[0])
    alone = (first > a) & (i_s * np.exp(np.maximum(blocked1, blocked2) / n) < _NOTHING * j)

    # The pulse in units of the load's current, for its mean.
    share = a / j
    pulse = Pulse(share, loop * j / n, j * half / both / n, x, y, first / j, last / j, (first - a) / j, above / j, y)
    logs = (pulse.rho + 1 / share) * area(pulse) / pulse.room - x**2 / (2 * share * pulse.room)
    held = loop * (first - passed / half) + n * (x - logs) + a * half / (2 * both)  # mean of passed/both
    mean2 = low + (held * both - j * half / 2) / c2 + esr * (passed / half - j)
    mean1 = (output + low) / 2 - esr * j
    return after, (mean1 + mean2) / 2, alone & np.isfinite(after).all(axis=0)


def _delivered(first: Array, a: Array, loop: Array, n: Array, rate: Array) -> tuple[Array, Array, Array, Array]:
    """Return x, y and last current, whole and above a, of a pulse from its first: loop y + n (y - x)/a = rate.

    Newton's method in y, from the pulse that would die away to nothing.
    """
    over = first - a
    w = n / (loop * over)
    y = np.log(over * loop / n * wrightomega(rate / loop + w + np.log(w)))
    for _ in range(50):
        above = over * np.exp(-y)
        slack = np.log1p(a * (over - above) / (first * above)) / a
        step = (loop * y + n * slack - rate) / (loop + n / (a + above))
        moves = np.abs(step) > 1e-14 * np.abs(y)
        if not moves.any():
            break
        y = np.where(moves, y - step, y)
    above = over * np.exp(-y)
    return np.log(first / (a + above)), y, a + above, above
