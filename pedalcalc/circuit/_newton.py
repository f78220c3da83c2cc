"""The operating point of many units at once: limited Newton steps, and two longer ways for what they do not solve.

1. Newton's method on all unknowns; each law is met at terminal volts that its own `limited` allows, so that no exponential
   runs away, and no place moves more than `STEP` volts at once.
2. What is left goes up with the supply: all sources from nothing to full, in steps that grow and shrink.
3. What is still left is powered up: op-amp outputs become slow states, as they are on a bench, everything else follows;
   at first from nothing, then from either rail, for circuits that hold one of two states.
4. What none of these solves starts from places scattered between the supply's volts: outputs that fight each other may have
   one state only, which no ramp leads to.

A unit is solved when the currents into each place cancel to `RELATIVE` of their sum, `ABSOLUTE`, and what one rounding of
each voltage makes. No conductance is added anywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit._groups import Amplifiers, Ease
from pedalcalc.circuit._system import Reduced, Split, System

Array = NDArray[np.float64]

RELATIVE, ABSOLUTE = 1e-12, 1e-12
STEP = 3.0
#: Volts by which outputs of op-amps may first pass their limits, and the size of a step that ends this.
WIDE, NEAR = 30.0, 0.1
#: Step in time, over an op-amp's time constant at its open-loop gain, at which its output has settled.
SETTLED = 1e3
#: Stray capacitance of every net over an op-amp's open-loop time constant [S] (about 10 pF over 10 ms).
STRAY = 1e-9
#: Rounding of every unknown, in units of the last place, that a residual may show.
ROUNDINGS = 4.0
_EPS = np.finfo(float).eps
#: Volts by which a law may be met beside its terminals, linearised, and count as met there: a rounding.
SAME = 1e-12
#: Steps after which long ones (beyond FAR volts) are shortened to a share: two corners can throw a unit to and fro.
PATIENCE, FAR, HELD = 40, 0.01, 0.4
#: Step after which it is worth to judge the residual [V].
CLOSE = 1e-3
#: Starts that are scattered where no other way leads to a stable state.
SCATTERED = 20
#: Bytes that the matrices of the units solved at once may take: what a processor keeps at hand.
CHUNK = 3_000_000


_Way = Callable[..., tuple[Array, Any, Any]]


@dataclass(frozen=True, slots=True)
class Solved:
    """Voltages of all places, which units are solved, and the sign of the determinant of the slopes there."""

    voltages: Array  # (units, n + 1)
    good: Any  # (units,)
    sign: Any  # (units,)


class _Room:
    """Arrays that every step of a set of units fills anew."""

    def __init__(self, system: System, units: int) -> None:
        n = system.size
        self.value, self.jacobian = np.empty((units, n)), np.empty((units, n, n))
        counts = [group.at.shape for group in system.groups]
        self.flow = np.empty((sum(terminals * parts for terminals, parts in counts), units))
        self.slope = np.empty((sum(terminals**2 * parts for terminals, parts in counts), units))


def _meet(
    system: System,
    voltages: Array,
    true: list[Array],
    met: list[Array],
    scale: Array,
    eases: list[Ease | None],
    room: _Room,
) -> tuple[Array, Array, Array]:
    """Return the sum of the currents out of each place, its Jacobian, and the laws' currents (terminals, units).

    Each law is linearised at the terminal volts where it is `met`; `true` are those of the places.
    """
    units, n = len(voltages), system.size
    value, jacobian = room.value[:units], room.jacobian[:units]
    np.matmul(system.matrix, voltages[:, :n, None], out=value[:, :, None])
    value -= system.driven * scale[:, None]
    jacobian[...] = system.matrix
    flow, slope = room.flow[:, :units], room.slope[:, :units]
    first = second = 0
    for k, group in enumerate(system.groups):
        amps, siemens = group.branch(met[k], eases[k])
        if met[k] is not true[k]:
            amps = amps + (siemens * (true[k] - met[k])[:, None]).sum(axis=2)
        terminals, parts = group.at.shape
        last, end = first + terminals * parts, second + terminals**2 * parts
        weight = group.weight[:, None]
        np.multiply(amps.transpose(1, 2, 0), weight, out=flow[first:last].reshape(terminals, parts, units))
        np.multiply(
            siemens.transpose(1, 2, 3, 0), weight, out=slope[second:end].reshape(terminals, terminals, parts, units)
        )
        first, second = last, end
    if system.groups:
        to = system.contributions
        to.flows.add(value, flow)
        to.slopes.add(jacobian.reshape(units, n * n), slope)
    return value, jacobian, flow


def jacobian(system: System, voltages: Array) -> Array:
    """Return the slopes of all equations at full supply; of what floats in some units, ones on the diagonal there."""
    units, n = len(voltages), system.size
    if system.pieces:
        found = np.zeros((units, n, n))
        found[:, range(n), range(n)] = 1.0
        for piece in system.pieces:
            inner, own = piece.kept[:-1], voltages[piece.units[:, None], piece.kept]
            found[piece.units[:, None, None], inner[:, None], inner] = jacobian(piece.system, own)
        return found
    volts = [group.volts(voltages, 1.0) for group in system.groups]
    return _meet(system, voltages, volts, volts, np.ones(units), [None] * len(volts), _Room(system, units))[1]


def _above(system: System) -> float:
    """Return the most that a terminal stands above its place [V]."""
    return max((float(np.abs(group.above).max(initial=0.0)) for group in system.groups), default=0.0)


def _cancels(
    system: System, near: Any, voltages: Array, value: Array, jacobian: Array, flow: Array, scale: Array
) -> Any:
    """Return in which units of those `near` the currents into every place cancel, as well as numbers can."""
    if len(near) < len(value):
        voltages, value, jacobian, flow, scale = (
            voltages[near], value[near], jacobian[near], flow[:, near], scale[near]
        )  # fmt: skip
    matrix, driven = (one[near] if 1 < len(one) != len(near) else one for one in (system.matrix, system.driven))
    volts = np.abs(voltages[:, : system.size, None])
    size = np.matmul(np.abs(matrix), volts)[:, :, 0] + np.abs(driven * scale[:, None])
    if system.groups:
        system.contributions.flows.add(size, np.abs(flow))
    rounding = ROUNDINGS * _EPS * np.matmul(np.abs(jacobian), volts + _above(system))[:, :, 0]
    return (np.abs(value) <= RELATIVE * size + ABSOLUTE + rounding).all(axis=1)


def solve_each(matrix: Array, right: Array) -> tuple[Array, Any]:
    """Solve every system; NaN, and True in the second array, where one is singular."""
    column = right.ndim == matrix.ndim - 1
    given = right[..., None] if column else right
    try:
        found, singular = np.linalg.solve(matrix, given), np.zeros(len(matrix), bool)
    except np.linalg.LinAlgError:
        sign, _ = np.linalg.slogdet(matrix)
        singular = (sign == 0) | ~np.isfinite(matrix).all(axis=(1, 2))
        found = np.full(np.broadcast_shapes(given.shape, (*matrix.shape[:-1], 1)), np.nan, given.dtype)
        if not singular.all():
            found[~singular] = np.linalg.solve(matrix[~singular], given[~singular])
    return np.asarray(found[..., 0] if column else found), singular


def newton(
    system: System,
    start: Array,
    *,
    scale: Any = 1.0,
    anchor: Any = None,
    steps: int = 150,
    share: Any = 1.0,
    held: Any = None,
    wide: bool = True,
    signed: bool = True,
    lent: Any = None,
) -> tuple[Array, Any, Any]:
    """Take limited Newton steps from `start`; return voltages, what is solved, and the sign of the determinant there.

    The sign stays 0 where nobody asks for it, since it costs as much as a step: not `signed`.
    With `wide`, outputs of op-amps may first go past their limits, until what they feed has found its place; `anchor` [S]
    ties every place to where it starts, as its capacitance does for one step in time; `lent` are the input offsets of the
    op-amps of the unit from whose state all start.
    """
    n, units, nodes = system.size, len(start), len(system.places)
    result, good, sign = start.copy(), np.zeros(units, bool), np.zeros(units)
    room = _Room(system, units)
    state = _State(
        np.arange(units), system, np.array(start, order="F"), np.broadcast_to(np.asarray(scale, float), (units,)),
        np.full(units, WIDE if wide and system.amplifiers else 0.0),
        np.broadcast_to(np.asarray(share, float), (units,)), held, anchor, start,
    )  # fmt: skip
    with np.errstate(all="ignore"):
        true = [group.volts(state.voltages, state.scale) for group in system.groups]
        met, eases = true, state.eases()
        if not state.voltages.any():  # a cold start: no law is met with the whole supply across it
            met = [group.limited(true[k], 0.0 * true[k], eases[k]) for k, group in enumerate(system.groups)]
        elif lent is not None:
            met = [
                g.lent(at, lent) if isinstance(g, Amplifiers) else at for g, at in zip(system.groups, true, strict=True)
            ]
        exact = _alike(true, met, units)
        for taken in range(steps):
            value, slopes, flow = _meet(state.system, state.voltages, true, met, state.scale, eases, room)
            if state.anchor is not None:
                value[:, :nodes] += state.anchor[:, None] * (state.voltages - state.start)[:, :nodes]
                slopes[:, range(nodes), range(nodes)] += state.anchor[:, None]
            done = exact & (state.wide == 0) & (state.reach < CLOSE)
            if done.any():
                near = np.flatnonzero(done)
                done[near] = _cancels(state.system, near, state.voltages, value, slopes, flow, state.scale)
            step, singular = solve_each(slopes, np.negative(value, out=value))
            if done.any():
                at = state.units[done]  # the step is a rounding by now; it takes off what the judgment leaves
                result[at], good[at] = state.voltages[done], True
                result[at, :n] += np.where(np.abs(step[done]) < CLOSE, step[done], 0.0)
                if signed:
                    sign[at] = np.linalg.slogdet(slopes if done.all() else slopes[done])[0]
            step = np.asfortranarray(step)
            size = np.abs(step)
            keep = np.flatnonzero(~(done | singular) & np.isfinite(size.max(axis=1, initial=0.0)))
            if not len(keep):
                break
            if len(keep) < len(step):
                state.keep(keep)
                step, size = step.T.take(keep, axis=1).T, size.T.take(keep, axis=1).T
                met = [at.transpose(1, 2, 0).take(keep, axis=2).transpose(2, 0, 1) for at in met]
            reach = state.reach = size[:, :nodes].max(axis=1, initial=0.0)
            state.wide = np.where(reach < NEAR, 0.0, state.wide)
            step *= np.minimum(1.0, STEP / np.maximum(reach, 1e-300))[:, None]
            if taken >= PATIENCE:
                step *= np.where(reach > FAR, HELD, 1.0)[:, None]
            state.voltages[:, :n] += step
            eases = state.eases()
            true = [group.volts(state.voltages, state.scale) for group in state.system.groups]
            met = [group.limited(true[k], met[k], eases[k]) for k, group in enumerate(state.system.groups)]
            exact = _alike(true, met, len(step))
    return result, good, sign


def _alike(true: list[Array], met: list[Array], units: int) -> Any:
    """Return in which units every law is met where its terminals are."""
    exact = np.ones(units, bool)
    for new, at in zip(true, met, strict=True):
        if at is not new:
            exact &= (np.abs(at - new) <= SAME).all(axis=(1, 2))
    return exact


class _State:
    """The units still on their way."""

    def __init__(
        self, units: Any, system: System, voltages: Array, scale: Array, wide: Array, share: Any, held: Any, anchor: Any, start: Array,
    ) -> None:  # fmt: skip
        self.units, self.system, self.voltages, self.scale, self.wide = units, system, voltages, scale, wide
        self.share, self.held, self.anchor, self.start = share, held, anchor, start
        self.reach = np.zeros(len(voltages))

    def keep(self, which: Any) -> None:
        self.units, self.voltages = self.units[which], self.voltages.T.take(which, axis=1).T
        self.system, self.scale, self.wide = self.system.take(which), self.scale[which], self.wide[which]
        self.share, self.start, self.reach = self.share[which], self.start[which], self.reach[which]
        if self.anchor is not None:
            self.anchor = self.anchor[which]
        if self.held is not None:
            self.held = self.held[which]

    def eases(self) -> list[Ease | None]:
        """Return for each group how far its op-amps are from their law, None where they are at it."""
        at_law = (self.share == 1.0).all() and self.held is None and not self.wide.any()
        eases: list[Ease | None] = []
        for group in self.system.groups:
            if at_law or not isinstance(group, Amplifiers):
                eases.append(None)
                continue
            shape = (len(self.units), group.at.shape[1])
            held = np.zeros(shape) if self.held is None else self.held
            wide = np.broadcast_to(self.wide[:, None], shape)
            eases.append(Ease(np.broadcast_to(self.share[:, None], shape), held, wide))
        return eases


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


def powered(system: System, start: Array, at_rail: float = 0.0) -> tuple[Array, Any, Any]:
    """Power the board up: op-amp outputs are slow states, nets have stray capacitance; `at_rail` starts outputs off.

    Implicit steps in time, each unit at its own pace; `growth` is the step over an output's time constant.
    """
    units = len(start)
    good, sign = np.zeros(units, bool), np.zeros(units)
    amplifiers = system.amplifiers
    voltages = start.copy()
    held = np.full((units, 0 if amplifiers is None else amplifiers.at.shape[1]), 20.0 * at_rail)
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
        lent = alone.amplifiers.figures[0].offset if alone.amplifiers else None
    elif start is not None and len(start) == 1 < count and system.amplifiers:
        lent = np.zeros((1, system.amplifiers.at.shape[1]))  # the usual unit's
    split = system.split()
    side = system.size if split is None else len(split.kept) - 1
    pieces = -(-count * 8 * side**2 // CHUNK) if side else 1
    most = -(-count // max(pieces, 1))
    found = Solved(np.zeros((count, system.size + 1)), np.zeros(count, bool), np.zeros(count))
    for at in range(0, count, most):
        part = slice(at, min(at + most, count))
        some = system if part == slice(0, count) else system.take(part)
        begin = start if start is None or len(start) == 1 else start[part]
        _solve(some, split, begin, lent, found.voltages[part], found.good[part], found.sign[part])
    return found


def _apart(system: System, start: Array | None) -> Solved:
    """Solve the units that have equations of their own."""
    units = system.units
    found = Solved(np.full((units, system.size + 1), np.nan), np.zeros(units, bool), np.zeros(units))
    for piece in system.pieces:
        own = None if start is None else np.nan_to_num(start[:, piece.kept])
        part = own[piece.units] if own is not None and len(own) > 1 else own
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
    warm: list[tuple[_Way, Array]] = [] if start is None else [(follow, np.broadcast_to(start, cold.shape))]
    ways: tuple[_Way, ...] = (
        newton,
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
    size = np.matmul(np.abs(matrix), np.abs(volts))[:, :, 0] + np.abs(driven)
    fits = (np.abs(value) <= RELATIVE * size + ABSOLUTE).all(axis=1)
    signs = signs * (reduced.sign[at] if len(reduced.sign) > 1 else reduced.sign)
    if not fits.all():  # a step or two for what rounding left
        off = np.flatnonzero(~fits)
        again, good, own = newton(system.take(at[off]), whole[off], steps=6, wide=False)
        whole[off], signs[off] = again, np.where(good, own, 0.0)
    return whole, signs
