"""Single numbers, checked."""

from __future__ import annotations

from typing import Any

import numpy as np

from pedalcalc._base import numeric


def scalar(name: str, value: Any, **allowed: Any) -> float:
    """Return one known number, or refuse it by name."""
    array = numeric(name, value, **allowed)
    if array.ndim or np.isnan(array):
        raise ValueError(f"{name} must be one known number, got {value!r}")
    return float(array)


def whole(name: str, value: Any, *, least: float = 0, most: float | None = None) -> int:
    """Return a whole number, or refuse it by name."""
    number = scalar(name, value, least=least, most=most)
    if number != int(number):
        raise ValueError(f"{name} must be a whole number, got {number:g}")
    return int(number)
