"""Clipping by diodes that are taken as a constant drop."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._base import Number, formula, numeric


@formula
def clipped_voltage(
    voltage: ArrayLike,
    *,
    resistance: ArrayLike,
    voltage_clip_high: ArrayLike,
    voltage_clip_low: ArrayLike,
    resistance_load: ArrayLike = np.inf,
) -> Number:
    """Find the output of diodes to ground that clip a signal behind a resistor.

    Each diode stands for a constant drop: it is open until the output reaches its
    level and holds the output there. The level is the drop of all diodes in
    that branch, and of a bias in series with them. For the rounded corner of a real
    diode see `series_point`.

    Parameters
    ----------
    voltage : array_like
        Input voltage [V], any sign.
    resistance : array_like
        Resistor between input and diodes [Ω], at least 0, finite.
    voltage_clip_high : array_like
        Level of the branch that conducts on the upper side [V]; inf where there is none.
    voltage_clip_low : array_like
        Level of the branch that conducts on the lower side [V], at most the upper one; -inf where there is none.
    resistance_load : array_like
        Load across the diodes [Ω], > 0; open unless stated.

    Returns
    -------
    float or ndarray
        Output voltage [V].

    Raises
    ------
    ValueError
        If an argument is outside its range, or the lower level is above the upper one.

    Notes
    -----
    V RL/(R + RL), held between both levels.

    References
    ----------
    DERIVED, a divider and two constant drops; KUPHALDT-3, ch. 3, clipper circuits, for the circuit.

    Examples
    --------
    Two diodes one way, one the other way:

    >>> held = clipped_voltage([-3.0, 0.5, 3.0], resistance=1e3, voltage_clip_high=1.4, voltage_clip_low=-0.7)
    >>> print(held)
    [-0.7  0.5  1.4]
    """
    v = numeric("voltage", voltage)
    r = numeric("resistance", resistance, least=0)
    high = numeric("voltage_clip_high", voltage_clip_high, infinity=True)
    low = numeric("voltage_clip_low", voltage_clip_low, infinity=True)
    load = numeric("resistance_load", resistance_load, above=0, infinity=True)
    if np.any(low > high):
        raise ValueError("voltage_clip_low must be at most voltage_clip_high")
    return np.minimum(np.maximum(v / (1 + r / load), low), high)[()]
