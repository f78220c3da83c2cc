"""Which nets are worth a probe, in which order to work through them, and where on a net the probe goes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pedalcalc.board import Board
from pedalcalc.catalogue import PinRole, ResolvedPart
from pedalcalc.circuit.elements import Elements
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Converter, OpAmp, Regulator
from pedalcalc.parts import NOT_CONNECTED, Part

#: Kinds that are no part of the board itself.
OUTSIDE = ("battery", "connector", "jack", "switch")
#: Which pins are easiest to reach with a probe, best first.
REACH = (
    "integrated circuit", "regulator", "transistor", "coupler", "diode", "indicator", "electrolytic capacitor", "tantalum capacitor",
    "potentiometer", "trimmer", "film capacitor", "ceramic capacitor", "resistor", "inductor", "photocell", "link",
    "socket", "other", "jack", "connector", "battery", "switch",
)  # fmt: skip
#: What carries direct current on from one supply net to the next.
CARRIES = ("resistor", "diode", "inductor", "link")


def pins_of(board: Board) -> dict[str, list[tuple[ResolvedPart, PinRole]]]:
    """Return the pins on each net, in the order of the list."""
    found: dict[str, list[tuple[ResolvedPart, PinRole]]] = {}
    for part in board.parts:
        for pin in part.pins:
            if pin.net != NOT_CONNECTED:
                found.setdefault(pin.net, []).append((part, pin))
    return found


def pin_name(part: Part, pin: PinRole, other: str = "") -> str:
    """Return the words for one pin: IC2 pin 1, drain of Q1, plus of C4, VR1 pin 3, R4 at the end away from rail."""
    name = part.reference
    if part.kind in ("resistor", "film capacitor", "ceramic capacitor", "inductor", "photocell"):
        return f"{name}, the end away from {other}" if other else f"{name}, pin {pin.pin}"
    return f"{name} pin {pin.pin}" if pin.pin.isdigit() else f"{pin.pin} of {name}"


def probe_of(board: Board, net: str) -> str:
    """Return where to put the red lead for a net."""
    pins = pins_of(board)[net]
    part, pin = min(pins, key=lambda one: REACH.index(one[0].part.kind))
    others = [one.net for one in part.pins if one.net != net]
    return pin_name(part.part, pin, others[0] if others else "")


def names_of(board: Board, net: str) -> Iterator[str]:
    """Yield every text by which a builder may name a net: itself and each of its pins."""
    yield net
    for part, pin in pins_of(board)[net]:
        name = part.part.reference
        yield from (f"{name} pin {pin.pin}", f"{name} {pin.pin}", f"{pin.pin} of {name}", f"{name} {pin.role}")
        others = [one.net for one in part.pins if one.net != net]
        yield pin_name(part.part, pin, others[0] if others else "")


def fed_net(found: Elements) -> str:
    """Return the net by which the supply is read: its plus, or its minus where the plus is ground; empty without a supply."""
    if not found.sources:
        return ""
    plus, minus = found.sources[-1].nets
    return minus if found.metal.root(plus)[0] == GROUND else plus


def places(board: Board, found: Elements) -> tuple[str, ...]:
    """Return the nets worth a probe, from the supply through the signal path; nets that metal joins stand once."""
    pins = pins_of(board)
    root = found.metal.root
    source = fed_net(found)
    groups: dict[str, list[str]] = {}
    for net in pins:
        if net == source or _inside(pins[net]):
            groups.setdefault(root(net)[0], []).append(net)
    groups.pop(GROUND, None)

    def listed(nets: list[str]) -> str:
        # the net with most parts of the board stands for all that are joined to it
        return max(nets, key=lambda net: sum(part.part.kind not in OUTSIDE for part, _ in pins[net]))

    stands = {key: listed(nets) for key, nets in groups.items()}
    rank = _ranks(board, pins, supply_nets(board, found), found)
    order = sorted(stands.values(), key=lambda net: (rank.get(net, (9, 0)), list(pins).index(net)))
    return tuple(order)


def supply_nets(board: Board, found: Elements) -> dict[str, int]:
    """Return the nets of the supply by their distance from the socket: rails, filters, converter, half supply.

    What is joined to the socket by metal, such as a battery's plus by the break contact, is the socket.
    """
    pins = pins_of(board)
    if not found.sources:
        return {}
    source, root = fed_net(found), found.metal.root
    level = [net for net in pins if root(net)[0] == root(source)[0] and (net == source or _inside(pins[net]))]
    far = dict.fromkeys(level, 0)
    while level:
        following: list[str] = []
        for net in level:
            for part, pin in pins.get(net, []):
                for other in _onward(part, pin, pins):
                    if other not in far and other not in (GROUND, NOT_CONNECTED):
                        far[other] = far[net] + 1
                        following.append(other)
        level = following
    return far


def _inside(pins: list[tuple[ResolvedPart, PinRole]]) -> bool:
    """Tell whether something of the board itself hangs on a net."""
    return any(part.part.kind not in OUTSIDE for part, _ in pins)


def _onward(part: ResolvedPart, pin: PinRole, pins: Mapping[str, list[tuple[ResolvedPart, PinRole]]]) -> Iterator[str]:
    """Yield supply nets that one part makes of another."""
    if part.part.kind in CARRIES and len(part.pins) == 2:
        other = next(one.net for one in part.pins if one is not pin)
        steady = part.part.kind != "resistor" or any(_steadies(one) for one, _ in pins.get(other, ()))
        drawn = any(
            isinstance(one.device, (OpAmp, Converter)) and "rail" in role.role for one, role in pins.get(other, ())
        )
        if part.part.kind == "diode" and pin.role != "anode" and pin.role != "cathode":
            return
        if steady or drawn:
            yield other
    elif isinstance(part.device, Regulator) and pin.role == "input":
        yield from (one.net for one in part.pins if one.role == "output")
    elif isinstance(part.device, Converter) and pin.role == "supply":
        yield from (
            one.net
            for one in part.pins
            if one.role in ("flying capacitor plus", "flying capacitor minus", "negative output")
        )
    elif isinstance(part.device, OpAmp) and pin.role == "non-inverting input":
        mine = {one.role: one.net for one in part.pins if one.unit == pin.unit}
        if mine.get("inverting input") == mine.get("output"):  # a follower of a supply net, such as half supply
            yield mine["output"]


def _steadies(part: ResolvedPart) -> bool:
    """Tell whether a part is a capacitor from a net to ground."""
    return part.part.unit == "F" and GROUND in {pin.net for pin in part.pins}


def _ranks(
    board: Board,
    pins: Mapping[str, list[tuple[ResolvedPart, PinRole]]],
    feeds: Mapping[str, int],
    found: Elements,
) -> dict[str, tuple[int, int]]:
    """Return the order of work by net: supply first, then from the input jack onward, then what is left.

    Metal that is closed while the build is engaged is no distance; what a footswitch could join otherwise is no way.
    """
    rank = {net: (0, far) for net, far in feeds.items()}
    root = found.metal.root
    joined: dict[str, list[str]] = {}
    for net in pins:
        joined.setdefault(root(net)[0], []).append(net)
    closed = {root(net)[0] for net in feeds} | {GROUND}
    jacks = [part for part in board.parts if part.part.kind == "jack"]
    level = [root(pin.net)[0] for part in jacks[:1] for pin in part.pins if pin.role == "tip" and pin.net in pins]
    seen, far = set(level) | closed, 0
    while level:
        following: list[str] = []
        for group in level:
            for net in joined.get(group, ()):
                rank.setdefault(net, (1, far))
                for part, pin in pins[net]:
                    for other in part.pins if part.part.kind not in OUTSIDE else ():
                        same = not pin.unit or other.unit in ("", pin.unit)
                        ahead = root(other.net)[0] if other.net != NOT_CONNECTED else GROUND
                        if same and ahead not in seen:
                            seen.add(ahead)
                            following.append(ahead)
        level, far = following, far + 1
    return rank
