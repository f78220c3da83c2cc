"""Charge that a rectified sine pushes through the attack resistance, averaged over a cycle."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import spherical_jn

from pedalcalc._arguments import one_of
from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastZero, ZeroToInfinity
from pedalcalc._result import Number

RECTIFIERS = ("full", "half")
SHARES = {"full": 2 / np.pi, "half": 1 / np.pi}


def charging_shape(voltage_peak: NDArray[np.float64], voltage_hold: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return √(A²−v²) − v·arccos(v/A), free of cancellation, and 0 where v >= A.

    With v = A cos θ this is A (sin θ − θ cos θ) = A θ² j1(θ), j1 being the
    spherical Bessel function, which keeps its digits as θ goes to zero.
    """
    peak, hold = np.broadcast_arrays(voltage_peak, voltage_hold)
    swing = np.where(hold >= peak, 0.0, peak - hold)
    angle = np.arctan2(np.sqrt(swing) * np.sqrt(peak + hold), hold)
    with np.errstate(under="ignore"):
        return np.asarray(peak * angle**2 * spherical_jn(1, angle))


@formula
def charging_current_average(
    voltage_peak: AtLeastZero, *, voltage_hold: AtLeastZero, resistance_attack: ZeroToInfinity, rectifier: str
) -> Number:
    """Return the current [A] that a rectified sine drives into the hold capacitor, averaged over a cycle.

    The rectifier charges the capacitor through the attack resistance while the rectified sine stands above the held
    voltage, and never takes charge back; the held voltage is taken as constant during the cycle. Full wave:
    (2/π) (√(A²−v²) − v arccos(v/A)) / R_a, half wave half of it; for a plain diode its drop is added to `voltage_hold`.
    """
    share = SHARES[one_of("rectifier", rectifier, RECTIFIERS)]
    shape = charging_shape(voltage_peak, voltage_hold)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        current = share * shape / resistance_attack
    return np.where((shape == 0) & (resistance_attack == 0), 0.0, current)
