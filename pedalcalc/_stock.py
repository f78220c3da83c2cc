"""A drawer of parts to search through, for the rooms that choose from it."""

from __future__ import annotations

import numpy as np

from pedalcalc._base import Array, Stock
from pedalcalc.values import stock_values


def drawer(stock: Stock, name: str, low: float, high: float) -> Array:
    """Return the values to search through: a drawer's all, a series' from `low` to `high`; refuse what is none by `name`."""
    try:
        return stock_values(stock, value_min=low, value_max=high) if isinstance(stock, str) else stock_values(stock)
    except (TypeError, ValueError) as reason:
        raise type(reason)(str(reason).replace("stock", name, 1)) from None


def steps(known: Array) -> Array:
    """Return, for each of the values, the larger step to its neighbours as the logarithm of the ratio."""
    if known.size == 1:
        return np.full(1, np.log(10) / 3)
    gaps = np.diff(np.log(known))
    return np.asarray(np.maximum(np.append(gaps, gaps[-1]), np.append(gaps[0], gaps)))
