"""Gain against LED current for the three places of a coupler's cell."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, quantity
from pedalcalc.devices import Coupler
from pedalcalc.opto.coupler import coupler_resistance
from pedalcalc.opto.gain import gain_feedback, gain_series, gain_shunt


@dataclass(frozen=True, slots=True, eq=False)
class GainCurve(Result):
    """Result of `shunt_curve`, `series_curve` and `feedback_curve`."""

    current: Number = quantity("A", "LED current")
    resistance_cell: Number = quantity("Ω", "cell resistance")
    gain: Number = quantity("1", "gain")
    gain_db: Number = quantity("dB", "gain")


def _curve(current: ArrayLike, resistance_cell: Number, gain: Number) -> GainCurve:
    with np.errstate(divide="ignore"):
        decibels = 20 * np.log10(np.asarray(gain))
    amps = np.broadcast_to(np.asarray(current, float) + 0.0, decibels.shape)
    return GainCurve(amps.copy()[()], resistance_cell, gain, decibels[()])


@formula
def shunt_curve(
    current: ArrayLike,
    *,
    coupler: Coupler,
    resistance_source: ArrayLike,
    resistance_load: ArrayLike,
    illuminance_ambient: ArrayLike = 0.0,
) -> GainCurve:
    """Return gain against LED current for a coupler's cell that shunts the signal.

    Parameters
    ----------
    current : array_like
        Steady LED current [A].
    coupler : Coupler
        The coupler.
    resistance_source : array_like
        Resistance in series with the signal [Ω], at least 0; may be infinite.
    resistance_load : array_like
        Resistance of what follows, to ground [Ω], at least 0; may be infinite.
    illuminance_ambient : array_like
        Light that leaks in from outside [lx], at least 0.

    Returns
    -------
    GainCurve
        Current, cell resistance, gain and gain in decibels.

    Raises
    ------
    ValueError
        As `gain_shunt` and `coupler_resistance`.

    References
    ----------
    DERIVED: `gain_shunt` of `coupler_resistance`.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> curve = shunt_curve(0.02, coupler=devices.typical(devices.COUPLER_NSL28), resistance_source=10e3, resistance_load=1e6)
    >>> f"{curve.gain_db:.1f} dB"
    '-28.3 dB'
    """
    cell = coupler_resistance(current, coupler=coupler, illuminance_ambient=illuminance_ambient)
    return _curve(current, cell, gain_shunt(cell, resistance_source=resistance_source, resistance_load=resistance_load))


@formula
def series_curve(
    current: ArrayLike,
    *,
    coupler: Coupler,
    resistance_source: ArrayLike,
    resistance_load: ArrayLike,
    illuminance_ambient: ArrayLike = 0.0,
) -> GainCurve:
    """Return gain against LED current for a coupler's cell in the signal's way.

    Parameters
    ----------
    current : array_like
        Steady LED current [A].
    coupler : Coupler
        The coupler.
    resistance_source : array_like
        Further resistance in series with the signal [Ω], at least 0; may be infinite.
    resistance_load : array_like
        Resistance to ground after the cell [Ω], at least 0; may be infinite.
    illuminance_ambient : array_like
        Light that leaks in from outside [lx], at least 0.

    Returns
    -------
    GainCurve
        Current, cell resistance, gain and gain in decibels.

    Raises
    ------
    ValueError
        As `gain_series` and `coupler_resistance`.

    References
    ----------
    DERIVED: `gain_series` of `coupler_resistance`.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> curve = series_curve(0.02, coupler=devices.typical(devices.COUPLER_NSL28), resistance_source=0.0, resistance_load=10e3)
    >>> f"{curve.gain_db:.2f} dB"
    '-0.34 dB'
    """
    cell = coupler_resistance(current, coupler=coupler, illuminance_ambient=illuminance_ambient)
    return _curve(
        current, cell, gain_series(cell, resistance_source=resistance_source, resistance_load=resistance_load)
    )


@formula
def feedback_curve(
    current: ArrayLike,
    *,
    coupler: Coupler,
    resistance_input: ArrayLike,
    resistance_feedback: ArrayLike,
    illuminance_ambient: ArrayLike = 0.0,
) -> GainCurve:
    """Return gain against LED current for a coupler's cell across a feedback resistor.

    Parameters
    ----------
    current : array_like
        Steady LED current [A].
    coupler : Coupler
        The coupler.
    resistance_input : array_like
        Input resistor [Ω], at least 0; may be infinite.
    resistance_feedback : array_like
        Feedback resistor [Ω], at least 0; may be infinite.
    illuminance_ambient : array_like
        Light that leaks in from outside [lx], at least 0.

    Returns
    -------
    GainCurve
        Current, cell resistance, gain and gain in decibels.

    Raises
    ------
    ValueError
        As `gain_feedback` and `coupler_resistance`.

    References
    ----------
    DERIVED: `gain_feedback` of `coupler_resistance`.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> curve = feedback_curve(0.02, coupler=devices.typical(devices.COUPLER_NSL28), resistance_input=10e3, resistance_feedback=100e3)
    >>> f"{curve.gain_db:.1f} dB"
    '-28.0 dB'
    """
    cell = coupler_resistance(current, coupler=coupler, illuminance_ambient=illuminance_ambient)
    return _curve(
        current, cell, gain_feedback(cell, resistance_input=resistance_input, resistance_feedback=resistance_feedback)
    )
