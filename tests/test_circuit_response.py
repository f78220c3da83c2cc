"""Responses and impedances of boards: against linear algebra of other libraries, printed tables and closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.signal
import scipy.sparse.linalg
from scipy.sparse.csgraph import laplacian

from pedalcalc import circuit, devices, laws, opamp, rc, stage
from pedalcalc.board import assemble
from tests.circuit_parts import LOSSLESS, NAN, board, capacitor, lossless, part, resistor
from tests.conftest import ROOT

BUILDS = ROOT / "notebooks" / "builds"
BETWEEN = {"net_in": "in", "net_out": "out", "resistance_generator": 0.0, "resistance_load": np.inf}


@pytest.mark.parametrize("seed", range(6))
def test_random_ladders_against_poles_of_the_state_space(seed):
    """Series resistors, capacitors to ground: C dv/dt = -L v + g u has these poles and no zero; scipy.signal does the rest."""
    random = np.random.default_rng(seed)
    count = int(random.integers(2, 9))
    ohms, farads = 10 ** random.uniform(2, 6, count), 10 ** random.uniform(-10, -6, count)
    load, generator = 10 ** random.uniform(3, 6, 2)
    nets = ["in", *(f"n{k}" for k in range(1, count)), "out"]
    parts = [resistor(f"R{k + 1}", ohms[k], nets[k], nets[k + 1]) for k in range(count)]
    parts += [capacitor(f"C{k + 1}", farads[k], nets[k + 1], "ground") for k in range(count)]
    built = board(*parts)
    hertz = np.geomspace(1, 1e5, 30)
    found = circuit.response(
        built, frequency=hertz, net_in="in", net_out="out", resistance_generator=generator, resistance_load=load,
        values=lossless(built),
    )  # fmt: skip
    siemens = 1 / np.r_[ohms[0] + generator, ohms[1:]]
    matrix = np.diag(siemens + np.r_[siemens[1:], 1 / load]) - np.diag(siemens[1:], 1) - np.diag(siemens[1:], -1)
    poles = np.linalg.eigvals(-matrix / farads[:, None])
    still = load / (load + generator + ohms.sum())
    _, expected = scipy.signal.freqs_zpk([], poles, still * np.prod(-poles), 2 * np.pi * hertz)
    np.testing.assert_allclose(found.response, expected, rtol=1e-8)


@pytest.mark.parametrize("seed", range(4))
def test_random_networks_against_a_sparse_laplacian(seed):
    """The impedance between a net and ground is the resistance of the graph, by scipy.sparse."""
    random = np.random.default_rng(seed)
    count = 12
    pairs = [(k, int(random.integers(0, k))) for k in range(1, count)]  # a tree, then chords
    pairs += [tuple(random.choice(count, 2, replace=False)) for _ in range(15)]
    ohms = 10 ** random.uniform(1, 6, len(pairs))
    names = ["ground", *(f"n{k}" for k in range(1, count))]
    built = board(
        resistor("R0", 1e3, "rail", "ground"),
        *(resistor(f"R{k + 1}", ohms[k], names[a], names[b]) for k, (a, b) in enumerate(pairs)),
    )
    weights = scipy.sparse.coo_array((1 / ohms, ([a for a, _ in pairs], [b for _, b in pairs])), (count, count))
    graph = laplacian((weights + weights.T).tocsr()).tocsc()
    inverse = scipy.sparse.linalg.splu(graph[1:, 1:].tocsc()).solve(np.eye(count - 1))
    for k in (1, 5, count - 1):
        seen = circuit.impedance(
            built, frequency=440.0, net=names[k], net_in=names[1], net_out=names[k], resistance_generator=1e15,
            resistance_load=np.inf,
        )  # fmt: skip
        np.testing.assert_allclose(seen.impedance, inverse[k - 1, k - 1], rtol=1e-9)


def test_closed_forms_of_filters_are_special_solutions():
    hertz = np.geomspace(10, 1e5, 25)
    low = board(resistor("R1", 4.7e3, "in", "out"), capacitor("C1", 22e-9, "out", "ground"))
    found = circuit.response(
        low, frequency=hertz, net_in="in", net_out="out", resistance_generator=1e3, resistance_load=50e3,
        values={"C1": replace(LOSSLESS, capacitance=22e-9, resistance_lead=12.0)},
    )  # fmt: skip
    expected = rc.lowpass_response(
        hertz, resistance=4.7e3, capacitance=22e-9, resistance_generator=1e3, resistance_load=50e3, resistance_esr=12.0
    )
    np.testing.assert_allclose(found.response, expected.response, rtol=1e-9)
    high = board(resistor("R1", 10e3, "out", "ground"), capacitor("C1", 100e-9, "in", "out"))
    found = circuit.response(
        high, frequency=hertz, net_in="in", net_out="out", resistance_generator=2e3, resistance_load=30e3,
        values=lossless(high),
    )  # fmt: skip
    expected = rc.highpass_response(
        hertz, resistance=10e3, capacitance=100e-9, resistance_generator=2e3, resistance_load=30e3
    )
    np.testing.assert_allclose(found.response, expected.response, rtol=1e-9)


def test_a_common_emitter_stage_is_the_closed_form():
    """Capacitors so large that they are shorts at 1 MHz; gm and the base's resistance from the laws at the solved point."""
    transistor = part("Q1", "transistor", NAN, "", "BC549C", base="base", collector="collector", emitter="emitter")
    built = board(
        resistor("R1", 47e3, "rail", "base"), resistor("R2", 10e3, "base", "ground"),
        resistor("R3", 4.7e3, "rail", "collector"), resistor("R4", 1e3, "emitter", "ground"), transistor,
        capacitor("C1", 1.0, "in", "base"), capacitor("C2", 1.0, "collector", "out"), resistor("R5", 100e3, "out", "ground"),
    )  # fmt: skip
    bare = {"capacitance_base_collector": NAN, "capacitance_base_emitter": NAN}
    values = lossless(built) | {"Q1": replace(built.device("Q1", devices.Bjt), **bare)}
    generator, load = 5e3, 20e3
    settings = {"net_in": "in", "net_out": "out", "resistance_generator": generator, "resistance_load": load}
    found = circuit.response(built, frequency=1e6, values=values, **settings)
    point = circuit.operating_point(built, values=values).voltages
    law = laws.bipolar(
        voltage_base=point["base"], voltage_collector=point["collector"], voltage_emitter=point["emitter"],
        transistor=built.device("Q1", devices.Bjt),
    )  # fmt: skip
    behind = 1 / (1 / load + 1 / 100e3)
    closed = stage.common_emitter(
        transconductance=law.transconductance, resistance_base_emitter=1 / law.conductance_base_emitter,
        resistance_collector=4.7e3, resistance_emitter=1e3, resistance_load=behind,
        resistance_bias=1 / (1 / 47e3 + 1 / 10e3), resistance_generator=generator,
    )  # fmt: skip
    assert found.response.real == pytest.approx(closed.gain_overall, rel=1e-9)
    seen = circuit.impedance(built, frequency=1e6, net="in", values=values, **settings)
    assert seen.impedance_size == pytest.approx(closed.impedance_input, rel=1e-9)
    seen = circuit.impedance(built, frequency=1e6, net="out", values=values, **settings)
    assert seen.impedance_size == pytest.approx(1 / (1 / 4.7e3 + 1 / 100e3), rel=1e-9)


def test_a_common_source_stage_is_the_closed_form():
    fet = part("Q1", "transistor", NAN, "", "2N5457", gate="gate", drain="drain", source="source")
    built = board(
        resistor("R1", 1e6, "gate", "ground"), resistor("R2", 1.5e3, "rail", "drain"), resistor("R3", 560.0, "source", "ground"),
        fet, capacitor("C1", 1.0, "in", "gate"), capacitor("C2", 1.0, "drain", "out"),
    )  # fmt: skip
    bare = {"capacitance_gate_drain": NAN, "capacitance_gate_source": NAN}
    values = lossless(built) | {"Q1": replace(built.device("Q1", devices.Jfet), **bare)}
    settings = {"net_in": "in", "net_out": "out", "resistance_generator": 10e3, "resistance_load": 47e3}
    found = circuit.response(built, frequency=1e6, values=values, **settings)
    point = circuit.operating_point(built, values=values).voltages
    law = laws.channel(
        voltage_gate=point["gate"], voltage_drain=point["drain"], voltage_source_pin=point["source"],
        fet=built.device("Q1", devices.Jfet),
    )  # fmt: skip
    closed = stage.common_source(
        law.transconductance, resistance_drain=1.5e3, resistance_source_pin=560.0, resistance_load=47e3,
        resistance_bias=1e6, resistance_generator=10e3,
    )  # fmt: skip
    assert law.region == "constant current"
    # The reverse-biased gate junctions carry some femtosiemens, which the closed form leaves out.
    assert found.response.real == pytest.approx(closed.gain_overall, rel=1e-8)


def test_a_common_source_stage_has_its_input_capacitance():
    """J. M. Miller's: behind a generator R a stage of gain A has a pole at 1/(2 pi R (Cgs + (1 + A) Cgd)), A R' small."""
    fet = part("Q1", "transistor", NAN, "", "2N5457", gate="gate", drain="out", source="ground")
    built = board(resistor("R1", 1e8, "gate", "ground"), resistor("R2", 100.0, "rail", "out"), fet)
    record = replace(built.device("Q1", devices.Jfet), capacitance_gate_drain=20e-12, capacitance_gate_source=30e-12)
    settings = {"net_in": "gate", "net_out": "out", "resistance_generator": 1e6, "resistance_load": np.inf}
    point = circuit.operating_point(built, bridges={("gate", "ground"): 1e6}).voltages
    gain = (
        100.0
        * laws.channel(
            voltage_gate=point["gate"], voltage_drain=point["out"], voltage_source_pin=0.0, fet=record
        ).transconductance
    )
    behind = 1 / (1 / 1e6 + 1 / 1e8)
    expected = 1 / (2 * np.pi * (behind * (30e-12 + (1 + gain) * 20e-12) + 100.0 * 20e-12))
    found = circuit.corners(built, values={"Q1": record}, **settings)
    assert found.corners[0].frequency == pytest.approx(expected, rel=1e-4)
    seen = circuit.response(built, frequency=expected, values={"Q1": record}, **settings)
    flat = circuit.response(built, frequency=1.0, values={"Q1": record}, **settings)
    assert seen.gain_db - flat.gain_db == pytest.approx(-3.01, abs=0.01)
    assert found.corners[0].sensitivities["Q1 gate to drain"] < -0.4


def _amplifier(**figures):
    pins = ("out", "minus", "plus", "ground", "half", "spare", "spare", "rail")
    ic = part("IC1", "integrated circuit", NAN, "", "TL072", **{str(k + 1): net for k, net in enumerate(pins)})
    built = board(
        resistor("R1", 100e3, "rail", "half"), resistor("R2", 100e3, "half", "ground"), ic,
        resistor("R3", 100e3, "half", "plus"), capacitor("C1", 1.0, "in", "plus"), resistor("R4", 90e3, "out", "minus"),
        resistor("R5", 10e3, "minus", "foot"), capacitor("C2", 1.0, "foot", "ground"),
    )  # fmt: skip
    record = replace(devices.typical(devices.OPAMP_TL072), **figures)
    return built, {"IC1": record, **lossless(built)}


def test_an_op_amp_has_its_gain_and_one_pole():
    """KCL at output and inverting input by hand: the open-loop gain a = A/(1 + j f A/GBW) behind the output resistance."""
    gain, speed, ohms = 2e5, 3e6, 150.0
    built, values = _amplifier(gain_open_loop=gain, gain_bandwidth=speed, resistance_output_open=ohms)
    hertz = np.geomspace(100.0, 1e7, 20)
    found = circuit.response(built, frequency=hertz, values=values, **(BETWEEN | {"resistance_load": 2e3}))
    a = gain / (1 + 1j * hertz * gain / speed)
    short = 1 / (2j * np.pi * hertz)  # of one farad
    feedback, leg = 90e3, 10e3 + short
    share, chain = leg / (feedback + leg), feedback + leg
    expected = a / (1 + a * share + ohms * (1 / chain + 1 / 2e3)) * 150e3 / (150e3 + short)
    np.testing.assert_allclose(found.response, expected, rtol=1e-9)
    fast = replace(values["IC1"], gain_bandwidth=np.inf, resistance_output_open=0.01)
    at_once = circuit.response(built, frequency=1e6, values=values | {"IC1": fast}, **BETWEEN)
    closed = opamp.noninverting(
        9.0, voltage_half_supply=4.5, resistance_half_supply=50e3, resistance_bias=100e3, resistance_feedback=90e3,
        resistance_ground=10e3, capacitance_input=1.0, capacitance_gain=1.0, op_amp=fast,
        meter=devices.typical(devices.METER_DIGITAL),
    )  # fmt: skip
    assert at_once.gain == pytest.approx(closed.gain, rel=1e-9)


@pytest.mark.parametrize("build", ["jfet-booster", "optical-compressor"])
def test_units_stand_ahead_and_are_what_each_is_alone(build):
    built = assemble(BUILDS / build / "parts.csv", supply=9.0)
    ohms = np.array([0.5, 1.0, 2.0]) * built.resistance("R3")
    hertz = np.array([20.0, 1e3, 2e4])
    found = circuit.response(built, frequency=hertz, values={"R3": ohms})
    assert found.response.shape == (3, 3)
    for k in range(3):
        one = circuit.response(built, frequency=hertz, values={"R3": ohms[k]})
        np.testing.assert_allclose(found.response[k], one.response, rtol=1e-7)  # a point is good to 1 pA
        alone = circuit.response(built, frequency=hertz[k], values={"R3": ohms})
        np.testing.assert_allclose(alone.gain_db, found.gain_db[:, k], rtol=1e-12)


@pytest.mark.parametrize("build", ["jfet-booster", "optical-compressor"])
def test_a_slow_ramp_of_the_input_is_the_response_at_no_frequency(build):
    """The static gain to a net is what the operating point does when a resistor lifts the input a little."""
    built = assemble(BUILDS / build / "parts.csv", supply=9.0)
    net = {"jfet-booster": "drain", "optical-compressor": "half supply"}[build]
    gate = {"jfet-booster": "gate", "optical-compressor": "threshold"}[build]
    settings = {"net_in": gate, "net_out": net, "resistance_load": np.inf, "resistance_generator": 1e5}
    if build == "optical-compressor":
        settings |= {"net_in": "half supply", "net_out": "reference"}
    found = circuit.response(built, frequency=0.0, **settings)
    below, above = (
        circuit.operating_point(
            built, bridges={(settings["net_in"], "ground"): 1e5, (settings["net_in"], "rail"): ohms}
        ).voltages
        for ohms in (1.0001e10, 1e10)
    )
    moved = above[settings["net_out"]] - below[settings["net_out"]]
    driven = above[settings["net_in"]] - below[settings["net_in"]]
    inward = circuit.response(built, frequency=0.0, **(settings | {"net_out": settings["net_in"]}))
    assert moved / driven == pytest.approx((found.response / inward.response).real, rel=1e-2)


@pytest.mark.parametrize("net", ["doubled", "rail", "pump supply"])
def test_the_impedance_at_no_frequency_is_the_slope_of_the_operating_point(net):
    """A little current drawn behind a charge pump, or ahead of it, lowers the volts by Z I."""
    built = assemble(BUILDS / "optical-compressor" / "parts.csv", supply=9.0)
    seen = circuit.impedance(built, frequency=0.0, net=net)
    drawn = np.array([1e9, 1e6])
    points = circuit.operating_point(built, bridges={(net, "ground"): drawn}).voltages[net]
    amps = points / drawn
    assert seen.impedance.real == pytest.approx(-(points[1] - points[0]) / (amps[1] - amps[0]), rel=2e-3)


def test_a_coupler_cell_is_held():
    """No signal through the LED changes the cell: the response at the cell is that of a resistor of its value."""
    coupler = part(
        "U1", "coupler", NAN, "", "yellow-green LED and GL5528", LED_anode="lamp", LED_cathode="ground", cell_a="out",
        cell_b="ground",
    )  # fmt: skip
    built = board(
        resistor("R1", 4.7e3, "in", "lamp"),
        resistor("R2", 2.2e3, "rail", "lamp"),
        resistor("R3", 10e3, "rail", "out"),
        coupler,
    )
    found = circuit.response(built, frequency=1e3, **BETWEEN)
    assert abs(found.response) < 1e-12


def test_beyond_the_input_range_there_is_no_number():
    built, values = _amplifier()
    far = circuit.response(built, frequency=[1e2, 1e3], values=values | {"R1": np.array([100e3, np.inf])}, **BETWEEN)
    assert not np.isnan(far.response[0]).any() and np.isnan(far.response[1]).all()


def test_an_op_amp_at_its_limit_is_told():
    built, values = _amplifier()
    found = circuit.response(
        built,
        frequency=1e3,
        values=values | {"R1": 20e3, "R2": 1e6, "R4": 90e3, "R5": 10e3},
        bridges={("minus", "ground"): 22e3},
        **BETWEEN,
    )
    assert any("IC1 unit 1 stands at a limit" in caution.what for caution in found.cautions)


def test_a_gate_that_floats_is_told():
    fet = part("Q1", "transistor", NAN, "", "2N7000", gate="gate", drain="out", source="ground")
    built = board(capacitor("C1", 100e-9, "in", "gate"), resistor("R1", 10e3, "rail", "out"), fet)
    found = circuit.response(built, frequency=1e3, net_in="in", net_out="out")
    assert any("gate hangs on nothing but insulation" in caution.what for caution in found.cautions)
    held = circuit.response(built, frequency=1e3, net_in="in", net_out="out", bridges={("gate", "ground"): 1e6})
    assert held.cautions == ()


def test_what_cannot_be_asked_is_refused():
    built = board(resistor("R1", 1e3, "in", "out"), resistor("R2", 1e3, "out", "ground"))
    with pytest.raises(ValueError, match="net_in must be named: the list has no jack at all"):
        circuit.response(built, frequency=1e3)
    with pytest.raises(ValueError, match="net_out: there is no net 'outt'"):
        circuit.response(built, frequency=1e3, net_in="in", net_out="outt")
    with pytest.raises(ValueError, match="net_in: 'rail' is held"):
        circuit.response(built, frequency=1e3, net_in="rail", net_out="out")
    with pytest.raises(ValueError, match="frequency must be known"):
        circuit.response(built, frequency=NAN, net_in="in", net_out="out")
    with pytest.raises(ValueError, match="resistance_generator"):
        circuit.response(built, frequency=1e3, net_in="in", net_out="out", resistance_generator=np.inf)
    with pytest.raises(ValueError, match="there is no net 'nowhere'"):
        circuit.impedance(built, frequency=1e3, net="nowhere", net_in="in", net_out="out")
    hanging = board(
        resistor("R1", 1e3, "in", "a"),
        capacitor("C1", 1e-9, "a", "b"),
        resistor("R2", 1e3, "b", "c"),
        capacitor("C2", 1e-9, "c", "out"),
    )
    with pytest.raises(ValueError, match="hangs on capacitors without any leakage"):
        circuit.response(hanging, frequency=1e3, net_in="in", net_out="out", values=lossless(hanging))
    assert circuit.response(hanging, frequency=1e3, net_in="in", net_out="out").gain > 0


def asked(function, built, **settings):
    """Return a result and nothing, or nothing and the words of a refusal."""
    try:
        return function(built, **settings), ""
    except np.linalg.LinAlgError:
        raise
    except ValueError as reason:
        return None, str(reason)


@pytest.mark.parametrize(("build", "each"), [("jfet-booster", 1), ("optical-compressor", 4)])
def test_a_single_fault_gives_an_answer_or_a_documented_error(build, each):
    """What cannot be predicted is NaN with a caution; what cannot be asked is refused in words."""
    built = assemble(BUILDS / build / "parts.csv", supply=9.0)
    cases = [{one.part.reference: fault} for one in built.parts[::each] for fault in ("open", "shorted", "reversed")]
    answered = 0
    for faults in cases:
        found, told = asked(circuit.response, built, frequency=[20.0, 1e3, 2e4], faults=faults)
        if found is None:
            assert any(words in told for words in ("shorts the supply", "is held by", "more than two ends")), faults
            continue
        wild = any("cannot be predicted" in caution.what for caution in found.cautions)
        assert np.isnan(found.response).any() == wild, faults
        corners, told = asked(circuit.corners, built, faults=faults)
        if corners is None:
            assert "nothing passes" in told and np.all(found.gain < 1e-6), faults
            continue
        assert all(np.isfinite(part.frequency) for part in corners.corners), faults
        answered += 1
    assert answered > len(cases) / 2


@pytest.mark.parametrize("generator", [10e3, 1e6])
def test_a_mosfet_stage_has_the_gain_and_corner_of_its_small_signals(generator):
    """Common source with a 2N7000: I = K (Vgs - Vth)² at rest by hand, then three nodes by numpy at each frequency.

    The gate's capacitance and what the gain makes of that to the drain take the treble behind a high resistance.
    """
    fet = devices.typical(devices.MOSFET_2N7000)
    top, bottom, drain, source, bypass, coupling = 2.2e6, 1.5e6, 3.3e3, 1e3, 4.7e-3, 100e-9
    built = board(
        resistor("R1", top, "rail", "gate"), resistor("R2", bottom, "gate", "ground"), capacitor("C1", coupling, "in", "gate"),
        resistor("R3", drain, "rail", "out"), resistor("R4", source, "source", "ground"),
        capacitor("C2", bypass, "source", "ground"), resistor("R5", 10e6, "in", "ground"),
        part("Q1", "transistor", NAN, "", "2N7000", gate="gate", drain="out", source="source"),
    )  # fmt: skip
    gate = 9.0 * bottom / (top + bottom)
    k, off = fet.transconductance_parameter, fet.voltage_threshold
    # k R (x)² + x = gate - off, x the volts of the gate above threshold
    above = (-1 + np.sqrt(1 + 4 * k * source * (gate - off))) / (2 * k * source)
    seen = circuit.operating_point(built, values=lossless(built))
    assert seen.voltages["out"] == pytest.approx(9.0 - drain * k * above**2, abs=1e-6)
    gm = 2 * k * above
    to_drain, to_source = fet.capacitance_gate_drain, fet.capacitance_gate_source
    frequency = np.geomspace(1.0, 1e6, 61)
    exact = []
    for s in 2j * np.pi * frequency:
        lead = s * coupling
        matrix = np.array(
            [
                [1 / generator + 1 / 10e6 + lead, -lead, 0, 0],
                [-lead, lead + 1 / top + 1 / bottom + s * (to_drain + to_source), -s * to_drain, -s * to_source],
                [0, gm - s * to_drain, 1 / drain + s * to_drain, -gm],
                [0, -gm - s * to_source, 0, 1 / source + s * (bypass + to_source) + gm],
            ]
        )
        exact.append(np.linalg.solve(matrix, [1 / generator, 0, 0, 0])[2])
    found = circuit.response(
        built, frequency=frequency, values=lossless(built),
        **(BETWEEN | {"resistance_generator": generator}),
    )  # fmt: skip
    np.testing.assert_allclose(found.response, exact, rtol=1e-6)
    assert abs(exact[30]) > 5, "it amplifies"
    # Miller by hand: the generator and the bias see both capacitances, that to the drain 1 + gm R times.
    behind = 1 / (1 / generator + 1 / 10e6 + 1 / top + 1 / bottom)
    corner = 1 / (2 * np.pi * behind * (to_source + to_drain * (1 + gm * drain)))
    upper = max(
        one.frequency
        for one in circuit.corners(
            built, values=lossless(built), **(BETWEEN | {"resistance_generator": generator})
        ).corners
        if one.kind == "pole" and one.frequency < 1e7
    )
    assert upper == pytest.approx(corner, rel=0.02)
