"""Stock parts for a wanted attack and release."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import Result, numeric, one_of, quantity, search
from pedalcalc.rc.choose import positive, stock_values
from pedalcalc.sidechain._detector import detector
from pedalcalc.sidechain.charging import RECTIFIERS
from pedalcalc.sidechain.equilibrium import balance
from pedalcalc.sidechain.timing import fall_time, rise_time
from pedalcalc.values import stock_values as listed


@dataclass(frozen=True, slots=True, eq=False)
class DetectorParts(Result):
    """Result of `choose_detector_parts`: one element for each capacitor, best first."""

    capacitance_hold: NDArray[np.float64] = quantity("F", "hold capacitor")
    resistance_attack: NDArray[np.float64] = quantity("Ω", "attack resistor")
    resistance_release: NDArray[np.float64] = quantity("Ω", "release resistor")
    time_attack_63: NDArray[np.float64] = quantity("s", "attack, 0 to 63 %")
    time_release_63: NDArray[np.float64] = quantity("s", "release, by 63 %")
    loss_db: NDArray[np.float64] = quantity("dB", "held voltage against the peak")
    error_attack: NDArray[np.float64] = quantity("1", "error of the attack")
    error_release: NDArray[np.float64] = quantity("1", "error of the release")


@search
def choose_detector_parts(
    *,
    time_attack_wanted: float,
    time_release_wanted: float,
    rectifier: str,
    voltage_peak: float,
    series_resistance: str,
    resistance_min: float,
    resistance_max: float,
    series_capacitance: str,
    capacitance_min: float,
    capacitance_max: float,
    voltage_diode: float = 0.0,
    resistance_load: float = np.inf,
) -> DetectorParts:
    """List stock parts that give a wanted attack and release, by the 63 % definition.

    For each stock capacitor the release resistor nearest by ratio is taken, then the attack resistor whose time,
    by the cycle-averaged law with that release, comes nearest.

    Parameters
    ----------
    time_attack_wanted : float
        Wanted time to 63 % of the held voltage on a tone burst [s], above 0.
    time_release_wanted : float
        Wanted time to fall by 63 % [s], above 0.
    rectifier : str
        "full" or "half".
    voltage_peak : float
        Peak of the tone ahead of the rectifier [V], above the diode's drop.
    series_resistance : str
        Preferred-number series of the resistors.
    resistance_min : float
        Lowest resistor to use [Ω], above 0; what the rectifier can drive sets it.
    resistance_max : float
        Highest resistor to use [Ω]; leakage sets it.
    series_capacitance : str
        Preferred-number series of the capacitors.
    capacitance_min : float
        Lowest capacitor to use [F], above 0.
    capacitance_max : float
        Highest capacitor to use [F].
    voltage_diode : float
        Drop of a plain rectifier diode [V]; 0, a precision rectifier, unless stated.
    resistance_load : float
        Further resistance from the capacitor to ground [Ω], above 0; open unless stated.

    Returns
    -------
    DetectorParts
        Parts, both times, the loss of held voltage and both relative errors; the least total error (by ratio) first.
        Capacitors for which a time is off by more than a step of the series are left out.

    Raises
    ------
    ValueError
        If a value is out of range, a range holds no stock value, or no parts come near the wanted times.

    Notes
    -----
    Times as in `detector_timing`, without leakage. An attack much longer than a few hundredths of the
    release costs held voltage: see `loss_db`.

    References
    ----------
    DERIVED: averaged law of the detector; IEC-60063 for the values.

    Examples
    --------
    >>> found = choose_detector_parts(
    ...     time_attack_wanted=0.01, time_release_wanted=0.2, rectifier="full", voltage_peak=1.0,
    ...     series_resistance="E24", resistance_min=1e3, resistance_max=1e6,
    ...     series_capacitance="E3", capacitance_min=100e-9, capacitance_max=2.2e-6)
    >>> best = [found.capacitance_hold[0] * 1e9, found.resistance_attack[0] / 1e3, found.resistance_release[0] / 1e3]
    >>> print("{:.0f} nF, {:.1f} kilohm, {:.0f} kilohm".format(*best))
    220 nF, 27.0 kilohm, 910 kilohm
    """
    attack_wanted = positive("time_attack_wanted", time_attack_wanted)
    release_wanted = positive("time_release_wanted", time_release_wanted)
    one_of("rectifier", rectifier, RECTIFIERS)
    peak = positive("voltage_peak", voltage_peak)
    load = float(numeric("resistance_load", resistance_load, above=0, infinity=True))
    if not peak > float(numeric("voltage_diode", voltage_diode, least=0)):
        raise ValueError(f"voltage_peak must be above voltage_diode ({voltage_diode:g}), got {peak:g}")
    resistors = stock_values(series_resistance, "resistance_min", resistance_min, "resistance_max", resistance_max)
    capacitors = stock_values(
        series_capacitance, "capacitance_min", capacitance_min, "capacitance_max", capacitance_max
    )
    release = 1 / (1 / resistors[:, None] + 1 / load) * capacitors
    best_release = np.argmin(np.abs(np.log(release / release_wanted)), axis=0)
    column = np.arange(capacitors.size)
    values = detector(
        peak, resistors[:, None], resistors[best_release], load, voltage_diode, 0.0, np.asarray(capacitors)
    )
    share = balance(values, rectifier)
    attack = rise_time(values, values.extra[0], share, rectifier, 0, -np.expm1(-1))
    fall = fall_time(values, values.extra[0], share * values.peak, np.exp(-1), 1)[0]
    best_attack = np.argmin(np.abs(np.log(attack / attack_wanted)), axis=0)
    attack, share = attack[best_attack, column], share[best_attack, column]
    off_attack, off_release = np.log(attack / attack_wanted), np.log(fall / release_wanted)
    step = np.log(10) / listed(series_resistance).size
    near = np.flatnonzero((np.abs(off_attack) <= step) & (np.abs(off_release) <= step))
    if near.size == 0:
        raise ValueError(
            "time_attack_wanted and time_release_wanted must be within reach of the parts: nearest come "
            f"{attack[np.argmin(np.abs(off_attack))]:.3g} s and {fall[np.argmin(np.abs(off_release))]:.3g} s, "
            f"got {attack_wanted:g} s and {release_wanted:g} s"
        )
    order = near[np.argsort(np.abs(off_attack[near]) + np.abs(off_release[near]), kind="stable")]
    return DetectorParts(
        capacitors[order],
        resistors[best_attack[order]],
        resistors[best_release[order]],
        attack[order],
        fall[order],
        20 * np.log10(share[order]),
        np.expm1(off_attack[order]),
        np.expm1(off_release[order]),
    )
