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
from pedalcalc.circuit._system import System

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
CHUNK = 4_000_000


@dataclass(frozen=True, slots=True)
class Solved:
    """Voltages of all places, which units are solved, and the last slopes."""

    voltages: Array  # (units, n + 1)
    good: Any  # (units,)
    jacobian: Array  # (units, n, n)
    sign: Any  # (units,), sign of its determinant


def _meet(
    system: System, voltages: Array, true: list[Array], met: list[Array], scale: Array, eases: list[Ease | None]
) -> tuple[Array, Array, Array]:
    """Return the sum of the currents out of each place, its Jacobian, and the laws' currents.

    Each law is linearised at the terminal volts where it is `met`; `true` are those of the places.
    """
    units, n = len(voltages), system.size
    linear = np.matmul(system.matrix, voltages[:, :n, None])[:, :, 0] - system.driven * scale[:, None]
    value = np.array(np.broadcast_to(linear, (units, n)))
    jacobian = np.array(np.broadcast_to(system.matrix, (units, n, n)))
    if not system.groups:
        return value, jacobian, np.zeros((units, 0))
    currents, slopes = [], []
    for k, group in enumerate(system.groups):
        flow, slope = group.branch(met[k], eases[k])
        if met[k] is not true[k]:
            flow = flow + (slope * (true[k] - met[k])[:, None]).sum(axis=2)
        currents.append((flow * group.weight).reshape(units, -1))
        slopes.append((slope * group.weight).reshape(units, -1))
    to = system.contributions
    flow, slope = np.concatenate(currents, axis=1), np.concatenate(slopes, axis=1)
    value[:, to.target_flow] += np.add.reduceat(flow[:, to.pick_flow], to.starts_flow, axis=1)
    flat = jacobian.reshape(units, n * n)
    flat[:, to.target] += np.add.reduceat(slope[:, to.pick], to.starts, axis=1)
    return value, jacobian, flow


def _cancels(system: System, voltages: Array, value: Array, jacobian: Array, flow: Array, scale: Array) -> Any:
    """Return in which units the currents into every place cancel, as well as numbers can."""
    n = system.size
    volts = np.abs(voltages[:, :n, None])
    size = np.matmul(np.abs(system.matrix), volts)[:, :, 0] + np.abs(system.driven * scale[:, None])
    size = np.array(np.broadcast_to(size, value.shape))
    if flow.shape[1]:
        to = system.contributions
        size[:, to.target_flow] += np.add.reduceat(np.abs(flow[:, to.pick_flow]), to.starts_flow, axis=1)
    above = max((float(np.abs(group.above).max(initial=0.0)) for group in system.groups), default=0.0)
    rounding = ROUNDINGS * _EPS * np.matmul(np.abs(jacobian), volts + above)[:, :, 0]
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
    lent: Any = None,
) -> tuple[Array, Any, Array]:
    """Take limited Newton steps from `start`; return voltages, what is solved, and the Jacobians there.

    With `wide`, outputs of op-amps may first go past their limits, until what they feed has found its place; `anchor` [S]
    ties every place to where it starts, as its capacitance does for one step in time; `lent` are the input offsets of the
    op-amps of the unit from whose state all start.
    """
    n, units, nodes = system.size, len(start), len(system.places)
    result, good = start.copy(), np.zeros(units, bool)
    jacobians = np.zeros((units, n, n))
    state = _State(
        np.arange(units), system, start.copy(), np.broadcast_to(np.asarray(scale, float), (units,)),
        np.full(units, WIDE if wide and system.amplifiers else 0.0),
        np.broadcast_to(np.asarray(share, float), (units,)), held, anchor, start,
    )  # fmt: skip
    with np.errstate(all="ignore"):
        true = [group.volts(state.voltages, state.scale) for group in system.groups]
        met = true
        if not state.voltages.any():  # a cold start: no law is met with the whole supply across it
            eases = state.eases()
            met = [group.limited(true[k], 0.0 * true[k], eases[k]) for k, group in enumerate(system.groups)]
        elif lent is not None:
            met = [
                g.lent(at, lent) if isinstance(g, Amplifiers) else at for g, at in zip(system.groups, true, strict=True)
            ]
        exact = _alike(true, met, units)
        for taken in range(steps):
            value, jacobian, flow = _meet(state.system, state.voltages, true, met, state.scale, state.eases())
            if state.anchor is not None:
                value[:, :nodes] += state.anchor[:, None] * (state.voltages - state.start)[:, :nodes]
                jacobian[:, range(nodes), range(nodes)] += state.anchor[:, None]
            done = exact & (state.wide == 0) & (state.reach < CLOSE)
            if done.any():
                near = np.flatnonzero(done)
                whole = len(near) == len(done)
                part = state.system if whole else state.system.take(near)
                done[near] = _cancels(
                    part, state.voltages[near], value[near], jacobian[near], flow[near], state.scale[near]
                )
            step, singular = solve_each(jacobian, -value)
            if done.any():
                at = state.units[done]  # the step is a rounding by now; it takes off what the judgment leaves
                result[at], good[at], jacobians[at] = state.voltages[done], True, jacobian[done]
                result[at, :n] += np.where(np.isfinite(step[done]), step[done], 0.0)
                if done.all():
                    break
            keep = np.flatnonzero(~done & ~singular & np.isfinite(step).all(axis=1))
            if not len(keep):
                break
            if len(keep) < len(step):
                state.keep(keep)
                step, met = step[keep], [at[keep] for at in met]
            reach = state.reach = np.abs(step[:, :nodes]).max(axis=1, initial=0.0)
            state.wide = np.where(reach < NEAR, 0.0, state.wide)
            step *= np.minimum(1.0, STEP / np.maximum(reach, 1e-300))[:, None]
            if taken >= PATIENCE:
                step *= np.where(reach > FAR, HELD, 1.0)[:, None]
            state.voltages = state.voltages.copy()
            state.voltages[:, :n] += step
            eases = state.eases()
            true = [group.volts(state.voltages, state.scale) for group in state.system.groups]
            met = [group.limited(true[k], met[k], eases[k]) for k, group in enumerate(state.system.groups)]
            exact = _alike(true, met, len(keep))
    return result, good, jacobians


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
        self.units, self.voltages = self.units[which], self.voltages[which]
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


def ramped(system: System, start: Array) -> tuple[Array, Any, Array]:
    """Raise all sources from nothing to full, unit by unit at its own pace."""
    units = len(start)
    voltages, reached, step = np.zeros_like(start), np.zeros(units), np.full(units, 0.1)
    jacobians = np.zeros((units, system.size, system.size))
    good = np.zeros(units, bool)
    for _ in range(120):
        left = np.flatnonzero(~good & (step > 1e-4))
        if not len(left):
            break
        aim = np.minimum(1.0, reached[left] + step[left])
        found, fits, jacobian = newton(system.take(left), voltages[left], scale=aim, steps=50, wide=False)
        at = left[fits]
        voltages[at], reached[at], jacobians[at] = found[fits], aim[fits], jacobian[fits]
        step[at] *= 2.0
        step[left[~fits]] /= 4.0
        good = reached >= 1.0
    return voltages, good, jacobians


def powered(system: System, start: Array, at_rail: float = 0.0) -> tuple[Array, Any, Array]:
    """Power the board up: op-amp outputs are slow states, nets have stray capacitance; `at_rail` starts outputs off.

    Implicit steps in time, each unit at its own pace; `growth` is the step over an output's time constant.
    """
    units = len(start)
    good, jacobians = np.zeros(units, bool), np.zeros((units, system.size, system.size))
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
        found, fits, jacobian = newton(
            part, voltages[left], steps=50, share=share, held=before, wide=False, anchor=STRAY / growth[left]
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
            found, fits_all, jacobian = newton(system.take(at), voltages[at], wide=False)
            done = at[fits_all]
            voltages[done], jacobians[done], good[done] = found[fits_all], jacobian[fits_all], True
            growth[at[~fits_all]] = 0.0
        growth[left[fits]] *= 2.0
        growth[left[~fits]] /= 8.0
    return voltages, good, jacobians


def scattered(system: System, start: Array, number: int) -> tuple[Array, Any, Array]:
    """Take Newton steps from places scattered between the volts that sources hold, the same ones for each `number`."""
    held = [np.zeros(1), system.linear.above.ravel(), *(group.above.ravel() for group in system.groups)]
    low, high = min(one.min(initial=0.0) for one in held), max(one.max(initial=0.0) for one in held)
    at = start.copy()
    nodes = len(system.places)
    at[:, :nodes] = np.random.default_rng(number).uniform(low, high, nodes)
    return newton(system, at, wide=False)


def solve(system: System, start: Array | None = None, *, units: int | None = None) -> Solved:
    """Return the operating points; what no way solves is marked, never given a guess as an answer.

    Many units start from where the first one stands, or from `start`; what does not follow from there starts cold.
    """
    count = system.units if units is None else units
    lent = None
    if start is None and count > 1:
        alone = system.take(np.zeros(1, int))
        first = solve(alone, units=1)
        start = first.voltages if first.good[0] else None
        lent = alone.amplifiers.figures[0].offset if alone.amplifiers else None
    most = max(CHUNK // (8 * max(system.size, 1) ** 2), 1)
    parts = [np.arange(at, min(at + most, count)) for at in range(0, count, most)]
    if len(parts) == 1:
        return _solve(system, start, count, lent)
    pieces = [
        _solve(system.take(part), start if start is None or len(start) == 1 else start[part], len(part), lent)
        for part in parts
    ]
    return Solved(*(np.concatenate([getattr(one, name) for one in pieces]) for name in Solved.__slots__))


def _solve(system: System, start: Array | None, count: int, lent: Array | None = None) -> Solved:
    """Solve one chunk of units."""
    small, expand = system.reduced()
    everyone = np.arange(count)
    cold = np.zeros((count, system.size + 1))
    voltages, good, jacobians = cold.copy(), np.zeros(count, bool), np.zeros((count, system.size, system.size))
    sign = np.zeros(count)
    warm: list[tuple[Callable[..., tuple[Array, Any, Array]], Array]] = (
        []
        if start is None
        else [(partial(newton, steps=20, wide=False, lent=lent), np.broadcast_to(start, cold.shape))]
    )
    ways: tuple[Callable[..., tuple[Array, Any, Array]], ...] = (
        newton,
        ramped,
        powered,
        partial(powered, at_rail=-1.0),
        partial(powered, at_rail=1.0),
        *(partial(scattered, number=k) for k in range(SCATTERED)),
    )
    for way, begin in (*warm, *((way, cold) for way in ways)):
        left = everyone[~good]
        if not len(left):
            break
        at_start = begin[left] if small is system else begin[left][:, small.kept]
        found, fits, _ = way(small.take(left), at_start)
        at = left[fits]
        whole = found[fits] if small is system else expand(found[fits], at)
        voltages[at], good[at], jacobians[at] = _confirmed(system.take(at), whole)
        new = at[good[at]]
        if len(new):
            sign[new] = np.linalg.slogdet(jacobians[new])[0]
            good[new] = sign[new] > 0
    return Solved(voltages, good, jacobians, np.where(good, sign, 0))


def _confirmed(system: System, voltages: Array) -> tuple[Array, Any, Array]:
    """Return the solution of all places from that of some: at most a step or two for what rounding left."""
    if not len(voltages):
        return voltages, np.zeros(0, bool), np.zeros((0, system.size, system.size))
    return newton(system, voltages, steps=6, wide=False)
