"""From jack to jack: gain at control positions, which parts set which corner, and what clips first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import plot, report
from pedalcalc._number_text import number_text
from pedalcalc._part_value import CONTROLS
from pedalcalc.board import Board
from pedalcalc.circuit import Corners, corners, impedance, response, waveform
from pedalcalc.devices import Coupler
from pedalcalc.sheet._section import Section, words
from pedalcalc.tolerance.draws import drawn_units
from pedalcalc.values import write_value

Array = NDArray[np.float64]

SWEEP = np.geomspace(10.0, 50e3, 60)
NOTES = {"82 Hz, the low E": 82.4, "330 Hz, the high E": 329.6, "1 kHz": 1e3, "5 kHz": 5e3}
POSITIONS = {"anticlockwise": 0.0, "half way": 0.5, "clockwise": 1.0}
#: Decibels that stand for no gain at all.
NOTHING_DB = -400.0
#: A control that moves the response by less than this anywhere is left out of the pictures [dB].
STILL = 0.2
DRAWS = 200
#: Levels at which clipping is looked for [V peak], steps a round, the tone [Hz], its periods and instants.
LEVELS, STEPS, TONE, PERIODS, INSTANTS = (3e-3, 10.0), 14, 1e3, 1.25, 56


@dataclass(frozen=True)
class Ways:
    """Between which nets and what: the answers that no list gives."""

    net_in: str
    net_out: str
    resistance_generator: float
    resistance_load: float

    def asked(self) -> dict[str, Any]:
        """Return the arguments for the calculations."""
        return dict(vars(self))


def response_section(board: Board, ways: Ways) -> Section:
    """Return gain and response, at the controls' positions, with the band that the parts leave."""
    asked = ways.asked()
    shown: list[Any] = []
    units = drawn_units(board, count=DRAWS, seed=1)
    hertz = np.concatenate([list(NOTES.values()), SWEEP])
    usual = response(board, frequency=hertz, **asked)
    middle = np.asarray(usual.gain_db)
    drawn = np.atleast_2d(response(board, frequency=hertz, values=units, **asked).gain_db)
    low, high = (_quantile(drawn, share) for share in (0.005, 0.995))
    rows = [
        {"at": name, "least": _db(low[k]), "usual": _db(middle[k]),
         "most": _db(high[k])}
        for k, name in enumerate(NOTES)
    ]  # fmt: skip
    seen = {"into the input": asked["net_in"] or usual.net_in, "out of the output": asked["net_out"] or usual.net_out}
    ends = [
        {
            "looking": name,
            "at 1 kHz": number_text(float(impedance(board, frequency=1e3, net=net, **asked).impedance_size), "Ω"),
        }
        for name, net in seen.items()
    ]
    shown.append(words(
        f"From a guitar of {number_text(ways.resistance_generator, 'Ω')} at {usual.net_in!r} to an input of "
        f"{number_text(ways.resistance_load, 'Ω')} at {usual.net_out!r}, small signals, controls as they were told to stand "
        f"({_standing(board)}). The band holds 99 % of units whose parts lie within their tolerances."
    ))  # fmt: skip
    shown += [report.table(rows, title="Gain"), report.table(ends, title="Impedances at the jacks")]
    at = slice(len(NOTES), None)
    shown.append(plot.response(
        {"usual": (SWEEP, middle[at])}, band=(low[at], high[at]), title="Response with the band of its parts",
    ))  # fmt: skip
    shown += _controls(board, asked)
    return Section("From jack to jack", tuple(shown))


def _quantile(drawn: Array, share: float) -> Array:
    """Return a quantile by frequency of the units that have a number, NaN where none has; no gain at all is -400 dB."""
    known = (~np.isnan(drawn)).any(axis=0)
    found = np.full(drawn.shape[1], np.nan)
    found[known] = np.nanquantile(np.maximum(drawn[:, known], NOTHING_DB), share, axis=0)
    return found


def _db(value: float) -> str:
    return "not predictable" if np.isnan(value) else number_text(value, "dB")


def _standing(board: Board) -> str:
    told = [
        f"{one.part.reference} {board.rotations.get(one.part.reference, 0.5):.0%}".replace("%", " %")
        for one in board.parts
        if one.part.kind in CONTROLS
    ]
    return ", ".join(told) or "there are none"


def _controls(board: Board, asked: Mapping[str, Any]) -> list[Any]:
    """Return a picture for each control that moves the response, and a line for those that do not."""
    shown: list[Any] = []
    still = []
    for one in board.parts:
        if one.part.kind not in CONTROLS:
            continue
        name, note = one.part.reference, one.part.note.partition(";")[0]
        curves = {}
        for position, turned in POSITIONS.items():
            turned_board = replace(board, rotations={**board.rotations, name: turned})
            curves[position] = np.asarray(response(turned_board, frequency=SWEEP, **asked).gain_db)
        spread = np.ptp(np.stack(list(curves.values())), axis=0)
        if not np.isfinite(spread).all() or spread.max() > STILL:
            title = f"{name}{', ' + note if note else ''}"
            shown.append(plot.response({label: (SWEEP, curve) for label, curve in curves.items()}, title=title))
        else:
            still.append(name)
    if still:
        shown.append(
            words(f"{', '.join(still)} {'does' if len(still) == 1 else 'do'} not move the response of small signals.")
        )
    return shown


def corners_section(board: Board, ways: Ways) -> Section:
    """Return which parts set which corner."""
    found: Corners = corners(board, frequency_from=0.5, frequency_to=200e3, **ways.asked())
    rows = [
        {"corner": number_text(one.frequency, "Hz").replace(" ", "\N{NO-BREAK SPACE}"), "what it does": one.effect + (f", {one.count} together" if one.count > 1 else ""),
         "set by": one.set_by}
        for one in found.corners
    ]  # fmt: skip
    told = words(
        "Behind each part: by how many per cent the corner moves for one per cent more of it. Of a control it says between which "
        "pins; gm, cell or gain-bandwidth is what counts of that part."
    )
    table = report.table(rows) if rows else words("There is no corner between 0.5 Hz and 200 kHz.")
    hidden = (
        [
            words(
                f"Not shown: {found.hidden} {'pair' if found.hidden == 1 else 'pairs'} of corners that undo each other."
            )
        ]
        if found.hidden
        else []
    )
    simple = report.formula(
        "f_c = 1/(2*pi*R*C)",
        where={"R": "what the capacitor sees", "C": "the capacitor", "f_c": "corner of one of each"},
    )
    return Section("Which parts set which corner", (told, table, *hidden, simple))


def clipping(board: Board, ways: Ways) -> tuple[dict[str, float], tuple[str, ...]]:
    """Return the level [V peak at the generator] at which each part leaves its region, and what is out of it at rest."""
    low, high = LEVELS
    first = _left(board, ways, np.geomspace(low, high, STEPS))
    rest = tuple(name for name, level in first.items() if level == low)
    clips = {name: level for name, level in first.items() if level > low}
    if clips:
        ratio = (high / low) ** (1 / (STEPS - 1))
        least = min(clips.values())
        fine = _left(board, ways, np.geomspace(least / ratio, least, STEPS))
        clips |= {name: level for name, level in fine.items() if name in clips}
    return dict(sorted(clips.items(), key=lambda one: one[1])), rest


def _left(board: Board, ways: Ways, levels: Array) -> dict[str, float]:
    """Return the lowest level at which each part leaves its region, from rest."""
    time = np.linspace(0.0, PERIODS / TONE, INSTANTS)
    given = levels[:, None] * np.sin(2 * np.pi * TONE * time)
    left = waveform(board, time=time, voltage_input=given, **ways.asked()).left
    return {name: float(levels[int(np.argmax(np.isfinite(np.atleast_1d(at))))]) for name, at in left.items()}


def clipping_section(board: Board, ways: Ways) -> Section:
    """Return what clips first and at what level."""
    clips, rest = clipping(board, ways)
    gain = float(response(board, frequency=TONE, **ways.asked()).gain)
    shown: list[Any] = []
    if clips:
        name, level = next(iter(clips.items()))
        shown.append(words(
            f"{name} leaves its region first, at {write_value(level, unit='V', digits=2)} peak from the guitar, 1 kHz: the output "
            f"then swings {write_value(level * gain, unit='V', digits=2)} peak. A single coil gives 0.1 to 0.3 V, a hot humbucker "
            "struck hard 1 V and more (common practice)."
        ))  # fmt: skip
        rows = [{"part": one, "from": number_text(at, "V", 2)} for one, at in clips.items()]
        shown.append(report.table(rows, title="Peak at the guitar from which a part limits, cuts off or saturates"))
    else:
        shown.append(words("Nothing leaves its region up to 10 V peak from the guitar."))
    if any(isinstance(one.device, Coupler) for one in board.parts):
        shown.append(
            words(
                "The cell of a coupler is held where it stands with no signal: what light does to it at play is left out. A part that "
                "only drives the LED may limit without being heard."
            )
        )
    if rest:
        shown.append(
            words(f"At rest or nearly so out of their region already: {', '.join(rest)}. See whether that is meant.")
        )
    return Section("What clips first", tuple(shown))
