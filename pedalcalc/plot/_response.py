"""Gain over frequency: one picture for one set of curves, told apart in grey."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import list_of, numeric, table_of
from pedalcalc._base import io
from pedalcalc.plot._lines import lines
from pedalcalc.plot._style import COLOURS, Picture, look

#: Least height of the picture [dB], so that a flat response looks flat.
LEAST_SPAN = 12.0
#: Most of it [dB]: what lies lower, such as a level control turned down, runs out of the picture.
MOST_SPAN = 50.0


@io
def response(
    tracks: Mapping[str, tuple[ArrayLike, ArrayLike]],
    *,
    band: tuple[ArrayLike, ArrayLike] | None = None,
    title: str = "",
) -> Picture:
    """Draw gains in decibels over frequency, one line each, the name of each at the head of the picture.

    Parameters
    ----------
    tracks : mapping of str to (frequency, gain)
        Frequencies and gains in decibels, by the words that name the line; all over the same frequencies.
    band : (low, high), optional
        Lowest and highest gain of the first line, drawn as a shaded band.
    title : str, optional
        Line above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook.

    Raises
    ------
    ValueError
        If there is no line, or the lines are not over the same frequencies.

    References
    ----------
    PRACTICE : decibels over a logarithmic frequency.

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc import plot
    >>> hertz = np.geomspace(10, 10e3, 5)
    >>> picture = plot.response({"flat": (hertz, np.zeros(5))})
    >>> picture.axes[0].get_xscale(), picture.axes[0].get_ylabel()
    ('log', 'Gain [dB]')
    """
    tracks = table_of("tracks", tracks, "lines by words")
    if not tracks:
        raise ValueError("tracks must hold at least one line, got none")
    first = np.asarray(next(iter(tracks.values()))[0], float)
    for words, (hertz, _) in tracks.items():
        if not np.array_equal(np.asarray(hertz, float), first):
            raise ValueError(f"tracks: {words!r} is not over the frequencies of the first line")
    ends = [] if band is None else [numeric("band", end) for end in list_of("band", band, "lower and upper gains")]
    if band is not None and [end.shape for end in ends] != [first.shape, first.shape]:
        raise ValueError(
            f"band must be lower and upper gains over {first.size} frequencies, got {len(ends)} of other lengths"
        )
    picture = lines(
        {words: gains for words, (_, gains) in tracks.items()}, across=first, caption_across="frequency",
        unit_across="Hz", caption="gain", unit="dB", scale_across="log", scale_up="linear", title=title,
    )  # fmt: skip
    axes: Any = picture.axes[0]
    with look():
        if band is not None:
            low, high = ends
            axes.fill_between(first, low, high, color=COLOURS[0], alpha=0.18, linewidth=0)
        bottom, top = axes.get_ylim()
        bottom = max(bottom, top - MOST_SPAN)
        short = max(LEAST_SPAN - (top - bottom), 0.0) / 2
        axes.set_ylim(bottom - short, top + short)
        named = [text for legend in picture.legends for text in legend.get_texts()]
        for text, (words, (_, gains)) in zip(named, tracks.items(), strict=False):
            if np.nanmax(np.asarray(gains, float), initial=-np.inf) < bottom - short:
                text.set_text(f"{words} (below)")
    picture.caption = title or "Gain over frequency"
    return picture
