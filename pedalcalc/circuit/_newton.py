"""Newton's method on the equations of many units at once.

Each law is met at terminal volts that its own `limited` allows, so that no exponential runs away, and no place moves more
than `STEP` volts at once; a net that hangs on insulation alone may, since an op-amp's bias current can lead it, on paper, to
a thousand volts that nobody is told. A unit is solved when the currents into each place cancel to `RELATIVE` of their sum, `ABSOLUTE`,
and what one rounding of each voltage makes: a million amperes that two junctions hold against each other, or an input
difference of one rounding behind an op-amp's gain, leave more than a picoampere. No conductance is added anywhere.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.circuit._entries import Entries, Work, some
from pedalcalc.circuit._groups import Channels, Group
from pedalcalc.circuit._outputs import Amplifiers, Ease
from pedalcalc.circuit._system import System

Array = NDArray[np.float64]

RELATIVE, ABSOLUTE = 1e-12, 1e-12
STEP = 3.0
#: A net that has less than so many siemens beside a channel may hang on that channel's foot, next to nothing. Where a step
#: would throw it this far [V], it takes `STEP` and the rest follows that, or all would stand still.
FEEBLE, THROWN = 1e-9, 1e3
#: Volts by which outputs of op-amps may first pass their limits, and the size of a step that ends this.
WIDE, NEAR = 30.0, 0.1
#: Rounding of every unknown, in units of the last place, that a residual may show.
ROUNDINGS = 4.0
_EPS = np.finfo(float).eps
#: Volts by which a law may be met beside its terminals, linearised, and count as met there: a rounding.
SAME = 1e-12
#: Steps after which long ones (beyond FAR volts) are shortened to a share: two corners can throw a unit to and fro.
PATIENCE, FAR, HELD = 40, 0.01, 0.4
#: Step after which it is worth to judge the residual [V].
CLOSE = 1e-3


@dataclass(frozen=True, slots=True)
class Solved:
    """Voltages of all places, which units are solved, and the sign of the determinant of the slopes there."""

    voltages: Array  # (units, n + 1)
    good: Any  # (units,)
    sign: Any  # (units,)

    def take(self, units: Any) -> Solved:
        """Return a copy of some units, by their indices."""
        return Solved(self.voltages[units], self.good[units], self.sign[units])


def pieces(system: System, solved: Solved) -> Iterator[tuple[Any, System, Solved]]:
    """Yield units, equations and solution of each set of units that has equations of its own; all units where none has."""
    if not system.pieces:
        yield np.arange(len(solved.good)), system, solved
    for piece in system.pieces:
        own = solved.take(piece.units)
        yield piece.units, piece.system, replace(own, voltages=own.voltages[:, piece.kept])


def _meet(
    groups: tuple[Group, ...],
    entries: Entries,
    volts: Array,
    true: list[Array],
    met: list[Array],
    eases: list[Ease | None],
    work: Work,
) -> tuple[Array, Array]:
    """Return the laws' and the linear currents out of each place (places, units), and all slopes (entries, units).

    Each law is linearised at the terminal volts where it is `met`; `true` are those of the places, `volts` (places, units).
    """
    for k, group in enumerate(groups):
        amps, siemens = group.branch(met[k], eases[k], work.rooms[k])
        if met[k] is not true[k]:
            amps += (siemens * (true[k] - met[k])[:, None]).sum(axis=2)
        if group.shared:
            amps *= group.weight
            siemens *= group.weight
    value = entries.rows.flows(entries.siemens, volts)
    slopes, touched = np.empty((len(entries.at), volts.shape[1])), entries.touched
    slopes[touched:] = entries.fixed[touched:]
    if groups:
        to = entries.to
        value[to.flows.at] += to.flows.summed(work.flow)
        to.slopes.summed(work.slope, slopes[:touched])
        slopes[:touched] += entries.fixed[:touched]
    return value, slopes


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
    entries, work = Entries(system), Work(system, units)
    work.begin(units)
    eases: list[Ease | None] = [None] * len(volts)
    _, slopes = _meet(system.groups, entries, voltages.T, volts, volts, eases, work)
    found = np.zeros((units, n * n))
    found[:, entries.at] = slopes.T
    return found.reshape(units, n, n)


def _above(groups: tuple[Group, ...]) -> float:
    """Return the most that a terminal stands above its place [V]."""
    return max((float(np.abs(group.above).max(initial=0.0)) for group in groups), default=0.0)


def _cancels(
    groups: tuple[Group, ...],
    entries: Entries,
    near: Any,
    volts: Array,
    value: Array,
    driven: Array,
    slopes: Array,
    work: Work,
) -> Any:
    """Return in which units of those `near` the currents into every place cancel, as well as numbers can."""
    left = np.abs(some(value, near))
    good: Any = (left <= ABSOLUTE).all(axis=0)
    rest = np.flatnonzero(~good)
    if len(rest):
        at = near[rest]
        size = np.abs(some(volts, at))
        sums = entries.rows.flows(np.abs(some(entries.siemens, at)), size) + np.abs(some(driven, at))
        if groups:
            sums[entries.to.flows.at] += entries.to.flows.summed(np.abs(some(work.flow, at)))
        every = np.abs(some(slopes.take(entries.order, axis=0), at))
        rounding = ROUNDINGS * _EPS * entries.every.flows(every, size + _above(groups))
        good[rest] = (left[:, rest] <= RELATIVE * sums + ABSOLUTE + rounding).all(axis=0)
    return good


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
    loose = np.array([net in system.floating for net, _ in system.places], bool)
    feeble = _feeble(system)
    result, good, sign = start.copy(), np.zeros(units, bool), np.zeros(units)
    work = Work(system, units)
    state = _State(
        np.arange(units), system.groups, Entries(system, anchor), np.array(start, order="F"),
        np.broadcast_to(np.asarray(scale, float), (units,)),
        np.full(units, WIDE if wide and system.amplifiers else 0.0),
        np.broadcast_to(np.asarray(share, float), (units,)), held, anchor, start,
    )  # fmt: skip
    work.begin(units)
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
            volts, driven = state.voltages[:, :n].T, state.entries.driven * state.scale
            value, slopes = _meet(state.groups, state.entries, volts, true, met, eases, work)
            value -= driven
            if state.anchor is not None:
                value[:nodes] += state.anchor * (state.voltages - state.start)[:, :nodes].T
            done = exact & (state.wide == 0) & (state.reach < CLOSE)
            if done.any():
                near = np.flatnonzero(done)
                done[near] = _cancels(state.groups, state.entries, near, volts, value, driven, slopes, work)
            step, singular = np.empty((len(driven), len(done))).T, np.zeros(len(done), bool)
            for part, matrix in work.matrices(state.entries.at, slopes):
                right = -value[:, part].T
                found, singular[part] = solve_each(matrix, right)
                step[part] = _caught(matrix, right, found, feeble)
            if done.any():
                at = state.units[done]  # the step is a rounding by now; it takes off what the judgment leaves
                result[at], good[at] = state.voltages[done], True
                result[at, :n] += np.where(np.abs(step[done]) < CLOSE, step[done], 0.0)
                if signed:
                    for part, matrix in work.matrices(state.entries.at, slopes if done.all() else slopes[:, done]):
                        sign[at[part]] = np.linalg.slogdet(matrix)[0]
            size = np.abs(step)
            reach = size.max(axis=1, initial=0.0)
            left = ~(done | singular) & np.isfinite(reach)
            if not left.all():
                keep = np.flatnonzero(left)
                if not len(keep):
                    break
                state.keep(keep)
                work.begin(len(keep))
                step, size = step.T.take(keep, axis=1).T, size.T.take(keep, axis=1).T
                met = [at.transpose(1, 2, 0).take(keep, axis=2).transpose(2, 0, 1) for at in met]
                reach = reach[keep]
            if n > nodes:
                reach = size[:, :nodes].max(axis=1, initial=0.0)
            state.reach = reach
            state.wide = np.where(reach < NEAR, 0.0, state.wide)
            if loose.any():
                reach = size[:, :nodes][:, ~loose].max(axis=1, initial=0.0)
            step *= np.minimum(1.0, STEP / np.maximum(reach, 1e-300))[:, None]
            if taken >= PATIENCE:
                step *= np.where(reach > FAR, HELD, 1.0)[:, None]
            state.voltages[:, :n] += step
            eases = state.eases()
            true = [group.volts(state.voltages, state.scale) for group in state.groups]
            met = [group.limited(true[k], met[k], eases[k]) for k, group in enumerate(state.groups)]
            exact = _alike(true, met, len(step))
    return result, good, sign


def _feeble(system: System) -> list[int]:
    """Return the places of drains and sources on which hardly anything hangs but their channel, in some unit."""
    ends = [group.at[1:].ravel() for group in system.groups if isinstance(group, Channels)]
    places = np.unique(np.concatenate(ends)) if ends else np.zeros(0, int)
    places = places[places < len(system.places)]
    beside = np.abs(system.matrix[:, places, places]).min(axis=0)
    return [int(place) for place in places[beside < FEEBLE] if system.places[place][0] not in system.floating]


def _caught(matrix: Array, right: Array, step: Array, feeble: list[int]) -> Array:
    """Return a step in which a net that would be thrown far takes `STEP`, and all others what follows from that."""
    over = np.abs(step[:, feeble]) > THROWN
    units = np.flatnonzero(over.any(axis=1))
    if not len(units):
        return step
    matrix, right, step = matrix[units], right[units], step.copy()
    for place, thrown in zip(feeble, over[units].T, strict=True):
        matrix[thrown, place] = 0.0
        matrix[thrown, place, place] = 1.0
        right[thrown, place] = np.sign(step[units[thrown], place]) * STEP
    step[units], _ = solve_each(matrix, right)
    return step


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
        self, units: Any, groups: tuple[Group, ...], entries: Entries, voltages: Array, scale: Array, wide: Array, share: Any,
        held: Any, anchor: Any, start: Array,
    ) -> None:  # fmt: skip
        self.units, self.groups, self.entries, self.voltages = units, groups, entries, voltages
        self.scale, self.wide = scale, wide
        self.share, self.held, self.anchor, self.start = share, held, anchor, start
        self.reach = np.full(len(voltages), np.inf)  # nothing is solved before a step says how far off it was

    def keep(self, which: Any) -> None:
        self.units, self.voltages = self.units[which], self.voltages.T.take(which, axis=1).T
        self.groups = tuple(group.take(which) for group in self.groups)
        self.entries.keep(which)
        self.scale, self.wide = self.scale[which], self.wide[which]
        self.share, self.start, self.reach = self.share[which], self.start[which], self.reach[which]
        if self.anchor is not None:
            self.anchor = self.anchor[which]
        if self.held is not None:
            self.held = self.held[which]

    def eases(self) -> list[Ease | None]:
        """Return for each group how far its op-amps are from their law, None where they are at it."""
        at_law = (self.share == 1.0).all() and self.held is None and not self.wide.any()
        eases: list[Ease | None] = []
        for group in self.groups:
            if at_law or not isinstance(group, Amplifiers):
                eases.append(None)
                continue
            shape = (len(self.units), group.at.shape[1])
            held = np.zeros(shape) if self.held is None else self.held
            wide = np.broadcast_to(self.wide[:, None], shape)
            eases.append(Ease(np.broadcast_to(self.share[:, None], shape), held, wide))
        return eases
