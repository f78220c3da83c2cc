"""Gain against LED current for the three places of a coupler's cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import decibels, formula
from pedalcalc._ranges import AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._result import Number, Result, quantity
from pedalcalc.devices import Coupler
from pedalcalc.opto.coupler import coupler_resistance
from pedalcalc.opto.gain import cell_gain


@dataclass(frozen=True, slots=True, eq=False)
class GainCurve(Result):
    """Result of `gain_curve`."""

    current: Number = quantity("A", "LED current")
    resistance_cell: Number = quantity("Ω", "cell resistance")
    gain: Number = quantity("1", "gain")
    gain_db: Number = quantity("dB", "gain")


@formula
def gain_curve(
    current: AnyNumber,
    *,
    coupler: Coupler,
    placement: str,
    resistance_arm: ZeroToInfinity,
    resistance_load: ZeroToInfinity,
    illuminance_ambient: AtLeastZero = 0.0,
) -> GainCurve:
    """Return gain against LED current for a coupler's cell in one of its three places.

    Parameters
    ----------
    current : array_like
        Steady LED current [A].
    coupler : Coupler
        The coupler.
    placement : str
        "shunt", "series" or "feedback", as in `cell_gain`.
    resistance_arm : array_like
        Resistance ahead of the cell, of "feedback" the input resistor [Ω], at least 0; may be infinite.
    resistance_load : array_like
        Resistance of what follows, to ground, of "feedback" the feedback resistor [Ω], at least 0; may be infinite.
    illuminance_ambient : array_like
        Light that leaks in from outside [lx], at least 0.

    Returns
    -------
    GainCurve
        Current, cell resistance, gain and gain in decibels.

    Raises
    ------
    ValueError
        As `cell_gain` and `coupler_point`.

    References
    ----------
    DERIVED: `cell_gain` of the settled resistance of `coupler_point`.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> part = devices.typical(devices.COUPLER_NSL28)
    >>> curve = gain_curve(0.02, coupler=part, placement="shunt", resistance_arm=10e3, resistance_load=1e6)
    >>> f"{curve.gain_db:.1f} dB"
    '-28.3 dB'
    """
    cell = coupler_resistance(current, coupler=coupler, illuminance_ambient=illuminance_ambient)
    gain = cell_gain(cell, placement=placement, resistance_arm=resistance_arm, resistance_load=resistance_load)
    return GainCurve(current=current, resistance_cell=cell, gain=gain, gain_db=decibels(np.asarray(gain)))
