"""Explorer of substitutes: other parts in the places of a board, and what they change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from pedalcalc import values
from pedalcalc._arguments import is_a
from pedalcalc._base import io
from pedalcalc._number_text import number_text
from pedalcalc._part_value import read_part_value, without_volts
from pedalcalc.bench._figures import SWEEP, has_jacks
from pedalcalc.bench.changes import Move, before_swaps, change_of
from pedalcalc.board import Board, changed
from pedalcalc.catalogue._find import KINDS, packaged
from pedalcalc.circuit import response
from pedalcalc.devices import Jfet
from pedalcalc.explore._panel import Panel, panel
from pedalcalc.explore._slider import Slider, choice
from pedalcalc.plot import response as response_picture
from pedalcalc.plot._style import Picture

#: How many controls where nobody says, how many substitutes of a type each, and units for the bands.
MOST, OPTIONS, DRAWS = 5, 7, 200
#: Kinds that are worth a swap, in this order.
WORTH = ("transistor", "integrated circuit", "film capacitor", "diode", "resistor")
#: Steps of the series either way that a value may be swapped for.
NEIGHBOURS = 4
#: Letters that a caption has room for.
ROOM = 22
#: What a meter reads, as the verdict tells it; a verdict on the sound leaves it out.
READ, MOVES, TOLD = ("V", "A"), "moves readings", 3
#: A curve beside which nothing is drawn any more [dB].
FLOOR = -60.0


@io
def swap(board: Board, *, fitted: Mapping[str, Sequence[str]] | None = None) -> Panel:
    """Explore substitutes: choose what goes into a place, and see what moves.

    Parameters
    ----------
    board : Board
        The build under its conditions; it needs an input and an output jack.
    fitted : mapping of str to sequence of str, optional
        For each reference what may go there, from the catalogue or a drawer, written as in the list:
        ``{"Q1": ["J201", "2N5458"], "C1": ["10n", "47n"]}``. Where it is not given, up to five parts of the board with what
        the catalogue and the E6 series have in their place.

    Returns
    -------
    Panel
        Shows itself in a notebook when it is the last line of a cell; at the start all is as on the board.

    Raises
    ------
    ValueError
        If a reference is not on the board, or nothing can be swapped.

    References
    ----------
    PRACTICE : what is in the drawer goes in.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from pedalcalc import explore
    >>> from pedalcalc.board import assemble
    >>> path = pathlib.Path(tempfile.mkdtemp(), "parts.csv")
    >>> _ = path.write_text(
    ...     "reference,kind,value,fitted,tolerance,rating,connections,note\\n"
    ...     'X1,connector,battery clip,,,,"plus: rail, minus: ground",\\n'
    ...     'J1,jack,mono 6.35 mm,,,,"tip: in, sleeve: ground",input\\n'
    ...     'J2,jack,mono 6.35 mm,,,,"tip: out, sleeve: ground",output\\n'
    ...     'C1,film capacitor,100n,,5%,,"1: in, 2: out",\\n'
    ...     'R1,resistor,10k,,5%,,"1: out, 2: ground",\\n'
    ...     'R2,resistor,4k7,,5%,,"1: rail, 2: ground",\\n'
    ... )
    >>> shown = explore.swap(assemble(path, supply="9V"), fitted={"C1": ["10n"]})
    >>> shown.sliders["C1"].value = "10n"
    >>> "quieter at 82" in shown.shown.value
    True
    """
    is_a("board", board, Board)
    offered = {name: tuple(texts) for name, texts in board.by_reference("fitted", fitted, "texts by reference").items()}
    sliders = _sliders(board, offered or dict(_found(board)))
    if not sliders:
        raise ValueError("fitted must name a part that can be swapped; nothing on this board can")
    picture = _Curves(board)
    return panel(picture.draw, **sliders)


def _sliders(board: Board, offered: Mapping[str, Sequence[str]]) -> dict[str, Slider]:
    """Return one control for each place, as it is fitted among what may go there, in order of size."""
    found = {}
    for name, texts in offered.items():
        part = board.part(name)
        every = list(dict.fromkeys((part.value_text, *texts)))
        if part.unit:
            sizes = {text: read_part_value(without_volts(text, part.kind)[0], part.kind)[0] for text in every}
            every.sort(key=sizes.__getitem__)
        note = part.note.partition(";")[0].partition(":")[0]
        short = f"{name}, {note}" if note and len(name) + len(note) < ROOM else name
        found[name] = choice(part.value_text, options=every, caption=short)
    return found


def _found(board: Board) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield up to five places with what may go there."""
    count = 0
    for kind in WORTH:
        for one in board.parts:
            if one.part.kind != kind or count == MOST:
                continue
            texts = (
                tuple(_series(one.part.value, one.part.unit))
                if one.part.unit
                else tuple(_types(board, one.part.reference))
            )
            if texts:
                count += 1
                yield one.part.reference, texts


def _series(value: float, unit: str) -> Iterator[str]:
    """Yield the neighbours of a value in the E6 series; a link has none."""
    if value == 0:
        return
    stock = values.stock_values("E6", value_min=value / 10, value_max=value * 10)
    nearest = int(np.argmin(np.abs(np.log(stock / value))))
    for size in stock[max(nearest - NEIGHBOURS, 0) : nearest + NEIGHBOURS + 1]:
        if not np.isclose(size, value, atol=0.0) and (unit != "F" or 1e-15 < size < 1.0):  # as far as a list can say it
            yield values.write_code(float(size), unit=unit)


def _types(board: Board, reference: str) -> Iterator[str]:
    """Yield types of the same class and polarity that fit the same pins."""
    part, record = board.part(reference), board.record(reference)
    count = 0
    for table in KINDS.get(part.kind, ()):
        for one in packaged(table):
            other = one.entry.device
            same = type(other) is type(record) and getattr(other, "polarity", "") == getattr(record, "polarity", "")
            if not same or other.name == record.name or count == OPTIONS:
                continue
            try:
                changed(board, **{reference: other.name})
            except ValueError:
                continue
            count += 1
            yield other.name


def _moved_words(moves: Sequence[Move]) -> list[str]:
    """Say which readings move, the first few of them in figures."""
    shown = [
        f"{one.what} {' to '.join(number_text(volts, one.unit) for volts in (one.before, one.after))}"
        for one in moves[:TOLD]
    ]
    more = [f"{len(moves) - TOLD} more"] if len(moves) > TOLD else []
    return [f"{MOVES}: {', '.join([*shown, *more])}"]


class _Curves:
    """The response as it is fitted, and with the substitutes."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.before = before_swaps(board, DRAWS, 1)
        usual = self._gain(board)
        self.picture: Picture = response_picture({"as fitted": (SWEEP, usual), "with the substitutes": (SWEEP, usual)})
        axes = self.picture.axes[0]
        low, high = axes.get_ylim()
        axes.set_ylim(low - 12.0, high + 12.0)  # stands still while parts are swapped
        self.line = axes.lines[1]
        self.picture.moving = (self.line,)
        self.picture.curves = (self.line,)

    def _gain(self, board: Board) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        if not has_jacks(board):  # then only readings move
            return np.full(len(SWEEP), FLOOR)
        return np.asarray(np.maximum(response(board, frequency=SWEEP).gain_db, FLOOR), float)

    def draw(self, **fitted: str) -> Picture:
        """Draw one set of substitutes."""
        swaps = {name: text for name, text in fitted.items() if text != self.board.part(name).value_text}
        if not swaps:
            self.line.set_data(SWEEP, self._gain(self.board))
            self.picture.caption, self.picture.cautions = "all as fitted", ()
            return self.picture
        told = change_of(self.before, " and ".join(swaps), swaps)
        other = changed(self.board, **swaps)
        self.line.set_data(SWEEP, self._gain(other))
        beyond = tuple(one for one in told.verdict.split("; ") if one.startswith("beyond a rating"))
        jfets = [
            f"{name} a typical {text}: measure yours"
            for name, text in swaps.items()
            if isinstance(other.record(name), Jfet)
        ]
        read = [one for one in told.moves if one.unit in READ]
        moved = _moved_words(read) if read and MOVES not in told.verdict else []
        self.picture.caption, self.picture.cautions = "; ".join([told.verdict, *moved, *jfets]), beyond
        return self.picture
