"""Single numbers, checked."""

from __future__ import annotations

from typing import Any

from pedalcalc._arguments import one_number
from pedalcalc._units import told

#: Tones and levels that such a circuit, or a calculation of it, can mean; more asks for hours, or for all memory.
TONE: dict[str, Any] = {"least": 0.1, "most": 10e6}
LEVEL: dict[str, Any] = {"least": -400.0, "most": 200.0}
#: Times of a step: the longest is a day.
TIME: dict[str, Any] = {"least": 1e-9, "most": 86_400.0}
RATE_MOST = 10e6
SAMPLES_MOST = 100_000_000


def callback(name: str, value: Any) -> Any:
    """Return what may be called with the fraction done, or None; refuse anything else by name."""
    if value is not None and (isinstance(value, type) or not callable(value)):
        raise TypeError(f"{name} must be a function of the fraction done, not {told(value)}")
    return value


def scalar(name: str, value: Any, **allowed: Any) -> float:
    """Return one known number, or refuse it by name."""
    return one_number(name, value, "", **allowed)
