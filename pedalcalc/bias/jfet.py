"""Bias of a JFET or depletion MOSFET by the square law.

::

    source bias    divider
         +V         +--+-- +V
         Rd         Rt Rd
    g--|<-- d       +--|<
    Rg   Rs         Rb Rs
    0V   0V         +--+-- 0V

ID = IDSS (1 - VGS/VGS(off))² above pinch-off, the quadratic of the ohmic region
below. Left out: the rise of current with drain voltage, the gate's leakage, and
temperature, which moves IDSS and VGS(off) against each other.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric
from pedalcalc.bias._fet_points import FetPoint, fet_point, off_voltage
from pedalcalc.bias._points import Array, resistance, scalar, thevenin

__all__ = [
    "jfet_current",
    "jfet_divider",
    "jfet_drain_voltage_linear",
    "jfet_gate_source_voltage",
    "jfet_source_bias",
    "jfet_transconductance",
    "jfet_transconductance_zero_bias",
]


def idss(current_drain_zero_bias: ArrayLike) -> Array:
    """Return a checked IDSS."""
    return numeric("current_drain_zero_bias", current_drain_zero_bias, above=0)


@formula
def jfet_source_bias(
    voltage_supply: ArrayLike,
    *,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike,
    current_drain_zero_bias: ArrayLike,
    voltage_gate_source_off: ArrayLike,
    voltage_gate: ArrayLike = 0.0,
    polarity: str = "n",
) -> FetPoint:
    """Find the operating point of a JFET with a source resistor and a fixed gate voltage.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    resistance_source_pin : array_like
        Resistor at the source [Ω], 0 to inf.
    current_drain_zero_bias : array_like
        IDSS, the drain current with gate and source joined [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V]: below 0 for an n-channel, above 0 for a p-channel.
    voltage_gate : array_like
        Gate voltage, counted from the far end of the source resistor [V]; 0 (a gate leak resistor) if not given.
    polarity : str
        `n` or `p` channel; a p-channel circuit is the mirror image, source on the supply.

    Returns
    -------
    FetPoint
        Node voltages [V], current [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range or VGS(off) has the sign of the other polarity.

    Notes
    -----
    With k = IDSS/VGS(off)² and a = VG - VGS(off):
    ID = k a² (2/(1 + sqrt(1 + 4 k a RS)))², the root with VGS above VGS(off).

    References
    ----------
    FLOYD-DEVICES, ex. 7.9 and 8.4; BOYLESTAD-NASHELSKY, ex. 7.2; DERIVED, the stable form of the root.

    Examples
    --------
    >>> point = jfet_source_bias(12.0, resistance_drain=3.3e3, resistance_source_pin=910.0,
    ...                          current_drain_zero_bias=12e-3, voltage_gate_source_off=-3.0)
    >>> round(1e3 * point.current_drain, 2), point.region
    (1.96, 'constant current')
    """
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    gate = numeric("voltage_gate", voltage_gate)
    off, sign = off_voltage(voltage_gate_source_off, polarity)
    return fet_point(
        supply=vdd,
        gate=gate,
        threshold=off,
        k=idss(current_drain_zero_bias) / off**2,
        r_d=resistance("resistance_drain", resistance_drain),
        r_s=resistance("resistance_source_pin", resistance_source_pin),
        current_divider=np.asarray(0.0),
        sign=sign,
        jfet=True,
    )


@formula
def jfet_divider(
    voltage_supply: ArrayLike,
    *,
    resistance_top: ArrayLike,
    resistance_bottom: ArrayLike,
    resistance_drain: ArrayLike,
    resistance_source_pin: ArrayLike,
    current_drain_zero_bias: ArrayLike,
    voltage_gate_source_off: ArrayLike,
    polarity: str = "n",
) -> FetPoint:
    """Find the operating point of a JFET with its gate on a divider.

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
    current_drain_zero_bias : array_like
        IDSS, the drain current with gate and source joined [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V]: below 0 for an n-channel, above 0 for a p-channel.
    polarity : str
        `n` or `p` channel; a p-channel circuit is the mirror image, source on the supply.

    Returns
    -------
    FetPoint
        Node voltages [V], current [A] and small-signal figures of the broadcast shape.

    Raises
    ------
    ValueError
        If an argument is outside its range, both divider resistors are 0, or VGS(off) has
        the sign of the other polarity.

    Notes
    -----
    As `jfet_source_bias` with VG = V R2/(R1 + R2).

    References
    ----------
    FLOYD-DEVICES, ex. 7.11; BOYLESTAD-NASHELSKY, ex. 7.7.

    Examples
    --------
    >>> point = jfet_divider(9.0, resistance_top=2.2e6, resistance_bottom=1e6, resistance_drain=4.7e3,
    ...                      resistance_source_pin=4.7e3, current_drain_zero_bias=3e-3, voltage_gate_source_off=-1.8)
    >>> round(point.voltage_source_pin, 2), point.region
    (3.69, 'constant current')
    """
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    top, bottom = resistance("resistance_top", resistance_top), resistance("resistance_bottom", resistance_bottom)
    gate, _ = thevenin(vdd, top, bottom)
    off, sign = off_voltage(voltage_gate_source_off, polarity)
    return fet_point(
        supply=vdd,
        gate=gate,
        threshold=off,
        k=idss(current_drain_zero_bias) / off**2,
        r_d=resistance("resistance_drain", resistance_drain),
        r_s=resistance("resistance_source_pin", resistance_source_pin),
        current_divider=vdd / (top + bottom),
        sign=sign,
        jfet=True,
    )


@formula
def jfet_current(
    voltage_gate_source: ArrayLike, *, current_drain_zero_bias: ArrayLike, voltage_gate_source_off: ArrayLike
) -> Number:
    """Find the drain current above pinch-off by the square law.

    Parameters
    ----------
    voltage_gate_source : array_like
        Gate-source voltage [V], any sign.
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V], not 0; its sign is that of the device.

    Returns
    -------
    float or ndarray
        Drain current [A]; 0 beyond cut-off.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    ID = IDSS (1 - VGS/VGS(off))².

    References
    ----------
    FLOYD-DEVICES, ex. 7.3.

    Examples
    --------
    >>> round(1e3 * jfet_current(-4.0, current_drain_zero_bias=9e-3, voltage_gate_source_off=-8.0), 3)
    2.25
    """
    v = numeric("voltage_gate_source", voltage_gate_source)
    left = 1 - v / _not_zero(voltage_gate_source_off)
    return scalar(idss(current_drain_zero_bias) * np.maximum(left, 0.0) ** 2)  # type: ignore[no-any-return]


def _not_zero(voltage_gate_source_off: ArrayLike) -> Array:
    off = numeric("voltage_gate_source_off", voltage_gate_source_off)
    if np.any(off == 0):
        raise ValueError("voltage_gate_source_off must not be 0")
    return off


@formula
def jfet_gate_source_voltage(
    current_drain: ArrayLike, *, current_drain_zero_bias: ArrayLike, voltage_gate_source_off: ArrayLike
) -> Number:
    """Find the gate-source voltage that gives a drain current above pinch-off.

    Parameters
    ----------
    current_drain : array_like
        Drain current [A], 0 or more; above IDSS the voltage runs past zero.
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V], not 0; its sign is that of the device.

    Returns
    -------
    float or ndarray
        Gate-source voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    VGS = VGS(off) (1 - sqrt(ID/IDSS)).

    References
    ----------
    NEAMEN, ex. 5.17.

    Examples
    --------
    >>> round(jfet_gate_source_voltage(2e-3, current_drain_zero_bias=5e-3, voltage_gate_source_off=-4.0), 2)
    -1.47
    """
    i = numeric("current_drain", current_drain, least=0)
    return scalar(_not_zero(voltage_gate_source_off) * (1 - np.sqrt(i / idss(current_drain_zero_bias))))  # type: ignore[no-any-return]


@formula
def jfet_transconductance_zero_bias(
    current_drain_zero_bias: ArrayLike, *, voltage_gate_source_off: ArrayLike
) -> Number:
    """Find the transconductance with gate and source joined.

    Parameters
    ----------
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V], not 0, either sign.

    Returns
    -------
    float or ndarray
        gm0 [S].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    gm0 = 2 IDSS/|VGS(off)|.

    References
    ----------
    BOYLESTAD-NASHELSKY, ex. 8.2.

    Examples
    --------
    >>> round(1e3 * jfet_transconductance_zero_bias(8e-3, voltage_gate_source_off=-4.0), 6)
    4.0
    """
    off = _not_zero(voltage_gate_source_off)
    return scalar(2 * idss(current_drain_zero_bias) / np.abs(off))  # type: ignore[no-any-return]


@formula
def jfet_transconductance(
    voltage_gate_source: ArrayLike, *, transconductance_zero_bias: ArrayLike, voltage_gate_source_off: ArrayLike
) -> Number:
    """Find the transconductance at a gate-source voltage.

    Parameters
    ----------
    voltage_gate_source : array_like
        Gate-source voltage [V], any sign.
    transconductance_zero_bias : array_like
        gm0 [S], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V], not 0; its sign is that of the device.

    Returns
    -------
    float or ndarray
        gm [S]; 0 beyond cut-off.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    gm = gm0 (1 - VGS/VGS(off)).

    References
    ----------
    FLOYD-DEVICES, ex. 7.4.

    Examples
    --------
    >>> round(1e3 * jfet_transconductance(-4.0, transconductance_zero_bias=5e-3, voltage_gate_source_off=-6.0), 3)
    1.667
    """
    v = numeric("voltage_gate_source", voltage_gate_source)
    g = numeric("transconductance_zero_bias", transconductance_zero_bias, above=0)
    return scalar(g * np.maximum(1 - v / _not_zero(voltage_gate_source_off), 0.0))  # type: ignore[no-any-return]


@formula
def jfet_drain_voltage_linear(
    voltage_supply: ArrayLike,
    *,
    resistance_drain: ArrayLike,
    current_drain_zero_bias: ArrayLike,
    voltage_gate_source_off: ArrayLike,
) -> Number:
    """Find the drain voltage of a hard-on JFET by the linear-resistor rule.

    The rule of a textbook that takes the whole ohmic region at zero bias as a
    resistor |VGS(off)|/IDSS. The square law gives about half that resistance
    near zero drain voltage: `jfet_source_bias` has the exact answer.

    Parameters
    ----------
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor [Ω], 0 to inf.
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V], not 0, either sign.

    Returns
    -------
    float or ndarray
        Drain voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    VD = V RDS/(RDS + RD), RDS = |VGS(off)|/IDSS.

    References
    ----------
    MALVINO-BATES, ex. 13-5.

    Examples
    --------
    >>> round(jfet_drain_voltage_linear(10.0, resistance_drain=10e3, current_drain_zero_bias=10e-3,
    ...                                 voltage_gate_source_off=-4.0), 2)
    0.38
    """
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    r_d = resistance("resistance_drain", resistance_drain)
    r_ds = np.abs(_not_zero(voltage_gate_source_off)) / idss(current_drain_zero_bias)
    return scalar(vdd / (1 + r_d / r_ds))  # type: ignore[no-any-return]
