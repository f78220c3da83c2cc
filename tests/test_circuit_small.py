"""Questions of one small circuit each, put to the solver: mixers, stages of other shapes, meters in the way.

The answers are worked out here from Kirchhoff's laws by hand or by sympy. Op-amps are nearly ideal specimens.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import sympy as sp

from pedalcalc import circuit, devices, laws
from pedalcalc.circuit import _ways
from pedalcalc.circuit.operating import solved_board
from tests.circuit_parts import LOSSLESS, NAN, board, capacitor, part, resistor

INF = float("inf")
SHORT = replace(LOSSLESS, capacitance=1.0)
FREQUENCY = 1e5  # at which such a capacitor is a short
IDEAL = replace(
    devices.typical(devices.OPAMP_TL072),
    gain_open_loop=1e10,
    gain_bandwidth=INF,
    current_bias=0.0,
    resistance_output_open=1e-3,
)
ENDS = {"frequency": FREQUENCY, "net_in": "in", "net_out": "out", "resistance_generator": 600.0, "resistance_load": INF}


def _chip(plus, minus, out):
    return part(
        "IC1", "integrated circuit", NAN, "", "TL072", _1=out, _2=minus, _3=plus, _4="ground", _5="half", _6="spare", _7="spare",
        _8="rail",
    )  # fmt: skip


HALF = (resistor("R1", 1e-3, "rail", "half"), resistor("R2", 1e-3, "half", "ground"))


def _above_half(*parts):
    volts = circuit.operating_point(board(*HALF, *parts), values={"IC1": IDEAL}).voltages
    return {net: volts[net] - volts["half"] for net in volts}


def test_a_mixer_sums_currents():
    """Each input is a divider from the rail with a Thevenin resistance of its own."""
    volts = _above_half(
        resistor("R3", 10e3, "rail", "minus"), resistor("R4", 22e3, "ground", "minus"), resistor("R5", 4.7e3, "half", "minus"),
        resistor("R6", 3.3e3, "minus", "out"), _chip("half", "minus", "out"),
    )  # fmt: skip
    assert volts["out"] == pytest.approx(-3.3e3 * (4.5 / 10e3 - 4.5 / 22e3), rel=1e-7)


def test_a_difference_stage_subtracts():
    volts = _above_half(
        resistor("R3", 30e3, "rail", "minus"), resistor("R4", 12e3, "minus", "out"), resistor("R5", 22e3, "rail", "plus"),
        resistor("R6", 9e3, "plus", "half"), _chip("plus", "minus", "out"),
    )  # fmt: skip
    v, plus, out = 4.5, 4.5 * 9 / 31, sp.symbols("out")
    node = sp.solve((v - plus) / 30e3 + (out - plus) / 12e3, out)[0]
    assert volts["out"] == pytest.approx(float(node), rel=1e-7)


def test_a_buffer_holds_half_the_supply():
    """A 4558's bias current comes out of its pin, through the divider."""
    chip = replace(_chip("half", "out", "out"), value_text="4558")
    own = devices.typical(devices.OPAMP_4558)
    built = board(resistor("R1", 47e3, "rail", "half"), resistor("R2", 47e3, "half", "ground"), chip)
    point = circuit.operating_point(built, values={"IC1": own}, probe="half")
    behind = 1 / (2 / 47e3 + 1 / 10e6)  # the meter's 10 MΩ beside both
    # both halves of the package hang on the divider
    raised = (9.0 / 47e3 + 2 * own.current_bias) * behind
    assert point.voltages["half"] == pytest.approx(raised, rel=1e-9)
    assert point.voltages["out"] == pytest.approx(raised, rel=1e-5)


def test_drain_feedback():
    """I = K (V - I R - Vth)², the gate at the drain: the square law, which never turns ohmic."""
    built = board(
        resistor("R1", 10e6, "drain", "gate"), resistor("R2", 4.7e3, "rail", "drain"),
        part("Q1", "transistor", NAN, "", "2N7000", gate="gate", drain="drain", source="ground"),
    )  # fmt: skip
    own = replace(devices.typical(devices.MOSFET_2N7000), voltage_threshold=2.0, transconductance_parameter=0.05)
    point = circuit.operating_point(built, values={"Q1": own})
    over = max(np.roots([0.05 * 4.7e3, 1.0, -(9.0 - 2.0)]).real)
    assert point.voltages["drain"] == pytest.approx(2.0 + over, rel=1e-9)
    assert point.currents["R2"] == pytest.approx(0.05 * over**2, rel=1e-8)


def _bipolar(point, own):
    law = laws.bipolar(
        voltage_base=point["base"], voltage_collector=point["collector"], voltage_emitter=point.get("emitter", 0.0),
        transistor=own,
    )  # fmt: skip
    return law.transconductance, law.conductance_base_emitter


OWN = replace(devices.typical(devices.BJT_BC549C), capacitance_base_collector=NAN, capacitance_base_emitter=NAN)


def test_collector_feedback_stage():
    """Kirchhoff's current law at base and collector, generator 600 Ω, for gain and both impedances."""
    built = board(
        resistor("R1", 470e3, "collector", "base"), resistor("R2", 4.7e3, "rail", "collector"),
        part("Q1", "transistor", NAN, "", "BC549C", base="base", collector="collector", emitter="ground"),
        capacitor("C1", 1e-6, "in", "base"), capacitor("C2", 1e-6, "collector", "out"),
    )  # fmt: skip
    values = {"Q1": OWN, "C1": SHORT, "C2": SHORT}
    settings = ENDS | {"values": values, "resistance_load": 47e3}
    gm, gbe = _bipolar(circuit.operating_point(built, values=values).voltages, OWN)
    base, out, drive, push = sp.symbols("base out drive push")
    load = 1 / 4.7e3 + 1 / 47e3
    at_base = (drive - base) / 600 - base * gbe - (base - out) / 470e3
    at_collector = -gm * base - out * load - (out - base) / 470e3
    found = circuit.response(built, **settings)
    assert found.response.real == pytest.approx(
        float(sp.solve([at_base.subs(drive, 1), at_collector], [base, out])[out]), rel=1e-8
    )
    seen = circuit.impedance(built, net="in", **settings)
    into = sp.solve([push - base * gbe - (base - out) / 470e3, at_collector], [base, out])[base].subs(push, 1)
    assert seen.impedance_size == pytest.approx(float(into), rel=1e-8)
    seen = circuit.impedance(built, net="out", **settings)
    back = sp.solve([at_base.subs(drive, 0), at_collector + out / 47e3 + push], [base, out])[out].subs(push, 1)
    assert seen.impedance_size == pytest.approx(float(back), rel=1e-8)


def test_common_base_and_common_gate():
    """Input at the emitter or source: 1/gm beside its resistor; the load over it is the gain."""
    built = board(
        resistor("R1", 56e3, "rail", "base"), resistor("R2", 12e3, "base", "ground"), resistor("R3", 2.2e3, "rail", "collector"),
        resistor("R4", 1e3, "emitter", "ground"), capacitor("C1", 1e-6, "in", "emitter"), capacitor("C2", 1e-6, "collector", "out"),
        capacitor("C3", 1e-6, "base", "ground"),
        part("Q1", "transistor", NAN, "", "BC549C", base="base", collector="collector", emitter="emitter"),
    )  # fmt: skip
    values = {"Q1": OWN, "C1": SHORT, "C2": SHORT, "C3": SHORT}
    gm, gbe = _bipolar(circuit.operating_point(built, values=values).voltages, OWN)
    settings = ENDS | {"values": values, "resistance_generator": 0.0, "resistance_load": 10e3}
    assert circuit.response(built, **settings).response.real == pytest.approx(gm / (1 / 2.2e3 + 1 / 10e3), rel=1e-8)
    seen = circuit.impedance(built, net="in", **(settings | {"resistance_generator": 1e12}))
    assert seen.impedance_size == pytest.approx(1 / (gm + gbe + 1e-3), rel=1e-8)
    built = board(
        resistor("R1", 1e6, "gate", "ground"), resistor("R3", 2.2e3, "rail", "drain"), resistor("R4", 1e3, "source", "ground"),
        capacitor("C1", 1e-6, "in", "source"), capacitor("C2", 1e-6, "drain", "out"), capacitor("C3", 1e-6, "gate", "ground"),
        part("Q1", "transistor", NAN, "", "2N5457", gate="gate", drain="drain", source="source"),
    )  # fmt: skip
    own = replace(devices.typical(devices.JFET_2N5457), capacitance_gate_drain=NAN, capacitance_gate_source=NAN)
    values["Q1"] = own
    volts = circuit.operating_point(built, values=values).voltages
    law = laws.channel(
        voltage_gate=volts["gate"], voltage_drain=volts["drain"], voltage_source_pin=volts["source"], fet=own
    )
    gm = law.transconductance
    settings["values"] = values
    # The reverse-biased gate junctions carry some femtosiemens, which this leaves out.
    assert circuit.response(built, **settings).response.real == pytest.approx(gm / (1 / 2.2e3 + 1 / 10e3), rel=1e-8)
    seen = circuit.impedance(built, net="in", **(settings | {"resistance_generator": 1e12}))
    assert seen.impedance_size == pytest.approx(1 / (gm + 1e-3), rel=1e-8)


def test_a_string_of_resistors_and_an_ammeter():
    built = board(
        resistor("R1", 2e3, "rail", "upper"), resistor("R2", 500.0, "upper", "lower"), resistor("R3", 3e3, "lower", "foot"),
        resistor("R4", 20.0, "foot", "ground"), supply=20.0,
    )  # fmt: skip
    point = circuit.operating_point(built)
    current = 20.0 / 5520.0
    assert point.currents["R4"] == pytest.approx(current)  # the ammeter's 20 Ω last in the string
    assert point.voltages["upper"] - point.voltages["lower"] == pytest.approx(500.0 * current)
    bare = circuit.operating_point(built, values={"R4": 0.0})
    assert bare.currents["R1"] == pytest.approx(20.0 / 5500.0)
    seen = circuit.impedance(built, net="upper", frequency=0.0, net_in="upper", net_out="lower", resistance_generator=1e12,
                             resistance_load=INF)  # fmt: skip
    assert seen.impedance_size == pytest.approx(1 / (1 / 2e3 + 1 / 3520.0))


def test_a_few_units_lead_many_others_to_their_own_points():
    # the oracle is the law: what comes through each unit's resistor is what its two diodes take there
    lamp = part("D1", "diode", NAN, "", "1N4148", anode="out", cathode="middle")
    other = part("D2", "diode", NAN, "", "1N4148", anode="middle", cathode="ground")
    ohms = np.geomspace(100.0, 1e6, 5 * _ways.LEADERS)
    _, system, _ = solved_board(board(resistor("R1", 1e3, "rail", "out"), lamp, other), values={"R1": ohms})
    assert len(ohms) >= _ways.MANY
    cold = np.zeros((len(ohms), system.size + 1))
    volts, good, sign = _ways.guided(system, cold)
    assert good.all() and (sign > 0).all()
    at = [net for net, _ in system.places].index("out")
    taken = laws.junction(volts[:, at] / 2, junction=devices.typical(devices.DIODE_1N4148)).current
    np.testing.assert_allclose((9.0 - volts[:, at]) / ohms, taken, rtol=1e-8)
    assert not _ways.guided(system.take(np.arange(8)), cold[:8])[1].any()  # few are ramped each for itself
