"""What of a board gets no number, and what is said instead: parts without a law, what swings by itself, what nobody can predict."""

from __future__ import annotations

from collections.abc import Collection

from pedalcalc._result import Caution
from pedalcalc.bench.places import pins_of
from pedalcalc.board import Board
from pedalcalc.parts import OTHER

NAN = float("nan")
#: What to do where an op-amp's inputs are beyond their range at the usual supply, and at a lower one only.
HELD = "see in the list that its supply comes through, the diode on its way the right way round, and that both inputs are held"
FULLER = "a fuller battery, or an op-amp whose inputs reach further"


def others_of(board: Board) -> str:
    """Return the parts that nothing here computes, by reference and type; empty if there are none."""
    return " and ".join(one.part.label for one in board.parts if one.part.kind == OTHER)


def left_out_words(others: str) -> str:
    """Return what a section on the sound says of a part that is left out."""
    return (
        f"{others} is left out: what it does to the signal, and how it loads what it hangs on, is not in these figures."
    )


def left_out(board: Board) -> list[Caution]:
    """Tell parts that nothing here computes."""
    if not (others := others_of(board)):
        return []
    what = f"{others} is not computed: nothing here knows what it does"
    action = "nets that it may move have no number; take these and its current, which comes on top of the supply's, from its own sheet"
    return [Caution(what, action, NAN, NAN, "")]


def unpredictable(board: Board, nets: Collection[str], action: str = HELD) -> list[Caution]:
    """Tell nets that follow an op-amp of which nobody knows what it does."""
    if not nets:
        return []
    what = (
        f"the volts of {_named(board, frozenset(nets))} cannot be predicted: they follow an op-amp whose inputs are beyond their "
        "range, or that has no supply"
    )
    return [Caution(what, action, NAN, NAN, "")]


def restless(board: Board, swings: frozenset[str]) -> Caution:
    """Return the caution for a board that swings by itself, with where it does."""
    return Caution(
        f"the board does not rest: it swings by itself at {_named(board, swings)}",
        "if it is an oscillator, as a tremolo's, it is meant to; if not, look there for an output that comes back to its own "
        "input the wrong way round, or for inputs that are exchanged",
        NAN, NAN, "",
    )  # fmt: skip


def restless_words(board: Board, swings: frozenset[str]) -> str:
    """Return what a section that needs a board at rest says of one that has none."""
    return (
        f"This board swings by itself at {_named(board, swings)}. What is told here holds for the moment in which these pass the "
        "middle of their swing; what they move with it, such as the cell of a coupler, goes to and fro about that."
    )


def _named(board: Board, nets: frozenset[str]) -> str:
    """Return a few nets by name, in the order of the list."""
    order = [net for net in pins_of(board) if net in nets]
    return ", ".join(map(repr, order[:3])) + (f" and {len(order) - 3} more" if len(order) > 3 else "")
