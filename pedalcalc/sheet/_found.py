"""What a list tells without being asked: supply, switch, way of the signal, controls."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pedalcalc._part_value import CONTROLS
from pedalcalc.bench.places import supply_nets
from pedalcalc.board import Board
from pedalcalc.circuit.elements import elements_of
from pedalcalc.circuit.joints import GROUND
from pedalcalc.circuit.signals import jacks
from pedalcalc.parts import NOT_CONNECTED, OTHER, Part

#: Flat battery, usual, fresh battery or adaptor [V] (common practice).
USUAL = (7.0, 9.0, 9.6)


def supply_of(parts: Sequence[Part]) -> Any:
    """Return what feeds a build where nobody says: 9 V at the connector, the listed battery where there is no other way in."""
    barrels = [
        part for part in parts if part.kind == "connector" and any(pin.pin == "centre" for pin in part.connections)
    ]
    batteries = [part for part in parts if part.kind == "battery"]
    return batteries[0].value_text if batteries and not barrels else USUAL


def has_socket(board: Board) -> bool:
    """Tell whether an adaptor may feed the build: it has a barrel connector, or a clip and no battery of its own."""
    kinds = {one.part.kind for one in board.parts}
    return "battery" not in kinds or any(pin.role == "centre" for one in board.parts for pin in one.pins)


def path(board: Board, net_in: str = "", net_out: str = "") -> tuple[str, ...]:
    """Return the parts that a signal goes through from input to output, by the shortest way; empty if there is none."""
    try:
        first, last = jacks(board) if not (net_in and net_out) else (net_in, net_out)
    except ValueError:
        return ()
    first, last = net_in or first, net_out or last
    found = elements_of(board)
    closed = set(supply_nets(board, found)) | {GROUND, NOT_CONNECTED}
    metal = found.metal.root
    driven = {metal(pin.net)[0] for one in board.parts for pin in one.pins if pin.role == "output"}  # by an op-amp only
    # Where a resistor lies beside what amplifies, as one from collector to base does, the signal goes through the latter.
    parts = sorted(board.parts, key=lambda one: one.part.kind not in ("transistor", "integrated circuit", "coupler"))
    came: dict[str, tuple[str, str]] = {metal(first)[0]: ("", "")}
    level = [metal(first)[0]]
    while level and metal(last)[0] not in came:
        following = []
        for net in level:
            for one in parts:
                if one.part.kind in ("jack", "switch", "connector", "battery"):
                    continue
                for pin in one.pins:
                    if pin.net == NOT_CONNECTED or metal(pin.net)[0] != net:
                        continue
                    for other in one.pins:
                        ahead = metal(other.net)[0] if other.net != NOT_CONNECTED else ""
                        same = not pin.unit or other.unit == pin.unit
                        same = same and (ahead not in driven or other.role == "output")
                        if (
                            same
                            and _passes(pin.role, other.role)
                            and other.net not in closed
                            and ahead
                            and ahead not in came
                        ):
                            came[ahead] = (net, one.part.reference + (f" ({pin.unit})" if pin.unit else ""))
                            following.append(ahead)
        level = following
    at, way = metal(last)[0], []
    while at in came and came[at][0]:
        way.append(came[at][1])
        at = came[at][0]
    return tuple(reversed(way))


def _passes(here: str, there: str) -> bool:
    """Tell whether a signal goes from one pin of a part to another, as amplifiers do."""
    onward = {
        "base": ("collector", "emitter"), "gate": ("drain", "source"), "emitter": ("collector",), "source": ("drain",),
        "non-inverting input": ("output",), "inverting input": ("output",),
    }  # fmt: skip
    if here in ("collector", "drain", "output"):
        return False
    return there in onward[here] if here in onward else "rail" not in there


def described(board: Board, net_in: str = "", net_out: str = "") -> tuple[str, ...]:
    """Return a few lines that say what a build is."""
    kinds: dict[str, list[str]] = {}
    for one in board.parts:
        kinds.setdefault(one.part.kind, []).append(one.part.label)
    active = (
        kinds.get("integrated circuit", [])
        + kinds.get("transistor", [])
        + kinds.get("coupler", [])
        + kinds.get(OTHER, [])
    )
    lines = [f"{len(board.parts)} parts; what amplifies or switches: {', '.join(active) or 'nothing'}."]
    if way := path(board, net_in, net_out):
        lines.append(f"The shortest way of the signal: {' → '.join(way)}.")
    controls = [
        f"{one.part.reference} {one.part.value_text}{f', {one.part.note}' if one.part.note else ''}"
        for one in board.parts
        if one.part.kind in CONTROLS
    ]
    lines.append(f"Controls: {'; '.join(controls) or 'none'}.")
    feeds = kinds.get("battery", []) + [
        one.part.reference for one in board.parts if any(pin.role == "centre" for pin in one.pins)
    ]
    lines.append(f"Fed from: {', '.join(feeds) or 'a clip'}.")
    if switch := kinds.get("switch"):
        lines.append(f"Bypass: {', '.join(switch)}.")
    return tuple(lines)


def supply_way(board: Board) -> tuple[str, ...]:
    """Return the nets of the supply from the socket on, as far as they have a number."""
    far = supply_nets(board, elements_of(board))
    return tuple(sorted(far, key=lambda net: far[net]))
