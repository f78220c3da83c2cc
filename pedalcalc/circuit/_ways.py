"""The operating point of many units at once: Newton's method, and longer ways for what it does not solve from nothing.

1. Newton's method on all unknowns (`_newton.py`).
2. What is left goes up with the supply: all sources from nothing to full, in steps that grow and shrink; where many are
   left, a few go first, and the rest follows from where they stand.
3. What is still left is powered up: op-amp outputs become slow states, as they are on a bench, everything else follows;
   at first from nothing, then from either rail, for circuits that hold one of two states.
4. What none of these solves starts from places scattered between the supply's volts: outputs that fight each other may have
   one state only, which no ramp leads to.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit._newton import ABSOLUTE, RELATIVE, Solved, newton
from pedalcalc.circuit._system import Reduced, Split, System
from pedalcalc.circuit.elements import of_units

Array = NDArray[np.float64]

#: Step in time, over an op-amp's time constant at its open-loop gain, at which its output has settled.
SETTLED = 1e3
#: Stray capacitance of every net over an op-amp's open-loop time constant [S] (about 10 pF over 10 ms).
STRAY = 1e-9
#: Starts that are scattered where no other way leads to a stable state.
SCATTERED = 20
#: Units that are ramped to lead others, and from how many on that saves time.
LEADERS, MANY = 8, 32
#: Bytes that the matrices of the units solved at once may take, and most units: what a processor keeps at hand.
CHUNK, MOST = 12_000_000, 10_000

_Method = Callable[..., tuple[Array, Any, Any]]


def ramped(system: System, start: Array) -> tuple[Array, Any, Any]:
    """Raise all sources from nothing to full, unit by unit at its own pace."""
    units = len(start)
    voltages, reached, step = np.zeros_like(start), np.zeros(units), np.full(units, 0.1)
    good, sign = np.zeros(units, bool), np.zeros(units)
    for _ in range(120):
        left = np.flatnonzero(~good & (step > 1e-4))
        if not len(left):
            break
        aim = np.minimum(1.0, reached[left] + step[left])
        found, fits, signs = newton(system.take(left), voltages[left], scale=aim, steps=50, wide=False)
        at = left[fits]
        voltages[at], reached[at], sign[at] = found[fits], aim[fits], signs[fits]
        step[at] *= 2.0
        step[left[~fits]] /= 4.0
        good = reached >= 1.0
    return voltages, good, sign


def guided(system: System, start: Array) -> tuple[Array, Any, Any]:
    """Raise the sources of a few of many units, and follow the others from where each of these stands.

    A net that follows an op-amp's offset stands elsewhere in each unit, and the first one is near few of them.
    """
    units = len(start)
    voltages, good, sign = start.copy(), np.zeros(units, bool), np.zeros(units)
    if units < MANY:
        return voltages, good, sign
    first = np.arange(LEADERS)
    voltages[first], good[first], sign[first] = ramped(system.take(first), start[first])
    for one in first[good[first] & (sign[first] > 0)]:
        left = np.flatnonzero(~good)
        if not len(left):
            break
        begin = np.broadcast_to(voltages[one], (len(left), start.shape[1]))
        lent = _offsets(system.take(np.array([one])))
        found, fits, signs = newton(system.take(left), begin, steps=20, wide=False, lent=lent)
        at, fits = left[fits & (signs > 0)], fits & (signs > 0)
        voltages[at], good[at], sign[at] = found[fits], True, signs[fits]
    return voltages, good, sign


def powered(system: System, start: Array, at_rail: Any = 0.0) -> tuple[Array, Any, Any]:
    """Power the board up: op-amp outputs are slow states, nets have stray capacitance; `at_rail` (a number or (units,)) starts outputs off.

    Implicit steps in time, each unit at its own pace; `growth` is the step over an output's time constant.
    """
    units = len(start)
    good, sign = np.zeros(units, bool), np.zeros(units)
    amplifiers = system.amplifiers
    voltages = start.copy()
    outputs = 0 if amplifiers is None else amplifiers.at.shape[1]
    held = 20.0 * np.reshape(at_rail, (-1, 1)) * np.ones((units, outputs))
    growth = np.full(units, 1e-7)
    for _ in range(160):
        left = np.flatnonzero(~good & (growth > 1e-12))
        if not len(left):
            break
        part = system.take(left)
        share = growth[left] / (1 + growth[left])
        before = (1 - share)[:, None] * held[left]
        found, fits, _ = newton(
            part,
            voltages[left],
            steps=50,
            share=share,
            held=before,
            wide=False,
            anchor=STRAY / growth[left],
            signed=False,
        )
        at = left[fits]
        voltages[at] = found[fits]
        if part.amplifiers is not None:
            volts = part.amplifiers.volts(found, 1.0)
            law, _ = part.amplifiers.figures
            wished = share[:, None] * law.gain * (volts[:, 0] - volts[:, 1]) + before
            half = 0.5 * np.maximum(volts[:, 3] - volts[:, 4], 0.0)
            held[at] = np.clip(wished, -half, half)[fits]
        end = np.flatnonzero(fits & (growth[left] > SETTLED))
        if len(end):
            at = left[end]
            found, fits_all, signs = newton(system.take(at), voltages[at], wide=False)
            done = at[fits_all]
            voltages[done], sign[done], good[done] = found[fits_all], signs[fits_all], True
            growth[at[~fits_all]] = 0.0
        growth[left[fits]] *= 2.0
        growth[left[~fits]] /= 8.0
    return voltages, good, sign


def scattered(system: System, start: Array, number: int) -> tuple[Array, Any, Any]:
    """Take Newton steps from places scattered between the volts that sources hold, the same ones for each `number`."""
    held = [np.zeros(1), system.linear.above.ravel(), *(group.above.ravel() for group in system.groups)]
    low, high = min(one.min(initial=0.0) for one in held), max(one.max(initial=0.0) for one in held)
    at = start.copy()
    nodes = len(system.places)
    at[:, :nodes] = np.random.default_rng(number).uniform(low, high, nodes)
    return newton(system, at, wide=False)


def solve(system: System, start: Array | None = None, *, units: int | None = None) -> Solved:
    """Return the operating points; what no way solves is marked, never given a guess as an answer.

    Many units start from where the first one stands, or from `start`, their own or the usual unit's without offsets; what
    does not follow from there starts cold.
    What floats in some units only has NaN there.
    """
    if system.pieces:
        return _apart(system, start)
    count = system.units if units is None else units
    lent = None
    if start is None and count > 1:
        alone = system.take(np.zeros(1, int))
        first = solve(alone, units=1)
        start = first.voltages if first.good[0] else None
        lent = _offsets(alone)
    elif start is not None and len(start) == 1 < count and system.amplifiers:
        lent = np.zeros((1, system.amplifiers.at.shape[1]))  # the usual unit's
    split = system.split()
    side = system.size if split is None else len(split.kept) - 1
    pieces = max(-(-count * 8 * side**2 // CHUNK), -(-count // MOST))
    most = -(-count // max(pieces, 1))
    found = Solved(np.zeros((count, system.size + 1)), np.zeros(count, bool), np.zeros(count))
    for at in range(0, count, most):
        part = slice(at, min(at + most, count))
        some = system if part == slice(0, count) else system.take(part)
        begin = start if start is None or len(start) == 1 else start[part]
        _solve(some, split, begin, lent, found.voltages[part], found.good[part], found.sign[part])
    return found


def _offsets(system: System) -> Any:
    """Return the offsets of all op-amps [V], None where there are none."""
    return system.amplifiers.figures[0].offset if system.amplifiers else None


def _apart(system: System, start: Array | None) -> Solved:
    """Solve the units that have equations of their own."""
    units = system.units
    found = Solved(np.full((units, system.size + 1), np.nan), np.zeros(units, bool), np.zeros(units))
    for piece in system.pieces:
        part = None if start is None else of_units(np.nan_to_num(start[:, piece.kept]), piece.units)
        solved = solve(piece.system, part, units=len(piece.units))
        found.voltages[piece.units[:, None], piece.kept] = solved.voltages
        found.good[piece.units], found.sign[piece.units] = solved.good, solved.sign
    return found


def _solve(
    system: System, split: Split | None, start: Array | None, lent: Any, voltages: Array, good: Any, sign: Any
) -> None:
    """Solve one chunk of units, and fill in what is found."""
    count = len(voltages)
    reduced = None if split is None else system.reduced(split)
    small = system if reduced is None else reduced.system
    cold = np.zeros((count, system.size + 1))
    follow = partial(newton, steps=20, wide=False, lent=lent)
    warm: list[tuple[_Method, Array]] = [] if start is None else [(follow, np.broadcast_to(start, cold.shape))]
    ways: tuple[_Method, ...] = (
        newton,
        guided,
        ramped,
        powered,
        partial(powered, at_rail=-1.0),
        partial(powered, at_rail=1.0),
        *(partial(scattered, number=k) for k in range(SCATTERED)),
    )
    for way, begin in (*warm, *((way, cold) for way in ways)):
        left = np.flatnonzero(~good)
        if not len(left):
            break
        at_start = begin[left] if reduced is None else begin[left][:, reduced.split.kept]
        found, fits, signs = way(small if len(left) == count else small.take(left), at_start)
        at, found, signs = left[fits], found[fits], signs[fits]
        if not len(at):
            continue
        if reduced is not None:
            found, signs = _expanded(system, reduced, found, signs, at)
        voltages[at], sign[at], good[at] = found, signs, signs > 0
    sign[~good] = 0.0


def _expanded(system: System, reduced: Reduced, found: Array, signs: Any, at: Any) -> tuple[Array, Any]:
    """Return the voltages of all places from those of some, and the sign of all slopes; 0 where they do not fit.

    The laws' currents were judged in the reduced equations. What is judged here is the rest: that the linear currents
    cancel where no law is, and elsewhere are those of the reduced equations.
    """
    whole = reduced.expand(found, at)
    n = system.size

    def mine(array: Array) -> Array:
        return array[at] if len(array) > 1 and len(at) < len(array) else array

    matrix, driven, volts = mine(system.matrix), mine(system.driven), whole[:, :n, None]
    value = np.matmul(matrix, volts)[:, :, 0] - driven
    inner = reduced.system
    value[:, reduced.split.kept[:-1]] -= np.matmul(mine(inner.matrix), found[:, :-1, None])[:, :, 0] - mine(
        inner.driven
    )
    left = np.abs(value)
    fits = (left <= ABSOLUTE).all(axis=1)
    if not fits.all():
        size = np.matmul(np.abs(matrix), np.abs(volts))[:, :, 0] + np.abs(driven)
        fits = (left <= RELATIVE * size + ABSOLUTE).all(axis=1)
    signs = signs * of_units(reduced.sign, at)
    if not fits.all():  # a step or two for what rounding left
        off = np.flatnonzero(~fits)
        again, good, own = newton(system.take(at[off]), whole[off], steps=6, wide=False)
        whole[off], signs[off] = again, np.where(good, own, 0.0)
    return whole, signs
