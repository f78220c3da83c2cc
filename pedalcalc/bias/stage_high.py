"""Where the capacitances of a transistor and of the wiring end a stage's band."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric, quantity, scalar

__all__ = ["MillerCapacitance", "miller_capacitance"]


@dataclass(frozen=True, slots=True, eq=False)
class MillerCapacitance(Result):
    """Capacitances to ground that a capacitance across a stage looks like."""

    capacitance_miller_input: Number = quantity("F", "at the input")
    capacitance_miller_output: Number = quantity("F", "at the output")


@formula
def miller_capacitance(capacitance_feedback: ArrayLike, *, gain_signed: ArrayLike) -> MillerCapacitance:
    """Find what a capacitance from output to input adds at the input and at the output of a stage.

    Collector-base or gate-drain capacitance of a transistor, or a small capacitor put there.
    Add what lies to ground by itself (transistor, wiring), then `rc.corner_frequency` with the
    resistance seen from that node gives the upper corner.

    Parameters
    ----------
    capacitance_feedback : array_like
        Capacitance from output to input [F], 0 or more.
    gain_signed : array_like
        Mid-band gain from the input pin to the output [1], negative when inverted, not 0.

    Returns
    -------
    MillerCapacitance
        Both capacitances [F]; negative where a gain above 1 in phase drives its own input.

    Raises
    ------
    ValueError
        If an argument is outside its range or the gain is 0.

    Notes
    -----
    C (1 - A) at the input and C (1 - 1/A) at the output, Miller's theorem, with the gain of
    mid band; good below the upper corner.

    References
    ----------
    DERIVED, Kirchhoff's current law at both nodes; BOYLESTAD-NASHELSKY, ch. 9, Miller effect capacitance.

    Examples
    --------
    >>> added = miller_capacitance(4e-12, gain_signed=-90.0)
    >>> round(1e12 * added.capacitance_miller_input), round(1e12 * added.capacitance_miller_output, 2)
    (364, 4.04)
    """
    c = numeric("capacitance_feedback", capacitance_feedback, least=0)
    a = numeric("gain_signed", gain_signed)
    if np.any(a == 0):
        raise ValueError("gain_signed must not be 0")
    return MillerCapacitance(scalar(c * (1 - a)), scalar(c * (1 - 1 / a)))
