"""Closed forms as special solutions: each function that claims to follow from the laws, against the circuit solved whole.

Parts are drawn evenly by ratio, one array of a unit each. What the closed forms leave out by their own words (leakage of
gates and of a reversed collector, capacitances inside a part) is left out of the specimens as well.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import bjt, circuit, devices, fet, led, opamp, rc, stage, supply
from tests.circuit_parts import LOSSLESS, NAN, board, capacitor, part, resistor

INF = float("inf")
UNITS = 60
DIGITS = {"rtol": 1e-9, "atol": 1e-9}
SHORT = replace(LOSSLESS, capacitance=1.0)
FREQUENCY = 1e5  # at which such a capacitor is a short


def _drawn(seed, **ranges):
    """Values even by ratio between two ends, one array a name."""
    random = np.random.default_rng([1, seed])
    return {name: low * (high / low) ** random.uniform(size=UNITS) for name, (low, high) in ranges.items()}


def _transistor(kind, gain=None):
    bare = {"capacitance_base_collector": NAN, "capacitance_base_emitter": NAN}
    return replace(devices.typical(kind), **bare | ({} if gain is None else {"current_gain": gain}))


def _bipolar(kind):
    return part("Q1", "transistor", NAN, "", kind.name, base="base", collector="collector", emitter="emitter")


def _nets(point, closed, **names):
    for net, field in names.items():
        np.testing.assert_allclose(point.voltages[net], getattr(closed, field), err_msg=net, **DIGITS)


BJTS = [devices.BJT_2N3904, devices.BJT_2N3906, devices.BJT_BC549C, devices.BJT_AC128]
STAGE = {"base": "voltage_base", "collector": "voltage_collector", "emitter": "voltage_emitter"}


def _ends(kind):
    """Return the nets that collector and emitter resistor go to."""
    return ("rail", "ground") if kind.polarity == "npn" else ("ground", "rail")


@pytest.mark.parametrize("kind", BJTS, ids=lambda kind: kind.name)
def test_bipolar_bias(kind):
    far, near = _ends(kind)
    ohms = _drawn(1, base=(50e3, 2e6), bottom=(20e3, 1e6), collector=(500, 30e3), emitter=(50, 5e3), volts=(6, 18))
    part_ = _transistor(kind, _drawn(2, gain=(50, 600))["gain"])
    common = {"resistance_collector": ohms["collector"], "resistance_emitter": ohms["emitter"], "transistor": part_}
    values = {"Q1": part_, "supply": ohms["volts"], "R1": ohms["base"], "R2": ohms["bottom"], "R3": ohms["collector"],
              "R4": ohms["emitter"]}  # fmt: skip
    legs = [resistor("R3", 1e3, far, "collector"), resistor("R4", 1e3, "emitter", near), _bipolar(kind)]
    built = board(resistor("R1", 1e3, far, "base"), resistor("R2", 1e3, "base", near), *legs)
    closed = bjt.divider_bias(ohms["volts"], resistance_top=ohms["base"], resistance_bottom=ohms["bottom"], **common)
    _nets(circuit.operating_point(built, values=values), closed, **STAGE)
    del values["R2"]
    built = board(resistor("R1", 1e3, far, "base"), *legs)
    volts = ohms["volts"] if kind.polarity == "npn" else 0.0
    closed = bjt.base_bias(ohms["volts"], voltage_base_supply=volts, resistance_base=ohms["base"], **common)
    if kind.polarity == "npn":
        _nets(circuit.operating_point(built, values=values), closed, **STAGE)
    built = board(resistor("R1", 1e3, "collector", "base"), *legs)
    closed = bjt.collector_feedback_bias(ohms["volts"], resistance_feedback=ohms["base"], **common)
    _nets(circuit.operating_point(built, values=values), closed, **STAGE)


@pytest.mark.parametrize("kind", [devices.JFET_2N5457, devices.JFET_2N5460, devices.MOSFET_2N7000, devices.MOSFET_BS250],
                         ids=lambda kind: kind.name)  # fmt: skip
def test_fet_bias(kind):
    jfet = isinstance(kind, devices.Jfet)
    far, near = ("rail", "ground") if kind.polarity == "n" else ("ground", "rail")
    ohms = _drawn(3, top=(1e6, 5e6), bottom=(1e6, 5e6), drain=(100, 20e3), source=(20, 20e3), volts=(6, 18))
    built = board(
        resistor("R1", 1e3, far, "gate"), resistor("R2", 1e3, "gate", near), resistor("R3", 1e3, far, "drain"),
        resistor("R4", 1e3, "source", near),
        part("Q1", "transistor", NAN, "", kind.name, gate="gate", drain="drain", source="source"),
    )  # fmt: skip
    own = devices.typical(kind)
    if jfet:  # junctions that leak next to nothing, as the closed form has them
        own = replace(own, voltage_forward=10.0)
    values = {"Q1": own, "R1": INF if jfet else ohms["top"], "R2": ohms["bottom"], "R3": ohms["drain"], "R4": ohms["source"],
              "supply": ohms["volts"]}  # fmt: skip
    closed = fet.self_bias(
        ohms["volts"], resistance_top=values["R1"], resistance_bottom=ohms["bottom"], resistance_drain=ohms["drain"],
        resistance_source_pin=ohms["source"], fet=own,
    )  # fmt: skip
    point = circuit.operating_point(built, values=values)
    _nets(point, closed, gate="voltage_gate", drain="voltage_drain", source="voltage_source_pin")


def test_lamps_and_zener_diodes():
    ohms = _drawn(4, ahead=(50, 20e3), load=(200, 50e3), volts=(3, 24))
    for kind in (devices.LED_RED_GAASP, devices.LED_BLUE):
        lamp = part("D1", "indicator", NAN, "", kind.name, anode="lamp", cathode="ground")
        built = board(resistor("R1", 1e3, "rail", "lamp"), lamp)
        own = devices.typical(kind)
        closed = led.operating_point(ohms["volts"], resistance=ohms["ahead"], led=own)
        point = circuit.operating_point(built, values={"D1": own, "R1": ohms["ahead"], "supply": ohms["volts"]})
        _nets(point, closed, lamp="voltage_led")
        np.testing.assert_allclose(point.currents["R1"], closed.current, **DIGITS)
    kind = devices.ZENER_BZX55C9V1
    built = board(
        resistor("R1", 1e3, "rail", "out"), resistor("R2", 1e3, "out", "ground"),
        part("D1", "diode", NAN, "", kind.name, anode="ground", cathode="out"),
    )  # fmt: skip
    own = devices.typical(kind)
    closed = supply.zener_regulator(
        voltage_supply=ohms["volts"], resistance=ohms["ahead"], resistance_load=ohms["load"], zener=own
    )
    point = circuit.operating_point(
        built, values={"D1": own, "R1": ohms["ahead"], "R2": ohms["load"], "supply": ohms["volts"]}
    )
    _nets(point, closed, out="voltage_output")


def test_dividers_and_half_the_supply():
    ohms = _drawn(5, top=(1e3, 1e6), bottom=(1e3, 1e6), load=(1e3, 1e6), volts=(3, 24))
    built = board(
        resistor("R1", 1e3, "rail", "out"), resistor("R2", 1e3, "out", "ground"), resistor("R3", 1e3, "out", "ground")
    )
    point = circuit.operating_point(
        built, values={"R1": ohms["top"], "R2": ohms["bottom"], "R3": ohms["load"], "supply": ohms["volts"]}
    )
    names = {"resistance_top": ohms["top"], "resistance_bottom": ohms["bottom"], "resistance_load": ohms["load"]}
    closed = rc.divider(voltage_supply=ohms["volts"], **names)
    _nets(point, closed, out="voltage_output")
    np.testing.assert_allclose(point.current_supply, closed.current, rtol=1e-9)
    closed = supply.half_supply(
        voltage_supply=ohms["volts"], current_load=0.0, capacitance=10e-6, tolerance=0.01, **names
    )
    _nets(point, closed, out="voltage_output")


@pytest.mark.parametrize(
    "kind", [devices.OPAMP_TL072, devices.OPAMP_NE5532, devices.OPAMP_LM358], ids=lambda kind: kind.name
)
@pytest.mark.parametrize("name", ["follower", "noninverting", "inverting"])
def test_op_amp_stages(kind, name):
    """The reference is a divider, through which the bias currents flow; the package's other half has one of its own."""
    offset = np.random.default_rng(7).uniform(-5e-3, 5e-3, UNITS)
    own = replace(devices.typical(kind), gain_bandwidth=INF, voltage_offset_signed=offset)
    ohms = _drawn(6, half=(5e3, 50e3), bias=(100e3, 1e6), ground=(1e3, 20e3), feedback=(10e3, 200e3))
    parts = {
        "follower": [resistor("R3", 1e3, "half", "plus"), capacitor("C1", 1e-6, "in", "plus")],
        "noninverting": [
            resistor("R3", 1e3, "half", "plus"), capacitor("C1", 1e-6, "in", "plus"), resistor("R4", 1e3, "out", "minus"),
            resistor("R5", 1e3, "minus", "leg"), capacitor("C2", 1e-6, "leg", "ground"),
        ],
        "inverting": [
            resistor("R3", 1e3, "half", "plus"), capacitor("C1", 1e-6, "in", "leg"), resistor("R4", 1e3, "out", "minus"),
            resistor("R5", 1e3, "leg", "minus"), capacitor("C2", 1e-6, "plus", "ground"),
        ],
    }[name]  # fmt: skip
    chip = part(
        "IC1", "integrated circuit", NAN, "", kind.name, _1="out", _2="out" if name == "follower" else "minus", _3="plus",
        _4="ground", _5="other", _6="spare", _7="spare", _8="rail",
    )  # fmt: skip
    built = board(
        resistor("R1", 1e3, "rail", "half"), resistor("R2", 1e3, "half", "ground"), resistor("R8", 1e3, "rail", "other"),
        resistor("R9", 1e3, "other", "ground"), chip, *parts,
    )  # fmt: skip
    values = {"R1": ohms["half"], "R2": ohms["half"], "R3": ohms["bias"], "R4": ohms["feedback"], "R5": ohms["ground"],
              "C1": SHORT, "C2": SHORT, "IC1": own, "supply": 9.0}  # fmt: skip
    fitted = {one.part.reference for one in built.parts} | {"supply"}
    values = {reference: value for reference, value in values.items() if reference in fitted}
    common = {"voltage_supply": 9.0, "voltage_half_supply": 9.0 / 2, "capacitance_input": INF,
              "resistance_half_supply": ohms["half"] / 2, "op_amp": own, "meter": devices.METER_DIGITAL}  # fmt: skip
    if name == "follower":
        closed = opamp.follower(resistance_bias=ohms["bias"], **common)
    elif name == "noninverting":
        closed = opamp.noninverting(
            resistance_bias=ohms["bias"], resistance_feedback=ohms["feedback"], resistance_ground=ohms["ground"],
            capacitance_gain=1.0, **common,
        )  # fmt: skip
    else:
        closed = opamp.inverting(
            resistance_compensation=ohms["bias"],
            resistance_feedback=ohms["feedback"],
            resistance_input=ohms["ground"],
            **common,
        )
    point = circuit.operating_point(built, values=values)
    _nets(point, closed, half="voltage_half_supply", plus="voltage_noninverting", out="voltage_output")
    # The closed gain leaves out what the feedback resistor takes through the op-amp's output resistance.
    values["IC1"] = replace(own, resistance_output_open=1e-3)
    found = circuit.response(
        built,
        frequency=FREQUENCY,
        values=values,
        net_in="in",
        net_out="out",
        resistance_generator=0.0,
        resistance_load=INF,
    )
    np.testing.assert_allclose(found.response.real, np.broadcast_to(closed.gain_signed, UNITS), rtol=1e-9)


def _seen(built, values, closed, generator, load):
    """Compare gain and impedances between generator and load."""
    ends = {
        "net_in": "in",
        "net_out": "out",
        "resistance_generator": generator,
        "resistance_load": load,
        "values": values,
    }
    found = circuit.response(built, frequency=FREQUENCY, **ends)
    np.testing.assert_allclose(found.response.real, closed.gain_overall, rtol=1e-9)
    for net, size in (("in", closed.impedance_input), ("out", closed.impedance_output)):
        seen = circuit.impedance(built, frequency=FREQUENCY, net=net, **ends)
        np.testing.assert_allclose(seen.impedance_size, np.broadcast_to(size, UNITS), rtol=1e-9, err_msg=net)


@pytest.mark.parametrize("follows", [False, True], ids=["common emitter", "follower"])
def test_bipolar_stages(follows):
    """Slopes from the closed bias point, which a generator behind a capacitor does not move."""
    own = _transistor(devices.BJT_BC549C, _drawn(7, gain=(100, 800))["gain"])
    ohms = _drawn(8, top=(50e3, 200e3), bottom=(20e3, 60e3), collector=(100, 1e3), emitter=(500, 5e3))
    if follows:
        ohms["collector"] = np.zeros(UNITS)
    point = bjt.divider_bias(
        12.0, resistance_top=ohms["top"], resistance_bottom=ohms["bottom"], resistance_collector=ohms["collector"],
        resistance_emitter=ohms["emitter"], transistor=own,
    )  # fmt: skip
    assert set(point.region) == {"active"}
    generator, load = 10e3, 47e3
    common = {
        "transconductance": point.transconductance, "resistance_base_emitter": point.resistance_base_emitter,
        "resistance_bias": point.resistance_thevenin, "resistance_emitter": ohms["emitter"], "resistance_generator": generator,
        "resistance_load": load,
    }  # fmt: skip
    closed = (
        stage.emitter_follower(**common)
        if follows
        else stage.common_emitter(resistance_collector=ohms["collector"], **common)
    )
    built = board(
        resistor("R1", 1e3, "rail", "base"), resistor("R2", 1e3, "base", "ground"), resistor("R3", 1e3, "rail", "collector"),
        resistor("R4", 1e3, "emitter", "ground"), capacitor("C1", 1e-6, "in", "base"),
        capacitor("C2", 1e-6, "emitter" if follows else "collector", "out"), _bipolar(devices.BJT_BC549C),
    )  # fmt: skip
    values = {"Q1": own, "R1": ohms["top"], "R2": ohms["bottom"], "R3": ohms["collector"], "R4": ohms["emitter"],
              "supply": 12.0, "C1": SHORT, "C2": SHORT}  # fmt: skip
    _seen(built, values, closed, generator, load)


@pytest.mark.parametrize("follows", [False, True], ids=["common source", "follower"])
def test_fet_stages(follows):
    """A MOSFET, whose gate takes nothing; a JFET's gate junctions leak some femtosiemens, which the closed form leaves out."""
    bare = {"capacitance_gate_drain": NAN, "capacitance_gate_source": NAN}
    own = replace(devices.typical(devices.MOSFET_2N7000), **bare)
    ohms = _drawn(9, drain=(100, 500), source=(300, 3e3))
    if follows:
        ohms["drain"] = np.zeros(UNITS)
    point = fet.self_bias(
        12.0, resistance_top=1e6, resistance_bottom=1e6, resistance_drain=ohms["drain"],
        resistance_source_pin=ohms["source"], fet=own,
    )  # fmt: skip
    assert set(point.region) == {"constant current"}
    generator, load = 10e3, 47e3
    common = {"resistance_source_pin": ohms["source"], "resistance_bias": 500e3, "resistance_generator": generator,
              "resistance_load": load}  # fmt: skip
    gm = point.transconductance
    closed = stage.source_follower(gm, **common) if follows else stage.common_source(
        gm, resistance_drain=ohms["drain"], **common
    )  # fmt: skip
    built = board(
        resistor("R1", 1e6, "rail", "gate"), resistor("R2", 1e6, "gate", "ground"), resistor("R3", 1e3, "rail", "drain"),
        resistor("R4", 1e3, "source", "ground"), capacitor("C1", 1e-6, "in", "gate"),
        capacitor("C2", 1e-6, "source" if follows else "drain", "out"),
        part("Q1", "transistor", NAN, "", "2N7000", gate="gate", drain="drain", source="source"),
    )  # fmt: skip
    values = {"Q1": own, "R3": ohms["drain"], "R4": ohms["source"], "supply": 12.0, "C1": SHORT, "C2": SHORT}
    _seen(built, values, closed, generator, load)
