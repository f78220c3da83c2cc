"""Stock parts for a wanted attack and release."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import Stock, one_number, one_of
from pedalcalc._base import search
from pedalcalc._refusal import refused
from pedalcalc._result import Array, Result, quantity
from pedalcalc._stock import drawer, steps
from pedalcalc._units import said, shown
from pedalcalc.rc.choose import RESISTORS
from pedalcalc.sidechain._detector import detector
from pedalcalc.sidechain.charging import RECTIFIERS
from pedalcalc.sidechain.equilibrium import balance
from pedalcalc.sidechain.timing import fall_time, peak_or_usual, rise_time

#: From where to where [F] a series is searched for hold capacitors; a drawer's own list is searched whole.
CAPACITORS = (100e-9, 22e-6)


@dataclass(frozen=True, slots=True, eq=False)
class DetectorParts(Result):
    """Result of `choose_detector_parts`: one element for each capacitor, best first."""

    capacitance_hold: NDArray[np.float64] = quantity("F", "hold capacitor")
    resistance_attack: NDArray[np.float64] = quantity("Ω", "attack resistor")
    resistance_release: NDArray[np.float64] = quantity("Ω", "release resistor")
    time_attack_63: NDArray[np.float64] = quantity("s", "attack, 0 to 63 %")
    time_release_63: NDArray[np.float64] = quantity("s", "release, by 63 %")
    loss_db: NDArray[np.float64] = quantity("dB", "held voltage against the peak")
    error_attack: NDArray[np.float64] = quantity("1", "error of the attack", percent=True)
    error_release: NDArray[np.float64] = quantity("1", "error of the release", percent=True)


@search
def choose_detector_parts(
    *,
    time_attack_wanted: float,
    time_release_wanted: float,
    rectifier: str,
    stock_resistance: Stock,
    stock_capacitance: Stock,
    voltage_peak: float | None = None,
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
    stock_resistance : str or list
        Resistors: a series, searched from 1 kΩ to 1 MΩ, or a list, searched whole, such as your drawer or
        `values.stock_values` of a series between limits. What the rectifier can drive sets the lowest; leakage the
        highest.
    stock_capacitance : str or list
        Capacitors: a series, searched from 100 nF to 22 µF, or a list.
    voltage_peak : float, optional
        Peak of the tone ahead of the rectifier [V], above the diode's drop; 1 V unless stated, and not to be left out
        behind a plain diode.
    voltage_diode : float
        Drop of a plain rectifier diode [V]; 0, a precision rectifier, unless stated.
    resistance_load : float
        Further resistance from the capacitor to ground [Ω], above 0; open unless stated.

    Returns
    -------
    DetectorParts
        Parts, both times, the loss of held voltage and both relative errors; the least total error (by ratio) first.
        Capacitors for which a time is off by more than a step of the stock are left out.

    Raises
    ------
    ValueError
        If a value is out of range, a stock cannot be read, or no parts come near the wanted times.

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
    ...     time_attack_wanted=0.01, time_release_wanted=0.2, rectifier="full",
    ...     stock_resistance="E24", stock_capacitance=["100n", "220n", "470n", "1u", "2u2"])
    >>> best = [found.capacitance_hold[0] * 1e9, found.resistance_attack[0] / 1e3, found.resistance_release[0] / 1e3]
    >>> print("{:.0f} nF, {:.1f} kilohm, {:.0f} kilohm".format(*best))
    220 nF, 27.0 kilohm, 910 kilohm
    """
    attack_wanted = one_number("time_attack_wanted", time_attack_wanted, above=0)
    release_wanted = one_number("time_release_wanted", time_release_wanted, above=0)
    one_of("rectifier", rectifier, RECTIFIERS)
    peak = one_number("voltage_peak", peak_or_usual(voltage_peak, voltage_diode, 0.0), above=0)
    load = one_number("resistance_load", resistance_load, "", above=0, infinity=True)
    if not peak > one_number("voltage_diode", voltage_diode, "", least=0):
        raise refused("voltage_peak", f"above voltage_diode ({said('voltage_diode', voltage_diode)})", peak)
    resistors = drawer(stock_resistance, "stock_resistance", *RESISTORS)
    capacitors = drawer(stock_capacitance, "stock_capacitance", *CAPACITORS, unit="F")
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
    step = steps(resistors)
    near = np.flatnonzero((np.abs(off_attack) <= step[best_attack]) & (np.abs(off_release) <= step[best_release]))
    if near.size == 0:
        raise ValueError(
            "time_attack_wanted and time_release_wanted must be within reach of the parts: nearest come "
            f"{_near(attack, off_attack)} and {_near(fall, off_release)}, "
            f"got {shown(attack_wanted, 's')} and {shown(release_wanted, 's')}"
        )
    order = near[np.argsort(np.abs(off_attack[near]) + np.abs(off_release[near]), kind="stable")]
    return DetectorParts(
        capacitance_hold=capacitors[order],
        resistance_attack=resistors[best_attack[order]],
        resistance_release=resistors[best_release[order]],
        time_attack_63=attack[order],
        time_release_63=fall[order],
        loss_db=20 * np.log10(share[order]),
        error_attack=np.expm1(off_attack[order]),
        error_release=np.expm1(off_release[order]),
    )


def _near(times: Array, off: Array) -> str:
    """Return the time that comes nearest, in words."""
    return shown(float(f"{times[np.argmin(np.abs(off))]:.3g}"), "s")
