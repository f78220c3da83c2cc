"""Which lead is which on a board: one outline for each order of leads."""

from __future__ import annotations

from typing import Any

from pedalcalc import plot, report
from pedalcalc.board import Board
from pedalcalc.devices import Bjt, Jfet, Mosfet, Pinout, Regulator
from pedalcalc.sheet._section import words

#: What has three leads in a row, and kinds whose ends nobody takes for one another.
THREE = (Bjt, Jfet, Mosfet, Regulator)
PLUGGED = ("battery", "connector", "jack", "switch")


def leads_section(board: Board) -> tuple[Any, ...]:
    """Return words and drawings of the leads of a board's parts, or nothing where all are alike both ways round."""
    orders: dict[Pinout, dict[str, str]] = {}
    for one in board.parts:
        name = one.part.reference
        if one.part.kind not in PLUGGED:
            for order in getattr(board.record(name), "pinouts", None) or ():
                orders.setdefault(order, {})[name] = one.part.value_text
    drawn: dict[str, Pinout] = {}
    for order, types in orders.items():
        one_type = set(types.values())
        title = f"{', '.join(types)}{' ' + one_type.pop() if len(one_type) == 1 else ''}"
        drawn[f"{title}, or" if title in drawn else title] = order
    if not drawn:
        return ()
    told = words(
        'Which lead is which: the commonest fault is the right part the wrong way round. Where it says "from memory", check '
        "the maker's sheet, and keep the legs long enough to turn it."
    )
    rows = [
        {"part": one.part.reference, "type": one.part.value_text, "leads": order.leads}
        for one in board.parts
        if isinstance(one.device, THREE)
        for order in one.device.pinouts or ()
    ]
    table = [report.table(rows, title="Order of the leads (from memory)")] if rows else []
    return (*table, told, plot.sketch(drawn))
