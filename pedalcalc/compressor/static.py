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
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Caution, Result, is_a, numeric, quantity, simulate
from pedalcalc.compressor import laws
from pedalcalc.compressor._checks import LEVEL, TONE, scalar
from pedalcalc.compressor.circuit import Compressor, cautions_of, hunting_caution
from pedalcalc.compressor.engine import State, made_ready
from pedalcalc.compressor.follow import PeriodMap
from pedalcalc.compressor.laws import Floats
from pedalcalc.compressor.settle import Period, Sweep, averages, come_to_rest, hunts

_SPACING_DB = 0.5  # between the side-chain peaks that are settled
_SPACING_E_FOLD = 0.7  # of the LED's exponential between them, where it turns on
_DENSE = 16  # points in each interval when the parametric curve is read back
_WATCHED = 10  # of the settled peaks, to see whether the loop hunts there


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
        The circuit.
    frequency : float
        The tone [Hz], above 0; by habit a static curve is stated at 1 kHz.

    Returns
    -------
    StaticCurve
        Arrays of the shape of `level_in_dbv`. Where the circuit latches, `level_out_dbv` is the
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
    much the gain swings about it.

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
        raise ValueError("level_in_dbv must be one dimension of known, rising levels")
    law = laws.gain_law(compressor)
    dark = laws.conductance_dark(compressor)
    if not law.at(dark) > 0:
        raise ValueError(
            "resistance_dark of the coupler's cell must be finite for a series cell: one that is open in the dark "
            f"passes no level at all, got {compressor.coupler.cell.resistance_dark:g}"
        )
    drive_db = 20 * np.log10(compressor.gain_sidechain * np.sqrt(2.0))
    maps = PeriodMap(made_ready(compressor, float(np.sqrt(2.0) * 10 ** ((level[-1] + 3) / 20)), None), frequency=tone)
    if compressor.sense == "before":
        sweep = Sweep(maps)
        met = averages(maps, [sweep.at(peak) for peak in 10 ** ((level + drive_db) / 20)])
        out = level + 20 * np.log10(met.gain)
        falling, count, hunting = out, np.ones(level.size, int), 0.0
        current, conductance = met.current_led, met.conductance
    else:
        out, falling, count, current, conductance, hunting = _behind_the_cell(maps, level, drive_db)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.gradient(level) / np.gradient(out) if level.size > 1 else np.full(1, np.nan)
    reduction = 20 * np.log10(law.at(dark)) + level - out
    resistance = laws.resistance_cell(compressor, conductance)
    return StaticCurve(
        level_in_dbv=level, level_out_dbv=out, level_out_falling_dbv=falling, gain_reduction_db=reduction, current_led=current, resistance_cell=resistance, ratio_local=ratio, equilibria=count, frequency=tone,
        cautions=cautions_of(compressor, current_led=current) + hunting_caution(hunting),
    )  # fmt: skip


def _behind_the_cell(
    maps: PeriodMap, level: Floats, drive_db: float
) -> tuple[Floats, Floats, Any, Floats, Floats, float]:
    from scipy.interpolate import CubicSpline, PchipInterpolator

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
    side_db = np.array(side)
    met = averages(maps, periods)
    level_known = 20 * np.log10([period.amplitude for period in periods]) - drive_db
    levels = CubicSpline(side_db, np.stack([level_known, level_known + 20 * np.log10(met.gain)], axis=1))
    lights = PchipInterpolator(
        side_db, np.log(np.stack([met.current_led + 1e-15, met.conductance + maps.offset], axis=1))
    )
    fine = np.interp(np.arange((side_db.size - 1) * _DENSE + 1) / _DENSE, np.arange(side_db.size), side_db)
    level_of = levels(fine)[:, 0]  # level in that belongs to each side-chain peak
    from_below = _first_crossing(level, level_of, fine)
    from_above = -_first_crossing(-level[::-1], -level_of[::-1], -fine[::-1])[::-1]
    above = level_of[None, :] >= level[:, None]
    count = np.count_nonzero(above[:, 1:] != above[:, :-1], axis=1)
    out, falling = levels(from_below)[:, 1], levels(from_above)[:, 1]
    log_current, log_conductance = lights(from_below).T
    conductance = np.exp(log_conductance) - maps.offset
    current = np.maximum(np.exp(log_current) - 1e-15, 0.0)
    return out, falling, count, current, conductance, _hunting(maps, periods, level, level_known)


def _hunting(maps: PeriodMap, periods: list[Period], level: Floats, level_known: Floats) -> float:
    """Return the largest swing, in dB, of a loop that finds no rest at some of the levels, 0 if none does."""
    lit = [
        period for period, at in zip(periods, level_known, strict=True) if period.pieces and level[0] <= at <= level[-1]
    ]
    watched = lit[:: max(1, len(lit) // _WATCHED)]
    found = [period for period in watched if hunts(maps, period)]
    if not found:
        return 0.0
    swings = []
    for period in {id(p): p for p in (found[len(found) // 2], found[-1])}.values():
        start = State(voltage_hold=period.state[0], conductance=1.001 * maps.conductance_of(period.state[1]))
        swings.append(come_to_rest(maps, period.amplitude, start)[1])
    return max(swings)


def _first_crossing(level: Floats, level_of: Floats, side: Floats) -> Floats:
    """Return the side-chain level at which the input level first reaches each wanted `level`."""
    reached = np.maximum.accumulate(level_of)
    after = np.clip(np.searchsorted(reached, level), 1, level_of.size - 1)
    rise = level_of[after] - level_of[after - 1]
    part = np.clip((level - level_of[after - 1]) / np.where(rise == 0, 1.0, rise), 0.0, 1.0)
    found: Floats = side[after - 1] + part * (side[after] - side[after - 1])
    return found


def _peaks(compressor: Compressor, low: float, high: float) -> Iterator[float]:
    """Yield side-chain levels from low to high, closer together where the LED turns on."""
    led = compressor.coupler.led
    e_fold = float(led.ideality * compressor.voltage_thermal)
    drop = float(compressor.voltage_base_emitter) if compressor.drive == "buffered" else 0.0
    lit = float(compressor.voltage_diode) + drop + max(e_fold * np.log(1e-9 / led.current_saturation), e_fold)
    at = low
    while at < high + _SPACING_DB:
        yield at
        peak = 10 ** (at / 20)
        close = 20 * np.log10(1 + _SPACING_E_FOLD * e_fold / peak)
        at += (
            min(_SPACING_DB, close)
            if lit <= peak * 10 ** (_SPACING_DB / 20) and peak <= lit + 12 * e_fold
            else _SPACING_DB
        )
