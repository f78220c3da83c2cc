"""From the label on the adaptor to the swing a stage really has."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from pedalcalc._arguments import numeric, one_number, table_of, words
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc.plot._style import COLOURS, INK, PALE, PAPER, Picture, dress, look, new_picture, title_in

LONGEST = 20  # letters of a line beside a bar
PITCH, LINE = 0.42, 0.27  # between two bars, and what a line of words beside each of two neighbours needs of it [inch]


@io
def rail_diagram(
    rails: Mapping[str, float | Sequence[float]], *, voltage_idle: float | None = None, title: str = ""
) -> Picture:
    """Draw how the supply shrinks from its label to the usable swing, one bar a step.

    Parameters
    ----------
    rails : mapping of str to float or (float, float)
        Bars from first to last by their words: a voltage (bar from 0 V), or lower and upper end.
    voltage_idle : float, optional
        Idle voltage of the stages, drawn through the bars [V].
    title : str, optional
        Line above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook.

    Raises
    ------
    ValueError
        If there is no bar, or an end is not a finite number.

    References
    ----------
    PRACTICE : headroom is what is left after every drop.

    Examples
    --------
    >>> from pedalcalc import plot
    >>> picture = plot.rail_diagram({"label": 9.0, "op-amp swing": (1.5, 7.0)})
    >>> [text.get_text() for text in picture.axes[0].get_yticklabels()]
    ['label', 'op-amp swing']
    """
    words("title", title)
    rails = table_of("rails", rails, "voltages by words")
    if not rails:
        raise ValueError("rails must hold at least one bar, got none")
    bars = {name: _ends(name, ends) for name, ends in rails.items()}
    beside = [textwrap.fill(name, LONGEST) for name in bars]
    lines = [name.count("\n") + 1 for name in beside]
    pitch = max(PITCH, *(LINE * (one + other) / 2 for one, other in pairwise(lines)), 0.0)
    picture = new_picture(6.5, 1.1 + pitch * len(bars))
    with look():
        axes = picture.subplots()
        for k, (low, high) in enumerate(bars.values()):
            last = k == len(bars) - 1
            axes.barh(
                k, high - low, left=low, height=0.62, color=COLOURS[0] if last else "#DCE9F2", edgecolor=INK,
                linewidth=0.8, hatch="" if last else None,
            )  # fmt: skip
            fill = COLOURS[0] if last else "#DCE9F2"
            box = {"boxstyle": "square,pad=0.15", "facecolor": fill, "edgecolor": "none"}
            far = low + high if 0 in (low, high) else high - low  # a bar from zero says in its middle how far it goes
            axes.text((low + high) / 2, k, number_text(far, "V"), ha="center", va="center", fontsize=9,
                      color="white" if last else INK, bbox=box, zorder=4)  # fmt: skip
            for end, side in ((low, "right"), (high, "left")):
                if low and high:
                    axes.annotate(
                        number_text(end, "V").removesuffix(" V"),
                        (end, k),
                        ((-3, 3)[side == "left"], 0),
                        textcoords="offset points",
                        ha=side,
                        va="center",
                        fontsize=9,
                        bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none"},
                    )
        if voltage_idle is not None:
            at = one_number("voltage_idle", voltage_idle, "")
            axes.axvline(at, color=COLOURS[1], linestyle=(0, (5, 2)), linewidth=1.4)
            axes.annotate(f"idle {number_text(at, 'V')}", (at, 1.0), (0, 2), xycoords=("data", "axes fraction"), textcoords="offset points",
                          fontsize=9, color=COLOURS[1], ha="center", va="bottom")  # fmt: skip
        axes.axvline(0, color=INK, linewidth=0.8)
        dress(axes, across=("voltage", "V"), up=("", ""), logs=(False, False))
        axes.grid(visible=False, axis="y")
        axes.set_yticks(range(len(bars)), beside)
        axes.tick_params(axis="y", length=0)
        axes.invert_yaxis()
        span = [end for ends in bars.values() for end in ends]
        room = 0.14 * (max(*span, 0.0) - min(*span, 0.0))
        axes.set_xlim(min(*span, 0.0) - room, max(*span, 0.0) + room)
        axes.spines["left"].set_color(PALE)
        if title:
            picture.suptitle(title_in(PAPER, title), x=0.01, ha="left", fontsize=11)
    picture.caption = title or "from supply label to usable swing"
    return picture


def _ends(name: str, ends: float | Sequence[float]) -> tuple[float, float]:
    pair = np.ravel(numeric("rails", ends))
    if pair.size not in (1, 2) or np.any(np.isnan(pair)):
        raise ValueError(f"rails: {name!r} must be one voltage or a lower and an upper one, got {ends!r}")
    low, high = (0.0, float(pair[0])) if pair.size == 1 else sorted(map(float, pair))
    return (low, high) if low <= high else (high, low)
