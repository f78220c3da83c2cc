"""Battery, jacks and barrel connector of a build, as its list joins them."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from pedalcalc import devices, switching
from pedalcalc._result import Caution
from pedalcalc.board._core import Board
from pedalcalc.devices import Battery
from pedalcalc.parts import NOT_CONNECTED

GROUND = "ground"


def _pins(board: Board, kind: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Yield reference and nets by role of each part of a kind."""
    for found in board.parts:
        if found.part.kind == kind:
            yield found.part.reference, {pin.role: pin.net for pin in found.pins}


def has_battery(board: Board) -> bool:
    """Tell whether the list has a battery, which the jack then switches."""
    return next(_pins(board, "battery"), None) is not None


def jack_of(board: Board) -> str:
    """Return the jack that the battery meets: stereo where its minus goes to a ring, else mono, which switches nothing."""
    rings = {nets["ring"] for _, nets in _pins(board, "jack") if "ring" in nets} - {NOT_CONNECTED}
    minus = {nets["minus"] for _, nets in _pins(board, "battery")}
    return "stereo" if (rings & minus if minus else rings) else "mono"


def states_of(board: Board, circuit: float, lamp: float, plug: str) -> switching.CurrentStates:
    """Return what is drawn engaged, bypassed, and with the plug pulled out of the input."""
    fed = "battery" if isinstance(board.supply, Battery) or has_battery(board) else "adaptor"
    return switching.current_states(circuit, current_led=lamp, power_source=fed, jack=jack_of(board), plug=plug)


def socket_cautions(board: Board) -> tuple[Caution, ...]:
    """Tell where battery and adaptor meet, past the connector's break contact, and where a battery is the wrong way round."""
    found: tuple[Caution, ...] = tuple(
        Caution(
            f"{name} is taken for a socket with its plus in the centre, since its outer contact is ground",
            f"if {nets['centre']!r} is the minus of a build with its plus at ground, write a battery in its place, and never feed "
            "it from a supply that others share: the screens of the cables would short it",
            float("nan"), float("nan"), "V",
        )
        for name, nets in _pins(board, "connector")
        if nets.get("outer") == GROUND
    )  # fmt: skip
    for battery, poles in _pins(board, "battery"):
        crossed = [name for name, nets in _pins(board, "connector") if _crossed(poles, nets)]
        if crossed:
            found += (
                Caution(
                    f"{battery} is the wrong way round: its plus and minus meet those of {' and '.join(crossed)} crosswise",
                    "correct the list, and check the clip with a meter: a reversed battery can destroy ICs and burst electrolytics",
                    float("nan"), float("nan"), "V",
                ),
            )  # fmt: skip
        for connector, nets in _pins(board, "connector"):
            if poles["plus"] in (nets.get("outer"), nets.get("centre")):
                block = devices.typical(board.record(battery))
                highest = float(np.max(board.voltages(0.0)))
                found += (
                    Caution(
                        f"{battery} and an adaptor in {connector} meet: a battery that is charged can leak or burst",
                        f"join the plus of {battery} to the break contact of {connector}, which a plug opens",
                        highest, float(block.voltage_empty), "V",
                    ),
                )  # fmt: skip
    return found


def _crossed(battery: dict[str, str], connector: dict[str, str]) -> bool:
    """Tell whether a battery's minus is joined to what is the plus of a clip or of a barrel's break contact, or its plus to a minus."""
    plus = {connector.get("plus")}
    if connector.get("outer") != GROUND:
        plus.add(connector.get("touches outer without a plug"))
    return battery["minus"] in plus - {NOT_CONNECTED} or battery["plus"] == connector.get("minus")
