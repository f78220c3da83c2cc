"""What functions give back: named results, data-sheet figures, cautions, and the warning of a model's range."""

from __future__ import annotations

import sys
import warnings
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Number = float | Array


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
