"""Read a record of `follow` back as tracks over time.

Around each change of level the points stand close together; further on they thin out with the time since the change.
What was skipped is filled in between computed periods: the state by cubics through its nodes, with their
slopes, and the ripple within a period by its place between the neighbours. The level out is what a
quadrature meter over half a period shows, as in `envelope`.
"""

from __future__ import annotations

from math import ceil, floor, log2, pi
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc.compressor import laws
from pedalcalc.compressor.follow import CLOSE_HALVES
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.period_map import Piece, Record, conductance
from pedalcalc.compressor.timing import envelope

PHASES = 24  # points of half a period, at least; doubled until they lie no further apart than
APART = 1e-4  # seconds
DENSE = 96  # the same around a change of level, of which every second one is kept
SPACING = 0.002  # of the time since the last change
SPACING_LEAST = 3e-4  # seconds between points, where every period is kept

Cells = NDArray[np.intp]
VOLTAGE, LOG_CONDUCTANCE = 0, 1  # places in a state
ALL = slice(None)


class Track(NamedTuple):
    """State, gain and level over time."""

    time: Floats
    voltage: Floats
    conductance: Floats
    gain: Floats  # of cell and make-up
    amplitude: Floats  # of the tone out


class _Whole(NamedTuple):
    """All half periods that were computed in one piece, resampled to a common number of points."""

    half: Cells
    log_conductance: Floats
    voltage: Floats
    start: Floats  # (halves, 2): voltage and log conductance
    end: Floats


def _whole(pieces: list[Piece], offset: float, phases: int) -> _Whole:
    chosen = [p for p in pieces if p.phase_from == 0.0 and p.phase_to == pi]
    half = np.array([p.half for p in chosen], np.intp)
    start = np.array([(p.voltage, p.conductance) for p in chosen])
    end = np.array([(p.voltage_end, p.conductance_end) for p in chosen])
    counts = np.array([len(p.trace.voltage) for p in chosen])
    log_g, volts = np.empty((len(chosen), phases)), np.empty((len(chosen), phases))
    wanted = (np.arange(phases) + 0.5) / phases
    for count in np.unique(counts):
        which = np.flatnonzero(counts == count)
        traces = [chosen[i].trace for i in which]
        for out, column, values, moments in (
            (log_g, 1, np.array([t.conductance for t in traces]), (np.arange(count) + 0.5) / count),
            (volts, 0, np.array([t.voltage for t in traces])[:, :-1], np.arange(1, count) / count),
        ):
            knots = np.concatenate([[0.0], moments, [1.0]])
            table = np.concatenate([start[which, column, None], values, end[which, column, None]], axis=1)
            if column:
                table = np.log(table + offset)
            place = np.clip(np.searchsorted(knots, wanted) - 1, 0, knots.size - 2)
            part = (wanted - knots[place]) / (knots[place + 1] - knots[place])
            out[which] = table[:, place] * (1 - part) + table[:, place + 1] * part
    for ends in (start, end):
        ends[:, 1] = np.log(ends[:, 1] + offset)
    return _Whole(half, log_g, volts, start, end)


class _Filled:
    """Any half period of a record: as it was computed, or filled in between its neighbours."""

    def __init__(self, record: Record, halves: int, phases: int) -> None:
        self.halves, self.phases = halves, phases
        self.whole = _whole(record.pieces, record.offset, phases)
        half = self.whole.half
        row = np.arange(half.size)
        if halves == 2:  # periods of which both halves were computed, one after the other
            row = row[:-1][(half[:-1] % 2 == 0) & (np.diff(half) == 1)]
        self.first = row
        self.unit = half[row] // halves
        start, end = self.whole.start[row], self.whole.end[row + halves - 1]
        turn = (np.arange(halves * phases) + 0.5) / (halves * phases)
        together = [
            np.concatenate([values[row + k] for k in range(halves)], axis=1)
            for values in (self.whole.voltage, self.whole.log_conductance)
        ]
        line = start[:, None, :] + (end - start)[:, None, :] * turn[:, None]
        self.ripple = [
            (values - line[:, :, place]).reshape(row.size, halves, phases) for place, values in enumerate(together)
        ]
        nodes = np.array(
            [
                (
                    n.half // halves,
                    n.voltage,
                    n.log_conductance,
                    n.voltage_slope * halves,
                    n.log_conductance_slope * halves,
                )
                for n in record.nodes
            ]
        ).reshape(-1, 5)
        known = np.concatenate([self.unit[:, None], start, end - start], axis=1)
        nodes = np.concatenate([known, nodes])
        _, once = np.unique(nodes[:, 0], return_index=True)
        self.nodes = nodes[once]

    def at(self, cells: Cells, which: int, phases: slice = ALL) -> Floats:
        """Return `VOLTAGE` or `LOG_CONDUCTANCE` at these phases, (cells, phases)."""
        known = (self.whole.voltage, self.whole.log_conductance)[which][:, phases]
        found = np.empty((cells.size, known.shape[1]))
        place = np.clip(np.searchsorted(self.whole.half, cells), 0, self.whole.half.size - 1)
        computed = self.whole.half[place] == cells
        found[computed] = known[place[computed]]
        if not np.all(computed):
            found[~computed] = self._between(cells[~computed], which, phases)
        return found

    def _between(self, cells: Cells, which: int, phases: slice) -> Floats:
        unit, part = np.divmod(cells, self.halves)
        after = np.clip(np.searchsorted(self.unit, unit), 1, self.unit.size - 1)
        share = ((unit - self.unit[after - 1]) / (self.unit[after] - self.unit[after - 1]))[:, None]
        ripple = self.ripple[which]
        start, end = self._state(unit, which)[:, None], self._state(unit + 1, which)[:, None]
        turn = (part[:, None] + ((np.arange(self.phases) + 0.5) / self.phases)[phases]) / self.halves
        found: Floats = (1 - share) * ripple[after - 1, part, phases]
        found += share * ripple[after, part, phases]
        found += start + (end - start) * turn
        return np.maximum(found, 0.0, out=found) if which == VOLTAGE else found

    def _state(self, unit: Cells, which: int) -> Floats:
        """Return the voltage or log conductance at the beginning of a unit, by a cubic between nodes."""
        nodes = self.nodes
        k = np.clip(np.searchsorted(nodes[:, 0], unit, side="right") - 1, 0, nodes.shape[0] - 2)
        width = nodes[k + 1, 0] - nodes[k, 0]
        s = (unit - nodes[k, 0]) / width
        low, high = nodes[k, 1 + which], nodes[k + 1, 1 + which]
        rise, fall = nodes[k, 3 + which] * width, nodes[k + 1, 3 + which] * width
        found: Floats = low + s * (
            rise + s * (3 * (high - low) - 2 * rise - fall + s * (2 * (low - high) + rise + fall))
        )
        return found


def read(
    record: Record,
    *,
    law: laws.GainLaw,
    halves: int,
    frequency: float,
    moments: Floats,
    amplitudes: Floats,
    duration: float,
) -> Track:
    """Return the tracks of a record from a quarter period after its start to `duration`."""
    changes = moments[1:] * 2 * frequency
    count = ceil(duration * 2 * frequency - 1e-9)
    windows = _windows(changes, count)
    phases = PHASES * 2 ** max(0, ceil(log2(0.5 / frequency / PHASES / APART)))
    filled = _Filled(record, halves, phases)
    parts, begin, since = [], 0, 0.0
    for first, last in [*windows, (count, count)]:
        if begin < first:
            amplitude = amplitudes[np.searchsorted(changes, begin, side="right")]
            parts.append(_sparse(record, filled, law, _cells(begin, first, since, halves), frequency, float(amplitude)))
        if first < last:
            parts.append(_dense(record, law, first, last, frequency, moments, amplitudes))
            since = float(changes[np.searchsorted(changes, last) - 1])
        begin = last
    joined = [np.concatenate(columns) for columns in zip(*parts, strict=True)]
    inside = (joined[0] >= 0.25 / frequency * (1 - 1e-9)) & (joined[0] <= duration)
    return Track(*(column[inside] for column in joined))


def _windows(changes: Floats, count: int) -> list[tuple[int, int]]:
    """Return the spans of half periods, from and to, whose points stand close together."""
    windows: list[tuple[int, int]] = []
    for change in changes:
        first, last = max(floor(change) - 1, 0), min(floor(change) + CLOSE_HALVES - 1, count)
        if windows and first <= windows[-1][1] + 3:
            windows[-1] = windows[-1][0], last
        else:
            windows.append((first, last))
    return windows


def _cells(begin: int, end: int, since: float, halves: int) -> Cells:
    chosen, cell = [], begin
    while cell < end:
        chosen.append(cell)
        if halves == 2 and cell % 2 == 0 and cell + 1 < end:
            chosen.append(cell + 1)
            cell += 1
        step = max(1, floor(SPACING * (cell - since)))
        cell += step + (halves == 2 and (cell + step) % 2)
    return np.array(chosen, np.intp)


def _sparse(
    record: Record, filled: _Filled, law: laws.GainLaw, cells: Cells, frequency: float, amplitude: float
) -> tuple[Floats, ...]:
    """Return points in single half periods of steady amplitude."""
    needed = np.unique(np.concatenate([np.maximum(cells - 1, 0), cells, cells + 1]))
    cell = conductance(filled.at(needed, LOG_CONDUCTANCE), record.offset)
    gain = law.at(cell)
    phases = filled.phases
    before, here, after = (np.searchsorted(needed, np.maximum(cells + k, 0)) for k in (-1, 0, 1))
    every = phases // int(np.clip(2 ** ceil(log2(0.5 / frequency / SPACING_LEAST / 3)) * 3, 3, phases))
    kept = slice(every // 2, phases, every)
    moments = np.arange(phases)[kept]
    three = np.concatenate([gain[before], gain[here], gain[after]], axis=1)
    # No matrix product: it would wake the threads of the matrix library, which then wait busily beside the browser.
    mixed = np.einsum("ij,jk->ik", three, _meter(phases, moments))
    level = np.hypot(mixed[:, : moments.size], mixed[:, moments.size :]) / phases
    time = (cells[:, None] + (moments + 0.5) / phases) / (2 * frequency)
    held = filled.at(cells, VOLTAGE, kept)
    columns = (time, held, cell[here, kept], gain[here, kept], level * amplitude)
    return tuple(np.ravel(column) for column in columns)


def _meter(phases: int, moments: Cells) -> Floats:
    """Return what a quadrature meter makes of the gain in three half periods, at moments of the middle one.

    A column for each moment: half a period about it, its ends by half, times the mixed-down tone; first all real
    parts, then all imaginary ones.
    """
    place, reach = np.arange(3 * phases)[:, None], phases // 2
    away = np.abs(place - phases - moments)
    weight = np.where(away < reach, 1.0, np.where(away == reach, 0.5, 0.0))
    mixed = weight * (1 - np.exp(-2j * pi * (place + 0.5) / phases))
    return np.concatenate([mixed.real, mixed.imag], axis=1)


def _dense(
    record: Record, law: laws.GainLaw, first: int, last: int, frequency: float, moments: Floats, amplitudes: Floats
) -> tuple[Floats, ...]:
    """Return points close together, from one half period to another, across changes of amplitude."""
    low, high = max(first - 1, 0), last + 1
    near = [p for p in record.pieces if low <= p.half < high]
    times, logs, time_ends, volts = [], [], [], []
    for p in near:
        count = len(p.trace.voltage)
        ends = p.half + (p.phase_from + (p.phase_to - p.phase_from) * np.arange(count + 1) / count) / pi
        times.append(0.5 * (ends[1:] + ends[:-1]))
        logs.append(p.trace.conductance)
        time_ends.append(ends[1:])
        volts.append(p.trace.voltage)
    rate = 2 * frequency * DENSE
    at = low + (np.arange((high - low) * DENSE) + 0.5) / DENSE
    cell = conductance(
        np.interp(at, np.concatenate(times), np.log(np.concatenate(logs) + record.offset)), record.offset
    )
    gain = law.at(cell)
    edges = (low + np.arange((high - low) * DENSE + 1) / DENSE) / (2 * frequency)
    wave = average(amplitudes, moments, edges) * np.sin(pi * at) * gain
    out = envelope(wave, sample_rate=rate, frequency=frequency)
    begin = round(float(out.time[0]) * rate)
    inside = np.arange(begin, begin + out.time.size)
    kept = (at[inside] >= first) & (at[inside] < last) & (inside % 2 == 0)
    which = inside[kept]
    held = np.interp(at[which], np.concatenate(time_ends), np.concatenate(volts))
    return at[which] / (2 * frequency), held, cell[which], gain[which], out.amplitude[kept]


def average(amplitude: Floats, moments: Floats, edges: Floats) -> Floats:
    """Return the average amplitude between neighbouring edges; a level that changes in between counts by its share."""
    ends = np.append(moments, max(edges[-1], moments[-1]))
    area = np.concatenate([[0.0], np.cumsum(amplitude * np.diff(ends))])
    found: Floats = np.diff(np.interp(edges, ends, area)) / np.diff(edges)
    return found
