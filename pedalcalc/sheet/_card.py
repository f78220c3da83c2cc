"""The bench card: two pages to take along, parts to tick and readings to write in."""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._number_text import number_text
from pedalcalc._screen_text import html_text
from pedalcalc.bench import Expected, FirstPower
from pedalcalc.board import Board
from pedalcalc.parts import fitting_order, marking_text
from pedalcalc.sheet._text import (
    NOT_YET,
    band_text,
    charging_text,
    names_states,
    no_line_text,
    place_text,
    reading_text,
    reading_texts,
)

#: Height that the rows of a page share beside its heads, that of one head, and the least and most for a row: to read at arm's length
#: and write beside [mm].
HEIGHT, HEAD, ROW = 238.0, 6.0, (5.0, 10.5)
#: Lines to write on, from the end of the sheet to the foot of its page. They are drawn as shadows of a box without height, which
#: take no room and so never begin a page; those that reach into the card's page lie under the card.
LINES = ",".join(f"0 {8 * k}mm 0 0.08mm #999" for k in range(1, 31))
STYLE = (
    f".pedalcalc-notes{{height:0;line-height:0;margin:0 0.2mm;max-width:179.6mm;box-shadow:{LINES}}}"
    ".pedalcalc-notes span{position:relative;top:6mm;font-size:8pt}"
    "@media print{.pedalcalc-notes+.pedalcalc-card{min-height:240mm;position:relative;background:#fff}}"
    "@media screen{.pedalcalc-notes{display:none}}"
    ".pedalcalc-card{break-before:page;font-size:9.5pt;line-height:1.2;max-width:180mm}"
    ".pedalcalc-card header{display:flex;justify-content:space-between;border-bottom:0.4mm solid #111;margin-bottom:2mm;gap:4mm;font-size:9pt}"
    ".pedalcalc-card header span{white-space:nowrap}"
    ".pedalcalc-card .two{column-count:2;column-gap:6mm}"
    ".pedalcalc-card table{width:100%;font-size:9pt;margin:0 0 1mm;break-inside:auto}"
    ".pedalcalc-card td,.pedalcalc-card th{padding:0 1mm!important;vertical-align:middle}"
    ".pedalcalc-card td{height:calc(var(--row)*var(--rows,1))}"
    ".pedalcalc-card table{table-layout:auto!important}"
    ".pedalcalc-card td,.pedalcalc-card th{text-align:left!important}"  # a lab sets both its own way
    ".pedalcalc-card td:empty{min-width:20mm}"
    ".pedalcalc-card h3{font-size:10pt;margin:1mm 0 0.5mm}"
    "@media screen{.pedalcalc-card+.pedalcalc-card{margin-top:12mm}}"
    ".pedalcalc-card .tick{white-space:nowrap;width:5mm}.pedalcalc-card .name{white-space:nowrap;width:11mm}"
)


@dataclass(frozen=True)
class Card:
    """Two pages: parts ticked; readings and first power."""

    name: str
    parts: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    readings: tuple[tuple[str, str, str], ...]
    conditions: str
    power: tuple[tuple[str, str], ...]
    stop: str

    def _repr_html_(self) -> str:
        steps, count = len(self.parts), sum(len(rows) for _, rows in self.parts)
        two = _row(count, steps) <= ROW[0]  # columns, where one cannot hold them
        heights = (
            _row(count / 2 + 0.5, steps / 2 + 1) if two else _row(count, steps),
            _row(len(self.power) + len(self.readings), 6),
        )
        first = "".join(
            f"<h3>{html_text(step)}</h3><table>"
            + "".join(
                f'<tr><td class="tick">☐</td><td class="name">{html_text(name)}</td><td>{html_text(look)}</td></tr>'
                for name, look in rows
            )
            + "</table>"
            for step, rows in self.parts
        )
        head = "<tr><th>red lead on</th><th>should read</th><th>yours</th></tr>"
        rows = "".join(
            f"<tr><td><strong>{html_text(place)}</strong>: {html_text(probe)}</td><td>{html_text(band)}</td><td></td></tr>"
            for place, probe, band in self.readings
        )
        power = "".join(
            f"<tr><td>{html_text(what)}</td><td>{html_text(shown)}</td><td></td></tr>" for what, shown in self.power
        )
        pages = (
            (f'<div class="{"two" if two else ""}">{first}</div>', "parts, in fitting order"),
            (
                (
                    f"<h3>First power, before everything else</h3><table>{power}</table><p>{html_text(self.stop)}</p>"
                    f"<h3>Readings: {html_text(self.conditions)}</h3><table>{head}{rows}</table>"
                ),
                "power and readings",
            ),
        )
        told = "".join(
            f'<div class="pedalcalc-card" style="--row:{heights[k - 1]:.1f}mm"><header><strong>{html_text(self.name)}: {title}</strong>'
            f"<span>builder ____________ date ________ serial ______</span><span>page {k} of {len(pages)}</span></header>{body}</div>"
            for k, (body, title) in enumerate(pages, start=1)
        )
        return f'<style>{STYLE}</style><div class="pedalcalc-notes"><span>notes: what you changed, read and heard</span></div>{told}'

    def __str__(self) -> str:
        lines = [f"{self.name}: bench card"]
        lines += [f"[ ] {name}  {look}" for _, rows in self.parts for name, look in rows]
        lines += [f"{what}: {shown}" for what, shown in self.power] + [self.stop]
        lines += ["  ".join(row) + "  ______" for row in self.readings]
        return "\n".join(lines)

    __repr__ = __str__


def _row(rows: float, heads: float) -> float:
    """Return the height of a row where a page, or a column of it, has so many rows and heads [mm]."""
    return max(ROW[0], min(ROW[1], (HEIGHT - heads * HEAD) / rows))


def card_of(board: Board, expected: Expected, power: FirstPower, name: str, short: bool) -> Card:
    """Return the card of a board; without what is healthy at first power where its list shorts the supply."""
    parts = [
        (step[0].upper() + step[1:], tuple((part.reference, marking_text(part)) for part in fitted))
        for step, fitted in fitting_order([one.part for one in board.parts]).items()
    ]
    readings = tuple(
        (place_text(row.place, row.state), row.probe, band_text(row) if row.note == "" else row.note.partition(":")[0])
        for row in expected.rows
    )
    shown = tuple(
        (line.what, " to ".join(reading_texts([line.voltage_low, line.voltage_high], "V"))
         if line.voltage_low < line.voltage_high else reading_text(line.voltage_across, "V"))
        for line in power.rows
    )  # fmt: skip
    pull = (
        no_line_text(power)
        or f"Pull the plug at {reading_text(power.voltage_stop, 'V')} or more, at smell or at warmth."
    )
    stop = f"{number_text(power.resistance, 'Ω')}, 2 W, in the plus lead; volts across it.{charging_text(power)} {pull}"
    either = ", either state of the footswitch if none is named" if names_states(expected) else ""
    conditions = f"black lead on ground, no signal{either}"
    return Card(name, tuple(parts), readings, conditions, () if short else shown, NOT_YET if short else stop)
