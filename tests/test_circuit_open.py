"""Parts that are open, or shorts, in some units of a batch only: every unit comes out as it does alone."""

from dataclasses import replace

import numpy as np
import pytest

from pedalcalc import circuit, devices
from pedalcalc._refusal import Unsolved
from pedalcalc.board import assemble
from pedalcalc.circuit import _newton, _ways
from pedalcalc.circuit._assembly import system_of
from pedalcalc.circuit.elements import elements_of
from pedalcalc.circuit.operating import all_solved, solved_board, told
from tests.circuit_parts import board, capacitor, diode, part, resistor
from tests.conftest import ROOT

INF = float("inf")


def _alone(built, values, bridges=None):
    """Return one unit at rest, without the search for further states."""
    found, system, solved = solved_board(built, values=values, bridges=bridges)
    all_solved(solved)
    return told(found, system, solved)


def _same(built, values, bridges=None, *, extra=(0.0,)):
    """Hold each unit of a batch to the same unit alone; what is not there alone has no number, or carries nothing.

    Amperes agree to ten picoamperes: one rounding of the volts at an op-amp's inputs moves its output by one or two.
    """
    batch = circuit.operating_point(built, values=values, bridges=bridges)
    units = max(np.size(one) for one in [*values.values(), *(bridges or {}).values()])
    floating, wild = set(), set()
    for k in range(units):
        alone = _alone(
            built,
            {name: np.atleast_1d(one)[k % np.size(one)] for name, one in values.items()},
            {pair: np.atleast_1d(one)[k % np.size(one)] for pair, one in (bridges or {}).items()},
        )
        floating |= set(alone["floating"])
        wild |= set(alone["unpredictable"])
        for kind, limit in (("voltages", 1e-9), ("currents", 1e-11), ("powers", 1e-10)):
            single, all_of_them = alone[kind], getattr(batch, kind)
            for name, one in single.items():
                assert all_of_them[name][k] == pytest.approx(one, rel=1e-9, abs=limit, nan_ok=True), (k, name)
            for name in set(all_of_them) - set(single):
                assert np.isnan(all_of_them[name][k]) or all_of_them[name][k] in extra, (k, name)
        assert batch.current_supply[k] == pytest.approx(alone["current_supply"], rel=1e-9, abs=1e-11)
    assert set(batch.floating) == floating
    assert set(batch.unpredictable) == wild
    return batch


def _divider(*more):
    return board(resistor("R1", 10e3, "rail", "half"), resistor("R2", 20e3, "half", "ground"), *more)


def test_a_net_floats_in_the_units_in_which_nothing_holds_it():
    point = circuit.operating_point(
        _divider(), values={"R1": np.array([10e3, INF, 10e3, INF]), "R2": np.array([20e3, 20e3, INF, INF])}
    )
    np.testing.assert_allclose(point.voltages["half"], [6.0, 0.0, 9.0, np.nan], rtol=1e-12)  # Ohm's law
    np.testing.assert_allclose(point.currents["R1"], [0.3e-3, 0.0, 0.0, 0.0], rtol=1e-12, atol=1e-18)
    np.testing.assert_allclose(point.current_supply, [0.3e-3, 0.0, 0.0, 0.0], rtol=1e-12, atol=1e-18)
    assert point.floating == ("half",)


def test_what_lies_within_an_island_has_no_number():
    built = _divider(resistor("R3", 1e3, "half", "far"), resistor("R4", 1e3, "half", "far"))
    point = circuit.operating_point(built, values={"R1": np.array([10e3, INF]), "R2": np.array([20e3, INF])})
    assert point.floating == ("far", "half")
    np.testing.assert_allclose(point.currents["R3"], [0.0, np.nan], atol=1e-15)


def test_a_unit_on_insulation_alone_has_no_number_while_the_others_have():
    built = _divider(capacitor("C1", 1e-6, "half", "ground"))
    point = _same(built, {"R1": np.array([10e3, INF, INF]), "R2": np.array([20e3, 20e3, INF])})
    assert np.isnan(point.voltages["half"]).tolist() == [False, False, True]


@pytest.mark.parametrize("build", ["jfet-booster", "optical-compressor"])
def test_each_resistor_of_a_build_open_in_a_unit_of_its_own(build):
    built = assemble(ROOT / "notebooks" / "builds" / build / "parts.csv", supply=9.0)
    names = [one.part.reference for one in built.parts if one.part.kind == "resistor"]
    values = {
        name: np.where(np.arange(len(names) + 1) == k, INF, built.part(name).value) for k, name in enumerate(names)
    }
    _same(built, values)
    hertz = [20.0, 1e3]
    passed = circuit.response(built, frequency=hertz, values=values)
    seen = circuit.impedance(built, frequency=hertz, net=passed.net_out, values=values)
    for k in range(0, len(names) + 1, 3):
        own = {name: float(one[k]) for name, one in values.items()}
        alone = circuit.response(built, frequency=hertz, values=own).response
        np.testing.assert_allclose(passed.response[k], alone, rtol=1e-6)
        alone = circuit.impedance(built, frequency=hertz, net=passed.net_out, values=own).impedance
        np.testing.assert_allclose(seen.impedance[k], alone, rtol=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_random_meshes_with_parts_open_and_shorted_at_random(seed):
    rng = np.random.default_rng(seed)
    nets = ["rail", "one", "two", "three", "four", "ground"]
    pairs = [(first, second) for k, first in enumerate(nets) for second in nets[k + 1 :]][1:]
    chosen = [pair for pair in pairs if {"rail", "ground"} != set(pair) and rng.random() < 0.6]
    built = board(
        *(resistor(f"R{k}", 1e3, *pair) for k, pair in enumerate(chosen)),
        resistor("R99", 1e3, "rail", "ground"),
        part("D1", "diode", np.nan, "", "1N4148", anode="two", cathode="ground"),
    )
    units = 12
    values = {
        f"R{k}": np.where(rng.random(units) < 0.45, INF, 10.0 ** rng.uniform(2, 6, units)) for k in range(len(chosen))
    }
    shorted = f"R{rng.integers(len(chosen))}"  # one part: a path of several shorts could short the supply
    values[shorted] = np.where(rng.random(units) < 0.4, 0.0, values[shorted])
    point = circuit.operating_point(built, values=values)
    for k in range(units):
        own = {name: one[k] for name, one in values.items()}
        alone = _alone(built, own)
        for net, volts in alone["voltages"].items():
            assert point.voltages[net][k] == pytest.approx(volts, rel=1e-8, abs=1e-8, nan_ok=True), (k, net)
        assert point.current_supply[k] == pytest.approx(alone["current_supply"], rel=1e-8, abs=1e-11)


def test_shorts_in_a_ring_leave_their_currents_open_and_nothing_else():
    built = _divider(resistor("R3", 1e3, "half", "far"), resistor("R4", 1e3, "half", "far"),
                     resistor("R5", 20e3, "far", "ground"))  # fmt: skip
    lower = 1 / (1 / 20e3 + 1 / (500 + 20e3))
    point = circuit.operating_point(built, values={"R3": np.array([0.0, 0.0, 1e3]), "R4": np.array([0.0, 1e3, 1e3])})
    np.testing.assert_allclose(point.voltages["half"], [4.5, 4.5, 9 * lower / (10e3 + lower)], rtol=1e-9)
    np.testing.assert_allclose(point.voltages["far"][:2], [4.5, 4.5], rtol=1e-12)
    assert np.isnan(point.currents["R3"]).tolist() == np.isnan(point.currents["R4"]).tolist() == [True, False, False]
    np.testing.assert_allclose(point.currents["R5"][:2], 4.5 / 20e3, rtol=1e-12)


def test_a_coil_that_is_bridged_by_a_short():
    coil = part("L1", "inductor", 1e-3, "H", "1m", _1="half", _2="far")
    built = _divider(coil, resistor("R3", 1e3, "half", "far"), resistor("R5", 20e3, "far", "ground"))
    point = circuit.operating_point(built, values={"R3": np.array([0.0, 1e3])})
    np.testing.assert_allclose(point.voltages["far"], [4.5, 4.5], rtol=1e-12)
    np.testing.assert_allclose(point.currents["L1"], [np.nan, 4.5 / 20e3], rtol=1e-12)


def test_a_short_across_the_supply_in_one_unit_is_refused_with_its_index():
    with pytest.raises(ValueError, match=r"^bridge from rail to ground shorts the supply at index \(1,\)$"):
        circuit.operating_point(_divider(), bridges={("rail", "ground"): np.array([INF, 0.0, 1e3])})
    with pytest.raises(ValueError, match=r"^L1 shorts the supply$"):
        circuit.operating_point(_divider(_coil("L1", "rail", "ground")))


def test_a_bridge_that_is_open_in_some_units():
    nets = (
        resistor("R3", 1e3, "far", "ground"),
        resistor("R4", 1e3, "far", "loose"),
        resistor("R5", 1e3, "loose", "far"),
    )
    _same(_divider(*nets), {"R3": np.array([1e3, INF, INF])}, {("half", "far"): np.array([INF, 0.0, INF])})


def test_signals_where_the_output_hangs_on_nothing_in_one_unit():
    values = {"R1": np.array([10e3, INF, 10e3]), "R2": np.array([10e3, INF, INF])}
    built = board(resistor("R1", 10e3, "in", "out"), resistor("R2", 10e3, "out", "ground"))
    asked = {"frequency": 1e3, "net_in": "in", "net_out": "out", "resistance_load": INF, "values": values}
    passed = circuit.response(built, **asked, resistance_generator=0.0)
    np.testing.assert_allclose(passed.response, [0.5, np.nan, 1.0], rtol=1e-12)
    assert [(one.what, one.count) for one in passed.cautions] == [
        ("out hangs on nothing in some units: no signal can be told there", 1)
    ]
    seen = circuit.impedance(built, **asked, net="out", resistance_generator=10e3)
    np.testing.assert_allclose(seen.impedance, [20e3 / 3, np.nan, 20e3], rtol=1e-12)
    assert [one.count for one in seen.cautions] == [1]
    for one in (circuit.corners, circuit.waveform):
        more = {"frequency_from": 1.0} if one is circuit.corners else {"time": [0, 1e-3], "voltage_input": [0, 1]}
        with pytest.raises(ValueError, match="values: other nets float in unit 1 than in the rest"):
            one(built, **{name: what for name, what in asked.items() if name != "frequency"}, **more)


def test_capacitors_follow_their_units_into_the_sets_that_are_solved_apart():
    units = 5
    values = {
        "R1": np.array([1e3, INF, 2e3, INF, 3e3]),
        "C1": np.array([1e-9, 2e-9, 4e-9, 8e-9, 16e-9]),
        "R2": np.full(units, 10e3),
        "R3": np.array([1e3, 1e3, INF, INF, 1e3]),
    }
    built = board(
        resistor("R1", 1e3, "in", "out"), resistor("R2", 1e3, "in", "out"), capacitor("C1", 1e-9, "out", "ground"),
        resistor("R3", 1e3, "far", "ground"),
    )  # fmt: skip
    asked = {"frequency": [1e3, 1e4], "net_in": "in", "net_out": "out", "resistance_load": INF}
    passed = circuit.response(built, **asked, values=values)
    for k in range(units):
        own = {name: float(one[k]) for name, one in values.items()}
        np.testing.assert_allclose(
            passed.response[k], circuit.response(built, **asked, values=own).response, rtol=1e-12
        )


def test_op_amps_of_drawn_units_follow_into_the_sets_that_are_solved_apart():
    built = assemble(ROOT / "notebooks" / "builds" / "optical-compressor" / "parts.csv", supply=9.0)
    drawn = devices.drawn(built.record("IC2"), count=4, seed=1)
    values = {"IC2": drawn, "R5": np.array([2.2e6, INF, 2.2e6, INF])}
    passed = circuit.response(built, frequency=[1e3, 1e5], values=values)
    point = circuit.operating_point(built, values=values)
    for k in range(4):
        figures = {name: getattr(drawn, name) for name in drawn.__slots__}
        unit = replace(drawn, **{name: one[k] for name, one in figures.items() if isinstance(one, np.ndarray)})
        own = {"IC2": unit, "R5": values["R5"][k]}
        np.testing.assert_allclose(
            passed.response[k], circuit.response(built, frequency=[1e3, 1e5], values=own).response, rtol=1e-7
        )
        alone = _alone(built, own)
        assert set(alone["floating"]) <= set(point.floating)
        assert point.voltages["made up"][k] == pytest.approx(alone["voltages"]["made up"], rel=1e-9, nan_ok=True)


def test_a_coupler_whose_lamp_hangs_on_nothing_is_dark():
    feed = resistor("R2", 10e3, "lamp", "rail"), resistor("R3", 10e3, "below", "ground")
    lit = part("OC1", "coupler", np.nan, "", "NSL-28", LED_anode="lamp", LED_cathode="below", cell_a="rail", cell_b="b")
    built = board(*feed, lit, resistor("R1", 100e3, "b", "ground"))
    values = {"R2": np.array([10e3, INF]), "R3": np.array([10e3, INF])}
    point = _same(built, values)
    dark = devices.typical(built.record("OC1")).cell.resistance_dark
    assert point.voltages["b"][1] == pytest.approx(9 * 100e3 / (100e3 + dark), rel=1e-5)  # a divider
    assert point.voltages["b"][0] > 8
    unlit = circuit.operating_point(built, faults={"R2": "missing", "R3": "missing"})
    assert unlit.voltages["b"] == pytest.approx(point.voltages["b"][1], rel=1e-12)


def test_a_lamp_glows_where_its_cell_hangs_on_nothing():
    lit = part("OC1", "coupler", np.nan, "", "NSL-28", LED_anode="lamp", LED_cathode="ground", cell_a="a", cell_b="b")
    built = board(resistor("R2", 10e3, "lamp", "rail"), lit, resistor("R1", 100e3, "b", "a"))
    point = circuit.operating_point(built)
    assert point.floating == ("a", "b")
    assert point.currents["OC1 LED"] == pytest.approx((9 - point.voltages["lamp"]) / 10e3, rel=1e-9)
    assert point.currents["OC1 LED"] > 0.5e-3


def test_an_op_amp_with_an_input_in_the_air_keeps_its_supply():
    """Its quiescent current flows; what its output does is not told (common practice: the data sheets say nothing)."""
    pins = {"1": "out", "2": "out", "3": "in", "4": "ground", "5": "ground", "6": "b", "7": "b", "8": "rail"}
    amp = part("IC1", "integrated circuit", np.nan, "", "TL072", **{f"_{pin}": net for pin, net in pins.items()})
    built = board(amp, resistor("R1", 10e3, "in", "ground"), resistor("R2", 10e3, "out", "ground"))
    record = devices.typical(built.record("IC1"))
    point = circuit.operating_point(built, values={"R1": np.array([10e3, INF])})
    assert point.unpredictable
    assert point.floating == ("in",)
    own = point.currents["IC1 unit 1 positive rail"]
    assert own[1] >= record.current_quiescent * 0.999


def test_a_rail_that_an_unknown_output_hardly_loads_keeps_its_number():
    """By hand: 9 V at most into 10 kOhm are 0.9 mA, which 10 Ohm in the supply turn into 9 mV; the output itself is not told."""
    pins = {"1": "out", "2": "out", "3": "in", "4": "ground", "5": "half", "6": "b", "7": "b", "8": "amp rail"}
    amp = part("IC1", "integrated circuit", np.nan, "", "TL072", **{f"_{pin}": net for pin, net in pins.items()})
    half = (resistor("R1", 10e3, "amp rail", "half"), resistor("R2", 10e3, "half", "ground"))
    built = board(
        amp, *half, resistor("R3", 10.0, "rail", "amp rail"), resistor("R4", 10e3, "out", "ground"), capacitor("C1", 1e-7, "in", "half")
    )  # fmt: skip
    point = circuit.operating_point(built)
    assert (point.floating, point.unpredictable) == (("in",), ("out",))
    assert point.voltages["amp rail"] == pytest.approx(9.0 - 10.0 * point.current_supply, rel=1e-9)


@pytest.mark.parametrize("count", [1, 2])
def test_what_diodes_hold_is_not_told_where_an_unknown_output_may_block_them(count):
    """An output at either rail makes 0.6 V of either sign between two diodes (textbook): a fifth of it is no number either."""
    pins = {"1": "out", "2": "fb", "3": "in", "4": "ground", "5": "half", "6": "b", "7": "b", "8": "rail"}
    amp = part("IC1", "integrated circuit", np.nan, "", "TL072", **{f"_{pin}": net for pin, net in pins.items()})
    half = (
        resistor("R1", 5.0, "rail", "half"),
        resistor("R2", 5.0, "half", "ground"),
        resistor("R3", 10e3, "fb", "out"),
    )
    up, down = (["clip", *(f"{way} {k}" for k in range(1, count)), "half"] for way in ("up", "down"))
    between = [diode(f"D{k + 1}", up[k], up[k + 1]) for k in range(count)]
    between += [diode(f"D{k + 3}", down[k + 1], down[k]) for k in range(count)]
    built = board(
        amp, *half, capacitor("C1", 1e-7, "in", "half"), resistor("R4", 2.2e3, "out", "clip"), *between,
        resistor("R5", 80e3, "clip", "level"), resistor("R6", 20e3, "level", "half"),
    )  # fmt: skip
    point = circuit.operating_point(built)
    assert {"clip", "level", "out", *up[1:-1], *down[1:-1]} <= set(point.unpredictable)


@pytest.mark.parametrize("top", [100e3, 10e6])
def test_a_collector_is_not_told_where_an_unknown_output_may_cut_its_transistor_off(top):
    """By hand: an output at ground leaves the base nothing and the collector at 9 V, one at 9 V all but shorts it; through 10 MOhm too."""
    pins = {"1": "out", "2": "out", "3": "in", "4": "ground", "5": "half", "6": "b", "7": "b", "8": "rail"}
    amp = part("IC1", "integrated circuit", np.nan, "", "TL072", **{f"_{pin}": net for pin, net in pins.items()})
    half = (resistor("R1", 10e3, "rail", "half"), resistor("R2", 10e3, "half", "ground"))
    switch = part("Q1", "transistor", np.nan, "", "BC549B", base="base", collector="off", emitter="ground")
    other = part("Q2", "transistor", np.nan, "", "BC549B", base="half", collector="own", emitter="foot")
    built = board(
        amp, *half, capacitor("C1", 1e-7, "in", "half"), switch, resistor("R3", top, "out", "base"), resistor("R4", 10e3, "rail", "off"),
        other, resistor("R5", 1e3, "rail", "own"), resistor("R6", 4.7e3, "foot", "ground"),
    )  # fmt: skip
    point = circuit.operating_point(built)
    assert {"off", "out"} <= set(point.unpredictable)
    assert not {"half", "own", "foot", "rail"} & set(point.unpredictable)


def test_a_net_at_the_foot_of_a_channel_does_not_hold_up_the_rest():
    """A source that nothing but insulation draws on stands where the channel all but ends (square law, Ohm's law)."""
    fet = part("Q1", "transistor", np.nan, "", "2N5457", gate="gate", drain="drain", source="source")
    built = board(
        fet, resistor("R1", 1e6, "gate", "half"), resistor("R2", 100e3, "rail", "half"), resistor("R3", 100e3, "half", "ground"),
        resistor("R4", 1e3, "rail", "drain"), capacitor("C1", 470e-9, "source", "in"), resistor("R5", 1e6, "in", "ground"),
    )  # fmt: skip
    system = system_of(elements_of(built))
    record, leak = devices.typical(built.record("Q1")), devices.typical(built.record("C1")).resistance_insulation
    start = np.zeros((1, system.size + 1))
    for net, volts in {
        "gate": 1.1,
        "half": 1.1,
        "drain": 2.3,
        "source": 3.0,
    }.items():  # the drain stands in for the source
        start[0, system.where(net)[0]] = volts
    voltages, good, _ = _newton.newton(system, start)
    foot = 4.5 - record.voltage_gate_source_off
    strength = record.current_drain_zero_bias / record.voltage_gate_source_off**2
    assert good.all()
    assert system.volts(voltages, "source")[0] == pytest.approx(foot - np.sqrt(foot / leak / strength), abs=1e-4)


def _coil(reference, one, two):
    return part(reference, "inductor", 1e-3, "H", "1m", _1=one, _2=two)


def test_coils_in_a_ring_and_a_generator_across_a_short_say_what_to_do():
    ring = board(
        resistor("R1", 1e3, "rail", "a"),
        _coil("L1", "a", "b"),
        _coil("L2", "a", "b"),
        resistor("R2", 1e3, "b", "ground"),
    )
    with pytest.raises(ValueError, match=r"L2 closes a ring of coils .*\(L1, L2\).* resistor in series$"):
        circuit.operating_point(ring)
    with pytest.raises(ValueError, match=r"L2 closes a ring.* at index \(1,\)$"):
        circuit.operating_point(ring, bridges={("a", "b"): np.array([0.0, 1.0])})
    across = board(resistor("R1", 1e3, "rail", "a"), resistor("R2", 1e3, "a", "ground"))
    asked = {"frequency": 1e3, "net_in": "a", "net_out": "a", "resistance_generator": 0.0}
    with pytest.raises(ValueError, match=r"resistance_generator must be above 0 .*R2 lies across.* at index \(1,\)$"):
        circuit.response(across, values={"R2": np.array([1e3, 0.0])}, **asked)
    with pytest.raises(
        ValueError, match=r"resistance_generator must be above 0 .*L1 lies across the generator, got 0 Ω$"
    ):
        circuit.response(board(resistor("R1", 1e3, "rail", "a"), _coil("L1", "a", "ground")), **asked)


def test_a_unit_that_is_not_solved_is_named_by_its_index(monkeypatch):
    built = board(resistor("R1", 1e3, "rail", "a"), resistor("R2", 1e3, "a", "ground"))

    def stuck(system, start=None, **asked):
        solved = real(system, start, **asked)
        solved.good[1:] = False
        return solved

    real = _ways.solve
    monkeypatch.setattr(_ways, "solve", stuck)
    with pytest.raises(Unsolved, match=r"in 2 of 3 units, the first at index \(1,\)$"):
        circuit.operating_point(built, values={"R1": np.array([1e3, 2e3, 3e3])})
