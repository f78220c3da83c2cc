"""What in a list is legal and yet looks like a slip: told as cautions, before anything is soldered by it."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import combinations

from pedalcalc._result import Caution, caution_above
from pedalcalc.bench.places import fed_net, pin_name, pins_of, supply_nets
from pedalcalc.board import Board
from pedalcalc.board.kinds import kind_words
from pedalcalc.catalogue import PinRole, ResolvedPart, resolve_parts
from pedalcalc.circuit import OperatingPoint
from pedalcalc.circuit.elements import elements_of
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Bjt, Diode, Jfet, Mosfet, OpAmp
from pedalcalc.parts import NOT_CONNECTED
from pedalcalc.sheet._untold import left_out, unpredictable

#: How else ground is called on schematics.
GROUND_TOO = ("gnd", "0v", "earth", "mass", "chassis", "common")
#: Pins that steer a part and carry next to nothing: without a way for direct current nobody can say where it stands.
STEERS = ("base", "gate", "non-inverting input", "inverting input")
NAN = float("nan")
#: More than any pedal takes [A] (common practice).
SHORTED = 0.5
#: Shares of the supply's volts above which a net has them, and below which nothing comes through (common practice).
THERE, BLOCKED = 0.5, 0.1
#: Pins at which a part is fed, beside the rails of an op-amp, and from which capacitance on a capacitor is one of a supply [F] (common practice).
SUPPLIED, LARGE = ("supply", "input"), 1e-6


def slips(board: Board, usual: OperatingPoint) -> tuple[Caution, ...]:
    """Return what looks like a slip of the list: nets that may be one, inputs that hang in the air, volts nobody can tell."""
    return (
        *shorted(usual), *_other_kind(board), *_starved(board, usual), *left_out(board), *_alike(board), *_unfed(board), *_open_inputs(board),
        *(_blocked(board, usual) or _dead(board, usual)),
        *_floating(board, usual), *unpredictable(board, usual.unpredictable),
    )  # fmt: skip


def shorted(usual: OperatingPoint) -> tuple[Caution, ...]:
    """Tell a supply that gives more than any pedal takes."""
    return caution_above(
        "the supply is all but shorted",
        "follow in the list what joins its plus and its minus, by the contacts of jacks and switches as well, before anything is "
        "powered: a shorted battery gets hot and can burst",
        abs(float(usual.current_supply)), SHORTED, "A",
    )  # fmt: skip


def _other_kind(board: Board) -> list[Caution]:
    """Tell transistors and ICs of another kind, polarity or order of pins than the list has: the board was laid out for that."""
    told = []
    for one in board.parts:
        part, listed = one.part, one
        if part.kind in ("transistor", "integrated circuit") and part.text_listed not in ("", part.value_text):
            with contextlib.suppress(ValueError):  # what is listed is no type, and nothing is known of it
                (listed,) = resolve_parts(
                    [replace(part, value_text=part.text_listed, text_listed="")], tables=board.tables
                )
        kinds = [kind_words(each.device) for each in (one, listed)]
        if kinds[0] != kinds[1]:
            what = f"{part.label} is {kinds[0]}, and the board was laid out for {kinds[1]}"
        elif part.kind != "transistor" and [pin.role for pin in one.pins] != [pin.role for pin in listed.pins]:
            what = (
                f"{part.label} has its pins in another order than {part.text_listed}, which the board was laid out for"
            )
        else:
            continue
        told.append(Caution(what, f"fit {part.text_listed} or another like it before power", NAN, NAN, ""))
    return told


def _starved(board: Board, usual: OperatingPoint) -> list[Caution]:
    """Tell a resistor in the way of the supply that takes most of it; by its current, since what it starves may have no volts."""
    found = elements_of(board)
    feeds, nets = supply_nets(board, found), pins_of(board)
    whole = abs(float(usual.voltages.get(fed_net(found), NAN)))
    told: list[Caution] = []
    for one in board.parts:
        ends = [pin.net for pin in one.pins]
        if one.part.kind != "resistor" or not set(ends) <= feeds.keys() or one.part.reference not in usual.currents:
            continue
        far = max(ends, key=lambda net: feeds[net])
        if _feeds(nets[far]):
            told += caution_above(
                f"{one.part.label} takes most of the supply, and little of it is left at {far!r}",
                f"fit a smaller one, or see what draws too much from {far!r}",
                abs(float(usual.currents[one.part.reference])) * board.resistance(one.part.reference), THERE * whole, "V",
            )  # fmt: skip
    return told


def _feeds(pins: Sequence[tuple[ResolvedPart, PinRole]]) -> bool:
    """Tell whether a net is a rail: a supply pin hangs on it, or a large capacitor to ground and no resistor, as half supply has."""
    if any("rail" in pin.role or pin.role in SUPPLIED for _, pin in pins):
        return True
    down = [one.part for one, _ in pins if GROUND in {pin.net for pin in one.pins}]
    return any(part.unit == "F" and part.value >= LARGE for part in down) and not any(
        part.kind in ("resistor", "diode") for part in down
    )


def suspects(board: Board) -> str:
    """Return what in the list itself looks like a slip, in words, where a board has no operating point to tell it by."""
    nets = pins_of(board)
    joined = {_plain(net): net for net, pins in nets.items() if len(pins) > 1}
    lonely = [
        f"the net {net!r} has one connection only, {pin_name(pins[0][0].part, pins[0][1])}"
        + (f" (is it {joined[_plain(net)]!r}?)" if _plain(net) in joined else "")
        for net, pins in nets.items()
        if len(pins) == 1
    ]
    return "; ".join([*(one.what for one in (*_alike(board), *_unfed(board))), *lonely])


def refuse_without_ground(board: Board) -> None:
    """Refuse a list in which nothing is called ground: every volt is told against it."""
    nets = pins_of(board)
    if GROUND in nets:
        return
    other = [net for net in nets if _plain(net) in (GROUND, *GROUND_TOO)]
    hint = f"here it seems to be {other[0]!r}" if other else f"there are {', '.join(sorted(nets))}"
    raise ValueError(f"the list has no net 'ground': write so for what the minus of the supply is joined to; {hint}")


def _plain(net: str) -> str:
    return re.sub(r"[\s_-]", "", net.casefold())


def _alike(board: Board) -> list[Caution]:
    """Tell nets whose names differ in capitals, spaces or hyphens only, by one letter, or that are another word for ground."""
    groups: dict[str, list[str]] = {}
    for net, pins in pins_of(board).items():
        name = _plain(net)
        name = GROUND if name in GROUND_TOO else name
        if len(pins) > 1 or name == GROUND:  # of a net with one pin another caution tells
            groups.setdefault(name, []).append(net)
    return [
        Caution(
            f"{' and '.join(map(repr, sorted(nets)))} are told apart as nets of their own",
            "if they are one net, give it one name: capitals and spaces count",
            NAN, NAN, "",
        )
        for nets in groups.values()
        if len(nets) > 1
    ] + [
        Caution(
            f"{one!r} and {other!r} are nets of their own, and their names differ by one letter",
            "if they are one net, give it one name",
            NAN, NAN, "",
        )
        for one, other in combinations([nets[0] for nets in groups.values()], 2)
        if _mistyped(one.casefold().split(), other.casefold().split())
    ]  # fmt: skip


def _mistyped(one: Sequence[str], other: Sequence[str]) -> bool:
    """Tell whether names differ in one word, of five letters or more, by a letter too many or by two exchanged."""
    apart = [sorted(pair, key=len) for pair in zip(one, other, strict=False) if pair[0] != pair[1]]
    if len(one) != len(other) or len(apart) != 1:
        return False
    short, long = apart[0]
    if len(long) < 5 or not long.isalpha():
        return False
    if len(long) > len(short):
        return any(long[:k] + long[k + 1 :] == short for k in range(len(long)))
    return short in (long[:k] + long[k + 1] + long[k] + long[k + 2 :] for k in range(len(long) - 1))


def _unfed(board: Board) -> list[Caution]:
    """Tell op-amps of which a supply pin is left open: mostly they are numbered as another package."""
    return [
        Caution(
            f"{one.part.label} has no supply: its pin {pin.pin}, the {pin.role}, is not connected",
            "see how the list numbers its pins: a dual op-amp is fed at 8 and 4, a single one at 7 and 4, a quad at 4 and 11",
            NAN, NAN, "",
        )
        for one in board.parts
        if isinstance(one.device, OpAmp)
        for pin in one.pins
        if "rail" in pin.role and pin.net == NOT_CONNECTED
    ]  # fmt: skip


def _open_inputs(board: Board) -> list[Caution]:
    """Tell op-amps with an input in the air, as a spare half that the list leaves open."""
    told = []
    for one in board.parts:
        pins = [pin.pin for pin in one.pins if "input" in pin.role and pin.net == NOT_CONNECTED]
        if isinstance(one.device, OpAmp) and pins:
            told.append(
                Caution(
                    f"{one.part.label} has inputs in the air, pin {' and '.join(pins)}: what nothing holds "
                    "may swing, take more current and disturb the rest",
                    "join a spare output to its inverting input, and the other input to half supply (common practice)",
                    NAN, NAN, "",
                )
            )  # fmt: skip
    return told


def _blocked(board: Board, usual: OperatingPoint) -> list[Caution]:
    """Tell a diode in the way of the supply that lets nothing through."""
    found = elements_of(board)
    feeds, told = supply_nets(board, found), []
    whole = abs(float(usual.voltages.get(fed_net(found), NAN)))
    for one in board.parts:
        ends = {pin.role: pin.net for pin in one.pins}
        if not isinstance(one.device, Diode) or not {ends["anode"], ends["cathode"]} <= feeds.keys():
            continue
        near, far = sorted((ends["anode"], ends["cathode"]), key=lambda net: feeds[net])
        before, behind = (abs(float(usual.voltages.get(net, NAN))) for net in (near, far))
        if before > THERE * whole and behind < BLOCKED * before:
            told.append(
                Caution(
                    f"{one.part.label} blocks the supply: nothing comes through from {near!r} to {far!r}",
                    "exchange its anode and cathode in the list; on the board its ring shows where the cathode is",
                    NAN, NAN, "",
                )
            )  # fmt: skip
    return told


def _dead(board: Board, usual: OperatingPoint) -> list[Caution]:
    """Tell a board on which nothing that amplifies has any volts, as where a part between socket and rail is not in the list."""
    amplify = [one for one in board.parts if isinstance(one.device, (Bjt, Jfet, Mosfet, OpAmp))]
    most = BLOCKED * abs(float(usual.voltages.get(fed_net(elements_of(board)), NAN)))
    nets = {pin.net for one in amplify for pin in one.pins} - {NOT_CONNECTED}
    if not amplify or not all(abs(float(usual.voltages[net])) < most for net in nets):
        return []
    return [
        Caution(
            f"the supply does not come through to {' and '.join(one.part.reference for one in amplify)}: no pin there has volts",
            "follow it in the list from the socket on: look for a part that is missing, or for a net of two names",
            NAN, NAN, "",
        )
    ]  # fmt: skip


def _floating(board: Board, usual: OperatingPoint) -> list[Caution]:
    """Tell inputs that no direct current reaches."""
    told: Mapping[str, list[str]] = {
        net: [pin_name(part.part, pin) for part, pin in pins if pin.role in STEERS]
        for net, pins in pins_of(board).items()
        if net in usual.floating and len(pins) > 1
    }
    return [
        Caution(
            f"nothing holds {net!r}, where {' and '.join(names)} hang{'s' if len(names) == 1 else ''}",
            "it needs a resistor to where it shall stand: look for one that is missing in the list, or for a net of two names",
            NAN, NAN, "",
        )
        for net, names in told.items()
        if names
    ]  # fmt: skip
