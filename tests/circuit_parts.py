"""Small boards for the tests of circuits: parts by a line of Python each, a capacitor without any loss, a junction by hand."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
from scipy.special import wrightomega

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


def junction_by_hand(record, *, resistance=0.0):
    """Return a function of volts that gives current and slope of a junction at 300 K with its own and more resistance in series.

    Solved by the Wright omega function (Banwell and Jayakumar 2000); written anew, for one number at a time.
    """
    i_s, ohms = float(record.current_saturation), float(record.resistance_series) + resistance
    nvt = float(record.ideality) * 1.380649e-23 / 1.602176634e-19 * 300.0
    offset = log(i_s * ohms / nvt) + i_s * ohms / nvt

    def law(volts):
        omega = float(wrightomega(offset + volts / nvt))
        return omega * nvt / ohms - i_s, omega / (ohms * (1 + omega))

    return law
