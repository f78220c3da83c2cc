"""Corner frequency, and the resistor or capacitor that gives one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._arguments import fit_together, numeric
from pedalcalc._base import formula
from pedalcalc._ranges import AtLeastZero, ZeroToInfinity
from pedalcalc._refusal import must
from pedalcalc._result import Number
from pedalcalc._units import said


def product(
    first_name: str, first: NDArray[np.float64], second_name: str, second: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Multiply two values, refusing zero times infinity, which has no answer."""
    first, second = np.broadcast_arrays(first, second)
    clash = ((first == 0) & np.isinf(second)) | (np.isinf(first) & (second == 0))
    if np.any(clash):
        got = f"got {said(first_name, first[clash].flat[0])} and {said(second_name, second[clash].flat[0])}"
        raise must(f"{first_name} and {second_name} must not be zero and infinite together, {got}", clash)
    return np.asarray(first * second)


def several(name: str, values: Sequence[ArrayLike], **allowed: float | bool) -> list[NDArray[np.float64]]:
    """Return a sequence of checked arrays, broadcast together; a lone number is refused."""
    if not isinstance(values, (tuple, list, np.ndarray)) or (isinstance(values, np.ndarray) and values.ndim == 0):
        raise TypeError(f"{name} must be a tuple of numbers or arrays, not {values!r}")
    checked = [numeric(f"{name}[{place}]", value, **allowed) for place, value in enumerate(values)]
    fit_together(**{f"{name}[{place}]": array for place, array in enumerate(checked)})
    return list(np.broadcast_arrays(*checked)) if checked else []


def _inverse_turn(product_of_two: NDArray[np.float64]) -> Number:
    with np.errstate(divide="ignore"):
        return np.asarray(1 / (2 * np.pi * product_of_two))


@formula
def corner_frequency(*, resistance: ZeroToInfinity, capacitance: AtLeastZero) -> Number:
    """Find the frequency at which a resistor and a capacitor put the response 3 dB down.

    Parameters
    ----------
    resistance : array_like
        Resistance that the capacitor sees [Ω], 0 to infinity.
    capacitance : array_like
        Capacitance [F], at least 0.

    Returns
    -------
    float or ndarray
        Corner frequency [Hz]; infinite for zero resistance or capacitance, 0 for an open resistor.

    Raises
    ------
    ValueError
        If a value is out of range, or an open resistor meets a capacitance of zero.

    Notes
    -----
    f_c = 1 / (2 π R C): the reactance of the capacitor equals the resistance.

    References
    ----------
    KUPHALDT-2, ch. 8, low-pass filters.

    Examples
    --------
    >>> print(f"{corner_frequency(resistance=500, capacitance=7e-6):.3f} Hz")
    45.473 Hz
    """
    return _inverse_turn(product("resistance", resistance, "capacitance", capacitance))


@formula
def corner_resistance(frequency_corner: ZeroToInfinity, *, capacitance: AtLeastZero) -> Number:
    """Find the resistance that gives a corner frequency with a capacitor at hand.

    Parameters
    ----------
    frequency_corner : array_like
        Wanted corner frequency [Hz], 0 to infinity.
    capacitance : array_like
        Capacitance [F], at least 0.

    Returns
    -------
    float or ndarray
        Resistance that the capacitor must see [Ω].

    Raises
    ------
    ValueError
        If a value is out of range, or an infinite corner meets a capacitance of zero.

    Notes
    -----
    R = 1 / (2 π f_c C).

    References
    ----------
    KUPHALDT-2, ch. 8, solved for R.

    Examples
    --------
    >>> print(f"{corner_resistance(100, capacitance=100e-9):.0f} ohm")
    15915 ohm
    """
    return _inverse_turn(product("frequency_corner", frequency_corner, "capacitance", capacitance))


@formula
def corner_capacitance(frequency_corner: ZeroToInfinity, *, resistance: ZeroToInfinity) -> Number:
    """Find the capacitance that gives a corner frequency with a resistor at hand.

    A bypass capacitor that shall hold a resistor's upper end still gets its corner at a tenth of the lowest frequency
    of interest (common practice): its reactance there is a tenth of the resistance.

    Parameters
    ----------
    frequency_corner : array_like
        Wanted corner frequency [Hz], 0 to infinity.
    resistance : array_like
        Resistance that the capacitor sees [Ω], 0 to infinity.

    Returns
    -------
    float or ndarray
        Capacitance [F].

    Raises
    ------
    ValueError
        If a value is out of range, or zero meets infinity.

    Notes
    -----
    C = 1 / (2 π f_c R).

    References
    ----------
    KUPHALDT-2, ch. 8, solved for C; PRACTICE, a bypass of X_C = R/10 at the lowest frequency.

    Examples
    --------
    >>> print(f"{corner_capacitance(20, resistance=1e6) * 1e9:.2f} nF")
    7.96 nF
    """
    return _inverse_turn(product("frequency_corner", frequency_corner, "resistance", resistance))
