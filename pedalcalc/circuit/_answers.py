"""Answers of a linearised board over frequency: what reaches where, and where nobody can say.

Places that no frequency touches are eliminated once for each unit; what is left is solved for all units and
frequencies, in pieces that stay near the processor.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._refusal import Unsolved
from pedalcalc._result import Caution
from pedalcalc.circuit import _newton
from pedalcalc.circuit._outputs import Amplifiers
from pedalcalc.circuit._predictable import inputs_inside
from pedalcalc.circuit.elements import of_units
from pedalcalc.circuit.signals import STANDS, Signal, Signals, Store, place_of

Array = NDArray[np.float64]

#: Bytes of matrices at once: what stays near the processor.
CHUNK = 4_000_000


def gathered(signals: Signals, s: Any, net: str, ask: Callable[[Signal], Any]) -> tuple[Any, tuple[Caution, ...]]:
    """Return what is asked of every unit (units, frequencies), NaN where nobody can say, with cautions."""
    found = np.full((signals.units, len(s)), np.nan, complex)
    hit, floats = np.zeros(found.shape, bool), np.zeros(signals.units, bool)
    told: dict[str, Caution] = {}
    for units, signal in signals.parts:
        if signal is None or not (signal.tells(net) or len(signals.parts) == 1):
            floats[units] = True
            continue
        found[units] = ask(signal)
        hit[units] = unpredictable(signal, s, net)
        for one in still(signal):
            same = told.get(one.what)
            told[one.what] = one if same is None else _both(one, same)
    found[hit] = np.nan
    if floats.any():
        count = int(floats.sum())
        what = f"{net} hangs on nothing in some units: no signal can be told there"
        told[what] = Caution(what, "see which part is open in them", float(count), 0.0, "1", count)
    return found, (*told.values(), *wild(hit, net))


def _both(one: Caution, other: Caution) -> Caution:
    """Return one caution for those of two sets of units."""
    return replace(one, value=max(one.value, other.value), count=one.count + other.count)


def answers(signal: Signal, s: Any, right: Array, left: Array, static: Array | None = None) -> Any:
    """Return left' Y(s)^-1 right for all units and complex frequencies: (units, frequencies, columns of left, of right).

    Places without anything that depends on frequency are eliminated first. `right` and `left` are (n, columns).
    """
    static = signal.static if static is None else static
    keep = _kept(signal, right, left)
    matrix = _reduced(signal, static, keep)
    new = np.full(signal.size + 1, len(keep))
    new[keep] = np.arange(len(keep))
    units, count = len(matrix), len(s)
    most = max(1, CHUNK // (16 * len(keep) ** 2))
    wide, deep = max(1, most // max(count, 1)), max(1, min(count, most))
    found = np.empty((units, count, left.shape[1], right.shape[1]), complex)
    for unit in range(0, units, wide):
        some = slice(unit, min(unit + wide, units))
        for first in range(0, count, deep):
            part = slice(first, min(first + deep, count))
            whole = _assembled(signal, matrix[some], s[part], some, new)
            solved, singular = _newton.solve_each(
                whole.reshape(-1, len(keep), len(keep)), np.asarray(right[keep], complex)[None]
            )
            if singular.any():
                at = np.argwhere(singular.reshape(whole.shape[:2]))[0]
                hertz = abs(s[part][at[1]]) / (2 * np.pi)
                raise _untold(signal, unit + at[0], f"this board's small signals have no answer at {hertz:g} Hz")
            found[some, part] = (left[keep].T @ solved).reshape(*whole.shape[:2], left.shape[1], right.shape[1])
    return found


def _kept(signal: Signal, right: Array, left: Array) -> Any:
    """Return the places that a frequency, a drive or a question touches."""
    touched = {place for one in signal.stores for place in (one.first, one.second)}
    touched |= {place for one in signal.gains for place in (one.plus, one.minus, *one.rows)}
    touched |= set(range(len(signal.system.places), signal.size))  # currents that are unknowns, and where they flow
    touched |= {
        place for rod in signal.system.rods for net in rod.nets if (place := place_of(signal.system, net)) is not None
    }
    touched |= set(np.flatnonzero(right.any(axis=1) | left.any(axis=1)).tolist())
    return np.array(sorted(touched - {signal.size}), int)


def _untold(signal: Signal, unit: Any, what: str) -> Unsolved:
    """Return the error of one unit, by its index among all of the board's."""
    failed = np.zeros(signal.found.units, bool)
    chosen = signal.system.chosen
    failed[int(unit if chosen is None else chosen[unit])] = True
    return Unsolved(what, failed if len(failed) > 1 else True)


def _reduced(signal: Signal, static: Array, keep: Any) -> Array:
    """Eliminate the other places: their matrix is real and the same at every frequency."""
    others = np.setdiff1d(np.arange(static.shape[-1]), keep)
    kept = static[:, keep[:, None], keep]
    if not len(others):
        return kept
    through, singular = _newton.solve_each(static[:, others[:, None], others], static[:, others[:, None], keep])
    if singular.any():
        raise _untold(
            signal,
            np.flatnonzero(singular)[0],
            "this board has a net that hangs on nothing: no signal can be told there",
        )
    return np.asarray(kept - static[:, keep[:, None], others] @ through)


def _assembled(signal: Signal, static: Array, s: Any, some: slice, new: Any) -> Any:
    """Return the whole matrices (units, frequencies, places, places)."""
    side = static.shape[-1]
    whole = np.empty((len(static), len(s), side, side), complex)
    whole[...] = static[:, None]

    for one in signal.stores:
        part = Store(
            one.name, one.first, one.second, *(of_units(part, some) for part in (one.size, one.loss, one.series))
        )
        flow = part.admittance(s)
        a, b = new[one.first], new[one.second]
        if a < side:
            whole[:, :, a, a] += flow
        if b < side:
            whole[:, :, b, b] += flow
        if a < side and b < side:
            whole[:, :, a, b] -= flow
            whole[:, :, b, a] -= flow
    for gain in signal.gains:
        share = 1 / (1 + s * of_units(gain.time, some)[:, None])
        for row, place in enumerate(gain.rows):
            a = new[place]
            if a == side:
                continue
            flow = share * of_units(gain.slopes, some)[:, row, None]
            for place, sign in ((gain.plus, 1.0), (gain.minus, -1.0)):
                if new[place] < side:
                    whole[:, :, a, new[place]] += sign * flow
    return whole


#: Volts at the output for one volt of an op-amp that nobody can predict, from which the output cannot be predicted.
TOUCHED = 1e-3


def unpredictable(signal: Signal, s: Any, net: str) -> Any:
    """Return where (units, frequencies) a net follows an op-amp whose inputs are beyond their range."""
    outside = ~inputs_inside(signal.system, signal.solved)
    found = np.zeros((signal.units, len(s)), bool)
    if not outside.any():
        return found
    strange = np.flatnonzero(outside.any(axis=0))
    # One volt behind the output resistance of each.
    ways = [(signal.gains[k].rows[0], 1 / signal.gains[k].resistance) for k in strange]
    right = np.concatenate([unit_columns(signal.size, [way] if way[0] < signal.size else []) for way in ways], axis=1)
    moved = np.abs(answers(signal, s, right, signal.reads(net)[:, None])[:, :, 0])
    return ((moved > TOUCHED) & outside[:, None, strange]).any(axis=2)


def wild(hit: Any, net: str) -> tuple[Caution, ...]:
    """Return a caution where a net cannot be predicted."""
    if not hit.any():
        return ()
    units = int(hit.any(axis=1).sum())
    what = f"{net} follows an op-amp whose inputs are beyond their range: what it does cannot be predicted"
    return (Caution(what, "look at its voltages in the operating point first", float(units), 0.0, "1", units),)


def unit_columns(size: int, places: Sequence[tuple[int, float]]) -> Array:
    """Return one column (n, 1) with the given numbers at the given places."""
    column = np.zeros((size, 1))
    for place, number in places:
        column[place, 0] = number
    return column


def still(signal: Signal) -> tuple[Caution, ...]:
    """Return a caution for each op-amp that stands at a limit and passes nothing, and for each law on a net that floats."""
    told = []
    root, floating = signal.found.joints.root, signal.system.floating
    for group in signal.system.groups:
        hung = {net for nets in group.nets for net in nets if root(net)[0] in floating}
        if not isinstance(group, Amplifiers):
            told += [
                Caution(
                    f"{net} hangs on nothing but insulation: what stands there, and what it passes, is chance",
                    "give it a resistor to where it shall stand", 1.0, 0.0, "1",
                )
                for net in sorted(hung)
            ]  # fmt: skip
    for gain in signal.gains:
        stuck = gain.slopes[:, 0] == 0  # of the output itself
        if stuck.any():
            told.append(
                Caution(
                    f"{gain.name}{STANDS}",
                    "look at its voltages in the operating point first",
                    float(stuck.sum()), 0.0, "1", int(stuck.sum()),
                )
            )  # fmt: skip
    return tuple(told)
