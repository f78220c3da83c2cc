"""How steady a supply is: against its load, and against what feeds it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric

__all__ = ["line_regulation", "voltage_regulation"]


@formula
def voltage_regulation(*, voltage_open: ArrayLike, voltage_loaded: ArrayLike) -> Number:
    """Find how much a supply's voltage falls from no load to full load, relative to full load.

    Parameters
    ----------
    voltage_open : array_like
        Voltage without load [V], at least 0.
    voltage_loaded : array_like
        Voltage at full load [V], > 0.

    Returns
    -------
    float or ndarray
        Regulation [1]; 0.1 is what texts call 10 %, a good supply has less.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    (V_open - V_loaded)/V_loaded.

    References
    ----------
    BOYLESTAD-NASHELSKY chapter 15; definition from memory (MEMORY).

    Examples
    --------
    >>> print(f"{voltage_regulation(voltage_open=13.0, voltage_loaded=9.0):.2f}")
    0.44
    """
    free = numeric("voltage_open", voltage_open, least=0)
    loaded = numeric("voltage_loaded", voltage_loaded, above=0)
    return ((free - loaded) / loaded)[()]


@formula
def line_regulation(
    *, voltage_change_output: ArrayLike, voltage_change_supply: ArrayLike, voltage_output: ArrayLike
) -> Number:
    """Find how much of a change of the supply gets through a regulator, relative to its output.

    Parameters
    ----------
    voltage_change_output : array_like
        Change of the output [V], any sign.
    voltage_change_supply : array_like
        Change of the supply that caused it [V], not 0.
    voltage_output : array_like
        Output voltage [V], not 0.

    Returns
    -------
    float or ndarray
        Share of the output for each volt of the supply, times one volt [1]; 0.003 is what texts call 0.3 %/V.

    Raises
    ------
    ValueError
        If a value is out of range.

    Notes
    -----
    (ΔV_out/V_out)/(ΔV_S/1 V).

    References
    ----------
    FLOYD-DEVICES chapter on regulators; definition from memory (MEMORY).

    Examples
    --------
    >>> share = line_regulation(voltage_change_output=0.01, voltage_change_supply=2.0, voltage_output=5.0)
    >>> print(f"{share:.3f}")
    0.001
    """
    change = numeric("voltage_change_output", voltage_change_output)
    cause = numeric("voltage_change_supply", voltage_change_supply)
    out = numeric("voltage_output", voltage_output)
    for name, value in (("voltage_change_supply", cause), ("voltage_output", out)):
        if np.any(value == 0):
            raise ValueError(f"{name} must not be 0")
    return (change / out / cause)[()]
