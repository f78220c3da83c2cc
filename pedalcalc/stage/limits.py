"""How far a loaded stage swings, and where its bypass capacitor ends the gain."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._base import formula, parallel
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AtLeastZero, ZeroToInfinity
from pedalcalc._result import Number, Result, quantity

__all__ = ["Swing", "bypass_corner", "swing"]


@dataclass(frozen=True, slots=True, eq=False)
class Swing(Result):
    """How far the loaded output can move; `voltage_peak` is the smaller of both ways."""

    swing_up: Number = quantity("V", "towards cut-off")
    swing_down: Number = quantity("V", "towards saturation")
    voltage_peak: Number = quantity("V", "largest undistorted peak")
    current_centred: Number = quantity("A", "current that would make both ways equal")
    clips_first: Any = quantity("text", "clips first at")


@formula
def bypass_corner(
    capacitance: AboveZero,
    *,
    resistance_bypassed: ZeroToInfinity,
    resistance_dynamic: ZeroToInfinity,
    resistance_drive: AtLeastZero = 0.0,
    current_gain: AboveZeroToInfinity = np.inf,
    resistance_unbypassed: ZeroToInfinity = 0.0,
) -> Number:
    """Find the corner of a bypass capacitor across an emitter or source resistor.

    Parameters
    ----------
    capacitance : array_like
        Bypass capacitor [F], above 0.
    resistance_bypassed : array_like
        Resistor it lies across [Ω], 0 to inf.
    resistance_dynamic : array_like
        re = VT/IE of a bipolar transistor, 1/gm of a FET [Ω], 0 to inf.
    resistance_drive : array_like
        Resistance the base sees, source and divider in parallel [Ω], 0 or more; none if not given.
    current_gain : array_like
        Current gain that divides it [1], above 0; inf (a FET) if not given.
    resistance_unbypassed : array_like
        Part of the emitter or source resistor left without bypass [Ω], 0 to inf; none if not given.

    Returns
    -------
    float or ndarray
        Corner frequency [Hz].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    1/(2 pi C (R || (re + Rdrive/beta + Runbypassed))). The gain falls 3 dB here if
    the resistor is much larger than what it is in parallel with; below
    1/(2 pi C R) it levels out at the gain without bypass.

    References
    ----------
    BOYLESTAD-NASHELSKY, ex. 9.11 (emitter) and 9.12 (source).

    Examples
    --------
    >>> round(bypass_corner(20e-6, resistance_bypassed=2e3, resistance_dynamic=15.76, resistance_drive=889.0,
    ...                     current_gain=100))
    327
    """
    beyond = resistance_dynamic + resistance_drive / current_gain + resistance_unbypassed
    with np.errstate(divide="ignore"):
        return 1 / (2 * np.pi * capacitance * parallel(resistance_bypassed, beyond))


@formula
def swing(
    current: AtLeastZero,
    *,
    voltage_headroom: AtLeastZero,
    resistance_output_dc: AtLeastZero,
    resistance_load: ZeroToInfinity,
) -> Swing:
    """Find how far a loaded stage can swing before it clips, and at what current it would swing most evenly.

    Parameters
    ----------
    current : array_like
        Standing current: collector, drain, or emitter of a follower [A], 0 or more.
    voltage_headroom : array_like
        Standing voltage across the transistor less what it needs to work
        (saturation voltage, or pinch-off voltage of a FET) [V], 0 or more.
    resistance_output_dc : array_like
        Collector, drain or emitter resistor the standing current flows through [Ω], 0 or more, finite.
    resistance_load : array_like
        Load behind the coupling capacitor [Ω], 0 to inf.

    Returns
    -------
    Swing
        Both ways and the smaller [V], the even current [A], and which end clips first.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    On the AC load line of slope -1/(R || RL) the output rises by I (R || RL)
    until the transistor is cut off and falls by the headroom until it
    saturates. Raising the current by i lowers the headroom by i R, so both
    are equal at I + (headroom - I r)/(r + R), r = R || RL.

    References
    ----------
    MALVINO-BATES, ch. 12, AC output compliance; DERIVED, load line.

    Examples
    --------
    >>> found = swing(1e-3, voltage_headroom=4.0, resistance_output_dc=4.7e3, resistance_load=10e3)
    >>> round(found.voltage_peak, 3), found.clips_first
    (3.197, 'cut-off')
    """
    i, v, dc, load = current, voltage_headroom, resistance_output_dc, resistance_load
    ac = parallel(dc, load)
    up = i * ac
    with np.errstate(divide="ignore", invalid="ignore"):
        centred = np.where(up == v, i, i + (v - up) / (ac + dc))
    first = np.where(up < v, "cut-off", np.where(up > v, "saturation", "both"))
    first = np.where(np.isnan(up) | np.isnan(v), "unknown", first)
    return Swing(
        swing_up=up,
        swing_down=v,
        voltage_peak=np.minimum(up, v),
        current_centred=centred,
        clips_first=first,
    )
