"""One period of a tone as a map: from held voltage and conductance to what they are a period later.

Where the rectifier is a full-wave one, the map is that of half a period. The conductance enters as
ln(g + g_c), with g_c small against every conductance that the gain answers to.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, expm1, log, pi
from typing import Any, NamedTuple

import numpy as np

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.compressor.engine import STEPS_MOST, Engine, State, Trace, rest

CLOSE_CELL = 5e-4  # ln conductance to which halved steps must agree; the finer of the two is kept
CLOSE_HOLD = 1e-3  # of what the held voltage makes of the cell's settled ln conductance
TOLERANCE_CELL = 3e-4  # of ln conductance, in one skip
TOLERANCE_HOLD = 6e-4  # of what the held voltage makes of the cell's settled ln conductance
CONDUCTANCE_NONE = 1e-9  # of a cell to which a gain answers nowhere
NOTHING = 1e-14  # of g_c: a conductance that is rounding
WORTH_UNLIT = 0.05  # of the cell's ln conductance to an e-fold of the LED's current, where it is not lit
Pair = tuple[float, float]
Square = tuple[float, float, float, float]


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
