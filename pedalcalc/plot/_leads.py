"""Outlines of packages with the number and the name of every lead, after the records' orders of pins."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import NamedTuple

from pedalcalc._screen_text import plain_text
from pedalcalc.devices import Pinout
from pedalcalc.plot._style import wide_on_screen

FONTS = "DejaVu Sans, Verdana, sans-serif"
LEAD = 62.0  # between two leads in a row, room for the longest name of one
PIN = 80.0  # between two pins of a chip
WIDEST = 643.0  # a page's, in the points of its drawing
VIEW = 148.0  # down to the words that say how it is held
WRAP = 34  # letters of a line under an outline


class Drawn(NamedTuple):
    """A part of the drawing, and its size."""

    svg: str
    wide: float
    high: float


def draw_leads(parts: Mapping[str, Pinout]) -> tuple[str, ...]:
    """Return drawings of all outlines, side by side as far as the page is wide, a drawing for each row."""
    drawn = [_titled(name, order) for name, order in parts.items()]
    return tuple(_in_row(row) for row in min((_rows(drawn, order) for order in (False, True)), key=len))


def _titled(name: str, order: Pinout) -> Drawn:
    """Return an outline under its name and over the words that say how it is held."""
    drawn, width = _outline(order)
    held = f"{order.view} ({order.origin})"
    lines = _wrapped(held, max(WRAP, int(width / 5.6), len(held) // 4 + 8))  # four lines at most
    names = _wrapped(name, max(WRAP, int(width / 8.0)))
    width = max(width, *(5.6 * len(line) for line in lines), *(8.0 * len(line) for line in names)) + 8
    down = 15.0 * (len(names) - 1)
    words = "".join(_text(width / 2, 14 + 15 * k, line, size=12, bold=True) for k, line in enumerate(names))
    words += "".join(_text(width / 2, VIEW + down + 12 * k, line, size=9) for k, line in enumerate(lines))
    moved = f'<g transform="translate({width / 2:.1f},{24 + down:.0f})">{drawn}</g>'
    return Drawn(words + moved, width, VIEW + down + 12 * len(lines) - 6)


def _rows(drawn: list[Drawn], widest_first: bool) -> list[list[Drawn]]:
    """Return drawings in rows no wider than a page: in their order, or each into the first row with room, the widest first."""
    rows: list[list[Drawn]] = []
    for one in sorted(drawn, key=lambda one: -one.wide) if widest_first else drawn:
        open_rows = rows if widest_first else rows[-1:]
        row = next((row for row in open_rows if sum(other.wide for other in row) + one.wide <= WIDEST), None)
        if row is None:
            rows.append([one])
        else:
            row.append(one)
    return rows


def _in_row(row: list[Drawn]) -> str:
    """Return a row of drawings as one."""
    pieces, left = "", 0.0
    for one in row:
        pieces += f'<g transform="translate({left:.1f},0)">{one.svg}</g>'
        left += one.wide
    high = max(one.high for one in row)
    return wide_on_screen(
        f'<svg class="pedalcalc-leads" xmlns="http://www.w3.org/2000/svg" '
        f'viewBox="0 0 {left:.1f} {high:.1f}" font-family="{FONTS}">{pieces}</svg>'
    )


def _outline(order: Pinout) -> tuple[str, float]:
    """Return the drawing of a package about x = 0, 110 high, and its width."""
    for begins, draw in OUTLINES.items():
        if order.package.startswith(begins):
            return draw(_names(order))
    return _row(_names(order))


def _names(order: Pinout) -> list[tuple[str, str]]:
    """Return number and name of each lead."""
    return [
        (pin if pin != role else "", f"{role}{f' {unit}' if unit and unit != role else ''}")
        for pin, unit, role in order.entries
    ]


def _text(x: float, y: float, words: str, *, size: float = 10.0, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    told = escape(plain_text(words), quote=False)
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="middle" fill="#111"{weight}>{told}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, *, wide: float = 2.0) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="#111" stroke-width="{wide:g}"/>'


def _path(shape: str) -> str:
    return f'<path d="{shape}" fill="#eee" stroke="#111" stroke-width="1.5"/>'


def _dot(x: float, y: float, radius: float = 3.0, fill: str = "#111") -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{fill}" stroke="#111"/>'


def _lead(x: float, start: float, end: float, lead: tuple[str, str]) -> str:
    """Draw a lead that points down, its number and name below."""
    number, name = lead
    return (
        _line(x, start, x, end) + _text(x, end + 12, number, bold=True) + _text(x, end + (24 if number else 12), name)
    )


def _places(leads: list[tuple[str, str]]) -> list[float]:
    return [LEAD * (k - (len(leads) - 1) / 2) for k in range(len(leads))]


def _row(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a plain body with its leads in a row."""
    half = LEAD * len(leads) / 2
    body = _path(f"M{-half + 8:.1f} 10 H{half - 8:.1f} V50 H{-half + 8:.1f} Z")
    return body + "".join(_lead(x, 50, 80, lead) for x, lead in zip(_places(leads), leads, strict=True)), 2 * half


def _to92(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw the flat face of a small plastic transistor."""
    body = _path("M-40 52 V14 Q-40 4 -30 4 H30 Q40 4 40 14 V52 Z") + _text(0, 32, "flat side", size=9)
    legs = "".join(
        _line(x / 3, 52, x / 3, 58) + _line(x / 3, 58, x, 70) + _lead(x, 70, 84, lead)
        for x, lead in zip(_places(leads), leads, strict=True)
    )
    return body + legs, LEAD * len(leads)


def _to220(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw the printed face of a part with a tab."""
    body = (
        _path("M-40 0 H40 V22 H-40 Z")
        + _dot(0, 11, 6, "#fff")
        + _path("M-40 22 H40 V58 H-40 Z")
        + _text(0, 44, "print", size=9)
    )
    legs = "".join(
        _line(x / 3, 58, x / 3, 64) + _line(x / 3, 64, x, 74) + _lead(x, 74, 86, lead)
        for x, lead in zip(_places(leads), leads, strict=True)
    )
    return body + legs, LEAD * len(leads)


def _sot23(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a small part for the surface from above, its single lead on top."""
    (first, second, top) = leads
    body = _path("M-36 36 H36 V66 H-36 Z") + _line(0, 36, 0, 26, wide=8)
    legs = _line(-24, 66, -24, 76, wide=8) + _line(24, 66, 24, 76, wide=8)
    words = (
        _text(0, 20, f"{top[0]} {top[1]}")
        + _text(-30, 90, f"{first[0]} {first[1]}")
        + _text(30, 90, f"{second[0]} {second[1]}")
    )
    return body + legs + words, 150.0


def _can(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a round can from its leads' side: an arc of leads, clockwise from the one far from the dot."""
    body = '<circle cx="0" cy="50" r="38" fill="#eee" stroke="#111" stroke-width="1.5"/>' + _dot(33, 50, 4)
    spots = ((-22.0, 50.0), (0.0, 30.0), (20.0, 50.0))
    holes = "".join(_dot(x, y, 3, "#fff") for x, y in spots)
    beside = ((-74.0, 53.0), (0.0, 6.0), (82.0, 53.0))
    return body + holes + "".join(
        _text(x, y, " ".join(lead)) for (x, y), lead in zip(beside, leads, strict=True)
    ), 230.0


def _glass(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a glass part whose dot marks the last lead."""
    drawn, width = _row(leads)
    return drawn + _dot(width / 2 - 18, 30, 5), width


def _dip(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a chip from above, notch at the left, counted anticlockwise from the bottom left."""
    side = len(leads) // 2
    half = PIN * side / 2
    body = _path(f"M{-half:.1f} 34 H{half:.1f} V76 H{-half:.1f} V62 A7 7 0 0 0 {-half:.1f} 48 Z")
    drawn = [body]
    for k, (number, name) in enumerate(leads):
        below = k < side
        x = PIN * ((k if below else len(leads) - 1 - k) - (side - 1) / 2)
        near, away, inside = (76, 84, 72) if below else (34, 26, 44)
        drawn += [_line(x, near, x, away, wide=5), _text(x, inside, number, size=9, bold=True)]
        lines = _wrapped(name, 13)
        step = 10 if len(lines) < 3 else 9  # three stay clear of the words under the outline
        top = away + (11 if step == 10 else 9) if below else away - 4 - step * (len(lines) - 1)
        drawn += [_text(x, top + step * j, line, size=9) for j, line in enumerate(lines)]
    return "".join(drawn), 2 * half + 10


def _axial(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a diode with its ring at the second lead."""
    body = _path("M-30 36 H30 V60 H-30 Z") + _line(20, 36, 20, 60, wide=6)
    wires = _line(-70, 48, -30, 48) + _line(30, 48, 70, 48)
    return body + wires + _text(-60, 72, leads[0][1]) + _text(60, 72, leads[1][1]), 170.0


def _round(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a lamp or a can with the longer lead first and the second one marked."""
    body = _path("M-20 50 V16 Q-20 2 0 2 Q20 2 20 16 V50 Z") + _line(17, 14, 17, 50, wide=5)
    legs = _line(-9, 50, -9, 96) + _line(9, 50, 9, 84)
    return body + legs + _text(-40, 92, leads[0][1]) + _text(44, 84, leads[1][1]), 160.0


def _pot(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a control from the side of its shaft, lugs down."""
    body = '<circle cx="0" cy="36" r="34" fill="#eee" stroke="#111" stroke-width="1.5"/>' + _dot(0, 36, 8, "#fff")
    legs = ""
    for x, (number, name) in zip(_places(leads), leads, strict=True):
        legs += _line(x / 3, 66, x / 3, 74, wide=5) + _text(x * 1.2, 88, number, bold=True)
        legs += "".join(_text(x * 1.2, 99 + 10 * k, line, size=9) for k, line in enumerate(_wrapped(name, 13)))
    return body + legs, 216.0


def _coupler(leads: list[tuple[str, str]]) -> tuple[str, float]:
    """Draw a lamp and a cell in one sleeve, the leads of each at its own end."""
    drawn = [_path("M-60 24 H60 V80 H-60 Z")]
    for (number, name), end, y in zip(leads, (-1, -1, 1, 1), (38.0, 66.0, 38.0, 66.0), strict=True):
        drawn += [_line(end * 60, y, end * 82, y), _text(end * 118, y + 4, number or name)]
    return "".join(drawn), 296.0


def _wrapped(words: str, most: int) -> list[str]:
    lines = [""]
    for word in words.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


# By how a record's package begins.
OUTLINES = {
    "TO-92": _to92,
    "TO-220": _to220,
    "SOT-23": _sot23,
    "TO-1": _can,
    "SO-2": _glass,
    "DIP-": _dip,
    "axial": _axial,
    "3 or 5 mm lamp": _round,
    "radial": _round,
    "three lugs": _pot,
    "two leads at each end": _coupler,
}
