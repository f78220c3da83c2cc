"""Follow a tone through changes of level, without computing every period of it.

One period of the tone maps what the circuit remembers, held voltage and conductance, to what it remembers a period
later. After a change of level every period is computed, in steps that are halved until they agree; further on many periods are
skipped at once where the map shows how each of them will move the state: to first order by its
Jacobian, taken from two neighbouring runs, with the rest as error estimate. So the cost of a record does not grow
with the time constants of the circuit.

Where the rectifier is a full-wave one, the map is that of half a period. The conductance enters as
ln(g + g_c), with g_c small against every conductance that the gain answers to.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from math import atan2, ceil, expm1, floor, log, log2, log10, pi, sqrt
from typing import Any, NamedTuple

import numpy as np

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc._result import ModelRangeWarning
from pedalcalc.compressor.engine import STEPS_MOST, Engine, State, Trace, rest

CLOSE_HALVES = 12  # half periods after a change of level whose steps are halved until they agree
CLOSE_CELL = 5e-4  # ln conductance to which they must agree; the finer of the two is kept
CLOSE_HOLD = 1e-3  # of what the held voltage makes of the cell's settled ln conductance
PLAIN_BEFORE = 4  # half periods computed one by one ahead of a change
SKIP_LEAST = 8  # maps; fewer are computed one by one
TOLERANCE_CELL = 3e-4  # of ln conductance, in one skip
TOLERANCE_HOLD = 6e-4  # of what the held voltage makes of the cell's settled ln conductance
HUNT_WATCH = 32  # maps computed one by one, after each of which a loop is asked whether it hunts
SWING_GROWS = 1.3  # times as much as a watch ago: a swing still on its way to its full size
HUNT_TURNS = 4  # turns to and fro among the later half of them
HUNT_SHARE = 0.3  # of the swing: what turns round for less is no hunting
CONDUCTANCE_NONE = 1e-9  # of a cell to which a gain answers nowhere
NOTHING = 1e-14  # of g_c: a conductance that is rounding
FAR_MOST = 50.0  # of ln conductance in a skip
WORTH_UNLIT = 0.05  # of the cell's ln conductance to an e-fold of the LED's current, where it is not lit
LASTING = 0.25  # of a swing that is left a map later, if it is to count
PAUSE_LEAST, PAUSE_MOST = 4, 64  # maps computed one by one after a skip that failed
Pair = tuple[float, float]
Square = tuple[float, float, float, float]
Far = tuple[int, Pair, Pair]  # maps ahead, state, movement a map


class Piece(NamedTuple):
    """Part of a half period that was computed: where it lies, from what state to what state, and what lay between."""

    half: int
    phase_from: float
    phase_to: float
    amplitude: float
    voltage: float
    conductance: float
    trace: Trace
    voltage_end: float
    conductance_end: float


class Node(NamedTuple):
    """A state between two computed periods: at the beginning of a half period."""

    half: int
    voltage: float
    log_conductance: float
    voltage_slope: float  # a half period
    log_conductance_slope: float


@dataclass(slots=True)
class Record:
    """What `follow` computed, in order of time."""

    pieces: list[Piece]
    nodes: list[Node]
    offset: float  # g_c
    state: State  # at the end
    hunts_db: float = 0.0  # peak-to-peak swing of the gain from period to period, where a loop finds no rest


class PeriodMap:
    """The map of one period, half of one behind a full-wave rectifier, and what it may be trusted with.

    `fine` multiplies its steps; with `only_rest` a loop that hunts is not followed beyond what shows it.
    """

    def __init__(self, engine: Engine, *, frequency: float, fine: int = 1, only_rest: bool = False) -> None:
        self.engine = engine
        self.frequency = frequency
        self.fine = fine
        self.halves = 1 if engine.compressor.rectifier == "full" else 2
        law, c = engine.law, engine.compressor
        self.offset: float
        answered = law.d0 / law.d1 if law.d1 else 0.0  # the conductance at which the gain begins to turn
        if c.placement == "series" and law.d1:
            self.offset = 1e-6 / law.d1
        else:
            self.offset = 1e-3 * (answered or rest(c).conductance or CONDUCTANCE_NONE)
        self.log_offset = log(self.offset)
        self.only_rest = only_rest
        self.too_fast = False  # whether a loop has moved faster than the shortest steps follow
        self.direct = c.drive == "direct"
        self.e_fold = float(c.coupler_at_temperature.led.ideality * VOLTAGE_THERMAL_300K)

    def half(self, half: int, amplitude: float, v: float, g: float, trace: Trace | None) -> Pair:
        """Compute one half period."""
        if self.halves == 2 and half % 2:
            amplitude = 0.0
        engine = self.engine
        count = engine.steps_in_half(frequency=self.frequency, amplitude=amplitude, v=v, g=g) * self.fine
        self.too_fast = self.too_fast or count >= STEPS_MOST
        return engine.advance(engine.tone(0.0, pi, frequency=self.frequency, count=count), amplitude, v, g, trace)

    def run(self, amplitude: float, v: float, g: float) -> Pair:
        """Compute one map."""
        for half in range(self.halves):
            v, g = self.half(half, amplitude, v, g, None)
        return v, g

    def log_of(self, g: float) -> float:
        """Return the conductance as the map's second coordinate."""
        return log(g + self.offset)

    def conductance_of(self, w: float) -> float:
        """Return the conductance that belongs to a second coordinate."""
        found = self.offset * expm1(w - self.log_offset)
        return found if found > NOTHING * self.offset else 0.0

    def at(self, amplitude: float, state: Pair) -> Pair:
        """Return the state a map later, in the map's coordinates."""
        v, g = self.run(amplitude, state[0], self.conductance_of(state[1]))
        return v, self.log_of(g)

    def jacobian(self, amplitude: float, state: Pair, after: Pair) -> Square:
        """Return d after / d state, from neighbouring runs in the direction of travel."""
        v, w = state
        dv, dw = after[0] - v, after[1] - w
        step_w = min(max(4 * abs(dw), 1e-7), 1e-3) * (1 if dw >= 0 else -1)
        near = self.at(amplitude, (v, w + step_w))
        b, d = (near[0] - after[0]) / step_w, (near[1] - after[1]) / step_w
        if self.direct:
            return 0.0, 0.0, 0.0, d
        step_v = min(max(4 * abs(dv), 1e-7 * self.e_fold), 1e-2 * self.e_fold) * (1 if dv >= 0 or v < 1e-6 else -1)
        near = self.at(amplitude, (v + step_v, w))
        return (near[0] - after[0]) / step_v, b, (near[1] - after[1]) / step_v, d

    def plain(self, record: Record, half: int, amplitude: float, v: float, g: float) -> Pair:
        """Compute one half period and keep it."""
        trace = Trace([], [])
        end = self.half(half, amplitude, v, g, trace)
        record.pieces.append(Piece(half, 0.0, pi, amplitude, v, g, trace, *end))
        return end

    def close(
        self, record: Record, half: int, phases: Pair, amplitude: float, v: float, g: float, count: int
    ) -> tuple[Pair, int]:
        """Compute part of a half period in steps that are halved until it makes no difference, and keep it.

        Begins with `count` steps to a half period, and returns how many the next one had better begin with.
        """
        engine, share = self.engine, (phases[1] - phases[0]) / pi
        loud = 0.0 if self.halves == 2 and half % 2 else amplitude

        def run(steps: int) -> tuple[Pair, Trace]:
            trace = Trace([], [])
            tone = engine.tone(*phases, frequency=self.frequency, count=max(3, ceil(share * steps)) | 1)
            return engine.advance(tone, loud, v, g, trace), trace

        count = max(count, engine.steps_in_half(frequency=self.frequency, amplitude=loud, v=v, g=g))
        coarse = run(count)[0]
        while True:
            end, trace = run(2 * count)
            apart = max(
                abs(self.log_of(end[1]) - self.log_of(coarse[1])) / CLOSE_CELL,
                abs(end[0] - coarse[0]) * self.worth(end[0]) / CLOSE_HOLD,
            )
            if apart < 1:
                break
            if 2 * count >= STEPS_MOST:
                self.too_fast = True
                break
            count, coarse = 2 * count, end
        record.pieces.append(Piece(half, *phases, amplitude, v, g, trace, *end))
        return end, count // 2 if apart < 0.1 else count

    def traced(self, half: int, amplitude: float, state: Pair) -> tuple[list[Piece], Pair]:
        """Compute one map and return its pieces too, and the state after it."""
        v, g = state[0], self.conductance_of(state[1])
        pieces = []
        for k in range(self.halves):
            trace = Trace([], [])
            end = self.half(half + k, amplitude, v, g, trace)
            pieces.append(Piece(half + k, 0.0, pi, amplitude, v, g, trace, *end))
            v, g = end
        return pieces, (v, self.log_of(g))

    def node(self, half: int, ahead: int, state: Pair, move: Pair) -> Node:
        """Return a skipped state as a node of a record."""
        return Node(half + ahead * self.halves, *state, move[0] / self.halves, move[1] / self.halves)

    def at_rest(self, state: Pair, far: Pair) -> bool:
        """Tell whether next to nothing moves until a state far ahead."""
        moved = abs(far[0] - state[0]) * self.worth(state[0]), abs(far[1] - state[1])
        return moved[0] < 0.3 * TOLERANCE_HOLD and moved[1] < 0.3 * TOLERANCE_CELL

    def worth(self, v: float) -> float:
        """Return how far the cell's settled ln conductance moves per volt held; in the dark, what will matter later."""
        rows = self.engine.table
        row = rows.rows[rows.place(v)]
        return max(abs(row[1]) / (row[0] + row[1] * v + self.offset), WORTH_UNLIT / self.e_fold)


def conductance(log_conductance: Any, offset: float) -> Any:
    """Return what the logarithm of conductance and `offset` stands for; 0 where it is the offset's own, rounding aside."""
    found = offset * np.expm1(log_conductance - log(offset))
    return np.where(found > NOTHING * offset, found, 0.0)


def times(j: Square, x: Pair) -> Pair:
    """Return a matrix times a vector."""
    return j[0] * x[0] + j[1] * x[1], j[2] * x[0] + j[3] * x[1]


class _Skip(NamedTuple):
    nodes: list[Far]
    error: float  # 1 is the most that is accepted
    piece: list[Piece]
    state: Pair
    after: Pair  # a map after that


_NO_SKIP = _Skip([], float("inf"), [], (0.0, 0.0), (0.0, 0.0))


def _skip(
    maps: PeriodMap, half: int, amplitude: float, state: Pair, nodes: list[Far], jacobian: Square, doublings: int
) -> _Skip:
    """Skip 2**doublings maps by the linear map, whose nodes are given, and correct by what the map itself says at the end."""
    count, end, last = nodes[-1]
    if not (count == 1 << doublings and abs(end[1] - state[1]) < FAR_MOST and -1e-9 <= end[0] <= maps.engine.table.top):
        return _Skip([], float("inf"), [], state, state)
    end = max(end[0], 0.0), end[1]
    piece, after = maps.traced(half + count * maps.halves, amplitude, end)
    miss = after[0] - end[0] - last[0], after[1] - end[1] - last[1]
    fix = _spread(jacobian, miss, doublings)
    error = max(abs(fix[1]) / TOLERANCE_CELL, abs(fix[0]) * maps.worth(end[0]) / TOLERANCE_HOLD)
    far = end[0] - state[0], end[1] - state[1]
    if not error < 1 or abs(fix[0]) > 0.5 * abs(far[0]) + 1e-7 or abs(fix[1]) > 0.5 * abs(far[1]) + 1e-7:
        return _Skip([], max(error, 1.0), [], state, state)
    bent = []
    for k, x, d in nodes[:-1]:
        part, slope = (k / count) ** 3, 3 * (k / count) ** 2 / count
        bent.append((k, (x[0] + part * fix[0], x[1] + part * fix[1]), (d[0] + slope * fix[0], d[1] + slope * fix[1])))
    moved = times(jacobian, fix)
    return _Skip(
        bent,
        error,
        piece,
        (max(end[0] + fix[0], 0.0), end[1] + fix[1]),
        (max(after[0] + moved[0], 0.0), after[1] + moved[1]),
    )


def _ahead(state: Pair, move: Pair, jacobian: Square, doublings: int) -> list[Far]:
    """Return maps ahead, state and movement after 1, 2, 4 ... maps by the linear map."""
    (v, w), (far_v, far_w), (dv, dw) = state, move, move
    a, b, c, d = jacobian  # and its powers; written out, since most of a skip's time beside the maps is spent here
    count = 1
    nodes = [(1, (v + far_v, w + far_w), (a * dv + b * dw, c * dv + d * dw))]
    for _ in range(doublings):
        if not abs(far_w) < FAR_MOST:  # a swing that grows beyond all bounds
            break
        far_v, far_w = far_v + (a * far_v + b * far_w), far_w + (c * far_v + d * far_w)
        count *= 2
        a, b, c, d = a * a + b * c, b * (a + d), c * (a + d), d * d + b * c
        nodes.append((count, (v + far_v, w + far_w), (a * dv + b * dw, c * dv + d * dw)))
    return nodes


def _spread(jacobian: Square, miss: Pair, doublings: int) -> Pair:
    """Return the sum over k < N of J^(N-1-k) (k/N)^2 miss, N = 2**doublings."""
    a, b, c, d = jacobian  # and its powers
    (zero_v, zero_w), one_v, one_w, two_v, two_w = miss, 0.0, 0.0, 0.0, 0.0  # the sums of J^k, k J^k and k^2 J^k
    n = 1
    for _ in range(doublings):
        ahead_v, ahead_w = two_v + 2 * n * one_v + n * n * zero_v, two_w + 2 * n * one_w + n * n * zero_w
        two_v, two_w = a * two_v + b * two_w + ahead_v, c * two_v + d * two_w + ahead_w
        ahead_v, ahead_w = one_v + n * zero_v, one_w + n * zero_w
        one_v, one_w = a * one_v + b * one_w + ahead_v, c * one_v + d * one_w + ahead_w
        zero_v, zero_w = a * zero_v + b * zero_w + zero_v, c * zero_v + d * zero_w + zero_w
        n *= 2
        a, b, c, d = a * a + b * c, b * (a + d), c * (a + d), d * d + b * c
    return two_v / n**2, two_w / n**2


def follow(maps: PeriodMap, *, moments: list[float], amplitudes: list[float], duration: float, state: State) -> Record:
    """Follow a tone of phase 0 at time 0 whose amplitude changes at given moments, the first of them 0."""
    frequency = maps.frequency
    record = Record([], [], maps.offset, state)
    halves = ceil(duration * 2 * frequency - 1e-9)
    changes = [moment * 2 * frequency for moment in moments]  # in half periods
    v, g = float(state.voltage_hold), float(state.conductance)
    half, level = 0, 0
    since, count = 0, 0
    while half < halves and not (maps.only_rest and record.hunts_db):
        inside: list[float] = []
        while level + len(inside) + 1 < len(changes) and changes[level + len(inside) + 1] < half + 1:
            inside.append(changes[level + len(inside) + 1] - half)
        if inside:
            v, g, count = _broken(maps, record, half, inside, amplitudes[level : level + len(inside) + 1], v, g)
            level, since, half = level + len(inside), 0, half + 1
            continue
        end = halves if level + 1 == len(changes) else min(halves, floor(changes[level + 1]) - PLAIN_BEFORE)
        if since < CLOSE_HALVES:
            (v, g), count = maps.close(record, half, (0.0, pi), amplitudes[level], v, g, count)
            half, since = half + 1, since + 1
            continue
        if half % maps.halves or half + maps.halves > end:
            v, g = maps.plain(record, half, amplitudes[level], v, g)
            half += 1
            continue
        half, v, g = _stretch(maps, record, half, end, amplitudes[level], v, g)
    record.state = State(voltage_hold=v, conductance=g)
    if maps.too_fast:
        warnings.warn(
            f"cell and gain together move faster than {STEPS_MOST} steps in half a period of {frequency:g} Hz follow: "
            "what happens within a period may be off",
            ModelRangeWarning,
            stacklevel=4,
        )
    return record


def _stretch(
    maps: PeriodMap, record: Record, half: int, end: int, amplitude: float, v: float, g: float
) -> tuple[int, float, float]:
    """Follow one level from `half` to `end`, skipping what can be skipped; returns where it ends and the state there."""
    each, doublings, pause, wait, plain = maps.halves, 3, PAUSE_LEAST, 0, 0
    begun, hunts_db, full_swing = half, 0.0, False
    here = v, maps.log_of(g)
    piece, after = maps.traced(half, amplitude, here)
    jacobian: Square = (0.0, 0.0, 0.0, 0.0)
    while half + each <= end:
        record.pieces += piece
        room = (end - half) // each - 1  # maps that may be skipped and leave one to compute
        if room >= SKIP_LEAST and wait <= 0:
            move = after[0] - here[0], after[1] - here[1]
            jacobian = maps.jacobian(amplitude, here, after)
            most = room.bit_length() - 1
            ahead = _ahead(here, move, jacobian, most + 1)  # further than there is room
            if maps.at_rest(here, ahead[-1][1]):
                nodes = ahead[: most + 1]
                record.nodes += [maps.node(half, k, x, d) for k, x, d in nodes]
                half += room * each
                piece, after = maps.traced(half, amplitude, here := nodes[-1][1])
                continue
            if full_swing and maps.only_rest:
                break
            if full_swing:  # it will go on like this: look in again later
                half += each * min(room, max(PAUSE_MOST, (half - begun) // 8))
                piece, after = maps.traced(half, amplitude, here)
                wait = PAUSE_MOST
                continue
            most = min(most, _doublings_most(jacobian))
            doublings = min(doublings, most)
            found = _NO_SKIP
            while doublings >= 3:
                found = _skip(maps, half, amplitude, here, ahead[: doublings + 1], jacobian, doublings)
                if found.piece or doublings == 3:
                    break
                doublings = max(3, doublings - (ceil(log(found.error / 0.5, 8)) if 1 < found.error < 1e9 else 1))
            doublings = max(doublings, 3)
            if found.piece:
                record.nodes += [maps.node(half, k, x, d) for k, x, d in found.nodes]
                half += each << doublings
                piece, here, after, pause = found.piece, found.state, found.after, PAUSE_LEAST
                doublings = min(doublings + max(0, floor(log(0.5 / max(found.error, 1e-12), 8))), 40)
                continue
            wait, pause = pause, min(2 * pause, PAUSE_MOST)
        half += each
        wait -= 1
        plain += 1
        if plain % HUNT_WATCH == 0:
            before_db, hunts_db = hunts_db, _swing_db(maps, record)
            full_swing = 0.0 < hunts_db < SWING_GROWS * before_db
        here = after
        if half + each <= end:
            piece, after = maps.traced(half, amplitude, here)
    if plain >= HUNT_WATCH and not hunts_db:
        hunts_db = _swing_db(maps, record)
    record.hunts_db = max(record.hunts_db, hunts_db)
    return half, here[0], maps.conductance_of(here[1])


def _swing_db(maps: PeriodMap, record: Record) -> float:
    """Return how far the gain has swung to and fro from map to map lately, and no less than before; 0 if it has not."""
    gains = [
        20 * log10(maps.engine.law.at(p.conductance)) for p in record.pieces[-maps.halves * HUNT_WATCH :: maps.halves]
    ]
    before, lately = gains[: HUNT_WATCH // 2], gains[HUNT_WATCH // 2 :]
    swing = max(lately) - min(lately)
    there_and_back = _turns(lately, HUNT_SHARE * swing) >= HUNT_TURNS
    return swing if there_and_back and swing > 0.7 * (max(before) - min(before)) else 0.0


def _turns(gains: list[float], least: float) -> int:
    """Return how often a row of gains turns round for more than `least`: what settles, and then trembles, does not."""
    turns, way, low, high = 0, 0, gains[0], gains[0]
    for gain in gains[1:]:
        low, high = min(low, gain), max(high, gain)
        if way >= 0 and high - gain > least:
            turns, way, low = turns + (way > 0), -1, gain
        elif way <= 0 and gain - low > least:
            turns, way, high = turns + (way < 0), 1, gain
    return turns


def _doublings_most(jacobian: Square) -> int:
    """Return how far may be skipped so that between nodes no swing to and fro turns by more than a radian."""
    a, b, c, d = jacobian
    middle, det = 0.5 * (a + d), a * d - b * c
    under = middle * middle - det
    if under < 0:
        angle = atan2(sqrt(-under), middle) if det > LASTING * LASTING else 0.0
    else:
        angle = pi if middle - sqrt(under) < -LASTING else 0.0
    return floor(log2(2 / angle)) if angle else 64


def grows(jacobian: Square) -> bool:
    """Tell whether a small disturbance swings to and fro with the map and grows."""
    a, b, c, d = jacobian
    middle, det = 0.5 * (a + d), a * d - b * c
    under = middle * middle - det
    if under < 0:
        return det > 1
    return middle - sqrt(under) < -1


def _broken(
    maps: PeriodMap, record: Record, half: int, inside: list[float], amplitudes: list[float], v: float, g: float
) -> tuple[float, float, int]:
    """Compute the half period in which the level changes, at parts `inside` of it."""
    count = 0
    for start, stop, amplitude in zip([0.0, *inside], [*inside, 1.0], amplitudes, strict=True):
        if stop - start < 1e-9:
            continue
        (v, g), count = maps.close(record, half, (start * pi, stop * pi), amplitude, v, g, count)
    return v, g, count
