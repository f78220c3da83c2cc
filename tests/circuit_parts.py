"""Small boards for the tests of circuits: parts by a line of Python each, and a capacitor without any loss."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pedalcalc import devices
from pedalcalc.board import assemble
from pedalcalc.parts import Connection, Part

NAN = float("nan")

LOSSLESS = replace(
    devices.typical(devices.CAPACITOR_FILM),
    loss_tangent=0.0, resistance_lead=0.0, time_insulation=np.inf, resistance_insulation_max=np.inf,
)  # fmt: skip


def part(reference, kind, value, unit, text, note="", **nets):
    pins = tuple(Connection(pin.replace("_", " ").strip(), net) for pin, net in nets.items())
    return Part(reference, kind, value, unit, text, NAN, NAN, NAN, NAN, NAN, pins, note)


def resistor(reference, ohms, one, two):
    return part(reference, "resistor", ohms, "Ω", f"{ohms:g}", _1=one, _2=two)


def capacitor(reference, farads, one, two):
    return part(reference, "film capacitor", farads, "F", f"{farads:g}", _1=one, _2=two)


def diode(reference, anode, cathode, kind="1N4148"):
    return part(reference, "diode", NAN, "", kind, anode=anode, cathode=cathode)


def clip(plus="rail", minus="ground"):
    return part("X1", "connector", NAN, "", "battery clip", plus=plus, minus=minus)


def board(*parts, supply=9.0, **conditions):
    return assemble([clip(), *parts], supply=supply, **conditions)


def lossless(board):
    """Return the mapping that makes each capacitor of a board an ideal one of its size."""
    return {
        one.part.reference: replace(LOSSLESS, capacitance=one.part.value)
        for one in board.parts
        if one.part.kind.endswith("capacitor")
    }
