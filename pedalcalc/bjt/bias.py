"""Bias of one bipolar transistor, solved exactly.

::

    divider              follower             base resistor     collector feedback
    +----+---- +V         +----+---- +V        +----+---- +V        +---- +V
    Rt   Rc               Rt   |               Rb   Rc              Rc
    +----|<    out at c   +----|<    out at e  +----|<         +-Rf-+---- c
    Rb   Re               Rb   Re                   Re         +----|<
    +----+---- 0V         +----+---- 0V             +---- 0V        Re
                                                                    0V

The transistor follows the law of `pedalcalc.laws.bipolar`, the transport form of
J. J. Ebers and J. L. Moll: no assumed base-emitter drop, base current and saturation
included. Left out: the Early effect (a few per cent of collector current), and in silicon
the leakage. A PNP is the mirror image of the same circuit. The swing ends where the law
saturates: where the collector junction takes 5 % of the current, some 0.15 to 0.2 V.
A record of ideality 0 has the constant base-emitter drop of the textbooks instead; it saturates at 0 V.
"""

from __future__ import annotations

import numpy as np

from pedalcalc._base import any_open, formula, thevenin
from pedalcalc._ranges import TEMPERATURE_RECORD, AnyNumber, AtLeastZero, Kelvin, ZeroToInfinity
from pedalcalc.bjt._points import BjtDividerPoint, BjtPoint, stiff_caution
from pedalcalc.bjt._solved import solved
from pedalcalc.devices import Bjt
from pedalcalc.laws.transistors import CURRENT_CUT_OFF

__all__ = ["base_bias", "collector_feedback_bias", "divider_bias"]


@formula
def divider_bias(
    voltage_supply: AtLeastZero,
    *,
    resistance_top: ZeroToInfinity,
    resistance_bottom: ZeroToInfinity,
    resistance_collector: ZeroToInfinity,
    resistance_emitter: ZeroToInfinity,
    transistor: Bjt,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> BjtDividerPoint:
    """Find the operating point behind a base divider.

    Exact, base current and saturation included, beside what the shortcut says
    that takes the divider as stiff (no base current, the same base-emitter drop).

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_top : array_like
        Divider resistor on the supply side of an NPN's base (on the ground side of a PNP's: always
        the one between base and collector supply) [Ω], 0 to inf.
    resistance_bottom : array_like
        Divider resistor between base and the supply of the emitter [Ω], 0 to inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf; 0 is an emitter follower, whose swing is that of its emitter.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    transistor : devices.Bjt
        One part; a gain of inf ignores the base current, an ideality of 0 is the constant base-emitter drop.
    temperature : array_like
        Junction temperature [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    BjtDividerPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape;
        `error_stiff` [1] is the shortcut's emitter current over the true one, less one.

    Raises
    ------
    ValueError
        If an argument is outside its range, if both divider resistors are 0, or if
        nothing limits the base current.
    TypeError
        If `transistor` is not a bipolar record, or is a type.
    RuntimeError
        If a saturated element does not converge.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    With Thevenin's Vth and Rth of the divider the base loop is
    Vth = IB Rth + VBE + IE RE, solved by the Wright omega function; a collector
    junction that conducts adds the collector loop. A stage whose shortcut is
    off by more than 3 % carries a caution.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_2N5088, BJT_BC549B, typical
    >>> point = divider_bias(9.0, resistance_top=68e3, resistance_bottom=15e3, resistance_collector=4.7e3,
    ...                      resistance_emitter=1e3, transistor=typical(BJT_BC549B))
    >>> point.region, round(point.voltage_collector, 2), round(point.voltage_emitter, 3)
    ('active', 4.57, 0.946)

    A follower:

    >>> point = divider_bias(9.0, resistance_top=470e3, resistance_bottom=470e3, resistance_collector=0.0,
    ...                      resistance_emitter=10e3, transistor=typical(BJT_2N5088))
    >>> round(point.voltage_base, 2), round(point.voltage_emitter, 2), round(point.swing_up, 1)
    (4.33, 3.73, 5.1)
    """
    vcc, top, bottom = voltage_supply, resistance_top, resistance_bottom
    r_c, r_e, ground = resistance_collector, resistance_emitter, np.asarray(0.0)
    v_th, r_th = thevenin(vcc, top, bottom)
    fields = solved(v_th, r_th, vcc, r_c, ground, r_e, transistor, temperature, follower=r_c == 0, offset=vcc)
    ie, ic, ib, x = (
        np.asarray(fields[name])
        for name in ("current_emitter", "current_collector", "current_base", "voltage_base_emitter")
    )
    forward = x if transistor.polarity == "npn" else -x
    with np.errstate(divide="ignore", invalid="ignore"):
        lead = np.maximum(v_th - forward, 0.0)
        stiff = lead / r_e
        error = stiff / ie - 1
        base = np.asarray(fields["voltage_base"])
        drawn = (vcc - base if transistor.polarity == "npn" else base) / top
        if not (r_e.min(initial=np.inf) > 0 and ie.min(initial=np.inf) > CURRENT_CUT_OFF):
            stiff = np.where((lead == 0) & ~np.isnan(r_e), 0.0, stiff)
            error = np.where(ie <= CURRENT_CUT_OFF, 0.0, stiff / ie - 1)
        if any_open(top) or not top.min(initial=np.inf) > 0:
            drawn = np.where(np.isinf(top), 0.0, np.where(top == 0, v_th / bottom + ib, drawn))
    fields["current_supply"] = ic + drawn
    fields["cautions"] += stiff_caution(error)
    return BjtDividerPoint(
        **fields, voltage_thevenin=v_th, resistance_thevenin=r_th, current_stiff=stiff, error_stiff=error
    )


@formula
def base_bias(
    voltage_supply: AtLeastZero,
    *,
    voltage_base_supply: AnyNumber,
    resistance_base: ZeroToInfinity,
    resistance_collector: ZeroToInfinity,
    resistance_emitter: ZeroToInfinity,
    transistor: Bjt,
    voltage_supply_emitter: AtLeastZero = 0.0,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> BjtPoint:
    """Find the operating point with one resistor to the base, on one supply or between two.

    Exact, saturation and cut-off included. The base resistor may hang on the supply itself or on any other voltage; in
    a direct-coupled follower it is the drain or collector resistor of the stage before.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    voltage_base_supply : array_like
        Voltage the base resistor hangs on [V], any sign; 0 is ground between two supplies.
    resistance_base : array_like
        Base resistor [Ω], 0 to inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf; 0 is an emitter follower, whose swing is that of its emitter.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    transistor : devices.Bjt
        One part; a gain of inf ignores the base current, an ideality of 0 is the constant base-emitter drop.
    voltage_supply_emitter : array_like
        Size of a second supply, at the emitter resistor: below ground for an NPN, above it for a PNP [V], 0 or more;
        none if not given.
    temperature : array_like
        Junction temperature [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    BjtPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the base current.
    TypeError
        If `transistor` is not a bipolar record, or is a type.
    RuntimeError
        If a saturated element does not converge.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    VBB + VEE = IB RB + VBE + IE RE. For a PNP on one supply `voltage_base_supply` is counted down from the positive
    supply: a base resistor to ground has the whole supply. Between two supplies a PNP is the mirror image at ground: its
    collector stands on the negative one.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> part = replace(devices.typical(devices.BJT_2N3904), current_gain=150)
    >>> point = base_bias(9.0, voltage_base_supply=9.0, resistance_base=1e6, resistance_collector=4.7e3,
    ...                   resistance_emitter=0.0, transistor=part)
    >>> round(point.voltage_collector, 2)
    3.12
    >>> base_bias(9.0, voltage_base_supply=9.0, resistance_base=100e3, resistance_collector=4.7e3,
    ...           resistance_emitter=0.0, transistor=part).region
    'saturated'

    The constant drop of the textbooks, here 0.7 V:

    >>> point = base_bias(9.0, voltage_base_supply=9.0, resistance_base=1e6, resistance_collector=4.7e3,
    ...                   resistance_emitter=0.0, transistor=replace(part, ideality=0.0, voltage_forward=0.7))
    >>> round(point.voltage_base, 6)
    0.7
    """
    vcc, vbb, vee = voltage_supply, voltage_base_supply, voltage_supply_emitter
    r_b, r_c, r_e, offset = resistance_base, resistance_collector, resistance_emitter, np.where(vee > 0, 0.0, vcc)
    return BjtPoint(
        **solved(vbb, r_b, vcc, r_c, 0.0 - vee, r_e, transistor, temperature, follower=r_c == 0, offset=offset)
    )


@formula
def collector_feedback_bias(
    voltage_supply: AtLeastZero,
    *,
    resistance_feedback: ZeroToInfinity,
    resistance_collector: ZeroToInfinity,
    resistance_emitter: ZeroToInfinity,
    transistor: Bjt,
    temperature: Kelvin = TEMPERATURE_RECORD,
) -> BjtPoint:
    """Find the operating point with the base resistor fed from the collector.

    Exact; the collector resistor carries the emitter current. The base never
    rises above the collector, so a silicon stage cannot saturate of itself. A
    germanium one can: with the base open, or nearly so, its leakage times the gain
    pulls the collector down until the collector junction no longer blocks.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_feedback : array_like
        Resistor from collector to base [Ω], 0 to inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    transistor : devices.Bjt
        One part; a gain of inf ignores the base current, an ideality of 0 is the constant base-emitter drop.
    temperature : array_like
        Junction temperature [K], above 0 to 5000; 300 K if not given.

    Returns
    -------
    BjtPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the current.
    TypeError
        If `transistor` is not a bipolar record, or is a type.
    RuntimeError
        If an element whose collector junction conducts does not converge.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    V = IE RC + IB RF + VBE + IE RE. The same circuit seen from the base: RC
    carries IC and IB together, so that RC + RE act as one emitter resistor.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_BC549C, typical
    >>> point = collector_feedback_bias(9.0, resistance_feedback=2.2e6, resistance_collector=10e3,
    ...                                 resistance_emitter=0.0, transistor=typical(BJT_BC549C))
    >>> round(point.voltage_collector, 2), round(point.voltage_base, 3)
    (3.18, 0.628)
    """
    vcc, r_f, r_c, r_e = voltage_supply, resistance_feedback, resistance_collector, resistance_emitter
    zero = np.asarray(0.0)
    # The supply end moves to the emitter side: base on the collector through RF, "emitter" on -V through RC + RE.
    whole = {"follower": False, "offset": zero, "shift": r_c, "supply": vcc}
    return BjtPoint(**solved(zero, r_f, zero, zero, -vcc, r_c + r_e, transistor, temperature, **whole))
