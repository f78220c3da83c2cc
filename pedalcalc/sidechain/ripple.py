"""Ripple that a steady tone leaves on the hold capacitor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, elementwise_root, formula, numeric, one_of, quantity
from pedalcalc.sidechain._cycle import (
    Cycle,
    blocked_area,
    blocked_voltage,
    charging_area,
    charging_slope,
    charging_voltage,
    current,
    drive,
)
from pedalcalc.sidechain._detector import Array, detector, inverse
from pedalcalc.sidechain.charging import RECTIFIERS

SPAN = {"full": np.pi, "half": 2 * np.pi}


@dataclass(frozen=True, slots=True, eq=False)
class Ripple(Result):
    """Result of `detector_ripple`; every field has the broadcast shape of the inputs."""

    voltage_average: Number = quantity("V", "held voltage, average")
    voltage_crest: Number = quantity("V", "held voltage, highest")
    voltage_trough: Number = quantity("V", "held voltage, lowest")
    voltage_ripple: Number = quantity("V", "ripple, peak to peak")
    ripple_share: Number = quantity("1", "ripple over the average")
    voltage_ripple_linear: Number = quantity("V", "ripple by the straight-line rule")
    conduction_start_degrees: Number = quantity("°", "conduction begins at")
    conduction_end_degrees: Number = quantity("°", "conduction ends at")


def conduction_end(cycle: Cycle, start: Array) -> Array:
    """Return the angle, past the crest of the sine, at which the current through R_a has died."""

    def left_over(angle: Array, start: Array, *constants: Array) -> Array:
        return current(Cycle(*constants), start, angle)

    return elementwise_root(left_over, np.full_like(start, np.pi / 2), np.full_like(start, np.pi), start, *cycle)


def _return_error(start: Array, span: Array, *constants: Array) -> Array:
    """Return by how much the voltage misses its starting value after one period of the ripple."""
    cycle = Cycle(*constants)
    end = conduction_end(cycle, start)
    return np.asarray(blocked_voltage(cycle, drive(cycle, end), span - (end - start)) - drive(cycle, start))


def _turning_point(cycle: Cycle, start: Array, low: Array, high: Array, turns: Array) -> Array:
    """Return where the held voltage turns round between two angles, and `low` where it does not."""

    def slope(angle: Array, start: Array, low: Array, turns: Array, *constants: Array) -> Array:
        return np.where(turns > 0, charging_slope(Cycle(*constants), start, angle), angle - low)

    return elementwise_root(slope, low, high, start, low, turns, *cycle)


def _extremes(cycle: Cycle, start: Array, end: Array) -> tuple[Array, Array]:
    """Return the lowest and highest held voltage; both come while the rectifier conducts.

    Just after conduction begins the capacitor still loses more than it gets, and it does so again before the end.
    """
    grid = start + (end - start) * np.linspace(0, 1, 65).reshape((-1,) + (1,) * start.ndim)
    place = np.argmax(charging_slope(cycle, start, grid), axis=0)
    steepest = np.take_along_axis(grid, place[None], axis=0)[0]
    rises = np.asarray(charging_slope(cycle, start, steepest) > 0, float)
    falls_first = rises * (charging_slope(cycle, start, start) < 0)
    trough = _turning_point(cycle, start, start, steepest, falls_first)
    crest = _turning_point(cycle, start, steepest, end, rises)
    return charging_voltage(cycle, start, trough), charging_voltage(cycle, start, crest)


@formula
def detector_ripple(
    voltage_peak: ArrayLike,
    *,
    frequency: ArrayLike,
    resistance_attack: ArrayLike,
    resistance_release: ArrayLike,
    capacitance_hold: ArrayLike,
    rectifier: str,
    voltage_diode: ArrayLike = 0.0,
    resistance_load: ArrayLike = np.inf,
    current_leakage: ArrayLike = 0.0,
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
        Drop of a plain rectifier diode [V]; 0, a precision rectifier, unless stated.
    resistance_load : array_like
        Further resistance from the capacitor to ground, such as a meter [Ω]; open unless stated.
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
        numeric("frequency", frequency, above=0),
        numeric("capacitance_hold", capacitance_hold, above=0),
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
        emptied = _return_error(first, span, *cycle) < 0
    if np.any(emptied):
        raise ValueError(
            "current_leakage must leave some voltage on the capacitor throughout a cycle, "
            f"got {cycle.leakage[emptied].flat[0]:g}"
        )
    start = elementwise_root(_return_error, first, np.full_like(first, np.pi / 2), span, *cycle)
    end = conduction_end(cycle, start)
    trough, crest = _extremes(cycle, start, end)
    area = charging_area(cycle, start, end) + blocked_area(cycle, drive(cycle, end), span - (end - start))
    average = area / span
    linear = (average * cycle.conductance + cycle.leakage) * span / (cycle.turn * cycle.capacitance)
    found = (
        average,
        crest,
        trough,
        crest - trough,
        (crest - trough) / average,
        linear,
        np.degrees(start),
        np.degrees(end),
    )
    return Ripple(*(np.where(unknown, np.nan, np.where(dead, 0.0, field))[()] for field in found))
