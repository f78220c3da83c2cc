"""The one look of every picture: colours, dashes, axes with engineering units."""

from __future__ import annotations

import io
import pickle
import re
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.layout_engine import ConstrainedLayoutEngine
from matplotlib.ticker import EngFormatter, LogLocator, MaxNLocator, NullFormatter, StrMethodFormatter

# Okabe and Ito's palette, told apart by colour-blind eyes; yellow is left out, being too pale on paper.
# Each colour has a dash of its own, so that a grey print still tells lines apart.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00", "#000000")
DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (7, 2, 1.5, 2)), (0, (1, 1)), (0, (10, 2, 1, 2, 1, 2)), (0, (4, 4)))
MARKERS = "osD^vPX"
INK = "#222222"
PALE = "#BBBBBB"
#: Width of a picture on paper, and of one with several axes; letters of 9 points are printed at 7 [inch].
PAPER, PAPER_OF_SEVERAL = 4.25, 5.6
BESIDE = 18  # letters of a line beside an axis
TITLE, ASIDE = 11.0, 0.8  # letters of a title to an inch, and how far in one over the axes alone begins [inch]
LETTER = 9.0  # size of the smallest letters of a picture, in points of its drawing
LARGER = 1.3  # how much larger a screen shows what is drawn for paper
ENGINEERING = {"V", "A", "Ω", "F", "H", "Hz", "s", "W", "S", "J", "cd", "lx"}

SETTINGS = {
    "font.family": ["DejaVu Sans"],
    "font.size": 10,
    "svg.fonttype": "none",
    "svg.hashsalt": "pedalcalc",
    "path.simplify": True,
}


class Picture(Figure):
    """A figure that shows itself in a notebook as SVG, with a caption in words.

    `moving` lists the pieces whose data change when the picture is kept and shown again, `curves` those worth
    comparing with later ones. `cautions` are sentences that belong under the picture with the caption.
    """

    caption: str = ""
    cautions: tuple[str, ...] = ()
    moving: tuple[Artist, ...] = ()
    curves: tuple[Artist, ...] = ()

    def _repr_svg_(self) -> str:
        return svg_text(self)

    def _repr_png_(self) -> bytes:
        return png_bytes(self, dpi=160)


def new_picture(width: float = 6.5, height: float = 3.3) -> Picture:
    """Return an empty picture that fits the text width of an A4 page."""
    with look():
        return Picture(figsize=(width, height), dpi=100, layout="constrained")


def leave_room(figure: Figure) -> None:
    """Leave room at the right for half a label, since limits that move may put a tick at the very end of an axis."""
    engine = figure.get_layout_engine()
    if isinstance(engine, ConstrainedLayoutEngine):
        engine.set(rect=(0.0, 0.0, 1.0 - 0.2 / figure.get_figwidth(), 1.0))


@contextmanager
def look() -> Iterator[None]:
    """Draw with the settings of this package, whatever the session has set."""
    usual: Any = {name: value for name, value in matplotlib.rcParamsDefault.items() if name != "backend"}
    usual.update(SETTINGS)
    with matplotlib.rc_context(usual):
        yield


def svg_text(figure: Figure) -> str:
    """Return a figure as SVG text without the XML head, drawn at its size on paper and shown larger on a screen."""
    file = io.StringIO()
    title = str(getattr(figure, "caption", "")) or None
    with look():
        _on_paper(figure).savefig(file, format="svg", metadata={"Date": None, "Creator": None, "Title": title})
    text = file.getvalue()
    text = text[text.index("<svg") :]
    return wide_on_screen(text.replace("'DejaVu Sans'", "'DejaVu Sans', Verdana, sans-serif"), larger=LARGER)


def wide_on_screen(svg: str, *, larger: float = 1.0, letter: float = LETTER) -> str:
    """Return a drawing that a screen shows larger, and that tells a page how wide to print it: letters of 9 points at 7."""
    found = re.search(r'<svg[^>]* viewBox="\S+ \S+ (\S+) (\S+)"', svg)
    if found is None:
        raise RuntimeError("the drawing has no viewBox")
    wide, high = map(float, found.groups())
    size = f'<svg style="--wide:{wide * LETTER / letter:.1f}pt" width="{larger * wide:.1f}pt" height="{larger * high:.1f}pt" '
    head = re.sub(r' (?:width|height|style)="[^"]*"', "", svg[: found.end()])
    return head.replace("<svg ", size, 1) + svg[found.end() :]


def _on_paper(figure: Figure) -> Figure:
    """Return a copy of a picture as small as its letters can be read on paper; what is no picture of ours as it is."""
    if not isinstance(figure, Picture):
        return figure
    try:
        small: Figure = pickle.loads(pickle.dumps(figure))  # the screen's own stays as it is laid out
    except (pickle.PicklingError, AttributeError, TypeError):
        return figure
    wide, high = figure.get_size_inches()
    least = PAPER if len(figure.axes) < 2 else PAPER_OF_SEVERAL
    by = min(1.0, least / wide)
    small.set_layout_engine("constrained")
    small.set_figwidth(by * wide)
    more = 0
    for legend in small.legends[:]:
        legend.remove()
        more += legend_above(small, legend.get_title().get_text(), [text.get_text() for text in legend.get_texts()]) - 1
    if small.axes and not small.legends and (title := small.axes[0].get_title(loc="left")):
        over = title_in(by * wide - ASIDE, title)
        small.axes[0].set_title(over, loc="left", fontsize=11)
        more += over.count("\n")
    small.set_figheight(high * by**0.95 + 0.16 * more)
    for axes in small.axes:
        axes.set_ylabel(textwrap.fill(axes.get_ylabel(), BESIDE))
    return small


def png_bytes(figure: Figure, *, dpi: float) -> bytes:
    """Return a figure as PNG."""
    file = io.BytesIO()
    with look():
        figure.savefig(file, format="png", dpi=dpi)
    return file.getvalue()


def style_of(index: int) -> dict[str, Any]:
    """Return colour and dash of the line with this number."""
    return {"color": COLOURS[index % len(COLOURS)], "linestyle": DASHES[index % len(DASHES)], "linewidth": 1.8}


def label(caption: str, unit: str) -> str:
    """Return an axis label: caption, unit in brackets where ticks carry none."""
    caption = caption[:1].upper() + caption[1:]
    return caption if unit in {"1", "", *ENGINEERING} else f"{caption} [{unit}]"


def dress(axes: Axes, *, across: tuple[str, str], up: tuple[str, str], logs: tuple[bool, bool]) -> None:
    """Label both axes with (caption, unit), and set log scales and engineering ticks."""
    for axis, (caption, unit), is_log in ((axes.xaxis, across, logs[0]), (axes.yaxis, up, logs[1])):
        axis.set_label_text(label(caption, unit), color=INK)
        if is_log:
            (axes.set_xscale if axis is axes.xaxis else axes.set_yscale)("log")
            axis.set_major_locator(LogLocator(numticks=12))
            axis.set_minor_formatter(NullFormatter())
        elif unit == "s":
            few_ticks(axis)  # a step from ms to s makes labels wide
        if unit in ENGINEERING:
            axis.set_major_formatter(EngFormatter(unit=unit, sep="\N{NARROW NO-BREAK SPACE}"))
        elif is_log:
            axis.set_major_formatter(StrMethodFormatter("{x:g}"))
    frame(axes)


FINE_STEPS = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
COARSE_STEPS = (1.0, 2.0, 5.0, 10.0)  # for times, which follow a capacitor over many decades


def round_above(value: float, steps: tuple[float, ...] = FINE_STEPS) -> float:
    """Return the next of these steps of a decade at or above a value, so that an axis stands still for a while."""
    decade = 10.0 ** np.floor(np.log10(value))
    return float(next(decade * step for step in steps if decade * step >= value * (1 - 1e-9)))


def few_ticks(axis: Axis, most: int = 5) -> None:
    """Let a linear axis carry few labels, all of them short."""
    axis.set_major_locator(MaxNLocator(nbins=most, steps=[1, 2, 5, 10]))


def few_decades(axis: Axis) -> None:
    """Label 1, 2 and 5 of each decade where a log axis spans less than two of them."""
    low, high = sorted(axis.get_view_interval())
    if 0 < low < high < 100 * low:
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0), numticks=12))


def frame(axes: Axes) -> None:
    """Draw a quiet frame and grid behind the data."""
    axes.grid(True, which="major", color=PALE, linewidth=0.6)
    axes.grid(True, which="minor", color=PALE, linewidth=0.25)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(which="both", colors=INK, labelsize=9)


def legend_above(figure: Figure, title: str = "", names: list[str] | None = None) -> int:
    """Name the lines in rows above the axes, where no legend can cover a curve, under the picture's title.

    Return how many rows there are, and how many the title has beyond its first.
    """
    handles, labels = figure.axes[0].get_legend_handles_labels()
    labels = labels if names is None else names
    title = title_in(figure.get_figwidth(), title)
    if not labels:
        if title:
            figure.axes[0].set_title(title, loc="left", fontsize=11)
        return 0
    room = 8 * figure.get_figwidth() - 1.0  # in sizes of a letter; one takes about 0.6, what stands before it 5
    wide = [0.6 * len(label) + 5.0 for label in labels]
    columns = next((n for n in range(len(wide), 1, -1) if sum(map(max, np.array_split(wide, n))) <= room), 1)
    figure.legend(
        handles,
        labels,
        loc="outside upper left",
        ncols=columns,
        title=title or None,
        alignment="left",
        frameon=False,
        fontsize=9,
        title_fontsize=11,
        handlelength=3.0,
        columnspacing=1.2,
        borderpad=0.2,
    )
    return -(-len(labels) // columns) + title.count("\n")


def title_in(wide: float, title: str) -> str:
    """Return a title in lines that a picture so wide has room for [inch]."""
    return textwrap.fill(title, int(TITLE * wide))


def mark(axes: Axes, x: float, y: float, words: str, *, index: int) -> None:
    """Put a dot at a point, of a shape of its own that the legend names."""
    axes.plot([x], [y], MARKERS[index % len(MARKERS)], color=INK, markersize=6, zorder=5, label=words)


def thinned(x: Any, y: Any, *, log: bool = False, bins: int = 400) -> tuple[Any, Any]:
    """Return the points that matter on a screen: lowest and highest of each of `bins` stretches."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.size <= 4 * bins:
        return x, y
    ends = np.geomspace(x[0], x[-1], bins + 1) if log else np.linspace(x[0], x[-1], bins + 1)
    starts = np.unique(np.clip(np.searchsorted(x, ends[:-1]), 0, x.size - 1))
    stops = np.append(starts[1:], x.size) - 1
    low, high = np.fmin.reduceat(y, starts), np.fmax.reduceat(y, starts)
    rises = y[starts] <= y[stops]
    pairs = np.column_stack([np.where(rises, low, high), np.where(rises, high, low)])
    places = np.column_stack([x[starts], x[stops]])
    return places.ravel(), pairs.ravel()
