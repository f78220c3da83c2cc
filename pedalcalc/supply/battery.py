"""Battery under load: voltage against used charge, and how long it lasts.

Open-circuit voltage V(s) and internal resistance R(s) over the used share s
of the charge are straight pieces (`pedalcalc.devices.Battery`): one to the
knee, one from there to empty. A load is a constant current, a resistance, or both side by side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import is_a
from pedalcalc._base import formula
from pedalcalc._ranges import AboveZeroToInfinity, AtLeastZero, ZeroToInfinity, ZeroToOne
from pedalcalc._record import ends
from pedalcalc._result import Caution, Number, Result, caution_above, caution_below, quantity, warn_outside_model
from pedalcalc.devices import Battery

__all__ = ["BatteryLife", "BatteryState", "battery_life", "battery_voltage"]

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
        warn_outside_model(
            f"{battery.name}: above {1000 * battery.current_checked:g} mA the battery gives less charge than this law says"
        )


@dataclass(frozen=True, slots=True, eq=False)
class BatteryState(Result):
    """A battery under load at one used share of its charge."""

    voltage_output: Number = quantity("V", "voltage at the clips")
    voltage_open: Number = quantity("V", "voltage without load")
    resistance_internal: Number = quantity("Ω", "internal resistance")
    current_load: Number = quantity("A", "load current")


@formula
def battery_voltage(
    used: ZeroToOne, *, battery: Battery, current_load: AtLeastZero = 0.0, resistance_load: ZeroToInfinity = np.inf
) -> BatteryState:
    """Find a battery's voltage under load at a used share of its charge.

    Parameters
    ----------
    used : array_like
        Used share of the charge [1], 0 to 1; 0 is fresh.
    battery : Battery
        Battery record (`pedalcalc.devices`).
    current_load : array_like
        Constant current drawn [A], at least 0; none unless stated.
    resistance_load : array_like
        Resistance across the battery [Ω], at least 0, 0 is a short; none (inf) unless stated.

    Returns
    -------
    BatteryState
        Voltage under load and without [V], internal resistance [Ω], current of both loads [A].

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
    V = (V_open(s) - I R(s))/(1 + R(s)/R_L), V_open and R straight pieces over s.

    References
    ----------
    KUPHALDT-1 chapter 11, internal resistance; MEMORY for the course of voltage and resistance; SHEET-6LR61 for the
    fresh resistance.

    Examples
    --------
    >>> from pedalcalc.devices import BATTERY_9V_ALKALINE
    >>> print(f"{battery_voltage(0.5, current_load=0.010, battery=BATTERY_9V_ALKALINE).voltage_output:.2f}")
    8.34
    >>> print(f"{battery_voltage(0.0, resistance_load=620.0, battery=BATTERY_9V_ALKALINE).voltage_output:.3f}")
    9.469
    """
    s, current, load = used, current_load, resistance_load
    is_a("battery", battery, Battery)
    open_, inside = _open(battery, s)
    # Of a short the current is the limit; voltage and current follow from it, not the other way round.
    total = current + np.where(np.isinf(load), 0.0 * current, (open_ - current * inside) / (load + inside))
    _warn_of_drain(battery, total)
    return BatteryState(
        voltage_output=(open_ - total * inside)[()],
        voltage_open=(open_ + 0 * total)[()],
        resistance_internal=(inside + 0 * total)[()],
        current_load=np.asarray(total + 0 * s)[()],
    )


@dataclass(frozen=True, slots=True, eq=False)
class BatteryLife(Result):
    """How long a fresh battery lasts."""

    time_life: Number = quantity("s", "time until the end voltage, typical battery")
    time_life_min: Number = quantity("s", "the same, least charge")
    time_life_max: Number = quantity("s", "the same, most charge")
    hours_life: Number = quantity("h", "how long it lasts, typical battery")
    used: Number = quantity("1", "used share of the charge at the end", percent=True)
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
    return BatteryLife(
        time_life=typical[()],
        time_life_min=low[()],
        time_life_max=high[()],
        hours_life=(typical / 3600)[()],
        used=used[()],
        voltage_start=start[()],
        cautions=cautions,
    )


def _end_of_piece(start: Array, stop: Array, end: Array) -> Array:
    """Return how far, 0 to 1, a straight piece from `start` to `stop` runs before it crosses `end`."""
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (start - end) / (start - stop)
    return np.where(start <= end, 0.0, np.where(stop >= end, 1.0, share)) + 0.0 * (start + stop + end)


@formula
def battery_life(
    *,
    voltage_end: AtLeastZero,
    battery: Battery,
    current_load: AtLeastZero = 0.0,
    resistance_load: AboveZeroToInfinity = np.inf,
) -> BatteryLife:
    """Find how long a fresh battery feeds a load before it falls to an end voltage.

    Parameters
    ----------
    voltage_end : array_like
        Voltage under load at which the build stops working properly [V], at least 0.
    battery : Battery
        Battery record (`pedalcalc.devices`).
    current_load : array_like
        Constant current drawn [A], at least 0; none unless stated.
    resistance_load : array_like
        Resistance across the battery, whose current falls with the voltage [Ω], above 0; none (inf) unless stated.

    Returns
    -------
    BatteryLife
        Time for the typical, least and most charge [s], hours [h], used share
        [1], voltage when fresh [V] and cautions. No load lasts forever.

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
    t = Q times the integral of 1/(I + V(s)/R_L) over s from 0 to s_end, with V as in `battery_voltage` and V(s_end) the
    end voltage. With a constant current alone this is s_end Q/I, and down to the empty voltage the label's Q/I.

    References
    ----------
    DERIVED; KUPHALDT-1 chapter 11 for Q/I; charge and course of the voltage as the battery record says (NINE-VOLT,
    MEMORY).

    Examples
    --------
    >>> from pedalcalc.devices import BATTERY_9V_ALKALINE
    >>> life = battery_life(current_load=0.010, voltage_end=7.0, battery=BATTERY_9V_ALKALINE)
    >>> print(f"{life.hours_life:.1f}, {life.used:.3f}")
    47.1, 0.856
    >>> print(f"{battery_life(resistance_load=620.0, voltage_end=5.4, battery=BATTERY_9V_ALKALINE).hours_life:.1f}")
    42.2
    """
    end, current, load = voltage_end, current_load, resistance_load
    is_a("battery", battery, Battery)
    end, current, load = np.broadcast_arrays(end, current, load)
    share = 1 / load
    per_charge = np.zeros(end.shape)
    used = per_charge.copy()
    for low, high in ((0.0, battery.used_knee), (battery.used_knee, 1.0)):
        open_, inside = _open(battery, np.array([low, high]))
        # Crossing of V_open - I R - V_end (1 + R/R_L), straight on the piece.
        margin = [v - current * r - end * (1 + r * share) for v, r in zip(open_, inside, strict=True)]
        part = (high - low) * _end_of_piece(margin[0], margin[1], np.zeros_like(margin[0]))
        used = used + part
        volts, ohms = _open(battery, low + part[..., None] * _NODES)
        drain = (current[..., None] + volts * share[..., None]) / (1 + ohms * share[..., None])
        with np.errstate(divide="ignore", invalid="ignore"):
            slowness = np.sum(_WEIGHTS / drain, axis=-1)
            per_charge = per_charge + np.where(part == 0, 0.0, part * slowness)
    fresh = (battery.voltage_fresh - current * battery.resistance_fresh) / (1 + battery.resistance_fresh * share)
    _warn_of_drain(battery, current + fresh * share)
    return _life(battery, np.asarray(per_charge), np.asarray(used), fresh + 0 * used, end)
