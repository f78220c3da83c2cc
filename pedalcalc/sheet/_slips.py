"""What in a list is legal and yet looks like a slip: told as cautions, before anything is soldered by it."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pedalcalc._base import Caution
from pedalcalc.bench.places import pin_name, pins_of
from pedalcalc.board import Board
from pedalcalc.circuit import OperatingPoint
from pedalcalc.circuit.joints import GROUND

#: How else ground is called on schematics.
GROUND_TOO = ("gnd", "0v", "earth", "mass", "chassis", "common")
#: Pins that steer a part and carry next to nothing: without a way for direct current nobody can say where it stands.
STEERS = ("base", "gate", "non-inverting input", "inverting input")
NAN = float("nan")


def slips(board: Board, usual: OperatingPoint) -> tuple[Caution, ...]:
    """Return what looks like a slip of the list: nets that may be one, inputs that hang in the air, volts nobody can tell."""
    return (*_alike(board), *_floating(board, usual), *_unpredictable(board, usual))


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
    """Tell nets whose names differ in capitals, spaces or hyphens only, or that are another word for ground."""
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


def _unpredictable(board: Board, usual: OperatingPoint) -> list[Caution]:
    """Tell nets that follow an op-amp of which nobody knows what it does."""
    if not usual.unpredictable:
        return []
    lost = [net for net in pins_of(board) if net in usual.unpredictable]
    names = ", ".join(map(repr, lost[:3])) + (f" and {len(lost) - 3} more" if len(lost) > 3 else "")
    return [
        Caution(
            f"the volts of {names} cannot be predicted: they follow an op-amp whose inputs are beyond their range, or that has "
            "no supply",
            "see in the list that its supply comes through, the diode on its way the right way round, and that both inputs are held",
            NAN, NAN, "",
        )
    ]  # fmt: skip
