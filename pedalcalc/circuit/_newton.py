"""The operating point of many units at once: limited Newton steps, and two longer ways for what they do not solve.

1. Newton's method on all unknowns; each law is met at terminal volts that its own `limited` allows, so that no exponential
   runs away, and no place moves more than `STEP` volts at once.
2. What is left goes up with the supply: all sources from nothing to full, in steps that grow and shrink.
3. What is still left is powered up: op-amp outputs become slow states, as they are on a bench, everything else follows.

A unit is solved when the currents into each place cancel to `RELATIVE` of their sum, `ABSOLUTE`, and what one rounding of
each voltage makes. No conductance is added anywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
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
#: Rounding of every unknown, in units of the last place, that a residual may show.
ROUNDINGS = 4.0
_EPS = np.finfo(float).eps
#: Volts by which a law may be met beside its terminals, linearised, and count as met there: a rounding.
SAME = 1e-12
#: Units solved at once; keeps the matrices of a step within some ten megabytes.
CHUNK = 4096


@dataclass(frozen=True, slots=True)
class Solved:
    """Voltages of all places, which units are solved, and the last slopes."""

    voltages: Array  # (units, n + 1)
    good: Any  # (units,)
    jacobian: Array  # (units, n, n)
    sign: Any  # (units,), sign of its determinant
    steps: int


def flows(system: System, voltages: Array, scale: Any = 1.0) -> tuple[Array, Array]:
    """Return the sum of the currents out of each place, and the sum of their sizes, at these voltages."""
    value, _, size = _meet(system, voltages, [group.volts(voltages, scale) for group in system.groups], scale, None)
    return value, size


def _meet(
    system: System, voltages: Array, met: list[Array], scale: Any, eases: list[Any] | None
) -> tuple[Array, Array, Array]:
    """Return residual, Jacobian and sum of the currents' sizes, each law linearised where it is met."""
    units, side = len(voltages), system.size + 1
    jacobian = np.broadcast_to(system.matrix, (units, side, side)).copy()
    push = system.driven * np.reshape(scale, (-1, 1))
    linear = np.matmul(jacobian, voltages[:, :, None])[:, :, 0]
    value = linear - push
    size = np.matmul(np.abs(jacobian), np.abs(voltages)[:, :, None])[:, :, 0] + np.abs(push)
    if not system.groups:
        return value, jacobian, size
    currents, slopes = [], []
    for k, group in enumerate(system.groups):
        at = met[k]
        flow, slope = group.branch(at, None if eases is None else eases[k])
        true = group.volts(voltages, scale)
        if at is not true:
            flow = flow + np.einsum("uijp,ujp->uip", slope, true - at)
        currents.append((flow * group.weight).reshape(units, -1))
        slopes.append((slope * group.weight).reshape(units, -1))
    places = system.contributions
    flow, slope = np.concatenate(currents, axis=1), np.concatenate(slopes, axis=1)
    value[:, places.target_flow] += np.add.reduceat(flow[:, places.pick_flow], places.starts_flow, axis=1)
    size[:, places.target_flow] += np.add.reduceat(np.abs(flow[:, places.pick_flow]), places.starts_flow, axis=1)
    flat = jacobian.reshape(units, -1)
    flat[:, places.target] += np.add.reduceat(slope[:, places.pick], places.starts, axis=1)
    return value, jacobian, size


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
    steps: int = 60,
    share: Any = 1.0,
    held: Any = None,
    wide: bool = True,
) -> tuple[Array, Any, Array]:
    """Take limited Newton steps from `start`; return voltages, what is solved, and the Jacobians there.

    With `wide`, outputs of op-amps may first go past their limits, until what they feed has found its place.
    """
    n, units, nodes = system.size, len(start), len(system.places)
    result, good = start.copy(), np.zeros(units, bool)
    jacobians = np.zeros((units, n, n))
    state = _State(
        np.arange(units), system, start.copy(), np.broadcast_to(np.asarray(scale, float), (units,)),
        np.full(units, WIDE if wide and system.amplifiers else 0.0),
        np.broadcast_to(np.asarray(share, float), (units,)), held,
    )  # fmt: skip
    met = [group.volts(state.voltages, state.scale) for group in system.groups]
    exact = np.ones(units, bool)
    with np.errstate(all="ignore"):
        for _ in range(steps):
            value, jacobian, size = _meet(state.system, state.voltages, met, state.scale, state.eases())
            rounding = ROUNDINGS * _EPS * np.matmul(np.abs(jacobian), np.abs(state.voltages)[:, :, None])[:, :, 0]
            fits = np.abs(value) <= RELATIVE * size + ABSOLUTE + rounding
            done = fits[:, :n].all(axis=1) & exact & (state.wide == 0)
            if done.any():
                at = state.units[done]
                result[at], good[at], jacobians[at] = state.voltages[done], True, jacobian[done][:, :n, :n]
            step, singular = solve_each(jacobian[:, :n, :n], -value[:, :n])
            keep = np.flatnonzero(~done & ~singular & np.isfinite(step).all(axis=1))
            if not len(keep):
                break
            if len(keep) < len(step):
                state.keep(keep)
                step, met = step[keep], [at[keep] for at in met]
            reach = np.abs(step[:, :nodes]).max(axis=1, initial=0.0)
            state.wide = np.where(reach < NEAR, 0.0, state.wide)
            step *= np.minimum(1.0, STEP / np.maximum(reach, 1e-300))[:, None]
            state.voltages = state.voltages.copy()
            state.voltages[:, :n] += step
            eases = state.eases()
            wished = [group.volts(state.voltages, state.scale) for group in state.system.groups]
            old = met
            met = [group.limited(wished[k], old[k], eases[k]) for k, group in enumerate(state.system.groups)]
            exact = np.ones(len(keep), bool)
            for new, at in zip(wished, met, strict=True):
                if at is not new:
                    exact &= (np.abs(at - new) <= SAME).all(axis=(1, 2))
    return result, good, jacobians


class _State:
    """The units still on their way."""

    def __init__(
        self, units: Any, system: System, voltages: Array, scale: Array, wide: Array, share: Any, held: Any
    ) -> None:
        self.units, self.system, self.voltages, self.scale, self.wide = units, system, voltages, scale, wide
        self.share, self.held = share, held

    def keep(self, which: Any) -> None:
        self.units, self.voltages = self.units[which], self.voltages[which]
        self.system, self.scale, self.wide = self.system.take(which), self.scale[which], self.wide[which]
        self.share = self.share[which]
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
        found, fits, jacobian = newton(system.take(left), voltages[left], scale=aim, steps=25, wide=False)
        at = left[fits]
        voltages[at], reached[at], jacobians[at] = found[fits], aim[fits], jacobian[fits]
        step[at] *= 2.0
        step[left[~fits]] /= 4.0
        good = reached >= 1.0
    return voltages, good, jacobians


def powered(system: System, start: Array, at_rail: float = 0.0) -> tuple[Array, Any, Array]:
    """Let op-amp outputs be slow states, everything else follow; `at_rail` starts them towards a rail, -1 or 1.

    Implicit steps in time, each unit at its own pace; `growth` is the step over an output's time constant.
    """
    units = len(start)
    good, jacobians = np.zeros(units, bool), np.zeros((units, system.size, system.size))
    amplifiers = system.amplifiers
    if amplifiers is None:
        return start, good, jacobians
    voltages = start.copy()
    held = np.full((units, amplifiers.at.shape[1]), 20.0 * at_rail)
    growth = np.full(units, 1e-7)
    for _ in range(160):
        left = np.flatnonzero(~good & (growth > 1e-12))
        if not len(left):
            break
        part, group = system.take(left), amplifiers.take(left)
        share = growth[left] / (1 + growth[left])
        before = (1 - share)[:, None] * held[left]
        found, fits, jacobian = newton(part, voltages[left], steps=25, share=share, held=before, wide=False)
        volts = group.volts(found, 1.0)
        law, _ = group.figures
        wished = share[:, None] * law.gain * (volts[:, 0] - volts[:, 1]) + before
        half = 0.5 * np.maximum(volts[:, 3] - volts[:, 4], 0.0)
        at = left[fits]
        voltages[at], held[at] = found[fits], np.clip(wished, -half, half)[fits]
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


def solve(system: System, start: Array | None = None, *, units: int | None = None) -> Solved:
    """Return the operating points; what no way solves is marked, never given a guess as an answer."""
    count = system.units if units is None else units
    first = (
        np.zeros((count, system.size + 1)) if start is None else np.broadcast_to(start, (count, system.size + 1)).copy()
    )
    parts = [np.arange(at, min(at + CHUNK, count)) for at in range(0, count, CHUNK)]
    if len(parts) > 1:
        pieces = [solve(system.take(part), first[part], units=len(part)) for part in parts]
        return Solved(
            np.concatenate([one.voltages for one in pieces]),
            np.concatenate([one.good for one in pieces]),
            np.concatenate([one.jacobian for one in pieces]),
            np.concatenate([one.sign for one in pieces]),
            max(one.steps for one in pieces),
        )
    voltages, good, jacobians = newton(system, first)
    sign = np.zeros(count)
    for way in (None, ramped, powered):
        if way is not None:
            left = np.flatnonzero(~good)
            if not len(left):
                break
            found, fits, jacobian = way(system.take(left), first[left])
            at = left[fits]
            voltages[at], jacobians[at], good[at] = found[fits], jacobian[fits], True
        new = good & (sign == 0)
        if new.any():
            sign[new] = np.linalg.slogdet(jacobians[new])[0]
            good &= ~(sign < 0)
            sign[~good] = 0
    return Solved(voltages, good, jacobians, sign, 0)
