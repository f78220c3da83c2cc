"""Words of others as they stand, for a page, for Markdown and for a terminal; what a build is called."""

from __future__ import annotations

import re
import unicodedata
from html import escape
from pathlib import Path

#: A space between a number and its unit, at which no line may end.
VALUE = re.compile(
    r"(?<=\d) (?=(?:[fpnµmkMG]?(?:[VAΩFHWsSKJCm]|Ah|Hz|lx|cd)|cm|mm²|ppm/K|dB[VA]?|°C?|%|h|min|hours)(?!\w))"
)
#: What stands between the marks of a page, but for what its writer has set as it stands.
BETWEEN = re.compile(r"<(style|svg|pre|code|title|math)\b.*?</\1>|<[^>]*>|[^<]+", re.DOTALL)
#: Words that the trade writes in capitals, all of them or some.
CAPITALS = {"bjt", "dc", "esr", "fet", "ic", "jfet", "ldr", "led", "lfo", "mosfet", "npn", "pnp", "wav"}
MIXED = {"db": "dB", "dbv": "dBV"}


def together(text: str) -> str:
    """Return text in which no number parts from its unit at the end of a line."""
    return VALUE.sub("\N{NO-BREAK SPACE}", text)


def page_together(html: str) -> str:
    """Return a page in which no number parts from its unit at the end of a line."""
    return BETWEEN.sub(lambda found: found[0] if found[0].startswith("<") else together(found[0]), html)


def html_text(text: str) -> str:
    """Return text that a page shows as it stands, none of it taken for markup, and each number beside its unit."""
    return together(escape(text))


def in_capitals(word: str) -> str:
    """Return a word with the capitals that the trade gives it."""
    return word.upper() if word in CAPITALS else MIXED.get(word, word)


def build_name(folder: Path) -> str:
    """Return what a build is called: its folder's name, in words."""
    words = folder.resolve().name.replace("-", " ").split(" ")
    told = " ".join(map(in_capitals, words))
    return told[:1].upper() + told[1:]


def markdown_text(text: str) -> str:
    """Return text that Markdown shows as it stands: on one line, and none of it taken for markup."""
    text = " ".join(text.splitlines()).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return re.sub(r"([\\`*_{}\[\]#|~$])", r"\\\1", text)


def plain_text(text: str) -> str:
    """Return text that a terminal shows as it stands: on one line, and nothing in it that cannot be seen."""
    return "".join(
        sign if sign.isprintable() or unicodedata.category(sign) == "Zs" else "\N{REPLACEMENT CHARACTER}"
        for sign in " ".join(text.splitlines())
    )
