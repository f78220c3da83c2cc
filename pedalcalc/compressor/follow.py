"""Follow a tone through changes of level, without computing every period of it.

One period of the tone maps what the circuit remembers, held voltage and conductance, to what it remembers a period
later (`period_map.py`). After a change of level every period is computed, in steps that are halved until they agree; further on many
periods are skipped at once where the map shows how each of them will move the state: to first order by its
Jacobian, taken from two neighbouring runs, with the rest as error estimate. So the cost of a record does not grow
with the time constants of the circuit.
"""

from __future__ import annotations

from math import atan2, ceil, floor, log, log2, log10, pi, sqrt
from typing import NamedTuple

from pedalcalc._result import warn_outside_model
from pedalcalc.compressor.engine import STEPS_MOST, State
from pedalcalc.compressor.period_map import TOLERANCE_CELL, TOLERANCE_HOLD, Pair, PeriodMap, Piece, Record, Square

CLOSE_HALVES = 12  # half periods after a change of level whose steps are halved until they agree
PLAIN_BEFORE = 4  # half periods computed one by one ahead of a change
SKIP_LEAST = 8  # maps; fewer are computed one by one
HUNT_WATCH = 32  # maps computed one by one, after each of which a loop is asked whether it hunts
SWING_GROWS = 1.3  # times as much as a watch ago: a swing still on its way to its full size
HUNT_TURNS = 4  # turns to and fro among the later half of them
HUNT_SHARE = 0.3  # of the swing: what turns round for less is no hunting
FAR_MOST = 50.0  # of ln conductance in a skip
LASTING = 0.25  # of a swing that is left a map later, if it is to count
PAUSE_LEAST, PAUSE_MOST = 4, 64  # maps computed one by one after a skip that failed
Far = tuple[int, Pair, Pair]  # maps ahead, state, movement a map


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
        warn_outside_model(
            f"cell and gain together move faster than {STEPS_MOST} steps in half a period of {frequency:g} Hz follow: "
            "what happens within a period may be off"
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
