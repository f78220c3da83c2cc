"""Questions of single nodes and textbook sketches, which a solver for whole circuits will answer one day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._base import Number, Result, formula, quantity
from pedalcalc._ranges import AboveZeroToInfinity, AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc.devices import Jfet, Mosfet
from pedalcalc.fet._points import FetPoint, fet_point
from pedalcalc.laws.transistors import channel_figures

__all__ = ["FetReading", "drain_feedback", "drain_voltage_linear", "from_drain_voltage", "load_line_voltage"]


@dataclass(frozen=True, slots=True, eq=False)
class FetReading(Result):
    """What a measured drain voltage says of the stage."""

    current_drain: Number = quantity("A", "drain current")
    voltage_source_pin: Number = quantity("V", "source to ground")
    voltage_gate_source: Number = quantity("V", "gate-source")
    voltage_drain_source: Number = quantity("V", "drain-source")


@formula
def from_drain_voltage(
    voltage_drain: AtLeastZero,
    *,
    voltage_supply: AtLeastZero,
    resistance_drain: AboveZeroToInfinity,
    resistance_source_pin: ZeroToInfinity = 0.0,
    voltage_gate: AnyNumber = 0.0,
) -> FetReading:
    """Find current and gate-source voltage from a measured drain voltage.

    Parameters
    ----------
    voltage_drain : array_like
        Drain voltage read [V], at least 0, not above the supply.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor [Ω], above 0 to inf.
    resistance_source_pin : array_like
        Source resistor [Ω], 0 to inf, finite where a current flows; none if not given.
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
    >>> reading = from_drain_voltage(7.0, voltage_supply=12.0, resistance_drain=3.3e3,
    ...                              resistance_source_pin=2.2e3, voltage_gate=12 / 7.8)
    >>> round(reading.voltage_gate_source, 4)
    -1.7949
    """
    v_d, vdd, r_d, r_s, gate = voltage_drain, voltage_supply, resistance_drain, resistance_source_pin, voltage_gate
    if np.any(v_d > vdd):
        raise ValueError("voltage_drain must not exceed voltage_supply")
    i = (vdd - v_d) / r_d
    if np.any((i > 0) & np.isinf(r_s)):
        raise ValueError("resistance_source_pin must be finite where the drain voltage shows a current, got inf")
    with np.errstate(invalid="ignore"):
        v_s = np.where(i == 0, 0.0, i * r_s)
    return FetReading(
        current_drain=i,
        voltage_source_pin=v_s,
        voltage_gate_source=gate - v_s,
        voltage_drain_source=v_d - v_s,
    )


@formula
def load_line_voltage(
    current: AtLeastZero,
    *,
    voltage_supply: AtLeastZero,
    resistance_drain: ZeroToInfinity,
    resistance_source_pin: ZeroToInfinity = 0.0,
) -> Number:
    """Find the voltage a current leaves across a transistor between its resistors.

    Parameters
    ----------
    current : array_like
        Drain (or collector) current [A], 0 or more.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain (or collector) resistor [Ω], 0 to inf.
    resistance_source_pin : array_like
        Source (or emitter) resistor [Ω], 0 to inf; none if not given.

    Returns
    -------
    float or ndarray
        Voltage across the transistor [V]; below 0 where no transistor could pass that current.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    V - I (RD + RS). It says nothing of the region: a point below pinch-off is no answer.

    References
    ----------
    NEAMEN, ex. 5.4; DERIVED, Kirchhoff's voltage law.

    Examples
    --------
    >>> round(load_line_voltage(1e-3, voltage_supply=9.0, resistance_drain=4.7e3), 6)
    4.3
    """
    i, vdd, r_d, r_s = current, voltage_supply, resistance_drain, resistance_source_pin
    with np.errstate(invalid="ignore"):
        return vdd - np.where(i == 0, 0.0 * i, i * (r_d + r_s))


@formula
def drain_voltage_linear(
    voltage_supply: AtLeastZero,
    *,
    resistance_drain: ZeroToInfinity,
    fet: Jfet,
) -> Number:
    """Find the drain voltage of a hard-on JFET by the linear-resistor rule.

    The rule of a textbook that takes the whole ohmic region at zero bias as a
    resistor |VGS(off)|/IDSS. The square law gives about half that resistance
    near zero drain voltage: `self_bias` has the exact answer.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    fet : devices.Jfet
        One part, n- or p-channel.

    Returns
    -------
    float or ndarray
        Drain voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `fet` is not a JFET record, or is a type.

    Notes
    -----
    VD = V RDS/(RDS + RD), RDS = |VGS(off)|/IDSS.

    References
    ----------
    MALVINO-BATES, ex. 13-5.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> mine = replace(devices.typical(devices.JFET_2N5457), current_drain_zero_bias=10e-3, voltage_gate_source_off=-4.0)
    >>> round(drain_voltage_linear(10.0, resistance_drain=10e3, fet=mine), 2)
    0.38
    """
    part = specimen("fet", fet, Jfet)
    r_ds = np.abs(part.voltage_gate_source_off) / np.asarray(part.current_drain_zero_bias, float)
    return voltage_supply / (1 + resistance_drain / r_ds)


@formula
def drain_feedback(
    voltage_supply: AtLeastZero,
    *,
    resistance_drain: ZeroToInfinity,
    resistance_source_pin: ZeroToInfinity,
    fet: Mosfet,
) -> FetPoint:
    """Find the operating point of an enhancement MOSFET whose gate is fed from its drain.

    No current flows in the gate resistor, so gate and drain stand at the same voltage.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    resistance_source_pin : array_like
        Resistor at the source [Ω], 0 to inf.
    fet : devices.Mosfet
        One part; a p-channel circuit is the mirror image, source on the supply.

    Returns
    -------
    FetPoint
        Node voltages [V], current [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range.
    TypeError
        If `fet` is not a MOSFET record, or is a type.

    Notes
    -----
    ID = K (V - ID (RD + RS) - Vth)²: the square law with RD + RS as source
    resistor and the gate on the supply. It never turns ohmic.

    References
    ----------
    FLOYD-DEVICES, ex. 7.17, drain feedback; DERIVED, the root.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> point = drain_feedback(9.0, resistance_drain=10e3, resistance_source_pin=0.0,
    ...                        fet=devices.typical(devices.MOSFET_2N7000))
    >>> round(point.voltage_drain, 2), point.region
    (2.2, 'constant current')
    """
    vdd, r_d, r_s = voltage_supply, resistance_drain, resistance_source_pin
    law = channel_figures(specimen("fet", fet, Mosfet))
    th, k = law.threshold, law.strength
    with np.errstate(invalid="ignore", over="ignore"):
        a = vdd - th
        root = 2 / (1 + np.sqrt(1 + 4 * k * np.maximum(a, 0.0) * (r_d + r_s)))
        u = np.where(a > 0, a * root, a)
        current = k * np.maximum(u, 0.0) ** 2
        # An open source floats up with the gate until the channel pinches off.
        v_s = np.where(np.isinf(r_s), np.maximum(a, 0.0), np.where(current == 0, 0.0, current * r_s))
    # With the gate voltage known the plain stage gives every other figure.
    gate = np.where(a > 0, u + th + v_s, vdd)
    return fet_point(supply=vdd, gate=gate, law=law, r_d=r_d, r_s=r_s, current_divider=np.asarray(0.0), fet=fet)
