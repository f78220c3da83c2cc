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

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

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
        tone = np.sqrt(2) * np.hypot(real, imaginary) / period
    return Cycle(-mean, period * s1, 2 * (charge + deliver) + esr, ripple, tone, period * s1)
