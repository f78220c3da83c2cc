"""Bias of one bipolar transistor by the constant base-emitter drop of the textbooks.

The circuits of `pedalcalc.bias.bjt` and `pedalcalc.bias.bjt_direct` with a
fixed drop (0.7 V by custom) in place of the exponential law. The drop, the
thermal voltage, the saturation voltage and the convention for the base current
are arguments, because texts differ in all four.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import formula, numeric, resistance, scalar, thevenin
from pedalcalc.bias._bjt_ruled import by_convention, drops, emitter_current, ruled
from pedalcalc.bias._junctions import closed
from pedalcalc.bias._points import BjtDividerPoint, BjtPoint, bjt_fields, limited, stiff_caution
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K

__all__ = ["bjt_base_resistor_rule", "bjt_collector_feedback_rule", "bjt_divider_rule", "bjt_emitter_bias_rule"]


@formula
def bjt_divider_rule(
    voltage_supply: ArrayLike,
    *,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    voltage_base_emitter: ArrayLike = 0.7,
    voltage_saturation: ArrayLike = 0.2,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
    convention: str = "beta plus one",
    polarity: str = "npn",
) -> BjtDividerPoint:
    """Find the operating point behind a base divider by the constant-drop rule.

    With `current_gain` inf it is the stiff-divider shortcut itself.

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
    voltage_base_emitter : array_like
        Base-emitter drop [V], 0 or more; the customary 0.7 V if not given.
    voltage_saturation : array_like
        Collector-emitter voltage that counts as the bottom of the swing [V], 0 or more.
    voltage_thermal : array_like
        Thermal voltage kT/q [V], above 0; kT/q at 300 K if not given, texts take 0.025 or 0.026.
    convention : str
        `beta plus one`: IE = (beta + 1) IB, as Kirchhoff has it; `beta`: IE = IC = beta IB, as many
        texts have it.
    polarity : str
        `npn` or `pnp`; a PNP circuit is the mirror image, emitter on the other supply.

    Returns
    -------
    BjtDividerPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range, if both divider resistors are 0, or if
        nothing limits the base current.

    Notes
    -----
    IE = (Vth - VBE)/(Rth/b + RE) with b = beta + 1 or beta. Where the collector
    would fall below `voltage_saturation` above the emitter, it stays there and
    the two loops are solved for IB and IC.

    References
    ----------
    MALVINO-BATES, ch. 8, voltage-divider bias; SEDRA-SMITH, ex. 5.10, with beta + 1.

    Examples
    --------
    >>> point = bjt_divider_rule(15.0, resistance_top=100e3, resistance_bottom=50e3, resistance_collector=5e3,
    ...                          resistance_emitter=3e3, current_gain=100)
    >>> round(1e3 * point.current_emitter, 2), round(point.voltage_base, 2)
    (1.29, 4.57)
    """
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    top, bottom = resistance("resistance_top", resistance_top), resistance("resistance_bottom", resistance_bottom)
    r_c = resistance("resistance_collector", resistance_collector)
    r_e = resistance("resistance_emitter", resistance_emitter)
    v_th, r_th = thevenin(vcc, top, bottom)
    fields = ruled(
        v_th, r_th, vcc, r_c, np.asarray(0.0), r_e, current_gain, voltage_base_emitter, voltage_saturation,
        voltage_thermal, convention, polarity, offset=vcc,
    )  # fmt: skip
    ie, ic, ib = (np.asarray(fields[name]) for name in ("current_emitter", "current_collector", "current_base"))
    drop = numeric("voltage_base_emitter", voltage_base_emitter, least=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        stiff = np.where(v_th > drop, (v_th - drop) / r_e, 0.0) + 0 * v_th
        error = np.where(ie > 0, stiff / ie - 1, 0.0) + 0 * ie
        v_b = v_th - np.where(ib == 0, 0.0, ib * r_th)
        drawn = np.where(top == 0, v_th / bottom + ib, np.where(np.isinf(top), 0.0, (vcc - v_b) / top))
    fields |= {
        "current_supply": scalar(ic + drawn),
        "voltage_thevenin": scalar(v_th),
        "resistance_thevenin": scalar(r_th),
        "current_stiff": scalar(stiff),
        "error_stiff": scalar(error),
    }
    fields["cautions"] += stiff_caution(error)
    return BjtDividerPoint(**fields)


@formula
def bjt_base_resistor_rule(
    voltage_supply: ArrayLike,
    *,
    voltage_base_supply: ArrayLike,
    resistance_base: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    voltage_base_emitter: ArrayLike = 0.7,
    voltage_saturation: ArrayLike = 0.2,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
    convention: str = "beta plus one",
    polarity: str = "npn",
) -> BjtPoint:
    """Find the operating point with one base resistor by the constant-drop rule.

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
    voltage_base_emitter : array_like
        Base-emitter drop [V], 0 or more; the customary 0.7 V if not given.
    voltage_saturation : array_like
        Collector-emitter voltage that counts as the bottom of the swing [V], 0 or more.
    voltage_thermal : array_like
        Thermal voltage kT/q [V], above 0; kT/q at 300 K if not given, texts take 0.025 or 0.026.
    convention : str
        `beta plus one`: IE = (beta + 1) IB, as Kirchhoff has it; `beta`: IE = IC = beta IB, as many
        texts have it.
    polarity : str
        `npn` or `pnp`; a PNP circuit is the mirror image, emitter on the other supply.

    Returns
    -------
    BjtPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the base current.

    Notes
    -----
    IE = (VBB - VBE)/(RB/b + RE) with b = beta + 1 or beta.

    References
    ----------
    KUPHALDT-3, ch. 4, BJT biasing calculations; BOYLESTAD-NASHELSKY, ex. 4.1.

    Examples
    --------
    >>> point = bjt_base_resistor_rule(12.0, voltage_base_supply=12.0, resistance_base=240e3,
    ...                                resistance_collector=2.2e3, resistance_emitter=0.0, current_gain=50)
    >>> round(1e6 * point.current_base, 2), round(point.voltage_collector_emitter, 2)
    (47.08, 6.82)
    """
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    vbb = numeric("voltage_base_supply", voltage_base_supply)
    r_b = resistance("resistance_base", resistance_base)
    r_c = resistance("resistance_collector", resistance_collector)
    r_e = resistance("resistance_emitter", resistance_emitter)
    return BjtPoint(
        **ruled(
            vbb, r_b, vcc, r_c, np.asarray(0.0), r_e, current_gain, voltage_base_emitter, voltage_saturation,
            voltage_thermal, convention, polarity, offset=vcc,
        )
    )  # fmt: skip


@formula
def bjt_emitter_bias_rule(
    voltage_supply: ArrayLike,
    *,
    voltage_supply_emitter: ArrayLike,
    resistance_base: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    voltage_base_emitter: ArrayLike = 0.7,
    voltage_saturation: ArrayLike = 0.2,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
    convention: str = "beta plus one",
    polarity: str = "npn",
) -> BjtPoint:
    """Find the operating point between two supplies by the constant-drop rule.

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
    voltage_base_emitter : array_like
        Base-emitter drop [V], 0 or more; the customary 0.7 V if not given.
    voltage_saturation : array_like
        Collector-emitter voltage that counts as the bottom of the swing [V], 0 or more.
    voltage_thermal : array_like
        Thermal voltage kT/q [V], above 0; kT/q at 300 K if not given, texts take 0.025 or 0.026.
    convention : str
        `beta plus one`: IE = (beta + 1) IB, as Kirchhoff has it; `beta`: IE = IC = beta IB, as many
        texts have it.
    polarity : str
        `npn` or `pnp`; a PNP circuit is the mirror image, emitter on the other supply.

    Returns
    -------
    BjtPoint
        Node voltages [V] to the middle ground, currents [A] and small-signal figures.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the base current.

    Notes
    -----
    IE = (VEE - VBE)/(RB/b + RE) with b = beta + 1 or beta.

    References
    ----------
    MALVINO-BATES, ex. 8-6, two-supply emitter bias.

    Examples
    --------
    >>> point = bjt_emitter_bias_rule(15.0, voltage_supply_emitter=15.0, resistance_base=0.0, resistance_emitter=20e3,
    ...                               resistance_collector=10e3, current_gain=float("inf"))
    >>> round(1e3 * point.current_emitter, 3), round(point.voltage_collector, 2)
    (0.715, 7.85)
    """
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    vee = numeric("voltage_supply_emitter", voltage_supply_emitter, least=0)
    r_b = resistance("resistance_base", resistance_base)
    r_c = resistance("resistance_collector", resistance_collector)
    r_e = resistance("resistance_emitter", resistance_emitter)
    return BjtPoint(
        **ruled(
            np.asarray(0.0), r_b, vcc, r_c, -vee, r_e, current_gain, voltage_base_emitter, voltage_saturation,
            voltage_thermal, convention, polarity, offset=np.asarray(0.0),
        )
    )  # fmt: skip


@formula
def bjt_collector_feedback_rule(
    voltage_supply: ArrayLike,
    *,
    resistance_feedback: ArrayLike,
    resistance_collector: ArrayLike,
    resistance_emitter: ArrayLike,
    current_gain: ArrayLike,
    voltage_base_emitter: ArrayLike = 0.7,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
    convention: str = "beta plus one",
    polarity: str = "npn",
) -> BjtPoint:
    """Find the operating point with collector feedback by the constant-drop rule.

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
    voltage_base_emitter : array_like
        Base-emitter drop [V], 0 or more; the customary 0.7 V if not given.
    voltage_thermal : array_like
        Thermal voltage kT/q [V], above 0; kT/q at 300 K if not given, texts take 0.025 or 0.026.
    convention : str
        `beta plus one`: IE = (beta + 1) IB, as Kirchhoff has it; `beta`: IE = IC = beta IB, as many
        texts have it.
    polarity : str
        `npn` or `pnp`; a PNP circuit is the mirror image, emitter on the other supply.

    Returns
    -------
    BjtPoint
        Node voltages [V], currents [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or nothing limits the current.

    Notes
    -----
    IE = (V - VBE)/(RF/b + RC + RE); the collector resistor carries IE.

    References
    ----------
    KUPHALDT-3, ch. 4, collector feedback; FLOYD-DEVICES, ex. 5.8.

    Examples
    --------
    >>> point = bjt_collector_feedback_rule(10.0, resistance_feedback=100e3, resistance_collector=10e3,
    ...                                     resistance_emitter=0.0, current_gain=100, convention="beta")
    >>> round(point.voltage_collector_emitter, 3)
    1.545
    """
    vcc = numeric("voltage_supply", voltage_supply, least=0)
    r_f = resistance("resistance_feedback", resistance_feedback)
    r_c = resistance("resistance_collector", resistance_collector)
    r_e = resistance("resistance_emitter", resistance_emitter)
    beta, b, alpha = by_convention(current_gain, convention)
    drop, v_t = drops(voltage_base_emitter, voltage_thermal)
    limited(r_f, r_c + r_e, beta)
    ie, off = emitter_current(vcc - drop, r_f, r_c + r_e, b)
    # Cut off, an open part decides where the nodes rest: collector, base and emitter hang together on what is left.
    top = np.where(np.isinf(r_c), 0.0, vcc)
    v_c = np.where(off, top, vcc - ie * closed(r_c))
    v_b = np.where(np.isinf(r_f), 0.0, top)
    v_e = np.where(off, np.where(np.isinf(r_e), v_b, 0.0), ie * closed(r_e))
    v_b = np.where(off, v_b, v_e + drop)
    return BjtPoint(
        **bjt_fields(
            voltage_base=v_b,
            voltage_collector=v_c,
            voltage_emitter=v_e,
            current_base=ie / b,
            current_collector=ie * alpha,
            current_emitter=ie,
            current_supply=ie,
            current_transport=ie * alpha,
            current_gain=b * alpha,
            voltage_base_emitter=np.where(off, v_b - v_e, drop),
            voltage_thermal=v_t,
            voltage_collector_supply=vcc,
            voltage_emitter_supply=np.asarray(0.0),
            voltage_saturation=np.asarray(0.2),
            off=off,
            saturated=False,
            follower=False,
            polarity=polarity,
            offset=vcc,
        )
    )
