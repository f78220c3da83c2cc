"""What every room shares: input checks, named results, cautions and kinds."""

from __future__ import annotations

import functools
import inspect
import math
import os
import re
import sys
import warnings
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple, TypeVar, get_args, get_type_hints

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pedalcalc._refusal import Unsolved, must, no_record, refused
from pedalcalc._units import listed, said, shown, told, unit_of

Array = NDArray[np.float64]
Number = float | Array
#: A series such as "E12", or the values of a drawer, numbers or texts.
Stock = str | Sequence[float | str] | NDArray[np.float64]
F = TypeVar("F", bound=Callable[..., Any])
#: Sizes between which every quantity lies that a pedal, or a calculation of it, can mean.
SMALLEST, LARGEST = 1e-100, 1e100
#: The largest size in decibels.
LARGEST_DB = 2000.0


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
    """Base of every named result; `report` and `plot` read its field metadata.

    Arrays in it are read-only: views, so that an array which the caller handed in stays his to write.
    """

    __slots__ = ()

    def __post_init__(self) -> None:
        """Make the arrays of all fields read-only, those of a table in a field too."""
        for name in self.__dataclass_fields__:  # type: ignore[attr-defined]
            value = getattr(self, name)
            if type(value) is np.ndarray:
                object.__setattr__(self, name, _read_only(value))
            elif type(value) is dict and any(type(each) is np.ndarray for each in value.values()):
                object.__setattr__(self, name, {key: _read_only(each) for key, each in value.items()})


def _read_only(value: Any) -> Any:
    """Return a view of an array that cannot be written through; anything else as it is."""
    if type(value) is np.ndarray:
        value = value.view()
        value.flags.writeable = False
    return value


def quantity(unit: str, caption: str, *, percent: bool = False) -> Any:
    """Return a dataclass field that carries its unit and a short caption; a share may be shown in percent."""
    return field(metadata={"unit": unit, "caption": caption, "percent": percent})


@dataclass(frozen=True, slots=True)
class Caution(Result):
    """A possible but harmful state: what, how much, and what to do about it.

    `value` is the worst element found and `limit` what it is held against,
    both in `unit` (a share where that is ``%``), NaN where no figure divides harm from none; `count` tells how many of the computed elements are hit.
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
    _must_fit({name: np.shape(value) for name, value in arrays.items()})


def _must_fit(shapes: Mapping[str, tuple[int, ...]]) -> None:
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


def _declare(kind: str) -> Callable[[F], F]:
    def mark(function: F) -> F:
        signature = inspect.signature(function)
        open_ended = any(each.kind is each.VAR_KEYWORD for each in signature.parameters.values())

        @functools.wraps(function)
        def call(*given: Any, **named: Any) -> Any:
            if not open_ended and not named.keys() <= signature.parameters.keys():
                wrong = next(name for name in named if name not in signature.parameters)
                raise _misnamed(function.__name__, wrong, signature.parameters)
            try:
                return function(*given, **named)
            except ValueError as reason:
                _refuse_unfit(reason, signature.bind_partial(*given, **named).arguments)
                raise

        call.kind = kind  # type: ignore[attr-defined]
        return call  # type: ignore[return-value]

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
        bad = (top == 0) & (bottom == 0)
        raise must("resistance_top and resistance_bottom must not both be 0, which shorts the supply", bad)
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
        if not named.keys() <= parameters.keys():
            raise _misnamed(function.__name__, next(name for name in named if name not in parameters), parameters)
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
        try:
            found = function(*given, **named)
            if isinstance(found, Result) and any(found is value for value in named.values()):
                return found  # a record that was handed in belongs to the caller
            return _finished(found, stretched, stretch=bool(ranges))
        except ValueError as reason:
            _refuse_unfit(reason, named)
            raise

    call.kind, call.ranges = "formula", ranges  # type: ignore[attr-defined]
    return call  # type: ignore[return-value]


def _refuse_unfit(reason: ValueError, named: Mapping[str, Any]) -> None:
    """Where numpy's words are about shapes, refuse arguments that do not fit together; units of a record count, too."""
    if re.search("mismatch|could not be broadcast", str(reason)):
        _must_fit({name: _units_of(value) for name, value in named.items()})


def _units_of(value: Any) -> tuple[int, ...]:
    """Return the shape of numbers, or that of the arrays in a record or in the records of a list."""
    if isinstance(value, Spread):
        return ()
    if isinstance(value, Result):
        value = [getattr(value, name) for name in type(value).__dataclass_fields__]  # type: ignore[attr-defined]
    elif not isinstance(value, (list, tuple)) or all(isinstance(each, (int, float)) for each in value):
        return np.shape(value) if isinstance(value, (list, tuple, np.ndarray)) else ()
    return next((shape for each in value if not isinstance(each, str) and (shape := _units_of(each))), ())


def _misnamed(function: str, name: str, there: Iterable[str]) -> TypeError:
    """Return the error of a keyword that a function does not have, with the one that may be meant."""
    import difflib  # looked up only here

    near = difflib.get_close_matches(name, there, n=1)
    return TypeError(f"{function} has no argument {name!r}{f'; is {near[0]} meant?' if near else ''}")


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
            if isinstance(finished, np.ndarray):
                finished.flags.writeable = False
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
        raise Unsolved("no solution found", failed)
    return np.where(unknown, np.nan, found.x)
