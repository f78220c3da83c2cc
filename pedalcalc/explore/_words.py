"""The words under a panel's picture: results, cautions, what is kept, and which values are shown."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterable
from typing import Any

from pedalcalc._screen_text import html_text

EDGE = "border-left:4px solid #d55e00;padding-left:0.5em;margin:1px 0"
QUIET = "color:var(--jp-ui-font-color2,#616161);font-size:90%"


def listening(function: Callable[..., Any], **values: Any) -> tuple[Any, tuple[str, ...]]:
    """Call a function and return its result with what it warned of, as sentences."""
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always")
        result = function(**values)
    return result, tuple(dict.fromkeys(_sentence(one) for one in heard))


def _sentence(heard: warnings.WarningMessage) -> str:
    words = str(heard.message).strip()
    if issubclass(heard.category, RuntimeWarning):  # arithmetic that left the range of numbers
        words = f"a number left the range that can be computed with ({words}); do not rely on this corner"
    elif issubclass(heard.category, DeprecationWarning):
        words = f"a library that draws this is about to change ({words})"
    return words[:1].upper() + words[1:]


def as_html(shown: str, *, result: str = "", cautions: Iterable[str] = (), kept: str = "") -> str:
    """Return the words as HTML: the result first, then what to mind, then what is kept and what is shown."""
    found, meaning = split(result)
    parts = [f"<div><strong>{html_text(found)}</strong>{html_text(meaning)}</div>"] if result else []
    parts += [f'<div role="note" style="{EDGE}">{html_text(words)}</div>' for words in cautions]
    parts += [f'<div style="{QUIET}">{html_text(kept)}</div>'] if kept else []
    parts += [f'<div role="status" style="{QUIET}">{html_text(shown)}</div>']
    return f'<div style="line-height:1.25;max-width:650px">{"".join(parts)}</div>'


def split(result: str) -> tuple[str, str]:
    """Return what was found, and in brackets at the end what it means."""
    place = result.rfind(" (") if result.endswith(")") else len(result)
    return result[:place], result[place:]


def as_text(shown: str, *, result: str = "", cautions: Iterable[str] = ()) -> str:
    """Return the words as lines of text, for paper."""
    return "\n".join(part for part in (shown, result, *(f"Caution: {words}" for words in cautions)) if part)
