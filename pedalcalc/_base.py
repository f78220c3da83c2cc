"""What every room shares: input checks, named results, cautions and kinds."""

from __future__ import annotations

import functools
import inspect
import math
import sys
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeVar, get_args, get_type_hints

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Number = float | Array
#: A series such as "E12", or the values of a drawer, numbers or texts.
Stock = str | Sequence[float | str] | NDArray[np.float64]
F = TypeVar("F", bound=Callable[..., Any])


class ModelRangeWarning(UserWarning):
    """A value lies outside the range in which the source checked its model."""


class Spread(NamedTuple):
    """Lowest, typical and highest value of one data-sheet figure; NaN where not given."""

    low: Any
    typical: Any
    high: Any


def warn_outside_model(message: str) -> None:
    """Warn of values outside the range of a model, at the line that called pedalcalc."""
    level = 2
    while sys._getframe(level).f_globals.get("__name__", "").startswith("pedalcalc."):
        level += 1
    warnings.warn(message, ModelRangeWarning, stacklevel=level + 1)


class Result:
    """Base of every named result; `report` and `plot` read its field metadata."""

    __slots__ = ()


def quantity(unit: str, caption: str) -> Any:
    """Return a dataclass field that carries its unit and a short caption."""
    return field(metadata={"unit": unit, "caption": caption})


@dataclass(frozen=True, slots=True)
class Caution(Result):
    """A possible but harmful state: what, how much, and what to do about it.

    `value` is the worst element found and `limit` what it is held against,
    both in `unit`; `count` tells how many of the computed elements are hit.
    """

    what: str
    action: str
    value: float
    limit: float
    unit: str
    count: int = 1


def caution_above(what: str, action: str, value: Any, limit: Any, unit: str) -> tuple[Caution, ...]:
    """Return one caution if any element of `value` exceeds `limit`, else none."""
    return _caution(what, action, value, limit, unit, 1.0)


def caution_below(what: str, action: str, value: Any, limit: Any, unit: str) -> tuple[Caution, ...]:
    """Return one caution if any element of `value` is under `limit`, else none."""
    return _caution(what, action, value, limit, unit, -1.0)


def _caution(what: str, action: str, value: Any, limit: Any, unit: str, sign: float) -> tuple[Caution, ...]:
    value, limit = np.asarray(value, float), np.asarray(limit, float)
    if limit.ndim == 0 and value.size:
        worst = value.max() if sign > 0 else value.min()
        if sign * worst <= sign * limit:
            return ()
        if sign * worst > sign * limit:  # neither where NaN is among them
            count = int(np.count_nonzero(value > limit if sign > 0 else value < limit))
            return (Caution(what, action, float(worst), float(limit), unit, count),)
    value, limit = np.broadcast_arrays(value, limit)
    hit = value > limit if sign > 0 else value < limit
    if not np.any(hit):
        return ()
    first = np.argmax(np.where(hit, np.abs(value - np.where(hit, limit, 0.0)), -1.0))
    return (
        Caution(what, action, float(value.flat[first]), float(limit.flat[first]), unit, int(np.count_nonzero(hit))),
    )


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
    _floor: float = field(init=False, repr=False, compare=False)
    _ceiling: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Note the lowest and highest float that pass."""
        end = np.inf if self.infinity else np.finfo(float).max
        floor = max(-end, -np.inf if self.least is None else self.least)
        ceiling = min(end, np.inf if self.most is None else self.most)
        object.__setattr__(self, "_floor", floor if self.above is None else math.nextafter(self.above, math.inf))
        object.__setattr__(self, "_ceiling", ceiling if self.below is None else math.nextafter(self.below, -math.inf))

    def __str__(self) -> str:
        """Return what is allowed, in words."""
        ends = (("at least", self.least), ("above", self.above), ("at most", self.most), ("below", self.below))
        parts = [f"{word} {end:g}" for word, end in ends if end is not None] + ["finite"] * (not self.infinity)
        return " and ".join(parts) or "a number"

    def __call__(self, name: str, value: Any) -> NDArray[np.float64]:
        """Return `value` as a float array, or refuse it naming `name`, value and range."""
        kind = type(value)
        if (kind is float or kind is np.float64 or (kind is int and -WHOLE < value < WHOLE)) and (
            self._floor <= value <= self._ceiling
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
        array = np.asarray(value)
        if array.dtype.kind not in "iuf":
            raise TypeError(
                f"{name} must be a number or an array of numbers, not {value!r}; "
                "text such as '4k7' is read once with pedalcalc.values.read_value"
            )
        array = array.astype(float, copy=False).view()
        low, high = (array.min(), array.max()) if array.size else (0.0, 0.0)
        if not (low > 0 or high < 0):
            array = np.asarray(array + 0.0)
        array.flags.writeable = False
        if not (self._floor <= low and high <= self._ceiling):  # or NaN is among them
            bad = (array < self._floor) | (array > self._ceiling)
            if np.any(bad):
                where = "" if array.ndim == 0 else f" at index {tuple(int(i) for i in np.argwhere(bad)[0])}"
                raise ValueError(f"{name} must be {self}, got {array[bad].flat[0]:g}{where}")
        return array


def numeric(name: str, value: Any, **limits: Any) -> NDArray[np.float64]:
    """Return `value` checked as by `Range(**limits)`, as an array of its own that may be written."""
    return Range(**limits)(name, value) + 0.0


def one_number(name: str, value: Any, purpose: str = "to choose a part", **limits: Any) -> float:
    """Return one known number within its limits, or refuse it by name."""
    number = numeric(name, value, **limits)
    if number.ndim or np.isnan(number):
        raise ValueError(f"{name} must be one known number{purpose and ' '}{purpose}, got {value!r}")
    return float(number)


def lowest_usual_highest(name: str, value: Any, **limits: Any) -> tuple[float, float, float]:
    """Return a figure's three values, from one number or from a triple that rises."""
    three = numeric(name, value, **limits)
    if three.shape not in ((), (3,)) or np.isnan(three).any():
        raise ValueError(f"{name} must be one known number, or lowest, usual and highest, got {value!r}")
    low, usual, high = (float(part) for part in np.broadcast_to(three, 3))
    if not low <= usual <= high:
        raise ValueError(f"{name} must rise from lowest over usual to highest, got {value!r}; are they swapped?")
    return low, usual, high


def decibels(gain: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return 20 log10 of a magnitude, minus infinity for none at all."""
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(gain))


def parallel(*resistances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the resistance of resistors in parallel; shorts and opens are limits."""
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1 / sum(1 / np.asarray(one, float) for one in resistances))


def fit_together(**arrays: Any) -> None:
    """Refuse arrays whose shapes do not broadcast, naming them.

    For functions some of whose results need only some of the arguments: all results shall have one shape or none.
    """
    try:
        np.broadcast_shapes(*(np.shape(value) for value in arrays.values()))
    except ValueError:
        shapes = ", ".join(f"{name} {np.shape(value)}" for name, value in arrays.items() if np.ndim(value))
        raise ValueError(f"arrays must have shapes that broadcast together, got {shapes}") from None


def is_a(name: str, value: Any, kind: type) -> Any:
    """Return `value` if it is a `kind`, else refuse it naming `name`."""
    if not isinstance(value, kind):
        raise TypeError(f"{name} must be a {kind.__name__} record, not {type(value).__name__}: {value!r}")
    return value


def one_of(name: str, value: Any, allowed: tuple[str, ...]) -> str:
    """Return `value` if it is one of the `allowed` words, else refuse it naming `name`."""
    if value not in allowed:
        raise ValueError(f"{name} must be one of {', '.join(allowed)}, got {value!r}")
    return str(value)


def _declare(kind: str) -> Callable[[F], F]:
    def mark(function: F) -> F:
        function.kind = kind  # type: ignore[attr-defined]
        return function

    return mark


def scalar(value: Any) -> Any:
    """Return 0-d arrays as plain Python scalars."""
    array = np.asarray(value)
    return array.item() if array.ndim == 0 else array


def any_open(resistance: NDArray[np.float64]) -> bool:
    """Tell whether any element is infinite, by the extremes first: that needs no second array."""
    highest = resistance.max(initial=0.0)
    return bool(np.isinf(resistance).any()) if np.isnan(highest) else bool(highest == np.inf)


def thevenin(
    supply: NDArray[np.float64], top: NDArray[np.float64], bottom: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return open-circuit voltage and resistance of a divider; either arm may be open or shorted."""
    if top.min(initial=np.inf) == 0 and bottom.min(initial=np.inf) == 0 and np.any((top == 0) & (bottom == 0)):
        raise ValueError("resistance_top and resistance_bottom must not both be 0: that shorts the supply")
    if not (any_open(top) or any_open(bottom)):
        share = np.asarray(bottom / (top + bottom))
        return np.asarray(supply * share), np.asarray(top * share)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = 1 / (1 + top / bottom)
        share = np.where(np.isinf(top), 0.0, np.where(np.isinf(bottom), 1.0, share))
        both = np.where(np.isinf(top), bottom, np.where(np.isinf(bottom), top, top / (1 + top / bottom)))
    return np.asarray(supply * share), np.asarray(both)


def formula(function: F) -> F:
    """Declare a formula, whose numeric arguments are annotated with what they may be, as in ``resistance: ZeroToInfinity``.

    These arguments are checked by name and must have shapes that broadcast together; the body gets float arrays,
    read-only and not stretched. What it returns, a number or the numeric fields of a result, comes out in the broadcast
    shape of all, as plain scalars where that has no dimension, and shares no memory with an argument. A default is
    checked once; None as a default may be given too.
    """
    hints, parameters = get_type_hints(function, include_extras=True), inspect.signature(function).parameters
    ranges = {name: allowed for name in parameters if (allowed := _range(hints.get(name)))}
    default = {
        name: parameters[name].default for name in ranges if parameters[name].default is not inspect.Parameter.empty
    }
    checked = {name: None if value is None else ranges[name](name, value) for name, value in default.items()}
    for array in checked.values():
        if array is not None:
            array.flags.writeable = False  # all calls share it
    first = next((name for name, each in parameters.items() if each.kind is each.POSITIONAL_OR_KEYWORD), None)

    @functools.wraps(function)
    def call(*given: Any, **named: Any) -> Any:
        if len(given) == 1 and first is not None and first not in named:
            named[first] = given[0]
            given = ()
        stretched = []
        for name, allowed in ranges.items():
            if name not in named:
                if name in checked:
                    named[name] = checked[name]
                continue
            value = named[name]
            if value is None and checked.get(name, 0) is None:
                continue
            named[name] = array = allowed(name, value)
            if array.ndim:
                stretched.append(array)
        if len(stretched) > 1:
            fit_together(**{name: named[name] for name in ranges if name in named})
        found = function(*given, **named)
        if isinstance(found, Result) and any(found is value for value in named.values()):
            return found  # a record that was handed in belongs to the caller
        return _finished(found, stretched, stretch=bool(ranges))

    call.kind, call.ranges = "formula", ranges  # type: ignore[attr-defined]
    return call  # type: ignore[return-value]


def _range(hint: Any) -> Range | None:
    marks = [mark for part in (hint, *get_args(hint)) for mark in getattr(part, "__metadata__", ())]
    return next((mark for mark in marks if isinstance(mark, Range)), None)


def _finished(result: Any, stretched: list[NDArray[np.float64]], stretch: bool) -> Any:
    """Return a formula's result with its numbers in one shape, as plain scalars where that has no dimension."""
    if not isinstance(result, Result):
        return _in_shape(result, _whole_shape([result, *stretched]) if stretch else (), stretched)
    found = {name: getattr(result, name) for name in type(result).__dataclass_fields__}  # type: ignore[attr-defined]
    shape = _whole_shape([*found.values(), *stretched]) if stretch else ()
    for name, value in found.items():
        finished = _in_shape(value, shape, stretched)
        if finished is not value:
            object.__setattr__(result, name, finished)
    return result


def _whole_shape(values: list[Any]) -> tuple[int, ...]:
    shapes = {value.shape for value in values if isinstance(value, np.ndarray) and value.ndim}
    return np.broadcast_shapes(*shapes) if len(shapes) > 1 else (*shapes, ())[0]


def _in_shape(value: Any, shape: tuple[int, ...], arguments: list[NDArray[np.float64]]) -> Any:
    if not isinstance(value, (np.ndarray, np.generic)):
        several = type(value) is tuple and value and isinstance(value[0], (np.ndarray, np.generic))
        return tuple(_in_shape(each, shape, arguments) for each in value) if several else value
    if not (shape or value.ndim):
        return value.item()
    if shape and value.shape != shape:
        value = np.broadcast_to(value, shape)
    shared = value.base is not None and any(np.may_share_memory(value, each) for each in arguments)
    return value.copy() if shared else value


search = _declare("search")
fit = _declare("fit")
simulate = _declare("simulate")
io = _declare("io")


def elementwise_root(
    function: Callable[..., NDArray[np.float64]],
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    *arguments: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return where `function(x, *arguments)` is zero between `low` and `high`, element by element.

    NaN in a bound or an argument gives NaN there. A search that fails on known numbers is an error with its index.
    """
    from scipy.optimize.elementwise import find_root

    low, high, *arguments_alike = np.broadcast_arrays(low, high, *arguments)
    unknown = np.isnan([low, high, *arguments_alike]).any(axis=0)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore", under="ignore"):
        found = find_root(function, (low, high), args=tuple(arguments_alike))
    failed = ~np.asarray(found.success) & ~unknown
    if np.any(failed):
        raise RuntimeError(f"no root found at index {tuple(int(i) for i in np.argwhere(failed)[0])}")
    return np.where(unknown, np.nan, found.x)
