"""From jack to jack: gain at control positions, which parts set which corner, and what clips first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pedalcalc import plot, report
from pedalcalc._number_text import number_text
from pedalcalc._part_value import CONTROLS
from pedalcalc._refusal import Unsolved
from pedalcalc._result import Caution
from pedalcalc._units import percent
from pedalcalc.bench._figures import HARD, has_jacks
from pedalcalc.board import Board, changed
from pedalcalc.circuit import Corners, Waveform, corners, impedance, response, waveform
from pedalcalc.circuit.signals import STANDS, jacks
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
#: Swing of the output that is a rounding [V].
NOTHING_SWING = 1e-9
#: A control that moves the response by less than this anywhere is left out of the pictures [dB].
STILL = 0.2
#: What a page says of the sound where there is none.
NOTHING_OUT = "Nothing comes out at {!r}: no way leads there, or ground, a supply or a load of 0 Ω holds it."
DRAWS = 200
#: Levels at which clipping is looked for [V peak], steps a round, the tone [Hz], its periods and instants.
LEVELS, STEPS, TONE, PERIODS, INSTANTS = (3e-3, 10.0), 14, 1e3, 1.25, 56
#: Level below which what is out of its region is so at rest already [V peak]: under the hiss of any guitar (common practice).
SOFTEST = 1e-6
#: Share of the output from which a part that leaves its region is heard: about 1 dB (common practice).
HEARD = 0.1
#: Share of a level below which what clips first as listed is what does as fitted.
ALIKE = 0.05


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


def soundless(board: Board, ways: Ways, others: str = "") -> tuple[str, tuple[Caution, ...]]:
    """Return why nothing can be told of the sound, empty if it can, and what stands in its way at rest.

    A list without jacks, or one whose way is open, has its volts all the same.
    """
    if not (ways.net_in and ways.net_out):
        try:
            jacks(board)
        except ValueError as reason:
            return (
                f"{reason}; write input or output into the jack's note, or name its net as signal_in or signal_out",
                (),
            )
    if not ways.net_in and not has_jacks(board):
        told = f"the input, {jacks(board)[0]!r}, is joined to ground or a supply, and no signal comes in"
        action = "look for a link, a resistor of 0 Ω or a name that two nets share"
        return f"{told}; {action}", (Caution(told, action, np.nan, np.nan, "V"),)
    heard = response(board, frequency=list(NOTES.values()), **ways.asked())
    stuck = _stuck([one.what.partition(STANDS)[0] for one in heard.cautions if STANDS in one.what])
    shorted = ways.resistance_load == 0  # the answer's own short says so in each section
    if not shorted and not np.any(np.asarray(heard.gain) > 0) and not np.isnan(heard.gain).any():
        return (
            f"nothing passes from {heard.net_in!r} to {heard.net_out!r}. Follow the signal in the list, net by net: a part is "
            "missing, or one on the way is shut, as its volts tell, or a net's name is written in two ways"
            + (
                f"; or the way leads through {others}, which is not computed: name the net ahead of it as signal_out"
                if others
                else ""
            )
        ), stuck
    return "", stuck


def _stuck(names: Sequence[str]) -> tuple[Caution, ...]:
    """Return one caution of all op-amps whose outputs stand at a limit."""
    if not names:
        return ()
    what, its = f"{names[0]}{STANDS}", "its"
    if len(names) > 1:
        what, its = f"{', '.join(names)} stand at a limit of their outputs with no signal and pass nothing", "their"
    action = f"see {its} volts: are {its} inputs exchanged in the list? a small shift at them, times {its} gain, is enough, too"
    return (Caution(what, action, np.nan, np.nan, ""),)


def response_section(board: Board, ways: Ways, first: Sequence[str] = ()) -> Section:
    """Return gain and response, at the controls' positions, with the band that the parts leave; `first` stands above all."""
    asked = ways.asked()
    shown: list[Any] = [words(one) for one in first]
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
    ends = [{"looking": name, "at 1 kHz": _looking(board, net, asked)} for name, net in seen.items()]
    shown.append(words(
        f"From a guitar of {number_text(ways.resistance_generator, 'Ω')} at {usual.net_in!r} to an input of "
        f"{number_text(ways.resistance_load, 'Ω')} at {usual.net_out!r}, small signals, controls as told "
        f"({_standing(board)}). The band holds 99 % of units within their tolerances."
    ))  # fmt: skip
    if silent(middle):
        shown += [words(NOTHING_OUT.format(usual.net_out)), report.table(ends, title="Impedances at the jacks")]
        return Section("From jack to jack", tuple(shown))
    shown += [report.table(rows, title="Gain"), report.table(ends, title="Impedances at the jacks")]
    at = slice(len(NOTES), None)
    shown.append(plot.response(
        {"usual": (SWEEP, middle[at])}, band=(low[at], high[at]), title="Response with the band of its parts",
    ))  # fmt: skip
    shown += _controls(board, asked)
    return Section("From jack to jack", tuple(shown))


def _looking(board: Board, net: str, asked: Mapping[str, Any]) -> str:
    """Return what a jack looks like, or that nothing of the build hangs there."""
    try:
        ohms = float(impedance(board, frequency=TONE, net=net, **asked).impedance_size)
    except Unsolved:
        return "nothing holds it"
    return "not predictable" if np.isnan(ohms) else number_text(ohms, "Ω")


def _quantile(drawn: Array, share: float) -> Array:
    """Return a quantile by frequency of the units that have a number, NaN where none has; no gain at all is -400 dB."""
    known = (~np.isnan(drawn)).any(axis=0)
    found = np.full(drawn.shape[1], np.nan)
    found[known] = np.nanquantile(np.maximum(drawn[:, known], NOTHING_DB), share, axis=0)
    return found


def silent(gain_db: Any) -> bool:
    """Tell whether nothing at all comes out at any frequency."""
    return bool(np.all(np.asarray(gain_db) <= NOTHING_DB))


def _db(value: float) -> str:
    if np.isnan(value):
        return "not predictable"
    return "nothing" if value <= NOTHING_DB else number_text(value, "dB")


def _standing(board: Board) -> str:
    told = [
        f"{one.part.reference} {percent(board.rotations.get(one.part.reference, 0.5))}"
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
        spread = np.ptp(np.maximum(np.stack(list(curves.values())), NOTHING_DB), axis=0)
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
    seen = response(board, frequency=list(NOTES.values()), **ways.asked())
    if silent(seen.gain_db):
        return Section("Which parts set which corner", (words(NOTHING_OUT.format(seen.net_out)),))
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


@dataclass(frozen=True)
class Clipping:
    """Levels [V peak at the generator] from which parts leave their region, the first first, and the output's swing [V] there.

    `levels` are of parts that are heard: the share of the output that a part's departure makes is at least `HEARD` at twice its
    level. `unheard` are of the others, as a side-chain's. `too_fast` are cautions of op-amps whose slew rate a signal of
    `loud` [V peak], hard playing or twice the first level, would take.
    """

    levels: Mapping[str, float]
    unheard: Mapping[str, float]
    swing: float
    at_rest: tuple[str, ...]
    loud: float
    too_fast: tuple[Caution, ...]


def clipping(board: Board, ways: Ways) -> Clipping:
    """Return from which level on each part is out of its region, whether that is heard, and what is out at rest."""
    low, high = LEVELS
    first = _levels(*_played(board, ways, np.geomspace(low, high, STEPS)))
    if low in first.values():  # much gain, or out at rest already
        softer = _levels(*_played(board, ways, np.geomspace(SOFTEST, low, STEPS)))
        first |= {name: level for name, level in softer.items() if first.get(name) == low}
    rest = tuple(name for name, level in first.items() if level == SOFTEST)
    clips = {name: level for name, level in first.items() if level > SOFTEST}
    if not clips:
        return Clipping({}, {}, 0.0, rest, HARD, _played(board, ways, np.array([HARD]))[1].cautions)
    ratio = (high / low) ** (1 / (STEPS - 1))
    levels, seen = _played(
        board, ways, np.concatenate([np.geomspace(top / ratio, top, STEPS)[1:] for top in sorted(set(clips.values()))])
    )
    clips |= {name: level for name, level in _levels(levels, seen).items() if name in clips}
    clips = dict(sorted(clips.items(), key=lambda one: one[1]))
    twice, louder = _played(board, ways, 2 * np.array(sorted(set(clips.values()))))
    shares = {
        name: np.max(np.atleast_1d(louder.heard.get(name, 0.0))[twice <= 2 * level], initial=0.0)
        for name, level in clips.items()
    }
    heard = {name: level for name, level in clips.items() if not shares[name] < HEARD}
    volts = np.atleast_2d(seen.voltages[ways.net_out or jacks(board)[1]])
    at = int(np.argmax(levels >= min((heard or clips).values())))
    swing = float(np.abs(volts[at] - volts[at, 0]).max())
    loud = max(HARD, 2 * min((heard or clips).values()))
    too_fast = _played(board, ways, np.array([loud]))[1].cautions
    unheard = {name: level for name, level in clips.items() if name not in heard}
    return Clipping(heard, unheard, swing, rest, loud, too_fast)


def _played(board: Board, ways: Ways, levels: Array) -> tuple[Array, Waveform]:
    """Return levels and what the board does at each, from rest."""
    time = np.linspace(0.0, PERIODS / TONE, INSTANTS)
    given = levels[:, None] * np.sin(2 * np.pi * TONE * time)
    return levels, waveform(board, time=time, voltage_input=given, **ways.asked())


def _levels(levels: Array, seen: Waveform) -> dict[str, float]:
    """Return the first of some levels at which each part leaves its region."""
    return {name: float(levels[int(np.argmax(np.isfinite(np.atleast_1d(at))))]) for name, at in seen.left.items()}


def _as_listed(board: Board, ways: Ways, fitted: Clipping) -> list[Any]:
    """Return what clipped first in the build as it is listed, where something else is fitted: gains alone do not tell."""
    listed = {
        one.part.reference: one.part.text_listed
        for one in board.parts
        if one.part.text_listed and one.part.text_listed != one.part.value_text
    }
    if not listed:
        return []
    try:
        found = clipping(changed(board, **listed), ways)
    except (ValueError, RuntimeError):
        return [words("With the parts that are listed it cannot be told.")]
    if not found.levels:
        return [words("With the parts that are listed nothing that is heard leaves its region up to 10 V peak.")]
    name, level = next(iter(found.levels.items()))
    as_fitted = next(iter(fitted.levels.items()), ("", 0.0))
    if name == as_fitted[0] and abs(level - as_fitted[1]) < ALIKE * level:
        return []
    return [
        words(
            f"With the parts that are listed {name} is the first, at {write_value(level, unit='V', digits=2)}: the output then "
            f"swings {write_value(found.swing, unit='V', digits=2)} peak."
        )
    ]


def _first(name: str, level: float) -> str:
    return f"{name} is the first, at {write_value(level, unit='V', digits=2)} peak from the guitar, 1 kHz"


def _rows(levels: Mapping[str, float]) -> list[dict[str, str]]:
    return [{"part": name, "from": number_text(at, "V", 2)} for name, at in levels.items()]


def clipping_section(board: Board, ways: Ways, first: Sequence[str] = (), *, rests: bool = True) -> Section:
    """Return what clips first and at what level; nothing where the board does not rest."""
    if not rests:
        return Section(
            "What clips first", (words("Not computed: the board swings by itself, so it has no rest to leave."),)
        )
    found = clipping(board, ways)
    shown: list[Any] = [words(one) for one in first]
    silence = bool(found.levels or found.unheard) and not found.swing > NOTHING_SWING
    if silence:
        name, level = min({**found.levels, **found.unheard}.items(), key=lambda one: one[1])
        shown.append(words(f"{_first(name, level)}, but nothing of it comes out."))
    elif found.levels:
        shown.append(words(
            f"{_first(*next(iter(found.levels.items())))}: the output then swings {write_value(found.swing, unit='V', digits=2)} peak. "
            "A single coil gives 0.1 to 0.3 V, a hot humbucker 1 V and more (common practice)."
        ))  # fmt: skip
    elif found.unheard:
        shown.append(words("Nothing that is heard leaves its region up to 10 V peak from the guitar."))
    else:
        shown.append(words("Nothing leaves its region up to 10 V peak from the guitar."))
    if found.levels:
        title = "Peak at the guitar from which a part limits, or a diode clips"
        shown.append(report.table(_rows(found.levels), title=title))
    if found.unheard:
        shown.append(report.table(_rows(found.unheard), title="Leaves its region, too, but is not heard at the output"))
    if found.unheard and not silence:
        shown.append(words(
            "Not heard: at twice that level it changes what comes out by less than a tenth, about 1 dB (common practice). "
            "A rectifier, and what drives it or a LED, is meant to work so."
        ))  # fmt: skip
    if found.too_fast:
        shown.append(words(f"With {number_text(found.loud, 'V', 2)} peak from the guitar, 1 kHz:"))
        shown.append(report.cautions(*found.too_fast))
    shown += _as_listed(board, ways, found)
    if any(isinstance(one.device, Coupler) for one in board.parts):
        shown.append(
            words(
                "The cell of a coupler is held where it stands with no signal: what light does to it at play is left out, and "
                "with it what a limit of the side-chain does to the compression."
            )
        )
    if found.at_rest:
        shown.append(
            words(
                f"At rest or nearly so out of their region already: {', '.join(found.at_rest)}. See whether that is meant."
            )
        )
    return Section("What clips first", tuple(shown))
