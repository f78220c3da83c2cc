"""Measure a JFET on the bench: IDSS and VGS(off) from two readings, or with a meter alone.

::

    +V--- drain      Gate to ground, drain to the supply, a known resistor at
     g--|<           the source. Two resistors give IDSS and VGS(off). A meter
     |    Rs   V     alone (10 MΩ) is such a resistor too, so what it reads is
    0V    0V         not quite VGS(off).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, fit, formula, numeric, quantity
from pedalcalc.bias._fet_points import off_voltage
from pedalcalc.bias._points import resistance, scalar
from pedalcalc.bias.jfet import idss

__all__ = [
    "CutOffReading",
    "FetReading",
    "JfetFit",
    "fet_from_drain_voltage",
    "jfet_cut_off_from_reading",
    "jfet_cut_off_reading",
    "jfet_fit",
]


@dataclass(frozen=True, slots=True, eq=False)
class FetReading(Result):
    """What a measured drain voltage says of the stage."""

    current_drain: Number = quantity("A", "drain current")
    voltage_source_pin: Number = quantity("V", "source to ground")
    voltage_gate_source: Number = quantity("V", "gate-source")
    voltage_drain_source: Number = quantity("V", "drain-source")


@dataclass(frozen=True, slots=True, eq=False)
class JfetFit(Result):
    """The two numbers of a JFET's square law."""

    current_drain_zero_bias: Number = quantity("A", "IDSS")
    voltage_gate_source_off: Number = quantity("V", "VGS(off)")
    transconductance_zero_bias: Number = quantity("S", "gm at zero bias")


@dataclass(frozen=True, slots=True, eq=False)
class CutOffReading(Result):
    """What a meter between source and ground shows of VGS(off)."""

    voltage_read: Number = quantity("V", "reading")
    voltage_gate_source_off: Number = quantity("V", "true VGS(off)")
    shortfall: Number = quantity("1", "reading low by")


@fit
def jfet_fit(
    voltage_source_first: ArrayLike,
    *,
    resistance_source_first: ArrayLike,
    voltage_source_second: ArrayLike,
    resistance_source_second: ArrayLike,
    voltage_gate: ArrayLike = 0.0,
    resistance_meter: ArrayLike = np.inf,
) -> JfetFit:
    """Find IDSS and VGS(off) from two readings of source voltage.

    Gate to ground, drain to the supply, a known resistor at the source; read,
    change the resistor, read again. Take resistors well apart, say 470 Ω and 47 kΩ.

    Parameters
    ----------
    voltage_source_first : array_like
        Source voltage with the first resistor [V], above 0.
    resistance_source_first : array_like
        First resistor [Ω], above 0; inf is the meter alone.
    voltage_source_second : array_like
        Source voltage with the second resistor [V], above 0.
    resistance_source_second : array_like
        Second resistor [Ω], above 0; inf is the meter alone.
    voltage_gate : array_like
        Gate voltage [V]; 0 if not given.
    resistance_meter : array_like
        Input resistance of the meter, in parallel with the resistor [Ω]; none if not given.

    Returns
    -------
    JfetFit
        IDSS [A], VGS(off) [V] and gm at zero bias [S].

    Raises
    ------
    ValueError
        If an argument is outside its range, or the readings contradict each other:
        the larger resistor must give the higher voltage and the smaller current.

    Notes
    -----
    sqrt(ID) = sqrt(IDSS)(1 - VGS/VGS(off)) is a straight line in VGS; two points fix it.
    The drain must stay above pinch-off: supply at least twice |VGS(off)|.

    References
    ----------
    DERIVED, square law.

    Examples
    --------
    >>> fit = jfet_fit(0.53, resistance_source_first=470.0, voltage_source_second=1.5, resistance_source_second=22e3)
    >>> round(1e3 * fit.current_drain_zero_bias, 2), round(fit.voltage_gate_source_off, 2)
    (2.25, -1.82)
    """
    v1 = numeric("voltage_source_first", voltage_source_first, above=0)
    v2 = numeric("voltage_source_second", voltage_source_second, above=0)
    meter = numeric("resistance_meter", resistance_meter, above=0, infinity=True)
    r1 = numeric("resistance_source_first", resistance_source_first, above=0, infinity=True)
    r2 = numeric("resistance_source_second", resistance_source_second, above=0, infinity=True)
    gate = numeric("voltage_gate", voltage_gate)
    i1, i2 = v1 / r1 + v1 / meter, v2 / r2 + v2 / meter
    if np.any((v1 - v2) * (i1 - i2) >= 0):
        raise ValueError(
            "voltage_source_second contradicts voltage_source_first: "
            "the larger resistor must give the higher voltage and the smaller current"
        )
    slope = (np.sqrt(i1) - np.sqrt(i2)) / (v2 - v1)  # sqrt(k), VGS = gate - v
    off = (gate - v1) - np.sqrt(i1) / slope
    if np.any(off >= 0):
        raise ValueError("voltage_source_first and voltage_source_second do not fit a JFET: VGS(off) comes out above 0")
    return JfetFit(scalar((slope * off) ** 2), scalar(off), scalar(-2 * slope**2 * off))


@formula
def jfet_cut_off_reading(
    voltage_gate_source_off: ArrayLike, *, current_drain_zero_bias: ArrayLike, resistance_meter: ArrayLike
) -> CutOffReading:
    """Find what a meter alone at the source shows of VGS(off).

    The meter's own current keeps the channel from closing, so it reads low.

    Parameters
    ----------
    voltage_gate_source_off : array_like
        True VGS(off) [V], below 0.
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    resistance_meter : array_like
        Input resistance of the meter [Ω], above 0; 10 MΩ is usual.

    Returns
    -------
    CutOffReading
        Reading [V] and by what fraction it is low [1].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Source bias with the meter as source resistor: V = |VGS(off)| - |VGS(off)| sqrt(V/(Rm IDSS)).

    References
    ----------
    DERIVED, square law.

    Examples
    --------
    >>> reading = jfet_cut_off_reading(-2.0, current_drain_zero_bias=3e-3, resistance_meter=10e6)
    >>> round(reading.voltage_read, 3), round(reading.shortfall, 4)
    (1.984, 0.0081)
    """
    off, _ = off_voltage(voltage_gate_source_off, "n")
    i_dss = idss(current_drain_zero_bias)
    meter = numeric("resistance_meter", resistance_meter, above=0, infinity=True)
    share = 2 / (1 + np.sqrt(1 + 4 * i_dss / -off * meter))
    return CutOffReading(scalar(-off * (1 - share)), scalar(off + 0 * share), scalar(share))


@formula
def jfet_cut_off_from_reading(
    voltage_read: ArrayLike, *, current_drain_zero_bias: ArrayLike, resistance_meter: ArrayLike
) -> CutOffReading:
    """Find the true VGS(off) from what a meter alone at the source shows.

    Parameters
    ----------
    voltage_read : array_like
        Reading between source and ground, gate at ground [V], above 0.
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    resistance_meter : array_like
        Input resistance of the meter [Ω], above 0; 10 MΩ is usual.

    Returns
    -------
    CutOffReading
        True VGS(off) [V] and by what fraction the reading is low [1].

    Raises
    ------
    ValueError
        If an argument is outside its range, or the meter would carry more than IDSS.

    Notes
    -----
    VGS(off) = -V/(1 - sqrt(V/(Rm IDSS))).

    References
    ----------
    DERIVED, square law; inverse of `jfet_cut_off_reading`.

    Examples
    --------
    >>> round(jfet_cut_off_from_reading(1.984, current_drain_zero_bias=3e-3, resistance_meter=10e6)
    ...       .voltage_gate_source_off, 2)
    -2.0
    """
    v = numeric("voltage_read", voltage_read, above=0)
    i_dss = idss(current_drain_zero_bias)
    meter = numeric("resistance_meter", resistance_meter, above=0, infinity=True)
    share = np.sqrt(v / meter / i_dss)
    if np.any(share >= 1):
        raise ValueError("voltage_read is impossible: the meter would carry more than IDSS")
    return CutOffReading(scalar(v + 0 * share), scalar(-v / (1 - share)), scalar(share))


@formula
def fet_from_drain_voltage(
    voltage_drain: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike = 0.0,
    voltage_gate: ArrayLike = 0.0,
) -> FetReading:
    """Find current and gate-source voltage from a measured drain voltage.

    Parameters
    ----------
    voltage_drain : array_like
        Drain voltage read [V], at most the supply.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor [Ω], above 0, finite.
    resistance_source_pin : array_like
        Source resistor [Ω], 0 or more, finite; none if not given.
    voltage_gate : array_like
        Gate voltage [V]; 0 if not given.

    Returns
    -------
    FetReading
        Drain current [A], source, gate-source and drain-source voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range, the drain reads above the supply, or it shows a
        current where the source is open.

    Notes
    -----
    ID = (V - VD)/RD, VS = ID RS, VGS = VG - VS.

    References
    ----------
    FLOYD-DEVICES, ex. 7.11 and 7.17.

    Examples
    --------
    >>> reading = fet_from_drain_voltage(7.0, voltage_supply=12.0, resistance_drain=3.3e3,
    ...                                  resistance_source_pin=2.2e3, voltage_gate=12 / 7.8)
    >>> round(reading.voltage_gate_source, 4)
    -1.7949
    """
    v_d = numeric("voltage_drain", voltage_drain, least=0)
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    r_d = numeric("resistance_drain", resistance_drain, above=0, infinity=True)
    r_s = resistance("resistance_source_pin", resistance_source_pin)
    gate = numeric("voltage_gate", voltage_gate)
    if np.any(v_d > vdd):
        raise ValueError("voltage_drain must not exceed voltage_supply")
    i = (vdd - v_d) / r_d
    if np.any((i > 0) & np.isinf(r_s)):
        raise ValueError("resistance_source_pin must be finite where the drain voltage shows a current, got inf")
    with np.errstate(invalid="ignore"):
        v_s = np.where(i == 0, 0.0, i * r_s) + 0 * gate
    return FetReading(scalar(i + 0 * v_s), scalar(v_s), scalar(gate - v_s), scalar(v_d - v_s))
