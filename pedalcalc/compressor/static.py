"""The static curve: level out against level in, once everything has settled.

A circuit that listens after its cell has its level on both sides of the equation. It is solved
without iteration on that loop: the peak of the side-chain signal is the free variable, held
voltage, light and gain follow from it, and the input level follows from the gain. Where one input
level belongs to several side-chain peaks the circuit has several equilibria, and all are seen.

For each side-chain peak the hold capacitor is followed through one period of the tone and brought
to its periodic steady state; the averaged charging law only seeds it. The cell, much slower than
the tone, settles where its rise and fall balance over that period.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Caution, Result, is_a, numeric, quantity, simulate
from pedalcalc.compressor import laws
from pedalcalc.compressor.circuit import Compressor, cautions_of
from pedalcalc.compressor.laws import Floats
from pedalcalc.sidechain import charging_current_average

_PHASES = 64  # points of half a period
_DENSE = 16  # points in each interval when the parametric curve is read back


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


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """What each side-chain peak leads to, once settled at one tone."""

    voltage_hold: Floats
    current_led: Floats
    conductance: Floats


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
        If the periodic steady state of the hold capacitor is not found.

    Notes
    -----
    The side-chain's slow states are taken as constant over one period of the tone, which holds at 1 kHz
    to about 0.01 dB; what a low note does is the business of `level_response`.

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
    level = np.atleast_1d(numeric("level_in_dbv", level_in_dbv))
    tone = float(numeric("frequency", frequency, above=0))
    if level.ndim != 1 or np.any(np.isnan(level)) or np.any(np.diff(level) <= 0):
        raise ValueError("level_in_dbv must be one dimension of known, rising levels")
    law = laws.gain_law(compressor)
    dark = laws.conductance_dark(compressor)
    if not law.at(dark) > 0:
        raise ValueError(
            "resistance_dark of the coupler's cell must be finite for a series cell: one that is open in the dark "
            f"passes no level at all, got {compressor.coupler.cell.resistance_dark:g}"
        )
    drive_db = 20 * np.log10(compressor.gain_sidechain * np.sqrt(2.0))
    if compressor.sense == "before":
        settled = settle(compressor, 10 ** ((level + drive_db) / 20), frequency=tone)
        gain = 20 * np.log10(law.at(settled.conductance))
        out, falling, count = level + gain, level + gain, np.ones(level.size, int)
        current, conductance = settled.current_led, settled.conductance
    else:
        out, falling, count, current, conductance = _behind_the_cell(compressor, law, level, tone, drive_db)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.gradient(level) / np.gradient(out) if level.size > 1 else np.full(1, np.nan)
    reduction = 20 * np.log10(law.at(dark)) + level - out
    resistance = laws.resistance_cell(compressor, conductance)
    return StaticCurve(
        level, out, falling, reduction, current, resistance, ratio, count, tone,
        cautions_of(compressor, current_led=current),
    )  # fmt: skip


def _behind_the_cell(
    compressor: Compressor, law: laws.GainLaw, level: Floats, frequency: float, drive_db: float
) -> tuple[Floats, Floats, Any, Floats, Floats]:
    from scipy.interpolate import PchipInterpolator

    rail = min(float(compressor.voltage_rail), laws.VOLTAGE_MOST)
    brightest = float(laws.grid(compressor, laws.voltage_top(compressor, rail)).settled[-1])
    ends = 20 * np.log10(np.array([law.at(laws.conductance_dark(compressor)), law.at(brightest)]))
    low, high = level[0] + ends.min() + drive_db - 1, level[-1] + ends.max() + drive_db + 1
    side_db = np.unique(np.concatenate([np.arange(low, high + 0.5, 0.5), _turn_on(compressor, low, high)]))
    settled = settle(compressor, 10 ** (side_db / 20), frequency=frequency)
    gain_db = 20 * np.log10(law.at(settled.conductance))
    known = np.stack([gain_db, np.log(settled.current_led + 1e-15)], axis=1)
    curve = PchipInterpolator(side_db, known)
    fine = np.interp(np.arange((side_db.size - 1) * _DENSE + 1) / _DENSE, np.arange(side_db.size), side_db)
    level_of = fine - drive_db - curve(fine)[:, 0]  # level in that belongs to each side-chain peak
    from_below = _first_crossing(level, level_of, fine)
    from_above = -_first_crossing(-level[::-1], -level_of[::-1], -fine[::-1])[::-1]
    above = level_of[None, :] >= level[:, None]
    count = np.count_nonzero(above[:, 1:] != above[:, :-1], axis=1)
    gain, log_current = curve(from_below).T
    out = from_below - drive_db
    conductance = (law.n0 - law.d0 * 10 ** (gain / 20)) / (law.d1 * 10 ** (gain / 20) - law.n1)
    return out, from_above - drive_db, count, np.exp(log_current), conductance


def _first_crossing(level: Floats, level_of: Floats, side: Floats) -> Floats:
    """Return the side-chain level at which the input level first reaches each wanted `level`."""
    reached = np.maximum.accumulate(level_of)
    after = np.clip(np.searchsorted(reached, level), 1, level_of.size - 1)
    rise = level_of[after] - level_of[after - 1]
    part = np.clip((level - level_of[after - 1]) / np.where(rise == 0, 1.0, rise), 0.0, 1.0)
    found: Floats = side[after - 1] + part * (side[after] - side[after - 1])
    return found


def _turn_on(compressor: Compressor, low: float, high: float) -> Floats:
    """Return extra side-chain levels where the LED turns on, half a thermal voltage apart."""
    led = compressor.coupler.led
    e_fold = float(led.ideality * compressor.voltage_thermal)
    drop = float(compressor.voltage_base_emitter) if compressor.drive == "buffered" else 0.0
    start = float(compressor.voltage_diode) + drop + e_fold * np.log(1e-9 / led.current_saturation)
    peaks = max(start, e_fold) + e_fold * np.arange(0.0, 18.0, 0.5)
    found = 20 * np.log10(peaks)
    return np.asarray(found[(found > low) & (found < high)], float)


def settle(compressor: Compressor, peaks: Floats, *, frequency: float) -> Settled:
    """Return where each side-chain peak leads at one tone; `peaks` in volts ahead of rail and rectifier."""
    grid = laws.grid(compressor, laws.voltage_top(compressor, float(np.max(peaks))), per_e_fold=16)
    phase = (np.arange(_PHASES) + 0.5) * np.pi / _PHASES
    wave = np.minimum(np.sin(phase)[:, None] * peaks, compressor.voltage_rail) - compressor.voltage_diode
    wave = np.maximum(wave, 0.0)
    if compressor.rectifier == "half":
        wave = np.concatenate([wave, np.zeros_like(wave)])
    step = 0.5 / (frequency * _PHASES)
    volts = wave if compressor.drive == "direct" else _periodic(compressor, grid, wave, peaks, step)
    place = np.minimum(volts * grid.per_volt, grid.voltage.size - 1.000001)
    index = place.astype(np.intp)
    part = place - index
    settled, rate, current = (
        table[index] + part * (table[index + 1] - table[index]) for table in (grid.settled, grid.rate, grid.current)
    )
    return Settled(np.mean(volts, axis=0), np.mean(current, axis=0), _balance(compressor, settled, rate))


def _periodic(compressor: Compressor, grid: laws.Grid, wave: Floats, peaks: Floats, step: float) -> Floats:
    """Return the held voltage through one period, periodic to 1 nV, for each side-chain peak."""
    c = compressor
    drain = laws.drain_current(c, grid) * (step / c.capacitance_hold)
    slope = np.append(np.diff(drain), drain[-1] - drain[-2])
    charge = 1.0 if c.resistance_attack == 0 else -np.expm1(-step / (c.resistance_attack * c.capacitance_hold))
    last = grid.voltage.size - 2
    start = _averaged(c, grid, np.max(wave, axis=0))
    path = np.empty_like(wave)
    for _ in range(40):
        v, growth = start, np.ones_like(start)
        for k in range(wave.shape[0]):
            excess = wave[k] - v
            charging = charge * (excess > 0)
            v = v + charging * excess
            place = v * grid.per_volt
            index = np.minimum(place.astype(np.intp), last)
            v = np.maximum(v - drain[index] - slope[index] * (place - index), 0.0)
            growth = growth * (1 - charging) * (1 - slope[index] * grid.per_volt)
            path[k] = v
        miss = v - start
        if np.all(np.abs(miss) <= 1e-9 + 1e-9 * start):
            return path
        start = np.clip(start + miss / (1 - growth), 0.0, grid.voltage[-1])
    worst = int(np.argmax(np.abs(miss)))
    raise RuntimeError(f"hold capacitor found no periodic state at side-chain peak {peaks[worst]:g} V (index {worst})")


def _averaged(compressor: Compressor, grid: laws.Grid, peak: Floats) -> Floats:
    """Return the held voltage by the cycle-averaged charging law: where charge and drain balance."""
    if compressor.resistance_attack == 0:
        return peak
    ratio = np.linspace(0.0, 1.0, 48)[:, None]
    held = ratio * np.maximum(peak, 1e-12)
    into = charging_current_average(
        np.maximum(peak, 1e-12) + 0 * held,
        voltage_hold=held,
        resistance_attack=compressor.resistance_attack,
        rectifier=compressor.rectifier,
    )
    surplus = into - np.interp(held, grid.voltage, laws.drain_current(compressor, grid))
    below = np.argmax(surplus <= 0, axis=0)
    found: Floats = held[below, np.arange(peak.size)]
    return found


def _balance(compressor: Compressor, settled: Floats, rate: Floats) -> Floats:
    """Return the conductance at which the cell's rise and fall balance over one period."""
    from scipy.optimize.elementwise import find_root

    from pedalcalc import opto

    low, high = settled.min(axis=0), settled.max(axis=0)
    found = 0.5 * (low + high)
    moving = np.flatnonzero(high > low * (1 + 1e-9))
    if moving.size == 0:
        return np.asarray(found)

    def drift(log_conductance: Floats, column: Any) -> Floats:
        conductance = np.exp(log_conductance)
        fall = 1 / opto.fall_time_constant(conductance, cell=compressor.coupler.cell)
        gap = settled[:, column] - conductance
        return np.asarray(np.sum(np.where(gap > 0, rate[:, column], fall) * gap, axis=0) / conductance)

    root = find_root(
        drift, (np.log(low[moving]), np.log(high[moving])), args=(moving,), tolerances={"xatol": 1e-7, "xrtol": 1e-9}
    )
    if not np.all(root.success):
        bad = int(moving[np.flatnonzero(~root.success)[0]])
        raise RuntimeError(f"cell found no balance of rise and fall at index {bad}")
    found[moving] = np.exp(root.x)
    return np.asarray(found)
