"""Draw one picture again and again, fast: what stands still is kept, what moves is drawn over it."""

from __future__ import annotations

import io
from collections import OrderedDict
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from pedalcalc.plot._style import look

MOST_GROUNDS = 24  # kept, about 1 MB each; a slider taken from end to end passes fewer sets of limits


class Screen:
    """Renders figures to PNG; remembers the last figure's grounds, one for each set of limits of its axes."""

    def __init__(self, dpi: float) -> None:
        self._dpi = dpi
        self._figure: Figure | None = None
        self._canvas: Any = None
        self._grounds: OrderedDict[object, Any] = OrderedDict()

    def png(self, figure: Figure) -> bytes:
        """Return the figure as PNG."""
        with look():
            if figure is not self._figure:
                self._take(figure)
            moving = [artist for artist in getattr(figure, "moving", ()) if artist.figure is not None]
            if moving:
                self._lay_ground(figure, moving)
                for artist in sorted(moving, key=lambda artist: artist.get_zorder()):
                    artist.axes.draw_artist(artist)
            else:
                self._canvas.draw()
            width, height = self._canvas.get_width_height()
            image = Image.frombuffer("RGBA", (width, height), self._canvas.buffer_rgba(), "raw", "RGBA", 0, 1)
            file = io.BytesIO()
            image.convert("RGB").save(file, "png", compress_level=1)
            return file.getvalue()

    def _lay_ground(self, figure: Figure, moving: list[Any]) -> None:
        """Put all that stands still on the canvas, drawn or from an earlier time with the same limits."""
        key = _still(figure)
        ground = self._grounds.get(key)
        if ground is None:
            for artist in moving:
                artist.set_animated(True)
            self._canvas.draw()
            self._grounds[key] = self._canvas.copy_from_bbox(figure.bbox)
            if len(self._grounds) > MOST_GROUNDS:
                self._grounds.popitem(last=False)
        else:
            self._grounds.move_to_end(key)
            self._canvas.restore_region(ground)

    def _take(self, figure: Figure) -> None:
        figure.set_dpi(self._dpi)
        self._canvas = FigureCanvasAgg(figure)
        engine = figure.get_layout_engine()
        if engine is not None:
            engine.execute(figure)
        figure.set_layout_engine("none")  # laid out once; a layout that moved with the data would flicker
        self._figure = figure
        self._grounds.clear()


def _still(figure: Figure) -> object:
    """Return all that the ground depends on."""
    return tuple(
        (axes.get_xlim(), axes.get_ylim(), axes.get_xscale(), axes.get_yscale(), axes.get_title(loc="left"))
        for axes in figure.axes
    )
