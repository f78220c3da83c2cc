"""Where a steady tone leaves each of many units: `settle.Sweep` over arrays.

Every unit goes its own way: each has its own peaks, its own last states from which the next is sought, and its own Jacobian;
none waits for another.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._refusal import Unsolved
from pedalcalc._units import shown
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.many import Figures, Many, Places, Traced
from pedalcalc.compressor.settle import CLOSE_SWEEP, FAR, RENEW, STEP_CELL, STEPS

Squares = Floats  # four rows, an element for each unit


class Settled(NamedTuple):
    """Settled periods of a tone, an element for each unit asked for."""

    amplitude: Floats  # of the side-chain signal ahead of the cell
    voltage: Floats  # at its beginning
    log_conductance: Floats
    gain: Floats  # of the tone, by quadrature
    conductance: Floats  # on average, as the next
    current_led: Floats
    lit: Floats  # 1 where there is light to speak of, else 0


class _Run:
    """Where each unit stands on its way through its peaks; a place for each unit asked for."""

    def __init__(self, peaks: Floats, length: Places, which: Places, most: Floats) -> None:
        count = len(which)
        self.peaks, self.length, self.which, self.most = peaks, length, which, most
        self.found = np.full((len(Settled._fields), *peaks.shape), np.nan)
        self.row, self.step = np.zeros(count, int), np.zeros(count, int)
        self.fresh, self.begins = np.zeros(count, bool), length > 0
        self.alive = self.begins.copy()
        self.state, self.before = np.zeros((2, count)), np.zeros((4, count))

    def settled(self, place: Places, met: Floats) -> None:
        """Note what has settled, and go on to the next peaks."""
        self.found[:, self.row[place], place] = met
        self.row[place] += 1
        self.step[place], self.fresh[place] = 0, False
        self.alive[place] = self.begins[place] = (self.row[place] < self.length[place]) & (met[0] <= self.most[place])


class SweepMany:
    """Settled periods at one side-chain peak after the other, each sought from where the last ones were."""

    def __init__(self, many: Many, *, index: Places, close: float = CLOSE_SWEEP) -> None:
        self.many, self.close = many, close
        self.index = index  # by which an error names each unit
        self.jacobian = np.zeros((4, many.count))
        self.known = np.zeros(many.count, bool)  # whether there is a Jacobian
        self.last = np.zeros((3, 3, many.count))  # ln peak, held voltage, ln conductance of the last three; newest last
        self.length = np.zeros(many.count, int)

    def begin(self, peak: Floats, v: Floats, log_conductance: Floats, which: Places) -> None:
        """Begin with states near which the first periods are to be sought."""
        self.last[2][:, which] = np.log(peak), v, log_conductance
        self.length[which] = 1

    def at(self, peak: Floats, which: Places) -> Settled:
        """Return the periods of some units at a side-chain peak of each, in volts ahead of rail and rectifier."""
        return Settled(*(part[0] for part in self.through(peak[None], np.ones(len(which), int), which)[0]))

    def through(
        self, peaks: Floats, length: Places, which: Places, *, most: Floats | float = np.inf
    ) -> tuple[Settled, Places]:
        """Return the periods of some units at one side-chain peak after the other, a column for each unit.

        Of a column `length` peaks count, and none after the first at which the signal ahead of the cell is above `most`; how
        many were taken is returned too. Each unit goes on to its next peak when it has settled at the last.
        """
        run = _Run(peaks, length, which, np.broadcast_to(most, len(which)))
        while len(on := self._set_off(run)):
            self._one_map(run, on)
        return Settled(*run.found), run.row

    def _set_off(self, run: _Run) -> Places:
        """Begin with the next peaks where a period has settled; return the places that are not through."""
        many = self.many
        while len(new := np.flatnonzero(run.begins)):
            u, peak = run.which[new], run.peaks[run.row[new], new]
            f = many.of(u)
            volts = np.maximum(np.minimum(peak, f.rail) - f.diode, 0.0)
            quiet = many.log_of(many.rest[u], u)
            dark = volts <= many.rows.lies.first[u]  # no light to speak of
            lit, out = new[~dark], new[dark]
            run.begins[lit] = False
            if len(lit):
                run.state[:, lit] = self._guess(
                    np.log(peak[~dark]), volts[~dark], quiet[~dark], u[~dark], run.fresh[lit]
                )
            if len(out):
                held, rest = np.zeros_like(volts) if many.direct else volts, many.rest[u]
                gain = (f.n0 + f.n1 * rest) / (f.d0 + f.d1 * rest)
                amplitude = self._amplitude(peak, quiet, u, f)
                none = np.zeros_like(peak)
                run.settled(out, np.stack([amplitude, held, quiet, gain, rest, none, none])[:, dark])
        return np.flatnonzero(run.alive)

    def _one_map(self, run: _Run, on: Places) -> None:
        """Compute a map from each state sought from, and take a step of Newton's method; see `settle.Sweep`."""
        many, u, (v, w), peak = self.many, run.which[on], run.state[:, on], run.peaks[run.row[on], on]
        f, step = many.of(u), run.step[on]
        new = ~self.known[u] | (step % np.where(run.fresh[on], 1, RENEW) == np.where(run.fresh[on], 1, RENEW) - 1)
        amplitude = self._amplitude(peak, w, u, f)
        # Whoever takes a Jacobian needs two neighbouring maps as well: they are computed together with all others.
        near, count = np.flatnonzero(new), len(on)
        step_w, step_v = 1e-5, 1e-4 * f.e_fold[near]
        beside = self._amplitude(peak[near], w[near] + step_w, u[near], many.of(u[near]))
        sides = 0 if many.direct else 1
        after_v, after_w, pieces = many.traced(
            np.concatenate([amplitude, beside, *[amplitude[near]] * sides]),
            np.concatenate([v, v[near], *[v[near] + step_v] * sides]),
            np.concatenate([w, w[near] + step_w, *[w[near]] * sides]),
            np.concatenate([u, u[near], *[u[near]] * sides]),
        )
        after, by_w, by_v = (
            np.stack([after_v[part], after_w[part]])
            for part in (slice(count), slice(count, count + len(near)), slice(count + len(near), None))
        )
        here, old = np.concatenate([run.state[:, on], after]), ~new & (step > 0)
        if old.any():
            self.jacobian[:, u[old]] = _learned(
                self.jacobian[:, u[old]], f.e_fold[old], run.before[:, on[old]], here[:, old]
            )
        if len(near):
            b, d = (by_w - after[:, near]) / step_w
            none = np.zeros_like(d)
            a, c = (none, none) if many.direct else (by_v - after[:, near]) / step_v
            self.jacobian[:, u[near]] = a, none if many.direct else b, c, d
            self.known[u] = True
        fix_v, fix_w = solved(self.jacobian[:, u], *(after - run.state[:, on]))
        v, w = _stepped(many, v, w, fix_v, fix_w, u)
        run.state[:, on], run.before[:, on] = (v, w), here
        run.step[on] += 1
        close = (np.abs(fix_w) < self.close) & (np.abs(fix_v) * many.worth(v, u) < self.close)
        if close.any():
            amplitude = self._amplitude(peak, w, u, f)[close]
            met = _averages(many, pieces, close, fix_v, fix_w, u)
            self._keep(u[close], np.log(peak[close]), v[close], w[close])
            run.settled(on[close], np.stack([amplitude, v[close], w[close], *met, np.ones_like(amplitude)]))
        stuck = on[~close & (run.step[on] >= STEPS)]
        if len(stuck):
            if run.fresh[stuck].any():
                at = stuck[np.argmax(run.fresh[stuck])]
                raise Unsolved(
                    f"no periodic state found at a side-chain peak of {shown(run.peaks[run.row[at], at], 'V')}, "
                    f"{shown(many.frequency, 'Hz')}, at index ({self.index[run.which[at]]},)"
                )
            run.fresh[stuck], run.begins[stuck], run.step[stuck] = True, True, 0

    def _amplitude(self, peak: Floats, w: Floats, which: Places, f: Figures) -> Floats:
        if not self.many.after:
            return peak
        g = self.many.conductance_of(w, which)
        return np.asarray(peak * (f.d0 + f.d1 * g) / (f.n0 + f.n1 * g))

    def _guess(
        self, log_peak: Floats, most: Floats, quiet: Floats, units: Places, fresh: NDArray[np.bool_]
    ) -> tuple[Floats, Floats]:
        """Carry the last states on to a new peak, by a parabola over its logarithm; begin anew far from them."""
        away = fresh | ((self.length[units] > 0) & (np.abs(log_peak - self.last[-1, 0, units]) > FAR))
        self.length[units[away]], self.known[units[away]] = 0, False
        x, v, w = self.last[:, 0][:, units], self.last[:, 1][:, units], self.last[:, 2][:, units]
        apart = (x[0] != x[1]) & (x[1] != x[2]) & (x[0] != x[2])
        near = np.abs(log_peak - x[2]) < 3 * np.abs(x[2] - x[1])
        carried = (self.length[units] >= 3) & near & apart
        with np.errstate(divide="ignore", invalid="ignore"):
            weights = [
                (log_peak - x[1]) / (x[0] - x[1]) * (log_peak - x[2]) / (x[0] - x[2]),
                (log_peak - x[0]) / (x[1] - x[0]) * (log_peak - x[2]) / (x[1] - x[2]),
                (log_peak - x[0]) / (x[2] - x[0]) * (log_peak - x[1]) / (x[2] - x[1]),
            ]
            ahead_v, ahead_w = (sum(a * b for a, b in zip(weights, y, strict=True)) for y in (v, w))
        none = self.length[units] == 0
        held = np.where(carried, np.maximum(ahead_v, 0.0), v[2])
        dark = np.zeros_like(most) if self.many.direct else 0.9 * most
        return np.where(none, dark, np.minimum(held, most)), np.where(none, quiet, np.where(carried, ahead_w, w[2]))

    def _keep(self, units: Places, log_peak: Floats, v: Floats, w: Floats) -> None:
        self.last[:2, :, units] = self.last[1:][:, :, units]
        self.last[2][:, units] = log_peak, v, w
        self.length[units] += 1


def solved(jacobian: Squares, move_v: Floats, move_w: Floats) -> tuple[Floats, Floats]:
    """Return how far the fixed points lie from states that move so far in a period."""
    a, b, c, d = 1 - jacobian[0], -jacobian[1], -jacobian[2], 1 - jacobian[3]
    det = a * d - b * c
    none = det == 0
    whole = np.where(none, 1.0, det)
    return (
        np.where(none, move_v, (d * move_v - b * move_w) / whole),
        np.where(none, move_w, (a * move_w - c * move_v) / whole),
    )


def _stepped(many: Many, v: Floats, w: Floats, fix_v: Floats, fix_w: Floats, u: Places) -> tuple[Floats, Floats]:
    damp = np.minimum(1.0, STEP_CELL / np.maximum(np.abs(fix_w), 1e-12))
    return np.minimum(np.maximum(v + damp * fix_v, 0.0), many.rows.lies.top[u]), w + damp * fix_w


def _learned(jacobian: Squares, e_fold: Floats, before: Floats, here: Floats) -> Squares:
    """Return Jacobians corrected by what one more map has shown (Broyden's rule, volts counted in e-folds)."""
    moved_v, dw, moved_after_v, moved_after_w = here - before
    dv = moved_v / e_fold**2
    length = dv * moved_v + dw * dw
    none = length == 0
    whole = np.where(none, np.inf, length)
    a, b, c, d = jacobian
    miss_v, miss_w = moved_after_v - a * moved_v - b * dw, moved_after_w - c * moved_v - d * dw
    return np.stack([
        a + miss_v * dv / whole, b + miss_v * dw / whole, c + miss_w * dv / whole, d + miss_w * dw / whole,
    ])  # fmt: skip


def _averages(
    many: Many, pieces: list[Traced], which: NDArray[np.bool_], fix_v: Floats, fix_w: Floats, u: Places
) -> tuple[Floats, Floats, Floats]:
    """Return gain of the tone, conductance and LED current of the marked units, on average over their periods."""
    tone, sums, count = np.zeros(len(u), complex), np.zeros((2, len(u))), np.zeros(len(u))
    for piece in pieces:
        inside = np.flatnonzero(piece.place < len(u))
        inside = inside[which[piece.place[inside]]]
        place = piece.place[inside]
        if not len(place):
            continue
        units, volts, cells = u[place], piece.voltage[:, inside], piece.conductance[:, inside]
        f, steps = many.of(units), len(volts)
        cells = (cells + f.offset) * np.exp(fix_w[place]) - f.offset
        turn = np.exp(-2j * np.pi * (np.arange(steps) + 0.5) / steps)
        gains = (f.n0 + f.n1 * cells) / (f.d0 + f.d1 * cells)
        tone[place] += (1 - turn) @ gains
        sums[0, place] += np.sum(cells, axis=0)
        held = volts if many.direct else volts + fix_v[place]
        sums[1, place] += np.sum(many.rows.led_current(held, units), axis=0)
        count[place] += steps
    return np.abs(tone[which] / count[which]), sums[0, which] / count[which], sums[1, which] / count[which]
