"""Voltage at which charge and discharge of the hold capacitor balance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, Result, elementwise_root, formula, numeric, one_of, quantity
from pedalcalc.sidechain._detector import Array, Detector, detector, inverse
from pedalcalc.sidechain.charging import RECTIFIERS, SHARES, charging_shape


@dataclass(frozen=True, slots=True, eq=False)
class HoldLevel(Result):
    """Result of `hold_equilibrium`; every field has the broadcast shape of the inputs."""

    voltage_hold: Number = quantity("V", "held voltage")
    share_peak: Number = quantity("1", "held voltage over the peak")
    loss_db: Number = quantity("dB", "held voltage against the peak")
    conduction_degrees: Number = quantity("°", "half the conduction angle")
    current_release: Number = quantity("A", "current drawn from the capacitor")
    conducts: bool | NDArray[np.bool_] = quantity("bool", "the rectifier conducts")


@dataclass(frozen=True, slots=True, eq=False)
class DcHoldLevel(Result):
    """Result of `dc_equilibrium`; every field has the broadcast shape of the inputs."""

    voltage_hold: Number = quantity("V", "held voltage")
    time_constant: Number = quantity("s", "time constant while charging")
    conducts: bool | NDArray[np.bool_] = quantity("bool", "the drive charges the capacitor")


def balance(values: Detector, rectifier: str) -> Array:
    """Return held voltage over peak, 0 where the signal or what is left of it stays under the threshold."""
    unknown = values.unknown
    live = values.peak > values.diode
    peak = np.where(live, values.peak, 1.0)
    threshold = np.where(live, values.diode / peak, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        charge = np.where(values.release == 0, 0.0, 1 / (1 + values.attack / values.release))
        charge = np.where(np.isinf(values.attack), 0.0, np.where(np.isinf(values.release), 1.0, charge))
        drain = np.where(np.isinf(values.attack) | (values.release == 0), 1.0, 1 / (1 + values.release / values.attack))
        both = inverse(inverse(values.attack) + inverse(values.release))
        leak = np.where(values.leakage == 0, 0.0, values.leakage * both / peak)

    def surplus(share: Array, threshold: Array, charge: Array, drain: Array, leak: Array) -> Array:
        current = charging_shape(np.ones_like(share), share + threshold)
        return np.asarray(SHARES[rectifier] * charge * current - drain * share - leak)

    nothing = np.zeros_like(threshold)
    live = live & (unknown | (surplus(nothing, threshold, charge, drain, leak) > 0))
    leak = np.where(live, leak, 0.0)
    share = elementwise_root(surplus, nothing, 1 - threshold, threshold, charge, drain, leak)
    return np.where(unknown, np.nan, np.where(live, share, 0.0))


@formula
def hold_equilibrium(
    voltage_peak: ArrayLike,
    *,
    resistance_attack: ArrayLike,
    resistance_release: ArrayLike,
    rectifier: str,
    voltage_diode: ArrayLike = 0.0,
    resistance_load: ArrayLike = np.inf,
    current_leakage: ArrayLike = 0.0,
) -> HoldLevel:
    """Find the voltage that a steady sine keeps on the hold capacitor.

    The capacitor is taken as large enough that its voltage hardly moves within a cycle; see
    `detector_ripple` for how much it does.

    Parameters
    ----------
    voltage_peak : array_like
        Peak A of the sine ahead of the rectifier [V], at least 0.
    resistance_attack : array_like
        Resistance R_a from rectifier to capacitor [Ω], 0 to infinity.
    resistance_release : array_like
        Resistance R_r across the capacitor [Ω], 0 to infinity.
    rectifier : str
        "full" or "half".
    voltage_diode : array_like
        Drop of a plain rectifier diode [V]: a threshold; 0, a precision rectifier, unless stated.
    resistance_load : array_like
        Further resistance from the capacitor to ground, such as a meter [Ω]; open unless stated.
    current_leakage : array_like
        Constant current out of the capacitor [A], at least 0; none unless stated.

    Returns
    -------
    HoldLevel
        Held voltage, its share of the peak and the loss in decibels, half the conduction angle, the
        current drawn from the capacitor, and whether the rectifier conducts at all. Where less
        comes in than leaks away the voltage is 0; it never goes below.

    Raises
    ------
    ValueError
        If a value is out of range, or nothing sets the voltage (both resistances 0, or both open).
    RuntimeError
        If the search does not converge.

    Notes
    -----
    Charge in equals charge out over a cycle: k A (sin θ − θ cos θ)/R_a = v/R + I, A cos θ = v + V_D,
    R = R_r || R_L, k = 2/π for full wave and 1/π for half wave. Without diode drop and
    leakage that is tan θ − θ = (π/2) R_a/R, or π R_a/R for half wave.

    References
    ----------
    TERMAN, balance of the diode detector (from memory); DERIVED with threshold and leakage.

    Examples
    --------
    >>> level = hold_equilibrium(1.0, resistance_attack=1e3, resistance_release=100e3, rectifier="full")
    >>> print(f"{level.voltage_hold:.4f} V, {level.loss_db:.2f} dB")
    0.9376 V, -0.56 dB
    """
    one_of("rectifier", rectifier, RECTIFIERS)
    values = detector(
        voltage_peak, resistance_attack, resistance_release, resistance_load, voltage_diode, current_leakage
    )
    share = balance(values, rectifier)
    hold = share * values.peak
    conducts = (values.peak > values.diode) & np.isfinite(values.attack) & ~values.unknown
    with np.errstate(divide="ignore", invalid="ignore"):
        loss = 20 * np.log10(share)
        angle = np.arccos(np.where(conducts, np.minimum(share + values.diode / values.peak, 1), 1))
        charged = SHARES[rectifier] * charging_shape(values.peak, values.diode) / values.attack
        drawn = np.where(hold > 0, hold / values.release + values.leakage, np.where(conducts, charged, 0.0))
    angle, drawn = (np.where(values.unknown, np.nan, x) for x in (angle, drawn))
    return HoldLevel(
        hold[()],
        share[()],
        loss[()],
        np.degrees(angle)[()],
        drawn[()],
        bool(conducts) if conducts.ndim == 0 else conducts,
    )


@formula
def dc_equilibrium(
    voltage: ArrayLike,
    *,
    resistance_attack: ArrayLike,
    resistance_release: ArrayLike,
    capacitance_hold: ArrayLike,
    voltage_diode: ArrayLike = 0.0,
    resistance_load: ArrayLike = np.inf,
    current_leakage: ArrayLike = 0.0,
) -> DcHoldLevel:
    """Find the voltage that a steady direct drive keeps on the hold capacitor, and how fast it gets there.

    Parameters
    ----------
    voltage : array_like
        Drive ahead of the rectifier [V]; a drive under the diode's drop charges nothing.
    resistance_attack : array_like
        Resistance R_a from rectifier to capacitor [Ω], 0 to infinity.
    resistance_release : array_like
        Resistance R_r across the capacitor [Ω], 0 to infinity.
    capacitance_hold : array_like
        Hold capacitor [F], above 0.
    voltage_diode : array_like
        Drop of a plain rectifier diode [V]; 0, a precision rectifier, unless stated.
    resistance_load : array_like
        Further resistance from the capacitor to ground [Ω]; open unless stated.
    current_leakage : array_like
        Constant current out of the capacitor [A], at least 0; none unless stated.

    Returns
    -------
    DcHoldLevel
        Held voltage (0 where nothing charges the capacitor), time constant while charging, and
        whether the drive charges the capacitor.

    Raises
    ------
    ValueError
        If a value is out of range, or nothing sets the voltage.

    Notes
    -----
    v = (V − V_D − I R_a) R/(R_a + R), τ = (R_a || R) C, R = R_r || R_L. Charging is faster than
    R_a C, and the capacitor never gets the whole drive.

    References
    ----------
    DERIVED: Kirchhoff's current law at the capacitor.

    Examples
    --------
    >>> level = dc_equilibrium(1.0, resistance_attack=10e3, resistance_release=90e3, capacitance_hold=1e-6)
    >>> print(f"{level.voltage_hold:.2f} V after a few times {level.time_constant * 1e3:.0f} ms")
    0.90 V after a few times 9 ms
    """
    drive = numeric("voltage", voltage)
    capacitance = numeric("capacitance_hold", capacitance_hold, above=0)
    values = detector(
        np.zeros(drive.shape),
        resistance_attack,
        resistance_release,
        resistance_load,
        voltage_diode,
        current_leakage,
        drive,
        capacitance,
    )
    drive, capacitance = values.extra
    path = inverse(values.attack)
    with np.errstate(divide="ignore", invalid="ignore"):
        both = inverse(path + inverse(values.release))
        over = drive - values.diode
        share = np.where(values.attack == 0, 1.0, both * path)
        hold = over * share - np.where(values.leakage == 0, 0.0, values.leakage * both)
    conducts = (over > 0) & (hold > 0)
    hold = np.where(values.unknown, np.nan, np.where(conducts, hold, 0.0))
    tau = np.where(values.unknown, np.nan, both * capacitance)
    return DcHoldLevel(hold[()], tau[()], bool(conducts) if conducts.ndim == 0 else conducts)
