"""What a part record is made of."""

from __future__ import annotations

from typing import NamedTuple

from pedalcalc._base import Result


class Spread(NamedTuple):
    """Lowest, typical and highest value of one data-sheet figure; NaN where not given."""

    low: float
    typical: float
    high: float


class Device(Result):
    """Base of every part record; each has a `name` and the `source` of its figures."""

    __slots__ = ()
