"""Where a steady tone leaves the circuit: the fixed point of the map of one period.

Behind the cell the side-chain's level depends on the state that it leads to. For a sweep the peak of the side-chain
signal at the beginning of the period is taken as given, which opens the loop; the level in follows from it.
So a circuit with several equilibria shows all of them, each at its own peak.
"""

from __future__ import annotations

from math import hypot, log
from typing import NamedTuple

import numpy as np

from pedalcalc._refusal import Unsolved
from pedalcalc._units import shown
from pedalcalc.compressor import laws
from pedalcalc.compressor.engine import State, rest
from pedalcalc.compressor.follow import follow, grows
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.period_map import Pair, PeriodMap, Piece, Square

HALVES_MOST = 2_000_000  # half periods followed where Newton's method finds nothing; most of them are skipped
CLOSE_CELL, CLOSE_HOLD = 1e-7, 1e-9  # what a period may still move: ln conductance, volts
CLOSE_SWEEP = 1e-4  # ln conductance by which the last step of a sweep's point may still correct it
STEPS = 40
RENEW = 6  # steps between Jacobians taken anew in a sweep
FAR = 0.5  # in the logarithm of the peak: from so far away a sweep begins anew
STEP_CELL = 2.0  # of ln conductance in one step


class Fixed(NamedTuple):
    """A state that a period of the tone leaves as it was, and the map's Jacobian there."""

    state: Pair
    jacobian: Square
    pieces: list[Piece]


def fixed_point(maps: PeriodMap, amplitude: float, start: Pair) -> Fixed | None:
    """Return the fixed point of the map near `start` by Newton's method, none if it does not close in."""
    state, worst = start, float("inf")
    jacobian: Square | None = None
    for _ in range(STEPS):
        pieces, after = maps.traced(0, amplitude, state)
        move = after[0] - state[0], after[1] - state[1]
        size = hypot(move[1], move[0] / maps.e_fold)
        if jacobian is None or size > 0.1 * worst:
            jacobian = maps.jacobian(amplitude, state, after)
        worst = size
        if abs(move[1]) <= CLOSE_CELL and abs(move[0]) <= CLOSE_HOLD * (1 + abs(state[0])):
            return Fixed(state, jacobian, pieces)
        state = _stepped(maps, state, solved(jacobian, move))
    return None


def solved(jacobian: Square, move: Pair) -> Pair:
    """Return how far the fixed point lies from a state that moves by `move` in a period."""
    a, b, c, d = 1 - jacobian[0], -jacobian[1], -jacobian[2], 1 - jacobian[3]
    det = a * d - b * c
    if det == 0.0:
        return move
    return (d * move[0] - b * move[1]) / det, (a * move[1] - c * move[0]) / det


def _stepped(maps: PeriodMap, state: Pair, fix: Pair) -> Pair:
    damp = min(1.0, STEP_CELL / max(abs(fix[1]), 1e-12))
    return min(max(state[0] + damp * fix[0], 0.0), maps.engine.table.top), state[1] + damp * fix[1]


def settle_from_silence(maps: PeriodMap, amplitude: float) -> State:
    """Return the state in which a tone of a side-chain amplitude (ahead of the cell) settles, coming from silence."""
    compressor = maps.engine.compressor
    start = rest(compressor)
    quiet = maps.log_of(start.conductance)
    loud = amplitude * (maps.engine.law.at(start.conductance) if compressor.sense == "after" else 1.0)
    seed = 0.9 * max(min(loud, compressor.voltage_rail) - compressor.voltage_diode, 0.0)
    near = (
        _at_level(maps, amplitude, loud) if compressor.sense == "after" and compressor.placement != "series" else None
    )
    found = fixed_point(maps, amplitude, near or (0.0 if maps.direct else seed, quiet))
    latches = compressor.placement == "series" and compressor.sense == "after"
    if found is None or (latches and found.state[1] > quiet + 0.1):
        return come_to_rest(maps, amplitude, start)[0]
    return State(voltage_hold=found.state[0], conductance=maps.conductance_of(found.state[1]))


def _at_level(maps: PeriodMap, amplitude: float, loud: float) -> Pair | None:
    """Return about where a loop that turns the gain down settles: the side-chain peak is sought that fits the level in."""
    from scipy.optimize import brentq

    sweep, least = Sweep(maps), maps.engine.table.first + maps.engine.compressor.voltage_diode
    if not 0 < least < loud:
        return None

    def too_loud(log_peak: float) -> float:
        return log(sweep.at(float(np.exp(log_peak))).amplitude / amplitude)

    try:
        peak = brentq(too_loud, log(least), log(loud), xtol=1e-3)
    except (ValueError, RuntimeError):  # no bracket, or no periodic state on the way
        return None
    return sweep.at(float(np.exp(peak))).state


def come_to_rest(maps: PeriodMap, amplitude: float, start: State) -> tuple[State, float]:
    """Return where a tone leaves the circuit after a long time, and by how many dB its gain still hunts then."""
    record = follow(
        PeriodMap(maps.engine, frequency=maps.frequency, only_rest=True),
        moments=[0.0],
        amplitudes=[amplitude],
        duration=HALVES_MOST / (2 * maps.frequency),
        state=start,
    )
    return record.state, record.hunts_db


class Period(NamedTuple):
    """A settled period of a tone: its half-waves as computed, and how far from them it lies."""

    amplitude: float  # of the side-chain signal ahead of the cell
    state: Pair  # at its beginning
    fix: Pair  # from what was computed to what is settled
    pieces: list[Piece]  # none where there is no light to speak of


class Sweep:
    """Settled periods at one side-chain peak after the other, each sought from where the last ones were."""

    def __init__(self, maps: PeriodMap) -> None:
        self.maps = maps
        compressor = maps.engine.compressor
        self.after = compressor.sense == "after"
        self.dark = rest(compressor).conductance
        self.jacobian: Square | None = None
        self.last: list[tuple[float, Pair]] = []

    def at(self, peak: float) -> Period:
        """Return the period at a side-chain peak, in volts ahead of rail and rectifier."""
        maps, compressor, peak = self.maps, self.maps.engine.compressor, float(peak)
        most = max(min(peak, compressor.voltage_rail) - compressor.voltage_diode, 0.0)
        if most <= maps.engine.table.first:  # no light to speak of
            state = (0.0 if maps.direct else most), maps.log_of(self.dark)
            return Period(self._amplitude(peak, state), state, (0.0, 0.0), [])
        for fresh in (False, True):
            if fresh or (self.last and abs(log(peak / self.last[-1][0])) > FAR):
                self.last, self.jacobian = [], None
            found = self._sought(peak, self._guess(peak, most), renew=1 if fresh else RENEW)
            if found:
                return found
        raise Unsolved(
            f"no periodic state found at a side-chain peak of {shown(peak, 'V')}, {shown(maps.frequency, 'Hz')}"
        )

    def _sought(self, peak: float, state: Pair, *, renew: int) -> Period | None:
        """Return the settled period near a state; the Jacobian is taken anew every `renew` steps and learned between."""
        maps, before = self.maps, None
        for step in range(STEPS):
            amplitude = self._amplitude(peak, state)
            pieces, after = maps.traced(0, amplitude, state)
            if self.jacobian is None or step % renew == renew - 1:
                self.jacobian = self._jacobian(peak, state, after)
            elif before:
                self.jacobian = _learned(self.jacobian, maps.e_fold, *before, state, after)
            fix = solved(self.jacobian, (after[0] - state[0], after[1] - state[1]))
            before = state, after
            state = _stepped(maps, state, fix)
            if abs(fix[1]) < CLOSE_SWEEP and abs(fix[0]) * maps.worth(state[0]) < CLOSE_SWEEP:
                if max(max(piece.trace.voltage) for piece in pieces) > maps.engine.table.top * (1 + 1e-9):
                    return None  # the laws were not looked up so far
                self.last = [*self.last[-2:], (peak, state)]
                return Period(self._amplitude(peak, state), state, fix, pieces)
        return None

    def _amplitude(self, peak: float, state: Pair) -> float:
        return peak / self.maps.engine.law.at(self.maps.conductance_of(state[1])) if self.after else peak

    def _guess(self, peak: float, most: float) -> Pair:
        """Carry the last states on to a new peak, by a parabola over its logarithm."""
        if not self.last:
            return (0.0 if self.maps.direct else 0.9 * most), self.maps.log_of(self.dark)
        at = log(peak)
        known = [(log(p), state) for p, state in self.last]
        if len(known) < 3 or not abs(at - known[-1][0]) < 3 * abs(known[-1][0] - known[-2][0]):
            return min(known[-1][1][0], most), known[-1][1][1]
        v = w = 0.0
        for i, (x, state) in enumerate(known):
            weight = 1.0
            for j, (other, _) in enumerate(known):
                if j != i:
                    if x == other:
                        return min(known[-1][1][0], most), known[-1][1][1]
                    weight *= (at - other) / (x - other)
            v += weight * state[0]
            w += weight * state[1]
        return min(max(v, 0.0), most), w

    def _jacobian(self, peak: float, state: Pair, after: Pair) -> Square:
        maps = self.maps
        v, w = state
        step_w, step_v = 1e-5, 1e-4 * maps.e_fold
        near = maps.at(self._amplitude(peak, (v, w + step_w)), (v, w + step_w))
        b, d = (near[0] - after[0]) / step_w, (near[1] - after[1]) / step_w
        if maps.direct:
            return 0.0, 0.0, 0.0, d
        near = maps.at(self._amplitude(peak, state), (v + step_v, w))
        return (near[0] - after[0]) / step_v, b, (near[1] - after[1]) / step_v, d


class Averages(NamedTuple):
    """What settled tones do, on average over their periods; an element each."""

    gain: Floats  # of the tone, by quadrature
    conductance: Floats
    current_led: Floats


def averages(maps: PeriodMap, periods: list[Period]) -> Averages:
    """Return what the periods of a sweep do."""
    engine, compressor = maps.engine, maps.engine.compressor
    dark = rest(compressor).conductance
    gain = np.full(len(periods), float(engine.law.at(dark)))
    conductance, current = np.full(len(periods), dark), np.zeros(len(periods))
    counts = np.array([sum(len(piece.trace.voltage) for piece in period.pieces) for period in periods])
    for count in np.unique(counts[counts > 0]):
        which = np.flatnonzero(counts == count)
        fix = np.array([periods[i].fix for i in which])[:, :, None]
        volts = np.array([[v for piece in periods[i].pieces for v in piece.trace.voltage] for i in which])
        cells = np.array([[g for piece in periods[i].pieces for g in piece.trace.conductance] for i in which])
        cells = (cells + maps.offset) * np.exp(fix[:, 1]) - maps.offset
        turn = np.concatenate(
            [(np.arange(len(p.trace.voltage)) + 0.5) / len(p.trace.voltage) for p in periods[which[0]].pieces]
        )
        gain[which] = np.abs(np.mean(engine.law.at(cells) * (1 - np.exp(-2j * np.pi * turn)), axis=1))
        conductance[which] = np.mean(cells, axis=1)
        current[which] = np.mean(laws.led_current(compressor, volts + (0.0 if maps.direct else fix[:, 0])), axis=1)
    return Averages(gain, conductance, current)


def _learned(jacobian: Square, e_fold: float, state: Pair, after: Pair, state_new: Pair, after_new: Pair) -> Square:
    """Return a Jacobian corrected by what one more map has shown (Broyden's rule, volts counted in e-folds)."""
    dv, dw = (state_new[0] - state[0]) / e_fold**2, state_new[1] - state[1]
    length = dv * (state_new[0] - state[0]) + dw * dw
    if length == 0.0:
        return jacobian
    a, b, c, d = jacobian
    miss_v = after_new[0] - after[0] - a * (state_new[0] - state[0]) - b * dw
    miss_w = after_new[1] - after[1] - c * (state_new[0] - state[0]) - d * dw
    return a + miss_v * dv / length, b + miss_v * dw / length, c + miss_w * dv / length, d + miss_w * dw / length


def hunts(maps: PeriodMap, period: Period) -> bool:
    """Tell whether a settled period of a loop is one that the circuit would leave again, swinging."""
    after = maps.at(period.amplitude, period.state)
    return grows(maps.jacobian(period.amplitude, period.state, after))


def swing_db(maps: PeriodMap, found: list[tuple[float, Pair]]) -> float:
    """Return the largest swing of the gain, in dB, from amplitudes and settled periods that the circuit leaves; 0 of none."""
    swings = [0.0]
    for index in {len(found) // 2, len(found) - 1} if found else ():
        amplitude, (v, w) = found[index]
        swings.append(
            come_to_rest(maps, amplitude, State(voltage_hold=v, conductance=1.001 * maps.conductance_of(w)))[1]
        )
    return max(swings)
