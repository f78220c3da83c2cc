"""The static curves of many units: periods settled for all of them at once, and each unit's curve read off its own."""

from __future__ import annotations

import dataclasses
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pedalcalc._result import Caution
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import BLOCK, Compressor, hunting_caution, in_blocks, taken
from pedalcalc.compressor.curve_reading import (
    SPACING_DB,
    SPACING_E_FOLD,
    Curve,
    Swept,
    lit_from,
    read_curve,
    watch_every,
)
from pedalcalc.compressor.engine import made_ready
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.many import Many, Places
from pedalcalc.compressor.many_settle import Settled, SweepMany
from pedalcalc.compressor.period_map import PeriodMap
from pedalcalc.compressor.rows import Rows
from pedalcalc.compressor.settle import swing_db

_FOLLOWED = 4  # of the units that hunt, those in which a swing grows fastest, to see how large it gets


class _Hunting(NamedTuple):
    """Settled periods that a loop would leave, swinging: unit, amplitude, state, and by what a swing grows in each."""

    unit: Places
    amplitude: Floats
    voltage: Floats
    log_conductance: Floats
    growth: Floats


def curves_of_many(
    compressor: Compressor, level: Floats, peak_in: float, tone: float
) -> tuple[Curve, tuple[Caution, ...]]:
    """Return the curves of many units, and a caution where any of them hunt."""
    curves, hunting = [], []
    for at, some in in_blocks(compressor):
        count = at.stop - at.start
        law = laws.gain_law(some)
        loudest = np.maximum(law.at(laws.conductance_dark(some)), law.at(1e9)) if some.sense == "after" else 1.0
        peak = np.broadcast_to(peak_in * some.gain_sidechain * loudest, count)
        drive_db = np.broadcast_to(20 * np.log10(np.multiply(some.gain_sidechain, np.sqrt(2.0))), count)
        whole = _Block(some, np.arange(at.start, at.stop), level, drive_db, peak, tone)
        if some.sense == "before":
            curves.append(_ahead_of_the_cell(whole))
        else:
            curve, found = _behind_the_cell(whole)
            curves.append(curve)
            hunting.append(found)
    joined = Curve(*(np.concatenate(parts) for parts in zip(*curves, strict=True)))
    return joined, _hunting_caution(compressor, peak_in, tone, hunting)


class _Block(NamedTuple):
    """Units that are computed together, and what is asked of them."""

    compressor: Compressor
    places: Places  # of each among all
    level: Floats
    drive_db: Floats  # from the level in to that of the side-chain's peak, ahead of the cell
    peak: Floats
    tone: float


def _ahead_of_the_cell(block: _Block) -> Curve:
    level = block.level[:, None]
    met = _settled(block, level + block.drive_db, np.full(len(block.places), len(level)), np.inf)[1]
    out = (level + 20 * np.log10(met.gain)).T
    return Curve(out, out, np.ones(out.shape, int), met.current_led.T, met.conductance.T)


def _behind_the_cell(block: _Block) -> tuple[Curve, _Hunting]:
    some, level, drive_db = block.compressor, block.level, block.drive_db
    law, count = laws.gain_law(some), len(block.places)
    rows = Rows(some, count, laws.voltage_top(some, block.peak))
    brightest = rows.lit(rows.lies.top, np.arange(count))[0]
    ends = 20 * np.log10(np.stack(np.broadcast_arrays(law.at(laws.conductance_dark(some)), law.at(brightest))))
    low, high = level[0] + ends.min(axis=0) + drive_db - 1, level[-1] + ends.max(axis=0) + drive_db + 1
    falls = some.placement != "series"  # the gain falls with light, so the level in rises with the peak
    most_db = level[-1] + drive_db + 1 if falls else np.full(count, np.inf)
    side, length = _peaks(some, low, high)
    sweep, met, length = _settled(block, side, length, most_db)
    known = 20 * np.log10(met.amplitude) - drive_db
    curves = [
        read_curve(
            level,
            Swept(side[:n, i], known[:n, i], met.gain[:n, i], met.current_led[:n, i], met.conductance[:n, i]),
            float(sweep.many.offset[i]),
        )
        for i, n in enumerate(length)
    ]
    inside = (met.lit > 0) & (level[0] <= known) & (known <= level[-1])
    return Curve(*(np.array(parts) for parts in zip(*curves, strict=True))), _hunting(block, sweep, met, inside)


def _peaks(compressor: Compressor, low: Floats, high: Floats) -> tuple[Floats, Places]:
    """Return side-chain levels from low to high, a column for each unit, and how many count in each."""
    e_fold, lit = lit_from(compressor)
    levels = [low]
    while np.any(levels[-1] < high + SPACING_DB):
        at = levels[-1]
        peak = 10 ** (at / 20)
        turns_on = (lit <= peak * 10 ** (SPACING_DB / 20)) & (peak <= lit + 12 * e_fold)
        close = np.minimum(SPACING_DB, 20 * np.log10(1 + SPACING_E_FOLD * e_fold / peak))
        levels.append(at + np.where(turns_on, close, SPACING_DB))
    side = np.array(levels)
    return side, np.count_nonzero(side < high + SPACING_DB, axis=0)


def _settled(block: _Block, side: Floats, length: Places, most_db: Any) -> tuple[SweepMany, Settled, Places]:
    """Return settled periods at side-chain levels, a column for each unit, up to the first that is louder than `most_db`."""
    many = Many(block.compressor, len(block.places), block.peak, frequency=block.tone)
    sweep = SweepMany(many, index=block.places)
    met, length = sweep.through(10 ** (side / 20), length, np.arange(many.count), most=10 ** (np.asarray(most_db) / 20))
    return sweep, met, length


def _hunting(block: _Block, sweep: SweepMany, met: Settled, inside: NDArray[np.bool_]) -> _Hunting:
    """Ask some of the periods `inside` the levels of each unit whether its loop hunts there."""
    many, found = sweep.many, []
    picked = [np.flatnonzero(column)[:: watch_every(int(np.count_nonzero(column)))] for column in inside.T]
    unit = np.repeat(np.arange(len(picked)), list(map(len, picked)))
    row = np.concatenate(picked)
    for start in range(0, len(unit), BLOCK):
        u, k = unit[start : start + BLOCK], row[start : start + BLOCK]
        amplitude, v, w = (part[k, u] for part in (met.amplitude, met.voltage, met.log_conductance))
        growth = _growth(many.jacobian(amplitude, v, w, u))
        found.append(np.stack([block.places[u], amplitude, v, w, growth])[:, growth > 1])
    whole = np.concatenate(found, axis=1) if found else np.empty((5, 0))
    return _Hunting(whole[0].astype(np.intp), *whole[1:])


def _growth(jacobian: Floats) -> Floats:
    """Return by what a small swing to and fro grows with the map, as `follow.grows` judges it; 0 where there is none."""
    a, b, c, d = jacobian
    middle, det = 0.5 * (a + d), a * d - b * c
    under = middle * middle - det
    return np.asarray(np.where(under < 0, det, np.sqrt(np.maximum(under, 0.0)) - middle))


def _hunting_caution(compressor: Compressor, peak_in: float, tone: float, found: list[_Hunting]) -> tuple[Caution, ...]:
    """Return a caution with the number of units that hunt, and the largest swing of those in which it grows fastest."""
    whole = _Hunting(*(np.concatenate(parts) for parts in zip(*found, strict=True))) if found else None
    if whole is None or not len(whole.unit):
        return ()
    units = np.unique(whole.unit)
    growth = [np.max(whole.growth[whole.unit == unit]) for unit in units]
    swings = []
    for worst in units[np.argsort(growth)[-_FOLLOWED:]]:
        maps = PeriodMap(made_ready(taken(compressor, int(worst)), peak_in, None), frequency=tone)
        periods = [
            (float(amplitude), (float(v), float(w)))
            for unit, amplitude, v, w, _ in zip(*whole, strict=True)
            if unit == worst
        ]
        swings.append(swing_db(maps, periods))
    return tuple(dataclasses.replace(caution, count=len(units)) for caution in hunting_caution(max(swings)))
