"""Thumps of switching: capacitors that leak, and the indicator coming on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import formula, parallel
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AnyNumber, AtLeastZero, ZeroToInfinity, ZeroToOne
from pedalcalc._result import Caution, Number, Result, caution_above, quantity

Array = NDArray[np.float64]

#: A thump above this at the output is heard over a quiet amplifier.
STEP_AUDIBLE = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class PulldownThump(Result):
    """The step a coupling capacitor puts on the signal when the footswitch connects it."""

    voltage_plate_open: Number = quantity("V", "outer plate without pull-down")
    voltage_plate: Number = quantity("V", "outer plate with pull-down")
    voltage_read: Number = quantity("V", "outer plate, as the meter reads it")
    voltage_step_open: Number = quantity("V", "step at the output without pull-down")
    voltage_step: Number = quantity("V", "step at the output with pull-down")
    time_constant: Number = quantity("s", "step dies away with")
    time_discharge: Number = quantity("s", "plate discharges in bypass with")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@dataclass(frozen=True, slots=True, eq=False)
class IndicatorThump(Result):
    """The step the indicator's current puts on the rail and, through it, on the signal."""

    voltage_step_rail: Number = quantity("V", "step of the rail")
    voltage_step: Number = quantity("V", "step at the output")
    time_constant: Number = quantity("s", "rail settles with")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def pulldown_thump(
    voltage_across: AnyNumber,
    *,
    current_leakage: AtLeastZero,
    resistance_pulldown: ZeroToInfinity,
    resistance_load: ZeroToInfinity,
    capacitance: AboveZero,
    gain: AtLeastZero,
    resistance_meter: AboveZeroToInfinity = 10e6,
) -> PulldownThump:
    """Find the thump of a coupling capacitor when the footswitch connects its outer plate.

    In bypass the outer plate hangs on the pull-down alone and takes the voltage
    that the capacitor's leakage makes there; without a pull-down it creeps up to
    the whole DC voltage. Connecting it to the load takes that voltage away in an instant.

    Parameters
    ----------
    voltage_across : array_like
        DC voltage across the capacitor when its outer plate is at 0 V [V], any sign.
    current_leakage : array_like
        Leakage current of the capacitor at that voltage [A], 0 or more.
    resistance_pulldown : array_like
        Pull-down resistor [Ω], 0 to inf; inf is none.
    resistance_load : array_like
        What the footswitch connects: the instrument at the input, the next input at the output [Ω], 0 to inf.
    capacitance : array_like
        Coupling capacitor [F], above 0.
    gain : array_like
        Gain from that plate to the output, as a size [1], 0 or more: 1 at the output end.
    resistance_meter : array_like
        Input resistance of the meter [Ω], above 0 to inf; the usual 10 MΩ if not given.

    Returns
    -------
    PulldownThump
        Voltages and steps [V], times [s] and a caution above 10 mV.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Leakage resistance RL = V/I; plate at V R/(R + RL), close to I R. Step: the plate before less
    the plate after, times the gain. It dies away with C (R || Rload).

    References
    ----------
    DERIVED, voltage divider; PRACTICE, pull-downs at both ends.

    Examples
    --------
    >>> thump = pulldown_thump(4.5, current_leakage=0.1e-6, resistance_pulldown=1e6, resistance_load=10e3,
    ...                        capacitance=22e-9, gain=1.0)
    >>> round(thump.voltage_step_open, 2), round(thump.voltage_step, 3)
    (4.5, 0.097)
    """
    v, leak, r, c = voltage_across, current_leakage, resistance_pulldown, capacitance
    both = parallel(r, resistance_load)
    plate, connected = _plate(v, leak, r), _plate(v, leak, both)
    alone, after = _plate(v, leak, np.asarray(np.inf)), _plate(v, leak, resistance_load)
    step = gain * np.abs(plate - connected)
    cautions = caution_above(
        "footswitch thump",
        "lower the pull-down, or use a film capacitor, which hardly leaks",
        step,
        STEP_AUDIBLE,
        "V",
    )
    return PulldownThump(
        voltage_plate_open=alone,
        voltage_plate=plate,
        voltage_read=_plate(v, leak, parallel(r, resistance_meter)),
        voltage_step_open=gain * np.abs(alone - after),
        voltage_step=step,
        time_constant=c * both,
        time_discharge=c * r,
        cautions=cautions,
    )


def _plate(v: Array, leak: Array, r: Array) -> Array:
    """Return V R/(R + V/I); with no leakage the plate stays at 0 however long it waits, unless nothing holds it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 1 / (1 + np.abs(v) / (leak * r))
        share = np.where((leak == 0) & ~np.isnan(r), 0.0, np.where(r == 0, 0.0, np.where(np.isinf(r), 1.0, share)))
    missing = np.isnan(v) | np.isnan(leak) | np.isnan(r)
    return np.asarray(np.where(missing, np.nan, np.where(v == 0, 0.0, v * share)) + 0.0)


@formula
def pulldown_for_step(
    voltage_step: AboveZero, *, voltage_across: AnyNumber, current_leakage: AtLeastZero, gain: ZeroToInfinity
) -> Number:
    """Find the largest pull-down that keeps the thump under a step.

    Parameters
    ----------
    voltage_step : array_like
        Largest step wanted at the output [V], above 0.
    voltage_across : array_like
        DC voltage across the capacitor [V], any sign.
    current_leakage : array_like
        Leakage current of the capacitor at that voltage [A], 0 or more.
    gain : array_like
        Gain from that plate to the output, as a size [1], 0 to inf.

    Returns
    -------
    float or ndarray
        Pull-down [Ω]; inf where none is needed.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    R = (V/I) s/(V - s), s the step over the gain: `pulldown_thump` turned round for a
    load that is small beside the pull-down.

    References
    ----------
    DERIVED, inverse of `pulldown_thump`.

    Examples
    --------
    >>> round(pulldown_for_step(0.01, voltage_across=4.5, current_leakage=10e-9, gain=1.0) / 1e6, 2)
    1.0
    """
    v, leak = np.abs(voltage_across), current_leakage
    with np.errstate(divide="ignore", invalid="ignore"):
        s = voltage_step / gain
        r = np.where((s >= v) | (leak == 0), np.inf, v / leak * s / (v - s))
    return np.where(np.isnan(s) | np.isnan(v) | np.isnan(leak), np.nan, r)


@formula
def indicator_thump(
    current_led: AtLeastZero,
    *,
    resistance_supply: AtLeastZero,
    capacitance: AtLeastZero,
    fraction_coupled: ZeroToOne,
    gain: AtLeastZero,
) -> IndicatorThump:
    """Find the thump of the indicator's turn-on through the supply.

    The indicator's current steps the rail down by its drop across whatever
    resistance the supply has in front of the indicator; part of that reaches the signal.

    Parameters
    ----------
    current_led : array_like
        Indicator current [A], 0 or more.
    resistance_supply : array_like
        Resistance that circuit and indicator share: battery, protection diode's slope, filter
        resistor, ground lead [Ω], 0 or more.
    capacitance : array_like
        Rail capacitor behind that resistance [F], 0 or more.
    fraction_coupled : array_like
        Share of a rail step that reaches the signal [1], 0 to 1: a half for an unfiltered
        half-supply divider, 1 for a drain or collector resistor on that rail.
    gain : array_like
        Gain from there to the output, as a size [1], 0 or more.

    Returns
    -------
    IndicatorThump
        Steps [V], settling time constant [s] and a caution above 10 mV.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Step I R; with a rail capacitor it comes on as 1 - exp(-t/(R C)): the slower, the less thump. Take the indicator
    from ahead of the filter resistor and only the battery's own resistance is left.

    References
    ----------
    DERIVED, Ohm's law and one time constant.

    Examples
    --------
    >>> thump = indicator_thump(1.5e-3, resistance_supply=100.0, capacitance=100e-6, fraction_coupled=0.5, gain=1.0)
    >>> round(thump.voltage_step_rail, 3), round(thump.voltage_step, 4), round(thump.time_constant, 4)
    (0.15, 0.075, 0.01)
    """
    rail = current_led * resistance_supply
    step = rail * fraction_coupled * gain
    return IndicatorThump(
        voltage_step_rail=rail,
        voltage_step=step,
        time_constant=resistance_supply * capacitance,
        cautions=caution_above(
            "indicator thump",
            "feed the indicator from ahead of the filter resistor, or lower its current",
            step,
            STEP_AUDIBLE,
            "V",
        ),
    )
