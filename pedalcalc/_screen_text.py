"""Words of others as they stand, for Markdown and for a terminal."""

from __future__ import annotations

import re
import unicodedata


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
