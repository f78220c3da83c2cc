"""The one engine: loops in plain floats over short steps, for tones and for sound.

A signal comes as steps of the cell, each with a few spans of the rectified side-chain signal; a span is the straight
line about its middle, so that charging which begins or ends within it is counted exactly. The hold
capacitor charges span by span and drains half before and half after it. Cell and capacitor leapfrog: the
cell moves half a step, then both by whole steps, then the cell by half a step again, so that the error
falls with the square of the step. A LED that follows the side-chain directly lights the cell span by
span, gain and cell solved together. LED and cell laws are looked up in a table over the voltage; beyond it, where only
a search for a settled state tries, its last row holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, cos, exp, expm1, pi, sin
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._result import Result, quantity
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.table import Table, table

SPANS = 3  # of the side-chain signal in a step of the cell, for a tone
STEPS = 17  # of the cell in half a period of a tone, at least; odd, so that the middle of a span is the tip
STEPS_GROWING = 33  # the same for a series cell sensed behind itself, in which every error grows
STEP_LONGEST = 5e-5  # seconds
STEP_LOOP = 0.15  # of the fastest time constant that cell and gain have together
STEP_DRAIN = 1.0  # of the fastest time constant of a LED that discharges the hold capacitor, in a span
STEPS_MOST = 20_001  # in half a period; a loop faster still is computed with these, and a warning

Span = tuple[float, float]  # middle and half swing of a side-chain signal of amplitude 1


@dataclass(frozen=True, slots=True, eq=False)
class State(Result):
    """What the circuit remembers: the hold capacitor and the cell."""

    voltage_hold: float = quantity("V", "voltage held on the capacitor")
    conductance: float = quantity("S", "conductance of the cell without its floor")


class Steps(NamedTuple):
    """A piece of signal in steps of equal length."""

    step: float  # seconds
    spans: int  # in each step
    blocks: Sequence[tuple[float, Any]]  # highest value in each step, and what its spans are found by
    spans_of: Callable[[Any], Iterable[Span]]


class Trace(NamedTuple):
    """What a piece of signal left: voltage at the ends of its steps, conductance at their middles."""

    voltage: list[float]
    conductance: list[float]


Advance = Callable[[Steps, float, float, float, Trace | None], tuple[float, float]]


def rest(compressor: Compressor) -> State:
    """Return the state after a long silence."""
    return State(voltage_hold=0.0, conductance=laws.conductance_dark(compressor))


class Engine(NamedTuple):
    """One circuit made ready: `advance(steps, amplitude, v, g, trace)` returns what v and g become."""

    compressor: Compressor
    law: laws.GainLaw
    table: Table
    advance: Advance

    def tone(self, phase_from: float, phase_to: float, *, frequency: float, count: int) -> Steps:
        """Return part of a half-wave of a tone, 0 to pi, in `count` steps."""
        c = self.compressor
        step = (phase_to - phase_from) / (2 * pi * frequency) / count
        charge = 0.0 if c.drive != "buffered" else _charge(c, step / SPANS)
        return _tone(phase_from, phase_to, count, step, charge)

    def steps_in_half(self, *, frequency: float, amplitude: float, v: float, g: float) -> int:
        """Return how many steps half a period needs from here: an odd number."""
        c, half = self.compressor, 0.5 / frequency
        reached = min(amplitude * (self.law.at(g) if c.sense == "after" else 1.0), c.voltage_rail) - c.voltage_diode
        fastest = self.table.loop_rate[self.table.place(max(reached, v, 0.0))]
        grows = c.placement == "series" and c.sense == "after"
        wanted = max(
            STEPS_GROWING if grows else STEPS,
            half / STEP_LONGEST,
            half * fastest / STEP_LOOP,
            half * self.drain_rate() / (STEP_DRAIN * SPANS),
        )
        if wanted > STEPS_MOST:
            return STEPS_MOST
        count = STEPS_GROWING if grows else STEPS
        while count < wanted:
            count = _more_steps(count)
        return count

    def drain_rate(self) -> float:
        """Return the fastest rate at which a LED discharges the hold capacitor, 0 if it does not."""
        c = self.compressor
        if c.drive != "capacitor":
            return 0.0
        return 1 / ((c.resistance_led + float(c.coupler_at_temperature.led.resistance_series)) * c.capacitance_hold)

    def hold_rate(self) -> float:
        """Return the fastest rate at which the voltage that lights the LED follows the side-chain; infinite if directly."""
        c = self.compressor
        if c.drive == "direct" or c.resistance_attack == 0:
            return float("inf")
        return max(1 / (min(c.resistance_attack, c.resistance_release) * c.capacitance_hold), self.drain_rate())


def _more_steps(count: int) -> int:
    return 2 * ceil(0.62 * count) + 1


def counts_of_steps(least: int) -> NDArray[np.intp]:
    """Return the numbers of steps that half a period may be computed with, from the least up."""
    counts = [least]
    while counts[-1] < STEPS_MOST:
        counts.append(_more_steps(counts[-1]))
    return np.array(counts)


def engine(compressor: Compressor, peak: float, held: float = 0.0) -> Engine:
    """Make a circuit ready for side-chain signals of up to `peak` volts ahead of the rail, and `held` on the capacitor."""
    law = laws.gain_law(compressor)
    rows = table(compressor, max(laws.voltage_top(compressor, peak), held))
    loop = {"buffered": _buffered, "capacitor": _capacitor, "direct": _direct}[compressor.drive]
    return Engine(compressor, law, rows, loop(compressor, law, rows))


def made_ready(compressor: Compressor, peak_in: float, state: State | None) -> Engine:
    """Make a circuit ready for input signals of up to `peak_in` volts, from a state on (at rest if there is none)."""
    peak = peak_in * compressor.gain_sidechain
    if compressor.sense == "after":
        law, dark = laws.gain_law(compressor), laws.conductance_dark(compressor)
        peak *= max(law.at(dark if state is None else min(dark, state.conductance)), law.at(1e9))
    return engine(compressor, peak, 0.0 if state is None else state.voltage_hold)


def _charge(compressor: Compressor, time: float) -> float:
    """Return the part of the way to a steady voltage that the hold capacitor charges in a time."""
    if compressor.resistance_attack == 0:
        return 1.0
    return -expm1(-time / (compressor.resistance_attack * compressor.capacitance_hold))


@lru_cache(maxsize=256)
def _tone(phase_from: float, phase_to: float, count: int, step: float, charge: float) -> Steps:
    """Return the steps of a half-wave of amplitude 1.

    A capacitor that charges quickly (`charge` near 1) follows the sine to the middle of a span, one that
    charges slowly sees its average.
    """
    width = (phase_to - phase_from) / (count * SPANS)
    dip = (1 - sin(width / 2) / (width / 2)) * (1 - charge)
    swing = width / 2 * (1 - charge) ** 2
    blocks = []
    for k in range(count):
        spans = []
        for m in range(SPANS):
            middle = phase_from + (SPANS * k + m + 0.5) * width
            spans.append((sin(middle) * (1 - dip), abs(cos(middle)) * swing))
        blocks.append((max(s + r for s, r in spans), tuple(spans)))
    return Steps(step, SPANS, blocks, iter)


def sound(engine: Engine, signal: Floats, *, rate: float, spans: int) -> Steps:
    """Return the steps of a signal of `rate` samples a second, the middles of its spans, and one more at each end.

    What the side-chain sees between two samples is a parabola through neighbours.
    """
    c = engine.compressor
    charge = 0.0 if c.drive != "buffered" else _charge(c, 1 / rate)
    middle = signal[1:-1]
    swing = 0.25 * (1 - charge) ** 2 * np.abs(signal[2:] - signal[:-2])
    middle = middle + (1 - charge) / 24 * (signal[2:] - 2 * middle + signal[:-2])
    middle = np.abs(middle) if c.rectifier == "full" else np.maximum(middle, 0.0)
    return _steps(middle, swing, spans / rate, spans)


def blocks(engine: Engine, signal: Floats, *, rate: float, block: int, spans: int) -> Steps:
    """Return the steps of a signal of `rate` samples a second, coarser than `sound`: each span is a block of samples.

    A capacitor that charges quickly follows the block to its highest sample, one that charges slowly sees its average.
    """
    c = engine.compressor
    heard = np.abs(signal) if c.rectifier == "full" else np.maximum(signal, 0.0)
    padded = np.concatenate([heard, np.zeros(-heard.size % (block * spans))])
    heard = np.ascontiguousarray(padded.reshape(-1, block).T)  # numpy reduces long rows, not many short ones, fast
    charge = 0.0 if c.drive != "buffered" else _charge(c, block / rate)
    mean, high, low = heard.mean(axis=0), heard.max(axis=0), heard.min(axis=0)
    return _steps(mean + charge * (high - mean), 0.5 * (1 - charge) ** 2 * (high - low), block * spans / rate, spans)


def _steps(middle: Floats, swing: Floats, step: float, spans: int) -> Steps:
    """Return steps of these spans."""
    peaks = np.ascontiguousarray((middle + swing).reshape(-1, spans).T).max(axis=0)
    middles, swings = middle.tolist(), swing.tolist()

    def spans_of(first: int) -> Iterable[Span]:
        return zip(middles[first : first + spans], swings[first : first + spans], strict=True)

    return Steps(step, spans, list(zip(peaks.tolist(), range(0, len(middles), spans), strict=True)), spans_of)


def _cell(compressor: Compressor) -> tuple[float, float, float]:
    """Return the dark conductance, and scale and exponent of the rate of the cell's fall."""
    cell = compressor.coupler_at_temperature.cell
    dark = 0.0 if np.isinf(cell.resistance_dark) else 1 / float(cell.resistance_dark)
    exponent = float(cell.fall_exponent)
    return dark, float(cell.resistance_10lx) ** exponent / float(cell.time_fall_10lx), exponent


def _buffered(compressor: Compressor, law: laws.GainLaw, rows: Table, /) -> Advance:
    c = compressor
    base, part, d0, d1 = law.split()
    dark, fall, exponent = _cell(c)
    diode, after, leak = float(c.voltage_diode), c.sense == "after", float(c.current_leakage)
    top = float(c.voltage_rail) - diode
    ohms, farads = float(c.resistance_release), float(c.capacitance_hold)
    listed, first, per_volt, knee, knee_row, per_volt_above, brightest = rows[:7]

    def drained(time: float) -> tuple[float, float]:
        """Return the part that stays on the capacitor over a time, and what leaks away besides."""
        if ohms == float("inf"):
            return 1.0, leak * time / farads
        return exp(-time / (ohms * farads)), -leak * ohms * expm1(-time / (ohms * farads))

    def advance(steps: Steps, amplitude: float, v: float, g: float, trace: Trace | None) -> tuple[float, float]:
        step, spans, blocks, spans_of = steps
        charge = _charge(c, step / spans)
        stay, lost = drained(0.5 * step / spans)
        stay_step, lost_step = drained(step)
        time, end = 0.5 * step, len(blocks)
        keep_v, keep_g = (trace.voltage.append, trace.conductance.append) if trace else (None, None)
        gain, n = 1.0, 0
        while True:
            if v < knee:
                row = listed[1 + int((v - first) * per_volt)] if v > first else listed[0]
            else:
                row = listed[knee_row + int((v - knee) * per_volt_above)] if v < brightest else listed[-1]
            aim = row[0] + row[1] * v
            if aim > g:
                g -= (aim - g) * expm1(-time * (row[2] + row[3] * v))
            elif g > dark:
                g -= (aim - g) * expm1(-time * fall * (g - dark) ** exponent)
            if n == end:
                return v, g
            time = step
            if after:
                gain = base + part / (d0 + d1 * g)
            loud = amplitude * gain
            peak, block = blocks[n]
            n += 1
            if peak * loud - diode > v * stay_step - lost_step:
                for s, r in spans_of(block):
                    v = v * stay - lost
                    s = s * loud - diode
                    r *= loud
                    x = s - v
                    if x > -r:
                        if s + r <= top:
                            v += charge * (x if x >= r else 0.25 * (x + r) * (x + r) / r)
                        elif s - r >= top:
                            v += charge * (top - v)
                        else:
                            x = x if x >= r else 0.25 * (x + r) * (x + r) / r
                            v += charge * (x - 0.25 * (s + r - top) * (s + r - top) / r)
                    v = v * stay - lost
            else:
                v = v * stay_step - lost_step
            if v < 0.0:
                v = 0.0
            if n == end:
                time = 0.5 * step
            if keep_v and keep_g:
                keep_v(v)
                keep_g(g)

    return advance


def _capacitor(compressor: Compressor, law: laws.GainLaw, rows: Table, /) -> Advance:
    """Charge and discharge by the LED are solved together: each span is exact for the straight line that it begins on."""
    c = compressor
    base, part, d0, d1 = law.split()
    dark, fall, exponent = _cell(c)
    diode, after, leak = float(c.voltage_diode), c.sense == "after", float(c.current_leakage)
    top = float(c.voltage_rail) - diode
    farads = float(c.capacitance_hold)
    into = 0.0 if c.resistance_attack == 0 else 1 / (float(c.resistance_attack) * farads)
    release = 1 / float(c.resistance_release)
    listed, first, per_volt, knee, knee_row, per_volt_above, brightest = rows[:7]

    def advance(steps: Steps, amplitude: float, v: float, g: float, trace: Trace | None) -> tuple[float, float]:
        step, spans, blocks, spans_of = steps
        span = step / spans
        time, end = 0.5 * step, len(blocks)
        keep_v, keep_g = (trace.voltage.append, trace.conductance.append) if trace else (None, None)
        gain, n = 1.0, 0
        while True:
            if v < knee:
                row = listed[1 + int((v - first) * per_volt)] if v > first else listed[0]
            else:
                row = listed[knee_row + int((v - knee) * per_volt_above)] if v < brightest else listed[-1]
            aim = row[0] + row[1] * v
            if aim > g:
                g -= (aim - g) * expm1(-time * (row[2] + row[3] * v))
            elif g > dark:
                g -= (aim - g) * expm1(-time * fall * (g - dark) ** exponent)
            if n == end:
                return v, g
            time = step
            if after:
                gain = base + part / (d0 + d1 * g)
            loud = amplitude * gain
            block = blocks[n][1]
            n += 1
            for s, r in spans_of(block):
                slope = (release + row[5]) / farads
                flow = -(row[4] + row[5] * v + release * v + leak) / farads
                s = s * loud - diode
                r *= loud
                x = s - v
                if x > -r:
                    if s - r >= top:
                        x, share = top - v, 1.0
                    else:
                        share = 1.0 if x >= r else 0.5 * (x + r) / r
                        x = x if x >= r else 0.25 * (x + r) * (x + r) / r
                        if s + r > top:
                            x -= 0.25 * (s + r - top) * (s + r - top) / r
                    if into:
                        flow += x * into
                        slope += share * into
                        v -= flow * expm1(-slope * span) / slope
                    else:
                        v -= flow * expm1(-slope * span) / slope if slope else -flow * span
                        v = max(v, min(s, top))
                else:
                    v -= flow * expm1(-slope * span) / slope if slope else -flow * span
                if v < 0.0:
                    v = 0.0
                if v < knee:
                    row = listed[1 + int((v - first) * per_volt)] if v > first else listed[0]
                else:
                    row = listed[knee_row + int((v - knee) * per_volt_above)] if v < brightest else listed[-1]
            if n == end:
                time = 0.5 * step
            if keep_v and keep_g:
                keep_v(v)
                keep_g(g)

    return advance


def _direct(compressor: Compressor, law: laws.GainLaw, rows: Table, /) -> Advance:
    """Each span is exact for the straight line on which cell, light and gain stand at its beginning."""
    c = compressor
    base, part, d0, d1 = law.split()
    dark, fall, exponent = _cell(c)
    diode, after = float(c.voltage_diode), c.sense == "after"
    top = float(c.voltage_rail) - diode
    listed, first, per_volt, knee, knee_row, per_volt_above, brightest = rows[:7]
    unlit = rows.unlit

    def advance(steps: Steps, amplitude: float, _: float, g: float, trace: Trace | None) -> tuple[float, float]:
        step, spans, blocks, spans_of = steps
        span = step / spans
        keep_v, keep_g = (trace.voltage.append, trace.conductance.append) if trace else (None, None)
        gain = 1.0
        for peak, block in blocks:
            start = g
            if after:
                gain = base + part / (d0 + d1 * g)
            s = peak * amplitude * gain - diode
            if s > first:
                for s, _swing in spans_of(block):
                    if after:
                        below = d0 + d1 * g
                        gain = base + part / below
                    s = s * amplitude * gain - diode
                    if s > first:
                        bend = after
                        if s > top:
                            s, bend = top, False
                        if s < knee:
                            row = listed[1 + int((s - first) * per_volt)]
                        else:
                            row = listed[knee_row + int((s - knee) * per_volt_above)] if s < brightest else listed[-1]
                        aim = row[0] + row[1] * s
                        gap = aim - g
                        if gap > 0.0:
                            rate = row[2] + row[3] * s
                            slope = rate
                            if bend:
                                slope += (
                                    (rate * row[1] + row[3] * gap) * (s + diode) * part * d1 / (below * below * gain)
                                )
                        else:
                            rate = slope = fall * (g - dark) ** exponent if g > dark else 0.0
                            if bend:
                                slope += rate * row[1] * (s + diode) * part * d1 / (below * below * gain)
                        if slope * span > 1e-9 or slope < 0.0:
                            g -= gap * rate * expm1(-slope * span) / slope
                        else:
                            g += gap * rate * span
                    elif g > dark:
                        g -= (unlit - g) * expm1(-span * fall * (g - dark) ** exponent)
            elif g > dark:
                g -= (unlit - g) * expm1(-step * fall * (g - dark) ** exponent)
            if keep_v and keep_g:
                keep_v(max(0.0, s))
                keep_g(0.5 * (start + g))
        return 0.0, g

    return advance
