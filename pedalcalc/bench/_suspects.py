"""Which part alone explains a set of readings best.

Every resistor takes other values, every record goes to either end of its sheet, one part at a time, and each such unit is
read at all places that were read. Between two trials of one part the readings are a straight line, in the logarithm of a
resistor; on each such line the change with the least sum of squares is found, misses counted in half widths of the
bands. Source: DERIVED, least squares along one line::

    t = w'(y - a) . w'(b - a) / |w (b - a)|^2, within 0 to 1
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import devices
from pedalcalc._meter import loading
from pedalcalc._record import spreads
from pedalcalc.bench._rows import JudgedReading
from pedalcalc.bench.expected import BYPASSED, CURRENT
from pedalcalc.board import Board
from pedalcalc.circuit.operating import solved_board, told
from pedalcalc.circuit.probed import probed
from pedalcalc.devices import Device
from pedalcalc.tolerance.draws import FIXED

Array = NDArray[np.float64]

#: The move of a resistor by which it is told how much a reading depends on it, and the further ones up to a wrong value, as powers of ten.
EVEN = (np.log10(0.9), np.log10(1.1))
FAR = (0.2, 0.35, 0.5, 0.7, 0.85, 1.0, 1.5, 2.0, 3.0, 5.0)
POWERS = (*(-one for one in FAR[::-1]), *EVEN, *FAR)
#: The share of all moves from which on a part counts, and that of the misses that another must explain.
LEAST, EXPLAINED = 0.01, 0.5
#: How many parts may alone explain what was read, and from which power of ten on a resistor is as good as open or shorted.
FIRST, EXTREME = 3, 1.5
#: Half widths of a band within which the rest of a board, itself within tolerance, may leave a reading beside one wrong part, and
#: by which parts that explain as much may differ (common practice).
NEARLY, ALIKE = 1.5, 0.25


@dataclass(frozen=True, slots=True)
class Suspect:
    """A part, the share of the first reading's moves that is its own, and what is left when it alone is wrong.

    `left` is the root of the sum of squares of what is left of all misses, in half widths of their bands; `most` the
    largest of these; `power` the value over the listed one as a power of ten, NaN for a record.
    """

    name: str
    share: float
    left: float
    most: float
    power: float


def suspects(board: Board, first: JudgedReading, rows: Sequence[JudgedReading]) -> tuple[Suspect, ...]:
    """Return the parts on which a reading depends, that which alone explains all readings best first."""
    known = [row for row in rows if not np.isnan(row.reading_typical) and row.reading_high > row.reading_low]
    trials = _trials(board)
    seen = {state: _readings(board, state, known, trials) for state in {row.state for row in known}}
    moves = np.stack([seen[row.state][row.place] for row in known])
    weights = np.array([2 / (row.reading_high - row.reading_low) for row in known])
    missed = weights * np.array([row.value - row.reading_typical for row in known])
    near = np.abs(moves[known.index(first)]) if first in known else np.full(len(trials), np.nan)
    whole = 0.0
    found = []
    for name, own in _places(trials).items():
        powers = np.array([trials[k].power for k in own])
        share = max((float(near[k]) for k in own if trials[k].counts and np.isfinite(near[k])), default=0.0)
        whole += share
        left, most, power = _least(weights[:, None] * moves[:, own], missed, powers)
        number = trials[own[0]].number
        found.append(Suspect(name, share, left, most, power if number else float("nan")))
    found = [replace(one, share=one.share / whole) for one in found] if whole > 0 else []
    enough = EXPLAINED * float(np.linalg.norm(missed))
    return tuple(sorted((one for one in found if one.share > LEAST or one.left < enough), key=lambda one: one.left))


def alone(found: Sequence[Suspect]) -> str:
    """Return words on which of the first parts alone explain all that was read."""
    if not found:
        return ""
    fit = [one for one in found[:FIRST] if one.most <= NEARLY and one.left <= found[0].left + ALIKE]
    if not fit:
        return ", but none of them alone explains all that was read"
    words = "fits" if min(one.most for one in fit) <= 1 else "comes near to"
    return f"; all that was read {words} {' or '.join(f'{one.name} {_value(one.power)}' for one in fit)}"


def _value(power: float) -> str:
    """Return what a part would have to be."""
    if np.isnan(power):
        return "towards an end of its sheet"
    if power >= EXTREME:
        return f"at {10 ** min(power, 3):.0f} times its value or more (a colour read wrong), or open"
    if power <= -EXTREME:
        return f"at 1/{10 ** min(-power, 3):.0f} of its value or less (a colour read wrong), or shorted"
    return f"at about {10**power:.2g} times its value"


@dataclass(frozen=True, slots=True)
class _Trial:
    """One part moved: what it is and becomes, a resistor's factor as a power of ten (a record's end at -1 or 1), whether it is small."""

    name: str
    usual: Any
    moved: Any
    power: float
    counts: bool

    @property
    def number(self) -> bool:
        """Tell whether the part is a number of ohms."""
        return not isinstance(self.usual, Device)


def _trials(board: Board) -> list[_Trial]:
    """Return every part's other values, in rising order, a record's two ends about it at -1 and 1."""
    trials: list[_Trial] = []
    for one in board.parts:
        name, record = one.part.reference, board.record(one.part.reference)
        if one.part.unit == "Ω":
            value = one.part.value
            trials += [_Trial(name, value, value * 10**power, power, power in EVEN) for power in POWERS]
        elif isinstance(record, Device) and one.part.kind not in FIXED and any(True for _ in spreads(record)):
            ends = ((devices.low(record), -1.0), (devices.high(record), 1.0))
            trials += [_Trial(name, devices.typical(record), end, at, True) for end, at in ends]
    return trials


def _places(trials: Sequence[_Trial]) -> dict[str, list[int]]:
    """Return which trials are whose."""
    found: dict[str, list[int]] = {}
    for k, one in enumerate(trials):
        found.setdefault(one.name, []).append(k)
    return found


def _readings(board: Board, state: str, rows: Sequence[JudgedReading], trials: Sequence[_Trial]) -> dict[str, Array]:
    """Return for each place that was read in a state by how much it moves in each trial, on the meter; NaN where unsolved."""
    board = replace(board, bypassed=state == BYPASSED)
    count = len(trials) + 1  # the last unit is the usual one
    values: dict[str, Any] = {}
    for k, one in enumerate(trials):
        values[one.name] = _with(values.get(one.name, one.usual), one.usual, one.moved, k, count)
    found, system, solved = solved_board(board, values=values)
    named = told(found, system, solved)
    moves: dict[str, Array] = {}
    for row in rows:
        if row.state != state:
            continue
        if row.place == CURRENT:
            read, good = np.asarray(named["current_supply"], float), solved.good
        else:  # on the meter, so that what makes a net weak counts
            usual = float(np.broadcast_to(np.asarray(named["voltages"][row.place], float), (count,))[-1])
            read, good = probed(system, solved, row.place, loading(usual, board.meter))
        read = np.where(good, np.broadcast_to(read, (count,)), np.nan)
        moves[row.place] = read[:-1] - read[-1]
    return moves


def _with(values: Any, usual: Any, moved: Any, unit: int, count: int) -> Any:
    """Return a value or record of many units in which one unit has moved from the usual."""
    if isinstance(usual, Device):
        changes: dict[str, Any] = {}
        for field in fields(usual):  # type: ignore[arg-type]
            one, other = getattr(usual, field.name), getattr(moved, field.name)
            if isinstance(one, Device) or (
                isinstance(one, float) and one != other and not (np.isnan(one) or np.isnan(other))
            ):
                changes[field.name] = _with(getattr(values, field.name), one, other, unit, count)
        return replace(values, **changes)
    column = np.array(np.broadcast_to(np.asarray(values, float), (count,)))
    column[unit] = moved
    return column


def _least(moves: Array, missed: Array, powers: Array) -> tuple[float, float, float]:
    """Return what is left of the misses with the best value of one part, the largest of it, and that value's power of ten."""
    at = int(np.searchsorted(powers, 0.0))
    points, powers = np.insert(moves, at, 0.0, axis=1), np.insert(powers, at, 0.0)
    told = np.isfinite(points)
    solved = told.any(axis=0)
    points, powers, told = points[:, solved], powers[solved], told[:, solved]
    # Each trial by itself, and the lines between neighbours that tell of the same places.
    along = np.concatenate([np.diff(points, axis=1), np.zeros((len(points), 1))], axis=1)
    onward = np.append((told[:, 1:] == told[:, :-1]).all(axis=0), False)
    along = np.where(onward & told, along, 0.0)
    size = (along**2).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (np.where(told, missed[:, None] - points, 0.0) * along).sum(axis=0) / size
    share = np.clip(np.where(size > 0, share, 0.0), 0.0, 1.0)
    # Where nobody can predict what an op-amp does, any reading is as likely as another: it counts as one at a band's end.
    left = np.where(told, missed[:, None] - points - share * along, 1.0)
    best = int(np.argmin((left**2).sum(axis=0)))
    power = powers[best] + share[best] * (powers[min(best + 1, len(powers) - 1)] - powers[best])
    return float(np.linalg.norm(left[:, best])), float(np.abs(left[:, best]).max()), float(power)
