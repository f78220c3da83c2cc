"""Measure a JFET on the bench: IDSS and VGS(off) from readings of its source voltage.

::

    +V--- drain      Gate to ground, drain to the supply, a known resistor at
     g--|<           the source. Two resistors give IDSS and VGS(off), more average
     |    Rs   V     the reading errors. A meter alone (10 MΩ) is such a resistor too,
    0V    0V         so what it reads is not quite VGS(off).
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import fit_together, is_a, numeric
from pedalcalc._base import fit
from pedalcalc._figure import meter_resistance
from pedalcalc.devices import Jfet, Meter, typical

__all__ = ["fit_jfet"]


@fit
def fit_jfet(
    voltage_source_pin: ArrayLike,
    *,
    resistance_source_pin: ArrayLike,
    meter: Meter,
    fet: Jfet,
    voltage_gate: float = 0.0,
    current_drain_zero_bias: float = np.nan,
) -> Jfet:
    """Find IDSS and VGS(off) of a JFET from readings of its source voltage.

    Gate to ground, drain to the supply, a known resistor at the source; read, change the resistor, read again.
    Take resistors well apart, say 470 Ω and 47 kΩ. Of a p-channel part turn the supply round and write the sizes.

    Parameters
    ----------
    voltage_source_pin : array_like
        Source voltages read, one for each resistor [V], above 0; NaN is left out.
    resistance_source_pin : array_like
        The resistors [Ω], above 0; inf is the meter alone.
    meter : devices.Meter
        The meter, whose own resistance lies across the resistor.
    fet : devices.Jfet
        The type, for polarity, ratings and leads.
    voltage_gate : float
        Gate voltage during the readings [V]; 0 if not given.
    current_drain_zero_bias : float
        IDSS where an ammeter read it with gate and source joined [A], above 0: one reading more; NaN (not read) if not
        given.

    Returns
    -------
    devices.Jfet
        A specimen of the type with the device's IDSS [A], VGS(off) [V] and transconductance at zero bias [S].

    Raises
    ------
    ValueError
        If an argument is outside its range, there are fewer than two readings, or the readings contradict each other:
        the larger resistor must give the higher voltage and the smaller current.
    TypeError
        If `meter` or `fet` is not such a record.

    Notes
    -----
    sqrt(ID) = sqrt(IDSS)(1 - VGS/VGS(off)) is a straight line in VGS: two points fix it, through more of them the
    line of least squares is laid. The drain must stay above pinch-off: supply at least twice |VGS(off)|.

    References
    ----------
    DERIVED, square law.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> mine = fit_jfet([0.53, 1.5], resistance_source_pin=[470.0, 22e3], meter=devices.METER_DIGITAL, fet=devices.JFET_2N5457)
    >>> round(1e3 * mine.current_drain_zero_bias, 2), round(mine.voltage_gate_source_off, 2)
    (2.25, -1.82)

    IDSS by ammeter, and the meter alone at the source:

    >>> mine = fit_jfet(1.984, resistance_source_pin=float("inf"), current_drain_zero_bias=3e-3,
    ...                 meter=devices.METER_DIGITAL, fet=devices.JFET_2N5457)
    >>> round(mine.voltage_gate_source_off, 2)
    -2.0
    """
    is_a("fet", fet, Jfet)
    own = meter_resistance(meter)
    if own.ndim:
        raise ValueError(f"resistance_meter of {meter.name!r} must be one number, got {own.size} of them")
    volts = numeric("voltage_source_pin", voltage_source_pin, above=0)
    ohms = numeric("resistance_source_pin", resistance_source_pin, above=0, infinity=True)
    gate = numeric("voltage_gate", voltage_gate)
    joined = numeric("current_drain_zero_bias", current_drain_zero_bias, above=0)
    fit_together(voltage_source_pin=volts, resistance_source_pin=ohms, voltage_gate=gate)
    volts, ohms, at_gate = (np.ravel(part) for part in np.broadcast_arrays(volts, ohms, gate))
    across = np.append(at_gate - volts, np.zeros(joined.size))
    root = np.append(np.sqrt(volts / ohms + volts / own), np.sqrt(np.ravel(joined)))
    read = ~np.isnan(across + root)
    across, root = across[read], root[read]
    if np.unique(across).size < 2:
        raise ValueError(
            f"voltage_source_pin, resistance_source_pin and voltage_gate must hold at least two different readings, "
            "or one with current_drain_zero_bias, "
            f"got {across.size}"
        )
    from_middle = across - across.mean()
    slope = np.sum(from_middle * root) / np.sum(from_middle**2)  # sqrt(k)
    if slope <= 0:
        raise ValueError(
            "voltage_source_pin must not contradict resistance_source_pin and voltage_gate: the larger resistor must give the higher voltage and the smaller current"
        )
    off = float(across.mean() - root.mean() / slope)
    if off >= 0 or np.any(across < off):
        raise ValueError(
            "voltage_source_pin, resistance_source_pin and voltage_gate must fit a JFET: VGS(off) comes out above 0 or above a reading's VGS"
        )
    sign = 1.0 if fet.polarity == "n" else -1.0
    return dataclasses.replace(
        typical(fet),
        current_drain_zero_bias=float((slope * off) ** 2),
        voltage_gate_source_off=sign * off,
        transconductance=float(-2 * slope**2 * off),
    )
