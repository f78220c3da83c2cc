"""Battery under load: voltage against used charge, and how long it lasts.

Open-circuit voltage V(s) and internal resistance R(s) over the used share s
of the charge are straight pieces (`pedalcalc.devices.Battery`): one to the
knee, one from there to empty.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import (
    Caution,
    ModelRangeWarning,
    Number,
    Result,
    caution_above,
    caution_below,
    formula,
    is_a,
    numeric,
    quantity,
)
from pedalcalc.devices import Battery
from pedalcalc.devices._record import ends

__all__ = [
    "BatteryLife",
    "BatteryState",
    "battery_life",
    "battery_life_ideal",
    "battery_life_resistive",
    "battery_voltage",
    "battery_voltage_resistive",
]

Array = NDArray[np.float64]

#: Nodes and weights on 0 to 1; the integrands are smooth on each piece, 16 nodes leave rounding errors only.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2


def _open(battery: Battery, used: Array) -> tuple[Array, Array]:
    """Return open-circuit voltage and internal resistance at a used share."""
    knee = battery.used_knee
    early = battery.voltage_fresh + (battery.voltage_knee - battery.voltage_fresh) * used / knee
    late = battery.voltage_knee + (battery.voltage_empty - battery.voltage_knee) * (used - knee) / (1 - knee)
    resistance = battery.resistance_fresh + (battery.resistance_empty - battery.resistance_fresh) * used
    return np.asarray(np.where(used <= knee, early, late)), np.asarray(resistance)


def _warn_of_drain(battery: Battery, current: Array) -> None:
    if np.any(current > battery.current_checked):
        warnings.warn(
            f"{battery.name}: above {1000 * battery.current_checked:g} mA the battery gives less charge than this law says",
            ModelRangeWarning,
            stacklevel=3,
        )


@dataclass(frozen=True, slots=True, eq=False)
class BatteryState(Result):
    """A battery under load at one used share of its charge."""

    voltage_output: Number = quantity("V", "voltage at the clips")
    voltage_open: Number = quantity("V", "voltage without load")
    resistance_internal: Number = quantity("Ω", "internal resistance")
    current_load: Number = quantity("A", "load current")


@formula
def battery_voltage(used: ArrayLike, *, current_load: ArrayLike, battery: Battery) -> BatteryState:
    """Find a battery's voltage at a used share of its charge and a constant current.

    Parameters
    ----------
    used : array_like
        Used share of the charge [1], 0 (fresh) to 1.
    current_load : array_like
        Load current [A], at least 0.
    battery : Battery
        Battery record (`pedalcalc.devices`).

    Returns
    -------
    BatteryState
        Voltage under load and without [V], internal resistance [Ω], current [A].

    Raises
    ------
    ValueError
        If a value is out of range.

    Warns
    -----
    ModelRangeWarning
        If the current is beyond what the record's law is meant for.

    Notes
    -----
    V = V_open(s) - I R(s), both straight pieces over s.

    References
    ----------
    MEMORY for the course of voltage and resistance; SHEET-6LR61 for the fresh resistance.

    Examples
    --------
    >>> from pedalcalc.devices import BATTERY_9V_ALKALINE
    >>> print(f"{battery_voltage(0.5, current_load=0.010, battery=BATTERY_9V_ALKALINE).voltage_output:.2f}")
    8.34
    """
    s = numeric("used", used, least=0, most=1)
    current = numeric("current_load", current_load, least=0)
    is_a("battery", battery, Battery)
    _warn_of_drain(battery, current)
    open_, inside = _open(battery, s)
    return BatteryState((open_ - current * inside)[()], open_[()], inside[()], current[()])


@formula
def battery_voltage_resistive(used: ArrayLike, *, resistance_load: ArrayLike, battery: Battery) -> BatteryState:
    """Find a battery's voltage at a used share of its charge with a resistance across it.

    Parameters
    ----------
    used : array_like
        Used share of the charge [1], 0 (fresh) to 1.
    resistance_load : array_like
        Load [Ω], at least 0; inf is no load, 0 a short.
    battery : Battery
        Battery record (`pedalcalc.devices`).

    Returns
    -------
    BatteryState
        Voltage under load and without [V], internal resistance [Ω], current [A].

    Raises
    ------
    ValueError
        If a value is out of range.

    Warns
    -----
    ModelRangeWarning
        If the current is beyond what the record's law is meant for.

    Notes
    -----
    I = V_open(s)/(R_L + R(s)).

    References
    ----------
    KUPHALDT-1 chapter 11, internal resistance; MEMORY for the course of voltage and resistance.

    Examples
    --------
    >>> from pedalcalc.devices import BATTERY_9V_ALKALINE
    >>> print(f"{battery_voltage_resistive(0.0, resistance_load=620.0, battery=BATTERY_9V_ALKALINE).voltage_output:.3f}")
    9.469
    """
    s = numeric("used", used, least=0, most=1)
    load = numeric("resistance_load", resistance_load, least=0, infinity=True)
    is_a("battery", battery, Battery)
    open_, inside = _open(battery, s)
    current = open_ / (load + inside)
    _warn_of_drain(battery, current)
    return BatteryState((open_ - current * inside)[()], open_[()], inside[()], current[()])


@dataclass(frozen=True, slots=True, eq=False)
class BatteryLife(Result):
    """How long a fresh battery lasts."""

    time_life: Number = quantity("s", "time until the end voltage, typical battery")
    time_life_min: Number = quantity("s", "the same, least charge")
    time_life_max: Number = quantity("s", "the same, most charge")
    hours_life: Number = quantity("h", "the typical time in hours")
    used: Number = quantity("1", "used share of the charge at the end")
    voltage_start: Number = quantity("V", "voltage under load when fresh")
    cautions: tuple[Caution, ...] = quantity("cautions", "cautions")


def _life(battery: Battery, time_per_charge: Array, used: Array, start: Array, end: Array) -> BatteryLife:
    """Scale a time for one coulomb of charge to the record's charge and judge it."""
    low, typical, high = (time_per_charge * charge for charge in ends(battery.charge))
    cautions = caution_below(
        "even a fresh battery is below the end voltage under this load",
        "draw less current, or take a lower end voltage if the circuit still works there",
        start,
        end,
        "V",
    ) + caution_above(
        "the battery cannot be drained below its empty voltage without harm or leakage: life ends there",
        "use a higher end voltage",
        battery.voltage_empty + 0 * start,
        end,
        "V",
    )
    return BatteryLife(typical[()], low[()], high[()], (typical / 3600)[()], used[()], start[()], cautions)


def _end_of_piece(start: Array, stop: Array, end: Array) -> Array:
    """Return how far, 0 to 1, a straight piece from `start` to `stop` runs before it crosses `end`."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (start - end) / (start - stop)
    return np.where(start <= end, 0.0, np.where(stop >= end, 1.0, share)) + 0.0 * (start + stop + end)


@formula
def battery_life(*, current_load: ArrayLike, voltage_end: ArrayLike, battery: Battery) -> BatteryLife:
    """Find how long a fresh battery feeds a constant current before it falls to an end voltage.

    Parameters
    ----------
    current_load : array_like
        Load current [A], > 0.
    voltage_end : array_like
        Voltage under load at which the build stops working properly [V], at least 0.
    battery : Battery
        Battery record (`pedalcalc.devices`).

    Returns
    -------
    BatteryLife
        Time for the typical, least and most charge [s], hours [h], used share
        [1], voltage when fresh [V] and cautions.

    Raises
    ------
    ValueError
        If a value is out of range.

    Warns
    -----
    ModelRangeWarning
        If the current is beyond what the record's law is meant for.

    Notes
    -----
    The voltage under load is straight on each piece, so the used share s_end
    at the end voltage is exact and the time is s_end Q/I.

    References
    ----------
    DERIVED; charge and course of the voltage as the battery record says (NINE-VOLT, MEMORY).

    Examples
    --------
    >>> from pedalcalc.devices import BATTERY_9V_ALKALINE
    >>> life = battery_life(current_load=0.010, voltage_end=7.0, battery=BATTERY_9V_ALKALINE)
    >>> print(f"{life.hours_life:.1f}, {life.used:.3f}")
    47.1, 0.856
    """
    current = numeric("current_load", current_load, above=0)
    end = numeric("voltage_end", voltage_end, least=0)
    is_a("battery", battery, Battery)
    _warn_of_drain(battery, current)
    corner = np.array([0.0, battery.used_knee, 1.0])
    fresh, knee, empty = (v - current * r for v, r in zip(*_open(battery, corner), strict=True))
    used = battery.used_knee * _end_of_piece(fresh, knee, end) + (1 - battery.used_knee) * _end_of_piece(
        knee, empty, end
    )
    return _life(battery, used / current, used, fresh + 0 * used, end)


@formula
def battery_life_resistive(*, resistance_load: ArrayLike, voltage_end: ArrayLike, battery: Battery) -> BatteryLife:
    """Find how long a fresh battery feeds a resistance before it falls to an end voltage.

    The current falls with the voltage, so the time is an integral over the used charge.

    Parameters
    ----------
    resistance_load : array_like
        Load [Ω], > 0.
    voltage_end : array_like
        Voltage under load at which the build stops working properly [V], at least 0.
    battery : Battery
        Battery record (`pedalcalc.devices`).

    Returns
    -------
    BatteryLife
        Time for the typical, least and most charge [s], hours [h], used share
        [1], voltage when fresh [V] and cautions. No load (inf) lasts forever.

    Raises
    ------
    ValueError
        If a value is out of range.

    Warns
    -----
    ModelRangeWarning
        If the current is beyond what the record's law is meant for.

    Notes
    -----
    t = Q times the integral of (R_L + R(s))/V_open(s) over s from 0 to s_end, with
    V_open(s_end) = V_end (1 + R(s_end)/R_L).

    References
    ----------
    DERIVED; charge and course of the voltage as the battery record says (NINE-VOLT, MEMORY).

    Examples
    --------
    >>> from pedalcalc.devices import BATTERY_9V_ALKALINE
    >>> print(f"{battery_life_resistive(resistance_load=620.0, voltage_end=5.4, battery=BATTERY_9V_ALKALINE).hours_life:.1f}")
    42.2
    """
    load = numeric("resistance_load", resistance_load, above=0, infinity=True)
    end = numeric("voltage_end", voltage_end, least=0)
    is_a("battery", battery, Battery)
    knee = battery.used_knee
    per_charge = np.zeros(np.broadcast_shapes(load.shape, end.shape))
    used = per_charge.copy()
    for low, high in ((0.0, knee), (knee, 1.0)):
        open_, inside = _open(battery, np.array([low, high]))
        if low == knee:
            open_[0] = battery.voltage_knee
        # Crossing of V_open - V_end (1 + R/R_L), straight on the piece.
        margin = [v - end * (1 + r / load) for v, r in zip(open_, inside, strict=True)]
        part = (high - low) * _end_of_piece(margin[0], margin[1], np.zeros_like(margin[0]))
        used = used + part
        s = low + part[..., None] * _NODES
        volts, ohms = _open(battery, s)
        per_charge = per_charge + part * np.sum(_WEIGHTS * (load[..., None] + ohms) / volts, axis=-1)
    fresh = battery.voltage_fresh / (1 + battery.resistance_fresh / load)
    _warn_of_drain(battery, battery.voltage_fresh / (load + battery.resistance_fresh))
    return _life(battery, np.asarray(per_charge), np.asarray(used), fresh + 0 * used, end)


@formula
def battery_life_ideal(*, charge: ArrayLike, current_load: ArrayLike) -> Number:
    """Find how long a charge lasts at a constant current, the label's rule.

    Parameters
    ----------
    charge : array_like
        Charge held [C], at least 0; one ampere-hour is 3600 C.
    current_load : array_like
        Load current [A], at least 0; 0 lasts forever.

    Returns
    -------
    float or ndarray
        Time [s].

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    t = Q/I. The charge on a label holds for a light drain.

    References
    ----------
    KUPHALDT-1 chapter 11, battery ratings.

    Examples
    --------
    >>> print(f"{battery_life_ideal(charge=0.550 * 3600, current_load=0.010) / 3600:g}")
    55
    """
    q = numeric("charge", charge, least=0)
    current = numeric("current_load", current_load, least=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where((q == 0) & ~np.isnan(current), 0.0, q / current)[()]
