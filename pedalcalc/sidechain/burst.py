"""Held voltage through a tone burst, cycle by cycle, with its ripple."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import numeric, one_number, one_of
from pedalcalc._base import simulate
from pedalcalc._refusal import Unsolved, among
from pedalcalc._result import Result, quantity
from pedalcalc.sidechain._cycle import (
    Cycle,
    blocked_voltage,
    charging_voltage,
    conduction_end,
    conduction_start,
    drive,
    inflow,
)
from pedalcalc.sidechain._detector import Array, inverse
from pedalcalc.sidechain._flow import Flow, follow_flow, voltage_after
from pedalcalc.sidechain._newton import newton
from pedalcalc.sidechain._walk import walk
from pedalcalc.sidechain.charging import RECTIFIERS
from pedalcalc.sidechain.ripple import SPAN, Ripple, crest_angle, detector_ripple

MOST_WALKED = 1000  # half-waves followed one by one; what is not steady after them moves slowly and smoothly


@dataclass(frozen=True, slots=True, eq=False)
class ToneBurst(Result):
    """Result of `tone_burst`: three arrays over time, and what a stopwatch would say."""

    time: NDArray[np.float64] = quantity("s", "time")
    voltage_rectified: NDArray[np.float64] = quantity("V", "rectified tone")
    voltage_hold: NDArray[np.float64] = quantity("V", "held voltage")
    voltage_average: float = quantity("V", "held voltage in the end, average")
    time_attack_63: float = quantity("s", "attack, first touch of 63 %")
    time_release_63: float = quantity("s", "release, by 63 %")
    ripple_share: float = quantity("1", "ripple over the average, in the end", percent=True)


def _number(name: str, value: ArrayLike, **allowed: Any) -> Array:
    return np.asarray(one_number(name, value, "", **allowed))


class _Course(NamedTuple):
    """Every half-wave of a burst: walked one by one at first, then as steady as the last one or by the smooth flow."""

    cycle: Cycle
    span: float
    rows: Array
    flow: Flow | None


def _course(cycle: Cycle, span: float, count: int, steady: Ripple) -> _Course:
    """Return the half-waves of a burst of `count` of them."""
    if cycle.peak <= cycle.diode:
        return _Course(cycle, span, np.array([[0.0, np.inf, np.inf, 0.0]]), None)
    rows, before, settled = walk(cycle, span, min(count, MOST_WALKED))
    if not settled and count <= MOST_WALKED:
        return _Course(cycle, span, rows, None)

    def later(start: Array) -> Array:
        end = conduction_end(cycle, start)
        return blocked_voltage(cycle, drive(cycle, end), span - end)

    peak = float(cycle.peak)
    end = float(later(np.radians(steady.conduction_start_degrees)))
    if not settled:
        flow = follow_flow(lambda voltage: later(conduction_start(cycle, voltage)), before, end, peak)
        return _Course(cycle, span, rows, flow)
    if abs(end - before) > 1e-9 * peak:
        raise Unsolved("the held voltage moves too little within a half-wave to be followed")
    return _Course(cycle, span, rows, None)


def _rows(course: _Course, places: NDArray[np.int64]) -> tuple[Array, ...]:
    """Return voltage before, begin and end of conduction, and voltage at that end of the half-waves at `places`."""
    rows = course.rows[np.minimum(places, len(course.rows) - 1)].T
    if course.flow is None or not np.any(beyond := places >= len(course.rows)):
        return tuple(rows)
    voltage = voltage_after(course.flow, (places[beyond] - len(course.rows)).astype(float))
    start = conduction_start(course.cycle, voltage)
    end = conduction_end(course.cycle, start)
    rows[:, beyond] = voltage, start, end, drive(course.cycle, end)
    return tuple(rows)


def _held(course: _Course, time: Array) -> Array:
    """Return the held voltage at the given times while the tone sounds."""
    cycle = course.cycle
    angle = cycle.turn * np.where(np.isnan(time), 0.0, time)
    place = (angle // course.span).astype(np.int64)
    angle = angle - place * course.span
    seen, where = np.unique(place, return_inverse=True)
    before, start, end, after = (column[where] for column in _rows(course, seen))
    conducts = np.isfinite(start)
    start, end = np.where(conducts, start, 0.0), np.where(conducts, end, 0.0)
    charging = charging_voltage(cycle, start, np.clip(angle, start, end))
    waiting = blocked_voltage(cycle, before, angle)
    blocked = blocked_voltage(cycle, after, np.where(angle > end, angle - end, 0.0))
    held = np.where(conducts & (angle >= start), np.where(angle <= end, charging, blocked), waiting)
    return np.where(held < 0, 0.0, held)


def _first_touch(course: _Course, level: float, time_burst: float, count: int) -> float:
    """Return when the held voltage first reaches `level`, infinite if never during the burst."""
    cycle = course.cycle

    def crests(places: NDArray[np.int64]) -> tuple[Array, Array]:
        _, start, end, _ = _rows(course, places)
        some = np.isfinite(start)
        crest = np.full(places.shape, np.pi / 2)
        crest[some] = crest_angle(cycle, start[some], end[some])
        return start, crest

    if level <= 0:
        return np.inf
    # From an empty capacitor each half-wave reaches higher than the one before, so the first to touch is hedged in.
    below, touches = -1, count
    while touches - below > 1:
        places = np.unique(np.linspace(below + 1, touches - 1, 33).astype(np.int64))
        start, crest = crests(places)
        with np.errstate(invalid="ignore"):
            above = np.isfinite(start) & (charging_voltage(cycle, start, crest) >= level)
        first = int(np.argmax(above)) if above.any() else len(places)
        touches = int(places[first]) if above.any() else touches
        below = int(places[first - 1]) if first else below
    if touches == count:
        return np.inf
    start, crest = crests(np.array([touches]))

    def above_level(angle: Array) -> tuple[Array, Array]:
        slope = inflow(cycle, start, angle) / (cycle.capacitance * cycle.turn)
        return charging_voltage(cycle, start, angle) - level, slope

    touched = newton(above_level, start, crest, 0.5 * (start + crest))
    time = float((touches * course.span + touched[0]) / cycle.turn)
    return time if time <= time_burst else np.inf


@simulate
@among()  # half-waves are no elements of what the caller gave
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
        Length of the burst [s], above 0 to 1000000.
    voltage_peak : float
        Peak A of the tone ahead of the rectifier [V], at least 0.
    frequency : float
        Frequency of the tone [Hz], above 0.
    resistance_attack : float
        Resistance R_a from rectifier to capacitor [Ω], at least 0 and finite.
    resistance_release : float
        Resistance R_r across the capacitor [Ω], above 0 to infinity.
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
        If a value is out of range, or the leakage empties the capacitor within a cycle.
    RuntimeError
        If a search does not converge.

    Notes
    -----
    Each stretch with and without conduction is solved in closed form; only its ends are searched for. The first
    thousand half-waves are followed one by one. From there the voltage ahead of a half-wave is a smooth function of
    its number, which is found from a few hundred half-waves however long the burst; steady ones are not repeated.

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
    length = float(_number("time_burst", time_burst, above=0, most=1e6))
    release = _number("resistance_release", resistance_release, above=0, infinity=True)
    load = _number("resistance_load", resistance_load, above=0, infinity=True)
    tone = _number("frequency", frequency, above=0, most=10e6)
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
    course = _course(cycle, span, count, steady)
    sounding = wanted <= length
    swing = np.sin(cycle.turn * wanted)
    rectified = np.where(sounding, cycle.peak * (np.abs(swing) if rectifier == "full" else np.maximum(swing, 0)), 0.0)
    at_end = _held(course, np.array([length]))[0]
    after = blocked_voltage(cycle, at_end, cycle.turn * np.where(sounding, 0.0, wanted - length))
    held = np.where(sounding, _held(course, np.where(sounding, wanted, 0.0)), np.where(after < 0, 0, after))
    unknown = np.isnan(wanted)
    return ToneBurst(
        time=wanted.copy(),
        voltage_rectified=np.where(unknown, np.nan, rectified),
        voltage_hold=np.where(unknown, np.nan, held),
        voltage_average=average,
        time_attack_63=_first_touch(course, -np.expm1(-1) * average, length, count),
        time_release_63=_release(cycle, float(at_end)),
        ripple_share=float(steady.ripple_share),
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
