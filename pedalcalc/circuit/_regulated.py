"""What keeps a three-pin regulator from its work, or endangers it, at one operating point."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from pedalcalc import devices
from pedalcalc._record import ends
from pedalcalc._result import Caution, caution_above, caution_below
from pedalcalc.board import Board
from pedalcalc.circuit.elements import Branch, Elements
from pedalcalc.circuit.joints import GROUND
from pedalcalc.devices import Regulator

#: Least capacitance at a regulator's input and output, close to its leads [F]: 100 nF less its tolerance (common practice; sheets: 0.1 to 1 µF).
LEAST_CAPACITANCE = 70e-9
#: Volts by which an output may stand above its input before current flows back (a silicon junction, common practice).
BACKWARD = 0.5


def regulated(board: Board, found: Elements, point: Mapping[str, Any]) -> tuple[Caution, ...]:
    """Return the cautions of every regulator; figures of a negative type are told as sizes."""
    told: tuple[Caution, ...] = ()
    for one in found.regulators:
        kind = board.record(one.part)
        assert isinstance(kind, Regulator)
        told += _one(board.part(one.part).label, one, kind, found, point)
    return told


def _one(text: str, one: Branch, kind: Regulator, found: Elements, point: Mapping[str, Any]) -> tuple[Caution, ...]:
    part = devices.typical(one.law)
    sign = -1.0 if part.polarity == "negative" else 1.0
    volts = [np.asarray(point["voltages"].get(net, np.nan), float) for net in one.nets]
    # a net without a number raises no caution: NaN is neither above nor below
    fed, across, back = (sign * (volts[a] - volts[b]) for a, b in ((0, 1), (0, 2), (2, 0)))
    given = -sign * np.asarray(point["currents"].get(f"{one.name} output", np.nan), float)
    least = ends(kind.current_load_min).high
    told = (
        caution_below(
            f"{text} has less at its input than it needs to hold its voltage, counted from its pin of ground or adjust",
            "a higher supply, or a regulator of less voltage", fed - _trough(one, sign, point), part.voltage_output + part.voltage_dropout, "V",
        )
        + caution_above(
            f"{text} has more at its input than it stands", "lower the supply", fed, part.voltage_input_max, "V"
        )
        + caution_above(
            f"{text} has more across it than it stands", "lower the supply", across, part.voltage_difference_max, "V"
        )
        + caution_above(
            f"{text} has its output above its input", "a diode from output to input leads past it what would go through it",
            back, BACKWARD, "V",
        )
        + caution_above(
            f"{text} gives more than it is made for", "see what draws it, or fit a larger type", given, part.current_max, "A"
        )
        + caution_above(
            f"{text} burns more than it is rated for", "lower the supply or the load, or fit a type with a heat sink",
            point["powers"].get(one.part, 0.0), part.power_max, "W",
        )
    )  # fmt: skip
    if np.any(np.asarray(least) > 0):
        told += caution_below(
            f"{text} is loaded too little to hold its voltage", "smaller resistors that set the voltage, about 240 Ω",
            given, least, "A",
        )  # fmt: skip
    for net, other, where in ((one.nets[0], one.nets[1], "input"), (one.nets[2], one.nets[1], "output")):
        told += caution_below(
            f"{text} has no capacitor of 100 nF at its {where}",
            "fit one to ground, close to its leads: without it the regulator can swing on its own",
            _at(found, net, other), LEAST_CAPACITANCE, "F",
        )  # fmt: skip
    return told


def _trough(one: Branch, sign: float, point: Mapping[str, Any]) -> Any:
    """Return the volts by which an input behind a charge pump falls below its mean; of a negative type, rises above it."""
    below, above = point["ripples"].get(one.nets[0], (0.0, 0.0))
    return -below if sign > 0 else above


def _at(found: Elements, net: str, other: str) -> Any:
    """Return the capacitance from a net to the ground pin or to ground."""
    root = found.metal.root
    here, there = root(net)[0], {root(other)[0], root(GROUND)[0]}
    farads = [
        one.law[0]
        for one in found.capacitors
        if any(root(first)[0] == here and root(second)[0] in there for first, second in (one.nets, one.nets[::-1]))
    ]
    return np.asarray(sum(farads, np.zeros(())), float)
