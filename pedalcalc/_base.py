"""What every room shares: input checks, named results, cautions and kinds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Number = float | NDArray[np.float64]
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


class Result:
    """Base of every named result; `report` and `plot` read its field metadata."""

    __slots__ = ()


def quantity(unit: str, caption: str, *, percent: bool = False) -> Any:
    """Return a dataclass field that carries its unit and a short caption; a share may be shown in percent."""
    return field(metadata={"unit": unit, "caption": caption, "percent": percent})


@dataclass(frozen=True, slots=True)
class Caution(Result):
    """A possible but harmful state: what, how much, and what to do about it.

    `value` is the worst element found and `limit` what it is held against,
    both in `unit` (a share where that is ``%``); `count` tells how many of the computed elements are hit.
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


def numeric(
    name: str,
    value: Any,
    *,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
    below: float | None = None,
    infinity: bool = False,
) -> NDArray[np.float64]:
    """Return `value` as a float array of its own, or refuse it naming `name`, value and range.

    NaN means "not measured" and passes. Infinity (an open circuit) passes only
    where `infinity` is true. Text, complex numbers, None, booleans and masked arrays are refused.
    Minus zero becomes zero, so that no result shows a minus sign that means nothing.
    """
    array = numeric_view(name, value, least=least, above=above, most=most, below=below, infinity=infinity)
    return array + 0.0


def numeric_view(
    name: str,
    value: Any,
    *,
    least: float | None = None,
    above: float | None = None,
    most: float | None = None,
    below: float | None = None,
    infinity: bool = False,
) -> NDArray[np.float64]:
    """Return `value` checked like `numeric`, but read-only and without a copy where it is a float array of one sign.

    For functions that are called with a million elements; nothing of the result may share the view's memory.
    """
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
    if array.size and _within(low, high, least, above, most, below, infinity):
        return array
    bad = np.zeros(array.shape, dtype=bool)
    if least is not None:
        bad |= array < least
    if above is not None:
        bad |= array <= above
    if most is not None:
        bad |= array > most
    if below is not None:
        bad |= array >= below
    if not infinity:
        bad |= np.isinf(array)
    if np.any(bad):
        allowed = _allowed(least, above, most, below, infinity)
        where = "" if array.ndim == 0 else f" at index {tuple(int(i) for i in np.argwhere(bad)[0])}"
        raise ValueError(f"{name} must be {allowed}, got {array[bad].flat[0]:g}{where}")
    return array


def _within(
    low: float,
    high: float,
    least: float | None,
    above: float | None,
    most: float | None,
    below: float | None,
    infinity: bool,
) -> bool:
    """Tell whether the extremes show every element allowed; NaN among them decides nothing."""
    return bool(
        low >= (-np.inf if least is None else least)
        and high <= (np.inf if most is None else most)
        and (above is None or low > above)
        and (below is None or high < below)
        and (infinity or (low > -np.inf and high < np.inf))
    )


def _allowed(least: float | None, above: float | None, most: float | None, below: float | None, infinity: bool) -> str:
    parts = []
    if least is not None:
        parts.append(f"at least {least:g}")
    if above is not None:
        parts.append(f"above {above:g}")
    if most is not None:
        parts.append(f"at most {most:g}")
    if below is not None:
        parts.append(f"below {below:g}")
    if not infinity:
        parts.append("finite")
    return " and ".join(parts) or "a number"


def one_number(name: str, value: ArrayLike, purpose: str = "to choose a part", **limits: Any) -> float:
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


def resistance(name: str, value: Any) -> NDArray[np.float64]:
    """Return a resistance from short to open."""
    return numeric_view(name, value, least=0, infinity=True)


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


formula = _declare("formula")
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
