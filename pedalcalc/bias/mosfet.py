"""Bias of an enhancement MOSFET by the square law.

::

    divider           drain feedback
     +--+-- +V             +V
     Rt Rd                 Rd
     +--|<            +-Rg-+-- d
     Rb Rs            +--|<
     +--+-- 0V           Rs
                         0V

ID = K (VGS - Vth)², K = ID(on)/(VGS(on) - Vth)². Some texts write k/2 for K.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric, one_of
from pedalcalc.bias._fet_points import FetPoint, fet_point
from pedalcalc.bias._points import Array, resistance, scalar, thevenin

__all__ = [
    "mosfet_current",
    "mosfet_divider",
    "mosfet_drain_feedback",
    "mosfet_gate_source_voltage",
    "mosfet_parameter",
    "mosfet_transconductance",
]


def _device(voltage_threshold: ArrayLike, transconductance_parameter: ArrayLike) -> tuple[Array, Array]:
    return (
        numeric("voltage_threshold", voltage_threshold, above=0),
        numeric("transconductance_parameter", transconductance_parameter, above=0),
    )


@formula
def mosfet_parameter(
    current_on: ArrayLike, *, voltage_gate_source_on: ArrayLike, voltage_threshold: ArrayLike
) -> Number:
    """Find K of an enhancement MOSFET from one point of its sheet.

    Parameters
    ----------
    current_on : array_like
        Drain current ID(on) of the sheet [A], above 0.
    voltage_gate_source_on : array_like
        Gate-source voltage of that point, as a size [V], above the threshold.
    voltage_threshold : array_like
        Threshold voltage, as a size [V], above 0.

    Returns
    -------
    float or ndarray
        K [A/V²].

    Raises
    ------
    ValueError
        If an argument is outside its range or the gate voltage does not exceed the threshold.

    Notes
    -----
    K = ID(on)/(VGS(on) - Vth)².

    References
    ----------
    FLOYD-DEVICES, ex. 7.14.

    Examples
    --------
    >>> round(mosfet_parameter(0.5, voltage_gate_source_on=10.0, voltage_threshold=1.0), 5)
    0.00617
    """
    i = numeric("current_on", current_on, above=0)
    v = numeric("voltage_gate_source_on", voltage_gate_source_on, above=0)
    th = numeric("voltage_threshold", voltage_threshold, above=0)
    if np.any(v <= th):
        raise ValueError("voltage_gate_source_on must exceed voltage_threshold")
    return scalar(i / (v - th) ** 2)  # type: ignore[no-any-return]


@formula
def mosfet_current(
    voltage_gate_source: ArrayLike, *, voltage_threshold: ArrayLike, transconductance_parameter: ArrayLike
) -> Number:
    """Find the drain current of an enhancement MOSFET in the constant-current region.

    Parameters
    ----------
    voltage_gate_source : array_like
        Gate-source voltage, positive when it turns the device on [V].
    voltage_threshold : array_like
        Threshold voltage, as a size [V], above 0.
    transconductance_parameter : array_like
        K [A/V²], above 0.

    Returns
    -------
    float or ndarray
        Drain current [A]; 0 below the threshold.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    ID = K (VGS - Vth)².

    References
    ----------
    FLOYD-DEVICES, ex. 7.14.

    Examples
    --------
    >>> round(mosfet_current(5.0, voltage_threshold=1.0, transconductance_parameter=0.5 / 81), 6)
    0.098765
    """
    v = numeric("voltage_gate_source", voltage_gate_source)
    th, k = _device(voltage_threshold, transconductance_parameter)
    return scalar(k * np.maximum(v - th, 0.0) ** 2)  # type: ignore[no-any-return]


@formula
def mosfet_gate_source_voltage(
    current_drain: ArrayLike, *, voltage_threshold: ArrayLike, transconductance_parameter: ArrayLike
) -> Number:
    """Find the gate-source voltage that gives a drain current in the constant-current region.

    Parameters
    ----------
    current_drain : array_like
        Drain current [A], 0 or more.
    voltage_threshold : array_like
        Threshold voltage, as a size [V], above 0.
    transconductance_parameter : array_like
        K of ID = K (VGS - Vth)² [A/V²], above 0; half of the k that some texts use.

    Returns
    -------
    float or ndarray
        Gate-source voltage, positive when it turns the device on [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    VGS = Vth + sqrt(ID/K). With it and the gate voltage, which must be the larger, `source_resistor`
    finds the source resistor.

    References
    ----------
    DERIVED, the inverse of `mosfet_current`.

    Examples
    --------
    >>> volts = mosfet_gate_source_voltage(0.4e-3, voltage_threshold=0.7, transconductance_parameter=1.6e-3)
    >>> round(volts, 6)
    1.2
    >>> from pedalcalc.bias import source_resistor
    >>> round(source_resistor(0.4e-3, voltage_gate_source=volts, voltage_gate=3.0))
    4500
    """
    current = numeric("current_drain", current_drain, least=0)
    th, k = _device(voltage_threshold, transconductance_parameter)
    return scalar(th + np.sqrt(current / k))  # type: ignore[no-any-return]


@formula
def mosfet_transconductance(
    voltage_gate_source: ArrayLike, *, voltage_threshold: ArrayLike, transconductance_parameter: ArrayLike
) -> Number:
    """Find the transconductance of an enhancement MOSFET in the constant-current region.

    Parameters
    ----------
    voltage_gate_source : array_like
        Gate-source voltage, positive when it turns the device on [V].
    voltage_threshold : array_like
        Threshold voltage, as a size [V], above 0.
    transconductance_parameter : array_like
        K of ID = K (VGS - Vth)² [A/V²], above 0; half of the k that some texts use.

    Returns
    -------
    float or ndarray
        gm [S]; 0 below the threshold.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    gm = 2 K (VGS - Vth) = 2 sqrt(K ID).

    References
    ----------
    DERIVED, the slope of `mosfet_current`.

    Examples
    --------
    >>> round(1e3 * mosfet_transconductance(6.4, voltage_threshold=3.0, transconductance_parameter=0.24e-3), 3)
    1.632
    """
    v = numeric("voltage_gate_source", voltage_gate_source)
    th, k = _device(voltage_threshold, transconductance_parameter)
    return scalar(2 * k * np.maximum(v - th, 0.0))  # type: ignore[no-any-return]


@formula
def mosfet_divider(
    voltage_supply: ArrayLike,
    *,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike,
    voltage_threshold: ArrayLike,
    transconductance_parameter: ArrayLike,
    polarity: str = "n",
) -> FetPoint:
    """Find the operating point of an enhancement MOSFET with its gate on a divider.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_top : array_like
        Divider resistor between gate and supply (gate and ground of a p-channel) [Ω], 0 to inf.
    resistance_bottom : array_like
        Divider resistor between gate and ground (gate and supply of a p-channel) [Ω], 0 to inf.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    resistance_source_pin : array_like
        Resistor at the source [Ω], 0 to inf.
    voltage_threshold : array_like
        Gate threshold voltage, as a size [V], above 0.
    transconductance_parameter : array_like
        K of ID = K (VGS - Vth)² [A/V²], above 0; half of the k that some texts use.
    polarity : str
        `n` or `p` channel; a p-channel circuit is the mirror image, source on the supply.

    Returns
    -------
    FetPoint
        Node voltages [V], current [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or both divider resistors are 0.

    Notes
    -----
    ID = K (VG - ID RS - Vth)², the root with VGS above Vth; the ohmic region by its own quadratic.

    References
    ----------
    FLOYD-DEVICES, ex. 7.16; SEDRA-SMITH, ex. 4.5, with a source resistor.

    Examples
    --------
    >>> point = mosfet_divider(10.0, resistance_top=10e6, resistance_bottom=10e6, resistance_drain=6e3,
    ...                        resistance_source_pin=6e3, voltage_threshold=1.0, transconductance_parameter=0.5e-3)
    >>> round(1e3 * point.current_drain, 6), round(point.voltage_drain, 6)
    (0.5, 7.0)
    """
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    top, bottom = resistance("resistance_top", resistance_top), resistance("resistance_bottom", resistance_bottom)
    gate, _ = thevenin(vdd, top, bottom)
    th, k = _device(voltage_threshold, transconductance_parameter)
    return fet_point(
        supply=vdd,
        gate=gate,
        threshold=th,
        k=k,
        r_d=resistance("resistance_drain", resistance_drain),
        r_s=resistance("resistance_source_pin", resistance_source_pin),
        current_divider=vdd / (top + bottom),
        sign=1.0 if one_of("polarity", polarity, ("n", "p")) == "n" else -1.0,
        jfet=False,
    )


@formula
def mosfet_drain_feedback(
    voltage_supply: ArrayLike,
    *,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike,
    voltage_threshold: ArrayLike,
    transconductance_parameter: ArrayLike,
    polarity: str = "n",
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
    voltage_threshold : array_like
        Gate threshold voltage, as a size [V], above 0.
    transconductance_parameter : array_like
        K of ID = K (VGS - Vth)² [A/V²], above 0; half of the k that some texts use.
    polarity : str
        `n` or `p` channel; a p-channel circuit is the mirror image, source on the supply.

    Returns
    -------
    FetPoint
        Node voltages [V], current [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    ID = K (V - ID (RD + RS) - Vth)²: the square law with RD + RS as source
    resistor and the gate on the supply. It never turns ohmic.

    References
    ----------
    FLOYD-DEVICES, ex. 7.17, drain feedback; DERIVED, the root.

    Examples
    --------
    >>> point = mosfet_drain_feedback(9.0, resistance_drain=10e3, resistance_source_pin=0.0, voltage_threshold=2.1,
    ...                               transconductance_parameter=0.07)
    >>> round(point.voltage_drain, 2), point.region
    (2.2, 'constant current')
    """
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    th, k = _device(voltage_threshold, transconductance_parameter)
    r_d = resistance("resistance_drain", resistance_drain)
    r_s = resistance("resistance_source_pin", resistance_source_pin)
    sign = 1.0 if one_of("polarity", polarity, ("n", "p")) == "n" else -1.0
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
        threshold=th,
        k=k,
        r_d=r_d,
        r_s=r_s,
        current_divider=np.asarray(0.0),
        sign=sign,
        jfet=False,
    )
