"""Current and power gain of a stage into its load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric, quantity, scalar

__all__ = ["PowerGain", "power_gain"]


@dataclass(frozen=True, slots=True, eq=False)
class PowerGain(Result):
    """Gains of a stage from its input pin to its load."""

    gain_current: Number = quantity("1", "current gain")
    gain_power: Number = quantity("1", "power gain")
    gain_power_db: Number = quantity("dB", "power gain")


@formula
def power_gain(gain_signed: ArrayLike, *, impedance_input: ArrayLike, resistance_load: ArrayLike) -> PowerGain:
    """Find current and power gain of a stage: what a follower gives though its voltage gain is 1.

    Parameters
    ----------
    gain_signed : array_like
        Voltage gain into the load [1], any sign.
    impedance_input : array_like
        Input impedance [Ω], above 0, inf takes no current.
    resistance_load : array_like
        Load that counts as output: the load proper, or with it the collector or emitter resistor [Ω], above 0 to inf.

    Returns
    -------
    PowerGain
        Current gain and power gain [1], power gain [dB].

    Raises
    ------
    ValueError
        If an argument is outside its range, or input and load are both open.

    Notes
    -----
    Ai = A Zin/RL, Ap = A Ai, 10 log10(Ap). Some texts count the current gain negative where the
    load current is taken into the stage.

    References
    ----------
    DERIVED, Ohm's law at both ends; FLOYD-DEVICES, ex. 6.9, for the question.

    Examples
    --------
    >>> follower = power_gain(1.0, impedance_input=100e3, resistance_load=1e3)
    >>> follower.gain_current, follower.gain_power_db
    (100.0, 20.0)
    """
    a = numeric("gain_signed", gain_signed)
    z = numeric("impedance_input", impedance_input, above=0, infinity=True)
    r = numeric("resistance_load", resistance_load, above=0, infinity=True)
    if np.any(np.isinf(z) & np.isinf(r)):
        raise ValueError("impedance_input and resistance_load must not both be open: no current flows at all")
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = z / r
        current = np.where((a == 0) & ~np.isnan(ratio), 0.0, a * ratio)
        power = np.where(a == 0, 0.0 * current, a * current)
        return PowerGain(scalar(current), scalar(power), scalar(10 * np.log10(power)))
