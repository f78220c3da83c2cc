"""What a compressor does: the level after a step, and level in against level out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from pedalcalc._arguments import is_a, words
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc.compressor.features import CurveFeatures
from pedalcalc.compressor.response import Response
from pedalcalc.compressor.static import StaticCurve
from pedalcalc.compressor.timing import AttackRelease
from pedalcalc.plot._style import (
    COLOURS,
    DASHES,
    INK,
    PALE,
    Picture,
    dress,
    leave_room,
    legend_above,
    look,
    new_picture,
    thinned,
)

FIRST = 5e-4  # shortest time drawn after a step, in seconds
ROUND = 5.0  # limits of the level axis fall on multiples of this many dB
HARDLY = 0.5  # a change of the gain by less than this many dB has no time worth reading
PIECES = ("band", "in", "out", "last", "dot", "told")


@io
def step_response(step: Response, *, timing: AttackRelease | None = None, title: str = "") -> Picture:
    """Draw the level after the step up and after the step down, with attack and release marked.

    Time runs from each step on a log axis, so that a fast attack and a slow tail are seen alike.

    Parameters
    ----------
    step : Response
        Up-and-down step, from `compressor.step_response`.
    timing : AttackRelease, optional
        Attack and release measured on it, from `compressor.measure_step`: band, first entry and last exit are marked.
    title : str, optional
        Line above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook.

    Raises
    ------
    ValueError
        If there is no step up or no step down.

    References
    ----------
    PRACTICE : a time is shown with the band it was read from.

    Examples
    --------
    >>> from pedalcalc import compressor, plot
    >>> step = compressor.step_response(compressor.example(), level_low_dbv=-30.0, level_high_dbv=-10.0)
    >>> picture = plot.step_response(step)
    >>> [axes.get_title(loc="left") for axes in picture.axes]
    ['Step up', 'Step down']
    """
    picture, update = step_picture(words("title", title))
    update(step, timing)
    return picture


def step_picture(title: str = "") -> tuple[Picture, Callable[[Response, AttackRelease | None], None]]:
    """Return an empty picture of a step and the function that puts a response into it."""
    picture = new_picture(6.5, 2.9)
    with look():
        pair = picture.subplots(1, 2, sharey=True)
        sides = [_side(axes, words) for axes, words in zip(pair, ("up", "down"), strict=True)]
        pair[0].set_ylabel("Level [dBV]", color=INK)
        pair[1].tick_params(labelleft=False)
        leave_room(picture)
        legend_above(picture, title)
    picture.moving = tuple(side[piece] for side in sides for piece in PIECES)
    picture.curves = tuple(side[piece] for side in sides for piece in ("out", "dot"))

    def update(step: Response, timing: AttackRelease | None) -> None:
        is_a("step", step, Response)
        if timing is not None:
            is_a("timing", timing, AttackRelease)
        up, down, end = step.time_up, step.time_down, float(step.time[-1])
        if not (up < down):
            raise ValueError("step must step up and then down; take it from compressor.step_response")
        every = np.concatenate([step.level_in_dbv, step.level_out_dbv])
        low, high = ROUND * np.floor(every.min() / ROUND - 0.2), ROUND * np.ceil(every.max() / ROUND + 0.2)
        pair[0].set_ylim(low, high)
        picture.caption = "level after a step up and a step down"
        told = []
        for side, start, stop in zip(sides, (up, down), (down, end), strict=True):
            _fill(side, step, start, stop)
            words, short = ("", "") if timing is None else _time_words(timing, side["name"], stop - start)
            _mark(side, timing, short, timed=words.startswith(f"{side['name']} "))
            told.append(words)
        if timing is not None:
            size = (
                f"{number_text(timing.level_step_db, 'dB', 2)} step from {number_text(timing.level_low_dbv, 'dBV', 2)}"
            )
            meaning = f"{timing.name}; {size}, {number_text(timing.frequency, 'Hz')}"
            picture.caption = f"{'; '.join(told)} ({meaning})"

    return picture, update


def _side(axes: Any, words: str) -> dict[str, Any]:
    """Prepare one half of the picture; its pieces are moved, not drawn anew."""
    dress(axes, across=("time since the step", "s"), up=("", ""), logs=(True, False))
    axes.set_title(f"Step {words}", loc="left", fontsize=10, y=1.0)
    return {
        "name": {"up": "attack", "down": "release"}[words],
        "axes": axes,
        "out": axes.plot([], [], color=COLOURS[0], linewidth=1.8, label="out")[0],
        "in": axes.plot([], [], color=COLOURS[1], linestyle=DASHES[1], linewidth=1.2, label="in")[0],
        "band": axes.axhspan(0, 1, color=COLOURS[2], alpha=0.15, linewidth=0, label="band"),
        "last": axes.plot([], [], color=INK, linestyle=(0, (3, 2)), linewidth=1.2)[0],
        "dot": axes.plot([], [], "o", color=INK, markersize=5, label="in the band for good")[0],
        "told": axes.set_title("", loc="right", fontsize=9, y=1.0),
    }


def _fill(side: dict[str, Any], step: Response, start: float, end: float) -> None:
    smear = 0.5 / step.frequency  # the level is read over half a period, so the edge itself is blurred
    inside = (step.time >= start + max(FIRST, smear)) & (step.time < end - smear)
    since = step.time[inside] - start
    side["axes"].set_xlim(FIRST, end - start)
    side["out"].set_data(*thinned(since, step.level_out_dbv[inside], log=True))
    side["in"].set_data(*thinned(since, step.level_in_dbv[inside], log=True))


def _mark(side: dict[str, Any], timing: AttackRelease | None, short: str, *, timed: bool) -> None:
    side["band"].set_visible(timing is not None)
    side["told"].set_text(short)
    for piece in ("last", "dot"):
        side[piece].set_visible(timed)
    if timing is None:
        return
    name = side["name"]
    steady = timing.level_out_high_dbv if name == "attack" else timing.level_out_after_dbv
    band = float(getattr(timing, f"band_{name}_db"))
    side["band"].set_y(steady - band)
    side["band"].set_height(2 * band)
    if timed:
        time = float(getattr(timing, f"time_{name}"))
        side["last"].set_data([time, time], side["axes"].get_ylim())
        x, y = side["out"].get_data()
        side["dot"].set_data([time], [np.interp(time, x, y)] if len(x) else [np.nan])


def _time_words(timing: AttackRelease, name: str, watched: float) -> tuple[str, str]:
    """Return what can be said of one time, its name and value, or after a colon why there is none; and that in short."""
    if not getattr(timing, f"settled_{name}"):
        short = f"not settled within {number_text(watched, 's', 2)}"
        return f"{name}: {short}", short
    change = timing.level_step_db - (timing.level_out_high_dbv - timing.level_out_low_dbv)
    if name == "release":
        change = (timing.level_out_high_dbv - timing.level_out_after_dbv) - timing.level_step_db
    band = float(getattr(timing, f"band_{name}_db"))
    if abs(change) < HARDLY:
        return f"{name}: hardly any compression to time", "hardly any compression"
    if abs(change) <= band:
        inside = f"within ±{number_text(band, 'dB', 2)}"
        return f"{name}: {number_text(abs(change), 'dB')} of change stay {inside}", f"stays {inside}"
    time, first = (float(getattr(timing, f"time_{name}{end}")) for end in ("", "_first"))
    short = f"{name} {number_text(time, 's')}"
    return short if abs(time - first) < 0.02 * time else f"{short}, first entry {number_text(first, 's')}", short


@io
def static_curve(curve: StaticCurve, *, features: CurveFeatures | None = None, title: str = "") -> Picture:
    """Draw level out against level in for steady tones, with threshold and ratio where they were read off.

    Parameters
    ----------
    curve : StaticCurve
        From `compressor.static_curve`.
    features : CurveFeatures, optional
        From `compressor.curve_features`.
    title : str, optional
        Line above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook. Where the circuit latches, the branch from above is drawn too.

    Raises
    ------
    ValueError
        If the curve is one of many units.

    References
    ----------
    PRACTICE : level out against level in, both in dB.

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc import compressor, plot
    >>> curve = compressor.static_curve(np.linspace(-60.0, 0.0, 31), compressor=compressor.example())
    >>> plot.static_curve(curve).axes[0].get_xlabel()
    'Level in [dBV]'
    """
    is_a("curve", curve, StaticCurve)
    if np.ndim(curve.level_out_dbv) > 1:
        raise ValueError(
            f"curve must be of one unit to be drawn, got one of {len(curve.level_out_dbv)} units; "
            "compute it for one of them"
        )
    picture, update = static_picture(words("title", title))
    update(curve, features)
    return picture


def static_picture(title: str = "") -> tuple[Picture, Callable[[StaticCurve, CurveFeatures | None], None]]:
    """Return an empty picture of a static curve and the function that puts a curve into it."""
    picture = new_picture(5.4, 3.3)
    with look():
        axes = picture.subplots()
        dress(axes, across=("level in", "dBV"), up=("level out", "dBV"), logs=(False, False))
        even = axes.plot([], [], color=INK, linestyle=DASHES[4], linewidth=1.0, label="without compression")[0]
        falling = axes.plot([], [], color=COLOURS[1], linestyle=DASHES[1], linewidth=1.8)[0]
        out = axes.plot([], [], color=COLOURS[0], linewidth=2.0, label="out")[0]
        line = axes.plot([], [], color=PALE, linewidth=1.2, zorder=0)[0]
        legend_above(picture, title)
        told = axes.set_title("", loc="right", fontsize=9, y=1.0)
    picture.moving = (even, falling, out, line, told)
    picture.curves = (falling, out)

    def update(curve: StaticCurve, features: CurveFeatures | None) -> None:
        is_a("curve", curve, StaticCurve)
        if features is not None:
            is_a("features", features, CurveFeatures)
        x = curve.level_in_dbv
        plain = x + (curve.level_out_dbv - x + curve.gain_reduction_db)
        latches = np.abs(curve.level_out_falling_dbv - curve.level_out_dbv) > 1e-6
        out.set_data(x, curve.level_out_dbv)
        falling.set_data(x, np.where(latches, curve.level_out_falling_dbv, np.nan))
        even.set_data(x, plain)
        axes.set_xlim(float(x[0]), float(x[-1]))
        every = np.concatenate([plain, curve.level_out_dbv, curve.level_out_falling_dbv])
        every = every[np.isfinite(every)]
        low, high = ROUND * np.floor(every.min() / ROUND), ROUND * np.ceil(every.max() / ROUND)
        axes.set_ylim(low, high)
        words = _features_told(features)
        if latches.any():
            words += f"{'; ' if words else ''}latches; dashed: coming from loud"
        told.set_text(words)
        at = features.threshold_dbv if features is not None and features.compresses else np.nan
        line.set_data([at, at], [low, high])
        picture.caption = words or "level out against level in"

    return picture, update


def _features_told(features: CurveFeatures | None) -> str:
    if features is None:
        return ""
    if not features.compresses:
        told = "does not compress in this range"
        return f"{told}: its gain rises by {number_text(features.misfit_db, 'dB')}" if features.cautions else told
    threshold = number_text(features.threshold_dbv, "dBV")
    return f"threshold {threshold}; ratio {number_text(features.ratio, '1', 2)} : 1; knee {number_text(features.knee_db, 'dB')}"
