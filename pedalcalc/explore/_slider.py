"""What a slider of a panel can stand at: spaced or stock values, named things, marks of a potentiometer."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from pedalcalc import controls as knobs
from pedalcalc import values
from pedalcalc._arguments import Stock, numeric, one_number, one_of
from pedalcalc._base import io
from pedalcalc._number_text import MINUS, number_text
from pedalcalc.devices import Taper

READABLE = ("Ω", "F", "H", "V", "A", "W", "Hz", "s", "lx", "S")  # units that come with prefixes, such as 4k7
MARKS = 20  # half marks of a knob, 0 to 10

Stop = tuple[str, Any]


@dataclasses.dataclass(frozen=True)
class Slider:
    """One control: a caption, the stops it can take, each with its text, and how a typed text is read.

    `read` gives the stop that a text means, or refuses it with the reason; without it only the stops can be had.
    """

    caption: str
    stops: tuple[Stop, ...]
    start: int
    read: Callable[[str], Stop] | None = None


@io
def slider(
    value: float,
    *,
    low: float,
    high: float,
    unit: str,
    caption: str,
    scale: str = "log",
    steps: int = 48,
    stock: Stock | None = None,
) -> Slider:
    """Describe a slider over one quantity, with readable text at every stop.

    Parameters
    ----------
    value : float
        Value at the start [SI], which becomes a stop of its own.
    low : float
        Lower end [SI], above 0 on a log slider.
    high : float
        Upper end [SI], above `low`.
    unit : str
        SI unit of the value.
    caption : str
        Words beside the slider.
    scale : str, default "log"
        "log" for resistances, capacitances and frequencies, "linear" for the rest.
    steps : int, default 48
        Number of steps from end to end [1], to three digits each.
    stock : str or array_like, optional
        Values to stop at instead: a series such as "E12", or the values of a drawer [SI] as
        `values.stock_values` takes them, of which those from `low` to `high` are offered.

    Returns
    -------
    Slider
        What `panel` takes. Any other value between the ends can be typed beside it.

    Raises
    ------
    ValueError
        If the ends are swapped, the value lies outside them, a log slider reaches zero, or no stock value lies between.

    References
    ----------
    PRACTICE : part values are felt by ratio. IEC-60063 : preferred numbers.

    Examples
    --------
    >>> slider(4700.0, low=1000.0, high=10000.0, unit="Ω", caption="release", steps=2).stops[1][0]
    '3.16 kΩ'
    >>> [text for text, _ in slider(5.1e3, low=3.3e3, high=6.8e3, unit="Ω", caption="R", stock="E12").stops]
    ['3.30 kΩ', '3.90 kΩ', '4.70 kΩ', '5.10 kΩ', '5.60 kΩ', '6.80 kΩ']
    """
    one_of("scale", scale, ("log", "linear"))
    low, high = one_number("low", low, ""), one_number("high", high, "")
    if not low < high:
        raise ValueError(f"high must be above low, got low {low:g} and high {high:g}")
    if scale == "log" and low <= 0:
        raise ValueError(f"low must be above 0 on a log slider, got {low:g}")
    value = one_number("value", value, "")
    if not low <= value <= high:
        ends = " to ".join(number_text(end, unit) for end in (low, high))
        raise ValueError(f"{caption}: value must be from {ends}, got {number_text(value, unit)}")
    if stock is None:
        count = int(numeric("steps", steps, least=1)) + 1
        spaced = np.geomspace(low, high, count) if scale == "log" else np.linspace(low, high, count)
        spaced = np.array([float(f"{place:.{3 if scale == 'log' else 6}g}") for place in spaced])
        spaced[0], spaced[-1] = low, high
    else:
        spaced = values.stock_values(stock, value_min=low, value_max=high)
    near = np.isclose(spaced, value, rtol=1e-9, atol=1e-9 * (high - low))
    if not near.any():  # no two stops that read the same
        told = number_text(value, unit)
        spaced = np.append([place for place in spaced if number_text(float(place), unit) != told], value)
    places = np.sort(spaced)
    stops = tuple((number_text(float(place), unit), float(place)) for place in places)

    def read(text: str) -> Stop:
        return _read_number(text, unit, low, high)

    return Slider(caption, stops, int(np.argmin(np.abs(places - value))), read)


def _read_number(text: str, unit: str, low: float, high: float) -> Stop:
    """Return the stop that a typed text means."""
    if unit in READABLE:
        value = values.read_value(text, unit=unit)
    else:
        try:
            value = float(text.strip().removesuffix(unit).strip().replace(MINUS, "-"))
        except ValueError:
            raise ValueError(f"{text!r} is not a number") from None
    if not low <= value <= high:
        raise ValueError(f"{text} must be from {number_text(low, unit)} to {number_text(high, unit)}")
    return number_text(value, unit), value


@io
def choice(chosen: str, *, options: Mapping[str, Any] | Sequence[str], caption: str) -> Slider:
    """Describe a slider that steps through named things, such as couplers or stock values.

    Parameters
    ----------
    chosen : str
        Name at the start.
    options : mapping of str to anything, or sequence of str
        What can be chosen, by name, in the order of the stops.
    caption : str
        Words beside the slider.

    Returns
    -------
    Slider
        What `panel` takes.

    Raises
    ------
    ValueError
        If there is no option or `chosen` is not one of them.

    References
    ----------
    PRACTICE : one control for one question.

    Examples
    --------
    >>> choice("after", options=["before", "after"], caption="sensed").start
    1
    """
    known = dict(options) if isinstance(options, Mapping) else {name: name for name in options}
    one_of("chosen", chosen, tuple(known))
    return Slider(caption, tuple(known.items()), list(known).index(chosen))


@io
def pot(
    rotation: float,
    *,
    resistance_total: float,
    resistance_stop: float,
    taper: Taper,
    caption: str,
    lug: str = "counterclockwise",
) -> Slider:
    """Describe a slider that is a potentiometer with its stop resistor, marked 0 to 10 like its knob.

    Parameters
    ----------
    rotation : float
        Where the knob stands at the start, 0 to 1 [1].
    resistance_total : float
        Resistance of the whole track [Ω].
    resistance_stop : float
        Fixed resistor in series, below which the control cannot go [Ω].
    taper : Taper
        Law of the track (`devices.typical` makes one of a type such as `devices.TAPER_LOG`).
    caption : str
        Words beside the slider.
    lug : str, default "counterclockwise"
        Outer lug in use: from "counterclockwise" clockwise rotation raises the resistance, from "clockwise" it lowers it.

    Returns
    -------
    Slider
        What `panel` takes; its stops are resistances. A mark can be typed beside it.

    Raises
    ------
    ValueError
        If a value is out of range, or `lug` is another word.
    TypeError
        If `taper` is not a taper record, or is a type.

    References
    ----------
    DERIVED : series connection, as `controls.rheostat_resistance`.

    Examples
    --------
    >>> from pedalcalc import devices, explore
    >>> log = devices.typical(devices.TAPER_LOG)
    >>> release = explore.pot(0.5, resistance_total=1e6, resistance_stop=100e3, taper=log, caption="release")
    >>> release.stops[release.start][0]
    '5: 250 kΩ'
    """
    start = one_number("rotation", rotation, "", least=0, most=1)

    def stop(turned: float) -> Stop:
        ohms = float(
            knobs.rheostat_resistance(
                turned,
                resistance_total=one_number("resistance_total", resistance_total, "", above=0),
                resistance_stop=resistance_stop,
                taper=taper,
                lug=lug,
            )
        )
        return f"{10 * turned:.3g}: {number_text(ohms, 'Ω')}", ohms

    def read(text: str) -> Stop:
        try:
            mark = float(text.partition(":")[0])
        except ValueError:
            raise ValueError(f"{text!r} is not a mark of the knob, 0 to 10") from None
        if not 0 <= mark <= 10:
            raise ValueError(f"{text} must be a mark of the knob, 0 to 10")
        return stop(mark / 10)

    marks = sorted({*(k / MARKS for k in range(MARKS + 1)), start})
    return Slider(caption, tuple(stop(turned) for turned in marks), marks.index(start), read)


def with_own(
    usual: Mapping[str, Slider], controls: Mapping[str, Slider] | None, known: tuple[str, ...]
) -> dict[str, Slider]:
    """Return the usual sliders with those of the caller in their place; `known` are the names that can be moved."""
    for name in controls or {}:
        one_of("controls", name, known)
    return {**usual, **(controls or {})}
