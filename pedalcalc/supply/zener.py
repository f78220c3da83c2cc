"""How far load and supply of a zener diode behind a resistor may move; the point itself is `junction.zener_regulator`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._base import Number, Result, fit_together, formula, numeric, quantity
from pedalcalc.junction.models import zener_knee

__all__ = ["ZenerLoadRange", "ZenerSupplyRange", "zener_load_range", "zener_supply_range"]


@dataclass(frozen=True, slots=True, eq=False)
class ZenerLoadRange(Result):
    """Loads between which a zener diode on a fixed supply stays in its range."""

    current_load_min: Number = quantity("A", "lowest load current")
    current_load_max: Number = quantity("A", "highest load current")
    resistance_load_min: Number = quantity("Ω", "lowest load resistance")
    resistance_load_max: Number = quantity("Ω", "highest load resistance")
    regulates: bool | NDArray[np.bool_] = quantity("bool", "there is such a load")


@dataclass(frozen=True, slots=True, eq=False)
class ZenerSupplyRange(Result):
    """Supplies between which a zener diode with a fixed load stays in its range."""

    voltage_supply_min: Number = quantity("V", "lowest supply")
    voltage_supply_max: Number = quantity("V", "highest supply")


@formula
def zener_load_range(
    voltage_supply: ArrayLike,
    *,
    resistance: ArrayLike,
    voltage_zener: ArrayLike,
    current_zener_max: ArrayLike,
    current_zener_min: ArrayLike = 0.0,
    resistance_zener: ArrayLike = 0.0,
    current_test: ArrayLike | None = None,
) -> ZenerLoadRange:
    """Find the loads that a zener diode behind a resistor can steady.

    The lightest load leaves the zener its largest current, the heaviest its smallest.

    Parameters
    ----------
    voltage_supply : array_like
        Supply voltage [V], at least 0.
    resistance : array_like
        Resistor between supply and zener [Ω], > 0, finite.
    voltage_zener : array_like
        Zener voltage; with a slope resistance, as the sheet states it at the test current [V], > 0.
    current_zener_max : array_like
        Most current the zener can stand, P/V [A], > 0, at least the smallest.
    current_zener_min : array_like
        Least current that keeps it in its range [A], at least 0; 0 if not given.
    resistance_zener : array_like
        Slope resistance of the zener [Ω], at least 0; none if not given.
    current_test : array_like, optional
        Current at which the sheet states the zener voltage [A], > 0; needed with a slope resistance.

    Returns
    -------
    ZenerLoadRange
        Load currents [A] and resistances [Ω], and whether there is any such load at all. A lowest
        current of 0 means that the load may be taken off.

    Raises
    ------
    ValueError
        If an argument is outside its range, the smallest zener current exceeds the largest, or a slope
        resistance comes without its test current or would drop the whole zener voltage there.

    Notes
    -----
    I_L = (V_S - V)/R - I_Z and R_L = V/I_L with V = V_Z + (I_Z - I_ZT) r_Z, at both zener currents.

    References
    ----------
    DERIVED, Kirchhoff's current law at the zener; BOYLESTAD-NASHELSKY, ch. 2, for the question.

    Examples
    --------
    A 10 V zener for up to 32 mA behind 1 kΩ on 50 V:

    >>> loads = zener_load_range(50.0, resistance=1e3, voltage_zener=10.0, current_zener_max=0.032)
    >>> print(f"{loads.resistance_load_min:.0f} to {loads.resistance_load_max:.0f} ohm")
    250 to 1250 ohm
    """
    v_s = numeric("voltage_supply", voltage_supply, least=0)
    r = numeric("resistance", resistance, above=0)
    v_z = numeric("voltage_zener", voltage_zener, above=0)
    most, least = _currents(current_zener_max, current_zener_min)
    r_z = numeric("resistance_zener", resistance_zener, least=0)
    v_z = zener_knee(v_z, r_z, current_test)
    v_s, r, v_z, most, least, r_z = np.broadcast_arrays(v_s, r, v_z, most, least, r_z)
    heavy, light = v_z + least * r_z, v_z + most * r_z
    high, low = (v_s - heavy) / r - least, (v_s - light) / r - most
    regulates = high >= 0
    high, low = np.maximum(high, 0.0), np.maximum(low, 0.0)
    with np.errstate(divide="ignore"):
        return ZenerLoadRange(low[()], high[()], (heavy / high)[()], (light / low)[()], np.asarray(regulates)[()])


@formula
def zener_supply_range(
    *,
    resistance: ArrayLike,
    voltage_zener: ArrayLike,
    current_zener_max: ArrayLike,
    resistance_load: ArrayLike = np.inf,
    current_zener_min: ArrayLike = 0.0,
    resistance_zener: ArrayLike = 0.0,
    current_test: ArrayLike | None = None,
) -> ZenerSupplyRange:
    """Find the supplies that a zener diode behind a resistor can steady for a load.

    Parameters
    ----------
    resistance : array_like
        Resistor between supply and zener [Ω], > 0, finite.
    voltage_zener : array_like
        Zener voltage; with a slope resistance, as the sheet states it at the test current [V], > 0.
    current_zener_max : array_like
        Most current the zener can stand, P/V [A], > 0, at least the smallest.
    resistance_load : array_like
        Load across the zener [Ω], > 0; none if not given.
    current_zener_min : array_like
        Least current that keeps it in its range [A], at least 0; 0 if not given.
    resistance_zener : array_like
        Slope resistance of the zener [Ω], at least 0; none if not given.
    current_test : array_like, optional
        Current at which the sheet states the zener voltage [A], > 0; needed with a slope resistance.

    Returns
    -------
    ZenerSupplyRange
        Lowest and highest supply [V].

    Raises
    ------
    ValueError
        If an argument is outside its range, the smallest zener current exceeds the largest, or a slope
        resistance comes without its test current or would drop the whole zener voltage there.

    Notes
    -----
    V_S = V + R (V/R_L + I_Z) with V = V_Z + (I_Z - I_ZT) r_Z, at both zener currents.

    References
    ----------
    DERIVED, Kirchhoff's current law at the zener; BOYLESTAD-NASHELSKY, ch. 2, for the question.

    Examples
    --------
    >>> supply = zener_supply_range(resistance=220.0, voltage_zener=20.0, current_zener_max=0.060, resistance_load=1200.0)
    >>> print(f"{supply.voltage_supply_min:.2f} to {supply.voltage_supply_max:.2f} V")
    23.67 to 36.87 V
    """
    r = numeric("resistance", resistance, above=0)
    v_z = numeric("voltage_zener", voltage_zener, above=0)
    most, least = _currents(current_zener_max, current_zener_min)
    load = numeric("resistance_load", resistance_load, above=0, infinity=True)
    r_z = numeric("resistance_zener", resistance_zener, least=0)
    v_z = zener_knee(v_z, r_z, current_test)
    r, v_z, most, least, load, r_z = np.broadcast_arrays(r, v_z, most, least, load, r_z)

    def needed(current: NDArray[np.float64]) -> Number:
        voltage = v_z + current * r_z
        return (voltage + r * (voltage / load + current))[()]

    return ZenerSupplyRange(needed(least), needed(most))


def _currents(
    current_zener_max: ArrayLike, current_zener_min: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Check both ends of the zener's range."""
    most = numeric("current_zener_max", current_zener_max, above=0)
    least = numeric("current_zener_min", current_zener_min, least=0)
    fit_together(current_zener_max=most, current_zener_min=least)
    if np.any(least > most):
        raise ValueError("current_zener_min must be at most current_zener_max")
    return most, least
