"""The sections that go to the bench: what the meter should read and whether it does, and the first power-up."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pedalcalc import report
from pedalcalc._number_text import number_text
from pedalcalc._units import percent
from pedalcalc.bench import Expected, FirstPower, Judged
from pedalcalc.circuit import OperatingPoint
from pedalcalc.sheet._section import Section, words
from pedalcalc.sheet._text import (
    NOT_YET,
    band_text,
    charging_text,
    names_states,
    no_line_text,
    place_text,
    reading_text,
    reading_texts,
    spread_text,
)

#: Heat that nobody feels [W] (common practice).
COOL = 10e-3


def readings_section(expected: Expected, point: OperatingPoint, judged: Judged | None) -> Section:
    """Return what the meter should read, and the verdict on what it did."""
    shown: list[Any] = [words(
        f"Black lead on ground, no signal, controls as told, supply {reading_text(expected.voltage_supply, 'V')}. Read from the top: the "
        "first that does not fit is the place to look. Read the supply itself, too: all others are held against it. "
        f"{'Where no state of the footswitch is named, both give the same. ' if names_states(expected) else ''}"
        "There is room for yours on the card at the end; README.md in the folder readings shows how to type them into a file."
    ), words(
        f"The numbers are those of a {expected.meter_text}, its loading and accuracy in them. The band holds "
        f"{percent(expected.coverage)} of {expected.count} units whose parts lie within their tolerances, enough to bound its ends with 95 % confidence; it is "
        "wide where a type is (a JFET): measure your part, name its file, and it shrinks."
    )]  # fmt: skip
    if point.others:
        count = len(point.others) + 1
        shown.append(words(f"This circuit has {count} stable states; the table shows the one it powers up into."))
    rows = [
        {"net": place_text(row.place, row.state), "red lead on": row.probe, "should read": band_text(row)}
        for row in expected.rows
    ]
    shown.append(report.table(rows))
    if judged is not None:
        shown.append(words(f"Verdict: {judged.verdict}."))
        told = [
            {"net": place_text(row.place, row.state)}
            | dict(zip(("from", "to"), reading_texts([row.reading_low, row.reading_high], row.unit), strict=True))
            | {"read": reading_text(row.value, row.unit), "verdict": row.verdict, "band widths outside": f"{row.widths:.1f}" if row.widths > 0 else "none"}
            for row in judged.rows
        ]  # fmt: skip
        shown.append(
            report.table(told, title=f"Your readings, held against {reading_text(judged.voltage_supply, 'V')}")
        )
        if judged.depends_on:
            shares = [{"part": name, "share of its moves": percent(share)} for name, share in judged.depends_on]
            shown.append(report.table(shares, title=f"What moves {judged.first!r}, likeliest first"))
    return Section("What the meter should read", tuple(shown))


def power_section(power: FirstPower, socket: bool, swings: bool, others: str, short: bool) -> Section:
    """Return what a resistor in the plus lead shows at first power, and when to pull the plug."""
    care = ("hot-parts",) if short else ("first-power", "hot-parts")
    box = replace(report.safety(*care), foot="")  # whom to ask stands in the sheet's first box
    if short:
        return Section("First power", (words(NOT_YET), box))
    rows = [
        {"state": line.what, "across it": spread_text(line.voltage_across, line.voltage_low, line.voltage_high, "V"),
         "current": reading_text(line.current, "A"),
         "heat in it": number_text(line.power, "W", 2) if line.power > COOL else f"under {number_text(COOL, 'W', 0)}"}
        for line in power.rows
    ]  # fmt: skip
    told = words(
        "Before power: supply to ground not short on ohms; ICs, transistors, diodes, electrolytics the right way round; "
        f"{'the adaptor' if socket else 'the battery clip'}'s polarity and volts, nothing connected, by meter.",
        f"Then {number_text(power.resistance, 'Ω')}, 2 W, in the plus lead, controls half way, no headphones.{charging_text(power)}",
        no_line_text(power)
        or f"Pull the plug at {reading_text(power.voltage_stop, 'V')} or more across it, at smell, at warmth: pull first, look second.",
        *(
            ["This board swings by itself: what is told is the middle about which the reading goes to and fro."]
            if swings
            else []
        ),
        *(
            [
                f"The current of {others} comes on top: for each milliampere of its sheet add {reading_text(1e-3 * power.resistance, 'V')} to all."
            ]
            if others
            else []
        ),
    )
    return Section("First power", (told, report.table(rows, title="What the resistor shows"), box))
