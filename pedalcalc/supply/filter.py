"""RC supply filter: resistor in the plus lead, capacitor with its series resistance to ground."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pedalcalc._arguments import fit_together
from pedalcalc._base import decibels, formula
from pedalcalc._ranges import AboveZero, AboveZeroToInfinity, AtLeastZero, ZeroToInfinity
from pedalcalc._record import specimen
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity
from pedalcalc.devices import Capacitor
from pedalcalc.rc import lowpass_response

__all__ = ["SupplyFilter", "supply_filter"]


@dataclass(frozen=True, slots=True, eq=False)
class SupplyFilter(Result):
    """An RC supply filter under the build's load: what is left of voltage and ripple."""

    voltage_output: Number = quantity("V", "voltage behind the filter")
    voltage_drop: Number = quantity("V", "voltage lost in the resistor")
    power: Number = quantity("W", "power in the resistor")
    voltage_ripple: Number = quantity("V", "ripple behind the filter")
    ripple_ratio: Number = quantity("1", "ripple over direct voltage, behind the filter", percent=True)
    gain_db: Number = quantity("dB", "ripple behind over ripple ahead")
    frequency_corner: Number = quantity("Hz", "frequency above which ripple is reduced")
    gain_floor_db: Number = quantity("dB", "least ripple gain, set by the capacitor's resistance")
    time_constant: Number = quantity("s", "time constant at switch-on")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


@formula
def supply_filter(
    *,
    voltage_supply: AtLeastZero,
    resistance_series: AtLeastZero,
    capacitor: Capacitor,
    power_rating: AboveZero,
    current_load: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
    voltage_ripple: AtLeastZero = 0.0,
    frequency: ZeroToInfinity = 100.0,
) -> SupplyFilter:
    """Find what an RC supply filter costs under the build's load, and how much hum it lets through.

    Ripple in is ripple out: peak-to-peak, peak or rms, as it was given.

    Parameters
    ----------
    voltage_supply : array_like
        Direct voltage ahead of the filter [V], at least 0.
    resistance_series : array_like
        Filter resistor [Ω], at least 0.
    capacitor : Capacitor
        Filter capacitor with its rated voltage (`devices.capacitor`).
    power_rating : array_like
        Power rating of the resistor [W], above 0.
    current_load : array_like
        Constant current the build draws [A], at least 0; none unless stated.
    resistance_load : array_like
        What the build draws as a resistance [Ω], above 0; none (inf) unless stated.
    voltage_ripple : array_like
        Ripple ahead of the filter at `frequency` [V], at least 0; none unless stated.
    frequency : array_like
        Ripple frequency [Hz], 0 to inf; 100 Hz, the hum of most adaptors where mains is 50 Hz, unless stated.

    Returns
    -------
    SupplyFilter
        Voltage left and lost [V], power [W], ripple [V], its ratio to the direct voltage [1], ripple gain [dB], corner
        [Hz], floor [dB], time constant [s] and cautions.

    Raises
    ------
    TypeError
        If `capacitor` is no record, or a type.
    ValueError
        If a value is out of range, or `capacitor` is a kind without a capacitance.

    Notes
    -----
    V = (V_S - I R)/(1 + R/R_L); ripple by `rc.lowpass_response`. Texts often take X_C/R for the gain, which is good
    where X_C is far below R and R_L. Corner 1/(2 pi (R + R_ESR) C), floor R_ESR/(R + R_ESR), without load. The
    capacitor charges to the full supply before the build draws current, so its rating is held against that.

    References
    ----------
    BOYLESTAD-NASHELSKY examples 15.6 and 15.7; DERIVED; PRACTICE for running a resistor at half its rating.

    Examples
    --------
    >>> from pedalcalc import devices
    >>> bulk = devices.capacitor(
    ...     devices.typical(devices.CAPACITOR_ELECTROLYTIC), capacitance=100e-6, voltage_rating=25.0
    ... )
    >>> behind = supply_filter(
    ...     voltage_supply=9.0, current_load=0.010, resistance_series=100.0, capacitor=bulk, power_rating=0.25
    ... )
    >>> print(f"{behind.voltage_output:.2f} V, {behind.frequency_corner:.1f} Hz, {behind.gain_db:.1f} dB at 100 Hz")
    8.00 V, 15.6 Hz, -16.2 dB at 100 Hz
    """
    supply, series, watts, current = voltage_supply, resistance_series, power_rating, current_load
    load, ripple, hertz = resistance_load, voltage_ripple, frequency
    c, esr, rated = _figures(capacitor)
    fit_together(
        voltage_supply=supply,
        resistance_series=series,
        power_rating=watts,
        current_load=current,
        resistance_load=load,
        voltage_ripple=ripple,
        frequency=hertz,
    )
    left = (supply - current * series) / (1 + series / load)
    drop = supply - left
    through = current + left / load
    power = through * drop
    passed = lowpass_response(hertz, resistance=series, capacitance=c, resistance_load=load, resistance_esr=esr)
    # Direct voltage is not part of the ripple gain: a load divides both alike.
    gain = np.asarray(passed.gain)
    behind = ripple * gain
    total = series + esr
    tau = total * c
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(behind == 0, 0.0, behind / left)
        corner = 1 / (2 * np.pi * tau)
        floor = np.where(total == 0, 1.0, np.where(series == 0, 1.0, esr / total))
    blank = 0 * watts  # an unknown rating leaves the verdict unknown
    cautions = (
        caution_above(
            "the capacitor's voltage rating is below the supply: an electrolytic can burst",
            "fit one rated well above the highest supply, plus to plus",
            supply,
            rated,
            "V",
        )
        + caution_above(
            "the filter resistor runs above half its rating and gets hot",
            "fit a larger one and keep it off the board and off the capacitors",
            power,
            watts / 2,
            "W",
        )
        + caution_below("the resistor drops the whole supply", "use a smaller resistor", left, 0.0, "V")
    )
    return SupplyFilter(
        voltage_output=(left + blank)[()],
        voltage_drop=drop[()],
        power=power[()],
        voltage_ripple=behind[()],
        ripple_ratio=(ratio + 0 * left)[()],
        gain_db=decibels(gain)[()],
        frequency_corner=corner[()],
        gain_floor_db=decibels(np.asarray(floor + 0 * total))[()],
        time_constant=tau[()],
        cautions=cautions,
    )


def _figures(capacitor: Capacitor) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return capacitance, series resistance and rated voltage of one capacitor."""
    specimen("capacitor", capacitor, Capacitor)
    size = np.asarray(capacitor.capacitance, float)
    if np.all(np.isnan(size)):
        raise ValueError(
            f"capacitor must be one capacitor with its capacitance, but {capacitor.name!r} is a kind; "
            "take devices.capacitor(kind, capacitance=..., voltage_rating=...)"
        )
    return size, np.asarray(capacitor.resistance_esr, float), np.asarray(capacitor.voltage_max, float)
