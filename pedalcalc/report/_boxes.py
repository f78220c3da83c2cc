"""Boxes a person must see: cautions found in results, and the usual care at the bench."""

from __future__ import annotations

import dataclasses
import math
import re
from typing import Any

from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc._result import Caution
from pedalcalc._screen_text import html_text, markdown_text, plain_text
from pedalcalc.report._table import collect_cautions

# The one place where the usual care at the bench is worded.
SAFETY = {
    "solder": (
        "Hot iron, fumes and lead",
        (
            "The iron is at 300 °C and more: keep it in its stand, and let joints cool before you touch them. Solder over something "
            "that does not burn, with safety glasses on, and keep the iron's cord clear of its tip and of your elbow. Flux fume is a leading cause of work-related asthma (UK HSE): draw it off at "
            "the joint or work in moving air with your head out of the plume, and run the iron no hotter than needed. With leaded "
            "solder do not eat, drink or smoke at the bench, and wash your hands afterwards."
        ),
    ),
    "leads": (
        "Clipped leads",
        (
            "Clipped wire ends fly fast. Wear eye protection, hold the end while you cut it, and sweep the ends up: "
            "one under a board is a short circuit."
        ),
    ),
    "swarf": (
        "Drilling and swarf",
        (
            "Clamp the box, wear eye protection, no gloves, no loose sleeves or hair near the drill. Brush swarf away, do not blow it; "
            "deburr every hole, and clean the box before a board goes in: swarf conducts."
        ),
    ),
    "adaptor": (
        "Adaptor",
        (
            "Use only an approved, isolated, current-limited adaptor of the marked voltage, and never open it. Before it meets the pedal, "
            "check with a meter which contact is positive and how many volts it gives with nothing connected: an unregulated "
            "one gives far more than its label. No mains voltage belongs in any of this work."
        ),
    ),
    "battery": (
        "Battery and adaptor",
        (
            "The two must never meet: the break contact of the barrel connector takes the battery off when the plug goes in; check it "
            "with a meter, plug in and out, before a battery is clipped on. An alkaline, zinc-carbon or lithium block that an adaptor "
            "charges can leak or burst. A shorted lithium block gets hot enough to burn: put tape over its contacts in the box or the drawer, "
            "and never carry one loose with wire ends or keys."
        ),
    ),
    "shared": (
        "One supply for several pedals",
        (
            "A pedal with the plus at ground (many old PNP circuits) shorts the supply that it shares with this one through the "
            "screens of the cables. Feed it from a battery or an isolated output of its own."
        ),
    ),
    "static": (
        "Static",
        (
            "MOSFETs and CMOS converters die of a spark that you do not feel. Leave them in their foam, touch bare metal that is earthed "
            "first, and fit them last; a JFET's gate is a junction and stands more, but not everything."
        ),
    ),
    "hot-air": (
        "Heat-shrink and hot air",
        (
            "A hot-air gun blows 300 °C and more and goes on being hot in its stand: point it away from hands, board and cord. Shrink "
            "in short passes, away from the LED and the cell, which soften, and let the sleeve cool before you touch it."
        ),
    ),
    "first-power": (
        "First power through 100 Ω",
        (
            "Take one rated 2 W: on a dead short it burns 0.8 W at 9 V and 1.4 W at 12 V, a quarter-watt one gets hot enough to burn skin "
            "within seconds and then fails. Watch the meter and not the part, and pull the plug at the line that says so."
        ),
    ),
    "electrolytic": (
        "Electrolytic capacitors",
        (
            "Reversed or over their voltage they can burst. Check the stripe (minus) and the rated volts of every one before power, "
            "a tantalum bead's stripe marks plus instead. Keep your face away at first power-up, and switch off at once if one warms, hisses or bulges."
        ),
    ),
    "loud": (
        "Loud output",
        (
            "Turn the monitor or amplifier right down before you play a test signal or a new pedal, then raise it slowly; never start with "
            "headphones on. NIOSH recommends for work no more than 85 dBA over 8 hours, half the time for each 3 dB more "
            "(15 minutes at 100 dBA); it was not drawn up as a limit for leisure, where less is wiser."
        ),
    ),
    "cadmium": (
        "LDR cells hold cadmium",
        (
            "Do not cut, sand, crush or burn a cadmium sulphide cell, keep it from children, and dispose of it as electronic waste. "
            "Some places restrict the sale of cadmium parts."
        ),
    ),
    "hot-parts": (
        "Hot parts",
        (
            "Do not feel for hot parts with a finger: a regulator, resistor or reversed part can burn skin. Measure the current or switch "
            "off, and wait. Smoke or a smell means power off first, then look."
        ),
    ),
}
#: A part of a list or a unit of one, and how near two calculations come to each other in a figure of one part.
REFERENCE = re.compile(r"\b[A-Z]{1,3}[0-9]+\b(?: unit [0-9]+\b)?")
ALIKE = 0.01
DEFER = (
    "Local codes and the makers' instructions come before this page; where in doubt, or for anything that touches the mains, "
    "ask a qualified person."
)


@dataclasses.dataclass(frozen=True)
class Box:
    """A box of titled lines; shows itself in a notebook, in Markdown and as plain text."""

    kind: str
    title: str
    lines: tuple[tuple[str, str], ...]
    foot: str = ""

    def _repr_html_(self) -> str:
        edge = {"caution": "4px solid #d55e00", "safety": "4px double currentColor"}.get(self.kind, "0")
        items = "".join(
            f'<li style="break-inside:avoid"><strong>{html_text(head)}</strong> {html_text(text)}</li>'
            for head, text in self.lines
        )
        kept = ";break-after:avoid" if items or self.foot else ""  # else it would keep what follows the box
        parts = [f'<p style="margin:0{kept}"><strong>{html_text(self.title)}</strong></p>']
        parts += [f'<ul style="margin:0.3em 0 0.3em 1.2em;padding:0">{items}</ul>'] if items else []
        parts += [f'<p style="margin:0;break-before:avoid">{html_text(self.foot)}</p>'] if self.foot else []
        return (
            f'<div class="pedalcalc-box pedalcalc-{self.kind}" role="note" '
            f'style="border-left:{edge};padding:0.4em 0.8em;margin:0.6em 0">{"".join(parts)}</div>'
        )

    def _repr_markdown_(self) -> str:
        lines = [f"> **{markdown_text(self.title)}**"]
        lines += [f"> - **{markdown_text(head)}** {markdown_text(text)}" for head, text in self.lines]
        return "\n".join(lines + ([">", f"> {markdown_text(self.foot)}"] if self.foot else []))

    def __str__(self) -> str:
        lines = [self.title, *(f"  - {head} {text}".rstrip() for head, text in self.lines)]
        return "\n".join(plain_text(line) for line in lines + ([self.foot] if self.foot else []))

    __repr__ = __str__


def caution_box(found: tuple[Caution, ...]) -> Box:
    """Return the box for the cautions found, or the calm line where there are none."""
    if not found:
        return Box("calm", "No cautions: nothing computed here is beyond its ratings.", ())
    found = _worst_of_each(found)
    title = "1 caution" if len(found) == 1 else f"{len(found)} cautions"
    return Box("caution", title, tuple((f"{part.what}:", _explained(part)) for part in found))


def _worst_of_each(found: tuple[Caution, ...]) -> tuple[Caution, ...]:
    """Return one caution for each that says the same of several results: the worst, with the count of all."""
    once: dict[tuple[str, str, float, str], Caution] = {}
    for one in found:
        key = (one.what, one.action, one.limit, one.unit)
        other = once.get(key)
        if other is None or math.isnan(one.limit):
            once[key] = one
            continue
        worst = max(other, one, key=lambda each: abs(each.value - each.limit))
        once[key] = dataclasses.replace(worst, count=other.count + one.count)
    kept: list[Caution] = []
    for one in once.values():  # two calculations may tell the same of one part: kept is what names a part to change
        place = next((k for k, other in enumerate(kept) if _same(one, other)), None)
        if place is None:
            kept.append(one)
        elif REFERENCE.search(one.action) and not REFERENCE.search(kept[place].action):
            kept[place] = one
    return tuple(kept)


def _same(one: Caution, other: Caution) -> bool:
    """Tell whether two cautions hold about the same figure of one part of a list against one limit."""
    first, second = (REFERENCE.search(each.what) for each in (one, other))
    return (
        first is not None
        and second is not None
        and first[0] == second[0]
        and (one.limit, one.unit) == (other.limit, other.unit)
        and math.isclose(one.value, other.value, rel_tol=ALIKE)
    )


def caution_sentences(*results: Any) -> tuple[str, ...]:
    """Return every caution in the results as a sentence of its own, for the words under a picture."""
    return tuple(f"{part.what}: {_explained(part)}" for part in collect_cautions(results))


def _explained(caution: Caution) -> str:
    action = caution.action.strip()
    action = f"{action[:1].upper()}{action[1:]}{'' if action.endswith(('.', '!')) else '.'}"
    if math.isnan(caution.limit):
        return action
    value, limit = number_text(caution.value, caution.unit), number_text(caution.limit, caution.unit)
    hit = "" if caution.count == 1 else f" in {caution.count} of the computed cases, at worst"
    side = "above" if caution.value > caution.limit else "under" if caution.value < caution.limit else "at"
    return f"{value}{hit}, {side} {limit}. {action}"


@io
def cautions(*results: Any) -> Box:
    """Collect every caution in the results into one box.

    Parameters
    ----------
    *results : Result
        Results, or lists and mappings of results; results inside results are searched too.

    Returns
    -------
    Box
        The cautions, each with its value, its limit and what to do, or one calm line where there are none.

    References
    ----------
    PRACTICE : what could do harm stands at the top of a worksheet.

    Examples
    --------
    >>> from pedalcalc import report
    >>> report.cautions()
    No cautions: nothing computed here is beyond its ratings.
    """
    return caution_box(collect_cautions(results))


@io
def safety(*topics: str) -> Box:
    """Write the usual care at the bench for the named topics.

    Parameters
    ----------
    *topics : str
        Any of solder, leads, swarf, adaptor, battery, shared, static, hot-air, first-power, electrolytic, loud, cadmium,
        hot-parts; all of them where none is named.

    Returns
    -------
    Box
        One line for each topic; it ends by deferring to local codes and qualified people.

    Raises
    ------
    ValueError
        If a topic is not known.

    References
    ----------
    NIOSH-NOISE : recommended exposure limit; HSE-SOLDER : rosin fume; MEMORY and PRACTICE : the rest.

    Examples
    --------
    >>> from pedalcalc import report
    >>> print(report.safety("leads"))  # doctest: +ELLIPSIS
    Take care
      - Clipped leads. Clipped wire ends fly fast. ...
    """
    for topic in topics:
        if topic not in SAFETY:
            raise ValueError(f"topics must be among {', '.join(SAFETY)}, got {topic!r}")
    chosen = dict.fromkeys(topics) if topics else SAFETY
    return Box("safety", "Take care", tuple((f"{SAFETY[topic][0]}.", SAFETY[topic][1]) for topic in chosen), DEFER)
