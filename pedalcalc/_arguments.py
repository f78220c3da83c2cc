"""What functions are given: every argument is checked here, and refused by name, value and what is allowed."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._refusal import no_record, refused
from pedalcalc._result import Spread
from pedalcalc._units import listed, said, shown, told, unit_of

#: A series such as "E12", or the values of a drawer, numbers or texts.
Stock = str | Sequence[float | str] | NDArray[np.float64]
#: Sizes between which every quantity lies that a pedal, or a calculation of it, can mean.
SMALLEST, LARGEST = 1e-100, 1e100
#: The largest size in decibels.
LARGEST_DB = 2000.0
#: Whole numbers up to here are floats too.
WHOLE = 2**53


@dataclass(frozen=True)
class Range:
    """What one numeric argument may be; called with its name and value, it checks.

    NaN means "not measured" and passes. Infinity (an open circuit) passes only where `infinity` is true. Text, complex
    numbers, None, booleans and masked arrays are refused. Minus zero becomes zero, so that no result shows a minus
    sign that means nothing. What comes back is read-only, and no copy where it is a float array of one sign.
    """

    least: float | None = None
    above: float | None = None
    most: float | None = None
    below: float | None = None
    infinity: bool = False
    unit: str | None = None  # None where the name of the argument tells it
    _ends: tuple[float, float] = field(init=False, repr=False, compare=False)
    _floor: float = field(init=False, repr=False, compare=False)
    _ceiling: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Note the lowest and highest float that are allowed, and those between which all sizes are possible too."""
        end = np.inf if self.infinity else np.finfo(float).max
        low = max(-end, -np.inf if self.least is None else self.least)
        high = min(end, np.inf if self.most is None else self.most)
        low = low if self.above is None else math.nextafter(self.above, math.inf)
        high = high if self.below is None else math.nextafter(self.below, -math.inf)
        object.__setattr__(self, "_ends", (low, high))
        object.__setattr__(self, "_floor", max(low, SMALLEST if self.above == 0 else -LARGEST))
        object.__setattr__(self, "_ceiling", min(high, LARGEST))

    def __str__(self) -> str:
        """Return what is allowed, in words."""
        return self.words("")

    def words(self, unit: str) -> str:
        """Return what is allowed, in words and with its unit."""
        ends = (("at least", self.least), ("above", self.above), ("at most", self.most), ("below", self.below))
        parts = [f"{word} {shown(end, unit if end else '')}" for word, end in ends if end is not None]
        return " and ".join(parts + ["finite"] * (not self.infinity)) or "a number"

    def __call__(self, name: str, value: Any) -> NDArray[np.float64]:
        """Return `value` as a float array, or refuse it naming `name`, value with unit and range."""
        largest = LARGEST_DB if name.endswith(("_db", "_dbv")) else LARGEST
        kind = type(value)
        if (kind is float or kind is np.float64 or (kind is int and -WHOLE < value < WHOLE)) and (
            self._floor <= value <= self._ceiling and -largest <= value <= largest
        ):
            return np.array(value + 0.0)
        if isinstance(value, Spread):
            raise TypeError(
                f"{name} must be a number or an array of numbers, not the range {tuple(value)} of a type; a calculation wants "
                "one part of the type: devices.typical(record), or devices.low, devices.high, devices.drawn"
            )
        if isinstance(value, np.ma.MaskedArray):
            raise TypeError(
                f"{name} must not be a masked array, whose hidden numbers would be used; "
                "give NaN where nothing was measured: array.filled(numpy.nan)"
            )
        try:
            array = np.asarray(value)
        except ValueError:
            raise ValueError(
                f"{name} must be a number or an array of numbers whose rows are all of one length, got {told(value)}"
            ) from None
        if array.dtype.kind not in "iuf":
            cure = (
                ": nothing was given, and nan stands for what is not known"
                if value is None
                else "; text such as '4k7' is read once with pedalcalc.values.read_value"
            )
            raise TypeError(f"{name} must be a number or an array of numbers, not {told(value)}{cure}")
        if not array.size:
            raise ValueError(f"{name} must hold at least one number, got {told(value)}")
        array = array.astype(float, copy=False).view()
        low, high = array.min(), array.max()
        if not (low > 0 or high < 0):
            array = np.asarray(array + 0.0)
        array.flags.writeable = False
        if not (max(self._floor, -largest) <= low and high <= min(self._ceiling, largest)):  # or NaN is among them
            self._refuse(name, array, largest)
        return array

    def _refuse(self, name: str, array: NDArray[np.float64], largest: float) -> None:
        """Refuse the first number that is out of range, or else the first of a size that nothing has."""
        bad = (array < self._ends[0]) | (array > self._ends[1])
        size = np.abs(array)
        odd = (size > largest) & (size < np.inf) | ((array < SMALLEST) & (self.above == 0))
        if not np.any(bad | odd):
            return
        unit = unit_of(name) if self.unit is None else self.unit
        allowed = self.words(unit)
        if not np.any(bad):
            bad, allowed = odd, f"{allowed}, of a size between {shown(SMALLEST, unit)} and {shown(largest, unit)}"
        raise refused(name, allowed, array, bad, unit)


def numeric(name: str, value: Any, **limits: Any) -> NDArray[np.float64]:
    """Return `value` checked as by `Range(**limits)`, as an array of its own that may be written."""
    return Range(**limits)(name, value) + 0.0


def one_number(
    name: str, value: ArrayLike, purpose: str = "to choose a part", *, unknown: bool = False, **limits: Any
) -> float:
    """Return one number within its limits, or refuse it by name; NaN passes only where `unknown` is true."""
    number = numeric(name, value, **limits)
    if number.ndim or (np.isnan(number) and not unknown):
        known = "" if unknown else "known "
        raise ValueError(f"{name} must be one {known}number{purpose and ' '}{purpose}, got {told(value)}")
    return float(number)


def whole_number(name: str, value: Any, *, least: float = 0, most: float | None = None) -> int:
    """Return one whole number within its limits, or refuse it by name."""
    number = one_number(name, value, "", least=least, most=most)
    if number != np.floor(number):
        raise refused(name, f"one whole number of at least {said(name, least)}", number)
    return int(number)


def lowest_usual_highest(name: str, value: Any, **limits: Any) -> tuple[float, float, float]:
    """Return a figure's three values, from one number or from a triple that rises."""
    three = numeric(name, value, **limits)
    if three.shape not in ((), (3,)) or np.isnan(three).any():
        raise ValueError(f"{name} must be one known number, or lowest, usual and highest, got {told(value)}")
    low, usual, high = (float(part) for part in np.broadcast_to(three, 3))
    if not low <= usual <= high:
        got = listed(name, (low, usual, high))
        raise ValueError(f"{name} must rise from lowest over usual to highest, got {got}; are they swapped?")
    return low, usual, high


def fit_together(**arrays: Any) -> None:
    """Refuse arrays whose shapes do not broadcast, naming them.

    For functions some of whose results need only some of the arguments: all results shall have one shape or none.
    """
    shapes_that_fit({name: np.shape(value) for name, value in arrays.items()})


def shapes_that_fit(shapes: Mapping[str, tuple[int, ...]]) -> None:
    """Refuse shapes that do not broadcast, each by its name."""
    try:
        np.broadcast_shapes(*shapes.values())
    except ValueError:
        got = ", ".join(f"{name} {shape}" for name, shape in shapes.items() if shape)
        raise ValueError(f"arrays must have shapes that broadcast together, got {got}") from None


def is_a(name: str, value: Any, kind: type) -> Any:
    """Return `value` if it is a `kind`, else refuse it naming `name`."""
    if not isinstance(value, kind):
        raise no_record(name, value, kind)
    return value


def one_of(name: str, value: Any, allowed: tuple[str, ...]) -> str:
    """Return `value` if it is one of the `allowed` words, else refuse it naming `name`."""
    if not isinstance(value, str) or value not in allowed:
        raise ValueError(f"{name} must be one of {', '.join(allowed)}, got {told(value)}")
    return str(value)


def yes_no(name: str, value: Any) -> bool:
    """Return `value` if it is True or False, else refuse it naming `name`."""
    if not isinstance(value, (bool, np.bool_)):
        raise TypeError(f"{name} must be True or False, not {told(value)}")
    return bool(value)


def words(name: str, value: Any) -> str:
    """Return `value` if it is text, else refuse it naming `name`."""
    if not isinstance(value, str):
        raise TypeError(f"{name} must be text, not {told(value)}")
    return value


def table_of(name: str, value: Any, what: str) -> Mapping[Any, Any]:
    """Return `value` if it is a dictionary by names or pairs of them, empty for None; else refuse it naming `name`."""
    if value is not None and not (isinstance(value, Mapping) and all(isinstance(key, (str, tuple)) for key in value)):
        raise TypeError(f"{name} must be a dictionary of {what}, not {told(value)}")
    return value or {}


def list_of(name: str, value: Any, what: str, kind: type = object) -> tuple[Any, ...]:
    """Return the items of a list if each is a `kind`; else refuse it naming `name` and `what` it holds."""
    if isinstance(value, (str, bytes, Mapping)) or not isinstance(value, Iterable) or isinstance(value, type):
        raise TypeError(f"{name} must be a list of {what}, not {told(value)}")
    items = tuple(np.atleast_1d(value)) if isinstance(value, np.ndarray) else tuple(value)
    for place, item in enumerate(items):
        if not isinstance(item, kind):
            raise TypeError(f"{name}[{place}] must be a {kind.__name__}, one of a list of {what}, not {told(item)}")
    return items


def file_path(name: str, value: Any, *, there: bool = False) -> Path:
    """Return `value` as a path, or refuse what is none, or with `there` where there is no such file, naming `name`."""
    if not isinstance(value, (str, os.PathLike)) or not os.fspath(value):
        raise TypeError(f"{name} must be the path of a file, not {told(value)}")
    if there and not Path(value).is_file():
        raise FileNotFoundError(f"{name} must be the path of a file that is there, not {told(os.fspath(value))}")
    return Path(value)
