"""A panel: sliders, a picture, and words that say which values the picture shows.

The words are written after the picture, so that both always agree; a still of the same
picture travels in the same output for paper and for places without sliders.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Callable, Mapping
from functools import cache
from threading import RLock
from typing import Any, NamedTuple

from pedalcalc._base import io
from pedalcalc.explore._slider import Slider
from pedalcalc.explore._words import as_html, as_text, listening, split
from pedalcalc.plot._kept import copies_of, put_copies
from pedalcalc.plot._screen import Screen
from pedalcalc.plot._style import svg_text

SCREEN_DPI = 100
WIDE = 650  # pixels from the captions to the ends of the readouts
ALONE = RLock()  # a lab may hand each widget's messages to a thread of their own; one picture is drawn at a time
REFUSED = (ValueError, RuntimeError, ArithmeticError)


class Held(NamedTuple):
    """What is kept to compare with: where the sliders stood, what was found, and pale copies of the curves."""

    labels: dict[str, str]
    result: str
    copies: list[tuple[int, Any]]


class Panel:
    """Sliders, picture and words as one notebook output; what `panel` returns.

    `sliders` holds the live controls by name and `readouts` the texts beside them, in which a value can be typed;
    `image` is the picture and `shown` the words. `keep` holds the curves of the picture, shown pale behind the later
    ones, or lets them go again; `restart` takes all sliders back to where they started.
    """

    def __init__(self, draw: Callable[..., Any], sliders: Mapping[str, Slider]) -> None:
        import ipywidgets

        self._draw = draw
        self._screen = Screen(SCREEN_DPI)
        self._described = dict(sliders)
        self._figure: Any = None
        self._held: Held | None = None
        self._notes: tuple[str, ...] = ()
        self._quiet = False
        self._note = ""  # what was wrong with the text typed last
        self.sliders = {name: _slider_widget(described, sliders) for name, described in self._described.items()}
        self.readouts = {name: _readout_widget(described, sliders) for name, described in self._described.items()}
        self.image = ipywidgets.Image(format="png")
        self.shown = ipywidgets.HTML()
        self.keep_button = ipywidgets.Button(description="Keep", tooltip="hold these curves to compare with")
        self.start_button = ipywidgets.Button(description="Back to start", tooltip="take all sliders back")
        row = ipywidgets.Layout(
            width=f"{WIDE}px", align_items="center", margin="0", min_height="28px", height="28px", overflow="visible"
        )
        rows = [ipywidgets.HBox([self.sliders[name], self.readouts[name]], layout=row) for name in self.sliders]
        buttons = ipywidgets.HBox([self.keep_button, self.start_button], layout=ipywidgets.Layout(margin="0"))
        self._box = ipywidgets.VBox([*rows, buttons, self.image, self.shown])
        self._box.add_class("pedalcalc-panel")
        for name, control in self.sliders.items():
            control.observe(self._moved, "value")
            if self._described[name].read is not None:
                self.readouts[name].observe(lambda change, name=name: self._typed(name, change.new), "value")
        self.keep_button.on_click(lambda _: self.keep())
        self.start_button.on_click(lambda _: self.restart())
        figure, notes = listening(draw, **self.values())  # what cannot be drawn at the start is the caller's to hear of
        self._show(figure, notes)
        _set_apart()

    def values(self) -> dict[str, Any]:
        """Return the values the sliders stand at."""
        return {name: control.value for name, control in self.sliders.items()}

    def words(self) -> str:
        """Return the words for the values the sliders stand at."""
        parts = (f"{self._described[name].caption} {control.label}" for name, control in self.sliders.items())
        return "shown: " + ", ".join(parts)

    def keep(self) -> None:
        """Hold the curves shown, to compare with; let them go if the sliders stand where they were kept."""
        if self._figure is None:
            return
        if self._held is not None and self._held.labels == self._labels():
            self._held = None
        else:
            self._held = Held(self._labels(), self._result(), copies_of(self._figure))
        with ALONE:
            put_copies(self._figure, self._held.copies if self._held else [])
            self._update()

    def restart(self) -> None:
        """Take all sliders back to where they started."""
        self._quiet = True
        for name, control in self.sliders.items():
            described = self._described[name]
            if control.options != described.stops:
                control.options = described.stops
            control.index = described.start
        self._quiet = False
        self._moved()

    def _labels(self) -> dict[str, str]:
        return {name: control.label for name, control in self.sliders.items()}

    def _moved(self, _change: Any = None) -> None:
        if not self._quiet:
            self._note = ""
            self._update()

    def _typed(self, name: str, text: str) -> None:
        """Move a slider to the value typed beside it, making a stop of it where there is none."""
        control, read = self.sliders[name], self._described[name].read
        if self._quiet or read is None or text == control.label:
            return
        try:
            (label, value), notes = listening(read, text=text)
        except REFUSED as error:
            self._note = f"{self._described[name].caption}: {error}"
            self._update()
            return
        stops = list(control.options)
        if value not in [other for _, other in stops]:
            falls = stops[0][1] > stops[-1][1]  # a control may be wired to fall as it is turned up
            stops = sorted([*stops, (label, value)], key=lambda stop: stop[1], reverse=falls)
        self._quiet = True
        if len(stops) != len(control.options):
            control.options = stops
        control.index = [other for _, other in stops].index(value)
        self._quiet = False
        self._note = " ".join(notes)
        self._update()

    def _update(self) -> None:
        with ALONE:
            self._draw_again()

    def _draw_again(self) -> None:
        self._write_readouts()
        try:
            figure, notes = listening(self._draw, **self.values())
        except REFUSED as error:
            # The old picture would belong to other values, so none is left standing.
            self._figure = None
            self.image.value = b""
            self._say(self.words().replace("shown", "not shown", 1), cautions=(str(error),))
            return
        self._show(figure, notes)

    def _show(self, figure: Any, notes: tuple[str, ...]) -> None:
        if self._held is not None and figure is not self._figure:
            put_copies(figure, self._held.copies)
        self._figure, self._notes = figure, notes
        self.image.value = self._screen.png(figure)
        width = f"{min(WIDE, round(figure.get_figwidth() * SCREEN_DPI))}px"
        if self.image.layout.width != width:
            self.image.layout.width = width
        self._say(self.words(), result=self._result(), cautions=self._cautions())

    def _result(self) -> str:
        """Return what the picture shown says of itself."""
        return str(getattr(self._figure, "caption", ""))

    def _cautions(self) -> tuple[str, ...]:
        """Return what to mind of the picture shown: what it says itself, and what was warned of while it was drawn."""
        return tuple(dict.fromkeys((*getattr(self._figure, "cautions", ()), *self._notes)))

    def _write_readouts(self) -> None:
        """Write beside each slider what it stands at, over whatever was typed there."""
        self._quiet = True
        for name, control in self.sliders.items():
            if self.readouts[name].value != control.label:
                self.readouts[name].value = control.label
        self._quiet = False

    def _say(self, shown: str, *, result: str = "", cautions: tuple[str, ...] = ()) -> None:
        there = self._held is not None and self._held.labels == self._labels()
        self.keep_button.description = "Let go" if there else "Keep"
        typed = (self._note,) if self._note else ()
        self.shown.value = as_html(shown, result=result, cautions=(*typed, *cautions), kept=self._kept_words())

    def _kept_words(self) -> str:
        """Return what the pale curves show, by the sliders that stand elsewhere now."""
        if self._held is None:
            return ""
        moved = [
            f"{self._described[name].caption} {label}"
            for name, label in self._held.labels.items()
            if label != self.sliders[name].label
        ]
        found, meaning = split(self._held.result)
        same = meaning == split(self._result())[1]
        return f"kept, pale: {', '.join(moved) or 'these very values'}: {found}{'' if same else meaning}"

    def _repr_mimebundle_(self, **_: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        if self._figure is None:
            return dict(self._box._repr_mimebundle_()), {}
        words = as_text(self.words(), result=self._result(), cautions=self._cautions())
        still = {"image/svg+xml": svg_text(self._figure), "text/plain": words}
        return {**self._box._repr_mimebundle_(), **still}, {"image/svg+xml": {"caption": words}}


@cache
def _set_apart() -> None:
    """Take all that is loaded so far out of the search for unused memory, once in a process.

    Else that search falls due now and then while a slider moves, and looks through every library for a tenth of a second.
    In a notebook's kernel only: a program of somebody else's keeps its own habits.
    """
    if "ipykernel.kernelapp" in sys.modules:
        gc.collect()
        gc.freeze()


def _slider_widget(described: Slider, every: Mapping[str, Slider]) -> Any:
    """Return the slider itself; the text beside it is a widget of its own."""
    import ipywidgets

    room = max(14.0, 0.52 * max(len(other.caption) for other in every.values()) + 0.5)  # so that no caption is cut off
    return ipywidgets.SelectionSlider(
        options=described.stops,
        index=described.start,
        description=described.caption,
        continuous_update=True,
        readout=False,
        style={"description_width": f"{room:.1f}em"},
        layout=ipywidgets.Layout(flex="1 1 auto", width="auto"),
    )


def _readout_widget(described: Slider, every: Mapping[str, Slider]) -> Any:
    """Return the text beside a slider: to be typed in where the stops are values, else the whole name, as wide as any."""
    import ipywidgets

    label = described.stops[described.start][0]
    if described.read is not None:
        layout = ipywidgets.Layout(width="9em", flex="0 0 auto")
        return ipywidgets.Text(value=label, continuous_update=False, layout=layout)
    widest = max(len(text) for other in every.values() if other.read is None for text, _ in other.stops)
    width = f"{max(9.0, 0.55 * widest + 1):.1f}em"
    return ipywidgets.Label(value=label, layout=ipywidgets.Layout(width=width, flex="0 0 auto", margin="0 0 0 10px"))


@io
def panel(draw: Callable[..., Any], **sliders: Slider) -> Panel:
    """Show a picture with sliders.

    Parameters
    ----------
    draw : callable
        Takes one keyword argument for each slider and returns a matplotlib figure; it may return the same
        figure each time with only its data changed, which redraws faster. A `caption` attribute of the
        figure is shown below it, and so are the sentences of a `cautions` attribute.
    **sliders : Slider
        One `slider`, `choice` or `pot` for each argument of `draw`.

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell.

    Raises
    ------
    ValueError
        If no slider is given.
    TypeError
        If a slider was not made by `slider`, `choice` or `pot`.

    References
    ----------
    PRACTICE : picture first, words after, so that both always agree.

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc import plot
    >>> from pedalcalc.explore._slider import slider
    >>> def draw(resistance):
    ...     voltage = np.linspace(0.0, 9.0, 10)
    ...     return plot.lines({"": voltage / resistance}, across=voltage, caption_across="voltage", unit_across="V",
    ...                       caption="current", unit="A")
    >>> shown = panel(draw, resistance=slider(1000.0, low=100.0, high=10000.0, unit="Ω", caption="R"))
    >>> shown.words()
    'shown: R 1.00 kΩ'
    """
    if not callable(draw):
        raise TypeError(f"draw must be a function that returns a figure, not {draw!r}")
    if not sliders:
        raise ValueError("sliders must hold at least one slider, got none")
    for name, described in sliders.items():
        if not isinstance(described, Slider):
            raise TypeError(f"{name} must be made by slider, choice or pot, not {described!r}")
    return Panel(draw, sliders)
