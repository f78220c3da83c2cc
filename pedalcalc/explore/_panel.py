"""A panel: sliders, a picture, and words that say which values the picture shows.

The words are written after the picture, so that both always agree; a still of the same
picture travels in the same output for paper and for places without sliders.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any

import numpy as np

from pedalcalc._base import io, numeric, one_of
from pedalcalc.plot._screen import Screen
from pedalcalc.plot._style import svg_text
from pedalcalc.report._text import number_text

SCREEN_DPI = 100


@dataclasses.dataclass(frozen=True)
class Slider:
    """One control: a caption and the stops it can take, each with its text."""

    caption: str
    stops: tuple[tuple[str, Any], ...]
    start: int


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
        Number of steps from end to end [1].

    Returns
    -------
    Slider
        What `panel` takes.

    Raises
    ------
    ValueError
        If the ends are swapped, the value lies outside them, or a log slider reaches zero.

    References
    ----------
    PRACTICE : part values are felt by ratio.

    Examples
    --------
    >>> from pedalcalc import explore
    >>> explore.slider(4700.0, low=1000.0, high=10000.0, unit="Ω", caption="release", steps=2).stops[1][0]
    '3.16 kΩ'
    """
    one_of("scale", scale, ("log", "linear"))
    low, high = float(numeric("low", low)), float(numeric("high", high))
    if not low < high:
        raise ValueError(f"high must be above low, got low {low:g} and high {high:g}")
    if scale == "log" and low <= 0:
        raise ValueError(f"low must be above 0 on a log slider, got {low:g}")
    value = float(numeric("value", value, least=low, most=high))
    count = int(numeric("steps", steps, least=1)) + 1
    spaced = np.geomspace(low, high, count) if scale == "log" else np.linspace(low, high, count)
    spaced[0], spaced[-1] = low, high
    near = np.isclose(spaced, value, rtol=1e-9, atol=1e-9 * (high - low))
    places = np.sort(spaced if near.any() else np.append(spaced, value))
    stops = tuple((number_text(float(place), unit), float(place)) for place in places)
    return Slider(caption, stops, int(np.argmin(np.abs(places - value))))


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
    >>> from pedalcalc import explore
    >>> explore.choice("after", options=["before", "after"], caption="sensed").start
    1
    """
    known = dict(options) if isinstance(options, Mapping) else {name: name for name in options}
    one_of("chosen", chosen, tuple(known))
    return Slider(caption, tuple(known.items()), list(known).index(chosen))


class Panel:
    """Sliders, picture and words as one notebook output; what `panel` returns.

    `sliders` holds the live controls by name, `image` the picture and `shown` the words.
    """

    def __init__(self, draw: Callable[..., Any], sliders: Mapping[str, Slider]) -> None:
        import ipywidgets

        self._draw = draw
        self._screen = Screen(SCREEN_DPI)
        self._described = dict(sliders)
        # Wide enough for 27 letters of a wide face beside the slider, so that no caption is cut off.
        self.sliders = {
            name: ipywidgets.SelectionSlider(
                options=described.stops,
                index=described.start,
                description=described.caption,
                continuous_update=True,
                style={"description_width": "14em"},
                layout=ipywidgets.Layout(width="620px"),
            )
            for name, described in self._described.items()
        }
        self.image = ipywidgets.Image(format="png", layout=ipywidgets.Layout(width="650px"))
        self.shown = ipywidgets.HTML()
        self._box = ipywidgets.VBox([*self.sliders.values(), self.image, self.shown])
        self._box.add_class("pedalcalc-panel")
        for control in self.sliders.values():
            control.observe(self._update, "value")
        draw(**self.values())  # what cannot be drawn at the start is the caller's to hear of
        self._update()

    def values(self) -> dict[str, Any]:
        """Return the values the sliders stand at."""
        return {name: control.value for name, control in self.sliders.items()}

    def words(self) -> str:
        """Return the words for the values the sliders stand at."""
        parts = (f"{self._described[name].caption} {control.label}" for name, control in self.sliders.items())
        return "shown: " + ", ".join(parts)

    def _update(self, _change: Any = None) -> None:
        words = self.words()
        try:
            figure = self._draw(**self.values())
        except (ValueError, RuntimeError) as error:
            # The old picture would belong to other values, so none is left standing.
            self.image.value = b""
            self.shown.value = (
                f'<span role="status">{escape(words.replace("shown", "not shown"))}</span><br>{escape(str(error))}'
            )
            return
        self.image.value = self._screen.png(figure)
        caption = str(getattr(figure, "caption", ""))
        self.shown.value = f'<span role="status">{escape(words)}</span><br>{escape(caption)}'

    def _repr_mimebundle_(self, **_: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        figure = self._draw(**self.values())
        words = f"{self.words()}\n{getattr(figure, 'caption', '')}".strip()
        still = {"image/svg+xml": svg_text(figure), "text/plain": words}
        return {**self._box._repr_mimebundle_(), **still}, {"image/svg+xml": {"caption": words}}


@io
def panel(draw: Callable[..., Any], **sliders: Slider) -> Panel:
    """Show a picture with sliders.

    Parameters
    ----------
    draw : callable
        Takes one keyword argument for each slider and returns a matplotlib figure; it may return the same
        figure each time with only its data changed, which redraws faster. A `caption` attribute of the
        figure is shown below it.
    **sliders : Slider
        One `slider` or `choice` for each argument of `draw`.

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    ValueError
        If no slider is given.
    TypeError
        If a slider was not made by `slider` or `choice`.

    References
    ----------
    PRACTICE : picture first, words after, so that both always agree.

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc import explore, plot
    >>> def draw(resistance):
    ...     voltage = np.linspace(0.0, 9.0, 10)
    ...     return plot.lines({"": voltage / resistance}, across=voltage, caption_across="voltage", unit_across="V",
    ...                       caption="current", unit="A")
    >>> shown = explore.panel(draw, resistance=explore.slider(1000.0, low=100.0, high=10000.0, unit="Ω", caption="R"))
    >>> shown.words()
    'shown: R 1.00 kΩ'
    """
    if not callable(draw):
        raise TypeError(f"draw must be a function that returns a figure, not {draw!r}")
    if not sliders:
        raise ValueError("sliders must hold at least one slider, got none")
    for name, described in sliders.items():
        if not isinstance(described, Slider):
            raise TypeError(f"{name} must be made by explore.slider or explore.choice, not {described!r}")
    return Panel(draw, sliders)
