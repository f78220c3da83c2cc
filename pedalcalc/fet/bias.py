"""Bias of a field-effect transistor by the square law.

::

    gate leak      divider
         +V         +--+-- +V
         Rd         Rt Rd
    g--|<-- d       +--|<
    Rg   Rs         Rb Rs
    0V   0V         +--+-- 0V

ID = k (VGS - Vt)² above pinch-off, the quadratic of the ohmic region below; k is IDSS/VGS(off)² and Vt is VGS(off) of a
JFET. Left out: the rise of current with drain voltage, the gate's leakage, and temperature, which moves IDSS and
VGS(off) against each other.
"""

from __future__ import annotations

import numpy as np

from pedalcalc._base import formula, thevenin
from pedalcalc._ranges import AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc.devices import Jfet, Mosfet
from pedalcalc.fet._points import FetPoint, fet_point
from pedalcalc.laws.transistors import channel_of

__all__ = ["self_bias"]


@formula
def self_bias(
    voltage_supply: AtLeastZero,
    *,
    resistance_drain: ZeroToInfinity,
    resistance_source_pin: ZeroToInfinity,
    fet: Jfet | Mosfet,
    resistance_top: ZeroToInfinity = np.inf,
    resistance_bottom: ZeroToInfinity = np.inf,
    voltage_gate: AnyNumber = 0.0,
) -> FetPoint:
    """Find the operating point of a field-effect transistor, its gate on a leak resistor or on a divider.

    A meter between source and ground is a source resistor too: what it shows of VGS(off) is `voltage_source_pin`.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    resistance_source_pin : array_like
        Resistor at the source [Ω], 0 to inf.
    fet : devices.Jfet or devices.Mosfet
        One part, n- or p-channel; a p-channel circuit is the mirror image, source on the supply.
    resistance_top : array_like
        Divider resistor between gate and drain supply [Ω], 0 to inf; none if not given.
    resistance_bottom : array_like
        Divider resistor, or leak resistor, between gate and `voltage_gate` [Ω], 0 to inf; without the top one it does
        not matter.
    voltage_gate : array_like
        Voltage that the gate's lower resistor hangs on, counted from the far end of the source resistor
        towards the drain supply [V]; 0 if not given.

    Returns
    -------
    FetPoint
        Node voltages [V], current [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or both divider resistors are 0.
    TypeError
        If `fet` is not such a record, or is a type.

    Notes
    -----
    With a = VG - Vt: ID = k a² (2/(1 + sqrt(1 + 4 k a RS)))², the root with VGS above Vt.

    References
    ----------
    FLOYD-DEVICES, ex. 7.9, 7.11, 7.16 and 8.4; BOYLESTAD-NASHELSKY, ex. 7.2 and 7.7; SEDRA-SMITH, ex. 4.5;
    DERIVED, the stable form of the root.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> mine = replace(devices.typical(devices.JFET_2N5457), current_drain_zero_bias=12e-3, voltage_gate_source_off=-3.0)
    >>> point = self_bias(12.0, resistance_drain=3.3e3, resistance_source_pin=910.0, fet=mine)
    >>> round(1e3 * point.current_drain, 2), point.region
    (1.96, 'constant current')

    A MOSFET on a divider:

    >>> mosfet = replace(devices.typical(devices.MOSFET_2N7000), voltage_threshold=1.0, transconductance_parameter=0.5e-3)
    >>> point = self_bias(10.0, resistance_top=10e6, resistance_bottom=10e6, resistance_drain=6e3,
    ...                   resistance_source_pin=6e3, fet=mosfet)
    >>> round(1e3 * point.current_drain, 6), round(point.voltage_drain, 6)
    (0.5, 7.0)
    """
    vdd, low, top, bottom = voltage_supply, voltage_gate, resistance_top, resistance_bottom
    law = channel_of(fet)
    above, _ = thevenin(np.asarray(vdd - low), top, bottom)
    return fet_point(
        supply=vdd,
        gate=np.asarray(low + above),
        law=law,
        r_d=resistance_drain,
        r_s=resistance_source_pin,
        current_divider=np.asarray((vdd - low) / (top + bottom)),
        fet=fet,
    )
