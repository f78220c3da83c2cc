"""Draw one picture again and again, fast: what stands still is kept, what moves is drawn over it."""

from __future__ import annotations

import io
from typing import Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from pedalcalc.plot._style import look


class Screen:
    """Renders figures to PNG; remembers the last figure's ground as long as its axes stand still."""

    def __init__(self, dpi: float) -> None:
        self._dpi = dpi
        self._figure: Figure | None = None
        self._canvas: Any = None
        self._ground: Any = None
        self._key: object = None

    def png(self, figure: Figure) -> bytes:
        """Return the figure as PNG."""
        with look():
            if figure is not self._figure:
                self._take(figure)
            moving = [artist for artist in getattr(figure, "moving", ()) if artist.figure is not None]
            key = _still(figure)
            if not moving:
                self._canvas.draw()
            else:
                if key != self._key:
                    for artist in moving:
                        artist.set_animated(True)
                    self._canvas.draw()
                    self._ground = self._canvas.copy_from_bbox(figure.bbox)
                else:
                    self._canvas.restore_region(self._ground)
                for artist in sorted(moving, key=lambda artist: artist.get_zorder()):
                    artist.axes.draw_artist(artist)
            self._key = key
            width, height = self._canvas.get_width_height()
            image = Image.frombuffer("RGBA", (width, height), self._canvas.buffer_rgba(), "raw", "RGBA", 0, 1)
            file = io.BytesIO()
            image.convert("RGB").save(file, "png", compress_level=1)
            return file.getvalue()

    def _take(self, figure: Figure) -> None:
        figure.set_dpi(self._dpi)
        self._canvas = FigureCanvasAgg(figure)
        figure.draw_without_rendering()
        figure.set_layout_engine("none")  # laid out once; a layout that moved with the data would flicker
        self._figure, self._key = figure, None


def _still(figure: Figure) -> object:
    """Return all that the kept ground depends on."""
    return [
        (axes.get_xlim(), axes.get_ylim(), axes.get_xscale(), axes.get_yscale(), axes.get_title(loc="left"))
        for axes in figure.axes
    ]
