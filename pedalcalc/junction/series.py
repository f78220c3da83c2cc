"""A junction in series with a resistance, solved exactly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, Result, formula, numeric_view, quantity
from pedalcalc.devices._law import VOLTAGE_THERMAL_300K, saturation_through
from pedalcalc.laws._wright import Floats, log_current, solve_series


@dataclass(frozen=True, slots=True, eq=False)
class SeriesPoint(Result):
    """Where a junction in series with a resistance settles."""

    current: Number = quantity("A", "current")
    voltage_junction: Number = quantity("V", "voltage across the junction")
    voltage_resistor: Number = quantity("V", "voltage across the resistance")
    resistance_dynamic: Number = quantity("Ω", "dynamic resistance of the junction")
    power_junction: Number = quantity("W", "power in the junction")
    power_resistor: Number = quantity("W", "power in the resistance")


@formula
def series_current(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    current_saturation: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> Number:
    """Find the current through a junction in series with a resistance.

    The exact current at which V = n Vt ln(1 + I/Is) + I R, forward and
    reverse, with full relative precision down to zero current.

    Parameters
    ----------
    voltage : array_like
        Voltage across junction and resistance together [V], any sign.
    resistance : array_like
        Total resistance in series, that of the part included [Ω], 0 to inf.
    current_saturation : array_like
        Saturation current Is [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0.
    voltage_thermal : array_like
        Thermal voltage Vt = kT/q [V], > 0; 300 K if not given.

    Returns
    -------
    float or ndarray
        Current I [A]. With no resistance the plain diode law; inf where that
        exceeds what a float holds.

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    With r = Is R / (n Vt) the solution is
    I = n Vt / R * omega(ln r + r + V / (n Vt)) - Is, omega the Wright function.
    Where the subtraction would lose digits, Newton's method on the circuit
    equation itself restores them; it converges from below because ln(1 + I/Is)
    is concave.

    References
    ----------
    BANWELL-JAYAKUMAR, the exact solution (with Lambert's W); DERIVED, the
    form that does not overflow.

    Examples
    --------
    >>> i = series_current(0.9, resistance=249.3, current_saturation=25e-15, voltage_thermal=0.0257025)
    >>> print(f"{i * 1000:.5f} mA")
    1.08485 mA
    """
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    i_s = numeric_view("current_saturation", current_saturation, above=0)
    n = numeric_view("ideality", ideality, above=0)
    v_t = numeric_view("voltage_thermal", voltage_thermal, above=0)
    return solve_series(v, r, i_s, np.asarray(n * v_t))[()]


@formula
def series_point(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    current_saturation: ArrayLike,
    ideality: ArrayLike = 1.0,
    voltage_thermal: ArrayLike = VOLTAGE_THERMAL_300K,
) -> SeriesPoint:
    """Find where a junction in series with a resistance settles.

    Current, both voltages, the junction's dynamic resistance and both powers,
    each with full relative precision, forward and reverse.

    Parameters
    ----------
    voltage : array_like
        Voltage across junction and resistance together [V], any sign.
    resistance : array_like
        Total resistance in series, that of the part included [Ω], 0 to inf.
    current_saturation : array_like
        Saturation current Is [A], > 0.
    ideality : array_like
        Emission coefficient n [1], > 0; 1 is the ideal diode.
    voltage_thermal : array_like
        Thermal voltage Vt [V], > 0; 300 K if not given.

    Returns
    -------
    SeriesPoint
        Current [A], voltages [V], dynamic resistance [Ω] and powers [W].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    Junction law I = Is (exp(Vj / (n Vt)) - 1), dynamic resistance n Vt / (I + Is).
    An open circuit (infinite resistance) has the whole voltage across the gap.

    References
    ----------
    BANWELL-JAYAKUMAR, the exact solution; DERIVED, slope and powers.

    Examples
    --------
    >>> point = series_point(5, resistance=2000, current_saturation=1e-13, voltage_thermal=0.026)
    >>> print(f"{point.voltage_junction:.3f} V, {point.current * 1000:.2f} mA, {point.resistance_dynamic:.1f} Ω")
    0.619 V, 2.19 mA, 11.9 Ω
    """
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    i_s = numeric_view("current_saturation", current_saturation, above=0)
    n = numeric_view("ideality", ideality, above=0)
    v_t = numeric_view("voltage_thermal", voltage_thermal, above=0)
    return _point(v, r, i_s, np.asarray(n * v_t))


@formula
def load_line(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    voltage_reference: ArrayLike,
    current_reference: ArrayLike,
    voltage_decade: ArrayLike,
) -> SeriesPoint:
    """Find where a load line meets a diode that is given by one point and its volts per decade.

    Textbooks and sheets often state a diode as "0.7 V at 1 mA, 0.1 V per decade of current".

    Parameters
    ----------
    voltage : array_like
        Voltage across diode and resistance together [V], any sign.
    resistance : array_like
        Resistance of the load line [Ω], 0 to inf.
    voltage_reference : array_like
        Diode voltage at the reference current [V], > 0.
    current_reference : array_like
        Reference current [A], > 0.
    voltage_decade : array_like
        Rise of the diode voltage for ten times the current [V], > 0.

    Returns
    -------
    SeriesPoint
        Current [A], voltages [V], dynamic resistance [Ω] and powers [W].

    Raises
    ------
    ValueError
        If an argument is outside its range.

    Notes
    -----
    The rise per decade is n Vt ln 10; the saturation current puts the junction law
    through the reference point.

    References
    ----------
    SEDRA-SMITH, example 3.4, which iterates; DERIVED, solved exactly.

    Examples
    --------
    >>> point = load_line(5, resistance=1000, voltage_reference=0.7, current_reference=1e-3, voltage_decade=0.1)
    >>> print(f"{point.current * 1000:.3f} mA, {point.voltage_junction:.3f} V")
    4.237 mA, 0.763 V
    """
    v = numeric_view("voltage", voltage)
    r = numeric_view("resistance", resistance, least=0, infinity=True)
    v_ref = numeric_view("voltage_reference", voltage_reference, above=0)
    i_ref = numeric_view("current_reference", current_reference, above=0)
    nvt = np.asarray(numeric_view("voltage_decade", voltage_decade, above=0) / np.log(10))
    with np.errstate(over="ignore", under="ignore"):
        i_s = np.asarray(saturation_through(v_ref, i_ref, ideality=1.0, resistance_series=0.0, voltage_thermal=nvt))
    if np.any(i_s == 0):
        raise ValueError(
            "voltage_decade is too small for a junction: the saturation current is below what a float holds, "
            f"got {float((nvt * np.log(10) + 0 * i_s)[i_s == 0].flat[0]):g}"
        )
    return _point(v, r, i_s, nvt)


def _point(v: Floats, r: Floats, i_s: Floats, nvt: Floats) -> SeriesPoint:
    current = solve_series(v, r, i_s, nvt)
    v, r, i_s, nvt, current = np.broadcast_arrays(v, r, i_s, nvt, current)
    with np.errstate(all="ignore"):
        across = np.asarray(nvt * log_current(current, i_s))
        slope = np.asarray(nvt / (current + i_s))
        # In deep reverse 1 + I/Is has no digits left; there the circuit equation gives the junction voltage.
        back = np.asarray((current < -0.5 * i_s) & ~np.isinf(r))
        if back.any():
            part = v[back] - current[back] * r[back]
            over, law = r[back] * i_s[back], np.expm1(part / nvt[back])
            part = part - (part + over * law - v[back]) / (1 + over / nvt[back] * (law + 1))
            across[back] = part
            slope[back] = np.exp(np.log(nvt[back]) - np.log(i_s[back]) - part / nvt[back])
        drop = np.asarray(np.where(np.isinf(r), v, current * r))
        return SeriesPoint(
            current=current[()],
            voltage_junction=across[()],
            voltage_resistor=drop[()],
            resistance_dynamic=slope[()],
            power_junction=np.asarray(current * across)[()],
            power_resistor=np.asarray(current * drop)[()],
        )
