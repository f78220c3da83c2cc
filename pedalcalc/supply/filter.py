"""RC supply filter: resistor in the plus lead, capacitor with its series resistance to ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import (
    Caution,
    Number,
    Result,
    caution_above,
    caution_below,
    fit_together,
    formula,
    numeric,
    quantity,
)

__all__ = ["SupplyFilter", "SupplyRipple", "filter_gain", "filter_ripple", "supply_filter"]

Array = NDArray[np.float64]


def capacitor_admittance(frequency: Array, capacitance: Array, resistance_esr: Array) -> tuple[Array, Array]:
    """Return conductance and susceptance of a capacitor with series resistance, exact at 0 Hz and inf."""
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        x = 2 * np.pi * frequency * capacitance
        x = np.where((capacitance == 0) | (frequency == 0), 0.0 * (frequency + capacitance), x)
        x = np.where((capacitance == 0) & np.isinf(frequency), 0.0, x)
        size = 1 + (resistance_esr * x) ** 2
        real = resistance_esr * x**2 / size
        imaginary = x / size
        limit = np.where(resistance_esr > 0, 1 / resistance_esr, 0.0)
        end = np.isinf(x) | np.isinf(size)
        return (
            np.where(end, limit, real),
            np.where(end, np.where(resistance_esr > 0, 0.0, np.inf), imaginary),
        )


def decibel(ratio: Array) -> Array:
    """Return 20 log10 of a ratio; -inf for 0."""
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(ratio))


def _gain(frequency: Array, series: Array, capacitance: Array, esr: Array, load: Array) -> Array:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        conductance, susceptance = capacitor_admittance(frequency, capacitance, esr)
        real = 1 + series * (1 / load + conductance)
        imaginary = series * susceptance
        gain = 1 / np.hypot(real, imaginary)
        # A resistor of 0 Ω passes everything, even into a short.
        return np.where((series == 0) & ~np.isnan(frequency + capacitance + esr + load), 1.0, gain)


@formula
def filter_gain(
    frequency: ArrayLike,
    *,
    resistance_series: ArrayLike,
    capacitance: ArrayLike,
    resistance_esr: ArrayLike,
    resistance_load: ArrayLike,
) -> Number:
    """Find which share of the supply's ripple at one frequency gets through an RC filter.

    The exact phasor divider: above the corner it falls with frequency until
    the capacitor's series resistance makes a floor.

    Parameters
    ----------
    frequency : array_like
        Ripple frequency [Hz], 0 to inf.
    resistance_series : array_like
        Filter resistor [Ω], at least 0.
    capacitance : array_like
        Filter capacitor [F], at least 0.
    resistance_esr : array_like
        Equivalent series resistance of the capacitor [Ω], at least 0.
    resistance_load : array_like
        The build as a resistance [Ω], > 0; inf for a constant current.

    Returns
    -------
    float or ndarray
        Ripple behind the filter over ripple ahead of it [1].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    |H| = 1/|1 + R (1/R_L + 1/(R_ESR + 1/(j 2 pi f C)))|. Without ESR and load
    1/sqrt(1 + (2 pi f R C)^2); floor R_ESR/(R + R_ESR).

    References
    ----------
    DERIVED; SHEET-TPS6040X page 19 uses the same filter behind a charge pump.

    Examples
    --------
    >>> value = filter_gain(125e3, resistance_series=100.0, capacitance=1e-6, resistance_esr=0.0, resistance_load=float("inf"))
    >>> print(f"{value:g}")
    0.0127314
    """
    f = numeric("frequency", frequency, least=0, infinity=True)
    series = numeric("resistance_series", resistance_series, least=0)
    c = numeric("capacitance", capacitance, least=0)
    esr = numeric("resistance_esr", resistance_esr, least=0)
    load = numeric("resistance_load", resistance_load, above=0, infinity=True)
    return _gain(f, series, c, esr, load)[()]


@dataclass(frozen=True, slots=True, eq=False)
class SupplyRipple(Result):
    """What a loaded RC filter does to direct voltage and ripple."""

    voltage_output: Number = quantity("V", "voltage behind the filter")
    voltage_ripple: Number = quantity("V", "ripple behind the filter")
    ripple_ratio: Number = quantity("1", "ripple over direct voltage, behind the filter")
    gain: Number = quantity("1", "ripple behind over ripple ahead")
    gain_db: Number = quantity("dB", "the same in decibels")


@formula
def filter_ripple(
    *,
    voltage_supply: ArrayLike,
    voltage_ripple: ArrayLike,
    frequency: ArrayLike,
    resistance_series: ArrayLike,
    capacitance: ArrayLike,
    resistance_esr: ArrayLike,
    resistance_load: ArrayLike,
) -> SupplyRipple:
    """Find direct voltage and ripple behind an RC filter with a resistive load.

    Ripple in is ripple out: peak-to-peak, peak or rms, as it was given.

    Parameters
    ----------
    voltage_supply : array_like
        Direct voltage ahead of the filter [V], at least 0.
    voltage_ripple : array_like
        Ripple ahead of the filter at `frequency` [V], at least 0.
    frequency : array_like
        Ripple frequency [Hz], 0 to inf.
    resistance_series : array_like
        Filter resistor [Ω], at least 0.
    capacitance : array_like
        Filter capacitor [F], at least 0.
    resistance_esr : array_like
        Equivalent series resistance of the capacitor [Ω], at least 0.
    resistance_load : array_like
        Load [Ω], > 0; inf for none.

    Returns
    -------
    SupplyRipple
        Direct voltage [V], ripple [V], their ratio [1], gain [1] and [dB].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    Direct voltage V R_L/(R + R_L); ripple times `filter_gain`. Texts often take
    X_C/R for the gain, which is good where X_C is far below R and R_L.

    References
    ----------
    BOYLESTAD-NASHELSKY examples 15.6 and 15.7.

    Examples
    --------
    >>> behind = filter_ripple(
    ...     voltage_supply=150.0, voltage_ripple=15.0, frequency=120.0, resistance_series=500.0,
    ...     capacitance=10e-6, resistance_esr=0.0, resistance_load=5e3,
    ... )
    >>> print(f"{behind.voltage_output:.1f}, {behind.voltage_ripple:.2f}")
    136.4, 3.82
    """
    supply = numeric("voltage_supply", voltage_supply, least=0)
    ripple = numeric("voltage_ripple", voltage_ripple, least=0)
    f = numeric("frequency", frequency, least=0, infinity=True)
    series = numeric("resistance_series", resistance_series, least=0)
    c = numeric("capacitance", capacitance, least=0)
    esr = numeric("resistance_esr", resistance_esr, least=0)
    load = numeric("resistance_load", resistance_load, above=0, infinity=True)
    gain = _gain(f, series, c, esr, load)
    left = supply / (1 + series / load)
    out = ripple * gain
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(out == 0, 0.0, out / left)
    return SupplyRipple(left[()], out[()], ratio[()], gain[()], decibel(gain)[()])


@dataclass(frozen=True, slots=True, eq=False)
class SupplyFilter(Result):
    """An RC supply filter at the build's current."""

    voltage_output: Number = quantity("V", "voltage behind the filter")
    voltage_drop: Number = quantity("V", "voltage lost in the resistor")
    power: Number = quantity("W", "power in the resistor")
    frequency_corner: Number = quantity("Hz", "frequency above which ripple is reduced")
    gain_floor_db: Number = quantity("dB", "least ripple gain, set by the capacitor's resistance")
    time_constant: Number = quantity("s", "time constant at switch-on")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def supply_filter(
    *,
    voltage_supply: ArrayLike,
    current_load: ArrayLike,
    resistance_series: ArrayLike,
    capacitance: ArrayLike,
    resistance_esr: ArrayLike,
    voltage_rating: ArrayLike,
    power_rating: ArrayLike,
) -> SupplyFilter:
    """Find what an RC supply filter costs at the build's current, and where it begins to work.

    Parameters
    ----------
    voltage_supply : array_like
        Voltage ahead of the filter [V], at least 0.
    current_load : array_like
        Current the build draws [A], at least 0.
    resistance_series : array_like
        Filter resistor [Ω], at least 0.
    capacitance : array_like
        Filter capacitor [F], > 0.
    resistance_esr : array_like
        Equivalent series resistance of the capacitor [Ω], at least 0.
    voltage_rating : array_like
        Voltage printed on the capacitor [V], > 0.
    power_rating : array_like
        Power rating of the resistor [W], > 0.

    Returns
    -------
    SupplyFilter
        Voltage left and lost [V], power [W], corner [Hz], floor [dB], time
        constant [s] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    Corner 1/(2 pi (R + R_ESR) C), floor R_ESR/(R + R_ESR). The capacitor
    charges to the full supply before the build draws current, so its rating is
    held against that.

    References
    ----------
    DERIVED; PRACTICE for running a resistor at half its rating.

    Examples
    --------
    >>> behind = supply_filter(
    ...     voltage_supply=9.0, current_load=0.010, resistance_series=100.0, capacitance=100e-6,
    ...     resistance_esr=0.5, voltage_rating=25.0, power_rating=0.25,
    ... )
    >>> print(f"{behind.voltage_output:.2f}, {behind.frequency_corner:.1f}, {behind.gain_floor_db:.1f}")
    8.00, 15.8, -46.1
    """
    supply = numeric("voltage_supply", voltage_supply, least=0)
    current = numeric("current_load", current_load, least=0)
    series = numeric("resistance_series", resistance_series, least=0)
    c = numeric("capacitance", capacitance, above=0)
    esr = numeric("resistance_esr", resistance_esr, least=0)
    volts = numeric("voltage_rating", voltage_rating, above=0)
    watts = numeric("power_rating", power_rating, above=0)
    fit_together(
        voltage_supply=supply,
        current_load=current,
        resistance_series=series,
        capacitance=c,
        resistance_esr=esr,
        voltage_rating=volts,
        power_rating=watts,
    )
    drop = current * series
    power = current * drop
    total = series + esr
    tau = total * c
    with np.errstate(divide="ignore", invalid="ignore"):
        corner = 1 / (2 * np.pi * tau)
        floor = np.where(series == 0, np.where(np.isnan(esr), np.nan, 1.0), esr / total)
    blank = 0 * (volts + watts)  # an unknown rating leaves the verdict unknown
    cautions = (
        caution_above(
            "the capacitor's voltage rating is below the supply: an electrolytic can burst",
            "fit one rated well above the highest supply, plus to plus",
            supply,
            volts,
            "V",
        )
        + caution_above(
            "the filter resistor runs above half its rating and gets hot",
            "fit a larger one and keep it off the board and off the capacitors",
            power,
            watts / 2,
            "W",
        )
        + caution_below("the resistor drops the whole supply", "use a smaller resistor", supply - drop, 0.0, "V")
    )
    return SupplyFilter(
        (supply - drop + blank)[()], drop[()], power[()], corner[()], decibel(floor)[()], tau[()], cautions
    )
