"""A drawer of parts to search through, for the rooms that choose from it."""

from __future__ import annotations

import numpy as np

from pedalcalc._arguments import Stock
from pedalcalc._result import Array
from pedalcalc._units import shown, told
from pedalcalc.values._series import between, ladder


def drawer(stock: Stock, name: str, low: float, high: float, unit: str = "Ω") -> Array:
    """Return the values to search through: a drawer's all, a series' from `low` to `high`; refuse what is none by `name`."""
    known = ladder(stock, name)
    if not isinstance(stock, str):
        return known
    kept = between(known, low, high)
    if kept.size == 0:
        raise ValueError(f"{name} must hold a value from {shown(low, unit)} to {shown(high, unit)}, got {told(stock)}")
    return kept


def steps(known: Array) -> Array:
    """Return, for each of the values, the larger step to its neighbours as the logarithm of the ratio."""
    if known.size == 1:
        return np.full(1, np.log(10) / 3)
    gaps = np.diff(np.log(known))
    return np.asarray(np.maximum(np.append(gaps, gaps[-1]), np.append(gaps[0], gaps)))
