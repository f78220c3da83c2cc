"""Attack and release of a detector on a tone burst, by the usual definitions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import one_of
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZero, AtLeastZero, ZeroToInfinity
from pedalcalc._result import Number, Result, quantity, warn_outside_model
from pedalcalc.sidechain._detector import Array, Detector, detector
from pedalcalc.sidechain.charging import RECTIFIERS, SHARES, charging_shape
from pedalcalc.sidechain.equilibrium import held

FEWEST_CYCLES = 4.0  # R_a C f below which the averaged law is off by more than a few per cent
#: Peak [V] and frequency [Hz] that a detector is looked at with where nothing else is stated.
VOLTAGE_USUAL, FREQUENCY_USUAL = 1.0, 1000.0


@dataclass(frozen=True, slots=True, eq=False)
class DetectorTiming(Result):
    """Result of `detector_timing`; every field has the broadcast shape of the inputs."""

    voltage_hold: Number = quantity("V", "held voltage")
    share_peak: Number = quantity("1", "held voltage over the peak", percent=True)
    loss_db: Number = quantity("dB", "held voltage against the peak")
    time_attack_63: Number = quantity("s", "attack, 0 to 63 %")
    time_attack_10_90: Number = quantity("s", "attack, 10 to 90 %")
    time_release_63: Number = quantity("s", "release, by 63 %")
    time_release_10_90: Number = quantity("s", "release, 90 to 10 %")
    attack_cycles: Number = quantity("1", "R_a C in cycles of the tone")
    conduction_degrees: Number = quantity("°", "half the conduction angle")
    current_release: Number = quantity("A", "current drawn from the capacitor")
    conducts: bool | NDArray[np.bool_] = quantity("bool", "the rectifier conducts")


def rise_time(values: Detector, capacitance: Array, share: Array, rectifier: str, low: float, high: float) -> Array:
    """Return the time from one fraction of the held voltage to another, by the averaged law.

    With v = v_h (1 − e^−s) the integrand is smooth up to the held voltage, and a Gauss-Legendre
    rule of 48 points gives the integral to the last digits.
    """
    nodes, weights = np.polynomial.legendre.leggauss(48)
    first, last = -np.log1p(-low), -np.log1p(-high)
    s = first + (last - first) * (nodes + 1) / 2
    weights = weights * (last - first) / 2
    values_on_nodes = (x[..., None] for x in (values.peak, values.attack, values.release, values.diode, values.leakage))
    peak, attack, release, diode, leakage = values_on_nodes
    hold = (share * values.peak)[..., None]
    level = -hold * np.expm1(-s)
    with np.errstate(divide="ignore", invalid="ignore"):
        inflow = SHARES[rectifier] * charging_shape(peak, level + diode)
        outflow = np.where(release == 0, 0.0, attack * (level / release + leakage))
        slowness = attack * hold * np.exp(-s) / (inflow - outflow)
        time = capacitance * (slowness * weights).sum(-1)
    return np.where(share == 0, 0.0, time)


def fall_time(values: Detector, capacitance: Array, start: Array, low: float, high: float) -> Array:
    """Return the time from `high` to `low`, both fractions of `start`, with release, load and leakage."""
    upper, lower = start * high, start * low
    with np.errstate(divide="ignore", invalid="ignore"):
        drawn = lower / values.release + values.leakage
        ratio = (upper - lower) / values.release / drawn
        stretch = np.where(ratio == 0, 1.0, np.log1p(ratio) / ratio)
        time = capacitance * (upper - lower) / drawn * stretch
        time = np.where(drawn == 0, np.inf, time)
    return np.where(start == 0, 0.0, time)


def peak_or_usual(peak: ArrayLike | None, diode: ArrayLike, leakage: ArrayLike) -> ArrayLike:
    """Return the peak, or the usual one where it does not matter; refuse to guess where it does."""
    if peak is not None:
        return peak
    if np.any(np.asarray(diode) > 0):
        raise ValueError("voltage_peak must be stated behind a plain diode, whose times depend on it")
    if np.any(np.asarray(leakage) > 0):
        raise ValueError("voltage_peak must be stated where leakage flows, since the times then depend on it")
    return VOLTAGE_USUAL


def warn_of_few_cycles(cycles: Array) -> None:
    """Warn where the capacitor's voltage moves too much within a cycle for the averaged law."""
    few = cycles < FEWEST_CYCLES
    if np.any(few):
        warn_outside_model(
            f"R_a C f is {np.min(cycles[few]):.3g}, below {FEWEST_CYCLES:g}: the attack happens within a few cycles, "
            "and the cycle-averaged law only estimates it"
        )


@formula
def detector_timing(
    voltage_peak: AtLeastZero | None = None,
    *,
    resistance_attack: ZeroToInfinity,
    resistance_release: ZeroToInfinity,
    capacitance_hold: AboveZero,
    rectifier: str,
    frequency: AboveZero = FREQUENCY_USUAL,
    voltage_diode: AtLeastZero = 0.0,
    resistance_load: ZeroToInfinity = np.inf,
    current_leakage: AtLeastZero = 0.0,
) -> DetectorTiming:
    """Find attack and release as they show on a tone burst, and the voltage held in the end.

    The burst begins with the capacitor empty and lasts until the voltage is steady; then the tone
    stops. Both times are stated against the voltage held in the end.

    Parameters
    ----------
    voltage_peak : array_like, optional
        Peak A of the tone ahead of the rectifier [V], at least 0; 1 V unless stated, as the times behind a precision
        rectifier ignore it. Behind a plain diode, and with leakage, they do not: there it must be stated.
    resistance_attack : array_like
        Resistance R_a from rectifier to capacitor [Ω], 0 to infinity.
    resistance_release : array_like
        Resistance R_r across the capacitor [Ω], 0 to infinity.
    capacitance_hold : array_like
        Hold capacitor [F], above 0.
    rectifier : str
        "full" or "half".
    frequency : array_like
        Frequency of the tone [Hz], above 0; 1 kHz unless stated. It only decides whether the averaged law holds.
    voltage_diode : array_like
        Drop of a plain rectifier diode [V], at least 0; 0, a precision rectifier, unless stated.
    resistance_load : array_like
        Further resistance from the capacitor to ground, such as a meter [Ω], 0 to infinity; open unless stated.
    current_leakage : array_like
        Constant current out of the capacitor [A], at least 0; none unless stated.

    Returns
    -------
    DetectorTiming
        Held voltage, its share of the peak and the loss in decibels, attack (0 to 63 %, 10 to 90 %), release (by 63 %,
        90 to 10 %), R_a C counted in cycles, half the conduction angle, the current drawn from the capacitor, and
        whether the rectifier conducts at all. Where less comes in than leaks away nothing is held. Times are 0 where nothing is held; a release without any discharge is infinite.

    Raises
    ------
    ValueError
        If a value is out of range, nothing sets the voltage (both resistances 0, or both open), or the peak is
        missing where the times depend on it.
    RuntimeError
        If the search does not converge.

    Warns
    -----
    ModelRangeWarning
        If R_a C f is below 4: the attack then takes few cycles, and when the burst begins matters.

    Notes
    -----
    Held: charge in equals charge out over a cycle, k A (sin θ − θ cos θ)/R_a = v/R + I, A cos θ = v + V_D, R = R_r || R_L,
    k = 2/π for full wave and 1/π for half wave; without diode drop and leakage tan θ − θ = (π/2) R_a/R, or π R_a/R.
    The capacitor is taken as large enough that its voltage hardly moves within a cycle (`detector_ripple` says how
    much it does). Attack: t = C ∫ dv / (k A g(v)/R_a − v/R − I) from 0 to 63 % (10 to 90 %) of the held voltage, with
    A g(v) = √(A²−w²) − w arccos(w/A), w = v + V_D. The charging slows as the conduction angle
    shrinks, so R_a C alone is a lower bound. Release: R C ln((v_1 + I R)/(v_2 + I R)).

    References
    ----------
    TERMAN, balance of the diode detector (from memory); DERIVED with threshold and leakage, and the averaged attack.

    Examples
    --------
    >>> timing = detector_timing(
    ...     resistance_attack=10e3, resistance_release=1e6, capacitance_hold=1e-6, rectifier="full")
    >>> print(f"attack {timing.time_attack_63 * 1e3:.1f} ms, release {timing.time_release_63:.2f} s")
    attack 18.5 ms, release 1.00 s
    >>> print(f"{timing.voltage_hold:.4f} V of 1 V, {timing.loss_db:.2f} dB")
    0.9376 V of 1 V, -0.56 dB
    """
    one_of("rectifier", rectifier, RECTIFIERS)
    values = detector(
        peak_or_usual(voltage_peak, voltage_diode, current_leakage),
        resistance_attack,
        resistance_release,
        resistance_load,
        voltage_diode,
        current_leakage,
        frequency,
        capacitance_hold,
    )
    tone, capacitance = values.extra
    cycles = values.attack * capacitance * tone
    warn_of_few_cycles(cycles)
    level = held(values, rectifier)
    share, hold = level.share, level.voltage
    times = (
        rise_time(values, capacitance, share, rectifier, 0, -np.expm1(-1)),
        rise_time(values, capacitance, share, rectifier, 0.1, 0.9),
        fall_time(values, capacitance, hold, np.exp(-1), 1),
        fall_time(values, capacitance, hold, 0.1, 0.9),
    )
    attack, attack_10_90, release, release_10_90 = (np.where(values.unknown, np.nan, time) for time in times)
    return DetectorTiming(
        voltage_hold=hold,
        share_peak=share,
        loss_db=level.loss_db,
        time_attack_63=attack,
        time_attack_10_90=attack_10_90,
        time_release_63=release,
        time_release_10_90=release_10_90,
        attack_cycles=cycles,
        conduction_degrees=level.conduction_degrees,
        current_release=level.current,
        conducts=level.conducts,
    )
