"""What changes if other parts are fitted: in figures, and in words that tell whether it matters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc import devices
from pedalcalc._arguments import is_a, one_number, whole_number
from pedalcalc._base import search
from pedalcalc._meter import doubt
from pedalcalc._result import Result, quantity
from pedalcalc.bench._figures import LOWER, NOTES, SWEEP, UPPER, at_rest, drawn_figures, has_jacks, played
from pedalcalc.bench._times import LEAST, passed_on
from pedalcalc.bench.places import places
from pedalcalc.board import Board, changed
from pedalcalc.circuit.elements import elements_of
from pedalcalc.parts import NOT_CONNECTED
from pedalcalc.tolerance.bands import MOST
from pedalcalc.tolerance.draws import drawn_units
from pedalcalc.values import write_value

#: Parts that set how far a signal may swing.
CLIPPERS = (devices.Diode, devices.Led, devices.Zener, devices.Bjt, devices.Jfet, devices.Mosfet, devices.OpAmp)
TOGETHER = "all together"
NOTHING, WITHIN = "nothing you can measure", "within tolerance"
#: Smallest steps that are heard (common practice): loudness [dB], the ends of what passes [octaves].
STEP_DB, STEP_OCTAVE = 1.0, 1 / 3
#: Smallest change of a time that is worth telling, as a share of it (common practice).
STEP_TIME = 0.1
STEPS = (STEP_DB, STEP_OCTAVE, STEP_TIME)
COVERAGE = 0.99
#: Change of all gains from which the ends of what passes are no longer told [dB].
FAR = 12.0
#: Gain under which nothing comes out: of a guitar's volt it leaves 10 µV, under an amplifier's noise [dB] (common practice).
SILENT = -100.0


@dataclass(frozen=True, slots=True, eq=False)
class Move(Result):
    """One figure that a swap moves. `audible` tells whether it passes the step that is heard; a time is not heard as such."""

    what: str = quantity("text", "figure")
    before: float = quantity("SI", "before")
    after: float = quantity("SI", "after")
    reading_low: float = quantity("SI", "lowest of its band")
    reading_high: float = quantity("SI", "highest of its band")
    unit: str = quantity("text", "unit")
    audible: bool = quantity("bool", "can be heard")


@dataclass(frozen=True, slots=True, eq=False)
class Change(Result):
    """One swap, or all of them together, with what it moves and the verdict in words."""

    reference: str = quantity("text", "part")
    text_listed: str = quantity("text", "before")
    value_text: str = quantity("text", "after")
    verdict: str = quantity("text", "verdict")
    moves: tuple[Move, ...] = quantity("records", "figures that move")


@search
def changes(
    board: Board,
    *,
    fitted: Mapping[str, str] | None = None,
    step_db: ArrayLike = STEP_DB,
    step_octave: ArrayLike = STEP_OCTAVE,
    step_time: ArrayLike = STEP_TIME,
    count: int = 200,
    seed: int = 1,
) -> tuple[Change, ...]:
    """Tell what changes if other parts are fitted, one at a time and all together.

    Parameters
    ----------
    board : Board
        The build under its conditions.
    fitted : mapping of str to str, optional
        What goes where, written as in the list: ``{"R5": "820R", "IC1": "NE5532"}``. Where it is not given, the board is
        held against its own list: every part whose column `fitted` departs from it.
    step_db : array_like
        Change of loudness that is heard [dB], above 0; 1 dB if not given.
    step_octave : array_like
        Move of the lower or upper end that is heard, in octaves [1], above 0; a third if not given.
    step_time : array_like
        Change of a time that is told, as a share of it [1], above 0; 0.1, which is 10 %, if not given.
    count : int
        Units to draw for the bands [1], a whole number, at least 20.
    seed : int
        Start of the random numbers [1], a whole number, at least 0.

    Returns
    -------
    tuple of Change
        One for each swap, and one for all together where there are several; empty where nothing departs.

    Raises
    ------
    ValueError
        If an argument is out of range or a reference is not on the board. A part that does not fit is no error: the
        verdict says why.
    RuntimeError
        If the board as it was has no operating point.

    Notes
    -----
    A figure is told if it leaves the band that 99 % of units of the board as it was lie in, or moves by a step that is
    heard or noticed. Gains at 82 Hz, 1 kHz and 5 kHz between a guitar of 10 kΩ and an input of 1 MΩ; where a part
    that clips is swapped and no gain moves, the output's swing at 1 V peak and 1 kHz from that guitar. Times are those until a
    hundredth of a step is left: of each capacitor with what it sees of the board at rest, 5 ms or more; where a diode charges it,
    as in a side-chain, one with the diode driven (attack) and one without (release). Capacitors that pass the signal on have none.

    References
    ----------
    PRACTICE, steps that are heard, when a thing has settled; JCGM-101, propagation of distributions; DERIVED, what a capacitor sees.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'R1,resistor,10k,,5%,,"1: rail, 2: half",\\n'
    ...     'R2,resistor,10k,,5%,,"1: half, 2: ground",\\n'
    ... )
    >>> told = changes(assemble(path, supply="9V"), fitted={"R1": "10.2k", "R2": "22k"})
    >>> [f"{one.reference}: {one.verdict}" for one in told][:2]
    ['R1: within tolerance', 'R2: moves readings: half 4.50 V before, 6.19 V after; supply current 450 µA before, 281 µA after']
    """
    is_a("board", board, Board)
    loud = one_number("step_db", step_db, "to be heard", above=0)
    octaves = one_number("step_octave", step_octave, "to be heard", above=0)
    share = one_number("step_time", step_time, "to be told", above=0)
    number, start = whole_number("count", count, least=20, most=MOST), whole_number("seed", seed, most=MOST)
    if fitted is None:
        swaps = {one.part.reference: one.part.value_text for one in board.parts if _departs(one.part)}
        before = changed(board, **{name: board.part(name).text_listed for name in swaps}) if swaps else board
    else:
        swaps, before = board.by_reference("fitted", fitted, "texts by reference"), board
    if not swaps:
        return ()
    base = before_swaps(before, number, start, (loud, octaves, share))
    rows = [change_of(base, name, {name: text}) for name, text in swaps.items()]
    return (*rows, change_of(base, TOGETHER, swaps)) if len(rows) > 1 else tuple(rows)


def _departs(part: Any) -> bool:
    return bool(part.text_listed) and part.text_listed != part.value_text


class Before:
    """The board as it was, with its figures, their bands and its cautions."""

    def __init__(self, board: Board, units: Mapping[str, Any], steps: tuple[float, float, float] = STEPS) -> None:
        self.board, self.steps = board, steps
        told = set(places(board, elements_of(board)))
        shown, self.warned, self.swings = at_rest(board)
        self.usual = {name: one for name, one in shown.items() if one[1] != "V" or name in told}
        for name in passed_on(board) if has_jacks(board) else ():
            del self.usual[name]
        self.bands: dict[str, tuple[float, float]] = {}
        for name, drawn in drawn_figures(board, units).items():
            kept = drawn[np.isfinite(drawn)]
            outer = (1 - COVERAGE) / 2
            self.bands[name] = (
                (float(np.quantile(kept, outer)), float(np.quantile(kept, 1 - outer)))
                if len(kept)
                else (np.nan, np.nan)
            )

    @cached_property
    def hard(self) -> float:
        """Return the output's swing while a guitar is struck hard."""
        return played(self.board)


@lru_cache(maxsize=2)
def before_swaps(board: Board, count: int, seed: int, steps: tuple[float, float, float] = STEPS) -> Before:
    """Return a board as it was, drawn once: a sheet and its panel of substitutes ask for the same."""
    return Before(board, drawn_units(board, count=count, seed=seed), steps)


def change_of(base: Before, name: str, swaps: Mapping[str, str]) -> Change:
    """Return what some swaps change together."""
    listed = base.board.part(name).value_text if name in swaps else f"{len(swaps)} parts"
    text = swaps.get(name, "as above")
    try:
        after = changed(base.board, **swaps)
        for one in swaps:
            _refuse_other_polarity(base.board, after, one)
        shown, warned, swings = at_rest(after)
    except (ValueError, RuntimeError) as reason:
        return Change(reference=name, text_listed=listed, value_text=text, verdict=f"does not fit: {reason}", moves=())
    seen = {what: one for what, (one, _) in shown.items()}
    seen |= {net: base.usual[net][0] for net in swings if net in base.usual}  # their moves are the swinging itself
    moves, within = _moves(base, seen)
    words = [f"beyond a rating: {one.what}" for what, one in warned.items() if what not in base.warned]
    if bool(swings) != bool(base.swings):
        nets = ", ".join(sorted(swings or base.swings)[:3])
        words.append(
            f"the board then swings by itself, at {nets}" if swings else f"it no longer swings by itself, at {nets}"
        )
    for one in swaps:
        if turned := _leads(base.board, after, one):
            words.append(turned)
    heard = _worth_telling([move for move in moves if move.audible])
    if any(move.what in NOTES and np.isnan(move.after) for move in heard):
        words.append("the sound cannot be predicted: an op-amp's inputs are beyond their range")
    elif heard:
        words.append(f"changes the sound: {_sounds(heard)}")
    elif not swings and any(isinstance(after.record(one), CLIPPERS) for one in swaps) and (hard := _hard(base, after)):
        moves = (*moves, hard)
        words.append(f"changes the sound when it is played hard: {_reads(hard)}")
    slow = [move for move in moves if move.unit == "s"]
    read = [move for move in moves if move.unit != "s" and not move.audible]
    if slow:
        words.append(f"changes {'a time' if len(slow) == 1 else 'times'}: {'; '.join(map(_reads, slow[:3]))}")
    if read and not heard:
        words.append(f"moves readings: {'; '.join(map(_reads, read[:3]))}")
    if not words:
        words.append(WITHIN if moves or within else NOTHING)
    return Change(reference=name, text_listed=listed, value_text=text, verdict="; ".join(words), moves=moves)


def _moves(base: Before, seen: Mapping[str, float]) -> tuple[tuple[Move, ...], bool]:
    """Return the figures that move beyond their bands or by a step that is heard, and whether others move at all."""
    found, within = [], False
    for name, (before, unit) in base.usual.items():
        after = seen.get(name, np.nan)
        low, high = base.bands.get(name, (np.nan, np.nan))
        if np.isnan(before) and np.isnan(after):
            continue
        step = after - before
        if unit == "dB":
            shows, audible = not abs(step) <= 0.1, not abs(step) < base.steps[0]
        elif unit == "Hz":
            far = abs(np.log2(after / before)) if after > 0 and before > 0 else np.inf
            shows, audible = far > 0.02, far >= base.steps[1]
        elif unit == "s":
            if not max(before, after) >= LEAST:
                continue
            shows, audible = not abs(step) <= 0.02 * before, False
        else:
            shows, audible = abs(step) > doubt(before, base.board.meter, unit) or np.isnan(step), False
        outside = not low - 1e-12 <= after <= high + 1e-12
        noticed = unit == "s" and not abs(step) < base.steps[2] * before
        if audible or noticed or (shows and outside):
            found.append(
                Move(
                    what=name,
                    before=before,
                    after=after,
                    reading_low=low,
                    reading_high=high,
                    unit=unit,
                    audible=bool(audible),
                )
            )
        within = within or bool(shows)
    found.sort(key=lambda move: -move.audible)
    return tuple(found), within


def _text(value: float, unit: str) -> str:
    if np.isnan(value):
        return "none"
    digits = 2 if unit == "s" else 3
    return f"{value:.1f} dB".replace("-", "−") if unit == "dB" else write_value(value, unit=unit, digits=digits)


def _reads(move: Move) -> str:
    return f"{move.what} {_text(move.before, move.unit)} before, {_text(move.after, move.unit)} after"


def _worth_telling(heard: list[Move]) -> list[Move]:
    """Leave out where the ends lie when hardly anything passes any more, or very much more does.

    An end inside the notes that moves while the note beyond it stays has another highest gain to fall from: no bass or treble goes.
    """
    loud = {move.what: abs(move.after - move.before) for move in heard if move.what in NOTES}
    if len(loud) == len(NOTES) and not min(loud.values()) < FAR:
        return [move for move in heard if move.what in NOTES]
    (low, lowest), *_, (high, highest) = NOTES.items()

    def by_the_top(move: Move) -> bool:
        ends = (move.before, move.after)
        return (move.what == LOWER and low not in loud and min(ends) > lowest) or (
            move.what == UPPER and high not in loud and max(ends) < highest
        )

    return [move for move in heard if not by_the_top(move)]


def _sounds(heard: list[Move]) -> str:
    """Say what is heard, and once at which notes nothing is."""
    silent = [move for move in heard if move.what in NOTES and move.after < SILENT]
    notes = [move.what.removeprefix("gain at ") for move in silent]
    told = (
        [f"nothing comes out any more at {' and '.join(filter(None, (', '.join(notes[:-1]), notes[-1])))}"]
        if notes
        else []
    )
    return ", ".join(told + [_sound(move) for move in heard if move not in silent])


def _sound(move: Move) -> str:
    if move.what in NOTES:
        more = "louder" if move.after > move.before else "quieter"
        return f"{abs(move.after - move.before):.1f} dB {more} at {move.what.removeprefix('gain at ')}"
    wider = np.isnan(move.after) or (move.after < move.before) == (move.what == LOWER)
    word = {LOWER: "bass", UPPER: "treble"}[move.what]
    ends = f"{_end(move, move.before)} before, {_end(move, move.after)} after"
    return f"{'more' if wider else 'less'} {word} ({move.what}: {ends})"


def _hard(base: Before, after: Board) -> Move | None:
    """Return the move of the output's swing while a guitar is struck hard, None where it is not heard."""
    before, now = base.hard, played(after)
    if not (before > 0 and now > 0) or abs(20 * np.log10(now / before)) < base.steps[0]:
        return None
    return Move(
        what="output, peak to peak, at 1 V from the guitar", before=before, after=now, reading_low=before, reading_high=before,
        unit="V", audible=True,
    )  # fmt: skip


def _end(move: Move, hertz: float) -> str:
    """Return where what passes ends; outside of what is looked at where it does not end within."""
    if np.isnan(hertz):
        side, end = ("under", SWEEP[0]) if move.what == LOWER else ("above", SWEEP[-1])
        return f"{side} {write_value(float(end), unit='Hz', digits=1)}"
    return _text(hertz, "Hz")


def _refuse_other_polarity(before: Board, after: Board, reference: str) -> None:
    """Refuse a substitute that wants its volts and currents the other way round."""
    old, new = (getattr(board.record(reference), "polarity", "") for board in (before, after))
    if old != new:
        raise ValueError(
            f"{reference} must be {old}, {after.part(reference).value_text} is {new}: all its currents go the other way"
        )


def _orders(board: Board, reference: str) -> list[dict[str, str]]:
    """Return what stands at each lead, in every order that makers have; at the numbered pins that are connected."""
    part = next(one for one in board.parts if one.part.reference == board.part(reference).reference)
    open_pins = {pin.pin for pin in part.pins if pin.net == NOT_CONNECTED}
    return [
        {pin.pin: f"{pin.role} {pin.unit}".strip() for pin in one.entries if pin.pin not in open_pins}
        for one in getattr(board.record(reference), "pinouts", ()) or ()
    ]


def _leads(before: Board, after: Board, reference: str) -> str:
    """Say where the leads of a substitute come in another order, or makers differ."""
    orders = [_orders(board, reference) for board in (before, after)]
    old, new = orders
    if not old or not new or (all(order in old for order in new) and all(order in new for order in old)):
        return ""
    apart = [(pin, was, new[0].get(pin)) for pin, was in old[0].items() if new[0].get(pin) != was]
    if len(old) == len(new) == 1 and all(now == NOT_CONNECTED for _, _, now in apart):
        return f"{reference}: nothing is at {' and '.join(f'pin {pin}, its {was} before' for pin, was, _ in apart)} (from memory: check)"
    told = [", ".join(board.record(reference).pinouts[0].leads.split(", ")) for board in (before, after)]
    differ = "; makers differ, look up yours" if len(new) > 1 or len(old) > 1 else ""
    if isinstance(after.record(reference), devices.OpAmp):
        return f"{reference} does not fit these pins: {told[0]} before, {told[1]} after (from memory: check)"
    same = type(before.record(reference)) is type(after.record(reference))
    return (
        f"{reference} {'fits electrically but' if same else 'is of another kind, and'} its leads go round the other way: "
        f"{told[0]} before, {told[1]} after{differ} "
        "(from memory: check)"
    )
