"""What a compressor does: the level after a step, and level in against level out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from pedalcalc._base import io, is_a
from pedalcalc.compressor.features import CurveFeatures
from pedalcalc.compressor.response import Response
from pedalcalc.compressor.static import StaticCurve
from pedalcalc.compressor.timing import AttackRelease
from pedalcalc.plot._style import COLOURS, DASHES, INK, PALE, Picture, dress, look, new_picture, thinned
from pedalcalc.report._text import number_text

FIRST = 5e-4  # shortest time drawn after a step, in seconds
ROUND = 5.0  # limits of the level axis fall on multiples of this many dB
PIECES = ("band", "in", "out", "last", "dot", "words")


@io
def step_response(step: Response, *, timing: AttackRelease | None = None, title: str = "") -> Picture:
    """Draw the level after the step up and after the step down, with attack and release marked.

    Time runs from each step on a log axis, so that a fast attack and a slow tail are seen alike.

    Parameters
    ----------
    step : Response
        Up-and-down step, from `compressor.step_response`.
    timing : AttackRelease, optional
        Attack and release measured on it, from `compressor.attack_release`: band, first entry and last exit are marked.
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
    ['After the step up', 'After the step down']
    """
    picture, update = step_picture(title)
    update(step, timing)
    return picture


def step_picture(title: str = "") -> tuple[Picture, Callable[[Response, AttackRelease | None], None]]:
    """Return an empty picture of a step and the function that puts a response into it."""
    picture = new_picture(6.6, 3.1)
    with look():
        pair = picture.subplots(1, 2, sharey=True)
        sides = [_side(axes, words) for axes, words in zip(pair, ("up", "down"), strict=True)]
        pair[0].set_ylabel("Level [dBV]", color=INK)
        pair[1].tick_params(labelleft=False)
        pair[1].legend(frameon=False, fontsize=8, handlelength=3.0, loc="upper right")
        if title:
            picture.suptitle(title, x=0.01, ha="left", fontsize=11)
    picture.moving = tuple(side[piece] for side in sides for piece in PIECES)

    def update(step: Response, timing: AttackRelease | None) -> None:
        is_a("step", step, Response)
        up, down = step.time_up, step.time_down
        if not (up < down):
            raise ValueError("step must step up and then down; take it from compressor.step_response")
        every = np.concatenate([step.level_in_dbv, step.level_out_dbv])
        low, high = ROUND * np.floor(every.min() / ROUND - 0.2), ROUND * np.ceil(every.max() / ROUND + 0.2)
        pair[0].set_ylim(low, high)
        for side, start, end in zip(sides, (up, down), (down, float(step.time[-1])), strict=True):
            _fill(side, step, start, end)
        _mark(sides, timing)
        picture.caption = _told(timing)

    return picture, update


def _side(axes: Any, words: str) -> dict[str, Any]:
    """Prepare one half of the picture; its pieces are moved, not drawn anew."""
    dress(axes, across=("time since the step", "s"), up=("", ""), logs=(True, False))
    axes.set_title(f"After the step {words}", loc="left", fontsize=10)
    name = {"up": "attack", "down": "release"}[words]
    box = {"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": PALE, "linewidth": 0.6}
    return {
        "name": name,
        "axes": axes,
        "band": axes.axhspan(0, 1, color=COLOURS[2], alpha=0.15, linewidth=0, visible=False),
        "in": axes.plot([], [], color=COLOURS[1], linestyle=DASHES[1], linewidth=1.2, label="in")[0],
        "out": axes.plot([], [], color=COLOURS[0], linewidth=1.8, label="out")[0],
        "last": axes.plot([], [], color=INK, linestyle=(0, (3, 2)), linewidth=1.2)[0],
        "dot": axes.plot([], [], "o", color=INK, markersize=5)[0],
        "words": axes.text(0.03, 0.04, "", transform=axes.transAxes, fontsize=9, va="bottom", bbox=box, visible=False),
    }


def _fill(side: dict[str, Any], step: Response, start: float, end: float) -> None:
    smear = 0.5 / step.frequency  # the level is read over half a period, so the edge itself is blurred
    inside = (step.time >= start + max(FIRST, smear)) & (step.time < end - smear)
    since = step.time[inside] - start
    side["axes"].set_xlim(FIRST, end - start)
    side["out"].set_data(*thinned(since, step.level_out_dbv[inside], log=True))
    side["in"].set_data(*thinned(since, step.level_in_dbv[inside], log=True))


def _mark(sides: list[dict[str, Any]], timing: AttackRelease | None) -> None:
    for side in sides:
        shown = timing is not None
        for piece in ("band", "last", "dot", "words"):
            side[piece].set_visible(shown)
        if timing is None:
            continue
        name = side["name"]
        time = float(getattr(timing, f"time_{name}"))
        steady = timing.level_out_high_dbv if name == "attack" else timing.level_out_after_dbv
        band = float(getattr(timing, f"band_{name}_db"))
        side["band"].set_y(steady - band)
        side["band"].set_height(2 * band)
        side["last"].set_data([time, time], side["axes"].get_ylim())
        x, y = side["out"].get_data()
        side["dot"].set_data([time], [np.interp(time, x, y)] if len(x) else [np.nan])
        side["words"].set_text(_time_words(timing, name))


def _time_words(timing: AttackRelease, name: str) -> str:
    time, first = (float(getattr(timing, f"time_{name}{end}")) for end in ("", "_first"))
    settled = bool(getattr(timing, f"settled_{name}"))
    words = f"{name} {'' if settled else 'over '}{number_text(time, 's')}"
    return words if abs(time - first) < 0.02 * time else f"{words}\nfirst entry {number_text(first, 's')}"


def _told(timing: AttackRelease | None) -> str:
    if timing is None:
        return "level after a step up and a step down"
    parts = (_time_words(timing, name).replace("\n", ", ") for name in ("attack", "release"))
    size = f"{timing.level_step_db:.0f} dB step from {number_text(timing.level_low_dbv, 'dBV', 2)}"
    return f"{'; '.join(parts)} ({timing.name}; {size}, {number_text(timing.frequency, 'Hz')})"


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
    picture, update = static_picture(title)
    update(curve, features)
    return picture


def static_picture(title: str = "") -> tuple[Picture, Callable[[StaticCurve, CurveFeatures | None], None]]:
    """Return an empty picture of a static curve and the function that puts a curve into it."""
    picture = new_picture(5.4, 3.5)
    with look():
        axes = picture.subplots()
        dress(axes, across=("level in", "dBV"), up=("level out", "dBV"), logs=(False, False))
        even = axes.plot([], [], color=INK, linestyle=DASHES[4], linewidth=1.0, label="without compression")[0]
        falling = axes.plot([], [], color=COLOURS[1], linestyle=DASHES[1], linewidth=1.8)[0]
        out = axes.plot([], [], color=COLOURS[0], linewidth=2.0, label="out")[0]
        line = axes.plot([], [], color=PALE, linewidth=1.2, zorder=0)[0]
        box = {"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": PALE, "linewidth": 0.6}
        words = axes.text(0.97, 0.04, "", transform=axes.transAxes, fontsize=9, ha="right", va="bottom", bbox=box)
        axes.legend(frameon=False, fontsize=9, handlelength=3.0, loc="upper left")
        if title:
            axes.set_title(title, loc="left", fontsize=11)
    picture.moving = (even, falling, out, line, words)

    def update(curve: StaticCurve, features: CurveFeatures | None) -> None:
        is_a("curve", curve, StaticCurve)
        x = curve.level_in_dbv
        plain = x + (curve.level_out_dbv - x + curve.gain_reduction_db)
        latches = np.abs(curve.level_out_falling_dbv - curve.level_out_dbv) > 1e-6
        out.set_data(x, curve.level_out_dbv)
        falling.set_data(x, np.where(latches, curve.level_out_falling_dbv, np.nan))
        even.set_data(x, plain)
        axes.set_xlim(float(x[0]), float(x[-1]))
        low, high = (ROUND * turn(float(end) / ROUND) for turn, end in ((np.floor, plain[0]), (np.ceil, plain[-1])))
        axes.set_ylim(low, high)
        told = _features_told(features)
        if latches.any():
            told += f"{'; ' if told else ''}latches; dashed: coming from loud"
        words.set_text(told.replace("; ", "\n"))
        words.set_visible(bool(told))
        at = features.threshold_dbv if features is not None and features.compresses else np.nan
        line.set_data([at, at], [low, high])
        picture.caption = told or "level out against level in"

    return picture, update


def _features_told(features: CurveFeatures | None) -> str:
    if features is None:
        return ""
    if not features.compresses:
        return "does not compress in this range"
    threshold = number_text(features.threshold_dbv, "dBV")
    return f"threshold {threshold}; ratio {number_text(features.ratio, '1', 2)} : 1; knee {number_text(features.knee_db, 'dB')}"
