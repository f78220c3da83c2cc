"""What is put in the place of parts: refused by name where it cannot be, computed element by element where it can."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import circuit, devices
from pedalcalc.board import assemble
from tests.circuit_parts import LOSSLESS, NAN, board, capacitor, clip, part, resistor

INF = float("inf")
BUILT = board(
    resistor("R1", 1e3, "rail", "a"), resistor("R2", 1e3, "a", "ground"), resistor("R3", 1e3, "in", "out"),
    capacitor("C1", 100e-9, "out", "ground"), part("L1", "inductor", 0.1, "H", "100m", _1="out", _2="foot"),
    resistor("R4", 1e3, "foot", "ground"),
    part("D1", "diode", NAN, "", "1N4148", anode="ground", cathode="a"),
)  # fmt: skip
ENDS = {"net_in": "in", "net_out": "out", "resistance_generator": 0.0, "resistance_load": INF}


@pytest.mark.parametrize(
    ("values", "error", "words"),
    [
        ({"R1": NAN}, ValueError, "R1 must be known"),
        ({"R1": [1e3, NAN]}, ValueError, "R1 must be known"),
        ({"R1": -1.0}, ValueError, "R1 must be at least 0"),
        ({"R1": []}, ValueError, "R1 must hold at least one"),
        ({"R1": [[1.0]]}, ValueError, "R1 must be one number, or one for each unit"),
        ({"R1": "10k"}, TypeError, "R1 must be a number"),
        ({"R1": np.ma.array([1e3], mask=[1])}, TypeError, "R1 must not be a masked array"),
        ({"R1": devices.DIODE_1N4148}, TypeError, r"R1 \(resistor\) takes a number"),
        ({"C1": INF}, ValueError, "C1 must be at least 0 and finite"),
        ({"C1": devices.BJT_BC549C}, TypeError, r"C1 \(film capacitor\) takes a Capacitor record or a number"),
        ({"L1": NAN}, ValueError, "L1 must be known"),
        ({"L1": -1.0}, ValueError, "L1 must be at least 0"),
        ({"L1": INF}, ValueError, "L1 must be at least 0 and finite"),
        ({"D1": 0.6}, TypeError, r"D1 \(diode\) takes a Diode record"),
        ({"D1": devices.BJT_BC549C}, TypeError, r"D1 \(diode\) takes a Diode record"),
        ({"X1": 9.0}, TypeError, r"X1 \(connector\) takes no other value"),
        ({"R1": 1e3, "r1": 2e3}, ValueError, "values must name R1 once, got 'R1' and 'r1'"),
        ({5: 1e3}, TypeError, r"values must be a dictionary of values by reference, not \{5: 1000.0\}"),
        ({"supply": NAN}, ValueError, "supply must be known"),
        ({"supply": INF}, ValueError, "supply must be finite"),
        ({"R1": [1e3, 2e3], "R2": [1e3, 2e3, 3e3]}, ValueError, "one length.*R1 has 2, R2 has 3"),
    ],
)  # fmt: skip
def test_what_cannot_stand_for_a_part_is_refused_by_its_name(values, error, words):
    with pytest.raises(error, match=words):
        circuit.operating_point(BUILT, values=values)


def test_other_arrays_must_fit_the_units():
    two = {"R1": [1e3, 2e3]}
    with pytest.raises(ValueError, match="bridge from a to ground has 3"):
        circuit.operating_point(BUILT, values=two, bridges={("a", "ground"): [1.0, 2.0, 3.0]})
    with pytest.raises(ValueError, match="resistance_load must be one for all, or one for each of 2 units, got 3"):
        circuit.response(BUILT, frequency=1e3, values=two, **(ENDS | {"resistance_load": [1.0, 2.0, 3.0]}))
    time = np.linspace(0, 1e-3, 4)
    with pytest.raises(ValueError, match="voltage_input must be one for all, or one for each of 2 units, got 3"):
        circuit.waveform(BUILT, time=time, voltage_input=np.ones((3, 4)), values=two, **ENDS)
    for bad in ([NAN, 0.0, 0.0, 0.0], np.ones((1, 1, 4))):
        with pytest.raises(ValueError, match="voltage_input must be known, one row"):
            circuit.waveform(BUILT, time=time, voltage_input=bad, **ENDS)
    with pytest.raises(ValueError, match="probe: there is no net 'aa'"):
        circuit.operating_point(BUILT, probe="aa")


def test_arrays_of_reactive_parts_alone_are_units():
    """R3 into C1 beside L1 and R4: the divider written out, for parts that no direct current sees the size of."""
    hertz = np.array([100.0, 1e3])
    s = 2j * np.pi * hertz
    farads, henries = np.array([1e-9, 0.0, 1e-6]), np.array([0.0, 0.1, 1.0])
    shunt = s * farads[:, None] + 1 / (1e3 + s * henries[:, None])
    values = {"C1": replace(LOSSLESS, capacitance=np.maximum(farads, 1e-30)), "L1": henries}
    seen = circuit.response(BUILT, frequency=hertz, values=values, **ENDS)
    np.testing.assert_allclose(seen.response, 1 / (1 + 1e3 * shunt), rtol=1e-9)
    into = circuit.impedance(BUILT, frequency=hertz, net="in", values=values, **ENDS)
    np.testing.assert_allclose(into.impedance, 1e3 + 1 / shunt, rtol=1e-9)
    time = np.linspace(0, 1e-3, 21)
    wave = np.sin(2e3 * np.pi * time)
    many = circuit.waveform(BUILT, time=time, voltage_input=wave, values={"L1": henries}, **ENDS).voltages["out"]
    for one, size in zip(many, henries, strict=True):
        alone = circuit.waveform(BUILT, time=time, voltage_input=wave, values={"L1": size}, **ENDS)
        np.testing.assert_allclose(one, alone.voltages["out"], rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("ohms", [0.0, 1e-99, 1e-12, 1e-7])
def test_resistors_of_next_to_nothing_are_shorts(ohms):
    """Two diodes in a row with such a resistor between them stand as if they were one net."""
    built = board(
        resistor("R1", 1e3, "rail", "a"), resistor("R2", 1e3, "a", "b"),
        part("D1", "diode", NAN, "", "1N4148", anode="a", cathode="ground"),
        part("D2", "diode", NAN, "", "1N4148", anode="b", cathode="ground"),
    )  # fmt: skip
    point = circuit.operating_point(built, values={"R2": ohms})
    assert point.voltages["a"] == pytest.approx(point.voltages["b"], abs=1e-9)
    shared = circuit.operating_point(built, values={"R2": 0.0}).voltages["a"]
    assert point.voltages["a"] == pytest.approx(shared, abs=1e-9)
    assert point.current_supply == pytest.approx((9.0 - shared) / 1e3, rel=1e-9)


HALVES = (resistor("R1", 1e3, "rail", "a"), resistor("R2", 1e3, "a", "ground"))
BATTERY = part("BT1", "battery", NAN, "", "9 V alkaline", plus="battery", minus="ground")
BARREL = part("X2", "connector", NAN, "", "barrel", centre="ground", outer="rail", outer_switch="battery")


def test_a_source_obeys_its_faults():
    built = board(*HALVES)
    for fault, volts in (("open", 0.0), ("missing", 0.0), ("reversed", -4.5)):
        assert circuit.operating_point(built, faults={"X1": fault}).voltages["a"] == pytest.approx(volts, abs=1e-12)
    both = assemble([BARREL, BATTERY, *HALVES], supply=9.0)
    assert circuit.operating_point(both, faults={"X2": "open"}).voltages["rail"] == 0.0
    assert "battery" in circuit.operating_point(both, faults={"BT1": "missing"}).floating
    fed = assemble([BARREL, BATTERY, *HALVES], supply="9 V alkaline")
    right, wrong = (circuit.operating_point(fed, faults=one).voltages["a"] for one in ({}, {"BT1": "reversed"}))
    assert 4.0 < right < 4.5
    assert wrong == pytest.approx(-right)


def test_volts_at_a_battery_stand_for_it():
    """A list whose only source is a battery, fed with 5 V there: 2.5 mA through two resistors, none from a second source."""
    built = assemble([replace(BATTERY, connections=clip().connections), *HALVES], supply=9.0)
    point = circuit.operating_point(built, values={"supply": 5.0})
    assert point.current_supply == pytest.approx(2.5e-3)
    assert not point.cautions


def test_volts_at_a_socket_without_a_plug_are_refused():
    built = assemble([BARREL, BATTERY, *HALVES], supply=9.0, unplugged=["X2"])
    assert circuit.operating_point(built).voltages["rail"] < 9.0
    with pytest.raises(ValueError, match="supply: no plug is in X2"):
        circuit.operating_point(built, values={"supply": 5.0})
    with pytest.raises(ValueError, match="has no J9"):
        circuit.operating_point(replace(built, unplugged=("J9",)))


@pytest.mark.parametrize("figure", ["voltage_output", "current_ground", "resistance_output_closed"])
def test_a_record_without_a_figure_that_it_must_have_is_refused_by_name(figure):
    from tests.test_circuit_regulator import BUILT as REGULATED
    from tests.test_circuit_regulator import FIXED

    for unknown in (NAN, np.array([getattr(FIXED, figure), NAN])):
        with pytest.raises(ValueError, match=f"IC1: {figure} of '78L05' must be known, got"):
            circuit.operating_point(REGULATED, values={"IC1": replace(FIXED, **{figure: unknown})})
    without = replace(FIXED, current_output_max=NAN, ripple_rejection_db=NAN)
    assert circuit.operating_point(REGULATED, values={"IC1": without}).voltages["out"] == pytest.approx(5.0, abs=1e-3)


def test_an_offset_stands_at_the_non_inverting_input_with_its_sign():
    # by hand: 11 times the input's volts and the offset's, less what the finite gain of 200 000 leaves
    stage = board(
        resistor("R1", 10e3, "low", "in"), resistor("R2", 10e3, "rail", "low"), resistor("R3", 500.0, "low", "ground"),
        resistor("R4", 10e3, "out", "back"), resistor("R5", 1e3, "back", "ground"),
        part("IC1", "integrated circuit", NAN, "", "TL071", _1="not connected", _2="back", _3="in", _4="ground",
             _5="not connected", _6="out", _7="rail", _8="not connected"),
    )  # fmt: skip
    one = replace(devices.typical(devices.OPAMP_TL071), input_margin_bottom=0.0)
    still, moved = (
        np.asarray(
            circuit.operating_point(stage, values={"IC1": replace(one, voltage_offset_signed=offset)}).voltages["out"]
        )
        for offset in (0.0, np.array([5e-3, -5e-3]))
    )
    assert moved - still == pytest.approx([55e-3, -55e-3], rel=1e-3)
