"""Choose the resistors of a JFET stage for the device in the builder's hand.

VGS(off) and IDSS of one type spread 5 to 12 to 1, so a fixed source resistor
moves the drain from rail to rail. Measure the device (`pedalcalc.bias.jfet_measure`),
then choose the source or the drain resistor for the drain voltage that is wanted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Caution, Number, Result, caution_below, formula, numeric, quantity
from pedalcalc.bias._fet_points import off_voltage
from pedalcalc.bias._points import Array, resistance, scalar
from pedalcalc.bias.jfet import idss

TOO_SMALL = (
    "current_drain_zero_bias is too small: the device does not pass the wanted current "
    "even with no source resistor; raise resistance_drain or lower the wanted current"
)

__all__ = [
    "FetResistors",
    "jfet_midpoint_rule",
    "jfet_resistors_for_current",
    "jfet_source_rule",
    "jfet_trim_drain",
    "jfet_trim_source",
    "load_line_voltage",
    "source_resistor",
]


@dataclass(frozen=True, slots=True, eq=False)
class FetResistors(Result):
    """Resistors of a JFET stage and the point they give."""

    resistance_source_pin: Number = quantity("Ω", "resistor at the source")
    resistance_drain: Number = quantity("Ω", "drain resistor")
    current_drain: Number = quantity("A", "drain current")
    voltage_gate_source: Number = quantity("V", "gate-source")
    voltage_drain_source: Number = quantity("V", "drain-source")
    voltage_margin: Number = quantity("V", "drain-source above pinch-off")
    region: Any = quantity("text", "region")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def jfet_trim_source(
    voltage_drain: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    resistance_drain: ArrayLike,
    current_drain_zero_bias: ArrayLike,
    voltage_gate_source_off: ArrayLike,
    voltage_gate: ArrayLike = 0.0,
) -> FetResistors:
    """Find the source resistor that puts the drain at a wanted voltage.

    Parameters
    ----------
    voltage_drain : array_like
        Wanted drain voltage to ground [V], 0 or more and below the supply.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor at hand [Ω], above 0, finite.
    current_drain_zero_bias : array_like
        IDSS of the device [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) of the device [V], below 0 (for a p-channel turn every voltage's sign).
    voltage_gate : array_like
        Gate voltage [V]; 0 if not given.

    Returns
    -------
    FetResistors
        Source resistor [Ω] and the point it gives; with a `voltage_margin` [V] below 0
        the channel is ohmic there: `region` and a caution say so.

    Raises
    ------
    ValueError
        If an argument is outside its range, or the drain resistor asks for more than
        the device gives with no source resistor at all: raise the drain resistor.

    Notes
    -----
    ID = (V - VD)/RD, VGS = VGS(off)(1 - sqrt(ID/IDSS)), RS = (VG - VGS)/ID. Where the
    drain is wanted below c = VG - VGS(off) - VD > 0 the channel is ohmic and
    VDS = sqrt(c² + ID/k) - c, k = IDSS/VGS(off)².

    References
    ----------
    NEAMEN, ex. 5.17, self-bias design; DERIVED, the ohmic branch.

    Examples
    --------
    >>> trim = jfet_trim_source(5.0, voltage_supply=9.0, resistance_drain=4.7e3, current_drain_zero_bias=3e-3,
    ...                         voltage_gate_source_off=-1.8)
    >>> round(trim.resistance_source_pin), round(1e3 * trim.current_drain, 3)
    (989, 0.851)
    """
    v_d = numeric("voltage_drain", voltage_drain, least=0)
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    r_d = numeric("resistance_drain", resistance_drain, above=0, infinity=True)
    if np.any(v_d >= vdd) or np.any(np.isinf(r_d)):
        raise ValueError(
            "voltage_drain must be below voltage_supply and resistance_drain finite: no current would flow"
        )
    i_dss, gate = idss(current_drain_zero_bias), numeric("voltage_gate", voltage_gate)
    off, _ = off_voltage(voltage_gate_source_off, "n")
    current = (vdd - v_d) / r_d
    square = current / (i_dss / off**2)
    below = gate - off - v_d
    ohmic = below > 0
    c = np.where(ohmic, below, 0.0)
    v_ds = np.where(ohmic, square / (c + np.sqrt(c**2 + square)), v_d - (gate - off - np.sqrt(square)))
    v_s = v_d - v_ds
    if np.any(v_s < 0):
        raise ValueError(TOO_SMALL)
    return _found(v_s / current, r_d, current, gate - off - v_s, off, v_ds, ohmic)


def _found(r_s: Array, r_d: Array, current: Array, u: Array, off: Array, v_ds: Array, ohmic: Any) -> FetResistors:
    """Name the point of overdrive `u`, and warn where the channel is ohmic."""
    margin = np.asarray(v_ds - u)
    region = np.full(np.shape(margin), "constant current", dtype="<U16")
    region[np.broadcast_to(ohmic, region.shape)] = "ohmic"
    region[np.isnan(margin)] = "unknown"
    cautions = caution_below(
        "the channel is ohmic at this point: gain is low and the drain cannot swing down",
        "ask for a higher drain voltage or a lower current",
        np.where(np.isnan(margin), np.inf, margin),
        0.0 if np.any(ohmic) else -np.inf,
        "V",
    )
    same = 0 * margin
    fields = (r_s + same, r_d + same, current + same, u + off + same, v_ds + same, margin, region)
    return FetResistors(*[*(scalar(part) for part in fields), cautions])


@formula
def jfet_trim_drain(
    voltage_drain: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    resistance_source_pin: ArrayLike,
    current_drain_zero_bias: ArrayLike,
    voltage_gate_source_off: ArrayLike,
    voltage_gate: ArrayLike = 0.0,
) -> FetResistors:
    """Find the drain resistor that puts the drain at a wanted voltage.

    Parameters
    ----------
    voltage_drain : array_like
        Wanted drain voltage to ground [V], 0 or more, at most the supply.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_source_pin : array_like
        Source resistor at hand [Ω], 0 or more, finite.
    current_drain_zero_bias : array_like
        IDSS of the device [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) of the device [V], below 0.
    voltage_gate : array_like
        Gate voltage [V]; 0 if not given.

    Returns
    -------
    FetResistors
        Drain resistor [Ω] and the point it gives (inf for a drain at 0 V); with a
        `voltage_margin` [V] below 0 the channel is ohmic there: `region` and a caution say so.

    Raises
    ------
    ValueError
        If an argument is outside its range or the device is cut off.

    Notes
    -----
    ID from the source bias quadratic, RD = (V - VD)/ID; from the ohmic channel's where the
    drain is wanted below VG - VGS(off).

    References
    ----------
    DERIVED, square law and Kirchhoff's laws.

    Examples
    --------
    >>> trim = jfet_trim_drain(5.0, voltage_supply=9.0, resistance_source_pin=1e3, current_drain_zero_bias=3e-3,
    ...                        voltage_gate_source_off=-1.8)
    >>> round(trim.resistance_drain)
    4735
    """
    v_d = numeric("voltage_drain", voltage_drain, least=0)
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    r_s = numeric("resistance_source_pin", resistance_source_pin, least=0, infinity=True)
    i_dss, gate = idss(current_drain_zero_bias), numeric("voltage_gate", voltage_gate)
    off, _ = off_voltage(voltage_gate_source_off, "n")
    a = gate - off
    if np.any(a <= 0) or np.any(np.isinf(r_s)):
        raise ValueError("voltage_gate must be above voltage_gate_source_off and resistance_source_pin finite")
    if np.any(v_d > vdd):
        raise ValueError("voltage_drain must not exceed voltage_supply")
    k = i_dss / off**2
    u = a * 2 / (1 + np.sqrt(1 + 4 * k * a * r_s))
    ohmic = a > v_d
    c, q = np.where(ohmic, a - v_d, 0.0), k * r_s
    across = 2 * v_d / (1 + 2 * c * q + np.sqrt((1 + 2 * c * q) ** 2 + 4 * q * v_d))
    current = np.where(ohmic, k * across * (2 * c + across), k * u**2)
    v_ds = np.where(ohmic, across, v_d - current * r_s)
    u = np.where(ohmic, c + across, u)
    with np.errstate(divide="ignore", invalid="ignore"):
        r_d = np.where(current == 0, np.inf, (vdd - v_d) / current)
    return _found(r_s, r_d, current, u, off, v_ds, ohmic)


@formula
def jfet_resistors_for_current(
    current_wanted: ArrayLike,
    *,
    voltage_supply: ArrayLike,
    voltage_drain_source: ArrayLike,
    current_drain_zero_bias: ArrayLike,
    voltage_gate_source_off: ArrayLike,
    voltage_gate: ArrayLike = 0.0,
) -> FetResistors:
    """Find source and drain resistor for a wanted current and drain-source voltage.

    Parameters
    ----------
    current_wanted : array_like
        Wanted drain current [A], above 0.
    voltage_supply : array_like
        Supply [V], 0 or more.
    voltage_drain_source : array_like
        Wanted drain-source voltage [V], above 0; under pinch-off the channel is ohmic.
    current_drain_zero_bias : array_like
        IDSS of the device [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) of the device [V], below 0.
    voltage_gate : array_like
        Gate voltage [V]; 0 if not given.

    Returns
    -------
    FetResistors
        Both resistors [Ω] and the point they give.

    Raises
    ------
    ValueError
        If an argument is outside its range, if the device does not pass the current, or
        if the supply is too low.

    Notes
    -----
    VGS = VGS(off)(1 - sqrt(ID/IDSS)), RS = (VG - VGS)/ID, RD = (V - VDS)/ID - RS; with
    an ohmic channel VGS - VGS(off) = (ID/k + VDS²)/(2 VDS), k = IDSS/VGS(off)².

    References
    ----------
    NEAMEN, ex. 5.17; DERIVED, the ohmic branch.

    Examples
    --------
    >>> design = jfet_resistors_for_current(2e-3, voltage_supply=10.0, voltage_drain_source=6.0,
    ...                                     current_drain_zero_bias=5e-3, voltage_gate_source_off=-4.0)
    >>> round(design.resistance_source_pin), round(design.resistance_drain)
    (735, 1265)
    """
    current = numeric("current_wanted", current_wanted, above=0)
    vdd = numeric("voltage_supply", voltage_supply, least=0)
    v_ds = numeric("voltage_drain_source", voltage_drain_source)
    i_dss, gate = idss(current_drain_zero_bias), numeric("voltage_gate", voltage_gate)
    off, _ = off_voltage(voltage_gate_source_off, "n")
    if np.any(v_ds <= 0):
        raise ValueError("voltage_drain_source must be above 0: without it no current flows")
    square = current / (i_dss / off**2)
    ohmic = v_ds < np.sqrt(square)
    u = np.where(ohmic, (square + v_ds**2) / (2 * v_ds), np.sqrt(square))
    v_s = gate - off - u
    if np.any(v_s < 0):
        raise ValueError(TOO_SMALL)
    r_d = (vdd - v_ds - v_s) / current
    if np.any(r_d < 0):
        raise ValueError("voltage_drain_source is more than the supply leaves above the source")
    return _found(v_s / current, r_d, current, u, off, v_ds, ohmic)


@formula
def source_resistor(
    current_drain: ArrayLike, *, voltage_gate_source: ArrayLike, voltage_gate: ArrayLike = 0.0
) -> Number:
    """Find the source resistor from drain current and gate-source voltage.

    Parameters
    ----------
    current_drain : array_like
        Drain current [A], above 0.
    voltage_gate_source : array_like
        Gate-source voltage [V], at most the gate voltage.
    voltage_gate : array_like
        Gate voltage [V]; 0 if not given.

    Returns
    -------
    float or ndarray
        Source resistor [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range or the source would stand below ground.

    Notes
    -----
    RS = (VG - VGS)/ID.

    References
    ----------
    BOYLESTAD-NASHELSKY, ex. 7.16.

    Examples
    --------
    >>> round(source_resistor(2e-3, voltage_gate_source=-1.5))
    750
    """
    i = numeric("current_drain", current_drain, above=0)
    v = numeric("voltage_gate", voltage_gate) - numeric("voltage_gate_source", voltage_gate_source)
    if np.any(v < 0):
        raise ValueError("voltage_gate_source must not exceed voltage_gate: the source stands at or above ground")
    return scalar(v / i)  # type: ignore[no-any-return]


@formula
def jfet_source_rule(current_drain_zero_bias: ArrayLike, *, voltage_gate_source_off: ArrayLike) -> Number:
    """Find a source resistor by the rule RS = |VGS(off)|/IDSS.

    Parameters
    ----------
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V], below 0.

    Returns
    -------
    float or ndarray
        Source resistor [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    The square law then settles at (3 - sqrt 5)/2 = 38 % of IDSS.

    References
    ----------
    MALVINO-BATES, ex. 13-7.

    Examples
    --------
    >>> round(jfet_source_rule(20e-3, voltage_gate_source_off=-6.0))
    300
    """
    off, _ = off_voltage(voltage_gate_source_off, "n")
    return scalar(-off / idss(current_drain_zero_bias))  # type: ignore[no-any-return]


@formula
def jfet_midpoint_rule(current_drain_zero_bias: ArrayLike, *, voltage_gate_source_off: ArrayLike) -> Number:
    """Find a source resistor for half of IDSS by the rule VGS = VGS(off)/3.4.

    Parameters
    ----------
    current_drain_zero_bias : array_like
        IDSS [A], above 0.
    voltage_gate_source_off : array_like
        VGS(off) [V], below 0.

    Returns
    -------
    float or ndarray
        Source resistor [Ω].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    RS = (|VGS(off)|/3.4)/(IDSS/2). Exactly, 3.4 is 1/(1 - 1/sqrt 2) = 3.414:
    `jfet_resistors_for_current` has that.

    References
    ----------
    FLOYD-DEVICES, ex. 7.9.

    Examples
    --------
    >>> round(jfet_midpoint_rule(12e-3, voltage_gate_source_off=-3.0), 2)
    147.06
    """
    off, _ = off_voltage(voltage_gate_source_off, "n")
    return scalar((-off / 3.4) / (idss(current_drain_zero_bias) / 2))  # type: ignore[no-any-return]


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
        Drain (or collector) resistor [Ω], 0 or more, finite.
    resistance_source_pin : array_like
        Source (or emitter) resistor [Ω], 0 or more, finite; none if not given.

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
