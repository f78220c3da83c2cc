"""Listed against fitted, in words."""

from __future__ import annotations

from dataclasses import dataclass

from pedalcalc._arguments import is_a
from pedalcalc._base import search
from pedalcalc._result import Result, quantity
from pedalcalc._units import percent
from pedalcalc.board._core import Board
from pedalcalc.parts import Part
from pedalcalc.values import read_value


@dataclass(frozen=True, slots=True, eq=False)
class Difference(Result):
    """One part that is not what the list asks for."""

    reference: str = quantity("text", "part")
    text_listed: str = quantity("text", "listed")
    value_text: str = quantity("text", "fitted")
    reason: str = quantity("text", "in words")


@search
def compared(board: Board) -> tuple[Difference, ...]:
    """Tell where what is fitted departs from the list.

    Parameters
    ----------
    board : Board
        The board.

    Returns
    -------
    tuple of Difference
        In the order of the list; empty where all is as listed.

    Raises
    ------
    TypeError
        If `board` is none.

    References
    ----------
    PRACTICE, what is fitted is told beside what was asked for.

    Examples
    --------
    >>> from pedalcalc.board import assemble, changed
    >>> from pedalcalc.parts import Connection, Part
    >>> nan, nets = float("nan"), (Connection("1", "in"), Connection("2", "out"))
    >>> part = Part("C1", "film capacitor", 22e-9, "F", "22n", -0.1, 0.1, 63.0, nan, nan, nets, "")
    >>> compared(changed(assemble([part], supply=9.0), C1="33n"))[0].reason
    'listed 22n, fitted 33n: 50 % more'
    """
    is_a("board", board, Board)
    found = []
    for entry in board.parts:
        part, own = entry.part, board.own(entry.part.reference)
        if part.text_listed and part.text_listed != part.value_text:
            told = f"listed {part.text_listed}, fitted {part.value_text}{_share(part)}"
            found.append(
                Difference(
                    reference=part.reference, text_listed=part.text_listed, value_text=part.value_text, reason=told
                )
            )
        if own is not None:
            told = f"measured: {own.count} readings in {own.path} take the place of the type's figures"
            found.append(
                Difference(
                    reference=part.reference,
                    text_listed=part.text_listed or part.value_text,
                    value_text="your own, measured",
                    reason=told,
                )
            )
    return tuple(found)


def _share(part: Part) -> str:
    """Return by how much a fitted value departs, empty for types."""
    if not part.unit:
        return ""
    try:
        listed = read_value(part.text_listed.removesuffix(part.law).strip(), unit=part.unit)
    except ValueError:  # another law
        return ""
    share = part.value / listed - 1
    return "" if abs(share) < 5e-4 else f": {percent(abs(share))} {'more' if share > 0 else 'less'}"
