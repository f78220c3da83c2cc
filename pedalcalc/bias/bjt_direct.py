"""Bias of one bipolar transistor without a divider, solved exactly.

::

    base resistor      collector feedback    two supplies
     +Vb    +V          +------ +V            +V
     Rb     Rc          Rc                    Rc
     +------|<      +---+--- c            b---|<
            Re      Rf--|<                Rb  Re
            0V           Re                0V  -Ve

The model is that of `pedalcalc.bias.bjt`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import formula, numeric_view
from pedalcalc.bias._bjt_solved import solved
from pedalcalc.bias._points import TEMPERATURE_ROOM, Array, BjtPoint, resistance
from pedalcalc.devices import Bjt

__all__ = ["bjt_base_resistor", "bjt_collector_feedback", "bjt_emitter_bias"]


@formula
def bjt_base_resistor(
    voltage_supply: ArrayLike,
    *,
    voltage_base_supply: ArrayLike,
    resistance_base: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike = TEMPERATURE_ROOM,
    voltage_saturation: ArrayLike = 0.2,
) -> BjtPoint:
    """Find the operating point with one resistor to the base.

    Exact, saturation and cut-off included. The base resistor may hang on the
    supply itself or on any other voltage.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    voltage_base_supply : array_like
        Voltage the base resistor hangs on [V], any sign.
    resistance_base : array_like
        Base resistor [Ω], 0 to inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    current_gain : array_like
        Current gain beta [1], above 0; inf ignores the base current.
    transistor : devices.Bjt
        Part record.
    temperature : array_like
        Junction temperature [K], above 0; 25 °C if not given.
    voltage_saturation : array_like
        Collector-emitter voltage that counts as the bottom of the swing [V], 0 or more.

    Returns
    -------
    BjtPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the base current.
    RuntimeError
        If a saturated element does not converge.

    Notes
    -----
    VBB = IB RB + VBE + IE RE. For a PNP `voltage_base_supply` is counted down
    from the positive supply: a base resistor to ground has the whole supply.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_2N3904
    >>> point = bjt_base_resistor(9.0, voltage_base_supply=9.0, resistance_base=1e6, resistance_collector=4.7e3,
    ...                           resistance_emitter=0.0, current_gain=150, transistor=BJT_2N3904)
    >>> round(point.voltage_collector, 2)
    3.12
    >>> bjt_base_resistor(9.0, voltage_base_supply=9.0, resistance_base=100e3, resistance_collector=4.7e3,
    ...                   resistance_emitter=0.0, current_gain=150, transistor=BJT_2N3904).region
    'saturated'
    """
    vcc = numeric_view("voltage_supply", voltage_supply, least=0)
    vbb = numeric_view("voltage_base_supply", voltage_base_supply)
    r_b, r_c, r_e = _three(resistance_base, resistance_collector, resistance_emitter)
    return BjtPoint(
        **solved(
            vbb, r_b, vcc, r_c, np.asarray(0.0), r_e, current_gain, transistor, temperature, voltage_saturation,
            follower=False, offset=vcc,
        )
    )  # fmt: skip


@formula
def bjt_emitter_bias(
    voltage_supply: ArrayLike,
    *,
    voltage_supply_emitter: ArrayLike,
    resistance_base: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike = TEMPERATURE_ROOM,
    voltage_saturation: ArrayLike = 0.2,
) -> BjtPoint:
    """Find the operating point between two supplies, the base at ground.

    The base goes to ground through its resistor, the emitter resistor to the
    second supply: below ground for an NPN, above it for a PNP.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    voltage_supply_emitter : array_like
        Size of the second supply, at the emitter resistor [V], 0 or more.
    resistance_base : array_like
        Base resistor [Ω], 0 to inf.
    resistance_collector : array_like
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    current_gain : array_like
        Current gain beta [1], above 0; inf ignores the base current.
    transistor : devices.Bjt
        Part record.
    temperature : array_like
        Junction temperature [K], above 0; 25 °C if not given.
    voltage_saturation : array_like
        Collector-emitter voltage that counts as the bottom of the swing [V], 0 or more.

    Returns
    -------
    BjtPoint
        Node voltages [V] to the middle ground, currents [A] and small-signal figures.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the base current.
    RuntimeError
        If a saturated element does not converge.

    Notes
    -----
    VEE = IB RB + VBE + IE RE.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_2N3906
    >>> point = bjt_emitter_bias(9.0, voltage_supply_emitter=9.0, resistance_base=100e3, resistance_collector=4.7e3,
    ...                          resistance_emitter=8.2e3, current_gain=200, transistor=BJT_2N3906)
    >>> round(point.voltage_emitter, 2), round(point.voltage_collector, 2)
    (1.13, -4.51)
    """
    vcc = numeric_view("voltage_supply", voltage_supply, least=0)
    vee = numeric_view("voltage_supply_emitter", voltage_supply_emitter, least=0)
    r_b, r_c, r_e = _three(resistance_base, resistance_collector, resistance_emitter)
    return BjtPoint(
        **solved(
            np.asarray(0.0), r_b, vcc, r_c, -vee, r_e, current_gain, transistor, temperature, voltage_saturation,
            follower=False, offset=np.asarray(0.0),
        )
    )  # fmt: skip


@formula
def bjt_collector_feedback(
    voltage_supply: ArrayLike,
    *,
    resistance_feedback: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike = TEMPERATURE_ROOM,
    voltage_saturation: ArrayLike = 0.2,
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
    current_gain : array_like
        Current gain beta [1], above 0; inf ignores the base current.
    transistor : devices.Bjt
        Part record.
    temperature : array_like
        Junction temperature [K], above 0; 25 °C if not given.
    voltage_saturation : array_like
        Collector-emitter voltage that counts as the bottom of the swing [V], 0 or more.

    Returns
    -------
    BjtPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the current.
    RuntimeError
        If an element whose collector junction conducts does not converge.

    Notes
    -----
    V = IE RC + IB RF + VBE + IE RE. The same circuit seen from the base: RC
    carries IC and IB together, so that RC + RE act as one emitter resistor.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_BC549C
    >>> point = bjt_collector_feedback(9.0, resistance_feedback=2.2e6, resistance_collector=10e3,
    ...                                resistance_emitter=0.0, current_gain=500, transistor=BJT_BC549C)
    >>> round(point.voltage_collector, 2), round(point.voltage_base, 3)
    (3.19, 0.632)
    """
    vcc = numeric_view("voltage_supply", voltage_supply, least=0)
    r_f = resistance("resistance_feedback", resistance_feedback)
    r_c = resistance("resistance_collector", resistance_collector)
    r_e = resistance("resistance_emitter", resistance_emitter)
    vcc, r_f, r_c, r_e = (np.asarray(part) for part in (vcc, r_f, r_c, r_e))
    # The supply end moves to the emitter side: base on the collector through RF, "emitter" on -V through RC + RE.
    fields = solved(
        np.asarray(0.0), r_f, np.asarray(0.0), np.asarray(0.0), -vcc, r_c + r_e, current_gain, transistor,
        temperature, voltage_saturation, follower=False, offset=np.asarray(0.0), shift=r_c, supply=vcc,
    )  # fmt: skip
    return BjtPoint(**fields)


def _three(base: ArrayLike, collector: ArrayLike, emitter: ArrayLike) -> tuple[Array, Array, Array]:
    return (
        resistance("resistance_base", base),
        resistance("resistance_collector", collector),
        resistance("resistance_emitter", emitter),
    )
