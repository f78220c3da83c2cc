"""Bias of one bipolar transistor behind a base divider, solved exactly.

::

    +----+---- +V         +----+---- +V
    Rt   Rc               Rt   |
    +----|<    out at c   +----|<    out at e
    Rb   Re               Rb   Re
    +----+---- 0V         +----+---- 0V

The transistor follows the law of `pedalcalc.laws.bipolar`, the transport form of
J. J. Ebers and J. L. Moll: no assumed base-emitter drop, base current and saturation
included. Left out: the Early effect (a few per cent of collector current), and in silicon
the leakage. A PNP is the mirror image of the same circuit. The swing ends where the law
saturates: where the collector junction takes 5 % of the current, some 0.15 to 0.2 V.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import any_open, formula, numeric_view, resistance, scalar, thevenin
from pedalcalc.bias._bjt_solved import solved
from pedalcalc.bias._points import Array, BjtDividerPoint, stiff_caution
from pedalcalc.devices import Bjt
from pedalcalc.laws._check import TEMPERATURE_RECORD
from pedalcalc.laws.transistors import CURRENT_CUT_OFF

__all__ = ["bjt_divider", "bjt_follower"]


@formula
def bjt_divider(
    voltage_supply: ArrayLike,
    *,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike = TEMPERATURE_RECORD,
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
        Collector resistor [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    current_gain : array_like
        Current gain beta [1], above 0; inf ignores the base current.
    transistor : devices.Bjt
        Part record.
    temperature : array_like
        Junction temperature [K], above 0; 300 K if not given.

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
    >>> from pedalcalc.devices import BJT_BC549B
    >>> point = bjt_divider(9.0, resistance_top=68e3, resistance_bottom=15e3, resistance_collector=4.7e3,
    ...                     resistance_emitter=1e3, current_gain=290, transistor=BJT_BC549B)
    >>> point.region, round(point.voltage_collector, 2), round(point.voltage_emitter, 3)
    ('active', 4.57, 0.946)
    """
    return BjtDividerPoint(
        **_divider(
            voltage_supply,
            resistance_top,
            resistance_bottom,
            resistance("resistance_collector", resistance_collector),
            resistance_emitter,
            current_gain,
            transistor,
            temperature,
            follower=False,
        )
    )


@formula
def bjt_follower(
    voltage_supply: ArrayLike,
    *,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike = TEMPERATURE_RECORD,
) -> BjtDividerPoint:
    """Find the operating point of an emitter follower behind a base divider.

    As `bjt_divider` with the collector straight on its supply; the swing is
    that of the emitter.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_top : array_like
        Divider resistor on the supply side of an NPN's base (on the ground side of a PNP's: always
        the one between base and collector supply) [Ω], 0 to inf.
    resistance_bottom : array_like
        Divider resistor between base and the supply of the emitter [Ω], 0 to inf.
    resistance_emitter : array_like
        Emitter resistor [Ω], 0 to inf.
    current_gain : array_like
        Current gain beta [1], above 0; inf ignores the base current.
    transistor : devices.Bjt
        Part record.
    temperature : array_like
        Junction temperature [K], above 0; 300 K if not given.

    Returns
    -------
    BjtDividerPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the base current.
    RuntimeError
        If a saturated element does not converge.

    Warns
    -----
    ModelRangeWarning
        If a temperature is outside 230 to 400 K.

    Notes
    -----
    Vth = IB Rth + VBE + IE RE, as in `bjt_divider`. For a follower fed from the
    stage before it give `resistance_top` and `resistance_bottom` as the network it sees.

    References
    ----------
    DERIVED, Kirchhoff's laws and the transport form of the Ebers-Moll equations.

    Examples
    --------
    >>> from pedalcalc.devices import BJT_2N5088
    >>> point = bjt_follower(9.0, resistance_top=470e3, resistance_bottom=470e3, resistance_emitter=10e3,
    ...                      current_gain=400, transistor=BJT_2N5088)
    >>> round(point.voltage_base, 2), round(point.voltage_emitter, 2)
    (4.28, 3.68)
    """
    return BjtDividerPoint(
        **_divider(
            voltage_supply,
            resistance_top,
            resistance_bottom,
            np.asarray(0.0),
            resistance_emitter,
            current_gain,
            transistor,
            temperature,
            follower=True,
        )
    )


def _divider(
    voltage_supply: ArrayLike,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    r_c: Array,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    transistor: Bjt,
    temperature: ArrayLike,
    *,
    follower: bool,
) -> dict[str, Any]:
    vcc = numeric_view("voltage_supply", voltage_supply, least=0)
    top = resistance("resistance_top", resistance_top)
    bottom = resistance("resistance_bottom", resistance_bottom)
    r_e = resistance("resistance_emitter", resistance_emitter)
    v_th, r_th = thevenin(vcc, top, bottom)
    fields = solved(
        v_th, r_th, vcc, r_c, np.asarray(0.0), r_e, current_gain, transistor, temperature,
        follower=follower, offset=vcc,
    )  # fmt: skip
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
    fields["current_supply"] = scalar(ic + drawn)
    fields |= {
        "voltage_thevenin": scalar(v_th),
        "resistance_thevenin": scalar(r_th),
        "current_stiff": scalar(stiff),
        "error_stiff": scalar(error),
    }
    fields["cautions"] += stiff_caution(error)
    return fields
