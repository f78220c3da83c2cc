"""The level track of a step, with attack and release marked."""

from __future__ import annotations

from collections.abc import Mapping

from numpy.typing import ArrayLike

from pedalcalc._base import io, numeric
from pedalcalc.plot._style import COLOURS, DASHES, INK, Picture, dress, look, new_picture


@io
def step_response(
    level_dbv: ArrayLike,
    *,
    time: ArrayLike,
    level_in_dbv: ArrayLike | None = None,
    spans: Mapping[str, tuple[float, float]] | None = None,
    bands_db: Mapping[str, tuple[float, float]] | None = None,
    title: str = "",
) -> Picture:
    """Draw the level after an up-and-down step, with the time spans of attack and release shaded.

    Parameters
    ----------
    level_dbv : array_like
        Output level against time [dBV].
    time : array_like
        Times of the levels [s].
    level_in_dbv : array_like, optional
        Input level at the same times [dBV].
    spans : mapping of str to (float, float), optional
        Start and end of what is marked, by its words, in seconds.
    bands_db : mapping of str to (float, float), optional
        Level bands to draw, by their words, in decibels.
    title : str, optional
        Line above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook.

    Raises
    ------
    ValueError
        If the arrays are not one row of one length.

    References
    ----------
    PRACTICE : attack and release are always shown with where they start and end.

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc import plot
    >>> time = np.linspace(0.0, 1.0, 50)
    >>> picture = plot.step_response(-20 + 5 * np.exp(-time), time=time, spans={"attack": (0.1, 0.3)})
    >>> picture.axes[0].get_ylabel()
    'Level [dBV]'
    """
    x = numeric("time", time, least=0.0)
    picture = new_picture()
    with look():
        axes = picture.subplots()
        tracks = {"output": numeric("level_dbv", level_dbv)}
        if level_in_dbv is not None:
            tracks["input"] = numeric("level_in_dbv", level_in_dbv)
        for k, (words, track) in enumerate(tracks.items()):
            if track.shape != x.shape or x.ndim != 1:
                raise ValueError(
                    f"{words} level has shape {track.shape}, time has {x.shape}; both must be one row of one length"
                )
            axes.plot(x, track, color=COLOURS[k], linestyle=DASHES[k], linewidth=1.8 if k == 0 else 1.2, label=words)
        for low, high in (bands_db or {}).values():
            axes.axhspan(low, high, color=COLOURS[2], alpha=0.12, linewidth=0)
        dress(axes, across=("time", "s"), up=("level", "dBV"), logs=(False, False))
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.16 * (high - low))
        for words, (start, end) in (spans or {}).items():
            axes.axvspan(start, end, color=COLOURS[5], alpha=0.25, linewidth=0)
            axes.annotate(words, (start, 1.0), (3, -4), xycoords=("data", "axes fraction"), textcoords="offset points",
                          va="top", ha="left", fontsize=9, color=INK)  # fmt: skip
        if len(tracks) > 1:
            axes.legend(frameon=False, fontsize=9, handlelength=3.2, loc="lower right")
        if title:
            axes.set_title(title, loc="left", fontsize=11)
    picture.caption = title or "level after a step"
    return picture
