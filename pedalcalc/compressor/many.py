"""Many units at once: the loops of the engine and the map of a period, over arrays with an element for each unit.

The arithmetic is that of `engine` and `follow`, operation by operation, so that a unit among many comes out as it
does alone. Branches have become choices between elements; units that need another number of steps in half a period are
computed together with their like.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial
from math import cos, pi, sin
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._junction import VOLTAGE_THERMAL_300K
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor
from pedalcalc.compressor.engine import (
    SPANS,
    STEP_DRAIN,
    STEP_LONGEST,
    STEP_LOOP,
    STEPS,
    STEPS_GROWING,
    STEPS_MOST,
    counts_of_steps,
)
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.period_map import CONDUCTANCE_NONE, NOTHING, WORTH_UNLIT
from pedalcalc.compressor.rows import Rows

Places = NDArray[np.intp]
_TINY = 1e-290  # in place of a swing of 0 V


class Figures(NamedTuple):
    """Numbers of the circuit that the loops run on, an element for each unit."""

    n0: Floats
    n1: Floats
    d0: Floats
    d1: Floats
    base: Floats  # the gain law split, see `GainLaw.split`
    part: Floats
    diode: Floats
    rail: Floats
    dark: Floats  # conductance, and scale and exponent of the rate of the cell's fall
    fall: Floats
    exponent: Floats
    attack: Floats  # seconds
    release: Floats  # seconds
    ohms_release: Floats
    farads: Floats
    leak: Floats
    drain: Floats  # rate at which a LED discharges the hold capacitor
    offset: Floats
    e_fold: Floats


class Traced(NamedTuple):
    """What the units of one number of steps went through in half a period: an axis of steps, one of units."""

    place: Places  # among those asked for
    voltage: Floats
    conductance: Floats


def _figures(compressor: Compressor, count: int) -> Floats:
    c, law, cell = compressor, laws.gain_law(compressor), compressor.coupler_at_temperature.cell
    with np.errstate(divide="ignore", invalid="ignore"):
        base = np.where(np.asarray(law.d1) == 0, 0.0, np.divide(law.n1, law.d1))
        dark = 1 / np.asarray(cell.resistance_dark)
        fall = np.power(cell.resistance_10lx, np.asarray(cell.fall_exponent, float)) / np.asarray(cell.time_fall_10lx)
        release = np.multiply(c.resistance_release, c.capacitance_hold)
        drain = 1 / (
            (c.resistance_led + np.asarray(c.coupler_at_temperature.led.resistance_series)) * c.capacitance_hold
        )
        answered = np.divide(1e-3 if c.placement == "series" else law.d0, law.d1)
        rest = np.asarray(laws.conductance_dark(c))
        least = np.where(rest > 0, rest, CONDUCTANCE_NONE)
        offset = 1e-3 * np.where((np.asarray(law.d1) != 0) & (answered > 0), answered, least)
    listed = (
        *law, base, law.n0 - base * law.d0, c.voltage_diode, c.voltage_rail, dark, fall, cell.fall_exponent,
        np.multiply(c.resistance_attack, c.capacitance_hold), release, c.resistance_release, c.capacitance_hold,
        c.current_leakage, drain if c.drive == "capacitor" else 0.0, offset,
        np.multiply(c.coupler_at_temperature.led.ideality, VOLTAGE_THERMAL_300K),
    )  # fmt: skip
    return np.stack([np.broadcast_to(np.asarray(figure, float), count) for figure in listed])


class Many:
    """The map of one period, half of one behind a full-wave rectifier, of many units."""

    def __init__(self, compressor: Compressor, count: int, peak: Floats, *, frequency: float) -> None:
        c = compressor
        self.compressor, self.count, self.frequency = c, count, frequency
        self.halves = 1 if c.rectifier == "full" else 2
        self.after, self.direct = c.sense == "after", c.drive == "direct"
        self.grows = c.placement == "series" and self.after
        self.listed = _figures(c, count)
        self.offset = Figures(*self.listed).offset
        self.rest = np.broadcast_to(np.asarray(laws.conductance_dark(c)), count)
        self.rows = Rows(c, count, laws.voltage_top(c, peak))
        self.ladder = counts_of_steps(STEPS_GROWING if self.grows else STEPS)
        self.advance: Callable[..., tuple[Floats, Floats]] = partial(
            {"buffered": _buffered, "capacitor": _capacitor, "direct": _direct}[c.drive], self
        )

    def of(self, which: Places) -> Figures:
        """Return the figures of some units."""
        return Figures(*self.listed.take(which, axis=1))

    def steps(self, amplitude: Floats, v: Floats, g: Floats, which: Places) -> Places:
        """Return how many steps half a period of each unit needs from here."""
        f, half = self.of(which), 0.5 / self.frequency
        loud = amplitude * _gain(f, g) if self.after else amplitude
        reached = np.maximum(np.minimum(loud, f.rail) - f.diode, v)
        fastest = np.maximum(
            half * self.rows.loop_rate(np.maximum(reached, 0.0), which) / STEP_LOOP, half / STEP_LONGEST
        )
        wanted = np.maximum(fastest, half * f.drain / (STEP_DRAIN * SPANS))
        found = self.ladder.take(np.searchsorted(self.ladder[:-1], wanted))
        return np.where(wanted > STEPS_MOST, STEPS_MOST, found)

    def half(
        self, odd: bool, amplitude: Floats, v: Floats, g: Floats, which: Places
    ) -> tuple[Floats, Floats, list[Traced]]:
        """Compute half a period of some units."""
        if odd and self.halves == 2:
            amplitude = np.zeros_like(amplitude)
        counts = self.steps(amplitude, v, g, which)
        v, g, traced = v.copy(), g.copy(), []
        for count in np.unique(counts):
            place = np.flatnonzero(counts == count)
            trace = np.empty((2, count, len(place)))
            v[place], g[place] = self.advance(which[place], int(count), amplitude[place], v[place], g[place], trace)
            traced.append(Traced(place, *trace))
        return v, g, traced

    def log_of(self, g: Floats, which: Places) -> Floats:
        """Return conductances as the map's second coordinate."""
        return np.log(g + self.offset[which])

    def conductance_of(self, w: Floats, which: Places) -> Floats:
        """Return the conductances that belong to second coordinates."""
        offset = self.offset[which]
        found = offset * np.expm1(w - np.log(offset))
        return np.asarray(np.where(found > NOTHING * offset, found, 0.0))

    def traced(self, amplitude: Floats, v: Floats, w: Floats, which: Places) -> tuple[Floats, Floats, list[Traced]]:
        """Compute one map; return the state after it and what lay between."""
        g, pieces = self.conductance_of(w, which), []
        for odd in range(self.halves):
            v, g, more = self.half(bool(odd), amplitude, v, g, which)
            pieces += more
        return v, self.log_of(g, which), pieces

    def jacobian(self, amplitude: Floats, v: Floats, w: Floats, which: Places) -> Floats:
        """Return d after / d state, from neighbouring runs in the direction of travel: four rows, an element for each."""
        after_v, after_w, _ = self.traced(amplitude, v, w, which)
        dv, dw, e_fold = after_v - v, after_w - w, self.of(which).e_fold
        step_w = np.clip(4 * np.abs(dw), 1e-7, 1e-3) * np.where(dw >= 0, 1, -1)
        near_v, near_w, _ = self.traced(amplitude, v, w + step_w, which)
        b, d = (near_v - after_v) / step_w, (near_w - after_w) / step_w
        if self.direct:
            return np.stack([np.zeros_like(d), np.zeros_like(d), np.zeros_like(d), d])
        step_v = np.clip(4 * np.abs(dv), 1e-7 * e_fold, 1e-2 * e_fold) * np.where((dv >= 0) | (v < 1e-6), 1, -1)
        near_v, near_w, _ = self.traced(amplitude, v + step_v, w, which)
        return np.stack([(near_v - after_v) / step_v, b, (near_w - after_w) / step_v, d])

    def worth(self, v: Floats, which: Places) -> Floats:
        """Return how far the cell's settled ln conductance moves per volt held."""
        settled, slope = self.rows.lookup(which)(v)[:2]
        f = self.of(which)
        return np.asarray(np.maximum(np.abs(slope) / (settled + slope * v + f.offset), WORTH_UNLIT / f.e_fold))


def _gain(f: Figures, g: Floats) -> Floats:
    return np.asarray((f.n0 + f.n1 * g) / (f.d0 + f.d1 * g))


@lru_cache(maxsize=64)
def _spans(count: int) -> list[list[tuple[float, float]]]:
    """Return sine and cosine of the middles of the spans, step by step of half a period."""
    width = pi / (count * SPANS)
    turns = [[(SPANS * k + m + 0.5) * width for m in range(SPANS)] for k in range(count)]
    return [[(sin(turn), abs(cos(turn))) for turn in step] for step in turns]


def _charged(x: Floats, r: Floats) -> Floats:
    """Return how far a signal that swings by `r` about `x` lies above 0 on average."""
    reach = np.minimum(np.maximum(x + r, 0.0), 2 * r)
    return np.asarray(0.25 * reach * (reach / r) + np.maximum(x - r, 0.0))


def _cell(f: Figures, rows: Floats, v: Floats, g: Floats, time: float) -> Floats:
    """Return the conductance after a time in the light of a held voltage."""
    aim = rows[0] + rows[1] * v
    rate = np.where(aim > g, rows[2] + rows[3] * v, f.fall * np.maximum(g - f.dark, 0.0) ** f.exponent)
    return np.asarray(g - (aim - g) * np.expm1(-time * rate))


def _buffered(
    many: Many, which: Places, count: int, amplitude: Floats, v: Floats, g: Floats, trace: Floats
) -> tuple[Floats, Floats]:
    f, step = many.of(which), 0.5 / many.frequency / count
    span, top = step / SPANS, f.rail - f.diode
    with np.errstate(divide="ignore"):
        charge = -np.expm1(-span / f.attack)
    stay, lost = _drained(f, 0.5 * span)
    stay_step, lost_step = _drained(f, step)
    width = pi / (count * SPANS)
    flat = 1 - (1 - sin(width / 2) / (width / 2)) * (1 - charge)
    swing = width / 2 * (1 - charge) ** 2
    rows, time = many.rows.lookup(which), 0.5 * step
    for n, spans in enumerate(_spans(count)):
        g = _cell(f, rows(v), v, g, time)
        time = step
        loud = amplitude * (f.base + f.part / (f.d0 + f.d1 * g)) if many.after else amplitude
        level, wide = loud * flat, np.maximum(loud * swing, _TINY)
        left = v * stay_step - lost_step
        # No unit charges in a span that stays below what it holds; a step in which none can is left out.
        most = max(sine for sine, _ in spans) * level + max(cosine for _, cosine in spans) * wide - f.diode
        if (most > left).any():
            clips = bool((most > top).any())
            for sine, cosine in spans:
                v = v * stay - lost
                s, r = sine * level - f.diode, cosine * wide
                gained = _charged(s - v, r)
                if clips:
                    over = s - r >= top
                    gained = np.where(over & (s - v > -r), top - v, gained - np.where(over, 0.0, _charged(s - top, r)))
                v = (v + charge * gained) * stay - lost
        else:
            v = left
        v = np.maximum(v, 0.0)
        trace[:, n] = v, g
    return v, _cell(f, rows(v), v, g, 0.5 * step)


def _drained(f: Figures, time: float) -> tuple[Floats, Floats]:
    """Return the part that stays on the capacitor over a time, and what leaks away besides."""
    with np.errstate(invalid="ignore"):
        lost = -f.leak * f.ohms_release * np.expm1(-time / f.release)
    return np.exp(-time / f.release), np.where(np.isinf(f.ohms_release), f.leak * time / f.farads, lost)


def _fed(slope: Floats, span: float) -> Floats:
    """Return how long a flow into a capacitor counts that drains at a rate `slope`."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(slope == 0, span, -np.expm1(-slope * span) / slope)


def _capacitor(
    many: Many, which: Places, count: int, amplitude: Floats, v: Floats, g: Floats, trace: Floats
) -> tuple[Floats, Floats]:
    f, step = many.of(which), 0.5 / many.frequency / count
    span, top, at_once = step / SPANS, f.rail - f.diode, f.attack == 0
    release = 1 / f.ohms_release
    with np.errstate(divide="ignore"):
        into = np.where(at_once, 0.0, 1 / f.attack)
    width = pi / (count * SPANS)
    dip, swing = 1 - (1 - sin(width / 2) / (width / 2)), width / 2
    look, time = many.rows.lookup(which, current=True), 0.5 * step
    rows = look(v)
    for n, spans in enumerate(_spans(count)):
        g = _cell(f, rows, v, g, time)
        time = step
        loud = amplitude * (f.base + f.part / (f.d0 + f.d1 * g)) if many.after else amplitude
        for sine, cosine in spans:
            slope = (release + rows[5]) / f.farads
            flow = -(rows[4] + rows[5] * v + release * v + f.leak) / f.farads
            s, r = sine * dip * loud - f.diode, np.maximum(cosine * swing * loud, _TINY)
            x = s - v
            lit, over = x > -r, s - r >= top
            share = np.where(over, 1.0, np.minimum(np.maximum(0.5 * (x + r) / r, 0.0), 1.0))
            x = np.where(over, top - v, _charged(x, r) - _charged(s - top, r))
            flow += np.where(lit, x * into, 0.0)
            slope += np.where(lit, share * into, 0.0)
            v = v + flow * _fed(slope, span)
            v = np.maximum(np.where(lit & at_once, np.maximum(v, np.minimum(s, top)), v), 0.0)
            rows = look(v)
        trace[:, n] = v, g
    return v, _cell(f, rows, v, g, 0.5 * step)


def _direct(
    many: Many, which: Places, count: int, amplitude: Floats, _: Floats, g: Floats, trace: Floats
) -> tuple[Floats, Floats]:
    f, step = many.of(which), 0.5 / many.frequency / count
    span, top, first = step / SPANS, f.rail - f.diode, many.rows.lies.first[which]
    unlit, rows = many.rows.unlit[which], many.rows.lookup(which)
    width = pi / (count * SPANS)
    dip, swing = 1 - (1 - sin(width / 2) / (width / 2)), width / 2

    def fallen(g: Floats, time: float) -> Floats:
        rate = f.fall * np.maximum(g - f.dark, 0.0) ** f.exponent
        return np.where(g > f.dark, g - (unlit - g) * np.expm1(-time * rate), g)

    for n, spans in enumerate(_spans(count)):
        start = g
        gain = f.base + f.part / (f.d0 + f.d1 * g) if many.after else 1.0
        s = max(sine * dip + cosine * swing for sine, cosine in spans) * amplitude * gain - f.diode
        met = s > first
        if met.any():
            inside = g
            for sine, _cosine in spans:
                below = f.d0 + f.d1 * inside
                if many.after:
                    gain = f.base + f.part / below
                at = sine * dip * amplitude * gain - f.diode
                lit = at > first
                bend = (at <= top) if many.after else False
                at = np.where(lit, np.minimum(at, top), at)
                inside = np.where(lit, _lit(f, rows(at), at, inside, span, below, gain, bend), fallen(inside, span))
                s = np.where(met, at, s)
            g = np.where(met, inside, fallen(g, step))
        else:
            g = fallen(g, step)
        trace[:, n] = np.maximum(s, 0.0), 0.5 * (start + g)
    return np.zeros_like(g), g


def _lit(f: Figures, rows: Floats, s: Floats, g: Floats, span: float, below: Floats, gain: Any, bend: Any) -> Floats:
    """Return the conductance after a span in which the signal lights the cell directly."""
    gap = rows[0] + rows[1] * s - g
    rises = gap > 0
    rate = np.where(rises, rows[2] + rows[3] * s, f.fall * np.maximum(g - f.dark, 0.0) ** f.exponent)
    rate = np.where(rises | (g > f.dark), rate, 0.0)
    turned = rate * rows[1] + np.where(rises, rows[3] * gap, 0.0)
    slope = rate + np.where(bend, turned * (s + f.diode) * f.part * f.d1 / (below * below * gain), 0.0)
    bent = (slope * span > 1e-9) | (slope < 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        far = np.where(bent, -np.expm1(-slope * span) / slope, span)
    return np.asarray(g + gap * rate * far)
