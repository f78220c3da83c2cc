"""One section of a sheet: a heading, words, and tables, boxes and pictures in turn."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from pedalcalc._screen_text import html_text
from pedalcalc.plot import Picture
from pedalcalc.plot._style import svg_text


@dataclass(frozen=True)
class Words:
    """A paragraph, or a list where there are several lines."""

    lines: tuple[str, ...]

    def _repr_html_(self) -> str:
        if len(self.lines) == 1:
            return f"<p>{html_text(self.lines[0])}</p>"
        return f"<ul>{''.join(f'<li>{html_text(line)}</li>' for line in self.lines)}</ul>"

    def __str__(self) -> str:
        return "\n".join(self.lines)


@dataclass(frozen=True)
class Section:
    """A piece of a sheet; shows itself in a notebook, on paper and as plain text."""

    title: str
    shown: tuple[Any, ...]

    def _repr_html_(self) -> str:
        # the line break is the gap between what stands side by side
        body = "\n".join("\n".join(_html(run)) for _, run in groupby(self.shown, lambda one: isinstance(one, Picture)))
        return f'<section class="pedalcalc-section"><h2>{html_text(self.title)}</h2>{body}</section>'

    def __str__(self) -> str:
        return "\n\n".join([self.title, *(one.caption if isinstance(one, Picture) else str(one) for one in self.shown)])

    __repr__ = __str__


def words(*lines: str) -> Words:
    """Return a paragraph, or a list of several lines."""
    return Words(lines)


def _html(run: Iterable[Any]) -> list[str]:
    """Return what stands in a row as HTML: pictures, each beside another or beside a table, or what is none."""
    shown = list(run)
    if not isinstance(shown[0], Picture):
        return [str(one._repr_html_()) for one in shown]
    return [f'<figure class="half" style="display:inline-block">{svg_text(one)}</figure>' for one in shown]
