"""Questions of single nodes and textbook sketches, which a solver for whole circuits will answer one day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric, quantity, resistance, scalar
from pedalcalc.devices import Jfet, Mosfet
from pedalcalc.devices._record import specimen
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
        Drain resistor [Ω], above 0 to inf.
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
    >>> reading = from_drain_voltage(7.0, voltage_supply=12.0, resistance_drain=3.3e3,
    ...                              resistance_source_pin=2.2e3, voltage_gate=12 / 7.8)
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
    return FetReading(
        current_drain=scalar(i + 0 * v_s),
        voltage_source_pin=scalar(v_s),
        voltage_gate_source=scalar(gate - v_s),
        voltage_drain_source=scalar(v_d - v_s),
    )


@formula
def load_line_voltage(
    current: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike = 0.0,
) -> Number:
    """Find the voltage a current leaves across a transistor between its resistors.

    Parameters
    ----------
    current : array_like
        Drain (or collector) current [A], 0 or more.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain (or collector) resistor [Ω], 0 to inf: through an open one no current flows.
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
    i = numeric("current", current, least=0)
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    r_d = resistance("resistance_drain", resistance_drain)
    r_s = resistance("resistance_source_pin", resistance_source_pin)
    with np.errstate(invalid="ignore"):
        return scalar(vdd - np.where(i == 0, 0.0 * i, i * (r_d + r_s)))  # type: ignore[no-any-return]


@formula
def drain_voltage_linear(
    voltage_supply: ArrayLike,
    *,
    resistance_drain: ArrayLike,
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
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    r_d = resistance("resistance_drain", resistance_drain)
    part = specimen("fet", fet, Jfet)
    r_ds = np.abs(part.voltage_gate_source_off) / np.asarray(part.current_drain_zero_bias, float)
    return scalar(vdd / (1 + r_d / r_ds))  # type: ignore[no-any-return]


@formula
def drain_feedback(
    voltage_supply: ArrayLike,
    *,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike,
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
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    law = channel_figures(specimen("fet", fet, Mosfet))
    th, k = law.threshold, law.strength
    r_d = resistance("resistance_drain", resistance_drain)
    r_s = resistance("resistance_source_pin", resistance_source_pin)
    with np.errstate(invalid="ignore", over="ignore"):
        a = vdd - th
        root = 2 / (1 + np.sqrt(1 + 4 * k * np.maximum(a, 0.0) * (r_d + r_s)))
        u = np.where(a > 0, a * root, a)
        current = k * np.maximum(u, 0.0) ** 2
        # An open source floats up with the gate until the channel pinches off.
        v_s = np.where(np.isinf(r_s), np.maximum(a, 0.0), np.where(current == 0, 0.0, current * r_s))
    # With the gate voltage known the plain stage gives every other figure.
    gate = np.where(a > 0, u + th + v_s, vdd)
    return fet_point(
        supply=vdd,
        gate=gate,
        law=law,
        r_d=r_d,
        r_s=r_s,
        current_divider=np.asarray(0.0),
        fet=fet,
    )
