"""Stock parts for a wanted corner."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pedalcalc._base import Result, numeric, quantity, search
from pedalcalc.values import stock_values as listed


@dataclass(frozen=True, slots=True, eq=False)
class CornerParts(Result):
    """Result of `choose_corner_parts`: one element for each pair of parts, best first."""

    resistance: NDArray[np.float64] = quantity("Ω", "resistor")
    capacitance: NDArray[np.float64] = quantity("F", "capacitor")
    frequency_corner: NDArray[np.float64] = quantity("Hz", "corner frequency")
    error: NDArray[np.float64] = quantity("1", "error of the corner")


def positive(name: str, value: float) -> float:
    """Return one finite number above 0, or refuse it by name."""
    checked = numeric(name, value, above=0)
    if checked.ndim:
        raise ValueError(f"{name} must be a single number, got {checked.size} of them")
    if np.isnan(checked):
        raise ValueError(f"{name} must be known to choose parts, got nan")
    return float(checked)


def stock_values(series: str, low_name: str, low: float, high_name: str, high: float) -> NDArray[np.float64]:
    """Return the preferred values from `low` to `high`, both included."""
    low, high = positive(low_name, low), positive(high_name, high)
    if low > high:
        raise ValueError(f"{low_name} must be at most {high_name} ({high:g}), got {low:g}")
    decades = range(math.floor(math.log10(low)) - 1, math.floor(math.log10(high)) + 2)
    ladder = np.array([float(f"{number}e{decade}") for decade in decades for number in listed(series)])
    kept = ladder[(ladder >= low * (1 - 1e-12)) & (ladder <= high * (1 + 1e-12))]
    if kept.size == 0:
        raise ValueError(f"{low_name} to {high_name} must hold a value of {series}: none from {low:g} to {high:g}")
    return kept


@search
def choose_corner_parts(
    frequency_corner: float,
    *,
    series_resistance: str,
    resistance_min: float,
    resistance_max: float,
    series_capacitance: str,
    capacitance_min: float,
    capacitance_max: float,
) -> CornerParts:
    """List the pairs of stock resistor and capacitor that come near a wanted corner.

    For each stock capacitor the stock resistor is taken whose corner lies nearest by ratio.

    Parameters
    ----------
    frequency_corner : float
        Wanted corner frequency [Hz], above 0.
    series_resistance : str
        Preferred-number series of the resistors, E3 to E192.
    resistance_min : float
        Lowest resistor to use [Ω], above 0; what drives the filter sets it.
    resistance_max : float
        Highest resistor to use [Ω]; noise and what hangs on the filter set it.
    series_capacitance : str
        Preferred-number series of the capacitors; film types are commonly stocked in E6.
    capacitance_min : float
        Lowest capacitor to use [F], above 0.
    capacitance_max : float
        Highest capacitor to use [F].

    Returns
    -------
    CornerParts
        Resistor, capacitor, their corner and its relative error, nearest by ratio first; a
        capacitor whose best resistor is off by more than the step of the series is left out.

    Raises
    ------
    ValueError
        If a value is out of range, a range holds no stock value, or no pair comes near the corner.

    Notes
    -----
    f_c = 1/(2 π R C) is compared by ratio. Tolerances of the parts usually matter more than
    the error listed here.

    References
    ----------
    KUPHALDT-2, ch. 8 for the corner; IEC-60063 for the values.

    Examples
    --------
    >>> found = choose_corner_parts(
    ...     720, series_resistance="E24", resistance_min=1e3, resistance_max=100e3,
    ...     series_capacitance="E6", capacitance_min=1e-9, capacitance_max=1e-6)
    >>> print(f"{found.resistance[0]:.0f} ohm, {found.capacitance[0] * 1e9:.1f} nF, {found.error[0]:+.2%}")
    47000 ohm, 4.7 nF, +0.07%
    """
    wanted = positive("frequency_corner", frequency_corner)
    resistors = stock_values(series_resistance, "resistance_min", resistance_min, "resistance_max", resistance_max)
    capacitors = stock_values(
        series_capacitance, "capacitance_min", capacitance_min, "capacitance_max", capacitance_max
    )
    corners = 1 / (2 * np.pi * resistors[:, None] * capacitors)
    off = np.abs(np.log(corners / wanted))
    best = np.argmin(off, axis=0)
    column = np.arange(capacitors.size)
    near = off[best, column] <= np.log(10) / listed(series_resistance).size
    if not np.any(near):
        raise ValueError(
            f"frequency_corner must be within reach of the parts, "
            f"{corners.min():.3g} to {corners.max():.3g} Hz, got {wanted:g}"
        )
    order = column[near][np.argsort(off[best, column][near], kind="stable")]
    chosen = corners[best[order], order]
    return CornerParts(resistors[best[order]], capacitors[order], chosen, chosen / wanted - 1)
