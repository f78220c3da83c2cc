"""Held voltage through a tone burst, cycle by cycle, with its ripple."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Result, numeric, one_of, quantity, simulate
from pedalcalc.sidechain._cycle import Cycle, blocked_voltage, charging_voltage, memory, steady_current
from pedalcalc.sidechain._detector import Array, inverse
from pedalcalc.sidechain.charging import RECTIFIERS
from pedalcalc.sidechain.ripple import SPAN, detector_ripple

MOST_HALF_WAVES = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class ToneBurst(Result):
    """Result of `tone_burst`: three arrays over time, and what a stopwatch would say."""

    time: NDArray[np.float64] = quantity("s", "time")
    voltage_rectified: NDArray[np.float64] = quantity("V", "rectified tone")
    voltage_hold: NDArray[np.float64] = quantity("V", "held voltage")
    voltage_average: float = quantity("V", "held voltage in the end, average")
    time_attack_63: float = quantity("s", "attack, first touch of 63 %")
    time_release_63: float = quantity("s", "release, by 63 %")
    ripple_share: float = quantity("1", "ripple over the average, in the end")


def _number(name: str, value: ArrayLike, **allowed: float | bool) -> Array:
    checked = numeric(name, value, **allowed)  # type: ignore[arg-type]
    if checked.ndim or np.isnan(checked):
        raise ValueError(f"{name} must be one known number, got {value!r}")
    return checked


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(function, low, high, xtol=1e-14))


def _spans(cycle: Cycle, span: float, count: int) -> Array:
    """Return a row for each period of the rectified tone.

    A row holds the voltage at its start, the angles at which conduction begins and ends (infinite without
    conduction), and the voltage at that end. Plain floats here: each row hangs on the one before.
    """
    rows = np.empty((count, 4))
    push, lead, constant = (float(x) for x in steady_current(cycle))
    slowness = float(memory(cycle))
    decay = float(cycle.conductance / (cycle.capacitance * cycle.turn))
    loss = float(cycle.leakage / (cycle.capacitance * cycle.turn))
    peak, diode = float(cycle.peak), float(cycle.diode)

    def left(voltage: float, angle: float) -> float:
        kept = -math.expm1(-decay * angle) / decay if decay else angle
        return max(voltage * math.exp(-decay * angle) - loss * kept, 0.0)

    def flow(angle: float, start: float) -> float:
        faded = math.exp((start - angle) / slowness) if slowness else 0.0
        return push * math.sin(angle + lead) + constant - (push * math.sin(start + lead) + constant) * faded

    def meets(angle: float, voltage: float) -> float:
        return peak * math.sin(angle) - diode - left(voltage, angle)

    voltage = 0.0
    for row in rows:
        if meets(math.pi / 2, voltage) <= 0:
            row[:] = voltage, np.inf, np.inf, voltage
            voltage = left(voltage, span)
            continue
        begin = 0.0 if diode + voltage == 0 else _root(partial(meets, voltage=voltage), 0.0, math.pi / 2)
        end = _root(partial(flow, start=begin), math.pi / 2, math.pi)
        after = peak * math.sin(end) - diode
        row[:] = voltage, begin, end, after
        voltage = left(after, span - end)
    return rows


def _held(cycle: Cycle, span: float, rows: Array, time: Array) -> Array:
    """Return the held voltage at the given times while the tone sounds."""
    angle = cycle.turn * time
    place = np.minimum((angle // span).astype(int), len(rows) - 1)
    angle = angle - place * span
    before, start, end, after = rows[place].T
    conducts = np.isfinite(start)
    start, end = np.where(conducts, start, 0.0), np.where(conducts, end, 0.0)
    charging = charging_voltage(cycle, start, np.where(conducts, angle, 0.0))
    waiting = blocked_voltage(cycle, before, angle)
    blocked = blocked_voltage(cycle, after, np.where(angle > end, angle - end, 0.0))
    held = np.where(conducts & (angle >= start), np.where(angle <= end, charging, blocked), waiting)
    return np.where(held < 0, 0.0, held)


def _first_touch(cycle: Cycle, span: float, rows: Array, level: float, time_burst: float) -> float:
    """Return when the held voltage first reaches `level`, infinite if never during the burst."""
    steps = np.linspace(0, 1, 65)
    some = np.flatnonzero(np.isfinite(rows[:, 1]))
    start, end = rows[some, 1][:, None], rows[some, 2][:, None]
    angle = start + (end - start) * steps
    above = np.argwhere(charging_voltage(cycle, start, angle) >= level)
    if level <= 0 or len(above) == 0:
        return np.inf
    row, column = above[0]
    begin = np.asarray(start[row, 0])
    low = float(angle[row, max(column - 1, 0)])
    touched = _root(
        lambda x: float(charging_voltage(cycle, begin, np.asarray(x))) - level, low, float(angle[row, column])
    )
    time = float((some[row] * span + touched) / cycle.turn)
    return time if time <= time_burst else np.inf


@simulate
def tone_burst(
    time: ArrayLike,
    *,
    time_burst: float,
    voltage_peak: float,
    frequency: float,
    resistance_attack: float,
    resistance_release: float,
    capacitance_hold: float,
    rectifier: str,
    voltage_diode: float = 0.0,
    resistance_load: float = np.inf,
    current_leakage: float = 0.0,
) -> ToneBurst:
    """Follow the held voltage through a tone burst, every ripple included.

    The tone starts at its zero crossing, with the capacitor empty, and is cut off after `time_burst`.

    Parameters
    ----------
    time : array_like
        Times at which the voltage is wanted [s], at least 0.
    time_burst : float
        Length of the burst [s], above 0.
    voltage_peak : float
        Peak A of the tone ahead of the rectifier [V], at least 0.
    frequency : float
        Frequency of the tone [Hz], above 0.
    resistance_attack : float
        Resistance R_a from rectifier to capacitor [Ω], at least 0 and finite.
    resistance_release : float
        Resistance R_r across the capacitor [Ω], above 0; may be open.
    capacitance_hold : float
        Hold capacitor [F], above 0.
    rectifier : str
        "full" or "half".
    voltage_diode : float
        Drop of a plain rectifier diode [V]; 0, a precision rectifier, unless stated.
    resistance_load : float
        Further resistance from the capacitor to ground, such as a meter [Ω], above 0; open unless stated.
    current_leakage : float
        Constant current out of the capacitor [A], at least 0; none unless stated.

    Returns
    -------
    ToneBurst
        Times, rectified tone and held voltage; the average that a lasting tone would hold; the time of the first
        touch of 63 % of that average (infinite if the burst is too short); the time after the burst
        in which the voltage has fallen by 63 %; and the ripple of the lasting tone over its average.

    Raises
    ------
    ValueError
        If a value is out of range, the leakage empties the capacitor within a cycle, or the
        burst has more than 20 000 half-waves.

    Notes
    -----
    Each stretch with and without conduction is solved in closed form; only its ends are searched for.

    References
    ----------
    DERIVED: piecewise solution of the circuit.

    Examples
    --------
    >>> burst = tone_burst(np.linspace(0, 0.5, 5), time_burst=0.2, voltage_peak=1.0, frequency=1000,
    ...                    resistance_attack=10e3, resistance_release=100e3, capacitance_hold=1e-6, rectifier="full")
    >>> print(f"attack {burst.time_attack_63 * 1e3:.0f} ms, release {burst.time_release_63 * 1e3:.0f} ms")
    attack 13 ms, release 100 ms
    """
    one_of("rectifier", rectifier, RECTIFIERS)
    wanted = numeric("time", time, least=0)
    length = float(_number("time_burst", time_burst, above=0))
    release = _number("resistance_release", resistance_release, above=0, infinity=True)
    load = _number("resistance_load", resistance_load, above=0, infinity=True)
    tone = _number("frequency", frequency, above=0)
    cycle = Cycle(
        _number("voltage_peak", voltage_peak, least=0),
        _number("voltage_diode", voltage_diode, least=0),
        _number("resistance_attack", resistance_attack, least=0),
        np.asarray(inverse(release) + inverse(load)),
        _number("current_leakage", current_leakage, least=0),
        _number("capacitance_hold", capacitance_hold, above=0),
        np.asarray(2 * np.pi * tone),
    )
    span = SPAN[rectifier]
    count = int(np.ceil(float(cycle.turn) * length / span)) + 1
    if count > MOST_HALF_WAVES:
        raise ValueError(f"time_burst must hold at most {MOST_HALF_WAVES} half-waves, got {count}")
    steady = detector_ripple(
        voltage_peak,
        frequency=tone,
        resistance_attack=resistance_attack,
        resistance_release=release,
        capacitance_hold=capacitance_hold,
        rectifier=rectifier,
        voltage_diode=voltage_diode,
        resistance_load=load,
        current_leakage=current_leakage,
    )
    average = float(steady.voltage_average)
    silent = np.tile([0.0, np.inf, np.inf, 0.0], (count, 1))
    rows = _spans(cycle, span, count) if cycle.peak > cycle.diode else silent
    sounding = wanted <= length
    swing = np.sin(cycle.turn * wanted)
    rectified = np.where(sounding, cycle.peak * (np.abs(swing) if rectifier == "full" else np.maximum(swing, 0)), 0.0)
    at_end = _held(cycle, span, rows, np.asarray(length))
    after = blocked_voltage(cycle, at_end, cycle.turn * np.where(sounding, 0.0, wanted - length))
    held = np.where(sounding, _held(cycle, span, rows, np.where(sounding, wanted, 0.0)), np.where(after < 0, 0, after))
    unknown = np.isnan(wanted)
    return ToneBurst(
        wanted.copy(),
        np.where(unknown, np.nan, rectified),
        np.where(unknown, np.nan, held),
        average,
        _first_touch(cycle, span, rows, -np.expm1(-1) * average, length),
        _release(cycle, float(at_end)),
        float(steady.ripple_share),
    )


def _release(cycle: Cycle, start: float) -> float:
    """Return the time in which `start` falls by 63 %."""
    if start == 0:
        return 0.0
    low = start * np.exp(-1)
    drawn = low * float(cycle.conductance) + float(cycle.leakage)
    if drawn == 0:
        return np.inf
    ratio = (start - low) * float(cycle.conductance) / drawn
    stretch = np.log1p(ratio) / ratio if ratio else 1.0
    return float(float(cycle.capacitance) * (start - low) / drawn * stretch)
