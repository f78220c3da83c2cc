"""Curves held to compare with: pale copies of a picture's lines and bars."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

KEPT = "#A9A9A9"


def curves_of(figure: Figure) -> list[Artist]:
    """Return what a picture holds to be compared: the `curves` it names, or all its lines."""
    named = list(getattr(figure, "curves", ()))
    return named or [line for axes in figure.axes for line in axes.lines if line.get_gid() != KEPT]


def copies_of(figure: Figure) -> list[tuple[int, Artist]]:
    """Return pale copies of a picture's curves, with the number of the axes each belongs to."""
    places = {id(axes): place for place, axes in enumerate(figure.axes)}
    return [(places[id(curve.axes)], _pale(curve)) for curve in curves_of(figure) if curve.axes and curve.get_visible()]


def put_copies(figure: Figure, copies: list[tuple[int, Artist]]) -> None:
    """Show these pale copies in a picture, and no others."""
    for axes in figure.axes:
        for artist in [*axes.lines, *axes.patches]:
            if artist.get_gid() == KEPT:
                artist.remove()
    moving = [artist for artist in getattr(figure, "moving", ()) if artist.get_gid() != KEPT]
    drawn_over = bool(moving)
    for place, held in copies:
        axes = figure.axes[place]
        copy = _pale(held)
        axes.add_artist(copy)  # unlike add_line it leaves the limits alone
        if drawn_over:
            copy.set_animated(True)
            moving.insert(0, copy)
    if drawn_over:
        figure.moving = tuple(moving)  # type: ignore[attr-defined]


def _pale(curve: Artist) -> Artist:
    """Return a pale copy of a line or bar, in no axes yet."""
    copy: Any
    if isinstance(curve, Rectangle):
        place = (curve.get_x(), curve.get_y())
        copy = Rectangle(place, curve.get_width(), curve.get_height(), fill=False, edgecolor=KEPT, linewidth=1.6)
        copy.set_linestyle((0, (3, 1.5)))
        copy.set_zorder(3)  # an outline, over bars that would hide it
    else:
        line: Any = curve
        style = line._unscaled_dash_pattern if line.get_linestyle() == "--" else line.get_linestyle()
        copy = Line2D(*(np.array(values, float) for values in line.get_data()), color=KEPT, linestyle=style, zorder=1.5)
        copy.set(linewidth=line.get_linewidth(), marker=line.get_marker(), markersize=line.get_markersize())
    copy.set_gid(KEPT)
    made: Artist = copy
    return made
