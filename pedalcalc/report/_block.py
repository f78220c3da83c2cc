"""One rectangle of a table, as a page, as Markdown and as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pedalcalc._screen_text import html_text, markdown_text, plain_text

LONG = 3  # rows; a longer table may run over a page
#: Rows, and millimetres: up to here a table may stand beside another on paper; half a line, as in `page/template/page.css`.
NARROW = (12, 86.0)
#: Slim letters, their width, that of all others, and of the gap between columns [mm].
SLIM, THIN, BROAD, GAP = " .,:;'ijl()", 1.15, 2.1, 3.8
#: Letters up to which the words of a cell stay in one line.
WHOLE = 24
SHORT = 40  # letters of a line above a table that need not be wider than it
SAME = "\N{ZERO WIDTH SPACE}"  # a cell that the one before it covers as well


@dataclass(frozen=True)
class Block:
    """One rectangle of text: a title, a head row (may be empty) and rows."""

    title: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: frozenset[int]


def is_narrow(block: Block) -> bool:
    """Tell whether a table leaves room beside it on paper; heads wrap, and so do the words before a row."""
    wide = 0.0
    for k, head in enumerate(block.head or ("",) * len(block.rows[0])):
        cells = [row[k][:WHOLE] if k == 0 and k in block.left else row[k] for row in block.rows]
        wide += max(_width(head) / 2, *map(_width, (*head.split(), *cells))) + GAP
    return len(block.rows) <= NARROW[0] and wide <= NARROW[1] and all(all(row) for row in block.rows)


def _width(text: str) -> float:
    """Return about how wide text is in a table on paper [mm]."""
    return sum(THIN if letter in SLIM else BROAD for letter in text)


def html_of(block: Block) -> str:
    """Return a rectangle as a page shows it."""

    def cell(tag: str, text: str, k: int, over: int = 1) -> str:
        side = "left" if k in block.left else "right"
        side += ";white-space:nowrap" if tag == "td" and (k not in block.left or len(text) <= WHOLE) else ""
        side, wide = (side, "") if over == 1 else ("center", f' colspan="{over}"')
        return f'<{tag}{wide} style="text-align:{side}">{html_text(text)}</{tag}>'

    parts = []
    above = html_text(block.title)
    if len(block.title) > SHORT:  # a caption is no wider than its table
        style = "font-style:italic;break-after:avoid"
        parts.append(f'<p class="pedalcalc-alike" style="{style}">{above}</p>')
    parts.append(f'<table class="{"long" if len(block.rows) > LONG else "short"}">')
    if 0 < len(block.title) <= SHORT:
        parts.append(f'<caption style="text-align:left;font-style:italic">{above}</caption>')
    if block.head:
        parts.append(
            "<thead><tr>" + "".join(cell("th", text, k) for k, text in enumerate(block.head)) + "</tr></thead>"
        )
    parts.append("<tbody>")
    for row in block.rows:
        ends = [*(k for k, text in enumerate(row) if text != SAME), len(row)]
        parts.append("<tr>" + "".join(cell("td", row[k], k, end - k) for k, end in pairwise(ends)) + "</tr>")
    parts.append("</tbody></table>")
    return "".join(parts)


def markdown_of(block: Block) -> str:
    """Return a rectangle as Markdown."""

    def line(cells: Sequence[str]) -> str:
        return "| " + " | ".join(markdown_text(cell.replace(SAME, "")) for cell in cells) + " |"

    width = len(block.rows[0])
    rule = ["---" if k in block.left else "---:" for k in range(width)]
    lines = [line(block.head or ("",) * width), line(rule), *(line(row) for row in block.rows)]
    return "\n".join(([markdown_text(block.title), ""] if block.title else []) + lines)


def plain_of(block: Block) -> str:
    """Return a rectangle as plain text."""
    head, *body = (tuple(plain_text(cell.replace(SAME, "")) for cell in row) for row in (block.head, *block.rows))
    rows = [row for row in (head, *body) if row]
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]

    def line(row: Sequence[str]) -> str:
        cells = (
            text.ljust(w) if k in block.left else text.rjust(w)
            for k, (text, w) in enumerate(zip(row, widths, strict=True))
        )
        return "  ".join(cells).rstrip()

    lines = [line(row) for row in body]
    if head:
        lines = [line(head), "  ".join("-" * w for w in widths), *lines]
    return "\n".join(([plain_text(block.title)] if block.title else []) + lines)
