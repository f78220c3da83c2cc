"""Circuit sketches of the textbook stages this package computes."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from html import escape, unescape
from typing import Any

from pedalcalc._arguments import is_a, one_of, table_of, words
from pedalcalc._base import io
from pedalcalc._screen_text import plain_text
from pedalcalc.devices import Pinout
from pedalcalc.plot import _amplifiers, _stages
from pedalcalc.plot._leads import draw_leads
from pedalcalc.plot._style import wide_on_screen

FONTS = "DejaVu Sans, Verdana, sans-serif"
LETTERS = 12.0  # points
LONGEST = 10  # letters of a label in one line
LETTER = 7.6  # a generous width of one letter at 12 points

# Parts of each stage by the names they are labelled with, and the usual text.
STAGES: dict[str, tuple[Any, dict[str, str]]] = {
    "indicator led": (_stages.indicator_led, {"supply": "supply", "R": "R", "LED": "LED"}),
    "low-pass": (_stages.low_pass, {"in": "in", "R": "R", "C": "C", "out": "out"}),
    "high-pass": (_stages.high_pass, {"in": "in", "R": "R", "C": "C", "out": "out"}),
    "divider": (
        _stages.divider,
        {"supply": "supply", "R upper": "R upper", "R lower": "R lower", "out": "out", "load": "load"},
    ),
    "detector": (
        _stages.detector,
        {"signal": "signal", "rectifier": "rectifier", "R attack": "R attack", "C hold": "C hold",
         "R release": "R release", "held": "held voltage"},
    ),
    "coupler": (
        _stages.coupler,
        {"drive": "drive", "R": "R", "LED": "LED", "cell": "LDR", "a": "a", "b": "b", "sleeve": "light-tight sleeve"},
    ),
    "cell shunt": (_stages.cell_shunt, {"in": "in", "R source": "R source", "cell": "LDR", "load": "load", "out": "out"}),
    "cell series": (_stages.cell_series, {"in": "in", "cell": "LDR", "load": "load", "out": "out"}),
    "cell feedback": (
        _stages.cell_feedback,
        {"in": "in", "R in": "R in", "R feedback": "R feedback", "cell": "LDR", "out": "out", "reference": "reference"},
    ),
    "compressor": (
        _stages.compressor,
        {"in": "in", "input": "input\nfollower", "gain cell": "gain cell\n(LDR)", "make-up": "make-up\ngain", "out": "out",
         "threshold": "threshold\ngain", "rectifier": "rectifier", "attack, hold, release": "attack, hold,\nrelease",
         "LED drive": "LED\ndrive", "light": "light"},
    ),
    "supply filter": (
        _stages.supply_filter, {"adaptor": "adaptor", "diode": "diode", "R": "R", "C": "C", "rail": "rail"},
    ),
    "half supply": (
        _stages.half_supply,
        {"supply": "supply", "R upper": "R upper", "R lower": "R lower", "C": "C", "reference": "reference"},
    ),
    "pump": (
        _stages.pump,
        {"supply": "supply", "switcher": "switcher", "D1": "D1", "D2": "D2", "C flying": "C flying",
         "C reservoir": "C reservoir", "out": "out"},
    ),
    "bias bjt": (
        _amplifiers.bias_bjt,
        {"supply": "supply", "R upper": "R upper", "R lower": "R lower", "R collector": "R collector",
         "R emitter": "R emitter", "C in": "C in", "C out": "C out", "in": "in", "out": "out"},
    ),
    "bias jfet": (
        _amplifiers.bias_jfet,
        {"supply": "supply", "R gate": "R gate", "R drain": "R drain", "R source": "R source", "C in": "C in",
         "C out": "C out", "in": "in", "out": "out"},
    ),
    "op-amp follower": (
        _amplifiers.op_amp_follower,
        {"in": "in", "C in": "C in", "R pull-down": "R pull-down", "R bias": "R bias", "reference": "reference", "op-amp": "", "out": "out"},
    ),
    "op-amp gain": (
        _amplifiers.op_amp_gain,
        {"in": "in", "op-amp": "", "R feedback": "R feedback", "R ground": "R ground", "reference": "reference", "C out": "C out",
         "out": "out"},
    ),
    "rectifier": (
        _stages.rectifier,
        {"in": "in", "threshold": "threshold", "gain": "gain", "inverter": "inverter", "D upright": "D", "D inverted": "D",
         "out": "rectified"},
    ),
    "hold and drive": (
        _stages.hold_and_drive,
        {"rectified": "rectified", "R attack": "R attack", "C hold": "C hold", "R release": "R release",
         "reference": "reference", "buffer": "buffer", "R LED": "R LED", "LED": "LED"},
    ),
    "jfet follower": (
        _amplifiers.jfet_follower,
        {"supply": "supply", "R gate": "R gate", "R drain": "R drain", "R source": "R source", "R emitter": "R emitter",
         "C in": "C in", "C bypass": "C bypass", "C out": "C out", "in": "in", "out": "out"},
    ),
}  # fmt: skip


@dataclasses.dataclass(frozen=True)
class Sketch:
    """A circuit sketch that shows itself in a notebook as SVG; leads of many parts as rows, which a page may part."""

    stage: str
    svg: str
    more: tuple[str, ...] = ()

    def _repr_svg_(self) -> str | None:
        return None if self.more else self.svg

    def _repr_html_(self) -> str | None:
        rows = "".join(f"<figure>{row}</figure>" for row in (self.svg, *self.more))
        return f'<div class="pedalcalc-rows">{rows}</div>' if self.more else None

    def __repr__(self) -> str:
        return f"sketch of the stage: {self.stage}"


@io
def sketch(stage: str | Mapping[str, Pinout], *, labels: Mapping[str, str] | None = None) -> Sketch:
    """Sketch one of the textbook stages with part values beside the parts, or which lead of a part is which.

    Parameters
    ----------
    stage : str or mapping of str to record
        One of indicator led, low-pass, high-pass, divider, detector, coupler, cell shunt, cell series, cell feedback,
        compressor, supply filter, half supply, pump, bias bjt, bias jfet, jfet follower, op-amp follower, op-amp gain,
        rectifier, hold and drive; or orders of pins (`devices.Pinout`) by words of one's own, such as ``{"Q1": device.pinouts[0]}``:
        each package is drawn as its record says it is held, with number and name at every lead.
    labels : mapping of str to str, optional
        Text beside each part, by the part's name in the plain sketch, such as ``{"R": "R1 4.7 kΩ"}``.

    Returns
    -------
    Sketch
        Shows itself in a notebook; `svg` holds the drawing, of leads its first row, `more` the other rows.

    Raises
    ------
    ValueError
        If the stage or a part in `labels` is not known; the message lists what is. If no part is given, or labels for leads.
    TypeError
        If something else than an order of pins is to be drawn.
    ModuleNotFoundError
        If schemdraw is not installed (it comes with ``pedalcalc[lab]``).

    References
    ----------
    PRACTICE : symbols after IEC 60617, signal from left to right, supply above ground.

    Examples
    --------
    >>> from pedalcalc import plot
    >>> plot.sketch("low-pass", labels={"R": "R1 4.7 kΩ", "C": "C1 100 nF"})
    sketch of the stage: low-pass
    """
    if isinstance(stage, Mapping):
        if not stage or labels:
            raise ValueError(f"stage must hold at least one order of pins, and no labels, got {len(stage)}")
        for name, order in stage.items():
            words("stage", name)
            is_a(f"stage: {name}", order, Pinout)
        first, *more = draw_leads(stage)
        return Sketch("leads of " + ", ".join(stage), first, tuple(more))
    one_of("stage", stage, tuple(STAGES))
    draw, texts = STAGES[stage]
    labels = table_of("labels", labels, "words by part")
    for name, text in labels.items():
        words(f"labels: {name}", text)
        if name not in texts:
            raise ValueError(f"labels: {name!r} is not a part of {stage}; there are {', '.join(texts)}")
    texts = {**texts, **{name: _as_drawn(_broken(text)) for name, text in labels.items()}}
    import schemdraw
    from schemdraw import elements

    drawing = schemdraw.Drawing(canvas="svg", show=False)
    drawing.config(unit=2.6, fontsize=12, lw=1.5, inches_per_unit=0.42, margin=0.15)
    draw(drawing, elements, lambda name: texts[name])
    return Sketch(stage, _with_room(drawing.get_imagedata("svg").decode("utf-8")))


def _as_drawn(text: str) -> str:
    """Return text so that the drawing shows it as it stands: it reads ``&``, ``<`` and ``$`` as markup."""
    seen = "\n".join(plain_text(line) for line in text.splitlines())
    return escape(seen, quote=False).replace("$", "&#36;")


def _broken(text: str) -> str:
    """Return words in two lines, name over value, where one line would run into the neighbours."""
    if len(text) <= LONGEST or " " not in text or "\n" in text:
        return text
    value = re.search(r" (?=[0-9])", text)
    places = [value.start()] if value else [place for place, letter in enumerate(text) if letter == " "]
    middle = min(places, key=lambda place: abs(2 * place - len(text)))
    return f"{text[:middle]}\n{text[middle + 1 :]}"


def _with_room(svg: str) -> str:
    """Return the drawing with a frame wide enough for its words, whatever font is at hand."""
    svg = svg[svg.index("<svg") :].replace('font-family="sans"', f'font-family="{FONTS}"')
    found = re.search(r'viewBox="(\S+) (\S+) (\S+) (\S+)"', svg)
    if found is None:
        raise RuntimeError("the drawing has no viewBox")
    left, top, width, height = map(float, found.groups())
    ends = [left, left + width]
    for anchor, inside in re.findall(r'<text [^>]*text-anchor="(\w+)"[^>]*>(.*?)</text>', svg, re.DOTALL):
        for x, line in re.findall(r'<tspan x="(\S+)"[^>]*>(.*?)</tspan>', inside, re.DOTALL):
            long = LETTER * len(unescape(line))
            start = float(x) - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * long
            ends += [start, start + long]
    left, wide = min(ends) - 2, max(ends) - min(ends) + 4
    top, height = top - 4, height + 8
    frame = f'height="{height:.1f}pt" width="{wide:.1f}pt" viewBox="{left:.1f} {top:.1f} {wide:.1f} {height:.1f}"'
    framed = re.sub(r'height="\S+pt" width="\S+pt" viewBox="[^"]*"', frame, svg, count=1)
    return wide_on_screen(framed, letter=LETTERS)
