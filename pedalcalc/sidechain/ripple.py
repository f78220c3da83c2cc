"""Ripple that a steady tone leaves on the hold capacitor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import one_of
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AtLeastZero, ZeroToInfinity
from pedalcalc._refusal import refused
from pedalcalc._result import Number, Result, quantity
from pedalcalc.sidechain._cycle import (
    Cycle,
    blocked_area,
    charging_area,
    charging_voltage,
    conduction_end,
    current,
    drive,
    inflow,
    inflow_slope,
    return_error,
)
from pedalcalc.sidechain._detector import Array, detector, inverse
from pedalcalc.sidechain._newton import newton
from pedalcalc.sidechain.charging import RECTIFIERS

SPAN = {"full": np.pi, "half": 2 * np.pi}


@dataclass(frozen=True, slots=True, eq=False)
class Ripple(Result):
    """Result of `detector_ripple`; every field has the broadcast shape of the inputs."""

    voltage_average: Number = quantity("V", "held voltage, average")
    voltage_crest: Number = quantity("V", "held voltage, highest")
    voltage_trough: Number = quantity("V", "held voltage, lowest")
    voltage_ripple: Number = quantity("V", "ripple, peak to peak")
    ripple_share: Number = quantity("1", "ripple over the average", percent=True)
    voltage_ripple_linear: Number = quantity("V", "ripple by the straight-line rule")
    conduction_start_degrees: Number = quantity("°", "conduction begins at")
    conduction_end_degrees: Number = quantity("°", "conduction ends at")


def _steady_start(cycle: Cycle, span: Array, first: Array) -> Array:
    """Return the angle at which conduction begins once every period is like the one before.

    The search starts where charge and discharge balance if the voltage stands still: tan θ − θ = q, θ half the angle of
    conduction. Both (3 q)^(1/3) and arctan(q + π/2) lie above its root, and Newton's steps come down from there.
    """
    drawn = cycle.conductance * (cycle.peak - cycle.diode) + cycle.leakage
    q = span / 2 * cycle.attack * drawn / cycle.peak
    half = np.minimum(np.cbrt(3 * q), np.arctan(q + np.pi / 2))
    for _ in range(4):
        with np.errstate(invalid="ignore"):
            half = np.where(half == 0, 0.0, half - (np.tan(half) - half - q) / np.tan(half) ** 2)

    def missed(start: Array) -> tuple[Array, Array]:
        error, slope = return_error(cycle, span, start)
        return -error, -slope

    crest = np.full_like(first, np.pi / 2)
    found = newton(missed, first, crest, np.clip(crest - half, first, crest))
    return np.where(drawn == 0, crest, found)


def _steepest(cycle: Cycle, start: Array, end: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return where in a conduction the capacitor is charged most, and whether it gets more there than it loses."""
    grid = start + (end - start) * np.linspace(0, 1, 65).reshape((-1,) + (1,) * start.ndim)
    into = inflow(cycle, start, grid)
    return np.take_along_axis(grid, np.argmax(into, axis=0)[None], axis=0)[0], np.max(into, axis=0) > 0


def _turn(cycle: Cycle, start: Array, low: Array, high: Array, turns: NDArray[np.bool_], sign: float) -> Array:
    """Return where the held voltage turns round between two angles, and `low` where it does not."""

    def value(angle: Array) -> tuple[Array, Array]:
        into, slope = inflow(cycle, start, angle), inflow_slope(cycle, start, angle)
        return np.where(turns, sign * into, angle - low), np.where(turns, sign * slope, 1.0)

    return newton(value, low, high, 0.5 * (low + high))


def crest_angle(cycle: Cycle, start: Array, end: Array) -> Array:
    """Return the angle at which the held voltage is highest, shortly before conduction ends."""
    steepest, rises = _steepest(cycle, start, end)
    return _turn(cycle, start, steepest, end, rises, -1.0)


def _extremes(cycle: Cycle, start: Array, end: Array) -> tuple[Array, Array]:
    """Return the lowest and highest held voltage; both come while the rectifier conducts.

    Just after conduction begins the capacitor still loses more than it gets, and it does so again before the end.
    """
    steepest, rises = _steepest(cycle, start, end)
    trough = _turn(cycle, start, start, steepest, rises & (inflow(cycle, start, start) < 0), 1.0)
    crest = _turn(cycle, start, steepest, end, rises, -1.0)
    return charging_voltage(cycle, start, trough), charging_voltage(cycle, start, crest)


@formula
def detector_ripple(
    voltage_peak: AtLeastZero,
    *,
    frequency: AboveZero,
    resistance_attack: ZeroToInfinity,
    resistance_release: ZeroToInfinity,
    capacitance_hold: AboveZero,
    rectifier: str,
    voltage_diode: AtLeastZero = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
    current_leakage: AtLeastZero = 0.0,
) -> Ripple:
    """Find the ripple that a steady tone leaves on the hold capacitor, exactly.

    Charge and discharge are followed piece by piece through one period, for any attack resistance and any
    capacitor: nothing is averaged.

    Parameters
    ----------
    voltage_peak : array_like
        Peak A of the tone ahead of the rectifier [V], at least 0.
    frequency : array_like
        Frequency of the tone [Hz], above 0.
    resistance_attack : array_like
        Resistance R_a from rectifier to capacitor [Ω], 0 to infinity.
    resistance_release : array_like
        Resistance R_r across the capacitor [Ω], 0 to infinity.
    capacitance_hold : array_like
        Hold capacitor [F], above 0.
    rectifier : str
        "full" (the ripple has twice the frequency of the tone) or "half" (the same frequency).
    voltage_diode : array_like
        Drop of a plain rectifier diode [V], at least 0; 0, a precision rectifier, unless stated.
    resistance_load : array_like
        Further resistance from the capacitor to ground, such as a meter [Ω], 0 to infinity; open unless stated.
    current_leakage : array_like
        Constant current out of the capacitor [A], at least 0; none unless stated.

    Returns
    -------
    Ripple
        Average, highest and lowest held voltage, ripple peak to peak and over the average, the
        straight-line estimate, and the phases of the tone at which conduction begins and ends (0 where
        the rectifier never conducts).

    Raises
    ------
    ValueError
        If a value is out of range, nothing sets the voltage, or the leakage empties the
        capacitor within a cycle.
    RuntimeError
        If a search does not converge.

    Notes
    -----
    Conducting: R_a, C and R form a linear circuit driven by A sin φ − V_D. Blocking: C discharges into R
    and the leakage. The period that returns to its own beginning is found as a root of the phase at
    which conduction begins. Straight-line rule: ΔV = (V/R + I) T/C, T = 1/(2f) full wave, 1/f half wave;
    it overstates the ripple, as the capacitor is being recharged for part of the cycle.

    References
    ----------
    DERIVED: piecewise solution of the circuit. PRACTICE: the straight-line rule.

    Examples
    --------
    A low E with a release of 50 ms:

    >>> ripple = detector_ripple(1.0, frequency=82.4, resistance_attack=1e3, resistance_release=50e3,
    ...                          capacitance_hold=1e-6, rectifier="full")
    >>> print(f"{ripple.voltage_ripple:.3f} V, by the straight-line rule {ripple.voltage_ripple_linear:.3f} V")
    0.079 V, by the straight-line rule 0.109 V
    """
    one_of("rectifier", rectifier, RECTIFIERS)
    values = detector(
        voltage_peak,
        resistance_attack,
        resistance_release,
        resistance_load,
        voltage_diode,
        current_leakage,
        frequency,
        capacitance_hold,
    )
    tone, capacitance = values.extra
    unknown = values.unknown
    dead = (values.peak <= values.diode) | (values.release == 0) | np.isinf(values.attack)
    spare = unknown | dead
    cycle = Cycle(
        np.where(spare, 1.0, values.peak),
        np.where(spare, 0.0, values.diode),
        np.where(spare, 1.0, values.attack),
        np.where(spare, 1.0, inverse(values.release)),
        np.where(spare, 0.0, values.leakage),
        np.where(spare, 1.0, capacitance),
        np.where(spare, 1.0, 2 * np.pi * tone),
    )
    span = np.full_like(cycle.peak, SPAN[rectifier])
    first = np.arcsin(cycle.diode / cycle.peak)
    emptied = (cycle.leakage > 0) & (current(cycle, first, np.full_like(first, np.pi)) > 0)
    if not np.any(emptied):
        emptied = return_error(cycle, span, first)[0] < 0
    if np.any(emptied):
        allowed = "small enough to leave some voltage on the capacitor throughout a cycle"
        raise refused("current_leakage", allowed, cycle.leakage, emptied)
    start = _steady_start(cycle, span, first)
    end = conduction_end(cycle, start)
    trough, crest = _extremes(cycle, start, end)
    trough = np.where(np.abs(trough) < 1e-15 * cycle.peak, 0.0, trough)  # emptied, but for rounding
    area = charging_area(cycle, start, end) + blocked_area(cycle, drive(cycle, end), span - (end - start))
    average = area / span
    linear = (average * cycle.conductance + cycle.leakage) * span / (cycle.turn * cycle.capacitance)
    found = {
        "voltage_average": average,
        "voltage_crest": crest,
        "voltage_trough": trough,
        "voltage_ripple": crest - trough,
        "ripple_share": (crest - trough) / average + 0.0,  # never -0
        "voltage_ripple_linear": linear,
        "conduction_start_degrees": np.degrees(start),
        "conduction_end_degrees": np.degrees(end),
    }
    return Ripple(**{name: np.where(unknown, np.nan, np.where(dead, 0.0, part)) for name, part in found.items()})
