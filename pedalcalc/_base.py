"""Kinds of public function, `formula` and the rest, and the arithmetic that rooms share."""

from __future__ import annotations

import functools
import inspect
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar, get_args, get_type_hints

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import Range, fit_together, shapes_that_fit
from pedalcalc._refusal import Unsolved, must
from pedalcalc._result import Result, Spread

F = TypeVar("F", bound=Callable[..., Any])


def decibels(gain: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return 20 log10 of a magnitude, minus infinity for none at all."""
    with np.errstate(divide="ignore"):
        return np.asarray(20 * np.log10(gain))


def parallel(*resistances: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the resistance of resistors in parallel; shorts and opens are limits."""
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(1 / sum(1 / np.asarray(one, float) for one in resistances))


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
        shapes_that_fit({name: _units_of(value) for name, value in named.items()})


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
