"""Choose the resistors of a stage for the field-effect transistor in the builder's hand.

VGS(off) and IDSS of one type spread 5 to 12 to 1, so a fixed source resistor
moves the drain from rail to rail. Measure the device (`fit_jfet`), then choose
the source or the drain resistor for the drain voltage that is wanted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AnyNumber, AtLeastZero
from pedalcalc._refusal import must, refused
from pedalcalc._result import Caution, Number, Result, caution_below, quantity
from pedalcalc._units import shown
from pedalcalc.devices import Jfet, Mosfet
from pedalcalc.fet._points import Array
from pedalcalc.laws.transistors import ChannelFigures, channel_of

TOO_SMALL = (
    "fet must pass what {wanted} and voltage_supply ask of it, but does not even with no source resistor; "
    "raise resistance_drain or voltage_gate, or ask for less current"
)

__all__ = ["FetResistors", "resistors_for_current", "trim_drain", "trim_source"]


@dataclass(frozen=True, slots=True, eq=False)
class FetResistors(Result):
    """Resistors of a stage and the point they give; voltages as a meter shows them, first-named pin on its red probe."""

    resistance_source_pin: Number = quantity("Ω", "resistor at the source")
    resistance_drain: Number = quantity("Ω", "drain resistor")
    current_drain: Number = quantity("A", "drain current")
    voltage_gate_source: Number = quantity("V", "gate-source")
    voltage_drain_source: Number = quantity("V", "drain-source")
    voltage_margin: Number = quantity("V", "drain-source above pinch-off")
    region: Any = quantity("text", "region")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def trim_source(
    voltage_drain: AtLeastZero,
    *,
    voltage_supply: AtLeastZero,
    resistance_drain: AboveZero,
    fet: Jfet | Mosfet,
    voltage_gate: AnyNumber = 0.0,
) -> FetResistors:
    """Find the source resistor that puts the drain at a wanted voltage.

    Parameters
    ----------
    voltage_drain : array_like
        Wanted drain voltage to ground [V], at least 0, not above the supply, not on the drain resistor's end.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_drain : array_like
        Drain resistor at hand [Ω], above 0.
    fet : devices.Jfet or devices.Mosfet
        The device, one part; a p-channel circuit is the mirror image, source on the supply.
    voltage_gate : array_like
        Gate voltage, counted from the far end of the source resistor towards the drain supply [V]; 0 if not given.

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
    TypeError
        If `fet` is not such a record, or is a type.

    Notes
    -----
    ID = (V - VD)/RD, VGS = Vt + sqrt(ID/k), RS = (VG - VGS)/ID. Where the
    drain is wanted below c = VG - Vt - VD > 0 the channel is ohmic and VDS = sqrt(c² + ID/k) - c.

    References
    ----------
    NEAMEN, ex. 5.17, self-bias design; DERIVED, the ohmic branch.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> mine = replace(devices.typical(devices.JFET_2N5457), current_drain_zero_bias=3e-3, voltage_gate_source_off=-1.8)
    >>> trim = trim_source(5.0, voltage_supply=9.0, resistance_drain=4.7e3, fet=mine)
    >>> round(trim.resistance_source_pin), round(1e3 * trim.current_drain, 3)
    (989, 0.851)
    """
    law, vdd, r_d, gate = channel_of(fet), voltage_supply, resistance_drain, voltage_gate
    v_d = _wanted(law, vdd, voltage_drain)
    if np.any(bad := v_d >= vdd):
        allowed = "within the supply, off the drain resistor's end, where no current flows"
        raise refused("voltage_drain", allowed, voltage_drain, bad)
    current = (vdd - v_d) / r_d
    square = current / law.strength
    below = gate - law.threshold - v_d
    ohmic = below > 0
    c = np.where(ohmic, below, 0.0)
    v_ds = np.where(ohmic, square / (c + np.sqrt(c**2 + square)), v_d - (gate - law.threshold - np.sqrt(square)))
    v_s = v_d - v_ds
    if np.any(bad := v_s < 0):
        raise must(TOO_SMALL.format(wanted="voltage_drain"), bad)
    return _found(v_s / current, r_d, current, gate - law.threshold - v_s, law, v_ds, ohmic)


def _wanted(law: ChannelFigures, supply: Array, drain: Array) -> Array:
    """Return the wanted drain voltage in n-channel signs."""
    if np.any(bad := drain > supply):
        most = shown(float(np.broadcast_to(supply, bad.shape)[bad][0]), "V")
        raise refused("voltage_drain", f"at most voltage_supply ({most})", drain, bad)
    return np.asarray(drain if law.sign > 0 else supply - drain)


def _found(
    r_s: Array, r_d: Array, current: Array, u: Array, law: ChannelFigures, v_ds: Array, ohmic: Any
) -> FetResistors:
    """Name the point of overdrive `u`, and warn where the channel is ohmic."""
    margin = np.asarray(v_ds - u)
    region = np.full(np.shape(margin), "constant current", dtype="<U16")
    region[np.broadcast_to(ohmic, region.shape)] = "ohmic"
    region[np.isnan(margin)] = "unknown"
    cautions = caution_below(
        "the channel is ohmic at this point: gain is low and the drain cannot swing down; drain above where ohmic ends",
        "ask for a drain voltage further from the source's, or a lower current",
        np.where(np.isnan(margin), np.inf, margin),
        0.0 if np.any(ohmic) else -np.inf,
        "V",
    )
    return FetResistors(
        resistance_source_pin=r_s,
        resistance_drain=r_d,
        current_drain=current,
        voltage_gate_source=law.sign * (u + law.threshold) + 0.0,
        voltage_drain_source=law.sign * v_ds + 0.0,
        voltage_margin=margin,
        region=region,
        cautions=cautions,
    )


@formula
def trim_drain(
    voltage_drain: AtLeastZero,
    *,
    voltage_supply: AtLeastZero,
    resistance_source_pin: AtLeastZero,
    fet: Jfet | Mosfet,
    voltage_gate: AnyNumber = 0.0,
) -> FetResistors:
    """Find the drain resistor that puts the drain at a wanted voltage.

    Parameters
    ----------
    voltage_drain : array_like
        Wanted drain voltage to ground [V], at least 0, not above the supply.
    voltage_supply : array_like
        Supply [V], 0 or more.
    resistance_source_pin : array_like
        Source resistor at hand [Ω], 0 or more.
    fet : devices.Jfet or devices.Mosfet
        The device, one part; a p-channel circuit is the mirror image, source on the supply.
    voltage_gate : array_like
        Gate voltage, counted from the far end of the source resistor towards the drain supply [V]; 0 if not given.

    Returns
    -------
    FetResistors
        Drain resistor [Ω] and the point it gives (inf for a drain at the far end of the source resistor); with a
        `voltage_margin` [V] below 0 the channel is ohmic there: `region` and a caution say so.

    Raises
    ------
    ValueError
        If an argument is outside its range or the device is cut off.
    TypeError
        If `fet` is not such a record, or is a type.

    Notes
    -----
    ID from the source bias quadratic, RD = (V - VD)/ID; from the ohmic channel's where the
    drain is wanted below VG - Vt.

    References
    ----------
    DERIVED, square law and Kirchhoff's laws.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> mine = replace(devices.typical(devices.JFET_2N5457), current_drain_zero_bias=3e-3, voltage_gate_source_off=-1.8)
    >>> trim = trim_drain(5.0, voltage_supply=9.0, resistance_source_pin=1e3, fet=mine)
    >>> round(trim.resistance_drain)
    4735
    """
    law, vdd, r_s = channel_of(fet), voltage_supply, resistance_source_pin
    v_d = _wanted(law, vdd, voltage_drain)
    k, a = law.strength, np.asarray(voltage_gate - law.threshold)
    if np.any(bad := a <= 0):
        least = shown(float(np.broadcast_to(law.threshold, bad.shape)[bad][0]), "V")
        raise refused("voltage_gate", f"above the cut-off of fet ({least})", voltage_gate, bad)
    u = a * 2 / (1 + np.sqrt(1 + 4 * k * a * r_s))
    ohmic = a > v_d
    c, q = np.where(ohmic, a - v_d, 0.0), k * r_s
    steep = 1 + 2 * c * q  # whose square may be beyond what a float holds
    across = 2 * v_d / (steep * (1 + np.sqrt(1 + 4 * (q / steep) * (v_d / steep))))
    current = np.where(ohmic, k * across * (2 * c + across), k * u**2)
    v_ds = np.where(ohmic, across, v_d - current * r_s)
    u = np.where(ohmic, c + across, u)
    with np.errstate(divide="ignore", invalid="ignore"):
        r_d = np.where(current == 0, np.inf, (vdd - v_d) / current)
    return _found(r_s, r_d, current, u, law, v_ds, ohmic)


@formula
def resistors_for_current(
    current_wanted: AboveZero,
    *,
    voltage_supply: AtLeastZero,
    voltage_drain_source: AnyNumber,
    fet: Jfet | Mosfet,
    voltage_gate: AnyNumber = 0.0,
) -> FetResistors:
    """Find source and drain resistor for a wanted current and drain-source voltage.

    Parameters
    ----------
    current_wanted : array_like
        Wanted drain current [A], above 0.
    voltage_supply : array_like
        Supply [V], 0 or more.
    voltage_drain_source : array_like
        Wanted drain-source voltage [V], positive of an n-channel, negative of a p-channel; nearer to 0 than pinch-off the channel is ohmic.
    fet : devices.Jfet or devices.Mosfet
        The device, one part.
    voltage_gate : array_like
        Gate voltage, counted from the far end of the source resistor towards the drain supply [V]; 0 if not given.

    Returns
    -------
    FetResistors
        Both resistors [Ω] and the point they give.

    Raises
    ------
    ValueError
        If an argument is outside its range, if the device does not pass the current, or
        if the supply is too low.
    TypeError
        If `fet` is not such a record, or is a type.

    Notes
    -----
    VGS = Vt + sqrt(ID/k), RS = (VG - VGS)/ID, RD = (V - VDS)/ID - RS; with
    an ohmic channel VGS - Vt = (ID/k + VDS²)/(2 VDS).

    References
    ----------
    NEAMEN, ex. 5.17; BOYLESTAD-NASHELSKY, ex. 7.16; DERIVED, the ohmic branch.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from pedalcalc import devices
    >>> mine = replace(devices.typical(devices.JFET_2N5457), current_drain_zero_bias=5e-3, voltage_gate_source_off=-4.0)
    >>> design = resistors_for_current(2e-3, voltage_supply=10.0, voltage_drain_source=6.0, fet=mine)
    >>> round(design.resistance_source_pin), round(design.resistance_drain)
    (735, 1265)
    """
    law, current, vdd, gate = channel_of(fet), current_wanted, voltage_supply, voltage_gate
    v_ds = np.asarray(law.sign * voltage_drain_source)
    if np.any(bad := v_ds <= 0):
        allowed = "above 0 (of a p-channel below 0), without which no current flows"
        raise refused("voltage_drain_source", allowed, voltage_drain_source, bad)
    square = current / law.strength
    ohmic = v_ds < np.sqrt(square)
    u = np.where(ohmic, (square + v_ds**2) / (2 * v_ds), np.sqrt(square))
    v_s = gate - law.threshold - u
    if np.any(bad := v_s < 0):
        raise must(TOO_SMALL.format(wanted="current_wanted"), bad)
    r_d = (vdd - v_ds - v_s) / current
    if np.any(bad := r_d < 0):
        wanted = shown(float(np.broadcast_to(v_ds + v_s, bad.shape)[bad][0]), "V")
        allowed = f"at least the {wanted} of voltage_drain_source and the source together"
        raise refused("voltage_supply", allowed, vdd, bad)
    return _found(v_s / current, r_d, current, u, law, v_ds, ohmic)
