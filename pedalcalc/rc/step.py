"""Charge and discharge of a capacitor through a resistor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import formula
from pedalcalc._ranges import AnyNumber, AtLeastZero, ZeroToInfinity
from pedalcalc._refusal import refused
from pedalcalc._result import Number, Result, quantity
from pedalcalc._units import shown
from pedalcalc.rc.corner import product


@dataclass(frozen=True, slots=True, eq=False)
class Charging(Result):
    """Result of `charging`; every field has the broadcast shape of the inputs."""

    voltage: Number = quantity("V", "voltage on the capacitor")
    current: Number = quantity("A", "current into the capacitor")
    time_constant: Number = quantity("s", "time constant")


def _elapsed(time: NDArray[np.float64], tau: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return time over time constant: 0 at the start, infinite later where tau is 0."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where((time == 0) & (tau == 0), 0.0, time / tau)


def _left(elapsed: NDArray[np.float64]) -> NDArray[np.float64]:
    with np.errstate(under="ignore"):
        return np.exp(-elapsed)


@formula
def charging(
    time: AtLeastZero,
    *,
    voltage_start: AnyNumber,
    voltage_final: AnyNumber,
    resistance: ZeroToInfinity,
    capacitance: AtLeastZero,
) -> Charging:
    """Find voltage and current of a capacitor a while after a step through a resistor, either way.

    Parameters
    ----------
    time : array_like
        Time since the step [s], at least 0.
    voltage_start : array_like
        Voltage on the capacitor at the step [V].
    voltage_final : array_like
        Voltage that the resistor leads to [V].
    resistance : array_like
        Resistance [Ω], 0 to infinity.
    capacitance : array_like
        Capacitance [F], at least 0.

    Returns
    -------
    Charging
        Voltage [V], current into the capacitor [A] and time constant [s]. Through 0 Ω the
        voltage has arrived at any time after the step, and the current at the step is infinite.

    Raises
    ------
    ValueError
        If a value is out of range, or an open resistor meets a capacitance of zero.

    Notes
    -----
    v = V_0 e^(−t/τ) + V_inf (1 − e^(−t/τ)), i = (V_inf − V_0)/R e^(−t/τ), τ = R C. After τ a change is 63.2 % done,
    after 5 τ 99.3 %.

    References
    ----------
    KUPHALDT-1, ch. 16, voltage and current calculations.

    Examples
    --------
    >>> point = charging(1.0, voltage_start=0, voltage_final=15, resistance=1e4, capacitance=1e-4)
    >>> print(f"{point.voltage:.3f} V, {point.current * 1e6:.1f} uA")
    9.482 V, 551.8 uA
    """
    start, final = voltage_start, voltage_final
    tau = product("resistance", resistance, "capacitance", capacitance)
    elapsed = _elapsed(time, tau)
    with np.errstate(under="ignore", divide="ignore", invalid="ignore"):
        voltage = start * _left(elapsed) - final * np.expm1(-elapsed)
        driving = (final - start) * _left(elapsed)
        current = np.where((driving == 0) & (resistance == 0), 0.0, driving / resistance) + 0.0
    return Charging(voltage=voltage, current=current, time_constant=tau)


@formula
def time_between_levels(
    *,
    voltage_start: AnyNumber,
    voltage_level: AnyNumber,
    voltage_final: AnyNumber,
    resistance: ZeroToInfinity,
    capacitance: AtLeastZero,
) -> Number:
    """Find how long a capacitor takes from one voltage to another on its way to a third.

    Parameters
    ----------
    voltage_start : array_like
        Voltage at which the clock starts [V].
    voltage_level : array_like
        Voltage at which the clock stops [V]; from `voltage_start` to `voltage_final`.
    voltage_final : array_like
        Voltage after a long time [V].
    resistance : array_like
        Resistance [Ω], 0 to infinity.
    capacitance : array_like
        Capacitance [F], at least 0.

    Returns
    -------
    float or ndarray
        Time [s]; infinite where the level is the final voltage itself, which is only approached.

    Raises
    ------
    ValueError
        If a value is out of range, an open resistor meets a capacitance of zero, or a level is never reached.

    Notes
    -----
    t = τ ln((V_inf − V_0)/(V_inf − V_x)), τ = R C.

    References
    ----------
    KUPHALDT-1, ch. 16, solving for unknown time.

    Examples
    --------
    From 10 to 90 % of a step takes 2.2 time constants:

    >>> rising = dict(voltage_start=0.1, voltage_level=0.9, voltage_final=1)
    >>> print(f"{time_between_levels(**rising, resistance=1e6, capacitance=1e-6):.3f} s")
    2.197 s
    """
    tau = product("resistance", resistance, "capacitance", capacitance)
    start, level, final = np.broadcast_arrays(voltage_start, voltage_level, voltage_final)
    missed = ((level - start) * np.sign(final - start) < 0) | ((final - level) * np.sign(final - start) < 0)
    missed |= (final == start) & (level != start) & ~np.isnan(level)
    if np.any(missed):
        first, last = (shown(values[missed].flat[0], "V") for values in (start, final))
        allowed = f"between voltage_start ({first}) and voltage_final ({last}), or it is never reached"
        raise refused("voltage_level", allowed, level, missed)
    with np.errstate(divide="ignore", invalid="ignore"):
        elapsed = np.log1p((level - start) / (final - level))
        elapsed = np.where(level == start, 0.0, np.where(level == final, np.inf, elapsed))
        time = np.where((elapsed == 0) | (tau == 0), 0.0, tau * elapsed)
    return np.where(np.isnan(start + level + final + tau), np.nan, time)
