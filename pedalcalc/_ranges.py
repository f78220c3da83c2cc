"""What the numeric arguments of formulas may be, as their annotations."""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc._arguments import Range
from pedalcalc._result import warn_outside_model

#: Temperature [K] that every record states its figures for, and the range in which the temperature laws are meant.
TEMPERATURE_RECORD = 300.0
TEMPERATURE_LOW, TEMPERATURE_HIGH = 230.0, 400.0
#: Hotter than any solid.
TEMPERATURE_MOST = 5000.0


class _Temperature(Range):
    """An absolute temperature; one far from any workshop, as degrees Celsius are, is warned of."""

    def __call__(self, name: str, value: Any) -> NDArray[np.float64]:
        """Return checked temperatures [K]."""
        kelvin = super().__call__(name, value)
        outside = (kelvin < TEMPERATURE_LOW) | (kelvin > TEMPERATURE_HIGH)
        if np.any(outside):
            warn_outside_model(
                f"{name} is {kelvin[outside].flat[0]:g} K, outside the {TEMPERATURE_LOW:g} to {TEMPERATURE_HIGH:g} K "
                "the laws are meant for; degrees Celsius plus 273.15 are kelvin"
            )
        return kelvin


class _Count(Range):
    """How many of a kind."""

    def __call__(self, name: str, value: Any) -> NDArray[np.float64]:
        """Return checked whole numbers; NaN passes."""
        number = super().__call__(name, value)
        odd = ~np.isnan(number) & (number != np.floor(number))
        if np.any(odd):
            raise ValueError(f"{name} must be a whole number, got {number[odd].flat[0]:g}")
        return number


KELVIN = _Temperature(above=0, most=TEMPERATURE_MOST)
COUNT = _Count(least=1)

# An annotated argument is array-like to whoever calls, a checked float array to the body: no one type says both.
AnyNumber = Annotated[Any, Range()]
AtLeastZero = Annotated[Any, Range(least=0)]
AtLeastOne = Annotated[Any, Range(least=1)]
AboveZero = Annotated[Any, Range(above=0)]
ZeroToOne = Annotated[Any, Range(least=0, most=1)]
ZeroToInfinity = Annotated[Any, Range(least=0, infinity=True)]
AboveZeroToInfinity = Annotated[Any, Range(above=0, infinity=True)]
Count = Annotated[Any, COUNT]
Kelvin = Annotated[Any, KELVIN]
