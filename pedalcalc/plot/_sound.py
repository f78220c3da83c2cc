"""A sound before and after: levels over time, and the gain beneath."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc.plot._style import COLOURS, DASHES, Picture, dress, leave_room, legend_above, look, new_picture, thinned

Array = NDArray[np.float64]

BLOCK = 0.025  # seconds over which a level is averaged: two waves of a low E
DEEP = 40.0  # dB of level shown
COARSE, FINE = 10.0, 5.0  # dB on whose multiples the limits of level and gain fall


def sound_picture() -> tuple[Picture, Callable[..., None]]:
    """Return an empty picture of a sound and the function that puts one into it."""
    picture = new_picture(6.5, 2.2)
    with look():
        above, beneath = picture.subplots(2, 1, sharex=True)
        dress(above, across=("", ""), up=("level", "dBV"), logs=(False, False))
        dress(beneath, across=("", "s"), up=("gain", "dB"), logs=(False, False))
        before = above.plot([], [], color=COLOURS[1], linestyle=DASHES[1], linewidth=1.2, label="as played")[0]
        after = above.plot([], [], color=COLOURS[0], linewidth=1.6, label="through the compressor")[0]
        gain = beneath.plot([], [], color=COLOURS[2], linewidth=1.6)[0]
        above.set_xlim(0.0, 1.0)
        for axes in (above, beneath):
            axes.set_ylim(-90.0, -40.0)  # as many letters as the widest later ones
            axes.yaxis.set_major_locator(_few())
            axes.yaxis.label.set_fontsize(9)
        leave_room(picture)
        picture.align_ylabels()
        legend_above(picture)
    picture.moving = (before, after, gain)
    picture.curves = (after, gain)

    def update(signal: Array, processed: Array | None, gain_db: Array | None, sample_rate: float) -> None:
        time, level = levels(signal, sample_rate)
        before.set_data(time, level)
        out = np.full_like(level, np.nan) if processed is None else levels(processed, sample_rate)[1]
        after.set_data(time, out)
        loudest = np.nanmax(np.concatenate([level, out, [-200.0]]))
        top = COARSE * np.ceil(loudest / COARSE + 0.05)  # room for the width of the line
        above.set_ylim(top - DEEP, top)
        above.set_xlim(0.0, signal.size / sample_rate)
        if gain_db is None:
            gain.set_data([], [])
            return
        gain.set_data(*thinned(np.arange(gain_db.size) / sample_rate, gain_db))
        low, high = float(np.min(gain_db)), float(np.max(gain_db))
        beneath.set_ylim(FINE * np.floor(low / FINE - 0.1), FINE * np.ceil(high / FINE + 0.1))

    return picture, update


def levels(signal: Array, sample_rate: float) -> tuple[Array, Array]:
    """Return the middles of blocks of a signal and the level in each [dBV]; NaN where it is silent."""
    size = max(1, round(BLOCK * sample_rate))
    starts = np.arange(0, signal.size, size)
    sizes = np.minimum(size, signal.size - starts)
    power = np.add.reduceat(signal**2, starts) / sizes
    heard = power > 1e-20
    level = 10 * np.log10(power, out=np.full_like(power, np.nan), where=heard)
    return (starts + sizes / 2) / sample_rate, level


def _few() -> Any:
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(nbins=4, steps=[1, 2, 5, 10])
