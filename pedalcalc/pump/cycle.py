r"""One flying capacitor in periodic steady state, solved exactly.

Phase one charges the flying capacitor C1 from the supply through R1; phase two
connects it through R2 to the output capacitor C2 (with its series resistance)
and the load, a constant current. Both phases last half a period. In each the
currents are a constant plus one exponential, and charge balance fixes both, so
nothing is iterated and nothing neglected.

          R1          R2
    o----/\/\--+----/\/\----+-----> I
    supply     |            |
              === C1       === C2 with R_ESR
               |            |
    o----------+------------+------
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, Result, formula, numeric, quantity

__all__ = ["PumpCycle", "pump_cycle", "pump_start_time"]

Array = NDArray[np.float64]


class Cycle(NamedTuple):
    """What one ampere of load does: resistances, ripple and tone all scale with the load."""

    resistance_thevenin: Array
    resistance_slow: Array
    resistance_fast: Array
    ripple: Array
    tone: Array
    ripple_pump: Array


def solve_cycle(frequency: Array, pump: Array, charge: Array, deliver: Array, output: Array, esr: Array) -> Cycle:
    """Solve the periodic steady state for a load of one ampere and checked arrays."""
    period = 1 / frequency
    half = period / 2
    with np.errstate(divide="ignore", invalid="ignore", under="ignore", over="ignore"):
        # Elastances, so that a stiff output (infinite C2) is simply 0.
        s1, s2 = 1 / pump, 1 / output
        both = s1 + s2
        loop = deliver + esr
        x1 = half * s1 / charge
        x2 = half * both / loop
        left = np.exp(-x2)
        gone = -np.expm1(-x2)
        tail = s2 / both  # current in phase two after a long time
        moved = (period - tail * half) / gone  # charge of its exponential
        tau = loop / both
        share = np.where(loop == 0, 0.0, esr / loop)
        start1 = -period * (s1 / -np.expm1(-x1) - s1)  # voltage of C1 when phase two begins, below the supply
        start2 = start1 + esr - loop * tail - moved * both  # voltage of C2 then
        mean = start2 + s2 * half / 4 + s2 / 2 * ((tail - 1) * half / 2 + moved * (1 - gone / x2))

        # Output voltage above its lowest point, which is the end of phase one.
        first = esr * tail + share * moved * both
        last = s2 * half + esr * tail + share * moved * both * left
        fall = s2 * s1 / both
        rise = moved / tau * (s2 - share * both)
        at = np.where(rise > 0, fall / rise, 1.0)
        inside = (at < 1) & (at > left) & (loop > 0)
        at = np.where(inside, at, 1.0)
        top = -fall * -tau * np.log(at) + s2 * moved * (1 - at) + esr * tail + share * moved * both * at
        top = np.where(inside, top, np.where(loop == 0, s2 * moved, first))
        ripple = np.maximum(np.maximum(first, last), top)

        # Fourier coefficient of the output voltage at the pump frequency.
        omega = 2 * np.pi * frequency
        step = -s2 * half + s2 * moved + esr * tail
        ramp = s2 * tail
        burst = moved * (share * both - s2) * tau * (1 + left)
        lag = omega * tau
        real = burst / (1 + lag**2) - 2 * ramp / omega**2
        imaginary = (2 * step + ramp * half) / omega + burst * lag / (1 + lag**2)
        tone = np.sqrt(2 * (real**2 + imaginary**2)) / period
    return Cycle(-mean, period * s1, 2 * (charge + deliver) + esr, ripple, tone, period * s1)


@dataclass(frozen=True, slots=True, eq=False)
class PumpCycle(Result):
    """A flying capacitor in periodic steady state."""

    resistance_thevenin: Number = quantity("Ω", "output resistance, exact")
    resistance_slow: Number = quantity("Ω", "slow-switching limit")
    resistance_fast: Number = quantity("Ω", "fast-switching limit")
    resistance_sum: Number = quantity("Ω", "sum of both, the makers' upper bound")
    voltage_ripple: Number = quantity("V", "output ripple, peak to peak")
    voltage_tone: Number = quantity("V", "output ripple at the pump frequency, rms")
    voltage_ripple_pump: Number = quantity("V", "ripple across the flying capacitor, peak to peak")


@formula
def pump_cycle(
    *,
    current_load: ArrayLike,
    frequency_pump: ArrayLike,
    capacitance_pump: ArrayLike,
    resistance_charge: ArrayLike,
    resistance_deliver: ArrayLike,
    capacitance_output: ArrayLike,
    resistance_esr_output: ArrayLike,
) -> PumpCycle:
    """Find output resistance, ripple and tone of one flying capacitor, from slow to fast switching.

    Parameters
    ----------
    current_load : array_like
        Load current [A], at least 0.
    frequency_pump : array_like
        Pump frequency, half the oscillator's in the 7660 family [Hz], > 0.
    capacitance_pump : array_like
        Flying capacitor [F], > 0.
    resistance_charge : array_like
        All resistance while it charges: switches, its own series resistance [Ω], at least 0.
    resistance_deliver : array_like
        All resistance while it delivers, without that of the output capacitor [Ω], at least 0.
    capacitance_output : array_like
        Output capacitor [F], > 0; inf is a stiff output.
    resistance_esr_output : array_like
        Its equivalent series resistance [Ω], at least 0.

    Returns
    -------
    PumpCycle
        Output resistance, its limits and their sum [Ω], ripple and tone [V].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    With a stiff output and equal resistances R the output resistance is
    1/(f C1) coth(1/(4 f R C1)); limits 1/(f C1) and 2 (R_charge + R_deliver) + R_ESR.
    Voltage is the mean over a period, as a meter reads it.

    References
    ----------
    SEEMAN-SANDERS, slow and fast limits; DERIVED, the exact solution.

    Examples
    --------
    >>> inverter = pump_cycle(
    ...     current_load=0.010, frequency_pump=5e3, capacitance_pump=10e-6, resistance_charge=11.5,
    ...     resistance_deliver=11.5, capacitance_output=float("inf"), resistance_esr_output=0.0,
    ... )
    >>> print(f"{inverter.resistance_thevenin:.4f} Ω, sum {inverter.resistance_sum:.1f} Ω")
    48.8627 Ω, sum 66.0 Ω
    """
    load = numeric("current_load", current_load, least=0)
    f = numeric("frequency_pump", frequency_pump, above=0)
    pump = numeric("capacitance_pump", capacitance_pump, above=0)
    charge = numeric("resistance_charge", resistance_charge, least=0)
    deliver = numeric("resistance_deliver", resistance_deliver, least=0)
    output = numeric("capacitance_output", capacitance_output, above=0, infinity=True)
    esr = numeric("resistance_esr_output", resistance_esr_output, least=0)
    one = solve_cycle(f, pump, charge, deliver, output, esr)
    return PumpCycle(
        one.resistance_thevenin[()],
        one.resistance_slow[()],
        one.resistance_fast[()],
        (one.resistance_slow + one.resistance_fast)[()],
        (load * one.ripple)[()],
        (load * one.tone)[()],
        (load * one.ripple_pump)[()],
    )


@formula
def pump_start_time(
    tolerance: ArrayLike,
    *,
    frequency_pump: ArrayLike,
    capacitance_pump: ArrayLike,
    resistance_charge: ArrayLike,
    resistance_deliver: ArrayLike,
    capacitance_output: ArrayLike,
    resistance_esr_output: ArrayLike,
) -> Number:
    """Find how long a pump of switches takes from empty capacitors until its output is within a band of the final voltage.

    An inverter, or any flying capacitor between resistances. A diode is no
    resistance: with its slope in the place of one the time comes out several
    times too long. For the two-diode doubler see `doubler_start_time`.

    Parameters
    ----------
    tolerance : array_like
        Band, as a share of the final voltage [1], > 0, such as 0.05.
    frequency_pump : array_like
        Pump frequency [Hz], > 0.
    capacitance_pump : array_like
        Flying capacitor [F], > 0.
    resistance_charge : array_like
        All resistance while it charges [Ω], at least 0.
    resistance_deliver : array_like
        All resistance while it delivers, without that of the output capacitor [Ω], at least 0.
    capacitance_output : array_like
        Output capacitor [F], > 0; inf never starts.
    resistance_esr_output : array_like
        Its equivalent series resistance [Ω], at least 0.

    Returns
    -------
    float or ndarray
        Time [s], good to a period of the pump.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    What is missing shrinks from period to period by the larger eigenvalue of
    the map over one period. Without load.

    References
    ----------
    DERIVED.

    Examples
    --------
    >>> time = pump_start_time(
    ...     0.05, frequency_pump=5e3, capacitance_pump=10e-6, resistance_charge=11.5, resistance_deliver=11.5,
    ...     capacitance_output=100e-6, resistance_esr_output=0.0,
    ... )
    >>> print(f"{1000 * time:.1f} ms")
    15.1 ms
    """
    band = numeric("tolerance", tolerance, above=0)
    f = numeric("frequency_pump", frequency_pump, above=0)
    pump = numeric("capacitance_pump", capacitance_pump, above=0)
    charge = numeric("resistance_charge", resistance_charge, least=0)
    deliver = numeric("resistance_deliver", resistance_deliver, least=0)
    output = numeric("capacitance_output", capacitance_output, above=0, infinity=True)
    esr = numeric("resistance_esr_output", resistance_esr_output, least=0)
    with np.errstate(divide="ignore", invalid="ignore", under="ignore", over="ignore"):
        x1 = 1 / (2 * f * pump * charge)
        x2 = (1 / pump + 1 / output) / (2 * f * (deliver + esr))
        gone1, gone2, gone = -np.expm1(-x1), -np.expm1(-x2), -np.expm1(-x1 - x2)
        share = 1 / output / (1 / pump + 1 / output)
        lost = share * (gone1 + gone2) + (1 - share) * gone  # 2 minus the trace of the map
        product = share * gone1 * gone2
        root = np.sqrt(lost**2 - 4 * product)
        shrink = 2 * product / (lost + root)  # 1 minus the larger eigenvalue
        second = np.exp(-x1 - x2) / (1 - shrink)
        after_one = share * gone2 * (1 - gone1) + 1 - share * gone2
        weight = (after_one - second) / root
        periods = np.log(band / weight) / np.log1p(-shrink)
        time = np.where((band < weight) & (band < 1), periods / f, 0.0 * (band + f + weight))
        # Full exchange in one period leaves the capacitors equal; a stiff output never starts.
        return np.where((band < 1) & np.isinf(output) & ~np.isnan(x1 + x2), np.inf, time)[()]
