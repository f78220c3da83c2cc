"""The static curve: level out against level in, once everything has settled.

A circuit that listens after its cell has its level on both sides of the equation. It is solved
without iteration on that loop: the peak of the side-chain signal is the free variable, held
voltage, light and gain follow from it, and the input level follows from the gain. Where one input
level belongs to several side-chain peaks the circuit has several equilibria, and all are seen.

Each equilibrium is a period of the tone that leaves the state as it was, computed by the very engine that
follows steps, so that ripple, leakage and a cell that moves within the period are all in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log10
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import is_a, numeric
from pedalcalc._base import simulate
from pedalcalc._result import Caution, Result, quantity
from pedalcalc._units import shown, told
from pedalcalc.compressor import laws
from pedalcalc.compressor._checks import LEVEL, TONE, scalar
from pedalcalc.compressor.circuit import Compressor, cautions_of, hunting_caution, taken, units_of
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
from pedalcalc.compressor.many_static import curves_of_many
from pedalcalc.compressor.period_map import PeriodMap
from pedalcalc.compressor.settle import Period, Sweep, averages, hunts, swing_db

_FEW = 48  # units that are sooner computed one after the other than together


@dataclass(frozen=True, slots=True, eq=False)
class StaticCurve(Result):
    """Result of `static_curve`; arrays over the levels asked for."""

    level_in_dbv: Floats = quantity("dBV", "level in")
    level_out_dbv: Floats = quantity("dBV", "level out, coming from below")
    level_out_falling_dbv: Floats = quantity("dBV", "level out, coming from above")
    gain_reduction_db: Floats = quantity("dB", "gain reduction against the dark cell")
    current_led: Floats = quantity("A", "average LED current")
    resistance_cell: Floats = quantity("Ω", "resistance of the cell")
    ratio_local: Floats = quantity("1", "change of level in over change of level out")
    equilibria: Any = quantity("1", "number of equilibria at this level")
    frequency: float = quantity("Hz", "tone")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@simulate
def static_curve(level_in_dbv: ArrayLike, *, compressor: Compressor, frequency: float = 1000.0) -> StaticCurve:
    """Find the level out for each level in of a steady tone.

    Parameters
    ----------
    level_in_dbv : array_like
        Levels of a sine at the input, one dimension, rising [dBV], finite.
    compressor : Compressor
        The circuit, or many units of it.
    frequency : float
        The tone [Hz], above 0; by habit a static curve is stated at 1 kHz.

    Returns
    -------
    StaticCurve
        Arrays of the shape of `level_in_dbv`, of many units with an axis of units ahead of it. Where the circuit latches, `level_out_dbv` is the
        equilibrium reached from silence and `level_out_falling_dbv` that reached from a loud tone;
        elsewhere both agree and `equilibria` is 1.

    Raises
    ------
    ValueError
        If the levels do not rise, a value is out of range, or a series cell is open in the dark.
    RuntimeError
        If no period that repeats itself is found.

    Notes
    -----
    Between the equilibria computed, half a decibel of the side-chain's level apart, the curve is interpolated. A loop that
    finds no rest (it hunts from period to period) still has an equilibrium, which is shown; a caution says by how
    much the gain swings about it; of many units, how many do, and the largest swing of the four in which it grows fastest.

    References
    ----------
    DERIVED

    Examples
    --------
    >>> from pedalcalc.compressor import example, static_curve
    >>> curve = static_curve([-60.0, -20.0, 0.0], compressor=example())
    >>> bool(curve.gain_reduction_db[0] < 0.1 < curve.gain_reduction_db[2])
    True
    """
    is_a("compressor", compressor, Compressor)
    level = np.atleast_1d(numeric("level_in_dbv", level_in_dbv, **LEVEL))
    tone = scalar("frequency", frequency, **TONE)
    if level.ndim != 1 or level.size == 0 or np.any(np.isnan(level)) or np.any(np.diff(level) <= 0):
        raise ValueError(f"level_in_dbv must be one dimension of known, rising levels, got {told(level_in_dbv)}")
    law = laws.gain_law(compressor)
    dark = laws.conductance_dark(compressor)
    if not np.all(law.at(dark) > 0):
        raise ValueError(
            "resistance_dark of the coupler's cell must be finite for a series cell: one that is open in the dark "
            f"passes no level at all, got {shown(float(np.max(compressor.coupler.cell.resistance_dark)), 'Ω')}"
        )
    peak_in = float(np.sqrt(2.0) * 10 ** ((level[-1] + 3) / 20))
    count = units_of(compressor)
    if count is None:
        curve, swing = _one_curve(compressor, level, peak_in, tone)
        hunting = hunting_caution(swing)
    elif count <= _FEW:
        units = [_one_curve(taken(compressor, index), level, peak_in, tone) for index in range(count)]
        curve = Curve(*(np.array(parts) for parts in zip(*(unit for unit, _ in units), strict=True)))
        hunting = hunting_caution(np.array([swing for _, swing in units]))
    else:
        curve, hunting = curves_of_many(compressor, level, peak_in, tone)
    resistance = laws.resistance_cell(compressor, curve.conductance.T).T
    loudest = np.add.outer(20 * np.log10(law.at(dark)), level)
    out, current = curve.level_out_dbv, curve.current_led
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.gradient(level) / np.gradient(out, axis=-1) if level.size > 1 else np.full_like(out, np.nan)
    return StaticCurve(
        level_in_dbv=level, level_out_dbv=out, level_out_falling_dbv=curve.level_out_falling_dbv, gain_reduction_db=loudest - out, current_led=current, resistance_cell=resistance, ratio_local=ratio, equilibria=curve.equilibria, frequency=tone,
        cautions=cautions_of(compressor, current_led=current) + hunting,
    )  # fmt: skip


def _one_curve(compressor: Compressor, level: Floats, peak_in: float, tone: float) -> tuple[Curve, float]:
    """Return the curve of one unit, and by how many dB its gain hunts where it hunts most."""
    drive_db = float(20 * np.log10(compressor.gain_sidechain * np.sqrt(2.0)))
    maps = PeriodMap(made_ready(compressor, peak_in, None), frequency=tone)
    if compressor.sense == "before":
        return _ahead_of_the_cell(maps, level, drive_db), 0.0
    return _behind_the_cell(maps, level, drive_db)


def _ahead_of_the_cell(maps: PeriodMap, level: Floats, drive_db: float) -> Curve:
    sweep = Sweep(maps)
    met = averages(maps, [sweep.at(peak) for peak in 10 ** ((level + drive_db) / 20)])
    out = level + 20 * np.log10(met.gain)
    return Curve(out, out, np.ones(level.size, int), met.current_led, met.conductance)


def _behind_the_cell(maps: PeriodMap, level: Floats, drive_db: float) -> tuple[Curve, float]:
    compressor, law = maps.engine.compressor, maps.engine.law
    brightest = maps.engine.table.rows[-1]
    ends = 20 * np.log10(np.array([law.at(laws.conductance_dark(compressor)), law.at(brightest[0])]))
    low, high = level[0] + ends.min() + drive_db - 1, level[-1] + ends.max() + drive_db + 1
    falls = compressor.placement != "series"  # the gain falls with light, so the level in rises with the peak
    sweep, side, periods = Sweep(maps), [], []
    for peak_db in _peaks(compressor, low, high):
        period = sweep.at(10 ** (peak_db / 20))
        side.append(peak_db)
        periods.append(period)
        if falls and 20 * np.log10(period.amplitude) > level[-1] + drive_db + 1:
            break
    met = averages(maps, periods)
    level_known = 20 * np.log10([period.amplitude for period in periods]) - drive_db
    swept = Swept(np.array(side), level_known, met.gain, met.current_led, met.conductance)
    return read_curve(level, swept, maps.offset), _hunting(maps, periods, level, level_known)


def _hunting(maps: PeriodMap, periods: list[Period], level: Floats, level_known: Floats) -> float:
    """Return the largest swing, in dB, of a loop that finds no rest at some of the levels, 0 if none does."""
    lit = [
        period for period, at in zip(periods, level_known, strict=True) if period.pieces and level[0] <= at <= level[-1]
    ]
    watched = lit[:: watch_every(len(lit))]
    return swing_db(maps, [(period.amplitude, period.state) for period in watched if hunts(maps, period)])


def _peaks(compressor: Compressor, low: float, high: float) -> Iterator[float]:
    """Yield side-chain levels from low to high, closer together where the LED turns on."""
    e_fold, lit = (float(volts) for volts in lit_from(compressor))
    at = low
    while at < high + SPACING_DB:
        yield at
        peak = 10 ** (at / 20)
        turns_on = lit <= peak * 10 ** (SPACING_DB / 20) and peak <= lit + 12 * e_fold
        at += min(SPACING_DB, 20 * log10(1 + SPACING_E_FOLD * e_fold / peak)) if turns_on else SPACING_DB
